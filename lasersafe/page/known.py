"""What is known of a room at once, from answers that were worked out before: never lighter than the full answer."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

from lasersafe.page.rooms import PLACES, place_of, size_of, things

_MOST = 64  # answers that are kept
_UNIT = 100.0  # of the drawing, per metre
Key = tuple[tuple[str, str], ...]


class Known:
    """The tones of the last rooms, and how far their light reaches.

    Where people and cameras are does not change where light is: the tones of a room hold while those are moved. While
    the one laser of a room, a screen or a mirror is moved, nothing is known but how far the light reaches at most. Of
    everything else nothing is known, and all of the room is dark.
    """

    def __init__(self) -> None:
        self.tones: OrderedDict[Key, dict[str, Any]] = OrderedDict()
        self.reach: OrderedDict[Key, float] = OrderedDict()

    def learn(self, form: Mapping[str, str], answer: Mapping[str, Any]) -> None:
        """Keep what a full answer says."""
        if "tones" not in answer:
            return
        _keep(self.tones, _without_people(form), {"tones": answer["tones"], "lines": answer["lines"]})
        if answer.get("reach") is not None and "laser1.x" in form:
            _keep(self.reach, _without_places(form), answer["reach"])

    def bound(self, form: Mapping[str, str]) -> dict[str, Any]:
        """Return tones that are proven, or the part of the room that is not proven to be free of light."""
        known = self.tones.get(_without_people(form))
        if known is not None:
            return {**known, "proven": True}
        reach = self.reach.get(_without_places(form))
        if reach is None:
            return self.nothing(form)
        wide, deep = size_of(form)
        x, y = (place_of(form, f"laser1.{key}", most) * _UNIT for key, most in (("x", wide), ("y", deep)))
        y, r = deep * _UNIT - y, reach * _UNIT
        ring = f"M{x - r:.1f} {y:.1f}a{r:.1f} {r:.1f} 0 1 0 {2 * r:.1f} 0a{r:.1f} {r:.1f} 0 1 0 {-2 * r:.1f} 0Z"
        return {"open": ring, "proven": False}

    @staticmethod
    def nothing(form: Mapping[str, str]) -> dict[str, Any]:
        """Return that nothing is known: all of the room is dark."""
        wide, deep = size_of(form)
        return {"open": f"M0 0H{wide * _UNIT:.1f}V{deep * _UNIT:.1f}H0Z", "proven": False}


def _keep(store: OrderedDict[Key, Any], key: Key, value: Any) -> None:
    store[key] = value
    store.move_to_end(key)
    while len(store) > _MOST:
        store.popitem(last=False)


def _without_people(form: Mapping[str, str]) -> Key:
    """Return all fields but the places of people and cameras, and what is only a name."""
    moved = {f"{name}.{key}" for kind, name in things(form) if kind in ("person", "camera") for key in ("x", "y")}
    return tuple(sorted((key, value) for key, value in form.items() if key not in moved))


def _without_places(form: Mapping[str, str]) -> Key:
    """Return all fields but places."""
    return tuple(sorted((key, value) for key, value in form.items() if key.rpartition(".")[2] not in PLACES))
