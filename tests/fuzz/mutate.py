"""Damage a case file as text, as a hurried hand, a spreadsheet or a bad copy would."""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random

UNITS = (
    "m",
    "mm",
    "um",
    "µm",
    "μm",
    "nm",
    "km",
    "cm",
    "ft",
    "in",
    "W",
    "mW",
    "MW",
    "kW",
    "J",
    "mJ",
    "J/m2",
    "W/cm²",
    "W/m^2",
    "deg",
    "°",
    "rad",
    "mrad",
    "s",
    "ms",
    "min",
    "h",
    "Hz",
    "kHz",
    "%",
    "",
    "VA",
    "lumen",
    "Ω",
)
NUMBERS = (
    "0",
    "-0",
    "1e-30",
    "1e30",
    "nan",
    "inf",
    "-1",
    "1e999",
    "1,5",
    "1.5.2",
    "0x1F",
    "1e",
    "12345678901234567890",
    "9" * 70,
    "0.000",
    "1_0",
    "+-1",
    "١",
    "1 +- 0.1",
    "1 ± 200 %",
)
STRANGE = (
    "\x00",
    "\x07",
    "\x1b[31m",
    "\x7f",
    "\u200b",
    "\u202e",
    "\ufeff",
    "\u2028",
    "\u0301",
    "\U0001f4a5",
    "\r",
    "\t",
    "é",
    "\u2212",
    "\u00a0",
    "“",
    "”",
    "’",
    "\\",
    "\\u0000",
    "\\ud800",
    "\\x",
    '"""',
    "'''",
    "#",
    "=",
    "[",
    "]]",
    "{",
    "}",
    ",",
    ".",
    "\udcff",
)
_QUANTITY = re.compile(r"([-+]?[0-9][0-9.]*(?:e[-+]?[0-9]+)?) ?([A-Za-z%][A-Za-z0-9/]*)?")
_HEADING = re.compile(r"^\[.*$", re.MULTILINE)
_KEY = re.compile(r"^[a-z_0-9]+(?= =)", re.MULTILINE)

Mutation = Callable[[str, Random, list[str]], str]


def mutated(text: str, random: Random, others: list[str], most: int = 4) -> bytes:
    """Return a damaged copy of a case file, as bytes.

    Parameters
    ----------
    text : str
        A case file.
    random : random.Random
        Makes every choice.
    others : list of str
        Further case files, from which parts are taken.
    most : int
        Highest number of changes.
    """
    for _ in range(random.randint(1, most)):
        text = random.choice(_OFTEN if random.random() < 0.97 else _RARE)(text, random, others)
    raw = text.encode("utf-8", "surrogateescape")
    if random.random() < 0.02 and raw:
        at = random.randrange(len(raw))
        raw = raw[:at] + random.randbytes(random.randint(1, 8)) + raw[at + random.randint(0, 8) :]
    if random.random() < 0.01:
        raw = random.choice(
            (b"\xef\xbb\xbf" + raw, raw.replace(b"\n", b"\r\n"), raw.decode("utf-8", "replace").encode("utf-16"))
        )
    return raw


def _lines(text: str) -> list[str]:
    return text.split("\n")


def _delete_line(text: str, r: Random, others: list[str]) -> str:
    lines = _lines(text)
    at = r.randrange(len(lines))
    del lines[at : at + r.choice((1, 1, 1, 2, 5))]
    return "\n".join(lines)


def _double_line(text: str, r: Random, others: list[str]) -> str:
    lines = _lines(text)
    at = r.randrange(len(lines))
    lines.insert(r.choice((at, r.randrange(len(lines)))), lines[at])
    return "\n".join(lines)


def _swap_lines(text: str, r: Random, others: list[str]) -> str:
    lines = _lines(text)
    a, b = r.randrange(len(lines)), r.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    return "\n".join(lines)


def _line_of_another(text: str, r: Random, others: list[str]) -> str:
    lines = _lines(text)
    source = _lines(r.choice(others))
    at = r.randrange(len(source))
    lines[r.randrange(len(lines)) : 0] = source[at : at + r.choice((1, 1, 3, 12))]
    return "\n".join(lines)


def _change(pattern: re.Pattern[str], choose: Callable[[re.Match[str], Random], str]) -> Mutation:
    def mutation(text: str, r: Random, others: list[str]) -> str:
        found = list(pattern.finditer(text))
        if not found:
            return text
        one = r.choice(found)
        return text[: one.start()] + choose(one, r) + text[one.end() :]

    return mutation


def _other_number(one: re.Match[str], r: Random) -> str:
    if r.random() < 0.4:
        return f"{r.choice(NUMBERS)} {one[2] or ''}".strip()
    try:
        value = float(one[1])
    except ValueError:
        value = 1.0
    changed = r.choice(
        (value * 10 ** r.uniform(-9, 9), value * r.uniform(0.5, 2), -value, value * 1000, value / 1000, value + 1)
    )
    return f"{changed:.6g} {one[2] or ''}".strip()


def _other_unit(one: re.Match[str], r: Random) -> str:
    return f"{one[1]}{r.choice((' ', '', '  '))}{r.choice(UNITS)}"


def _tolerance(one: re.Match[str], r: Random) -> str:
    width = r.choice(
        ("15 %", "0.1 mm", "200 %", "-1 %", "0", "nan", "1e400 %", f"{r.uniform(0, 2):.3g} {one[2] or ''}")
    )
    sign = r.choice(("+-", "±", "+/-", "+- +-"))
    return f"{one[0]} {sign} {width}{r.choice(('', '', ' standard uncertainty', ' bound', ' maybe'))}"


def _strange(text: str, r: Random, others: list[str]) -> str:
    at = r.randrange(len(text) + 1)
    return text[:at] + r.choice(STRANGE) + text[at + r.choice((0, 0, 1)) :]


def _delete_some(text: str, r: Random, others: list[str]) -> str:
    at = r.randrange(len(text) + 1)
    return text[:at] + text[at + r.choice((1, 2, 5, 30, 300)) :]


def _cut(text: str, r: Random, others: list[str]) -> str:
    return text[: r.randrange(len(text) + 1)]


def _quotes(text: str, r: Random, others: list[str]) -> str:
    found = [i for i, c in enumerate(text) if c == '"']
    if not found:
        return text
    at = r.choice(found)
    return text[:at] + r.choice(("", "'", "”", '""')) + text[at + 1 :]


def _double_heading(text: str, r: Random, others: list[str]) -> str:
    parts = re.split(r"(?m)^(?=\[)", text)
    one = r.choice(parts)
    return "".join([*parts, r.choice((one, one.replace("[[", "[").replace("]]", "]"), "[" + one))])


def _drop_table(text: str, r: Random, others: list[str]) -> str:
    parts = re.split(r"(?m)^(?=\[)", text)
    del parts[r.randrange(len(parts))]
    return "".join(parts)


def _table_of_another(text: str, r: Random, others: list[str]) -> str:
    parts = re.split(r"(?m)^(?=\[)", r.choice(others))
    return text + "\n" + r.choice(parts)


def _many_tables(text: str, r: Random, others: list[str]) -> str:
    parts = re.split(r"(?m)^(?=\[)", text)
    at = r.randrange(len(parts))
    count = r.choice((3, 13, 61, 201))
    copies = [parts[at].replace('name = "', f'name = "{i} ', 1) for i in range(count)]
    return "".join([*parts[:at], *copies, *parts[at + 1 :]])


def _deep(text: str, r: Random, others: list[str]) -> str:
    depth = r.choice((30, 400, 5000))
    inside = r.choice(("[" * depth + "]" * depth, "{a=" * depth + "1" + "}" * depth, "[" * depth))
    where = r.choice(_lines(text))
    return text.replace(where, f"{where}\nx = {inside}", 1) if r.random() < 0.5 else text + f"\nx = {inside}\n"


def _dotted(text: str, r: Random, others: list[str]) -> str:
    return (
        text + "\n[" + ".".join(r.choice(("a", "laser", '"x y"', "scene")) for _ in range(r.choice((2, 300)))) + "]\n"
    )


def _long_line(text: str, r: Random, others: list[str]) -> str:
    return text.replace('"', '"' + r.choice(("x", "é", "9", "[")) * r.choice((61, 201, 4001, 100_000)), 1)


def _huge(text: str, r: Random, others: list[str]) -> str:
    more = r.choice(("# a comment\n", "a = 1\n", "[[person]]\n", "[a.b]\n", "\n"))
    return text + more * (r.choice((2_000, 1_000_001)) // len(more))


def _long_number(text: str, r: Random, others: list[str]) -> str:
    return text + f"\nnumber = {r.choice(('9', '1', '0')) * r.choice((30, 5000))}\n"


_OFTEN: tuple[Mutation, ...] = (
    _delete_line,
    _double_line,
    _swap_lines,
    _line_of_another,
    _delete_some,
    _quotes,
    _strange,
    _drop_table,
    _table_of_another,
    _change(_QUANTITY, _other_number),
    _change(_QUANTITY, _other_number),
    _change(_QUANTITY, _other_number),
    _change(_QUANTITY, _other_unit),
    _change(_QUANTITY, _other_unit),
    _change(_QUANTITY, _tolerance),
    _double_heading,
    _change(
        _HEADING,
        lambda one, r: r.choice(("[scene]", "[[scene.aim]]", "[[laser]]", "[laser]", one[0][1:], "[" + one[0], "")),
    ),
    _change(
        _KEY,
        lambda one, r: r.choice(
            ("name", "kind", "power", "distance", one[0] + "s", one[0].title(), '"' + one[0] + '"')
        ),
    ),
)
_RARE: tuple[Mutation, ...] = (_cut, _many_tables, _deep, _dotted, _long_line, _huge, _long_number)
