"""Ignition and barriers in space: hand calculations, integrals over a plane, straight lines past an edge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.ignition import ignition_distance, judge_ignition, screening_thresholds, user_threshold
from lasersafe.hazard.irradiance_map import axis_on_plane, beam_map, peak_on_barrier, plane_points, scatter_map
from lasersafe.hazard.windows import can_be_reached_over, judge_window, needed_height, rated_distances, shadow
from lasersafe.optics.curved import reflect
from lasersafe.optics.geometry import BeamGeometry
from lasersafe.optics.propagation import through_lens

SCREENING, ENCLOSURE = screening_thresholds()


@pytest.mark.published("TRADE-FIRE", "wooden door some 3 m behind the target", note="common practice, no source")
@pytest.mark.parametrize("focal_length", [0.25, 0.3, 0.5, 1.0])  # a long-focus head; 10 mm (1/e) at the lens
def test_a_door_behind_the_target_of_a_handheld_head_lies_in_the_ignition_zone(focal_length):
    beam = through_lens(10e-3, focal_length, "1/e")
    door = focal_length + 3.0  # the target stands in the focus
    found = judge_ignition(1500.0, beam, door)
    assert all(verdict.may_ignite for verdict in found)
    assert ignition_distance(1500.0, SCREENING, beam) > door
    spread = 10e-3 / focal_length * 3.0
    assert found[0].irradiance == pytest.approx(4.0 * 1500.0 / (math.pi * spread**2), rel=1e-9)


def test_thresholds():
    assert (SCREENING.irradiance, SCREENING.power, SCREENING.seen) == (5e3, None, "memory")
    assert (ENCLOSURE.irradiance, ENCLOSURE.power, ENCLOSURE.seen) == (1e5, 0.5, "memory")


def test_ignition_fails_closed():
    beam = through_lens(10e-3, 0.2, "1/e")
    weak = judge_ignition(0.4, beam, 5.0)
    assert [v.may_ignite for v in weak] == [False, False]
    assert judge_ignition(0.6, beam, 5.0)[1].distance == math.inf  # by its power alone
    assert judge_ignition(1.0, beam, 0.2)[0].may_ignite  # in the point focus
    own = user_threshold(judge_ignition(100.0, beam, 1.0)[0].irradiance, "test of the wood used")
    assert not judge_ignition(100.0, beam, 1.0, (own,))[0].may_ignite  # equal is not above
    assert judge_ignition(100.0, beam, 1.0, (own,))[0].distance == pytest.approx(1.0, rel=1e-6)
    assert judge_ignition(0.0, beam, 1.0)[0].distance == 0.0
    for bad in (math.nan, -1.0, math.inf):
        with pytest.raises(OutOfRangeError):
            judge_ignition(bad, beam, 1.0)


def test_a_map_holds_all_the_power():
    points, normal = plane_points((2.0, -1.0, 0.0), (0.0, 2.0, 0.0), (0.5, 0.0, 2.0), 401, 401)
    cell = 2.0 * math.hypot(0.5, 2.0) / 400**2
    for profile, close in (("gaussian", 1e-6), ("top-hat", 1e-2)):
        beam = BeamGeometry((3e-3, 9e-3), (60e-3, 90e-3), (0.1, 0.2), profile)
        found = beam_map(100.0, beam, (0.0, 0.1, 1.0), (1.0, -0.02, 0.05), points, normal)
        # over the plane the beam grows with z, so a slanted plane is not exact; 3 mm per 100 mm here
        assert float(found.sum()) * cell == pytest.approx(100.0, rel=max(close, 2e-2))
    around = beam_map(100.0, beam, (0.0, 0.0, 1.0), (-1.0, 0.0, 0.0), points)
    assert not around.any()


def test_peak_of_a_map_is_the_peak_of_the_beam():
    beam = through_lens(10e-3, 0.15, "1/e")
    points = np.array([[2.15, 0.0, 1.2], [2.15, 0.0, 1.2 + 2.0 / 15.0 / 2.0], [-1.0, 0.0, 1.2]])
    found = beam_map(1500.0, beam, (0.0, 0.0, 1.2), (3.0, 0.0, 0.0), points)
    peak = 4.0 * 1500.0 / (math.pi * (2.0 / 15.0) ** 2)
    assert found.tolist() == pytest.approx([peak, peak / math.e, 0.0], rel=1e-9)
    behind = reflect(beam, 1.0, 0.5)
    mirrored = beam_map(1500.0, behind, (1.0, 0.0, 1.2), (0.0, 1.0, 0.0), [[1.0, 3.0, 1.2]])
    assert float(mirrored[0]) < float(beam_map(1500.0, beam, (0, 0, 1.2), (1, 0, 0), [[4.0, 0.0, 1.2]])[0])


@pytest.mark.parametrize("model", ["lambert", "hemisphere"])
def test_scatter_on_a_large_plane_holds_half_of_space(model):
    points, normal = plane_points((1.0, -40.0, -40.0), (0.0, 80.0, 0.0), (0.0, 0.0, 80.0), 1601, 1601)
    found = scatter_map(100.0, 0.5, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), points, normal, model)
    assert float(found.sum()) * 0.05**2 == pytest.approx(50.0, rel=0.03)
    assert float(found.max()) == pytest.approx(50.0 / math.pi / (1.0 if model == "lambert" else 2.0), rel=1e-6)
    behind = scatter_map(100.0, 0.5, (0.0, 0.0, 0.0), (-1.0, 0.0, 0.0), points[::400, ::400], normal, model)
    assert not behind.any()
    bound = scatter_map(100.0, 0.5, (0.0, 0.0, 0.0), None, points[::400, ::400], None, model)
    assert (bound >= found[::400, ::400]).all()


def test_a_rated_barrier_may_stand_where_the_peak_is_below_its_rating():
    beam = through_lens(8.5e-3, 0.15, "1/e")
    found = rated_distances(1500.0, 1e5, beam, mirror_reflectance=0.67, scatter_reflectance=0.5)
    start, aim = (0.0, 0.0, 0.0), (1.0, 0.0, 0.0)
    for way, power in (("direct", 1500.0), ("mirror", 1005.0)):
        at = float(beam_map(power, beam, start, aim, [[found[way], 0.0, 0.0]])[0])
        assert 1e5 * (1 - 1e-6) < at <= 1e5
    at = float(scatter_map(1500.0, 0.5, start, None, [[found["scatter"], 0.0, 0.0]])[0])
    assert 1e5 * (1 - 1e-6) < at <= 1e5
    assert found["scatter"] < found["mirror"] < found["direct"]
    assert rated_distances(1500.0, 1e5, beam, mirror_reflectance=0.0)["mirror"] == 0.0


HEIGHT = st.floats(0.0, 4.0)


@given(HEIGHT, HEIGHT, st.floats(0.2, 10.0), st.floats(1.0, 8.0), HEIGHT, st.floats(0.0, 1.0))
def test_no_straight_line_meets_a_shaded_height(low, high, near, factor, place, mix):
    assume(low <= high)
    bottom, top, far = 0.3, 2.2, near * factor
    shaded = shadow((low, high), near, bottom, top, far)
    source = low + (high - low) * mix
    at_barrier = source + (place - source) / factor
    if shaded[0] < place < shaded[1]:
        assert bottom - 1e-9 <= at_barrier <= top + 1e-9
    needed = needed_height((low, high), near, far, place)
    assert at_barrier <= needed + 1e-9
    for more in (1.0, 3.0, 1000.0):
        assert source + (place - source) / (factor * more) <= needed + 1e-9


def test_edges_of_the_shadow():
    assert shadow((1.2, 1.2), 1.0, 0.0, 2.0, 2.0) == pytest.approx((-1.2, 2.8))
    assert shadow((0.0, 3.0), 0.1, 1.0, 1.1, 5.0) == (1.0, 1.0)  # a slit of a barrier shades nothing
    assert needed_height((1.0, 1.0), 1.0, 2.0, 2.7) == pytest.approx(1.85)
    with pytest.raises(OutOfRangeError):
        shadow((1.0, 1.0), 2.0, 0.0, 2.0, 1.0)
    assert [can_be_reached_over(h) for h in (0.8, 2.69, 2.7, math.nan)] == [True, True, False, True]


def test_a_window_needs_density_and_resistance():
    rated = {"rating": 1e5, "rated_time": 60.0, "required_time": 10.0}
    assert judge_window(5e5, 50.0, 4.0, 1e4, **rated).holds
    assert judge_window(5e5, 50.0, 4.0, 1e4, **rated).needed_density == 4.0
    assert judge_window(5.001e5, 50.0, 4.0, 1e4, **rated).needed_density == 4.1
    for density, irradiance in ((3.9, 1e4), (None, 1e4), (math.nan, 1e4), (4.0, 2e5), (4.0, math.nan)):
        verdict = judge_window(5e5, 50.0, density, irradiance, **rated)
        assert not verdict.holds
        assert verdict.words.startswith("does not hold")
    assert not judge_window(0.0, 50.0, 0.0, 1e4, rating=None).holds
    assert judge_window(0.0, 50.0, 0.0, 0.0, **rated).holds


WALL = ((2.0, -3.0, 0.0), (0.0, 6.0, 0.0), (0.3, 0.0, 2.5))  # leans back a little


@pytest.mark.parametrize("width", [1e-4, 5e-3, 0.4])
@pytest.mark.parametrize("aim", [(1.0, 0.1, 0.0), (1.0, -1.2, 0.37), (1.0, 0.0, 0.9), (1.0, 1.7, 0.0)])
def test_a_narrow_beam_is_not_missed_between_the_places_of_a_grid(width, aim):
    beam = BeamGeometry((width, width), (1e-3, 1e-3))
    start = (0.0, 0.0, 1.0)
    hit = axis_on_plane(start, aim, *WALL)
    peak, place = peak_on_barrier(lambda p: beam_map(100.0, beam, start, aim, p), *WALL, tuple(hit))
    at_hit = float(beam_map(100.0, beam, start, aim, hit))
    coarse = float(beam_map(100.0, beam, start, aim, plane_points(*WALL, 601, 251)[0]).max())
    assert peak >= coarse * (1 - 1e-9)
    inside = -3.0 <= hit[1] <= 3.0 and 0.0 <= hit[2] <= 2.5
    if inside:
        assert peak >= at_hit * (1 - 1e-9)
        assert peak <= at_hit * 1.05  # a slanted wall is met a little earlier at its near side
    else:
        assert peak <= at_hit
    assert 2.0 - 1e-9 <= place[0] <= 2.3 + 1e-9


def test_scatter_peaks_where_the_wall_is_nearest():
    spot = (1.0, 0.4, 1.2)
    peak, place = peak_on_barrier(lambda p: scatter_map(100.0, 1.0, spot, None, p), *WALL, spot)
    foot = np.array(spot) - np.array(WALL[0])
    _, normal = plane_points(*WALL, 2, 2)
    assert peak == pytest.approx(100.0 / math.pi / float(foot @ normal) ** 2, rel=1e-6)
    assert float(np.linalg.norm(place - np.array(spot))) == pytest.approx(abs(float(foot @ normal)), rel=1e-6)


def test_axis_on_plane():
    assert axis_on_plane((0.0, 0.0, 1.0), (-1.0, 0.0, 0.0), *WALL) is None
    assert axis_on_plane((0.0, 0.0, 1.0), (0.0, 1.0, 0.0), *WALL) is None
    assert axis_on_plane((0.0, 0.0, 0.0), (3.0, 0.0, 0.0), *WALL).tolist() == pytest.approx([2.0, 0.0, 0.0])
