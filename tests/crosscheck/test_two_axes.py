"""Elliptical beams on arrays against the search for one beam, and the series for wide beams against the integral."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.hazard.distances import direct_distance, farthest, last_fall
from lasersafe.hazard.exposure import Comparison, strictest_by_aperture
from lasersafe.optics.beam import BeamGeometry, _gaussian_elliptical, _gaussian_wide, diameters, mean_exposure


def nodes_of(amount: float, limit: float, aperture: float, beam: BeamGeometry) -> np.ndarray:
    """Return ascending places from 0 to where the limit is kept for good, dense around both waists."""
    angles = beam.divergence[0] * beam.divergence[1]
    far = max(0.0, *beam.waist_position) + math.sqrt(4.0 * amount / (math.pi * limit * angles))
    far *= 1.0 + 1e-9
    places = [np.array([0.0, far])]
    apart = abs(beam.waist_position[0] - beam.waist_position[1])
    for waist, angle, position in zip(beam.waist_diameter, beam.divergence, beam.waist_position, strict=True):
        places.append(np.array([position]))
        if apart > 0.0:
            depth = max(waist, aperture) / angle
            offsets = np.geomspace(depth / 16.0, 2.0 * (apart + depth), 64)
            places += [position - offsets, position + offsets]
    nodes = np.unique(np.concatenate(places))
    return np.asarray(nodes[(nodes >= 0.0) & (nodes <= far)])


def last_excess(amount: float, limit: float, aperture: float, beam: BeamGeometry) -> float:
    """Return the last place above the limit: places dense around both waists, the last one above halved down."""

    def above(place: np.ndarray) -> np.ndarray:
        return mean_exposure(amount, *diameters(beam, place), aperture, beam.profile) > limit

    nodes = nodes_of(amount, limit, aperture, beam)
    over = np.flatnonzero(above(nodes))
    if not over.size:
        return 0.0
    low, high = nodes[over[-1]], nodes[over[-1] + 1]
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (middle, high) if above(np.array([middle]))[0] else (low, middle)
    return float(high)


def test_the_series_is_the_integral() -> None:
    random = np.random.default_rng(1)
    short = 10 ** random.uniform(0, 4, 5000)
    long = short * 10 ** random.uniform(0, 5, 5000)
    hole = np.ones(5000)
    np.testing.assert_allclose(_gaussian_wide(long, short, hole), _gaussian_elliptical(long, short, hole), rtol=1e-14)
    np.testing.assert_allclose(_gaussian_wide(short, short, hole), -np.expm1(-1.0 / short**2), rtol=1e-14)


@pytest.mark.parametrize("propagation", ["hyperbolic", "linear"])
@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
@pytest.mark.parametrize("waists", ["at the optic", "together", "apart"])
def test_arrays_are_the_beams_one_by_one(profile: str, propagation: str, waists: str) -> None:
    random = np.random.default_rng(len(profile + propagation + waists))
    size = 40
    amount, limit = 10 ** random.uniform(-3, 4, size), 10 ** random.uniform(0, 4, size)
    aperture = random.uniform(1e-3, 7e-3, size)
    waist = [10 ** random.uniform(-5, -1, size) for _ in "xy"]
    angle = [10 ** random.uniform(-4, -0.5, size) for _ in "xy"]
    place = np.zeros(size) if waists == "at the optic" else random.uniform(-1, 2, size)
    other = place + (10 ** random.uniform(-3, 1, size) if waists == "apart" else 0.0)
    beams = BeamGeometry((waist[0], waist[1]), (angle[0], angle[1]), (place, other), profile, propagation)
    found = direct_distance(amount, limit, aperture, beams)
    for i in range(size):
        beam = BeamGeometry(
            (waist[0][i], waist[1][i]), (angle[0][i], angle[1][i]), (place[i], other[i]), profile, propagation
        )
        assert found[i] == pytest.approx(last_excess(amount[i], limit[i], aperture[i], beam), rel=1e-12, abs=0.0)
        if found[i] > 0.0:
            dx, dy = diameters(beam, found[i])
            assert mean_exposure(amount[i], dx, dy, aperture[i], profile) <= limit[i] * (1 + 1e-12)


@pytest.mark.parametrize("propagation", ["hyperbolic", "linear"])
@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
@pytest.mark.parametrize("size", [1, 8])
def test_comparisons_that_are_not_searched_would_not_reach_farther(profile: str, propagation: str, size: int) -> None:
    random = np.random.default_rng(size + len(profile + propagation))
    for turn in range(12):
        waist, angle = ([10 ** random.uniform(low, high, size) for _ in "xy"] for low, high in ((-5, -1), (-4, -0.5)))
        place = [random.uniform(-1, 2, size) for _ in "xy"] if turn % 3 else [np.zeros(size)] * 2
        beams = BeamGeometry((waist[0], waist[1]), (angle[0], angle[1]), (place[0], place[1]), profile, propagation)
        amount = 10 ** random.uniform(-3, 4, size)
        compared = [
            Comparison("", "", "", amount * share, np.where(random.random(size) < 0.1, np.inf, limit), np.asarray(hole))
            for share, limit, hole in zip(
                10 ** random.uniform(-2, 0, 5),
                10 ** random.uniform(0, 4, 5),
                random.uniform(1e-3, 7e-3, 5),
                strict=True,
            )
        ]
        alone = [farthest([one], beams, 0.7) for one in strictest_by_aperture(compared)]
        np.testing.assert_array_equal(farthest(compared, beams, 0.7), np.max(alone, axis=0))


def test_a_bracket_that_begins_at_the_last_optic_is_narrowed_without_a_warning() -> None:
    none = np.zeros(1)
    found = last_fall(lambda place, at: 2.0 / (1.0 + place), none, none + 3.0, none, np.zeros(1, dtype=np.intp))
    assert found[0] == pytest.approx(1.0, rel=1e-12)
