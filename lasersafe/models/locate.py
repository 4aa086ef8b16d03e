"""In which line of a TOML file a key stands; ``tomllib`` does not tell.

The text has already been read by ``tomllib``, so this walks valid TOML and checks nothing again.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator

from lasersafe.models.messages import Place

_TOKEN = re.compile(
    r'"{3}(?:\\.|[^\\])*?"{3,5}'  # up to two quotes may stand before the closing three
    r"|'{3}.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*|\n|[\[\]{},=.]"
    r"""|[^\s\[\]{},=."'#]+""",
    re.DOTALL,
)


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


def tokens_of(text: str) -> Iterator[tuple[str, int]]:
    """Yield the tokens of a TOML text with their lines, without comments, and an empty one at the end."""
    line = 1
    for match in _TOKEN.finditer(text):
        if not match[0].startswith("#"):
            yield match[0], line
        line += match[0].count("\n")
    yield "", line


class _Walk:
    def __init__(self, text: str) -> None:
        self.tokens = list(tokens_of(text))
        self.at = 0
        self.found: dict[Place, int] = {}
        self.arrays: dict[Place, int] = {}  # array of tables -> index of its last table

    def run(self) -> dict[Place, int]:
        table: Place = ()
        while self._after("\n"):
            if self._next() == "[":
                table = self._heading()
            else:
                self._pair(table)
        return self.found

    def _next(self) -> str:
        return self.tokens[self.at][0]

    def _after(self, *passed: str) -> str:
        """Pass some tokens; return the next one."""
        while self._next() in passed:
            self.at += 1
        return self._next()

    def _see(self, place: Place) -> None:
        self.found.setdefault(place, self.tokens[self.at][1])

    def _keys(self) -> list[str]:
        """Return a dotted key, and stand behind it."""
        keys = []
        while True:
            key = self._next()
            keys.append(str(tomllib.loads(f"x = {key}")["x"]) if key[0] in "\"'" else key)
            self.at += 1
            if self._next() != ".":
                return keys
            self.at += 1

    def _heading(self) -> Place:
        double = self.tokens[self.at + 1][0] == "["
        self.at += 2 if double else 1
        keys = self._keys()
        place: Place = ()
        for key in keys[:-1]:  # of an array of tables the last one is meant
            place += (key,)
            self._see(place)
            place += (self.arrays[place],) if place in self.arrays else ()
        place += (keys[-1],)
        if double:
            self._see(place)
            self.arrays[place] = self.arrays.get(place, -1) + 1
        place += (self.arrays[place],) if place in self.arrays else ()
        self._see(place)
        self.at += 2 if double else 1
        return place

    def _pair(self, place: Place) -> None:
        for key in self._keys():
            place += (key,)
            self._see(place)
        self.at += 1  # the equals sign
        self._value(place)

    def _value(self, place: Place) -> None:
        first = self._next()
        if first not in ("[", "{"):
            while self._next() not in (",", "]", "}", "\n", ""):
                self.at += 1
            return
        self.at += 1
        index = 0
        while self._after(",", "\n") not in ("]", "}"):
            if first == "{":
                self._pair(place)
                continue
            self._see((*place, index))
            self._value((*place, index))
            index += 1
        self.at += 1
