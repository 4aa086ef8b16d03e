"""Mirrors and lit surfaces whose lit place is not known: no place that the beam can meet gives more than is shown."""

from __future__ import annotations

import math

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.scene import beams as geometry
from lasersafe.scene.beams import EVERYWHERE, BeamProfile, unit
from lasersafe.scene.mirrors import Mirror, facing_anywhere, lit_patch
from lasersafe.scene.sources import Source, Spots
from tests.few import few
from tests.one_light import blocked, from_here_on
from tests.one_light import ratio as ratio_at
from tests.properties.test_scene_zones import BAND, lit, past, random_laser
from tests.properties.test_turning_head_scatter import profile, random_screens


def places_on(rng, spots: Spots, count: int) -> np.ndarray:
    """Return random lit places of all that a surface allows, of shape (count, 3)."""
    if not spots.solid:
        box = spots.directions.box()
        bearings = box.bearing + rng.uniform(-1, 1, count) * min(box.half_bearing, math.pi)
        elevations = rng.uniform(*box.elevation, count)
        ways = np.array([unit(float(b), float(e)) for b, e in zip(bearings, elevations, strict=True)])
        return np.array(spots.apex) + spots.distance * ways
    ways = rng.normal(size=(count, 3))
    if spots.normal is not None:
        ways -= np.outer(ways @ np.array(spots.normal), spots.normal)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    return np.array(spots.apex) + spots.distance * ways * np.sqrt(rng.uniform(0, 1, count))[:, None]


def random_spots(rng, laser: Source) -> Spots:
    if rng.random() < 0.4:
        return Spots(laser.apex, laser.directions, rng.uniform(0.05, 2.0))
    place = (rng.uniform(-4, 4), rng.uniform(-4, 4), rng.uniform(0.1, 2.0))
    return Spots(place, EVERYWHERE, rng.uniform(0.02, 0.8), True)


@few(30)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_place_of_a_mirror_gives_more_than_the_mirror(seed):
    rng = np.random.default_rng(seed)
    laser, rows = random_laser(rng)
    spots, screens = random_spots(rng, laser), random_screens(rng)
    source = facing_anywhere(laser, Mirror("mirror", spots.apex, None, 2 * spots.distance, 0.8), spots, laser.reach)
    x, y = (spots.apex[i] + rng.uniform(-1, 1, 600) * 10 ** rng.uniform(-1, 1) for i in (0, 1))
    z = rng.uniform(*BAND, x.size)
    whole, area = ratio_at(source, x, y, z), lit(source, screens).buffer(1e-9)
    pieces = tuple(piece for screen in screens for piece in screen.pieces())
    for place in places_on(rng, spots, 12).tolist():
        if place[2] < 0.0:  # below the floor, into which screens that stand on it reach
            continue
        path = math.dist(place, laser.apex) + np.sqrt((x - place[0]) ** 2 + (y - place[1]) ** 2 + (z - place[2]) ** 2)
        alone = 0.8 * rows.on_axis(path)
        assert (alone <= whole * (1.0 + 1e-9)).all()
        alone[blocked(tuple(place), x, y, z, pieces)] = 0.0
        hot = alone > 1.0
        assert shapely.contains_xy(area, x[hot], y[hot]).all()


@few(40)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_place_of_a_lit_disc_gives_more_than_the_disc(seed):
    rng = np.random.default_rng(seed)
    place = (rng.uniform(-2, 2), rng.uniform(-2, 2), rng.uniform(0.2, 1.8))
    normal, screens = unit(rng.uniform(0, 6.28), rng.uniform(-1.5, 1.5)), random_screens(rng)
    disc = Source(
        "scatter", place, EVERYWHERE, profile(), 3.003, plane=(place, normal), spot=rng.uniform(0.02, 1.0), patch=True
    )
    x, y = (place[i] + rng.uniform(-4, 4, 800) for i in (0, 1))
    z = rng.uniform(*BAND, x.size)
    whole, area = ratio_at(disc, x, y, z), lit(disc, screens).buffer(1e-9)
    for spot in places_on(rng, disc.spots, 12).tolist():
        one = Source("scatter", tuple(spot), EVERYWHERE, disc.profile, disc.reach, plane=(tuple(spot), normal))
        alone = past(one, x, y, z, screens)
        near = np.sqrt((x - spot[0]) ** 2 + (y - spot[1]) ** 2 + (z - spot[2]) ** 2) > 0.02
        in_front = (np.stack([x, y, z], axis=1) - place) @ np.array(normal) > 1e-9
        assert (alone <= whole * (1.0 + 1e-6))[near & in_front].all()
        hot = (alone > 1.0) & in_front
        assert shapely.contains_xy(area, x[hot], y[hot]).all()


@few(60)
@given(seed=st.integers(0, 2**32 - 1))
def test_what_a_beam_can_fall_on_lies_in_the_patch(seed):
    rng = np.random.default_rng(seed)
    laser, rows = random_laser(rng)
    place = tuple(np.array(laser.apex) + rng.uniform(-3, 3, 3))
    normal = unit(rng.uniform(0, 6.28), rng.uniform(-1.2, 1.2)) if rng.random() < 0.6 else None
    mirror = Mirror("surface", place, normal, float(rng.uniform(0.1, 4.0)), 1.0)
    middle, radius = lit_patch(laser, mirror)
    assert radius <= mirror.width / 2.0
    inside = places_on(rng, Spots(place, EVERYWHERE, mirror.width / 2.0, True, normal), 3000)
    offset = (inside - np.array(laser.apex)).T
    axial = geometry.axial(laser.directions, *offset)
    aside = np.sqrt(np.maximum(np.square(offset).sum(axis=0) - axial**2, 0.0))
    lit = (axial > 1e-3) & (aside <= rows.spread(np.maximum(axial, 1e-3)))
    assert (np.linalg.norm(inside[lit] - np.array(middle), axis=1) <= radius * (1.0 + 1e-9)).all()


def test_a_beam_that_points_one_way_lights_a_small_part_of_a_wall():
    rng = np.random.default_rng(3)
    laser, _ = random_laser(rng)
    straight = Source(
        "direct", (0.0, 0.0, 1.2), type(laser.directions)(0.0, 0.0, (0.0, 0.0)), laser.profile, laser.reach
    )
    middle, radius = lit_patch(straight, Mirror("wall", (1.5, 3.0, 1.2), (0.0, -1.0, 0.0), 6.0, 1.0))
    spread = float(laser.profile.spread(np.array([3.0]))[0])
    assert math.dist(middle, (0.0, 3.0, 1.2)) <= radius
    assert spread <= radius <= 1.3 * spread + 0.02


def test_before_its_focus_a_path_of_which_no_end_is_known_counts_as_the_focus():
    laser, _ = random_laser(np.random.default_rng(5))
    profile_ = laser.profile
    assert isinstance(profile_, BeamProfile)
    last, highest = profile_.last_waist, profile_.crest
    paths = np.geomspace(1e-3, 100.0, 200)
    bound = from_here_on(profile_, paths)
    for path, value in zip(paths, bound, strict=True):
        assert (profile_.on_axis(np.geomspace(path, 200.0, 300)) <= value * (1.0 + 1e-9)).all()
    assert last == 0.0 or highest >= float(profile_.on_axis(np.array([last]))[0])
