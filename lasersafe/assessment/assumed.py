"""What a case does not state and is taken at its strictest, and what each of it would bring when it is stated."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from lasersafe.assessment.distances import variable_inputs, zone_distances
from lasersafe.models.setup import DIAMETER, DIVERGENCE, FOCAL_LENGTH
from lasersafe.records.day import Assumption
from lasersafe.records.fields import badness

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.models import Case
    from lasersafe.models.kinds import Assumed
    from lasersafe.results import SetupResult
    from lasersafe.wording import Wording

MATT = 0.3  # reflectance of a matt surface that an answer names as an example; common practice, no source
MOST = 3  # named on the first page and in the short answer
_MARKS = {"divergence": DIVERGENCE, "beam_diameter": DIAMETER, "focal_length": FOCAL_LENGTH, "setup": FOCAL_LENGTH}


def assumptions_of(
    case: Case, corners: Sequence[Sequence[Context]], setups: Sequence[SetupResult]
) -> tuple[Assumption, ...]:
    """Return everything that a case leaves to the strictest assumption, with what costs most first.

    Parameters
    ----------
    case : Case
        As typed.
    corners : sequence of sequence of Context
        The set-ups at every corner of what is not known.
    setups : sequence of SetupResult
        The worst of all corners.
    """
    found = []
    for one in case.assumed:
        laser = case.laser[int(one.place[1])]
        mine: list[Context] = []
        for context in (c for same in corners for c in same if c.laser.name == laser.name and c.setup.fitted):
            if not any(known.setup == context.setup for known in mine):
                mine.append(context)
        key = str(one.place[-1])
        now, known_as = _direct(mine), _stated(mine, key, one)
        found.append(Assumption(key, laser.name, one.value, one.usual, now, known_as))
    zones = [(badness(z.distance), z.way) for s in setups if s.fitted for z in s.zones]
    far, near = (max((d for d, way in zones if way == which), default=0.0) for which in ("direct", "scatter"))
    if not case.surface and not case.settings.surfaces_complete:
        matt = [_reach(c, "scatter", reflectance=MATT) for c in corners[0] if c.setup.fitted]
        found.append(Assumption("surface", "", "1", f"{MATT:.0%}", near, max(matt, default=None)))
    if not case.barrier:
        found.append(Assumption("barrier", "", "", "", far, near))
    if not any(person.eyewear for person in case.person):
        found.append(Assumption("eyewear", "", "", "", None, None))
    return tuple(sorted(found, key=lambda one: one.gain, reverse=True))


def _reach(context: Context, way: str, **changes: float) -> float:
    allowed = variable_inputs(context)
    own = {name: value for name, value in changes.items() if name in allowed}
    return max(float(zone_distances(context, way, tissue, own)) for tissue in ("eye", "skin"))


def _direct(contexts: Sequence[Context], **changes: float) -> float | None:
    return max((_reach(context, "direct", **changes) for context in contexts), default=None)


def _stated(contexts: Sequence[Context], key: str, one: Assumed) -> float | None:
    """Return how far the direct beam would reach if an input were what it usually is; None where nothing is usual."""
    if not one.usual or key not in _MARKS:
        return None
    usual = float(_MARKS[key].number(one.usual, key))
    if key in ("setup", "focal_length"):
        return _direct([c for c in contexts if c.setup.kind == "lens" and float(c.setup.focal_length) == usual])
    return _direct(contexts, **{key: usual})


def assumption_sentence(one: Assumption, wording: Wording, metres: Callable[[float], str]) -> str:
    """Return what is assumed, and what stating it could bring where that is known."""
    text = wording.text
    value = text("assumed.usual_lenses", lenses=one.value) if one.what in ("setup", "focal_length") else one.value
    words = {"what": wording.input_name(one.what), "laser": one.laser, "value": value}
    said = text(f"assumed.{one.what}" if not one.laser else "assumed.value", **words)
    if one.known is None or one.now is None or not 0.0 < one.gain < math.inf:
        return said
    could = {"now": metres(one.now), "known": metres(one.known), "usual": one.usual}
    if could["now"] == could["known"]:
        return said
    return text("assumed.with_gain" if one.usual else "assumed.with_gain_plain", said=said, **could)


def unstated_sentence(case: Case, wording: Wording) -> tuple[str, ...]:
    """Return why nobody can sign a case that does not say who, where and when; nothing where it does."""
    fields = [wording.texts.get(f"unstated.{name}", name) for name in case.unstated]
    return (wording.text("unstated.sentence", fields=", ".join(fields)),) if fields else ()
