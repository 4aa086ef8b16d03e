"""What was typed, in the words of an error line."""

from __future__ import annotations

import re

SPACES = " \u00a0\u2009\u202f"  # plain, no-break, thin and narrow no-break, as pasted from a data sheet
_WORDS = {
    "sec": "s", "second": "s", "seconds": "s", "minute": "min", "minutes": "min", "hour": "h", "hours": "h",
    "watt": "W", "watts": "W", "joule": "J", "joules": "J", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "micron": "um", "microns": "um", "foot": "ft", "feet": "ft", "inch": "in", "inches": "in", "degree": "deg",
    "degrees": "deg", "radian": "rad", "radians": "rad", "hertz": "Hz", "percent": "%", "hr": "h", "hrs": "h",
}  # fmt: skip
_FORMULA = re.compile(r"""(^|[,;\t\r\n]"*)('*)(?=[=+\-@\t\r])""")
_QUOTED_FORMULA = re.compile(r"""(^|[,;\t\r\n]"*)'('*)(?=[=+\-@\t\r])""")
_MOST_KEYS, _LONGEST_TABLE = 5, 120  # of a value with a tolerance, which is quoted whole
_KINDS: dict[type, str] = {type(None): "nothing", list: "a list", tuple: "a list", dict: "a table"}


def possible_thousand(text: str, marks: str = ".,") -> str:
    """Return what could be a thousand in a text: one mark and three digits behind it; "" where nothing is such."""
    found = re.search(rf"(?<![0-9.,])[1-9][0-9]{{0,2}}[{marks}][0-9]{{3}}(?![0-9.,])", text)
    return found[0] if found else ""


def shown(text: object, most: int = 40) -> str:
    """Return what was typed, fit for a line: short, in quotes, control characters spelled out."""
    if not isinstance(text, str):
        try:
            plain = _plain(text)
        except ValueError:  # an integer of more digits than Python prints
            plain = "a very long integer"
        longest = _LONGEST_TABLE if isinstance(text, (dict, list, tuple)) else most
        return plain if len(plain) <= longest else plain[:longest] + "..."
    plain = _printable(text[:most])
    return f"'{plain}'" if len(text) <= most else f"'{plain}...'"


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def for_spreadsheet(text: str) -> str:
    """Return a text for a CSV file in which no part can become a formula, whatever separates the cells."""
    return _FORMULA.sub(r"\1'\2", text)


def from_spreadsheet(text: str) -> str:
    """Return the text that `for_spreadsheet` was given."""
    return _QUOTED_FORMULA.sub(r"\1\2", text)


def _plain(value: object) -> str:
    """Return what a case file has in place of a text, as it is written there."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    if isinstance(value, (list, tuple)) and 0 < len(value) <= _MOST_KEYS:
        if all(isinstance(one, (str, bool, int, float)) for one in value):
            return f"[{', '.join(map(shown, value))}]"
    if isinstance(value, dict) and 0 < len(value) <= _MOST_KEYS:
        if all(isinstance(one, (str, bool, int, float)) for one in value.values()):
            return "{ " + ", ".join(f"{_printable(str(key)[:20])} = {shown(one)}" for key, one in value.items()) + " }"
    return _KINDS.get(type(value), type(value).__name__)


def plain_unit(name: str) -> str:
    """Return a unit in the letters of the unit file: u for micro, 2 for a square."""
    plain = name.replace("\u00b5", "u").replace("\u03bc", "u").replace("\u00b2", "2").replace("\u00b0", "deg")
    return plain[:-2] + "2" if plain.endswith("^2") else plain


def could_be_unit(name: str) -> bool:
    """Return whether a text has the shape of a unit."""
    return name == "%" or re.fullmatch(r"[^\W\d_]+2?(?:/[^\W\d_]+2?)?", name) is not None


def no_number(bare: str) -> str:
    """Return what to say of a text that does not begin with a number."""
    word = bare.lstrip("+-").lower()
    if word.startswith(("nan", "inf")):
        return "not a number that can be worked with; write a finite number"
    if word[:1] in ("\u2212", "\u2013"):
        return "write the minus sign as '-'"
    if could_be_unit(plain_unit(bare)):
        return "a unit without a number"
    return "this does not begin with a number; write one number and one unit"


def bad_rest(bare: str, rest: str) -> str:
    """Return what to say of *rest*, which follows the number in *bare* and is no unit."""
    left = rest.lstrip(SPACES)
    if rest.startswith(","):
        number, comma = bare[: -len(rest)], re.match(r",([0-9]+)(?![0-9,.])", rest)
        if comma is None or "." in number:
            return "write one number with '.' as the decimal point and no mark between thousands"
        fixed = f"as in '{bare.replace(',', '.')}'"
        if len(comma[1]) == 3 and number.lstrip("+-0"):  # 0,002 has no thousands
            fixed = f"'{bare.replace(',', '.')}', or leave the comma out, '{bare.replace(',', '')}'"
        return f"write the decimal point as '.', {fixed}"
    if left[:1].isdigit() or left[:1] == "." or re.search(r"\s[+-]?[0-9.]", left):
        return "two numbers; write one number, without spaces between its digits, and one unit"
    if any(c in "*+-^/()=<>~\u00b1\u00b7\u00d7" for c in left):
        return "nothing is worked out here; write one number and one unit"
    return "write one number and one unit, nothing else"


def unknown_unit(name: str, same: list[str], known: list[str]) -> str:
    """Return what to say of a unit that is not known: the nearest of *same* dimension, or of all *known*."""
    near = [text for text in same if text.lower() == name.lower()]
    if not near and _WORDS.get(name.lower()) in same:
        near = [_WORDS[name.lower()]]
    if not near:
        import difflib

        near = difflib.get_close_matches(name, same, n=1, cutoff=0.5)
        near = near or [text for text in known if text.lower() == name.lower()]
        near = near or difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    question = "did you mean " + " or ".join(f"'{text}'" for text in near) + "? " if near else ""
    return f"unit {shown(name)} is not known here; {question}'lasersafe units' lists them"
