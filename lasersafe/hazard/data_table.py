"""Read a data file key by key, so that nothing in it can be unknown, missing or of the wrong kind."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from lasersafe.errors import ReferenceDataError
from lasersafe.reference import load_toml

SEEN = ("read", "part", "memory")
FROM_ZERO = (0.0, math.inf)


@dataclass(frozen=True)
class Source:
    """Where a file comes from: a key of references.bib, the place in the document and how it was obtained."""

    key: str
    locator: str
    seen: str
    errata: str


class DataTable:
    """One TOML table; every key must be asked for once, and none may be left over."""

    def __init__(self, file: str, where: str, content: Any) -> None:
        self.file, self.where = file, where
        if not isinstance(content, dict):
            self.fail("must be a table")
        self._rest: dict[str, Any] = dict(content)

    def fail(self, message: str) -> NoReturn:
        """Refuse the file, naming the table."""
        text = f"data file {self.file}: {self.where or 'top level'}: {message}"
        raise ReferenceDataError(text)

    def _take(self, key: str) -> Any:
        if key not in self._rest:
            self.fail(f"key '{key}' is missing")
        return self._rest.pop(key)

    def done(self) -> None:
        """Refuse keys that nobody asked for."""
        if self._rest:
            self.fail(f"unknown key '{next(iter(self._rest))}'")

    def text(self, key: str) -> str:
        """Return text that is not blank."""
        value = self._take(key)
        if not isinstance(value, str) or not value.strip():
            self.fail(f"'{key}' must be text")
        return value

    def optional_text(self, key: str) -> str | None:
        """Return text, or None when the key is absent."""
        return self.text(key) if key in self._rest else None

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts, empty when the key is absent."""
        value = self._rest.pop(key, [])
        if not isinstance(value, list) or not all(isinstance(one, str) and one.strip() for one in value):
            self.fail(f"'{key}' must be a list of texts")
        return tuple(value)

    def has(self, key: str) -> bool:
        """Return whether a key is there."""
        return key in self._rest

    def seen(self) -> str:
        """Return how the figures were obtained."""
        value = self.text("seen")
        if value not in SEEN:
            self.fail(f"seen = '{value}' must be one of {', '.join(SEEN)}")
        return value

    def number(self, key: str) -> float:
        """Return a positive number."""
        value = self._take(key)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value) or value <= 0:
            self.fail(f"'{key}' must be a positive number")
        return float(value)

    def whole(self, key: str) -> int:
        """Return a whole number."""
        value = self._take(key)
        if isinstance(value, bool) or not isinstance(value, int):
            self.fail(f"'{key}' must be a whole number")
        return value

    def count(self, key: str) -> int:
        """Return a whole number above zero."""
        value = self.whole(key)
        if value <= 0:
            self.fail(f"'{key}' must be above zero")
        return value

    def flag(self, key: str) -> bool:
        """Return true or false."""
        value = self._take(key)
        if not isinstance(value, bool):
            self.fail(f"'{key}' must be true or false")
        return value

    def printed(self, key: str) -> float:
        """Return the value of a number kept in quotes as printed, zero or more."""
        text = self.text(key)
        try:
            value = float(text)
        except ValueError:
            self.fail(f"'{key}' must be a number in quotes, as printed")
        if not math.isfinite(value) or value < 0:
            self.fail(f"'{key}' must be zero or more")
        return value

    def range(self, key: str, inside: tuple[float, float] = FROM_ZERO) -> tuple[float, float]:
        """Return two rising numbers."""
        value = self._take(key)
        numbers = isinstance(value, list) and all(
            isinstance(item, (int, float)) and not isinstance(item, bool) for item in value
        )
        if not numbers or len(value) != 2 or not inside[0] <= value[0] < value[1] <= inside[1]:
            self.fail(f"'{key}' must be two rising numbers from {inside[0]:g} to {inside[1]:g}")
        return float(value[0]), float(value[1])

    def table(self, key: str) -> DataTable:
        """Return a table inside this one."""
        return DataTable(self.file, f"{self.where}{key}", self._take(key))

    def tables(self, key: str) -> list[DataTable]:
        """Return a list of tables inside this one."""
        value = self._take(key)
        if not isinstance(value, list) or not value:
            self.fail(f"'{key}' must be a list of tables")
        return [DataTable(self.file, f"{self.where}{key}[{i}]", item) for i, item in enumerate(value, start=1)]


def open_data(path: Path) -> tuple[DataTable, Source]:
    """Open a data file and read its source table.

    Parameters
    ----------
    path : pathlib.Path
        The file.

    Returns
    -------
    tuple of DataTable and Source
        The top level, still to be read, and the source.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged, or its source table is.
    """
    top = DataTable(path.name, "", load_toml(path))
    table = top.table("source")
    source = Source(table.text("key"), table.text("locator"), table.seen(), table.text("errata"))
    table.done()
    return top, source


def check_cover(table: DataTable, what: str, ranges: Iterable[tuple[float, float]], whole: tuple[float, float]) -> None:
    """Refuse ranges that leave a gap, overlap or do not fill the whole.

    Parameters
    ----------
    table : DataTable
        Where the ranges stand, for the message.
    what : str
        What the ranges are of, for the message.
    ranges : iterable of tuple of float
        Lower and upper end of each range. [any]
    whole : tuple of float
        What they have to fill. [any]

    Raises
    ------
    ReferenceDataError
        If they do not.
    """
    reached = whole[0]
    for low, high in sorted(ranges):
        if low > reached:
            table.fail(f"{what}: gap from {reached:g} to {low:g}")
        if low < reached:
            table.fail(f"{what}: overlap from {low:g} to {reached:g}")
        reached = high
    if reached != whole[1]:
        table.fail(f"{what}: ends at {reached:g}, must reach {whole[1]:g}")
