"""A tolerance behind a value: what is understood, what it becomes, and what is refused in one line."""

import copy
import math
import pickle
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from lasersafe.ask.cases import template_text
from lasersafe.errors import CaseError, QuantityError
from lasersafe.hazard.tolerances import Uncertain, limits_of
from lasersafe.models import Case, Toleranced, canonical, parse_case, replaced, tolerances_of, typed_inputs
from lasersafe.models.emission import PULSE
from lasersafe.models.laser import DIAMETER, DIVERGENCE
from lasersafe.models.site import RATIO
from lasersafe.models.values import Knob, Measured, SIValue, TwoAxes
from lasersafe.quantity import PHYSICAL, parse_quantity, physical_range, shown

LENGTH = Measured("m", "0 m", "10 m", "6 mm", worst="low")


@pytest.mark.parametrize(
    ("text", "low", "high"), [("3 mm +- 15 %", 0.00255, 0.00345), ("0.3 mm +- 0.1 mm", 0.0002, 0.0004)]
)
def test_the_ends_of_a_tolerance_are_those_that_one_would_type(text: str, low: float, high: float) -> None:
    """3e-4 - 1e-4 in floats is 0.00019999999999999998, and the sum is below 0.0004."""
    value = LENGTH.read(text, "beam_diameter")
    assert (value.tolerance.low, value.tolerance.high) == (low, high)


@pytest.mark.parametrize(
    "text",
    [
        "6 mm +- 0.5 mm", "6 mm +-0.5 mm", "6 mm ± 500 um", "6 mm +/- 0.5 mm", "6mm+-0.5mm bound",
        "6 +- 0.5 mm", "6.0 ± 0.5mm", "6 +- 0.5 mm bound",
        {"lowest": "5.5 mm", "highest": "6.5 mm"}, {"value": "6 mm", "tolerance": "0.5 mm"},
        {"value": "6 mm", "lowest": "5.5 mm", "highest": "6.5 mm", "kind": "bound"},
    ],
)  # fmt: skip
def test_every_form_of_a_bound_means_the_same(text):
    value = LENGTH.read(text, "beam_diameter")
    assert float(value) == pytest.approx(6e-3, rel=1e-12)
    assert (value.tolerance.low, value.tolerance.high) == pytest.approx((5.5e-3, 6.5e-3), rel=1e-12)
    assert value.tolerance.kind == "bound"


@pytest.mark.parametrize(
    "text",
    ["6 mm +- 0.5 mm standard uncertainty", {"value": "6 mm", "tolerance": "0.5 mm", "kind": "standard uncertainty"}],
)
def test_a_standard_uncertainty_is_told_apart_from_a_bound(text):
    value = LENGTH.read(text, "beam_diameter")
    assert value.tolerance.kind == "standard uncertainty"
    assert value.tolerance.high == pytest.approx(6.5e-3, rel=1e-12)


@given(st.floats(0.1, 900.0), st.floats(0.001, 99.0))
def test_a_share_of_the_value_is_the_same_as_the_length(value, percent):
    found = LENGTH.read(f"{value!r} mm +- {percent!r} %", "beam_diameter")
    spread = value * 1e-3 * percent / 100.0
    assert found.tolerance.low == pytest.approx(value * 1e-3 - spread, rel=1e-9, abs=1e-15)
    assert found.tolerance.high == pytest.approx(value * 1e-3 + spread, rel=1e-9, abs=1e-15)
    assert found.tolerance.low <= found <= found.tolerance.high


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("6 mm +- 0.5", "tolerance = '0.5': a number without a unit"),
        ("6,0 mm +- 0.5 mm", "write the decimal point as '.'"),
        ("6 mm +- 0,5 mm", "write the decimal point as '.'"),
        ("6 mm +- -0.5 mm", "write it without a minus sign"),
        ("6 mm +- 5 mW", "is a unit of power, and this is a length"),
        ("6 mm +- 200 %", "the lowest value of '6 mm' = '-0.006 m': must be"),
        ("6 mm +- 1 mm +- 1 mm", "one value and one tolerance"),
        ("6 mm +- nan mm", "not a number that can be worked with"),
        ("6 mm +-", "nothing is written here"),
        ("+- 5 %", "nothing is written here"),
        ({"lowest": "5 mm"}, "give value and tolerance, or lowest and highest"),
        ({"value": "6 mm"}, "give value and tolerance, or lowest and highest"),
        ({"tolerance": "1 mm"}, "give value and tolerance, or lowest and highest"),
        ({"lowest": "7 mm", "highest": "5 mm"}, "must rise in this order"),
        ({"value": "8 mm", "lowest": "5 mm", "highest": "7 mm"}, "must rise in this order"),
        ({"value": "6 mm", "tolerance": "1 mm", "kind": "guess"}, "write 'bound' or 'standard uncertainty'"),
        ({"value": "6 mm", "low": "5 mm"}, "'low' is not a key of it"),
        ({"value": 6, "tolerance": "1 mm"}, "write number and unit together, in quotes"),
    ],
)
def test_what_cannot_be_a_tolerance_is_refused_with_the_reason(text, message):
    with pytest.raises(QuantityError) as error:
        LENGTH.read(text, "beam_diameter")
    assert message in str(error.value)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    "text",
    [
        "6 mm +- 4 mm standard uncertainty",
        "6 mm +- 3 mm standard uncertainty",
        {"value": "6 mm", "tolerance": "4 mm", "kind": "standard uncertainty"},
        {"value": "6 mm", "lowest": "2 mm", "highest": "7 mm", "kind": "standard uncertainty"},
        {"value": "6 mm", "lowest": "5 mm", "highest": "99.9 m", "kind": "standard uncertainty"},
    ],
)
def test_an_uncertainty_of_which_twice_is_not_possible_is_refused_when_it_is_read(text):
    typed = shown(text)
    with pytest.raises(QuantityError) as error:
        DIAMETER.read(text, "beam_diameter")
    assert str(error.value).startswith(f"beam_diameter = {typed}: twice the standard uncertainty reaches ")
    assert "there is no worst case: must be 100 nm or more, and at most 100 m; measure it better" in str(error.value)


def mark_of(info):
    return next((one for one in info.metadata if isinstance(one, Measured) and one.worst != "none"), None)


def marks():
    """Return each field of a case that takes a tolerance, by its name."""
    found, seen, models = {}, set(), [Case]
    while models:
        model = models.pop()
        if model in seen:
            continue
        seen.add(model)
        for name, info in model.model_fields.items():
            found |= dict.fromkeys({name} if mark_of(info) else (), mark_of(info))
            kinds = [info.annotation]
            for kind in kinds:
                kinds += get_args(kind)
                models += [kind] if isinstance(kind, type) and issubclass(kind, BaseModel) else []
    return found


def test_what_is_physically_possible_and_what_a_field_takes_do_not_contradict_each_other():
    found = marks()
    assert set(PHYSICAL) <= set(found)
    for name, mark in found.items():
        low, high = (parse_quantity(end, mark.unit, name).value for end in (mark.low, mark.high))
        lowest, highest, above = physical_range(name)
        assert low >= lowest, name
        if lowest > -math.inf:
            assert above if low > lowest else above is mark.above_low, name
        assert high <= highest or math.isclose(high, highest, rel_tol=1e-9), name


@given(st.sampled_from(sorted(marks())), st.floats(0.02, 0.98), st.floats(0.0, 1.5), st.booleans())
def test_one_rule_says_how_far_a_standard_uncertainty_counts(name, place, share, oblong):
    """The corner of the case and the worst corner of the sheet take the same ends, or the case is not read."""
    mark = marks()[name]
    low, high = (parse_quantity(end, mark.unit, name).value for end in (mark.low, mark.high))
    value = low + (high - low) * place if mark.unit == "1" else math.sqrt(max(low, 1e-12) * high) * 2.0**place
    spread = share * value
    unit = "" if mark.unit == "1" else f" {mark.unit}"
    text = f"{value!r}{unit} +- {spread!r}{unit} standard uncertainty"
    try:
        one = mark.number(text, name)
    except QuantityError:
        return
    place = ("laser", 0, "setup", 0, name, "x") if oblong and isinstance(mark, TwoAxes) else ("laser", 0, name)
    off = one.tolerance
    ends = Toleranced(place, one, mark).ends
    assert ends == limits_of(Uncertain(name, float(one), off.low, off.high, "standard uncertainty"))
    assert ends[0] <= max(float(one) - 2.0 * spread, physical_range(name)[0]) + 1e-9 * value
    assert ends[1] >= min(float(one) + 2.0 * spread, physical_range(name)[1]) - 1e-9 * value


def test_per_cent_of_a_share_is_not_guessed():
    with pytest.raises(QuantityError, match="of a share it can mean two things"):
        RATIO.read("0.6 +- 5 %", "reflectance")
    assert RATIO.read("0.6 +- 0.05", "reflectance").tolerance.high == pytest.approx(0.65, rel=1e-12)


def test_a_field_that_takes_no_tolerance_says_so():
    with pytest.raises(QuantityError, match="no tolerance is taken here"):
        Measured("m", "0 m", "10 m", "6 mm").read("6 mm +- 1 mm", "height")


def test_axes_and_ranges_carry_tolerances_too():
    oblong = DIAMETER.read(["3 mm +- 10 %", "5 mm"], "beam_diameter")
    assert oblong.x.tolerance.low == pytest.approx(2.7e-3, rel=1e-12)
    assert oblong.y.tolerance is None
    assert DIVERGENCE.read("3 mrad +- 15 %", "divergence").circular
    assert not PULSE.read("10 ns +- 10 %", "pulse_duration").turnable


def test_a_copy_keeps_the_tolerance():
    value = LENGTH.read("6 mm +- 0.5 mm", "beam_diameter")
    for again in (copy.deepcopy(value), pickle.loads(pickle.dumps(value)), LENGTH.read(value, "beam_diameter")):
        assert again.tolerance == value.tolerance
        assert again.typed == value.typed


def with_tolerances():
    text = template_text("handheld-welder").decode()
    return parse_case(
        text.replace('power = "1.5 kW"', 'power = "1.5 kW +- 5 %"', 1).replace(
            'beam_diameter = "8.5 mm"', 'beam_diameter = { lowest = "8 mm", highest = "9 mm" }', 1
        )
    )


def test_a_case_tells_which_inputs_carry_one_and_prints_them_as_typed():
    case = with_tolerances()
    found = {one.field: one for one in tolerances_of(case)}
    assert list(found) == ["laser[1].emission.power", "laser[1].setup[1].beam_diameter"]
    assert found["laser[1].emission.power"].worst == "high"
    lines = {line.field: (line.typed, line.used) for line in typed_inputs(case)}
    assert lines["laser[1].emission.power"] == ("1.5 kW +- 5 %", "1500 (1425 to 1575) W")
    assert lines["laser[1].setup[1].beam_diameter"][0] == "from 8 mm to 9 mm"


def test_a_tolerance_is_part_of_the_fingerprint_of_a_case():
    data = canonical(with_tolerances())
    assert data["laser"][0]["emission"]["power"][0] == {
        "value": 1500.0, "lowest": 1425.0, "highest": 1575.0, "kind": "bound",
    }  # fmt: skip


def test_values_are_replaced_where_the_tolerance_stood():
    case = with_tolerances()
    power, diameter = tolerances_of(case)
    low, high = SIValue(1425.0, "1425 W", "W"), SIValue(1575.0, "1575 W", "W")
    width = SIValue(8e-3, "8 mm", "m")
    new = replaced(case, {power.place: Knob(low, high), diameter.place: width})
    assert new.laser[0].emission.power.span == (1425.0, 1575.0)
    assert new.laser[0].setup[0].beam_diameter.pair == (8e-3, 8e-3)
    assert new.laser[0].setup[1] == case.laser[0].setup[1]
    assert tolerances_of(new) == ()
    assert float(case.laser[0].emission.power.low) == 1500.0


def test_a_scene_place_takes_no_tolerance():
    text = template_text("handheld-welder").decode()
    with pytest.raises(CaseError, match="no tolerance is taken here; write one value, the cautious one"):
        parse_case(text.replace('height = "1.1 m"', 'height = "1.1 m +- 1 cm"', 1))
