"""How the kinds of zone look: each has a hatch, an edge and a letter of its own, so that none needs its colour."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from lasersafe.drawing.primitives import Area, Lines, Mark, Rect, Run, box, closed
from lasersafe.drawing.shapes import clip_ring, clip_run, hatch
from lasersafe.quantity import Rounding, feet, format_quantity


@dataclass(frozen=True)
class Pattern:
    """Lines of one hatch: angle [degree], spacing, thickness and dashes [mm]."""

    angle: float
    spacing: float
    thick: float = 0.18
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Look:
    """Edge and hatch of one kind of zone; the inks differ in brightness too."""

    ink: str
    hatches: tuple[Pattern, ...]
    thick: float = 0.5
    dashes: tuple[float, ...] = ()


LOOKS = {
    "eye direct": Look("#8f1d4f", (Pattern(45, 3.2),), 0.7),
    "skin direct": Look("#a8560b", (Pattern(45, 2.4), Pattern(135, 2.4)), 0.5),
    "eye mirror": Look("#1d4e9e", (Pattern(135, 3.2, 0.18, (2.6, 1.2)),), 0.7, (4.0, 1.0)),
    "skin mirror": Look(
        "#1f7f93", (Pattern(135, 2.4, 0.18, (1.4, 0.8)), Pattern(45, 2.4, 0.18, (1.4, 0.8))), 0.5, (4, 1)
    ),
    "scatter eye": Look("#35601c", (Pattern(0, 2.6, 0.5, (0.5, 2.3)),), 0.7, (0.8, 0.8)),
    "scatter skin": Look("#66660f", (Pattern(0, 1.9, 0.25, (2.0, 1.2)),), 0.5, (0.8, 0.8)),
    "ignition": Look("#111111", (Pattern(90, 2.1, 0.28),), 0.8),
    "beyond": Look("#5b3b91", (Pattern(20, 4.2, 0.2, (5.0, 1.6)), Pattern(160, 4.2, 0.2, (5.0, 1.6))), 0.5, (6, 1.5)),
}
_MICRO = re.compile("(?<![A-Za-z])u(?=m|s|J|W|rad)")
_HELD = "\u00a0"
AIM_INK = "#333333"
AIM_DASHES = (5.0, 1.0, 0.8, 1.0)
WORST_DASHES = (7.0, 1.4, 1.4, 1.4)
SHADOW = "#eeeeee"
ITEM_INK = "#555555"
DECADES = (
    ("#f2ead8", (Pattern(0, 3.4, 0.2),)),
    ("#e0cda6", (Pattern(45, 2.6, 0.22),)),
    ("#c9ab74", (Pattern(45, 2.0, 0.25), Pattern(135, 2.0, 0.25))),
    ("#a88450", (Pattern(90, 1.1, 0.3), Pattern(0, 1.1, 0.3))),
)


def hatched(rings: Sequence[Run], hatches: Sequence[Pattern], ink: str) -> list[Mark]:
    """Return the hatch of an area."""
    found: list[Mark] = []
    for pattern in hatches:
        runs = hatch(rings, pattern.angle, pattern.spacing)
        if runs:
            found.append(Lines(runs, ink, pattern.thick, pattern.dashes))
    return found


def filled(rings: Sequence[Run], frame: Rect, look: Look, *, plain: bool = False) -> list[Mark]:
    """Return an area inside a frame, hatched unless ``plain``, with its edge where the edge lies inside."""
    cut = [ring for ring in (clip_ring(ring, frame) for ring in rings) if ring]
    marks: list[Mark] = [] if plain else hatched(cut, look.hatches, look.ink)
    runs = [run for ring in rings for run in clip_run(closed(ring), frame)]
    if runs:
        marks.append(Lines(tuple(runs), look.ink, look.thick, WORST_DASHES if plain else look.dashes))
    return marks


def swatch(rect: Rect, look: Look, *, plain: bool = False) -> list[Mark]:
    """Return a sample of a zone for the legend."""
    return filled((box(rect),), (rect[0] - 1, rect[1] - 1, rect[2] + 1, rect[3] + 1), look, plain=plain)


def tone(rings: Sequence[Run], frame: Rect, fill: str) -> list[Mark]:
    """Return a filled area inside a frame."""
    cut = tuple(ring for ring in (clip_ring(ring, frame) for ring in rings) if ring)
    return [Area(cut, fill)] if cut else []


def strokes(runs: Sequence[Run], frame: Rect, ink: str, thick: float, dashes: tuple[float, ...] = ()) -> list[Mark]:
    """Return lines inside a frame."""
    cut = tuple(part for run in runs for part in clip_run(run, frame))
    return [Lines(cut, ink, thick, dashes)] if cut else []


def quantity_text(value: float, unit: str, rounding: Rounding) -> str:
    """Return a number with its unit; what has no number is said in words."""
    if math.isnan(value):
        return "not a number"
    if math.isinf(value):
        return "without end"
    text = _MICRO.sub("µ", format_quantity(value, unit, 3, rounding)).replace("m2", "m²")
    return text.replace(" ", _HELD)


def time_text(value: float) -> str:
    """Return a time without needless zeros."""
    if not math.isfinite(value):
        return quantity_text(value, "s", "nearest")
    digits, unit = quantity_text(value, "s", "nearest").split(_HELD)
    return f"{digits.rstrip('0').rstrip('.') if '.' in digits else digits}{_HELD}{unit}"


def count_text(value: float) -> str:
    """Return how many times a limit an exposure is, never too few."""
    if not math.isfinite(value):
        return quantity_text(value, "1", "up")
    text = format_quantity(value, "1", 3, "up")
    return f"{int(text):,}".replace(",", _HELD) if text.isdigit() else text


def metres(value: float, rounding: Rounding = "up") -> str:
    """Return a distance, one that must not be printed too short unless said otherwise."""
    if 0.1 <= value < 1000.0:
        return f"{format_quantity(value, '1', 3, rounding)} m".replace(" ", _HELD)
    return quantity_text(value, "m", rounding)


def metres_and_feet(value: float) -> str:
    """Return a distance in metres and in feet, neither too short."""
    if not math.isfinite(value):
        return metres(value)
    long = feet(value)
    text = f"{math.ceil(long * 10) / 10:.1f}" if long < 100.0 else f"{math.ceil(long):,}".replace(",", _HELD)
    return f"{metres(value)} ({text}{_HELD}ft)"
