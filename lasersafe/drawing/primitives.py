"""The few things that a drawing or a page is made of, measured from the lower left corner of the paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

Pair = tuple[float, float]
Run = tuple[Pair, ...]
Rect = tuple[float, float, float, float]  # low x, low y, high x, high y

BLACK = "#000000"
WHITE = "#ffffff"


@dataclass(frozen=True)
class Lines:
    """Open lines of one pen."""

    runs: tuple[Run, ...]
    ink: str = BLACK
    thick: float = 0.25
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Area:
    """A filled area; a ring inside another one is a hole."""

    rings: tuple[Run, ...]
    fill: str = BLACK


@dataclass(slots=True)  # thousands of them: a frozen one takes three times as long to make
class Words:
    """One line of text; its base line starts at ``x``, ``y``. ``size`` is the height of the type."""

    x: float
    y: float
    text: str
    size: float = 2.5
    bold: bool = False
    ink: str = BLACK
    framed: bool = False  # whether it has to lie inside the frame of the drawing
    turn: float = 0.0  # [degree], counter-clockwise; only on a page of the sheet


Mark = Lines | Area | Words


@dataclass(frozen=True)
class Drawing:
    """One page of a plan, or one chart, in millimetres."""

    kind: str  # plan | overview | elevation | map | key | sweep | chart
    title: str
    width: float
    height: float
    frame: Rect
    scale: int  # 1 : scale; 0 when nothing on the page is to scale
    marks: list[Mark] = field(default_factory=list)


def moved(marks: Iterable[Mark], x: float, y: float) -> list[Mark]:
    """Return marks elsewhere on the paper."""

    def run(points: Run) -> Run:
        return tuple([(a + x, b + y) for a, b in points])

    found: list[Mark] = []
    for mark in marks:
        if isinstance(mark, Words):
            found.append(replace(mark, x=mark.x + x, y=mark.y + y))
        elif isinstance(mark, Lines):
            found.append(replace(mark, runs=tuple(map(run, mark.runs))))
        else:
            found.append(replace(mark, rings=tuple(map(run, mark.rings))))
    return found


def grey(level: float) -> str:
    """Return an ink from 0 (black) to 1 (white)."""
    return f"#{round(255 * level):02x}" + 2 * f"{round(255 * level):02x}"


def arrow(tail: Pair, tip: Pair, ink: str = BLACK, thick: float = 0.3, head: float = 2.0) -> list[Mark]:
    """Return a line with a filled head at its tip."""
    dx, dy = tip[0] - tail[0], tip[1] - tail[1]
    long = (dx * dx + dy * dy) ** 0.5
    if long < 1e-9:
        return []
    ux, uy = dx / long, dy / long
    neck = (tip[0] - ux * head, tip[1] - uy * head)
    side = head * 0.32
    wings = (tip, (neck[0] - uy * side, neck[1] + ux * side), (neck[0] + uy * side, neck[1] - ux * side))
    return [Lines(((tail, neck),), ink, thick), Area((wings,), ink)]


def box(rect: Rect) -> Run:
    """Return the corners of a rectangle."""
    x0, y0, x1, y1 = rect
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def closed(run: Run) -> Run:
    """Return a ring that ends where it began."""
    return (*run, run[0])


def edge(rect: Rect, thick: float = 0.3, ink: str = BLACK, fill: str = "") -> list[Mark]:
    """Return the edge of a rectangle, filled when ``fill`` says so."""
    found: list[Mark] = [Area((box(rect),), fill)] if fill else []
    return [*found, Lines((closed(box(rect)),), ink, thick)]
