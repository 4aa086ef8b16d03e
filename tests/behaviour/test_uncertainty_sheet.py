"""What a user gets to know on how sure the distances are: sheet, text and JSON."""

import json
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lasersafe.ask.printed import assessment_text
from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.distances import zone_distances
from lasersafe.errors import CaseError
from lasersafe.hazard.tolerances import Uncertain, worst_corner
from lasersafe.limits import rule_sets
from lasersafe.models import parse_case
from lasersafe.records import as_json
from lasersafe.sheet import render_sheet
from tests.assessed_once import anew
from tests.behaviour.test_tolerances import DIAMETER, EMISSION, FOCAL, POWER, WAVELENGTH, assessed, distances, text_of

TOLERANT = (
    (POWER, 'power = "1.5 kW +- 5 %"'),
    (DIAMETER, 'beam_diameter = "8.5 mm +- 0.5 mm standard uncertainty"'),
    (FOCAL, 'focal_length = { value = "400 mm", lowest = "392 mm", highest = "410 mm" }'),
)


def words(assessment, language=None):
    from io import BytesIO

    import pypdf

    contents = [render_sheet(assessment, language=language, kind=kind) for kind in ("sheet", "annex")]
    pages = [page for content in contents for page in pypdf.PdfReader(BytesIO(content)).pages]
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def spread(assessment, way, tissue):
    return next(one for one in assessment.uncertainty.spreads if (one.way, one.tissue) == (way, tissue))


def test_nominal_95_percent_and_worst_corner_stand_in_order():
    assessment = assessed(*TOLERANT)
    for tissue in ("eye", "skin"):
        one = spread(assessment, "direct", tissue)
        assert one.nominal == pytest.approx(distances(assessed())["Bench laser", "Lens", "direct", tissue], rel=1e-12)
        assert one.worst == pytest.approx(distances(assessment)["Bench laser", "Lens", "direct", tissue], rel=1e-9)
        assert one.nominal < one.upper < one.worst
        assert 0.0 < one.upper_error < 0.1 * (one.upper - one.nominal)


@pytest.mark.parametrize("end", ["lowest", "highest"])
def test_an_end_that_equals_the_value_typed_is_still_the_end_that_it_is(end):
    """A direction that is guessed from the value typed points the wrong way there."""

    def case(power, width):
        power = f'{{ value = "{power}", lowest = "1 W", highest = "2 W" }}'
        width = f'{{ value = "{width}", lowest = "7 mm", highest = "9 mm" }}'
        pulses = (
            f'kind = "pulse train"\npulse_duration = "10 ns +- 2 ns"\nrepetition_rate = "20 kHz"\nmean_power = {power}'
        )
        return spread(
            assessed((EMISSION, pulses), (DIAMETER, f"beam_diameter = {width}")), "direct", "eye"
        )  # fmt: skip

    at_end = case("2 W", "7 mm") if end == "highest" else case("1 W", "9 mm")
    beside = case("1.9999999 W", "7.0000001 mm") if end == "highest" else case("1.0000001 W", "8.9999999 mm")
    assert at_end.worst == pytest.approx(beside.worst, rel=1e-6)
    known = [{one.name: one.known for one in spread.influences if one.known is not None} for spread in (at_end, beside)]
    assert known[0] == pytest.approx(known[1], rel=1e-6)
    assert len(known[0]) == 3


def test_equal_cases_give_equal_spreads():
    first = assessed(*TOLERANT).uncertainty
    with anew():
        assert assessed(*TOLERANT).uncertainty == first


def test_the_input_to_measure_is_the_one_that_gains_most():
    found = assessed(*TOLERANT).uncertainty
    first, *others = spread(assessed(*TOLERANT), "direct", "eye").influences
    assert first.name == "beam_diameter"
    assert all(first.known <= one.known for one in others if one.known is not None)
    assert "Measure the beam diameter first" in found.measure
    exact = assessed(TOLERANT[0], TOLERANT[2])
    assert first.known == pytest.approx(distances(exact)["Bench laser", "Lens", "direct", "eye"], rel=1e-9)


def test_without_tolerances_the_sheet_says_so_and_the_answer_still_ranks_the_inputs():
    assessment = assessed()
    assert [one.name for one in spread(assessment, "direct", "eye").influences][:3] == [
        "focal_length", "beam_diameter", "power",
    ]  # fmt: skip
    text = words(assessment)
    assert "No input of this case states a tolerance" in text
    assert "worst corner of all stated tolerances" not in text


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_sheet_shows_inputs_spread_and_seed(language):
    assessment = assessed(*TOLERANT)
    text = words(assessment, language)
    assert "laser[1].emission.power" in text
    assert "1.5 kW +- 5 %" in text
    assert "20000" in text.replace("\u00a0", " ")
    assert str(spread(assessment, "direct", "eye").seed) in text
    assert ("probability of injury" if language == "en" else "Wahrscheinlichkeit einer Verletzung") in text


@pytest.mark.parametrize(("language", "said"), [("en", "the distance jumps where"), ("de", "Der Abstand springt")])
def test_an_input_at_which_the_distance_jumps_is_said_without_a_number(language, said):
    # at 10 Hz one pulse more counts in 10 s as soon as the rate is a little higher: it said "by inf %"
    train = 'kind = "pulse train"\npulse_duration = "10 ns"\nrepetition_rate = "10 Hz"\nmean_power = "10 W"'
    found = assess(parse_case(text_of((EMISSION, train))), language)
    (first, *_) = spread(found, "direct", "eye").influences
    assert (first.name, first.exponent) == ("repetition_rate", math.inf)
    assert said in found.uncertainty.measure
    assert " inf " not in found.uncertainty.measure


def test_the_decision_says_that_it_is_the_worst_corner():
    assert assessed(*TOLERANT).decision.people.endswith(
        "These distances are the worst corner of all stated tolerances."
    )


def test_deciding_by_the_values_as_typed_needs_a_reason_that_is_printed():
    typed = ("[[laser]]\nname", '[settings]\ndecide_by = "as typed"\ndecide_by_reason = "trial run"\n\n[[laser]]\nname')
    assessment = assessed(*TOLERANT, typed)
    assert distances(assessment) == pytest.approx(distances(assessed()), rel=1e-12)
    assert "not for the worst corner of the stated tolerances: trial run" in assessment.decision.people
    assert spread(assessment, "direct", "eye").worst > spread(assessment, "direct", "eye").nominal
    with pytest.raises(CaseError, match="say why the worst corner does not decide"):
        parse_case(text_of((typed[0], typed[1].replace('decide_by_reason = "trial run"\n', ""))))


def test_json_and_text_carry_the_spread():
    assessment = assessed(*TOLERANT)
    data = json.loads(json.dumps(as_json(assessment), allow_nan=False))["uncertainty"]
    assert data["decided_by"] == "worst corner"
    assert data["inputs"][0]["field"] == "laser[1].emission.power"
    row = next(one for one in data["distances"] if (one["way"], one["tissue"]) == ("direct", "eye"))
    assert row["nominal_m"] < row["one_sided_95_percent_m"] < row["worst_corner_m"]
    text = assessment_text(assessment)
    assert "How sure the distances are" in text
    assert "seed" in text


SHARE = st.floats(0.5, 20.0)


@settings(max_examples=max(20, settings().max_examples // 6))
@given(SHARE, SHARE, SHARE, st.sampled_from(["450 nm +- 15 nm", "1070 nm +- 30 nm", "1395 nm +- 10 nm", "10.6 um"]))
def test_the_corner_of_the_sheet_is_that_of_a_search_over_everything_between(power, divergence, diameter, wavelength):
    changes = (
        (POWER, f'power = "1.5 kW +- {power!r} %"'),
        (WAVELENGTH, f'wavelength = "{wavelength}"'),
        ('beam_diameter = "6 mm"', f'beam_diameter = "6 mm +- {diameter!r} %"'),
        ('divergence = "1 mrad"', f'divergence = "5 mrad +- {divergence!r} %"'),
    )
    from lasersafe.assessment.corners import corners_of
    from lasersafe.assessment.setups import setup_result

    case = parse_case(text_of(*changes))
    free = next(c for c in contexts(case, rule_sets()) if c.setup.name == "Free beam")
    corners = corners_of(case)
    found = [
        setup_result(c) for one in corners.cases for c in contexts(one, rule_sets()) if c.setup.name == "Free beam"
    ]
    inputs = [
        Uncertain("power", 1500.0, 1500.0 * (1 - power / 100), 1500.0 * (1 + power / 100), "bound"),
        Uncertain("beam_diameter", 6e-3, 6e-3 * (1 - diameter / 100), 6e-3 * (1 + diameter / 100), "bound"),
        Uncertain("divergence", 5e-3, 5e-3 * (1 - divergence / 100), 5e-3 * (1 + divergence / 100), "bound"),
    ]
    light = next((one for one in corners.inputs if one.field.endswith("wavelength")), None)
    if light is not None:
        inputs.append(Uncertain("wavelength", light.nominal, light.low, light.high, "bound"))
    for tissue in ("eye", "skin"):
        searched = worst_corner(
            lambda values, tissue=tissue: zone_distances(free, "direct", tissue, values),
            inputs, {"power": 1, "beam_diameter": -1, "divergence": -1},
            {} if light is None else {"wavelength": [4e-7, 4.5e-7, 1.05e-6, 1.4e-6]},
        )  # fmt: skip
        assert max(s.zone("direct", tissue).distance for s in found) == pytest.approx(searched, rel=1e-6)
