"""Any text is one number with one unit or is refused; what is written back keeps to its side."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lasersafe.errors import QuantityError
from lasersafe.quantity import Quantity, format_quantity, parse_quantity, units

ROWS = units()
PIECES = [
    "1", "0", "9", ".", ",", "e", "E", "+", "-", "*", "**", "/", "^", "^2", "2", "²", "(", ")", " ", "  ", "\t", "\n",
    "_", "nan", "inf", "NaN", "Infinity", "1e999", "W", "kW", "mW", "MW", "J", "m", "mm", "um", "µ", "μ", "cm2", "/cm2",
    "s", "%", "°", "deg", "'", "\x00", "\u202e", "\ud800", "\u2212", "\uff11", "٣", "W/m2", "in", "import", "{", "=",
]  # fmt: skip
TEXTS = st.one_of(st.text(max_size=70), st.lists(st.sampled_from(PIECES), max_size=12).map("".join))
TARGETS = st.sampled_from(["W", "J", "m", "s", "rad", "Hz", "W/m2", "J/m2", "1"])
FLOATS = st.floats(allow_nan=False, allow_infinity=False, allow_subnormal=False)


@given(TEXTS, TARGETS)
def test_any_text_is_a_finite_number_or_refused_in_one_line(text, unit):
    found = _read_or_refused(text, unit)
    if isinstance(found, QuantityError):
        line = str(found)
        assert line.startswith("field = ")
        assert line.isprintable()
    else:
        assert math.isfinite(found.value)
        assert found.typed.strip() == text.strip()
        assert found.unit == unit


@given(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.binary(),
        st.lists(st.text()),
        st.dictionaries(st.text(), st.text()),
    )
)
def test_what_is_no_text_is_refused(value):
    with pytest.raises(QuantityError):
        parse_quantity(value, "W", "field")


@given(
    st.decimals(allow_nan=False, allow_infinity=False, min_value=Decimal("-1e12"), max_value=Decimal("1e12")),
    st.sampled_from(ROWS),
    st.sampled_from(["", " "]),
)
def test_the_value_is_the_typed_number_correctly_rounded(number, row, space):
    text = f"{number}{space}{row.text}"
    assume(len(text) <= 60)
    exact = Fraction(number) * Fraction(Decimal(row.factor))
    assume(exact == 0 or abs(exact) > Fraction(10) ** -300)
    assert parse_quantity(text, row.si_unit, "field").value == float(exact)


@given(st.sampled_from(ROWS), st.sampled_from(ROWS))
def test_a_unit_of_another_dimension_is_refused(row, other):
    assume(row.dimension != other.dimension)
    with pytest.raises(QuantityError, match="is a unit of"):
        parse_quantity(f"1 {row.text}", other.text, "field")


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=6))
def test_only_listed_units_are_known(name):
    assume(name not in {row.text for row in ROWS})
    with pytest.raises(QuantityError, match="is not known here"):
        parse_quantity(f"5 {name}", "W", "field")


@given(FLOATS, st.sampled_from([*ROWS, None]), st.integers(1, 17))
def test_rounding_keeps_to_its_side(value, row, digits):
    unit = "1" if row is None else row.text
    up, down, near = (_read(format_quantity(value, unit, digits, side), unit) for side in ("up", "down", "nearest"))
    exact = Fraction(repr(value))
    assert down <= exact <= up
    assert down <= near <= up
    assert up - down <= abs(exact) * Fraction(10) ** (1 - digits)


@given(FLOATS, TARGETS, st.integers(1, 17))
def test_what_is_written_is_read_again(value, unit, digits):
    assume(value == 0 or 1e-300 < abs(value) < 1e300)
    again = parse_quantity(format_quantity(value, unit, digits, "up"), unit, "field").value
    assert again >= value
    assert again == pytest.approx(value, rel=10.0 ** (1 - digits), abs=0)


@given(st.floats(1e-3, 999), TARGETS)
def test_everyday_values_have_one_to_three_digits_before_the_point(value, unit):
    number = format_quantity(value, unit).split(" ")[0]
    assert 1 <= len(number.partition(".")[0]) <= 4
    assert len(number.replace(".", "").lstrip("0")) == 3


def _read_or_refused(text: str, unit: str) -> Quantity | QuantityError:
    try:
        return parse_quantity(text, unit, "field")
    except QuantityError as error:
        return error


def _read(text: str, unit: str) -> Fraction:
    """Return a text of format_quantity as an exact number in *unit*, without the code under test."""
    number, _, name = text.partition(" ")
    factors = {row.text: Fraction(row.factor) for row in ROWS} | {"": Fraction(1), "1": Fraction(1)}
    return Fraction(number) * factors[name] / factors[unit]
