"""Pages that fill from the top with paragraphs, headings and tables; drawn as marks until all pages are known."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any, TypeVar

from lasersafe.drawing import primitives
from lasersafe.drawing.primitives import BLACK, Area, Drawing, Lines, box, grey, moved
from lasersafe.drawing.text import held
from lasersafe.results import Assessment
from lasersafe.sheet import text as styles
from lasersafe.sheet.text import Line, References, Style, width_of, wrap, wrap_formula
from lasersafe.wording import CONTROL_KINDS, Wording

HEADING = (Style(12.5, True), Style(10.5, True), Style(9, True))
MILLIMETRE = 72.0 / 25.4  # [point]
_SIDE = 2.5
_CARRIED = 90.0  # height of a heading with what is said below it, at most, that goes to the next page with its table
_LOW = 200.0  # room below which it is looked whether the row after a title still fits on the page
_ALONE = 30.0  # a last row, or the rest of one that is split, that is lower does not stand alone on the next page
_PLAIN, _WIDEST = 600.0, 40  # of pages as text: their size [point]; letters, of a column
_SIGNED = re.compile(r"[^/_.:=\-]+[/_.:=\-]*")
T = TypeVar("T")


@dataclass(frozen=True)
class Placed:
    """A drawing, its lower left corner at a place of the page."""

    x: float
    y: float
    drawing: Drawing


Mark = primitives.Mark | Placed


@dataclasses.dataclass
class Page:
    """One page with its marks in the order of drawing, and what stands at its head and foot."""

    marks: list[Mark] = field(default_factory=list)
    around: list[Mark] = field(default_factory=list)


@dataclass(frozen=True)
class Entry:
    """One entry of the outline: a heading, where it stands, and its size of type."""

    title: str
    level: int
    page: int
    top: float
    size: float


@dataclass(frozen=True)
class Part:
    """One paragraph of a table cell."""

    text: str
    style: Style = styles.SMALL
    formula: bool = False

    def lines(self, width: float) -> tuple[Line, ...]:
        """Break the paragraph into lines."""
        return (wrap_formula if self.formula else wrap)(self.text, self.style, width)


Cell = Part | Sequence[Part]


@dataclass(frozen=True)
class Row:
    """One row of a table; ``below`` runs over the full width beneath the cells, of which there may be none."""

    cells: Sequence[Cell]
    below: Cell = ()
    shade: float | None = None
    bar: bool = False  # a thick bar at the left edge
    keep: float = 0.0  # height that must follow on the same page. [point]
    loose: bool = False  # may be split where a page ends


def row(*cells: Cell, **more: Any) -> Row:
    """Return one row of a table from its cells, and the other fields of `Row`."""
    return Row(cells, **more)


tiny, strong, faint = (partial(Part, style=style) for style in (styles.TINY, styles.TINY_BOLD, styles.TINY_NOTE))
bold, note = partial(Part, style=styles.SMALL_BOLD), partial(Part, style=styles.NOTE)
_Lines = list[tuple[Line, Style]]


def _laid(cell: Cell, width: float) -> _Lines:
    return [(line, part.style) for part in ([cell] if isinstance(cell, Part) else cell) for line in part.lines(width)]


def _height(lines: _Lines) -> float:
    return sum([style.leading for _, style in lines])


class Flow:
    """Fills pages from the top.

    Parameters
    ----------
    size : tuple of float
        Width and height of the page. [point]
    margins : tuple of float
        Left, top, right, bottom, between which the content lies. [point]
    """

    def __init__(self, size: tuple[float, float], margins: tuple[float, float, float, float]) -> None:
        left, top, right, bottom = margins
        self.geometry = (size, margins)
        self.left = left
        self.width = size[0] - left - right
        self.top = size[1] - top
        self.bottom = bottom
        self.pages: list[Page] = [Page()]
        self.entries: list[Entry] = []
        self.y = self.top
        self.held: tuple[int, float, int] | None = None  # marks, place and entries before a heading not yet followed

    @property
    def marks(self) -> list[Mark]:
        """Marks of the current page."""
        return self.pages[-1].marks

    @property
    def room(self) -> float:
        """Height that is left on the page, in points."""
        return self.y - self.bottom

    @property
    def full(self) -> float:
        """Height of an empty page, in points."""
        return self.top - self.bottom

    def new_page(self) -> None:
        """Start a page, unless the current one is still empty."""
        if self.y < self.top:
            self.pages.append(Page())
            self.y, self.held = self.top, None

    def _turn_with_heading(self) -> None:
        """Start a page, and take a heading along that nothing has followed but a few lines."""
        held, low = self.held, self.y
        self.new_page()
        if held and held[0] and held[1] - low < _CARRIED:
            (count, top, entries), marks = held, self.pages[-2].marks
            up = self.top - top
            self.pages[-1].marks += moved([mark for mark in marks[count:] if not isinstance(mark, Placed)], 0.0, up)
            del marks[count:]
            self.y = low + up
            self.entries[entries:] = [
                dataclasses.replace(one, page=one.page + 1, top=one.top + up) for one in self.entries[entries:]
            ]

    def need(self, height: float) -> None:
        """Start a new page when ``height`` does not fit on this one."""
        if height > self.room:
            self.new_page()

    def space(self, height: float) -> None:
        """Leave white space, except at the top of a page."""
        if self.y < self.top:
            self.y = max(self.y - height, self.bottom)

    def rule(self, thick: float, ink: str = BLACK) -> None:
        """Draw a line over the full width."""
        self.marks.append(Lines((((self.left, self.y), (self.left + self.width, self.y)),), ink, thick))

    def heading(self, text: str, level: int = 0, keep: float = 70.0, outline: bool = True) -> None:
        """Print a heading with at least ``keep`` points below it, and enter it in the outline."""
        style = HEADING[level]
        lines = wrap(text, style, self.width)
        self.space((7.0, 6.0, 4.0)[level])
        if min(len(lines) * style.leading + keep, self.full) > self.room:
            self._turn_with_heading()
        self.held = self.held or (len(self.marks), self.y, len(self.entries))
        if outline:
            self.entries.append(Entry(" ".join(text.split()), level, len(self.pages) - 1, self.y, style.size))
        self.lines(lines, style)
        if level == 0:
            self.rule(0.8)
        self.y -= (4.0, 2.0, 1.5)[level]

    def lines(self, lines: Sequence[Line], style: Style, indent: float = 0.0) -> None:
        """Print lines; a new page starts where the room ends."""
        for number, line in enumerate(lines):
            self.need(style.leading * (2 if number + 2 == len(lines) else 1))  # the last does not stand alone
            self.y = self.stack([(line, style)], self.left + indent, self.y)

    def paragraph(self, text: str, style: Style = styles.BODY, indent: float = 0.0, bullet: str = "") -> None:
        """Print a paragraph, its first line marked by ``bullet`` at the left edge."""
        lines = wrap(text, style, self.width - indent)
        if not lines:
            return
        self.need(min(len(lines), 2) * style.leading)
        if bullet:
            base = self.y - style.leading + 0.24 * style.size
            self.marks.append(
                dataclasses.replace(style, bold=style.bold or len(bullet) > 1).words(self.left, base, bullet)
            )
        self.lines(lines, style, indent)
        self.space(style.after)

    def items(self, texts: Sequence[str], style: Style = styles.ITEM) -> None:
        """Print texts as the items of a list."""
        for text in texts:
            self.paragraph(text, style, 12.0, "•")
        self.held = None  # its heading stays with it

    def footnotes(self, texts: dict[str, str]) -> None:
        """Print notes, given as text and number."""
        for text, label in texts.items():
            self.paragraph(text, Style(7.5, ink=grey(0.15), after=0.5), 22.0, label)
        self.space(4.0)

    def reserve(self, height: float) -> float:
        """Keep room for what stays in one piece, on a new page where this one is too full; return its upper edge."""
        self.need(height)
        self.y, self.held = self.y - height, None
        return self.y + height

    def figure(self, *drawings: Drawing, gap: float = 0.0) -> None:
        """Print drawings beside each other, with a gap [mm] between them; they stay in one piece."""
        self.reserve(max(drawing.height for drawing in drawings) * MILLIMETRE)
        left = self.left
        for drawing in drawings:
            self.marks.append(Placed(left, self.y, drawing))
            left += (drawing.width + gap) * MILLIMETRE

    def table(self, header: Sequence[str], shares: Sequence[float], rows: Sequence[Row], pad: float = 2.5) -> None:
        """Print a table whose header stands on each page; a row that is longer than a page is split.

        Parameters
        ----------
        header : sequence of str
            One title per column; empty for a table without a header.
        shares : sequence of float
            Widths of the columns, relative.
        rows : sequence of Row
            The rows.
        pad : float
            White space above and below the text of a row. [point]
        """
        widths = self._widths(header, shares, rows)
        edges = [self.left + sum(widths[:index]) for index in range(len(widths))]
        head = [_laid(bold(title), wide - 2 * _SIDE) for title, wide in zip(header, widths, strict=False)]
        tall = max(map(_height, head)) + 5.0 if head else 0.0
        fresh = True

        def laid(row: Row) -> tuple[list[_Lines], _Lines]:
            cells = [_laid(cell, wide - 2 * _SIDE) for cell, wide in zip(row.cells, widths, strict=bool(row.cells))]
            return cells, _laid(row.below, self.width - 2 * _SIDE)

        def height(cells: list[_Lines], below: _Lines) -> float:
            return max(map(_height, cells), default=0.0) + _height(below) + 2 * pad

        for number, row in enumerate(rows):
            cells, below = laid(row)
            keep = row.keep
            if self.room < _LOW and (keep or number + 2 == len(rows) > 2) and number + 1 < len(rows):
                after = height(*laid(rows[number + 1]))  # a title stays with it, and a low last row is not left alone
                keep = max(keep, min(after, _LOW)) if keep or after < _ALONE else 0.0
            while True:
                high = height(cells, below)
                wanted = high + keep + (tall if fresh else 0.0)
                if wanted > self.room and self.y < self.top and not (row.loose and self.room > _CARRIED):
                    if high + tall <= self.full or self.room < self.full / 3:
                        self._turn_with_heading()
                        fresh = True
                        continue
                if fresh and head:
                    self._row(head, [], edges, tall, Row((), shade=0.9), 2.5)
                fresh = False
                if high <= self.room:
                    self._row(cells, below, edges, high, row, pad)
                    break
                now, cells = _split(cells, min(self.room, high - _ALONE) - 2 * pad)
                part: _Lines = []
                used = max(map(_height, now), default=0.0)
                if not any(cells):
                    (part,), (below,) = _split([below], self.room - 2 * pad - used)
                self._row(now, part, edges, used + _height(part) + 2 * pad, row, pad)
                self.new_page()
                fresh = True
        self.space(4.0)

    def _widths(self, header: Sequence[str], shares: Sequence[float], rows: Sequence[Row]) -> list[float]:
        """Return the widths of columns by their shares, and wide enough for each word where that can be."""
        said: list[set[Part]] = [{bold(title)} for title in header] or [set() for _ in shares]
        for row in rows:
            for own, cell in zip(said, row.cells, strict=False):
                own.update((cell,) if isinstance(cell, Part) else cell)
        least = []
        for own in said:
            whole = [(held(one.text).replace("\n", " ").split(" "), one.style) for one in own if not one.formula]
            words = {(word, style) for texts, style in whole for word in texts}
            parts = [(p, style) for w, style in words for p in ([w] if "\u00a0" in w else _SIGNED.findall(w))]
            least.append(max([width_of(*part) for part in parts] or [0.0]) + 2 * _SIDE)
        while sum(least) > self.width:
            most = 0.95 * max(least)
            least = [min(one, most) for one in least]
        widths = [max(share / sum(shares) * self.width, low) for share, low in zip(shares, least, strict=True)]
        spare = [wide - low for wide, low in zip(widths, least, strict=True)]
        over = (sum(widths) - self.width) / (sum(spare) or 1.0)
        return [wide - over * part for wide, part in zip(widths, spare, strict=True)]

    def _row(self, cells: list[_Lines], below: _Lines, edges: list[float], high: float, row: Row, pad: float) -> None:
        low, self.held = self.y - high, None
        if row.shade is not None:
            self.marks.append(Area((box((self.left, low, self.left + self.width, self.y)),), grey(row.shade)))
        if row.bar:
            self.marks.append(Area((box((self.left - 4.0, low, self.left - 1.0, self.y)),), BLACK))
        top = self.y - pad
        for lines, left in zip(cells, edges, strict=False):
            self.stack(lines, left + _SIDE, top)
        self.stack(below, self.left + _SIDE, top - max(map(_height, cells), default=0.0))
        self.y = low
        self.rule(0.4, grey(0.6))

    def stack(self, lines: _Lines, x: float, y: float) -> float:
        """Write lines below each other from a place on this page, and return how far down they reach."""
        for line, style in lines:
            y -= style.leading
            base = y + 0.24 * style.size
            for piece in line:
                self.marks.append(
                    primitives.Words(x + piece.x, base + piece.y, piece.text, piece.size, piece.bold, piece.ink)
                )
        return y


class Sheet(Flow):
    """The pages of a sheet, with what is printed on them.

    Parameters
    ----------
    size, margins : tuple of float
        As for `Flow`. [point]
    assessment : Assessment
        What is printed.
    wording : Wording
        Texts.
    paper : str
        Name of the size.
    """

    def __init__(
        self,
        size: tuple[float, float],
        margins: tuple[float, float, float, float],
        assessment: Assessment,
        wording: Wording,
        paper: str = "",
    ) -> None:
        super().__init__(size, margins)
        self.paper = paper
        self.assessment = assessment
        self.wording = wording
        self.text = wording.text
        self.say = wording.say
        self.feet = assessment.units == "metric and feet"

    @cached_property
    def references(self) -> References:
        """Short numbers of limits, scenarios, controls and sources."""
        return References(self.assessment, CONTROL_KINDS)

    def per_cm2(self, barrier: str) -> bool:
        """Return whether the rating of a barrier was typed for a square centimetre."""
        typed = {line.field: line.typed for line in self.assessment.inputs}
        names = (field for field, text in typed.items() if field.startswith("barrier[") and text == barrier)
        return any("cm2" in typed.get(field.replace(".name", ".rating"), "") for field in names)

    def named(self, group: str, key: str) -> str:
        """Return the wording of a short word, or the word itself when the wording has none."""
        return self.wording.texts.get(f"{group}.{key}", key)

    def words_of(self, one: Any) -> dict[str, str]:
        """Return the way and the tissue of a record in words, by the names that the wording has for them."""
        return {"way": self.named("way", one.way), "tissue": self.named("tissue", one.tissue)}

    def begin(self, key: str, level: int = 0, keep: float = 70.0, intro: str = "", style: Style = styles.BODY) -> None:
        """Print a heading, and the text below it, both given by their keys."""
        self.heading(self.text(key), level, keep)
        if intro:
            self.paragraph(self.text(intro), style)

    def listing(
        self, group: str, columns: Mapping[str, float], rows: Sequence[Row], pad: float = 2.5, none: str = ""
    ) -> None:
        """Print a table whose columns are given by the keys of their titles and their shares; without rows a text."""
        if none and not rows:
            self.paragraph(self.text(none))
        else:
            self.table([self.text(f"{group}.{key}") for key in columns], tuple(columns.values()), rows, pad)

    def fits(self, top: float, draw: Callable[..., object], *more: object) -> bool:
        """Return whether all that is drawn fits on one page, from a place downwards."""
        trial = Sheet(*self.geometry, self.assessment, self.wording, self.paper)
        trial.y = top
        draw(trial, *more)
        return len(trial.pages) == 1

    def fitted(self, draw: Callable[[Sheet, float], T], sizes: Sequence[float]) -> T:
        """Draw in the largest of some sizes of type with which all of it fits on this page, or else on the next."""
        for top in (self.y, self.top):
            for size in sizes:
                if self.fits(top, draw, size):
                    self.need(self.room + top - self.y)
                    return draw(self, size)
        return draw(self, sizes[-1])


class Plain(Sheet):
    """The parts of a sheet as lines of text: a row of a table on one, nothing drawn."""

    def __init__(self, assessment: Assessment, wording: Wording) -> None:
        super().__init__((_PLAIN, _PLAIN), (0.0, 0.0, 0.0, 0.0), assessment, wording)
        self.said: list[str] = []

    def heading(self, text: str, level: int = 0, keep: float = 0.0, outline: bool = True) -> None:
        """Add a heading."""
        self.said += ["", text]

    def paragraph(self, text: str, style: Style = styles.BODY, indent: float = 0.0, bullet: str = "") -> None:
        """Add a paragraph."""
        self.said += [f"{bullet} {text}".strip()] if text else []

    def figure(self, *drawings: Drawing, gap: float = 0.0) -> None:
        """Leave drawings out."""

    def table(self, header: Sequence[str], shares: Sequence[float], rows: Sequence[Row], pad: float = 2.5) -> None:
        """Add the rows of a table; what is longer than its column moves the rest to the right."""
        every = [Row([Part(title) for title in header]), *rows]
        told = [[_plain(cell) for cell in row.cells] for row in every]
        wide = [min(max(map(len, column)), _WIDEST) for column in zip(*filter(None, told), strict=True)]
        for cells, row in zip(told, every, strict=True):
            line = "  ".join(map(str.ljust, cells, wide)).rstrip()
            self.said += [one for one in (line, f"    {_plain(row.below)}") if one.strip()]


def _plain(cell: Cell) -> str:
    """Return what stands in a cell on one line."""
    parts = [cell] if isinstance(cell, Part) else cell
    return ", ".join(one.text.replace("\n", ", ").replace("\u00a0", " ") for one in parts if one.text)


def _split(cells: list[_Lines], room: float) -> tuple[list[_Lines], list[_Lines]]:
    """Split each cell after the lines that fit; at least the first line of the fullest cell is taken."""
    now, rest = list[_Lines](), list[_Lines]()
    for lines in cells:
        used, count = 0.0, 0
        for _, style in lines:
            if used + style.leading > room:
                break
            used += style.leading
            count += 1
        now.append(lines[:count])
        rest.append(lines[count:])
    return now, rest
