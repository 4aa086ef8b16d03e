"""What is known of a room at once, from answers that were worked out before: never lighter than the full answer."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

from lasersafe.page.rooms import size_of, things

_MOST = 64  # answers that are kept
_UNIT = 100.0  # of the drawing, per metre
Key = tuple[tuple[str, str], ...]


class Known:
    """The tones of the last rooms.

    Where people and cameras are does not change where light is: the tones of a room hold while those are moved. While
    a laser, a screen or a mirror is moved, nothing is proven, and all of the room is dark.
    """

    def __init__(self) -> None:
        self.tones: OrderedDict[Key, dict[str, Any]] = OrderedDict()

    def learn(self, form: Mapping[str, str], answer: Mapping[str, Any]) -> None:
        """Keep what a full answer says."""
        if "tones" not in answer:
            return
        _keep(self.tones, _without_people(form), {"tones": answer["tones"], "lines": answer["lines"]})

    def bound(self, form: Mapping[str, str]) -> dict[str, Any]:
        """Return tones that are proven, or the part of the room that is not proven to be free of light."""
        known = self.tones.get(_without_people(form))
        if known is not None:
            return {**known, "proven": True}
        return self.nothing(form)

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
