"""Inks, dashes and tones of drawings; tones survive a grey printer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lasersafe.drawing.primitives import Area, Lines, Mark, Rect, Run, grey
from lasersafe.drawing.shapes import clip_ring, clip_run

AIM_INK = "#333333"
AIM_DASHES = (5.0, 1.0, 0.8, 1.0)
ITEM_INK = "#555555"
DARK, LIGHT = grey(0.6), grey(0.85)
DECADES = (grey(0.92), grey(0.78), grey(0.6), grey(0.42))


def tone(rings: Sequence[Run], frame: Rect, fill: str) -> list[Mark]:
    """Return a filled area inside a frame."""
    cut = tuple(ring for ring in (clip_ring(ring, frame) for ring in rings) if ring)
    return [Area(cut, fill)] if cut else []


def strokes(runs: Iterable[Run], frame: Rect, ink: str, thick: float, dashes: tuple[float, ...] = ()) -> list[Mark]:
    """Return lines inside a frame."""
    cut = tuple(part for run in runs for part in clip_run(run, frame))
    return [Lines(cut, ink, thick, dashes)] if cut else []
