"""Mirrors that face anywhere, and what stands for many ways at once: no single way gives more than what bounds it."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.optics.beam import collimated, through_lens
from lasersafe.results import Criterion
from lasersafe.scene.directions import EVERYWHERE, Box, unit
from lasersafe.scene.lights import over
from lasersafe.scene.mirrors import Mirror, facing_anywhere, level_mirror, lit_patch, reflected
from lasersafe.scene.profile import BeamProfile
from lasersafe.scene.sources import Source
from lasersafe.scene.spots import Spots
from tests.few import few


def random_beam(rng, angle: float = 0.5) -> BeamProfile:
    """Return a parallel, a spreading or a focused beam, round or oblong, against one limit."""
    profile = str(rng.choice(["gaussian", "top-hat"]))
    kind = rng.integers(3)
    if kind == 0:
        beam = collimated(rng.uniform(2e-3, 2e-2), 10 ** rng.uniform(-3, math.log10(angle)), "1/e", profile)
    elif kind == 1:
        beam = through_lens(rng.uniform(2e-3, 1e-2), 10 ** rng.uniform(-1.6, 0.5), "1/e", profile)
    else:
        beam = collimated(rng.uniform(2e-3, 2e-2, 2), rng.uniform(1e-3, angle / 2.0, 2), "1/e", profile)
    hole = float(rng.choice([1e-3, 3.5e-3, 7e-3]))
    limit = Criterion("", "eye", "", "continuous", 10 ** rng.uniform(0, 3), "W", 10.0, "W/m2", hole, 10.0, "")
    return BeamProfile(beam, (limit,))


def random_laser(rng, angle: float = 0.5) -> Source:
    """Return a laser that stands still or moves, and points one way, turns or points anywhere."""
    moves = rng.choice([0.0, 0.3]) * rng.uniform(0, 1, 3)
    low, high = sorted(rng.uniform(-1, 1, 2).tolist())
    box = Box(rng.uniform(0, 6.28), float(rng.choice([0.0, 0.3, 3.2])), (low, high))
    apex = tuple(rng.uniform(-2, 2, 3).tolist())
    return Source("direct", apex, box, random_beam(rng, angle), 1e9, moves=tuple(moves.tolist()))


def folded(place, on, normal):
    return place - 2.0 * ((place - on) @ normal) * normal


def crosswise(rng, way):
    found = np.cross(way, rng.normal(size=3))
    return found / np.linalg.norm(found)


@few(200)
@given(seed=st.integers(0, 2**32 - 1))
def test_flat_mirrors_that_face_some_way_give_no_more_than_one_that_faces_anywhere(seed):
    """The unfolded ray is straight: fold it at one or two places, nearly straight or anyhow, beside the axis too."""
    rng = np.random.default_rng(seed)
    laser = random_laser(rng)
    aims, rows = laser.directions, laser.profile
    way = np.array(unit(aims.bearing + rng.uniform(-1, 1) * aims.half_bearing, rng.uniform(*aims.elevation)))
    start = np.array(laser.apex) + rng.uniform(-1, 1, 3) * np.array(laser.moves)
    along = 10 ** rng.uniform(-1, 1.2)
    wide = float(max(rows.widths(np.array(along))))
    aside = rng.choice([0.0, 0.6, 1.8]) * rng.uniform() * wide + rng.uniform() * rows.aperture_radius
    end = start + along * way + aside * crosswise(rng, way)
    truth = float(rows.beside(np.array([along]), np.array([aside]))[0])
    met = start + rng.uniform(0.05, 0.95) * (end - start)
    ray = (end - start) / np.linalg.norm(end - start)
    normal = crosswise(rng, ray) + rng.choice([0.0, 1.0]) * 10 ** rng.uniform(-3, 0) * rng.normal(size=3)
    normal /= np.linalg.norm(normal)
    last = folded(end, met, normal)
    width = float(10 ** rng.uniform(-1.5, 0.3))
    mirror = Mirror(
        "mirror", tuple((met + rng.uniform(0, 0.49) * width * crosswise(rng, normal)).tolist()), None, width, 1.0
    )
    middle, radius = lit_patch(laser, mirror)
    anywhere = facing_anywhere(laser, mirror, Spots(middle, EVERYWHERE, radius, True), 1e9)
    if math.dist(met, middle) > radius:  # what is below the limit on it is not followed
        return
    point = np.zeros((1, 3))
    assert truth <= over(anywhere, last[None, :], point)[0] * (1.0 + 1e-9)
    floor = min(last[2], met[2]) + (max(last[2], met[2]) - min(last[2], met[2])) * rng.uniform(0.01, 0.99)
    if last[2] < floor < min(met[2], middle[2]):  # the ray goes on over a level mirror
        below = np.array([[last[0], last[1], 2.0 * floor - last[2]]])
        assert truth <= over(level_mirror(anywhere, floor, 1.0, ""), below, point)[0] * (1.0 + 1e-9)
    # and over another one that faces anywhere, where it meets it
    between = met + rng.uniform(0.05, 0.95) * (last - met)
    other = Mirror("other", tuple(between.tolist()), None, 0.1, 1.0)
    again = facing_anywhere(anywhere, other, Spots(other.position, EVERYWHERE, 0.05, True), 1e9)
    second = crosswise(rng, last - met) + rng.choice([0.0, 1.0]) * rng.normal(size=3)
    second /= np.linalg.norm(second)
    assert truth <= over(again, folded(last, between, second)[None, :], point)[0] * (1.0 + 1e-9)


@few(60)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_image_of_a_head_that_moves_lies_where_it_is_said_to_be_whichever_way_a_mirror_is_off(seed):
    rng = np.random.default_rng(seed)
    apex, moves, normal = rng.uniform(-2, 2, 3), rng.uniform(0.0, 0.5, 3), rng.normal(size=3)
    normal /= np.linalg.norm(normal)
    off, middle = rng.uniform(0.0, 0.3), rng.uniform(-4, 4, 3)
    laser = Source("direct", tuple(apex), EVERYWHERE, random_beam(rng), 1e9, moves=tuple(moves))
    image = reflected(laser, Mirror("mirror", tuple(middle), tuple(normal), 0.5, 1.0, off=off), 1e9)
    for _ in range(40):
        start = apex + rng.choice([-1.0, 1.0], 3) * moves
        real = math.cos(off) * normal + math.sin(off) * crosswise(rng, normal)
        away = np.abs(folded(start, middle, real) - np.array(image.apex))
        assert (away <= np.array(image.moves) + 1e-9).all()
