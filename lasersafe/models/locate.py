"""In which line of a TOML file a key stands; ``tomllib`` does not tell.

The text has already been read by ``tomllib``, so this walks valid TOML and checks nothing again.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from lasersafe.models.messages import Place

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]+")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")


def lines_of(text: str) -> dict[Place, int]:
    r"""Return the line, counted from 1, of each table, key and array element of a TOML text.

    Parameters
    ----------
    text : str
        Valid TOML.

    Returns
    -------
    dict
        Path of keys and indices, as ``("laser", 0, "wavelength")``, to line. A table has the line of its heading, or of
        the first key that makes it.

    Examples
    --------
    >>> lines_of('title = "x"\n[[laser]]\nrange = [1,\n 2]')[("laser", 0, "range", 1)]
    4
    """
    return _Walk(text).run()


class _Walk:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.found: dict[Place, int] = {}
        self.arrays: dict[Place, int] = {}  # array of tables -> index of its last table

    def run(self) -> dict[Place, int]:
        table: Place = ()
        while self._blank() < len(self.text):
            if self.text[self.at] == "[":
                table = self._heading()
            else:
                self._pair(table)
        return self.found

    def _move(self, end: int) -> None:
        self.line += self.text.count("\n", self.at, end)
        self.at = end

    def _blank(self) -> int:
        blank = _BLANK.match(self.text, self.at)
        assert blank is not None
        self._move(blank.end())
        return self.at

    def _spaces(self) -> None:
        while self.text[self.at : self.at + 1] in (" ", "\t"):
            self.at += 1

    def _heading(self) -> Place:
        double = self.text.startswith("[[", self.at)
        self.at += 2 if double else 1
        keys = list(self._keys())
        self.at += 2 if double else 1
        place = (*self._open(keys[:-1]), keys[-1])
        if double:
            index = self.arrays.get(place, -1) + 1
            self.arrays[place] = index
            self.found.setdefault(place, self.line)
            place += (index,)
        elif place in self.arrays:
            place += (self.arrays[place],)
        self.found.setdefault(place, self.line)
        return place

    def _open(self, keys: list[str]) -> Place:
        """Return the place of the parents in a heading; of an array of tables, its last table."""
        place: Place = ()
        for key in keys:
            place += (key,)
            self.found.setdefault(place, self.line)
            if place in self.arrays:
                place += (self.arrays[place],)
        return place

    def _keys(self) -> Iterator[str]:
        while True:
            self._spaces()
            yield self._key()
            self._spaces()
            if self.text[self.at : self.at + 1] != ".":
                return
            self.at += 1

    def _key(self) -> str:
        if self.text[self.at] in "\"'":
            return self._string()
        bare = _BARE.match(self.text, self.at)
        assert bare is not None
        self.at = bare.end()
        return bare.group()

    def _pair(self, table: Place) -> None:
        place = table
        for key in self._keys():
            place += (key,)
            self.found.setdefault(place, self.line)
        self.at = self.text.index("=", self.at) + 1
        self._spaces()
        self._value(place)

    def _value(self, place: Place) -> None:
        first = self.text[self.at]
        if first in "\"'":
            self._string()
        elif first == "[":
            self._list(place)
        elif first == "{":
            self._inline_table(place)
        else:
            scalar = _SCALAR.match(self.text, self.at)
            assert scalar is not None
            self.at = scalar.end()

    def _list(self, place: Place) -> None:
        self.at += 1
        index = 0
        while self.text[self._blank()] != "]":
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self.found[(*place, index)] = self.line
            self._value((*place, index))
            index += 1
        self.at += 1

    def _inline_table(self, place: Place) -> None:
        self.at += 1
        while self.text[self._blank()] != "}":
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self._pair(place)
        self.at += 1

    def _string(self) -> str:
        """Pass a string of any of the four kinds; return its text, which only matters for keys."""
        import tomllib

        start, quote = self.at, self.text[self.at]
        if self.text.startswith(quote * 3, start):
            end = start + 3
            while not self.text.startswith(quote * 3, end):
                end += 2 if quote == '"' and self.text[end] == "\\" else 1
            end += 3
            while self.text[end : end + 1] == quote:  # up to two quotes may stand before the closing three
                end += 1
            self._move(end)
            return ""
        end = start + 1
        while self.text[end] != quote:
            end += 2 if quote == '"' and self.text[end] == "\\" else 1
        self.at = end + 1
        plain = self.text[start + 1 : end]
        if quote == '"' and "\\" in plain:
            return str(tomllib.loads(f'x = "{plain}"')["x"])
        return plain
