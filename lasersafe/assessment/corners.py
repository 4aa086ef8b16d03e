"""The worst corner of all tolerances of a case, as one case or several that between them are worst everywhere.

Of what is worked out at several corners the worst is kept, and eyewear covers all of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import TypeVar

from lasersafe.errors import InputError
from lasersafe.hazard.combine import between_marks, marking_edges, worst_wavelengths
from lasersafe.hazard.eyewear import covering
from lasersafe.hazard.materials import material_reflectance, materials
from lasersafe.models import Case, Knob, SIValue, Surface, Target, Toleranced, replaced, tolerances_of
from lasersafe.models.base import Place
from lasersafe.models.measured import Worst
from lasersafe.physical import covered
from lasersafe.quantity import format_quantity
from lasersafe.records.fields import worst_of_each
from lasersafe.records.uncertainty import InputTolerance
from lasersafe.results import EyewearNeed

C = TypeVar("C")
T = TypeVar("T")
MOST_CORNERS = 24
_DIGITS = 4


@dataclass(frozen=True)
class Corners:
    """The cases to be worked out, and what they took.

    Parameters
    ----------
    cases : tuple of Case
        At least one; without tolerances the case itself.
    inputs : tuple of InputTolerance
        One for each tolerance, in the order of the case.
    """

    cases: tuple[Case, ...]
    inputs: tuple[InputTolerance, ...]


def ends_of(one: Toleranced) -> tuple[float, float]:
    """Return the lowest and highest value that a corner takes, in the SI unit of the input.

    A bound is itself; how far a standard uncertainty counts is known in `lasersafe.physical`. A case in which it
    reaches what the field does not take has been refused when it was read.
    """
    off = one.tolerance
    return (off.low, off.high) if off.kind == "bound" else covered(one.name, float(one.value), off.low, off.high)


def worse_end(case: Case, one: Toleranced) -> Worst:
    """Return which end of a tolerance is the worse one in this case, as in :class:`Measured`.

    A divergence that was read away from the waist widens the beam beyond that place and narrows its waist; so it counts
    where both places are stated, though they may be the same.
    """
    if "divergence" in one.place and one.place[0] == "laser" and one.place[2] == "setup":
        setup = case.laser[int(one.place[1])].setup[int(one.place[3])]
        if setup.kind == "collimated" and setup.waist_at is not None:
            return "ends"
    return one.worst


def corners_of(case: Case) -> Corners:
    """Return the worst corner of a case: exact where an input acts one way, by search where it does not [1]_.

    Parameters
    ----------
    case : Case
        As typed.

    Returns
    -------
    Corners
        Several cases where an input, as the wavelength, may be worse at either end.

    Raises
    ------
    InputError
        If more corners would have to be worked out than `MOST_CORNERS`.

    References
    ----------
    .. [1] Own: docs/method.md, section 26.
    """
    found = tolerances_of(case)
    fixed: dict[Place, SIValue | Knob] = {}
    choices: list[tuple[Toleranced, tuple[float, float], tuple[float, ...]]] = []
    inputs: list[InputTolerance] = []
    marked = marking_edges(person.eyewear for person in case.person) if found else ()
    together = len(case.laser) > 1 or any(laser.line for laser in case.laser)
    for one in found:
        low, high = ends_of(one)
        worst = worse_end(case, one)
        if worst in ("low", "high"):
            used: tuple[float, ...] = (low if worst == "low" else high,)
            fixed[one.place] = _value(one, used[0], (low, high))
        elif worst == "range":
            used = (low, high)
            fixed[one.place] = Knob(*(_value(one, end, used) for end in used))
        else:
            used = (low, high)
            if one.place[-1] == "wavelength":
                found_waves = {*worst_wavelengths(low, high, together), *between_marks(low, high, marked)}
                used = tuple(sorted({*found_waves, *_brightest(case, low, high)}))
            used = tuple(dict.fromkeys(used))
            choices.append((one, (low, high), used))
        tried = "monotone" if worst in ("low", "high") else "search"
        inputs.append(
            InputTolerance(
                one.field, one.value.typed, one.value.unit, float(one.value), low, high, one.tolerance.kind, used, tried
            )
        )
    fitted = case.with_each_optics()
    if case.settings.decide_by == "as typed":
        choices, fixed = [], {}
    if len(fitted) * math.prod(len(used) for _, _, used in choices) > MOST_CORNERS:
        unknown = ["optics that are not stated"] if len(fitted) > 1 else []
        names = ", ".join([*unknown, *(one.field for one, _, _ in choices)])
        message = (
            f"{names}: each carries a tolerance whose worse end is not known beforehand, and together they have more "
            f"than {MOST_CORNERS} corners; give the cautious value of some of them without a tolerance"
            + ("; and state the optics of a laser" if unknown else "")
        )
        raise InputError(message)
    cases = []
    for values in product(*(used for _, _, used in choices)):
        own = {one.place: _value(one, value, ends) for (one, ends, _), value in zip(choices, values, strict=True)}
        for optics in fitted:
            corner = replaced(optics, {**fixed, **own}) if fixed or own else optics
            corner._at_corner = bool(fixed or own) or optics._at_corner
            cases.append(corner)
    return Corners(tuple(cases), tuple(inputs))


def _value(one: Toleranced, value: float, ends: tuple[float, ...]) -> SIValue:
    """Return a value of the corner; its text says where it comes from."""
    end = "lowest" if value == ends[0] else "highest" if value == ends[1] else "worst"
    shown = format_quantity(value, one.value.unit, _DIGITS)
    return SIValue(value, f"{shown} ({end} of {one.value.typed})", one.value.unit)


def _brightest(case: Case, low: float, high: float) -> tuple[float, ...]:
    """Return the wavelengths inside a range at which a material of the case reflects more than at both ends."""
    found = set()
    described: list[Surface | Target] = [*case.surface, *(() if case.scene is None else case.scene.target)]
    for surface in described:
        if surface.material_key is None:
            continue
        rows = [row.wavelength for row in materials()[surface.material_key].rows if low < row.wavelength < high]
        tried = [low, high, *rows]
        values = [material_reflectance(surface.material_key, surface.finish, at).value for at in tried]
        found.add(tried[values.index(max(values))])
    return tuple(found)


def covering_each(lists: Iterable[Iterable[EyewearNeed]]) -> list[EyewearNeed]:
    """Return, for each laser, set-up, person and line, one need that covers those of all lists."""
    return list(worst_of_each(lists, lambda _, group: covering(group)))


def over(
    corners: Sequence[C], each: Callable[[C], Iterable[T]], also: Callable[[T, Sequence[T]], T] | None = None
) -> tuple[T, ...]:
    """Return the records of every corner of the tolerances, of each thing the worst; of one corner as they are.

    Parameters
    ----------
    corners : sequence
        At least one.
    each : callable
        Takes a corner and returns its records.
    also : callable, optional
        As `lasersafe.records.fields.worst` takes it.
    """
    return worst_of_each(map(each, corners), also)
