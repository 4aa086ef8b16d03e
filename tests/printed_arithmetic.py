"""What a line of a calculation comes to, worked out from its printed text alone, as with a pocket calculator."""

import math
import re

_SI = {
    "km": 1e3, "m": 1.0, "mm": 1e-3, "µm": 1e-6, "nm": 1e-9, "mrad": 1e-3, "µrad": 1e-6, "rad": 1.0, "kW": 1e3,
    "W": 1.0, "mW": 1e-3, "µW": 1e-6, "J": 1.0, "mJ": 1e-3, "µJ": 1e-6, "nJ": 1e-9, "s": 1.0, "Hz": 1.0,
    "W/m²": 1.0, "J/m²": 1.0,
}  # fmt: skip
_UNIT = "|".join(sorted(map(re.escape, _SI), key=len, reverse=True))
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
_NUMBER = r"\d+(?:\.\d+)?(?:e[-+]?\d+)?"
_NAMES = {name: getattr(math, name) for name in ("pi", "sqrt", "exp", "log", "log10")}


def worked_out(text: str) -> float:
    """Return what a sum comes to: numbers with units, brackets, roots, exponents; SI.

    Raises
    ------
    ValueError
        If it is none.
    """
    text = text.replace("\u00a0", " ").replace("\u2212", "-")
    text = re.sub(" × 10([⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)", lambda m: "e" + m[1].translate(_RAISED), text)
    text = re.sub(rf"({_NUMBER}) ({_UNIT})(?![\wµ/])", lambda m: f"({m[1]}*{_SI[m[2]]})", text)
    text = text.replace(") m ", ") ").replace("²", "**2").replace("^", "**")
    for sign, name in (("·", "*"), ("\u00d7", "*"), (" x ", " * "), ("π", "pi"), ("√", "sqrt"), ("ln(", "log(")):
        text = text.replace(sign, name)
    if not re.fullmatch(r"(?:[\d.e+*/() -]|pi|sqrt|exp|log10|log)+", text):
        raise ValueError(text)
    return float(eval(text, {"__builtins__": {}}, _NAMES))


def sum_of(numbers: str) -> str:
    """Return the sum at the beginning of what is put in, without the words behind it."""
    return re.split(r", d at z|, r |, x = |; | = |, rounded", numbers)[0]


def length(text: str, before: str) -> float:
    """Return the length in a text that follows some words. [m]."""
    found = re.search(rf"{before}({_NUMBER}) ?({_UNIT})", text)
    assert found, (before, text)
    return float(found[1]) * _SI[found[2]]
