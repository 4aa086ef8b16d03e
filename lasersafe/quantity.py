"""Text becomes a number here, and nowhere else; a number becomes readable text again; what no number can be.

pint is the authority on units: ``tools/compile_units.py`` lets it reduce each unit of ``shared/units.txt`` to an exact
factor and a dimension, which are kept beside it in ``shared/units_compiled.json``; a test compares the two. So nothing
here needs pint.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache, reduce
from typing import Literal

from lasersafe.data import shared_path
from lasersafe.errors import QuantityError, ReferenceDataError, refuse
from lasersafe.wording import Message

Kind = Literal["continuous power", "divergence", "power density"]
Rounding = Literal["up", "down", "nearest"]

LONGEST_TEXT = 60
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_EXACT = Context(prec=120, Emin=-999_999, Emax=999_999)
_SMALLEST = 2.2250738585072014e-308  # below it a float loses digits

DIMENSIONS = {  # dimension as pint prints it: name, SI unit, how an entry looks
    "[length]": ("length", "m", "10 mm"),
    "[length] ** 2": ("area", "m2", "0.05 m2"),
    "[time]": ("time", "s", "10 s"),
    "[power]": ("power", "W", "1.5 kW"),
    "[angle]": ("angle", "rad", "3 mrad"),
    "[power] * [time]": ("energy", "J", "1 mJ"),
    "1 / [time]": ("frequency", "Hz", "20 kHz"),
    "[power] / [length] ** 2": ("irradiance", "W/m2", "5 mW/cm2"),
    "[power] * [time] / [length] ** 2": ("radiant exposure", "J/m2", "5 mJ/cm2"),
    "dimensionless": ("ratio", "1", "0.5"),
}
_EXAMPLES = {name: example for name, _, example in DIMENSIONS.values()}
# SI unit -> what it measures, with an article, and how an entry looks
MEASURED = {unit: (f"a{'n' * (name[0] in 'aei')} {name}", example) for name, unit, example in DIMENSIONS.values()}
_SI_UNIT = {name: unit for name, unit, _ in DIMENSIONS.values()}
_ROUNDINGS = {"up": ROUND_CEILING, "down": ROUND_FLOOR, "nearest": ROUND_HALF_EVEN}
_LADDERS = {
    "m": ("nm", "um", "mm", "m", "km"),
    "s": ("fs", "ps", "ns", "us", "ms", "s"),
    "W": ("nW", "uW", "mW", "W", "kW", "MW"),
    "J": ("pJ", "nJ", "uJ", "mJ", "J", "kJ"),
    "rad": ("urad", "mrad", "rad"),
    "Hz": ("Hz", "kHz", "MHz", "GHz"),
    "W/m2": ("mW/m2", "W/m2", "kW/m2", "MW/m2"),
    "J/m2": ("uJ/m2", "mJ/m2", "J/m2", "kJ/m2"),
}
_SLIPS: dict[str, tuple[str, float, str]] = {
    "continuous power": ("W", 1e6, "power"),
    "divergence": ("rad", 1.0, "divergence"),
    "power density": ("W/m2", 1e11, "density"),
}


@dataclass(frozen=True)
class Quantity:
    """A number with the text that it came from.

    Parameters
    ----------
    value : float
        The number in ``unit``.
    typed : str
        The text as typed, without outer spaces.
    unit : str
        The unit of ``value``, as ``W/m2``.
    """

    value: float
    typed: str
    unit: str


@dataclass(frozen=True)
class Allowed:
    """What a field takes.

    Parameters
    ----------
    unit : str
        SI unit, ``"1"`` for a ratio.
    low, high : str
        Smallest and largest entry that is taken, as a user would write them.
    example : str
        For the message and the schema.
    why : str
        Why there is such a bound, and what to do; closes the message.
    kind : {"continuous power", "divergence", "power density"}, optional
        Asks back about slips of milli and mega.
    above_low, below_high : bool
        Whether the bound itself is refused.
    """

    unit: str
    low: str
    high: str
    example: str
    why: str = ""
    kind: Kind | None = None
    above_low: bool = False
    below_high: bool = False

    @property
    def bounds(self) -> tuple[float, float]:
        """Smallest and largest value that is taken, in the unit."""
        return _bound(self.low, self.unit), _bound(self.high, self.unit)


@lru_cache(maxsize=256)
def _bound(text: str, unit: str) -> float:
    return parse_quantity(text, unit, "bound").value


@dataclass(frozen=True)
class UnitRow:
    """One unit that is understood: how it is typed, what it measures, and what one of it is in SI."""

    text: str
    dimension: str
    factor: str  # exact, in decimal digits
    si_unit: str


@lru_cache(maxsize=1)
def _table() -> dict[str, tuple[str, Decimal]]:
    """Return unit text -> (dimension, exact factor to the SI unit), in the order of the unit file."""
    import json

    path = shared_path("units_compiled.json")
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))["unit"]
        table = {text: (row["dimension"], Decimal(row["factor"])) for text, row in rows.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ArithmeticError):
        refuse(f"data file {path.name} is missing or damaged; install lasersafe again", ReferenceDataError)
    table["1"] = ("ratio", Decimal(1))
    return table


def units() -> list[UnitRow]:
    """Return every unit that may be typed, in the order of ``shared/units.txt``.

    Examples
    --------
    >>> units()[1]
    UnitRow(text='km', dimension='length', factor='1000', si_unit='m')
    """
    return [
        UnitRow(text, dimension, f"{factor:f}", _SI_UNIT[dimension])
        for text, (dimension, factor) in _table().items()
        if text != "1"
    ]


def parse_quantity(text: object, unit: str, field: str, kind: Kind | None = None) -> Quantity:
    """Return one number with one unit, converted.

    Parameters
    ----------
    text : str
        As typed: ``1.5 kW``, ``1070nm``, ``5 mW/cm^2``. Untrusted.
    unit : str
        The unit to convert to; it says what the field measures. ``"1"`` is a ratio, where alone a number without a
        unit (or ``%``) is taken.
    field : str
        The name of the field, for the message.
    kind : {"continuous power", "divergence", "power density"}, optional
        Ask back when a milli was probably typed as a mega or left out.

    Returns
    -------
    Quantity
        The value in ``unit``, correctly rounded from the decimal digits, and the text as typed.

    Raises
    ------
    QuantityError
        If the text is anything else.

    Examples
    --------
    >>> parse_quantity("1070nm", "m", "wavelength")
    Quantity(value=1.07e-06, typed='1070nm', unit='m')
    """
    table = _table()
    if unit not in table:
        refuse(f"{field}: the unit '{unit}' asked for is not in shared/units.txt", QuantityError)
    dimension, target = table[unit]
    number, name = _split(text, field, dimension)
    typed = str(text).strip(SPACES)
    if name not in table:
        same = [text for text, (what, _) in table.items() if what == dimension and text != "1"]
        raise refused(field, typed, unknown_unit(name, same, [text for text in table if text != "1"]))
    found, factor = table[name]
    if found != dimension:
        words = {"found": Message(f"dimension.{found}"), "this": Message(f"measured.{dimension}")}
        raise _error(field, typed, Message("typed.other_dimension", name=name, **words), dimension)
    digits, _, exponent = number.lower().partition("e")
    shifted = int(exponent or 0) if digits.strip("+-0.") else -math.inf
    value = math.inf if shifted > 0 else 0.0
    if abs(shifted) <= 400:
        value = float(_EXACT.divide(_EXACT.multiply(Decimal(number), factor), target))
    if math.isinf(value):
        raise refused(field, typed, Message("typed.too_large"))
    if abs(value) < _SMALLEST and math.isfinite(shifted):
        raise refused(field, typed, Message("typed.too_small"))
    if kind is not None:  # a value that only a slip of milli and mega explains
        si_unit, most, what = _SLIPS[kind]
        if Decimal(repr(value)) * target > Decimal(repr(most)) * table[si_unit][1]:
            first, slash, area = name.partition("/")
            smaller = {"MW": "mW", "kW": "W", "W": "mW", "rad": "mrad"}.get(first)
            near = f"'{number} {smaller}{slash}{area}'" if smaller else f"m{si_unit}"
            raise refused(field, typed, Message(f"typed.slip_{what}", near=near))
    return Quantity(value, typed, unit)


def refused(field: str, typed: object, what: str) -> QuantityError:
    """Return the refusal of an entry: the field, what was typed, what is wrong with it and what to do."""
    return QuantityError(Message("typed.refused", field=field, told=told(typed, what)))


def times(ratio: float) -> str:
    """Return how many times a limit or rating something is, for a sentence, rounded up; what is no number is infinite.

    Examples
    --------
    >>> times(12.341), times(float("nan"))
    ('12.4', '∞')
    """
    return format_quantity(ratio, "1", 3, "up") if math.isfinite(ratio) else "∞"


def told(typed: object, what: str) -> Message:
    """Return what was typed with what is wrong with it."""
    return Message("typed.told", typed=shown(typed), what=what)


def raised(*parts: float) -> float:
    """Return the sum of finite numbers, rounded up to one digit behind the point, exactly as they are written.

    Examples
    --------
    >>> raised(1.1, 2.2), raised(10.0000000005)
    (3.3, 10.1)
    """
    total = sum((Decimal(repr(float(one))) for one in parts), Decimal(0))
    return float(total.quantize(Decimal("0.1"), ROUND_CEILING))


def feet(length: float) -> float:
    """Return a length in international feet.

    Parameters
    ----------
    length : float
        [m]

    Returns
    -------
    float
        [ft]
    """
    return length / 0.3048


def format_quantity(value: float, unit: str, digits: int = 3, rounding: Rounding = "nearest") -> str:
    """Return a number as readable text, rounded to the side that is asked for.

    A value in an SI unit gets the prefix that leaves one to three digits before the point; any other unit is kept.
    The rounding is exact on the shortest decimal digits that stand for the float.

    Parameters
    ----------
    value : float
        In ``unit``.
    unit : str
        A unit of ``shared/units.txt``, or ``"1"`` for a ratio.
    digits : int
        Significant digits, 1 to 17.
    rounding : {"up", "down", "nearest"}
        Up is towards plus infinity.

    Returns
    -------
    str
        Text that ``parse_quantity`` reads again.

    Raises
    ------
    QuantityError
        If the value is not finite or the unit is not known.

    Examples
    --------
    >>> format_quantity(1.07e-6, "m"), format_quantity(48.7301, "m", rounding="up")
    ('1.07 um', '48.8 m')
    >>> format_quantity(50.0, "W/m2", rounding="down"), format_quantity(0.0254, "m")
    ('50.0 W/m2', '25.4 mm')
    """
    table = _table()
    if rounding not in _ROUNDINGS:
        refuse(f"rounding = {shown(rounding)}: write one of: {', '.join(_ROUNDINGS)}", QuantityError)
    exact = Decimal(repr(float(value)))
    if not exact.is_finite() or unit not in table or not 1 <= digits <= 17:
        refuse(f"{shown(float(value))} {unit} with {digits} digits cannot be written", QuantityError)
    if exact.is_zero():
        return _with_unit("0", unit)
    ladder = _LADDERS.get(unit, (unit,))
    low, high = table[ladder[0]][1], table[ladder[-1]][1] * 1_000_000
    if len(ladder) == 1 or not low <= abs(exact) < high:
        return _with_unit(_digits(_round(exact, digits, rounding), digits), unit)
    text = ""
    for name in ladder[max(i for i, name in enumerate(ladder) if abs(exact) >= table[name][1]) :]:
        rounded = _round(_EXACT.divide(exact, table[name][1]), digits, rounding)
        text = _with_unit(_digits(rounded, digits), name)
        if abs(rounded) < 1000:
            break
    return text


def _with_unit(number: str, unit: str) -> str:
    return number if unit == "1" else f"{number} {unit}"


def _round(number: Decimal, digits: int, rounding: Rounding) -> Decimal:
    return Context(prec=digits, rounding=_ROUNDINGS[rounding], Emin=-999_999, Emax=999_999).plus(number)


def _digits(number: Decimal, digits: int) -> str:
    """Return a rounded number with just so many digits; as a power of ten when it would be mostly zeros."""
    size = number.adjusted()
    if -4 <= size < max(digits, 6):
        return f"{number:.{max(digits - 1 - size, 0)}f}"
    mantissa, _, exponent = f"{number:.{digits - 1}e}".partition("e")
    return f"{mantissa}e{int(exponent)}"


def _split(text: object, field: str, dimension: str) -> tuple[str, str]:
    """Return number and unit, both as text, the unit in plain letters."""
    if not isinstance(text, str):
        what = Message("typed.number" if dimension == "ratio" else "typed.number_and_unit")
        what = Message("typed.list", what=what) if isinstance(text, (list, tuple)) else what
        raise _error(field, text, what, dimension)
    if len(text) > LONGEST_TEXT:
        raise _error(field, text, Message("typed.longer", most=LONGEST_TEXT), dimension)
    bare = text.strip(SPACES)
    if not bare:
        raise _error(field, text, Message("typed.empty"), dimension)
    if not all(c.isprintable() or c in SPACES for c in bare):
        raise _error(field, text, Message("typed.unprintable"), dimension)
    number = _NUMBER.match(bare)
    if number is None:
        word, key = bare.lstrip("+-").lower(), "typed.no_number"
        if word.startswith(("nan", "inf")):
            key = "typed.infinite"
        elif word[:1] in ("\u2212", "\u2013"):
            key = "typed.minus"
        elif could_be_unit(plain_unit(bare)):
            key = "typed.only_unit"
        raise _error(field, text, Message(key), dimension)
    rest = bare[number.end() :]
    name = plain_unit(rest.strip(SPACES))
    if not name:
        if dimension == "ratio":
            return number.group(), "1"
        unit = " nm" if "wavelength" in field else ""  # what every label says it in
        what = Message("typed.no_unit_as_in", example=f"{bare}{unit}") if unit else Message("typed.no_unit")
        raise _error(field, text, what, dimension)
    if name == "1" or not could_be_unit(name):
        left, what = rest.lstrip(SPACES), Message("typed.nothing_else")
        comma = None if "." in number.group() else re.match(r",([0-9]+)(?![0-9,.])", rest)
        if comma is not None:
            thousand = len(comma[1]) == 3 and number.group().lstrip("+-0")  # 0,002 has no thousands
            key = "typed.comma_of_thousands" if thousand else "typed.comma"
            what = Message(key, example=bare.replace(",", "."), left_out=bare.replace(",", ""))
        elif rest.startswith(","):
            what = Message("typed.marks")
        elif left[:1].isdigit() or left[:1] == "." or re.search(r"\s[+-]?[0-9.]", left):
            what = Message("typed.two_numbers")
        elif any(c in "*+-^/()=<>~\u00b1\u00b7\u00d7" for c in left):
            what = Message("typed.worked_out")
        raise _error(field, text, what, dimension)
    return number.group(), name


def _error(field: str, text: object, what: Message, dimension: str) -> QuantityError:
    typed = text.strip(SPACES) if isinstance(text, str) else text
    if "example" not in what.values:
        what = Message("typed.as_in", what=what, example=_EXAMPLES[dimension])
    return refused(field, typed, what)


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
    plain = printable(text[:most])
    return f"'{plain}'" if len(text) <= most else f"'{plain}...'"


def choice(name: str, value: str, allowed: Collection[str]) -> str:
    """Return *value*, or refuse it where it is not one of *allowed*.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : str
        What was given. [any]
    allowed : collection of str
        The words that are known.

    Returns
    -------
    str
        The same word.

    Raises
    ------
    InputError
        If the word is not one of them.
    """
    if not (isinstance(value, str) and value in allowed):
        import difflib

        near = difflib.get_close_matches(str(value)[:60], allowed, n=1, cutoff=0.5)
        hint = f"; did you mean '{near[0]}'?" if near else ""
        refuse(f"{name} = {shown(value)} is not known here; write one of: {', '.join(allowed)}{hint}")
    return value


def printable(text: str) -> str:
    """Return a text with its control characters spelled out."""
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
    parts = value.values() if isinstance(value, dict) else value if isinstance(value, (list, tuple)) else ()
    if 0 < len(parts) <= _MOST_KEYS and all(isinstance(one, (str, bool, int, float)) for one in parts):
        if not isinstance(value, dict):
            return f"[{', '.join(map(shown, parts))}]"
        return "{ " + ", ".join(f"{printable(str(key)[:20])} = {shown(one)}" for key, one in value.items()) + " }"
    return _KINDS.get(type(value), type(value).__name__)


def plain_unit(name: str) -> str:
    """Return a unit in the letters of the unit file: u for micro, 2 for a square."""
    plain = name.replace("\u00b5", "u").replace("\u03bc", "u").replace("\u00b2", "2").replace("\u00b0", "deg")
    return plain[:-2] + "2" if plain.endswith("^2") else plain


def could_be_unit(name: str) -> bool:
    """Return whether a text has the shape of a unit."""
    return name == "%" or re.fullmatch(r"[^\W\d_]+2?(?:/[^\W\d_]+2?)?", name) is not None


def unknown_unit(name: str, same: list[str], known: list[str]) -> Message:
    """Return what to say of a unit that is not known: the nearest of *same* dimension, or of all *known*."""
    near = [text for text in same if text.lower() == name.lower()]
    if not near and _WORDS.get(name.lower()) in same:
        near = [_WORDS[name.lower()]]
    if not near:
        import difflib

        near = difflib.get_close_matches(name, same, n=1, cutoff=0.5)
        near = near or [text for text in known if text.lower() == name.lower()]
        near = near or difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    each = [f"'{text}'" for text in near]
    meant = reduce(lambda one, other: Message("join.or", first=one, second=other), each) if each else ""
    hint = Message("misread.hint", near=meant) if meant else ""
    return Message("typed.unknown_unit", name=shown(name), hint=hint)


# of a Gaussian, how many times the width at 1/e of the peak one on another criterion is
OVER_1_E = {"1/e": 1.0, "1/e2": math.sqrt(2.0), "FWHM": math.sqrt(math.log(2.0))}
# twice the numerical aperture of a fibre over the full angle at 1/e, by where the aperture was read
FIBRE_FACTOR = {"5 %": 1.7, "1/e2": math.sqrt(2.0), "1/e": 1.0}
COVERAGE = 2.0  # standard uncertainties to each side: about 95 % of a normal distribution (JCGM 100:2008, from memory)
PHYSICAL = {  # lowest and highest value, and whether the lowest itself is refused; every other input: above 0
    **dict.fromkeys(("work_distance", "measured_at", "uncertainty"), (0.0, math.inf, False)),
    **dict.fromkeys(("waist_at", "normal", "tilt"), (-math.inf, math.inf, False)),
    **dict.fromkeys(("reflectance", "behind_reflectance", "transmittance", "filter_transmission"), (0.0, 1.0, False)),
    **dict.fromkeys(("share", "duty"), (0.0, 1.0, True)),
    "numerical_aperture": (0.0, math.nextafter(1.0, 0.0), True),
    "view_angle": (0.0, math.pi / 2.0, False),
    "peak_over_mean": (1.0, math.inf, False),
}
_POSITIVE = (0.0, math.inf, True)


def physical_range(name: str) -> tuple[float, float, bool]:
    """Return what is physically possible of an input.

    Parameters
    ----------
    name : str
        The input, as in the case file; of an oblong width with ``.x`` or ``.y``.

    Returns
    -------
    tuple of float, float, bool
        Lowest and highest value [any], and whether the lowest itself is refused.
    """
    return PHYSICAL.get(name.partition(".")[0], _POSITIVE)


def covered(name: str, nominal: float, low: float, high: float) -> tuple[float, float]:
    """Return the lowest and highest value that a standard uncertainty stands for [1]_.

    Parameters
    ----------
    name : str
        The input.
    nominal, low, high : float
        The value; less and plus one standard uncertainty. [any]

    Returns
    -------
    tuple of float
        Twice the uncertainty to each side, inside what is physically possible. The lowest value is a bound that is
        itself refused, as 0, where twice reaches it: there is no worst case then, and the caller has to refuse. [any]

    References
    ----------
    .. [1] JCGM100, 6.2 and 6.3, coverage factor 2 for about 95 % (from memory).

    Examples
    --------
    >>> covered("divergence", 3e-3, 2.5e-3, 3.5e-3)
    (0.002, 0.004)
    >>> covered("beam_diameter", 6e-3, 2e-3, 10e-3)[0]
    0.0
    """
    lowest, highest, _ = physical_range(name)
    return max(nominal - COVERAGE * (nominal - low), lowest), min(nominal + COVERAGE * (high - nominal), highest)
