"""Text to numbers and back, as a user types and reads it."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from decimal import Decimal

import pytest

from lasersafe import quantity
from lasersafe.data import shared_path
from lasersafe.errors import QuantityError, ReferenceDataError
from lasersafe.quantity import (
    Quantity,
    feet,
    format_quantity,
    parse_quantity,
    shown,
    units,
)
from tools.compile_units import compile_units


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1.5 kW", "W", 1500.0),
        ("1070nm", "m", 1.07e-6),
        ("3 mrad", "rad", 3e-3),
        ("5 mW/cm2", "W/m2", 50.0),
        ("5 mW/cm^2", "W/m2", 50.0),
        ("5 mW/cm²", "W/m2", 50.0),
        ("1.5e-3 J", "J", 1.5e-3),
        ("10 ft", "m", 3.048),
        ("2 in", "m", 0.0508),
        ("8 h", "s", 28800.0),
        ("0.25 s", "s", 0.25),
        ("20 kHz", "Hz", 20e3),
        ("10 um", "m", 1e-5),
        ("10 \u00b5m", "m", 1e-5),
        ("10 \u03bcm", "m", 1e-5),
        ("180 deg", "rad", 3.141592653589793),
        ("180°", "rad", 3.141592653589793),
        ("10 %", "1", 0.1),
        ("0.5", "1", 0.5),
        ("3 W/m²", "W/m2", 3.0),
        ("2 J/cm²", "J/m2", 2e4),
        ("  7 mm ", "m", 7e-3),
        ("7\u00a0mm", "m", 7e-3),
        (".5 W", "W", 0.5),
        ("5. W", "W", 5.0),
        ("+5 W", "W", 5.0),
        ("-5 mm", "m", -5e-3),
        ("0 W", "W", 0.0),
        ("2 W", "kW", 2e-3),
        ("1e-13 s", "s", 1e-13),
    ],
)
def test_accepts(text, unit, value):
    found = parse_quantity(text, unit, "field")
    assert found == Quantity(value, text.strip(" "), unit)


W = ", as in '1.5 kW'"  # how the line ends where a power is asked for
FINITE = "not a number that can be worked with; write a finite number"
WORKED_OUT = "nothing is worked out here; write one number and one unit"
TWO = "two numbers; write one number, without spaces between its digits, and one unit"
UNPRINTED = "there is a character that does not print; type the entry again"
UNKNOWN = "is not known here; did you mean"
LISTS = "? 'lasersafe units' lists them"


@pytest.mark.parametrize(
    ("text", "unit", "reason"),
    [
        ("1,5 kW", "W", "write the decimal point as '.', as in '1.5 kW'"),
        ("5,0 mW", "W", "write the decimal point as '.', as in '5.0 mW'"),
        ("1,500 W", "W", "write the decimal point as '.', '1.500 W', or leave the comma out, '1500 W'"),
        ("0,002 W", "W", "write the decimal point as '.', as in '0.002 W'"),
        ("1.500,0 W", "W", "write one number with '.' as the decimal point and no mark between thousands" + W),
        ("1,500,000 W", "W", "write one number with '.' as the decimal point and no mark between thousands" + W),
        ("1500", "W", "a number without a unit; add the unit" + W),
        ("kW", "W", "a unit without a number" + W),
        ("W/m2", "W/m2", "a unit without a number, as in '5 mW/cm2'"),
        ("nan W", "W", FINITE + W),
        ("NaN", "1", FINITE + ", as in '0.5'"),
        ("-inf W", "W", FINITE + W),
        ("1e400 W", "W", "too large a number to work with; check number and unit"),
        ("1e306 kW", "W", "too large a number to work with; check number and unit"),
        ("1e99999999999 W", "W", "too large a number to work with; check number and unit"),
        ("1e-400 W", "W", "so small that it would be taken as zero; check number and unit"),
        ("1e-310 W", "W", "so small that it would be taken as zero; check number and unit"),
        ("2*3 W", "W", WORKED_OUT + W),
        ("9**9**9 J", "J", WORKED_OUT + ", as in '1 mJ'"),
        ("1/2 W", "W", WORKED_OUT + W),
        ("5 W+1", "W", WORKED_OUT + W),
        ("5±1 W", "W", WORKED_OUT + W),
        ("2 mJ 3", "J", TWO + ", as in '1 mJ'"),
        ("1 500 W", "W", TWO + W),
        ("1.2.3 W", "W", TWO + W),
        ("0x10 W", "W", "write one number and one unit, nothing else" + W),
        ("5 mm", "W", "'mm' is a unit of length, and this is a power" + W),
        ("5 W", "W/m2", "'W' is a unit of power, and this is an irradiance, as in '5 mW/cm2'"),
        ("5 Hz", "rad", "'Hz' is a unit of frequency, and this is an angle, as in '3 mrad'"),
        ("5 %", "W", "'%' is a unit of ratio, and this is a power" + W),
        ("5 KW", "W", f"unit 'KW' {UNKNOWN} 'kW'{LISTS}"),
        ("5 mw", "W", f"unit 'mw' {UNKNOWN} 'MW' or 'mW'{LISTS}"),
        ("5 MJ", "J", f"unit 'MJ' {UNKNOWN} 'mJ'{LISTS}"),
        ("5 Min", "s", f"unit 'Min' {UNKNOWN} 'min'{LISTS}"),
        ("5 S", "s", f"unit 'S' {UNKNOWN} 's'{LISTS}"),
        ("5 sec", "s", f"unit 'sec' {UNKNOWN} 's'{LISTS}"),
        ("5 W/cm", "W/m2", f"unit 'W/cm' {UNKNOWN} 'W/cm2'{LISTS}"),
        ("5 Wombats", "W", "unit 'Wombats' is not known here; 'lasersafe units' lists them"),
        ("", "W", "nothing is written here" + W),
        ("\u22125 W", "W", "write the minus sign as '-'" + W),
        ("five W", "W", "this does not begin with a number; write one number and one unit" + W),
        ("5 W\n", "W", UNPRINTED + W),
        ("5\x00W", "W", UNPRINTED + W),
        ("5 \u202eW", "W", UNPRINTED + W),
        ("\ud800", "W", UNPRINTED + W),
        (1500, "W", "write number and unit together, in quotes" + W),
        (1500.0, "W", "write number and unit together, in quotes" + W),
        (0.5, "1", "write the number in quotes, as in '0.5'"),
        (True, "W", "write number and unit together, in quotes" + W),
        (None, "W", "write number and unit together, in quotes" + W),
        (b"5 W", "W", "write number and unit together, in quotes" + W),
    ],
)
def test_refuses(text, unit, reason):
    with pytest.raises(QuantityError) as error:
        parse_quantity(text, unit, "power")
    assert str(error.value) == f"power = {shown(text)}: {reason}"


def test_the_message_is_one_line_that_prints():
    for text in ("5 W\n", "5\x00W", "\ud800 W", "\x1b[31m5 W", "5 " + "\u202e" * 30):
        with pytest.raises(QuantityError) as error:
            parse_quantity(text, "W", "power")
        assert str(error.value).isprintable()


def test_an_integer_longer_than_python_prints_is_refused():
    with pytest.raises(QuantityError, match=r"^power = a very long integer: write number and unit together"):
        parse_quantity(10**5000, "W", "power")


def test_a_field_with_an_unlisted_unit_is_refused():
    with pytest.raises(QuantityError, match=r"^power: the unit 'furlong' asked for is not in shared/units\.txt$"):
        parse_quantity("5 W", "furlong", "power")


def test_long_text_is_refused_quickly_and_shortened_in_the_message():
    start = time.perf_counter()
    with pytest.raises(QuantityError, match=r"^power = '1{40}\.\.\.': longer than 60 characters, as in '1.5 kW'$"):
        parse_quantity("1" * 1_000_000, "W", "power")
    assert time.perf_counter() - start < 0.1


@pytest.mark.parametrize(
    ("text", "unit", "kind", "message"),
    [
        ("5 MW", "W", "continuous power", "did you mean '5 mW'?"),
        ("2000 kW", "W", "continuous power", "did you mean '2000 W'?"),
        ("1.000001 MW", "W", "continuous power", "did you mean '1.000001 mW'?"),
        ("2e6 W", "W", "continuous power", "did you mean '2e6 mW'?"),
        ("3 rad", "rad", "divergence", "did you mean '3 mrad'?"),
        ("90 deg", "rad", "divergence", "did you mean mrad?"),
    ],
)
def test_slips_of_milli_and_mega_are_asked_back(text, unit, kind, message):
    with pytest.raises(QuantityError) as error:
        parse_quantity(text, unit, "field", kind)
    assert str(error.value).startswith(f"field = '{text}': {message} ")


@pytest.mark.parametrize(
    ("text", "unit", "kind"),
    [("1 MW", "W", "continuous power"), ("1 rad", "rad", "divergence"), ("57 deg", "rad", "divergence")],
)
def test_the_bound_itself_is_taken(text, unit, kind):
    assert parse_quantity(text, unit, "field", kind) == parse_quantity(text, unit, "field")


def test_a_slip_is_seen_in_any_unit():
    with pytest.raises(QuantityError, match=r"a divergence above 1 rad is not accepted"):
        parse_quantity("1.5 rad", "mrad", "divergence", "divergence")


def test_compiled_units_equal_what_pint_makes_of_the_unit_file():
    compiled = json.loads(shared_path("units_compiled.json").read_text(encoding="utf-8"))
    assert compiled == compile_units(), "run: python -m tools.compile_units"
    assert len(compiled["unit"]) == len(units()) > 50


@pytest.mark.parametrize("row", units(), ids=lambda row: row.text)
def test_each_unit_converts_as_pint_does(row):
    import pint

    registry = pint.UnitRegistry(str(shared_path("units.txt")))
    name = row.text.replace("%", "percent").replace("/", "_per_")
    expected = registry.Quantity(7.0, name).to_base_units().magnitude
    assert parse_quantity(f"7 {row.text}", row.si_unit, "field").value == pytest.approx(expected, rel=1e-14, abs=0)


@pytest.mark.parametrize(
    "content", [None, "{", "{}", "[]", '{"unit": []}', '{"unit": {"m": {"dimension": "length", "factor": "x"}}}']
)
def test_without_its_table_no_number_is_read(tmp_path, monkeypatch, content):
    if content is not None:
        (tmp_path / "units_compiled.json").write_text(content)
    monkeypatch.setattr(quantity, "shared_path", lambda *parts: tmp_path.joinpath(*parts))
    quantity._table.cache_clear()
    try:
        with pytest.raises(ReferenceDataError, match="json is missing or damaged; install lasersafe again"):
            parse_quantity("1.5 kW", "W", "power")
    finally:
        quantity._table.cache_clear()


def test_import_and_use_load_neither_pint_nor_numpy():
    code = (
        "import sys; from lasersafe.quantity import parse_quantity, format_quantity, units; units();"
        "format_quantity(parse_quantity('1.5 kW', 'W', 'power').value, 'W');"
        "sys.exit(', '.join({'numpy', 'pint', 'pydantic'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("value", "unit", "rounding", "text"),
    [
        (1.07e-6, "m", "nearest", "1.07 um"),
        (48.7301, "m", "up", "48.8 m"),
        (48.7301, "m", "down", "48.7 m"),
        (48.8, "m", "up", "48.8 m"),
        (50.0, "W/m2", "down", "50.0 W/m2"),
        (0.0254, "m", "nearest", "25.4 mm"),
        (999.96, "m", "up", "1.00 km"),
        (999.96, "m", "down", "999 m"),
        (1500.0, "W", "nearest", "1.50 kW"),
        (25.4558, "W/m2", "down", "25.4 W/m2"),
        (1e4, "W/m2", "down", "10.0 kW/m2"),
        (3e4, "s", "nearest", "30000 s"),
        (1e-13, "s", "nearest", "100 fs"),
        (0.0, "m", "up", "0 m"),
        (1e-20, "m", "up", "1.00e-20 m"),
        (1e15, "W", "up", "1.00e15 W"),
        (0.5, "1", "nearest", "0.500"),
        (160.11, "ft", "up", "161 ft"),
        (-48.7301, "m", "up", "-48.7 m"),
        (0.0125, "1", "nearest", "0.0125"),
    ],
)
def test_format(value, unit, rounding, text):
    assert format_quantity(value, unit, rounding=rounding) == text


def test_format_rounds_to_the_digits_asked_for():
    assert [format_quantity(2 / 3, "m", digits) for digits in (1, 2, 5)] == ["700 mm", "670 mm", "666.67 mm"]


@pytest.mark.parametrize(
    ("value", "unit", "digits"),
    [(float("nan"), "m", 3), (float("inf"), "m", 3), (1.0, "furlong", 3), (1.0, "m", 0), (1.0, "m", 18)],
)
def test_format_refuses(value, unit, digits):
    with pytest.raises(QuantityError, match="cannot be written"):
        format_quantity(value, unit, digits)
    with pytest.raises(QuantityError, match="rounding = 'sideways': write one of: up, down, nearest"):
        format_quantity(1.0, "m", rounding="sideways")


def test_units_tell_text_dimension_and_exact_factor():
    by_text = {row.text: row for row in units()}
    assert (by_text["mW/cm2"].dimension, by_text["mW/cm2"].factor, by_text["mW/cm2"].si_unit) == (
        "irradiance",
        "10",
        "W/m2",
    )
    assert Decimal(by_text["in"].factor) == Decimal("0.0254")
    assert {row.dimension for row in by_text.values()} == {
        "length", "area", "time", "power", "angle", "energy", "frequency", "irradiance", "radiant exposure", "ratio",
    }  # fmt: skip
    assert "1" not in by_text


def test_feet():
    assert feet(3.048) == pytest.approx(10.0, rel=1e-15, abs=0)


def test_shown_is_short_and_printable():
    assert shown("a" * 41) == "'" + "a" * 40 + "...'"
    assert shown("a\x1b[31m\u2028é") == r"'a\x1b[31m\u2028é'"
    assert (shown(1.5), shown([[]]), shown({}), shown({"a": []})) == ("1.5", "a list", "a table", "a table")
    assert shown(["532 nm", 2]) == "['532 nm', 2]"
    assert shown({"lowest": "5 mm", "highest": 7}) == "{ lowest = '5 mm', highest = 7 }"
    assert len(shown({f"k\n{n}" * 9: "x" * 99 for n in range(5)})) <= 123
    assert "\n" not in shown({"a\nb": "c\nd"})
