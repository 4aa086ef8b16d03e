"""A sweep as a drawing: curves over one input, and over two a family of curves or contour lines."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lasersafe.drawing.chart import Axis, Heading, Nominal, Trace, curve_page, round_ends
from lasersafe.drawing.contours import contour_page
from lasersafe.drawing.page import Paper
from lasersafe.drawing.primitives import Drawing
from lasersafe.drawing.values import quantity
from lasersafe.errors import InputError
from lasersafe.quantity import format_quantity, parse_quantity
from lasersafe.studies.subject import nearest_text
from lasersafe.studies.sweeping import ZONES, Sweep, Varied
from lasersafe.studies.tables import MEANING, certainty, durations
from lasersafe.typed import shown
from lasersafe.wording import caution_line

PAPER = Paper("A4", 297.0, 210.0, 10.0)
MOST_CURVES = 6
_WIDE = 20.0  # a range of such a ratio gets a logarithmic axis
_DIRECT = ("direct", "eye")
_WHAT_IF = "A what-if drawing of one laser with one set-up. It is no part of a sheet that somebody signs."
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Shown:
    """An input with the unit in which it is shown."""

    varied: Varied
    unit: str
    factor: float

    @property
    def values(self) -> Floats:
        return np.asarray(self.varied.span.values / self.factor)

    @property
    def nominal(self) -> float | None:
        value = self.varied.input.nominal
        return None if value is None else value / self.factor

    def axis(self) -> Axis:
        low, high = float(self.values[0]), float(self.values[-1])
        log = self.varied.span.log or (low > 0.0 and high / low >= _WIDE)
        unit = "" if self.unit == "1" else f" [{self.unit.replace('u', 'µ')}]"
        return Axis(f"{self.varied.input.words} ({self.varied.input.path}){unit}", low, high, log)


def zone_of(text: str) -> tuple[str, str]:
    """Return the zone that was asked for by name.

    Parameters
    ----------
    text : str
        As typed, ``direct eye``.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    names = {" ".join(zone): zone for zone in ZONES}
    plain = " ".join(text.replace("-", " ").replace(",", " ").split()).lower()
    if plain not in names:
        message = f"show = {shown(text)}: write one of: {', '.join(names)}"
        raise InputError(message)
    return names[plain]


def check_drawable(varied: tuple[Varied, ...]) -> None:
    """Refuse what no drawing can show.

    Raises
    ------
    InputError
        If not one or two inputs are varied, or only one value of one of them.
    """
    if len(varied) > 2:
        message = f"drawing: {len(varied)} inputs are varied; a drawing shows one or two, leave the others at one value"
        raise InputError(message)
    for one in varied:
        if one.span.values.size < 2 and len(varied) == 1:
            message = f"drawing: {one.input.path} has one value only; a drawing needs two or more"
            raise InputError(message)


def draw(found: Sweep, zone: tuple[str, str] | None = None) -> Drawing:
    """Return the drawing of a sweep.

    Parameters
    ----------
    found : Sweep
        One or two varied inputs.
    zone : tuple of str, optional
        Way and tissue, where only one is drawn; without it all are drawn over one input, over two the direct beam and
        the eye.
    """
    check_drawable(found.varied)
    shown_inputs = [_shown(one) for one in found.varied]
    if len(shown_inputs) == 1:
        return _over_one(found, shown_inputs[0], zone)
    way = zone or _DIRECT
    first, second = shown_inputs
    if min(found.shape) > MOST_CURVES:
        nominal = None
        if first.nominal is not None and second.nominal is not None:
            nominal = (first.nominal, second.nominal, "in the case")
        heading = _heading(found, shown_inputs, f"{_words(way)}: distance as contour lines")
        grid = (first.values, second.values, found.distances[way])
        return contour_page(PAPER, heading, first.axis(), second.axis(), grid, _level, nominal)
    if found.shape[0] <= found.shape[1]:
        return _family(found, second, first, found.distances[way], way)
    return _family(found, first, second, found.distances[way].T, way)


def _shown(varied: Varied) -> _Shown:
    """Return an input in the unit that suits its largest value, or the middle of a range of ratios."""
    low, high = float(varied.span.values[0]), float(np.abs(varied.span.values).max())
    typical = math.sqrt(low * high) if low > 0.0 and high >= _WIDE * low else high
    name = format_quantity(typical, varied.input.unit).partition(" ")[2] or varied.input.unit
    return _Shown(varied, name, parse_quantity(f"1 {name}", varied.input.unit, "unit").value if name != "1" else 1.0)


def _words(zone: tuple[str, str]) -> str:
    way, tissue = zone
    return f"{ {'direct': 'direct beam', 'mirror': 'mirror', 'scatter': 'scatter'}[way] }, {tissue}"


def _over_one(found: Sweep, x: _Shown, zone: tuple[str, str] | None) -> Drawing:
    zones = ZONES if zone is None else (zone,)
    alike: list[list[tuple[str, str]]] = []  # zones of one curve
    for one in zones:
        same = [k for k in alike if np.allclose(found.distances[one], found.distances[k[0]], rtol=1e-9)]
        if same:
            same[0].append(one)
        else:
            alike.append([one])
    traces = [(" = ".join(map(_words, names)), found.distances[names[0]]) for names in alike]
    return _curves(found, x, traces, "distance", "")


def _family(found: Sweep, x: _Shown, other: _Shown, table: Floats, zone: tuple[str, str]) -> Drawing:
    """Return one curve over ``x`` for each value of the other input, the rows of ``table``."""
    names = [nearest_text(float(v), other.varied.input) for v in other.varied.span.values]
    traces = [(name, row) for name, row in zip(names, table, strict=True)]
    held = f"one curve for each {other.varied.input.words} ({other.varied.input.path})"
    if other.varied.input.nominal is not None:
        held += f"; the case says {other.varied.input.stated}"
    return _curves(found, x, traces, f"{_words(zone)}: distance", held)


def _curves(found: Sweep, x: _Shown, traces: list[tuple[str, Floats]], what: str, held: str) -> Drawing:
    every = np.concatenate([values for _, values in traces])
    above = every[every > 0.0]
    log = bool(above.size) and float(above.max()) >= _WIDE * float(above.min())
    low, high = (float(above.min()), float(above.max())) if log else (0.0, float(every.max()) or 1.0)
    unit, factor = _length(high)
    y = Axis(f"{what} [{unit}]", *round_ends(low / factor, high / factor, log=log), log)
    drawn = []
    for name, values in traces:
        none = "" if values.max() > 0.0 else ": below the limit at every distance"
        points = tuple(zip(x.values.tolist(), (values / factor).tolist(), strict=True))
        drawn.append(Trace(name, f"{name}{none}", points))
    nominal = None if x.nominal is None else Nominal(x.nominal, f"in the case: {x.varied.input.stated}")
    return curve_page(PAPER, _heading(found, [x], held), x.axis(), y, drawn, nominal)


def _length(most: float) -> tuple[str, float]:
    for unit, factor in (("km", 1e3), ("m", 1.0), ("mm", 1e-3)):
        if most >= (10.0 if unit == "km" else 0.1) * factor:
            return unit, factor
    return "mm", 1e-3


def _level(value: float) -> str:
    number = f"{value:.3g}" if 0.1 <= value < 1000.0 else ""
    return f"{number} m" if number else quantity(value, "m").replace(".00", "").replace(".0", "")


def _heading(found: Sweep, axes: list[_Shown], held: str) -> Heading:
    subject = found.subject
    limits = f"limits of {' and '.join(subject.context.rule_sets)}, the stricter decides"
    fitted = "" if subject.context.setup.fitted else " (not fitted today)"
    origin = "Direct beam and mirror are measured from the last optic along the beam, scatter from the lit surface."
    outside = [
        f"What the case says, {one.varied.input.words} {one.varied.input.stated}, lies outside the drawing."
        for one in axes
        if one.nominal is not None and not one.values[0] <= one.nominal <= one.values[-1]
    ]
    times = durations(subject, {one.input.path for one in found.varied})
    joined = f"Lines join the {found.size} points of the sweep; between two of them a limit may jump."
    said = [*outside, *certainty(subject, found.start), _WHAT_IF]
    foot = [(f"{MEANING} {origin} {times} {joined}", False), *[(text, False) for text in said]]
    lines = (f"{subject.name}{fitted}; {limits}", held)
    return Heading(subject.case.title, lines, (*foot, (caution_line(), True)))
