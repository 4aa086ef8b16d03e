"""What a case does not state and is taken at its strictest, and what each of it would bring when it is stated."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from lasersafe.assessment.together import NO_CHANGES, reach_of
from lasersafe.models.setup import DIAMETER, DIVERGENCE, FOCAL_LENGTH
from lasersafe.records.day import Assumption
from lasersafe.records.fields import badness

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.models import Case
    from lasersafe.wording import Wording

MATT = 0.3  # reflectance of a matt surface that an answer names as an example; common practice, no source
MOST = 3  # named on the first page and in the short answer
_MARKS = {"divergence": DIVERGENCE, "beam_diameter": DIAMETER, "focal_length": FOCAL_LENGTH, "setup": FOCAL_LENGTH}


def assumptions_of(
    case: Case, corners: Sequence[Sequence[Context]], ways: Sequence[str], far: float, near: float
) -> tuple[Assumption, ...]:
    """Return everything that a case leaves to the strictest assumption, with what costs most first.

    Parameters
    ----------
    case : Case
        As typed.
    corners : sequence of sequence of Context
        The set-ups at every corner of what is not known.
    ways : sequence of str
        Ways in a beam that count for people, as `lasersafe.assessment.together.beam_ways` gives them.
    far, near : float
        How far all fitted lasers reach along their beams, and by scatter. [m]
    """
    found = []
    for one in case.assumed:
        laser, key = case.laser[int(one.place[1])].name, str(one.place[-1])
        known = None
        if one.usual and key in _MARKS:
            usual = float(_MARKS[key].number(one.usual, key))
            lens = key in ("setup", "focal_length")
            kept = [[c for c in same if not lens or c.laser.name != laser or _is_lens(c, usual)] for same in corners]
            known = reach_of(case, kept, ways, NO_CHANGES if lens else {laser: {key: usual}})
        found.append(Assumption(key, laser, one.value, one.usual, far, known))
    if not case.surface and not case.settings.surfaces_complete:
        matt = {laser.name: {"reflectance": MATT} for laser in case.laser}
        known = reach_of(case, corners[:1], ("scatter",), matt)
        found.append(Assumption("surface", "", "1", f"{MATT:.0%}", near, known))
    if not case.barrier:
        found.append(Assumption("barrier", "", "", "", far, near))
    if not any(person.eyewear for person in case.person):
        found.append(Assumption("eyewear", "", "", "", None, None))
    return tuple(sorted(found, key=lambda one: one.gain, reverse=True))


def _is_lens(context: Context, focal_length: float) -> bool:
    return context.setup.kind == "lens" and float(context.setup.focal_length) == focal_length


def gain_of(
    one: Assumption, headline: float | None, wording: Wording, metres: Callable[[float], str]
) -> dict[str, str] | None:
    """Return what a distance is and what it could become when an assumption is stated; None where nothing is won.

    Where the headline lies farther out, because of the place, the distance is called that along the beam.
    """
    if one.known is None or one.now is None or not 0.0 < one.gain < math.inf:
        return None
    now, known = metres(one.now), metres(one.known)
    if now == known:
        return None
    beam = one.what != "surface" and now != metres(badness(headline if headline is not None else math.nan))
    said = wording.text("assumed.along_the_beam", distance=now) if beam else now
    return {"laser": one.laser, "now": said, "known": known, "usual": one.usual}


def assumption_sentence(one: Assumption, headline: float, wording: Wording, metres: Callable[[float], str]) -> str:
    """Return what is assumed, and what stating it could bring where that is known."""
    text = wording.text
    value = text("assumed.usual_lenses", lenses=one.value) if one.what in ("setup", "focal_length") else one.value
    words = {"what": wording.input_name(one.what), "laser": one.laser, "value": value}
    said = text(f"assumed.{one.what}" if not one.laser else "assumed.value", **words)
    gain = gain_of(one, headline, wording, metres)
    if gain is None:
        return said
    return text("assumed.with_gain" if one.usual else "assumed.with_gain_plain", said=said, **gain)


def unstated_sentence(case: Case, wording: Wording) -> tuple[str, ...]:
    """Return why nobody can sign a case that does not say who, where and when; nothing where it does."""
    fields = [wording.texts.get(f"unstated.{name}", name) for name in case.unstated]
    return (wording.text("unstated.sentence", fields=", ".join(fields)),) if fields else ()
