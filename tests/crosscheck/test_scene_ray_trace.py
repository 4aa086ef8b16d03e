"""Flat-mirror reflection by image source against a brute-force ray trace with 10^6 rays, and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.optics.beam import collimated, diameters, mean_exposure
from lasersafe.records import Criterion
from lasersafe.scene.beams import BeamProfile, Box, Cone, axial, farthest_of, mirrored, turned, unit
from lasersafe.scene.mirrors import Mirror, reflected
from lasersafe.scene.sources import Source
from lasersafe.scene.walls import Gap, Screen
from tests.one_light import blocked, over
from tests.one_light import ratio as ratio_at

RAYS = 1_000_000


def criterion(power: float, limit: float) -> Criterion:
    return Criterion("test", "eye", "test", "continuous", power, "W", limit, "W/m2", 7e-3, 10.0, "test")


def laser(directions: Box, apex: tuple[float, float, float] = (0.0, 0.0, 1.2)) -> Source:
    beam = collimated(5e-3, 20e-3, "1/e")
    profile = BeamProfile(beam, (criterion(100.0, 50.0),))
    return Source("direct", apex, directions, profile, farthest_of(profile.criteria, beam))


def trace(start, directions, mirror: Mirror):
    """Follow straight rays to the disc of a mirror and on; return points on the reflected rays and their path."""
    normal = np.array(mirror.normal)
    to_plane = (np.array(mirror.position) - start) @ normal / (directions @ normal)
    hit = start + to_plane[:, None] * directions
    on_disc = (to_plane > 0) & (np.linalg.norm(hit - mirror.position, axis=1) <= mirror.width / 2)
    hit, directions, to_plane = hit[on_disc], directions[on_disc], to_plane[on_disc]
    onward = directions - 2.0 * (directions @ normal)[:, None] * normal
    return hit, onward, to_plane


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_traced_ray_lies_in_the_image_cone_and_has_the_path_of_the_image(seed):
    rng = np.random.default_rng(seed)
    position = (rng.uniform(1, 3), rng.uniform(1, 3), rng.uniform(0.5, 2.0))
    toward = np.array(position) - (0.0, 0.0, 1.2)
    normal = -toward / np.linalg.norm(toward) + rng.normal(0, 0.3, 3)
    normal /= np.linalg.norm(normal)
    mirror = Mirror("mirror", position, tuple(normal.tolist()), 0.4, 0.8)
    bearing = math.atan2(toward[0], toward[1])
    box = Box(bearing, 0.3, (-0.5, 0.5))
    source = reflected(laser(box), mirror, 100.0)

    bearings, elevations = rng.uniform(bearing - 0.3, bearing + 0.3, RAYS), rng.uniform(-0.5, 0.5, RAYS)
    flat = np.cos(elevations)
    rays = np.stack([flat * np.sin(bearings), flat * np.cos(bearings), np.sin(elevations)], axis=1)
    hit, onward, before = trace(np.array([0.0, 0.0, 1.2]), rays, mirror)
    assert len(hit) > 1000
    after = rng.uniform(0.1, 50.0, len(hit))
    points = hit + after[:, None] * onward

    offset = points - np.array(source.apex)
    assert np.linalg.norm(offset, axis=1) == pytest.approx(before + after, rel=1e-9)
    along = axial(source.directions, *offset.T)
    assert along == pytest.approx(before + after, rel=1e-9)  # inside the set, so nothing is lost beside it
    ratio = ratio_at(source, *points.T)
    alone = source.factor * source.profile.on_axis(before + after)
    assert ratio == pytest.approx(alone, rel=1e-6)


def test_ratio_of_the_image_against_counted_rays():
    """A diverging beam on a mirror at 45 degrees: power through a pupil counted ray by ray."""
    rng = np.random.default_rng(7)
    angle = 20e-3  # full angle at 1/e; the beam starts as a point, 1/e half angle 10 mrad
    slopes = rng.normal(0.0, angle / 2.0 / math.sqrt(2.0), (RAYS, 2))
    rays = np.stack([slopes[:, 0], np.ones(RAYS), slopes[:, 1]], axis=1)
    scale = np.linalg.norm(rays, axis=1)
    mirror = Mirror("mirror", (0.0, 2.0, 1.2), (-math.sqrt(0.5), -math.sqrt(0.5), 0.0), 5.0, 0.8)
    hit, onward, _ = trace(np.array([0.0, 0.0, 1.2]), rays / scale[:, None], mirror)
    # after the mirror the beam goes to -x; a pupil of 7 mm stands at x = -3
    t = (-3.0 - hit[:, 0]) / onward[:, 0]
    at = hit + t[:, None] * onward
    inside = (at[:, 1] - 2.0) ** 2 + (at[:, 2] - 1.2) ** 2 <= 3.5e-3**2
    counted = inside.sum() / RAYS * 100.0 * 0.8 / (math.pi * 3.5e-3**2) / 50.0

    beam = collimated(1e-6, angle, "1/e")
    profile = BeamProfile(beam, (criterion(100.0, 50.0),))
    source = reflected(Source("direct", (0.0, 0.0, 1.2), Box(0.0, 0.0, (0.0, 0.0)), profile, 1e3), mirror, 1e3)
    found = float(ratio_at(source, np.array([-3.0]), np.array([2.0]), np.array([1.2]))[0])
    assert found == pytest.approx(counted, rel=5.0 / math.sqrt(inside.sum()))


def test_image_by_hand():
    assert mirrored((0.0, 0.0, 1.0), (0.0, 2.0, 0.0), (0.0, 1.0, 0.0)) == (0.0, 4.0, 1.0)
    assert turned((0.0, 1.0, 0.0), (0.0, 1.0, 0.0)) == (0.0, -1.0, 0.0)
    root = math.sqrt(0.5)
    assert turned((0.0, 1.0, 0.0), (-root, -root, 0.0)) == pytest.approx((-1.0, 0.0, 0.0), abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_axial_distance_of_a_box_against_a_search_over_its_directions(seed):
    rng = np.random.default_rng(seed)
    low, high = sorted(rng.uniform(-1.5, 1.5, 2))
    box = Box(rng.uniform(0, 6), rng.uniform(0.0, 2.5), (low, high))
    bearings = box.bearing + np.linspace(-box.half_bearing, box.half_bearing, 801)
    elevations = np.linspace(low, high, 801)
    directions = np.array(
        [unit(b, e) for b in bearings for e in elevations[::8]]
        + [unit(b, e) for b in bearings[::8] for e in elevations]
    )
    points = rng.normal(0.0, 5.0, (200, 3))
    best = (points @ directions.T).max(axis=1)
    found = axial(box, *points.T)
    size = np.linalg.norm(points, axis=1)
    assert (found >= best - 1e-9 * size).all()
    assert (found <= best + 1e-3 * size).all()


@pytest.mark.parametrize("seed", range(4))
def test_axial_distance_of_a_cone_against_the_angle(seed):
    rng = np.random.default_rng(seed)
    axis = rng.normal(0, 1, 3)
    axis /= np.linalg.norm(axis)
    half = rng.uniform(0.01, 3.0)
    points = rng.normal(0.0, 5.0, (500, 3))
    size = np.linalg.norm(points, axis=1)
    beside = np.maximum(np.arccos(points @ axis / size) - half, 0.0)
    found = axial(Cone(tuple(axis.tolist()), half), *points.T)
    assert found == pytest.approx(size * np.cos(beside), rel=1e-6, abs=1e-6)


def test_screen_hides_what_a_fine_march_along_the_way_meets():
    rng = np.random.default_rng(3)
    screen = Screen("wall", ((1.0, -1.0), (1.0, 1.0), (2.0, 2.0)), 0.5, 2.0, (Gap(0.5, 1.0, 0.0, 1.5),))
    apex = (0.0, 0.0, 1.2)
    ends = np.stack([rng.uniform(2, 5, 300), rng.uniform(-4, 4, 300), rng.uniform(0, 3, 300)], axis=1)
    found = blocked(apex, *ends.T, screen.pieces())
    steps = np.linspace(0.0, 1.0, 40001)
    for end, hidden in zip(ends, found, strict=True):
        way = np.array(apex) + steps[:, None] * (end - apex)
        side = way[:, 0] - 1.0
        crossing = np.flatnonzero(np.diff(np.sign(side)))
        met = False
        for i in crossing:
            x, y, z = way[i]
            gap = 0.5 < y + 1.0 < 1.0 and z < 1.5
            met |= -1.0 <= y <= 1.0 and 0.5 <= z <= 2.0 and not gap
        side = way[:, 1] - way[:, 0]
        for i in np.flatnonzero(np.diff(np.sign(side))):
            x, y, z = way[i]
            met |= 1.0 <= x <= 2.0 and 0.5 <= z <= 2.0
        assert hidden == met


@pytest.mark.parametrize(
    ("width", "tilt", "away", "share"), [(0.01, 0.2, 6.0, 0.32), (0.03, 0.7, 4.0, 1.0), (0.02, 0.4, 20.0, 0.38)]
)
def test_a_mirror_smaller_than_the_beam_sends_on_no_more_than_it_meets(width, tilt, away, share):
    """Rays of a beam of 40 mm and 4 mrad, place and direction independent, by a mirror 3 m away; counted in 7 mm.

    By hand, 10 mm, 6 m on: d = hypot(40, 4 * 3) = 41.8 mm, 1 - exp(-(10/41.8)^2) = 0.056 of the power, spread by
    4 mrad * 40/41.8 = 3.83 mrad to 23 mm: 0.056 * 4 / (pi 23^2 mm2) = 135 /m2 of 1 W; it counted as in a beam of 54
    mm at 9 m, 4 / (pi 54^2 mm2) = 437 /m2.
    """
    rng, rays = np.random.default_rng(7), 300_000
    beam = collimated(0.04, 4e-3, "1/e")
    profile = BeamProfile(beam, (criterion(1.0, 1.0),))
    light = Source("direct", (0.0, 0.0, 1.2), Box(0.0, 0.0, (0.0, 0.0)), profile, 100.0)
    mirror = Mirror("mirror", (0.0, 3.0, 1.2), (math.sin(tilt), -math.cos(tilt), 0.0), width, 1.0)
    places, slopes = (rng.normal(0.0, one / math.sqrt(8.0), (rays, 2)) for one in (0.04, 4e-3))
    start = np.stack([places[:, 0], np.zeros(rays), 1.2 + places[:, 1]], axis=1)
    ways = np.stack([slopes[:, 0], np.ones(rays), slopes[:, 1]], axis=1)
    hit, onward, _ = trace(start, ways, mirror)
    axis = np.array([math.sin(2.0 * tilt), -math.cos(2.0 * tilt), 0.0])
    sent, whole = reflected(light, mirror, 100.0), mean_exposure(1.0, *diameters(beam, 3.0 + away), 7e-3)
    for aside in (0.0, 0.01):
        place = np.array(mirror.position) + away * axis + np.array([0.0, 0.0, aside])
        there = hit + ((place - hit) @ axis / (onward @ axis))[:, None] * onward
        counted = int((np.linalg.norm(there - place, axis=1) <= 3.5e-3).sum())
        found = counted / rays / (math.pi * 3.5e-3**2)
        bound = float(over(sent, place[None], np.zeros((1, 3)))[0])
        assert found * (1.0 - 3.0 / math.sqrt(counted)) <= bound
        if aside == 0.0:
            assert bound <= 1.0001 * share * whole
            assert bound < 3.5 * found
