"""Tolerances: the cases at their corners, each of which is worked out; eyewear covers all of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from lasersafe.errors import refuse
from lasersafe.hazard.barriers import material_reflectance, materials
from lasersafe.hazard.combine import between_marks, marking_edges, worst_wavelengths
from lasersafe.models import Case, Knob, SIValue, Surface, Target, Toleranced, replaced, tolerances_of
from lasersafe.models.base import Place
from lasersafe.quantity import Rounding, format_quantity
from lasersafe.records import InputTolerance
from lasersafe.wording import Message

MOST_CORNERS = 64  # three lasers without stated optics
_DIGITS = 4
_FOCUS = ("focal_length", "measured_at", "waist_at")  # move it
_WIDTHS = ("beam_diameter", "divergence", "focus_diameter", "focal_length", "core_diameter", "numerical_aperture",
           "mode_field_diameter")  # fmt: skip


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
        low, high = one.ends
        used: tuple[float, ...] = (low, high)
        end, tried = one.worst, "search"
        if "divergence" in one.place and one.place[0] == "laser" and one.place[2] == "setup":
            setup = case.laser[int(one.place[1])].setup[int(one.place[3])]
            if setup.kind == "collimated" and setup.waist_at is not None:
                end = "ends"  # read away from the waist it widens the beam beyond that place and narrows the waist
        if one.place[-1] == "view_angle" and case.settings.scatter_model == "hemisphere":
            end = "high"  # as bright from the side, where the spot looks smaller
        if end in ("low", "high"):
            used, tried = (low if end == "low" else high,), "monotone"
            fixed[one.place] = _value(one, used[0], (low, high))
        elif end == "range":
            fixed[one.place] = Knob(*(_value(one, value, used) for value in used))
        else:
            if one.place[-1] == "wavelength":
                waves = (*worst_wavelengths(low, high, together), *between_marks(low, high, marked))
                used = tuple(sorted({*waves, *_brightest(case, low, high)}))
            used = tuple(dict.fromkeys(used))
            choices.append((one, (low, high), used))
        stated = one.field, one.value.typed, one.value.unit, float(one.value)
        inputs.append(InputTolerance(*stated, low, high, one.tolerance.kind, used, tried))
    if case.settings.decide_by == "as typed":
        choices, fixed = [], {}
    differing = _differing(case, found) if choices or fixed else {}
    lying = (one for one in found if one.name == "work_distance" or (one.place[0], one.name) == ("surface", "distance"))
    loose = max((high - low for low, high in (one.ends for one in lying)), default=0.0) if choices or fixed else 0.0
    ways = math.prod(len(used) for _, _, used in choices) * math.prod(map(len, case._others.values()))
    if ways > MOST_CORNERS:
        unstated = ", ".join(f"'{case.laser[i].name}'" for i in case._others)
        said = [f"the optics of {unstated} are not stated; state a [[laser.setup]] of one"] if unstated else []
        if choices:
            names = ", ".join(one.field for one, _, _ in choices)
            said.append(f"of {names} it is not known beforehand which end is worse; give the cautious value of one")
        refuse(f"{ways} combinations are more than the {MOST_CORNERS} that are worked out: {'; '.join(said)}")
    fitted = case.with_each_optics()
    cases = []
    for values in product(*(used for _, _, used in choices)):
        own = {one.place: _value(one, value, ends) for (one, ends, _), value in zip(choices, values, strict=True)}
        for optics in fitted:
            corner = replaced(optics, {**fixed, **own}) if fixed or own else optics
            corner._at_corner = bool(fixed or own) or optics._at_corner
            corner._may_differ, corner._may_lie = differing, loose
            cases.append(corner)
    return Corners(tuple(cases), tuple(inputs))


def _differing(case: Case, found: Sequence[Toleranced]) -> dict[tuple[str, str], tuple[float, float]]:
    """Return of each beam how many times as wide as at a corner it may be, and how far off its focus [m]."""
    known: dict[tuple[str, str], tuple[float, float]] = {}
    for one in (one for one in found if one.place[0] == "laser" and one.place[2] in ("setup", "line")):
        laser, (low, high) = case.laser[int(one.place[1])], one.ends
        for number, setup in enumerate(laser.setup):
            if one.place[2] == "setup" and one.place[3] != number:
                continue
            wider, loose = known.get((laser.name, setup.name), (1.0, 0.0))
            wider *= high / low if one.name in _WIDTHS and low > 0.0 else 1.0
            loose += high - low if one.name in _FOCUS else 0.0
            known[laser.name, setup.name] = wider, loose
    return known


def _value(one: Toleranced, value: float, ends: tuple[float, ...]) -> SIValue:
    """Return a value of the corner; its text says where it comes from."""
    end = "lowest" if value == ends[0] else "highest" if value == ends[1] else "worst"
    side: dict[str, Rounding] = {"lowest": "down", "highest": "up"}  # a lowest value is never printed higher
    shown = format_quantity(value, one.value.unit, _DIGITS, side.get(end, "nearest"))
    return SIValue(value, Message(f"input.{end}_of", value=shown, typed=one.value.typed), one.value.unit)


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
