"""Verdicts that once passed wrongly: each case here was found by an independent reading of the code."""

from __future__ import annotations

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.decision import conditions
from lasersafe.assessment.protection import CaseResults
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from tests.case_head import HEAD


def laser(name="W", wavelength="1070 nm", power="500 W", extra="", emission="") -> str:
    emission = emission or f'kind = "continuous"\npower = "{power}"'
    return f"""
[[laser]]
name = "{name}"
class_label = "4"
serial = "none"
wavelength = "{wavelength}"
[laser.emission]
{emission}
[[laser.setup]]
name = "bare"
kind = "collimated"
beam_diameter = "8 mm"
divergence = "5 mrad"
criterion = "1/e"
{extra}
"""


def person(name="Spectator", distance="8 m", role="spectator", extra="") -> str:
    return f'\n[[person]]\nname = "{name}"\nrole = "{role}"\ndistance = "{distance}"\n{extra}\n'


def strike(*ways: str, name="Spectator") -> str:
    return "".join(
        f'\n[[strike_out]]\nway = "{w}"\nperson = "{name}"\nreason = "a wall stands between"\n' for w in ways
    )


def barrier(distance: str, rating: str, extra: str = "") -> str:
    return (
        f'\n[[barrier]]\nname = "Wall"\ndistance = "{distance}"\nrating = "{rating}"\nrated_time = "30000 s"\n'
        f"observed = true\n{extra}\n"
    )


def worked(*parts: str):
    return assess(parse_case(HEAD + "".join(parts)))


def row(found, way: str, tissue: str = "eye"):
    return next(s for s in found.scenarios if s.way == way and s.tissue == tissue)


def test_a_fitted_laser_that_nobody_is_assessed_for_has_no_verdict() -> None:
    found = worked(laser(), laser("Pointer", power="0.1 mW"), person(extra='laser = "Pointer"'))
    assert found.decision.passed is False
    assert any("W, bare" in reason for reason in found.decision.reasons)
    assert "names no person" not in found.decision.verdict
    assert found.decision.verdict.endswith("not assessed: Spectator for W")


def test_a_barrier_does_not_answer_what_comes_from_another_side() -> None:
    parts = [laser(extra='work_distance = "1 m"'), person(extra="in_beam_possible = false"), barrier("2 m", "10 MW/m2")]
    assert row(worked(*parts), "mirror").answer == ""
    named = [*parts[:2], barrier("2 m", "10 MW/m2", 'protects = ["Spectator"]')]
    assert "Wall" in row(worked(*named), "mirror").answer


def test_two_lasers_add() -> None:
    alone = worked(laser(power="56 mW"), person())
    assert alone.decision.passed is True
    both = worked(laser(power="56 mW"), laser("V", "1064 nm", "56 mW"), person())
    assert both.decision.passed is False
    together = row(both, "together")
    assert together.ratio == pytest.approx(
        sum(s.ratio for s in both.scenarios if s.way == "direct" and s.tissue == "eye")
    )
    far = worked(laser(power="56 mW"), laser("V", "10600 nm", "1 mW"), person())
    assert not any(s.way == "together" and s.tissue == "eye" for s in far.scenarios)


def test_two_lasers_add_on_a_barrier() -> None:
    one = [laser(power="60 W"), laser("V", "1064 nm", "60 W"), person()]
    results = worked(*one, barrier("1 m", "200 W/cm2")).barriers
    assert all(b.holds for b in results if b.way == "direct")
    results = worked(*one, barrier("1 m", "100 W/cm2")).barriers
    single = next(b.irradiance for b in results if b.way == "direct")
    assert single < 1e6 < 2 * single
    assert not any(b.holds for b in results if b.way == "direct")


def test_eyewear_counts_the_optical_aid() -> None:
    emission = 'kind = "pulse train"\npulse_energy = "10 mJ"\npulse_duration = "10 ns"\nrepetition_rate = "10 Hz"'
    aided = 'aided = true\neyewear = "532 D LB4 + R LB4"'
    found = worked(laser(wavelength="532 nm", emission=emission), person(distance="50 m", role="crew", extra=aided))
    need = found.eyewear[0]
    assert need.optical_density_exact >= math.log10(row(found, "direct").ratio) - 1e-9
    assert need.verdict.enough is False


def test_eyewear_for_the_beam_does_not_answer_stronger_scatter() -> None:
    fibre = laser(wavelength="450 nm", power="1 W").replace(
        'kind = "collimated"\nbeam_diameter = "8 mm"\ndivergence = "5 mrad"\ncriterion = "1/e"',
        'kind = "fibre multimode"\nnumerical_aperture = "0.5"\nnumerical_aperture_criterion = "1/e"\n'
        'core_diameter = "100 um"\nwork_distance = "3 m"\nspot_diameter = "1 mm"',
    )
    worn = 'distance_from_work = "0.1 m"\neyewear = "440-460 D LB1"'
    found = worked(fibre, person(distance="3 m", role="operator", extra=worn))
    assert row(found, "scatter").ratio > 10.0
    assert row(found, "scatter").answer == ""
    assert found.eyewear[0].optical_density >= 1.5


def test_scatter_is_judged_where_the_person_can_come() -> None:
    found = worked(laser(power="20 W", extra='work_distance = "5 m"'), person(distance="0.5 m"))
    assert row(found, "scatter").distance == 0.1
    surface = '[[surface]]\nname = "Far wall"\nmaterial = "plaster"\nfinish = "matt"\nreflectance = 0.9\n'
    surface += 'reflectance_source = "a test"\ndistance = "5 m"\n'
    found = worked(laser(power="100 W", extra='work_distance = "0.15 m"'), person(distance="5.2 m"), surface)
    assert row(found, "scatter").ratio == pytest.approx(0.9 * 100 / (math.pi * 0.2**2) / 50.0, rel=1e-6)


def test_one_weak_mirror_does_not_shrink_the_bound() -> None:
    pane = '\n[[surface]]\nname = "Pane"\nmaterial = "glass"\nfinish = "mirror"\nreflectance = 0.04\n'
    pane += 'reflectance_source = "a test"\ndistance = "1 m"\nview_angle = "85 deg"\n'
    bare = worked(laser(), person())
    listed = worked(laser(), person(), pane)
    for way in ("mirror", "scatter"):
        assert listed.setups[0].zone(way, "eye").distance == bare.setups[0].zone(way, "eye").distance
    complete = worked(laser(), person(), pane, "[settings]\nsurfaces_complete = true\n")
    assert complete.setups[0].zone("mirror", "eye").distance < bare.setups[0].zone("mirror", "eye").distance


def test_a_beam_measured_away_from_the_optic_names_its_waist() -> None:
    with pytest.raises(CaseError, match="waist_at"):
        worked(laser(extra='measured_at = "10 m"'), person())


def test_a_rating_as_power_density_does_not_hold_pulses() -> None:
    emission = 'kind = "pulse train"\npulse_energy = "20 J"\npulse_duration = "10 ns"\nrepetition_rate = "0.1 Hz"'
    parts = [laser(emission=emission), person()]
    assert not any(b.holds for b in worked(*parts, barrier("2 m", "100 W/cm2")).barriers)
    rated = worked(*parts, barrier("2 m", "100 W/cm2", 'pulse_rating = "1000 J/cm2"'))
    assert any(b.holds for b in rated.barriers)


def test_turning_away_is_for_bare_eyes_of_those_who_take_part() -> None:
    blue = laser(wavelength="450 nm", power="1 W")

    def durations(role: str, extra: str = "") -> tuple[float, float]:
        found = worked(blue, person(role=role, extra="briefed = true\n" + extra))
        return row(found, "direct", "eye").duration, row(found, "direct", "skin").duration

    assert durations("operator") == (0.25, 10.0)
    assert durations("operator", 'eyewear = "440-460 D LB6"') == (10.0, 10.0)
    assert durations("spectator") == (10.0, 10.0)


def test_a_barrier_before_unknown_work_gets_the_nearest_scatter() -> None:
    found = worked(laser(power="1 kW"), person(), barrier("5 m", "100 W/m2"))
    scatter = next(b for b in found.barriers if b.way == "scatter")
    assert scatter.irradiance == pytest.approx(1000 / (math.pi * 0.1**2))
    assert scatter.holds is False


def test_spectators_with_binoculars_move_the_headline() -> None:
    bare = worked(laser(), person(distance="900 m"))
    aided = worked(laser(), person(distance="900 m", extra="aided = true"))
    assert aided.decision.headline_distance > 3.0 * bare.decision.headline_distance
    assert "optical aid" in aided.decision.people
    assert "naked eye" in bare.decision.people


def test_the_narrowest_place_between_two_waists_counts() -> None:
    two = laser(power="25.3 mW").replace(
        'beam_diameter = "8 mm"\ndivergence = "5 mrad"',
        'beam_diameter = ["44.721 mm", "71.162 mm"]\ndivergence = ["20 mrad", "20 mrad"]\nwaist_at = '
        '["2 m", "3.41421 m"]',
    )
    found = worked(two, person(distance="0.5 m"))
    assert row(found, "direct").ratio == pytest.approx(1.03, abs=0.01)
    assert row(found, "direct").below is False


def test_the_stricter_duration_holds_at_400_nm() -> None:
    found = worked(laser(wavelength="400 nm", power="1 W"), person())
    assert row(found, "direct").duration == 30_000.0


def test_pulses_longer_than_the_exposure_are_worked_out() -> None:
    emission = 'kind = "single pulse"\npulse_energy = "1 J"\npulse_duration = "20 s"'
    found = worked(laser(wavelength="1064 nm", emission=emission), person())
    assert row(found, "direct").duration == 20.0


@pytest.mark.parametrize("emission", [
    'kind = "pulse train"\npulse_duration = "100 ns"\nrepetition_rate = "1 kHz"\npulse_energy = "2 J"',
    'kind = "mode table"\n[[laser.emission.modes]]\nname = "one"\npulse_duration = "100 ns"\n'
    'repetition_rate = "1 kHz"\npulse_energy = "2 J"',
    'kind = "pulse train"\npulse_duration = "1 us"\nrepetition_rate = "1 kHz"\nmean_power = "600 W"\n'
    'pedestal_power = "500 W"',
])  # fmt: skip
def test_pulses_of_a_kilowatt_mean_bring_the_controls_of_the_kilowatt_class(emission: str) -> None:
    # 2 J at 1 kHz are 2 kW; 600 W in pulses on 500 W of base are 1.1 kW
    weaker = emission.replace("2 J", "0.9 J").replace("600 W", "400 W")
    for stated, brings in ((emission, True), (weaker, False)):
        case = parse_case(HEAD + laser(emission=stated) + person())
        worked = CaseResults(case, contexts(case), [], [], [], [], None, [])
        assert ("kilowatt" in conditions(worked)) is brings
