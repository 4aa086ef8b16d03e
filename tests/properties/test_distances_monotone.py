"""What must hold for every beam: which way a distance moves, and that an answer is finite or refused.

A wider *limiting* aperture averages over more area and may shorten a distance: that is the standard's rule. A wider
*collecting* aperture (an instrument) takes in more power, which is more amount at the same limiting aperture.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lasersafe.errors import CalcError
from lasersafe.hazard.distances import direct_distance, farthest_crossing, scatter_distance
from lasersafe.hazard.scatter import scatter_farthest
from lasersafe.optics.beam import BeamGeometry, collimated, diameters, fraction_through, mean_exposure, through_lens
from lasersafe.optics.reflection import LitSpot
from tests.few import few


def decades(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda power: 10.0**power)


AMOUNT, LIMIT, APERTURE = decades(-6, 5), decades(-2, 5), decades(-3, -1.3)
MORE = st.floats(1.0, 100.0)
WAIST, ANGLE, POSITION = decades(-6, -1), decades(-4, 0.3), st.floats(-3.0, 3.0)
PROFILE, PROPAGATION = st.sampled_from(["gaussian", "top-hat"]), st.sampled_from(["hyperbolic", "linear"])
BEAM = st.one_of(
    st.builds(
        lambda d, a, p, profile, way: BeamGeometry((d, d), (a, a), (p, p), profile, way),
        st.one_of(st.just(0.0), WAIST),
        ANGLE,
        POSITION,
        PROFILE,
        PROPAGATION,
    ),
    st.builds(
        BeamGeometry,
        st.tuples(WAIST, WAIST),
        st.tuples(ANGLE, ANGLE),
        st.tuples(POSITION, POSITION),
        PROFILE,
        PROPAGATION,
    ),
)
ANY_NUMBER = st.floats(allow_nan=True, allow_infinity=True)
NEIGHBOUR = 1e-9


@given(AMOUNT, LIMIT, APERTURE, BEAM, MORE)
def test_more_power_never_shortens(amount, limit, aperture, beam, more):
    assert direct_distance(amount * more, limit, aperture, beam) >= direct_distance(amount, limit, aperture, beam) * (
        1.0 - NEIGHBOUR
    )


@given(AMOUNT, LIMIT, APERTURE, BEAM, MORE)
def test_a_lower_limit_never_shortens(amount, limit, aperture, beam, more):
    assert direct_distance(amount, limit / more, aperture, beam) >= direct_distance(amount, limit, aperture, beam) * (
        1.0 - NEIGHBOUR
    )


@given(AMOUNT, LIMIT, APERTURE, BEAM, st.floats(0.01, 1.0), st.floats(0.0, 1.0))
def test_more_reflectance_never_shortens(amount, limit, aperture, beam, reflectance, part):
    weak = amount * reflectance * max(part, 0.01)
    strong = amount * reflectance
    assert direct_distance(strong, limit, aperture, beam) >= direct_distance(weak, limit, aperture, beam) * (
        1.0 - NEIGHBOUR
    )
    for model in ("lambert", "hemisphere"):
        assert scatter_distance(strong, limit, model=model) >= scatter_distance(weak, limit, model=model)
        assert scatter_distance(amount, limit, reflectance, 0.0, model) >= scatter_distance(
            amount, limit, reflectance * part, 0.0, model
        )


@given(AMOUNT, LIMIT, APERTURE, BEAM, MORE)
def test_a_wider_collecting_aperture_never_shortens(amount, limit, aperture, beam, wider):
    """The power that an objective gathers falls on the same limiting aperture; gathering is never a loss."""
    assume(wider * aperture < 1.0)
    distance = direct_distance(amount, limit, aperture, beam)
    assume(distance > 0.0)
    dx, dy = diameters(beam, distance * (1.0 - 1e-6))
    bare = amount * float(fraction_through(dx, dy, aperture, beam.profile))
    aided = amount * float(fraction_through(dx, dy, aperture * wider, beam.profile))
    assert aided >= bare * (1.0 - 1e-12)


@given(AMOUNT, LIMIT, APERTURE, MORE, BEAM)
def test_a_wider_limiting_aperture_only_ever_shortens(amount, limit, aperture, wider, beam):
    assert direct_distance(amount, limit, aperture * wider, beam) <= direct_distance(amount, limit, aperture, beam) * (
        1.0 + NEIGHBOUR
    )


@given(AMOUNT, LIMIT, APERTURE, BEAM)
def test_beyond_the_distance_the_limit_is_kept(amount, limit, aperture, beam):
    distance = direct_distance(amount, limit, aperture, beam)
    beyond = max(distance, 1e-9) * np.array([1.0 + NEIGHBOUR, 1.01, 1.5, 3.0, 100.0])
    exposure = mean_exposure(amount, *diameters(beam, beyond), aperture, beam.profile)
    assert (exposure <= limit * (1.0 + 1e-7)).all()


def round_beams(waist, angle, position=0.0, profile="gaussian", propagation="hyperbolic"):
    pairs = ((np.asarray(one),) * 2 for one in (waist, angle, position))
    return BeamGeometry(*pairs, profile, propagation)


@given(AMOUNT, LIMIT, APERTURE, WAIST, ANGLE, POSITION, PROFILE)
def test_the_hyperbolic_beam_is_never_nearer_than_the_linear_one(
    amount, limit, aperture, waist, angle, position, profile
):
    hyperbolic, linear = (
        float(direct_distance(amount, limit, aperture, round_beams(waist, angle, position, profile, way)))
        for way in ("hyperbolic", "linear")
    )
    assert hyperbolic >= linear


@given(AMOUNT, LIMIT, APERTURE, decades(-4, -1.5), decades(-2, 0.5), PROFILE)
def test_a_point_focus_is_never_nearer_than_a_real_one(amount, limit, aperture, diameter, focal_length, profile):
    assume(diameter / focal_length < 3.0)
    point = through_lens(diameter, focal_length, "1/e", profile)
    real = through_lens(diameter, focal_length, "1/e", profile, focus_diameter=diameter / 10.0)
    assert direct_distance(amount, limit, aperture, point) >= direct_distance(amount, limit, aperture, real)


@given(BEAM, APERTURE, MORE, st.floats(-10.0, 10.0))
def test_fractions_are_fractions_and_grow_with_the_hole(beam, aperture, wider, place):
    dx, dy = diameters(beam, place)
    small, large = (float(fraction_through(dx, dy, hole, beam.profile)) for hole in (aperture, aperture * wider))
    assert 0.0 <= small <= large * (1.0 + 1e-12) <= 1.0 + 1e-12
    assert small == pytest.approx(float(fraction_through(dy, dx, aperture, beam.profile)), rel=1e-12, abs=0)


@given(WAIST, ANGLE, POSITION, st.floats(-2.0, 2.0), PROPAGATION, st.sampled_from(["1/e", "1/e2", "FWHM"]))
def test_a_measured_diameter_comes_back(diameter, angle, position, place, propagation, criterion):
    assume(angle * abs(place - position) < 0.99 * diameter)
    beam = collimated(diameter, angle, criterion, waist_position=position, at=place, propagation=propagation)
    here = collimated(diameter, angle, criterion)
    assert float(diameters(beam, place)[0]) == pytest.approx(here.waist_diameter[0], rel=1e-9, abs=0)


@few(60)
@given(AMOUNT, decades(-5, -1), decades(0, 4), st.floats(0.0, 1.5), MORE)
def test_a_larger_spot_never_lengthens_extended_scatter(amount, spot, base, view, wider):
    def limit(first, second, at):
        del at
        return base * np.clip((first + second) / 3e-3, 1.0, 66.0)

    def reach(diameter):
        return float(scatter_farthest(amount, limit, LitSpot(1.0, view, "lambert", diameter), ()))

    point = float(scatter_distance(amount, base, 1.0, view, "lambert"))
    assert reach(spot * wider) <= reach(spot) * (1.0 + NEIGHBOUR) <= point * (1.0 + 2.0 * NEIGHBOUR)


@few(300)
@given(ANY_NUMBER, ANY_NUMBER, ANY_NUMBER, ANY_NUMBER, ANY_NUMBER, ANY_NUMBER, PROFILE, PROPAGATION)
def test_finite_or_refused(amount, limit, aperture, waist, angle, position, profile, propagation):
    try:
        beam = round_beams(waist, angle, position, profile, propagation)
        distance = float(direct_distance(amount, limit, aperture, beam))
    except CalcError:
        return
    assert 0.0 <= distance < math.inf
    assert all(0.0 < x < math.inf for x in (amount, limit, aperture, angle))


WILD = st.floats(min_value=0.0, exclude_min=True, allow_infinity=False)


@few(300)
@given(WILD, WILD, WILD, st.tuples(WILD, WILD), st.tuples(WILD, WILD), st.tuples(WILD, WILD), PROFILE, PROPAGATION)
def test_elliptical_finite_or_refused(amount, limit, aperture, waist, angle, position, profile, propagation):
    try:
        beam = BeamGeometry(waist, angle, position, profile, propagation)
        far = float(direct_distance(amount, limit, aperture, beam))
    except CalcError:
        return
    assert 0.0 <= far < math.inf


@few(150)
@given(WILD, st.floats(0.0, 1.0), st.floats(0.0, math.pi / 2), st.sampled_from(["lambert", "hemisphere"]), WILD, WILD)
def test_extended_scatter_finite_or_refused(amount, reflectance, view, model, spot, base):
    try:
        distance = float(
            scatter_farthest(amount, lambda a, b, at: base + 0.0 * a, LitSpot(reflectance, view, model, spot), ())
        )
        point = float(scatter_distance(amount, base, reflectance, view, model))
    except CalcError:
        return
    assert 0.0 <= distance < math.inf
    if min(amount, reflectance, base, point**2) > 1e-100:  # below, the numbers themselves lose their digits
        assert distance == pytest.approx(point, rel=1e-9, abs=0)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, -1.0, 0.0])
@pytest.mark.parametrize("field", ["amount", "limit", "aperture", "divergence"])
def test_every_bad_number_is_refused_by_name(field, bad):
    good = {"amount": 1.0, "limit": 50.0, "aperture": 7e-3, "waist_diameter": 1e-3, "divergence": 1e-3}
    wrong = {**good, field: [good[field], bad]}
    beams = round_beams(wrong.pop("waist_diameter"), wrong.pop("divergence"))
    with pytest.raises(CalcError, match=rf"^{field} = .*: must be above 0 and finite"):
        direct_distance(**wrong, beam=beams)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
def test_other_bad_numbers_are_refused_by_name(bad):
    with pytest.raises(CalcError, match=r"^waist_diameter = "):
        BeamGeometry((bad, 1e-3), (1e-3, 1e-3))
    with pytest.raises(CalcError, match=r"^divergence = "):
        BeamGeometry((1e-3, 1e-3), (1e-3, bad))
    with pytest.raises(CalcError, match=r"^reflectance = .*: must be from 0 to 1"):
        scatter_distance(1.0, 1.0, bad)
    with pytest.raises(CalcError, match=r"^view_angle = .*: must be from 0 to 1\.5708"):
        scatter_distance(1.0, 1.0, 1.0, bad)


def test_words_that_are_not_known_are_refused_with_the_choices():
    with pytest.raises(CalcError, match=r"^criterion = 'D4s' is not known here; write one of: 1/e, 1/e2, FWHM$"):
        collimated(1e-3, 1e-3, "D4s")
    with pytest.raises(CalcError, match=r"^model = 'mirror' is not known here; write one of: lambert, hemisphere$"):
        scatter_distance(1.0, 1.0, model="mirror")
    with pytest.raises(CalcError, match=r"^propagation = 'straight'"):
        collimated(1e-3, 1e-3, "1/e", propagation="straight")


def test_a_search_that_ends_too_early_or_meets_nan_is_refused():
    with pytest.raises(CalcError, match="still exceeded at 10 m, the end of the search"):
        farthest_crossing(lambda z: 0.0 * z + 2.0, 1.0, 10.0)
    with pytest.raises(CalcError, match="not a number"):
        farthest_crossing(lambda z: z * math.nan, 1.0, 10.0)


def test_a_measured_place_that_the_divergence_cannot_reach_is_refused():
    with pytest.raises(CalcError, match=r"^diameter = 0\.001 m \(1/e\) at 2 m: the divergence alone"):
        collimated(1e-3, 1e-3, "1/e", at=2.0)
