"""Scatter of a head that turns: no spot that the envelope allows gives more than zone, map and place say."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.scene.areas import hazard_map, outline
from lasersafe.scene.beams import EVERYWHERE, Box, ScatterProfile, unit
from lasersafe.scene.sources import Source, Spots
from lasersafe.scene.walls import Gap, Screen, Walls
from tests.few import few
from tests.one_light import away
from tests.one_light import ratio as ratio_at
from tests.properties.test_scene_zones import lit, past

BAND = (0.0, 2.0)
REACH = 3.0


def profile() -> ScatterProfile:
    return ScatterProfile(lambda r: (REACH / np.maximum(r, 0.01)) ** 2)


def random_head(rng) -> Source:
    low, high = (
        sorted(rng.uniform(-1.5, 1.4, 2).tolist()) if rng.random() < 0.6 else [float(rng.uniform(-0.6, 0.4))] * 2
    )
    box = Box(rng.uniform(0.0, 6.28), float(rng.choice([0.0, 0.02, 0.3, 1.0, 2.0, math.pi])), (low, high))
    box = box.widened(float(rng.choice([0.0, 0.05, 0.17])))
    apex = (rng.uniform(-2, 2), rng.uniform(-2, 2), rng.uniform(0.5, 2.2))
    return Source("scatter", apex, box, profile(), REACH * 1.001, spot=10 ** rng.uniform(-1.5, 0.5))


def random_spots(rng, head: Source, count: int) -> list[Source]:
    box = head.directions.box()
    found = []
    for _ in range(count):
        share = rng.choice([-1.0, 1.0, rng.uniform(-1, 1)])
        elevation = rng.choice([*box.elevation, rng.uniform(*box.elevation)])
        way = unit(box.bearing + share * box.half_bearing, float(elevation))
        place = tuple(a + head.spot * w for a, w in zip(head.apex, way, strict=True))
        found.append(Source("scatter", place, EVERYWHERE, head.profile, head.reach))
    return found


def random_screens(rng) -> tuple[Screen, ...]:
    found = []
    for _ in range(rng.integers(0, 4)):
        line = tuple(map(tuple, rng.uniform(-4, 4, (rng.integers(2, 5), 2)).tolist()))
        if rng.random() < 0.4:  # a booth
            x, y = rng.uniform(1.0, 4.0, 2).tolist()
            line = ((-x, -y), (x, -y), (x, y), (-x, y), (-x, -y))
        gaps = (Gap(0.7, 1.4, float(rng.choice([0.0, 0.8])), float(rng.choice([1.5, 100.0]))),)
        bottom, top = float(rng.choice([0.0, 0.1, 0.9])), float(rng.choice([1.5, 2.5, 4.0]))
        screen = Screen("screen", line, bottom, top, gaps if rng.random() < 0.5 else ())
        found.append(screen)
    return tuple(found)


@few(60)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_spot_gives_more_than_the_head_that_takes_it_along(seed):
    rng = np.random.default_rng(seed)
    head, screens = random_head(rng), random_screens(rng)
    half = head.spot + REACH * 1.2
    x, y = (head.apex[i] + rng.uniform(-half, half, 1500) for i in (0, 1))
    z = rng.uniform(*BAND, x.size)
    area, whole = lit(head, screens).buffer(1e-9), ratio_at(head, x, y, z)
    for spot in random_spots(rng, head, 12):
        assert (ratio_at(spot, x, y, z) <= whole * (1.0 + 1e-9)).all()
        hot = past(spot, x, y, z, screens) > 1.0
        assert shapely.contains_xy(area, x[hot], y[hot]).all()


@few(15)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_spot_gives_more_than_the_map(seed):
    rng = np.random.default_rng(seed)
    head, screens = random_head(rng), random_screens(rng)
    x, y = np.linspace(-5, 5, 23), np.linspace(-4, 6, 21)
    found = hazard_map([[[(head, Walls(screens))]]], x, y, (("adult", 1.6),)).ratio[0]
    grid_x, grid_y = np.meshgrid(x, y)
    for spot in random_spots(rng, head, 8):
        alone = past(spot, grid_x, grid_y, np.full(grid_x.shape, 1.6), screens)
        assert (alone <= found * (1.0 + 1e-9) + 1e-6).all()  # what is less is written as 0


@few(30)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_nearest_spot_is_the_nearest_of_many(seed):
    rng = np.random.default_rng(seed)
    head = random_head(rng)
    box = head.directions.box()
    b, e = np.meshgrid(
        box.bearing + np.linspace(-1, 1, 401) * min(box.half_bearing, math.pi), np.linspace(*box.elevation, 201)
    )
    spots = [a + head.spot * u for a, u in zip(head.apex, (np.cos(e) * np.sin(b), np.cos(e) * np.cos(b), np.sin(e)),
                                              strict=True)]  # fmt: skip
    for point in rng.uniform(-4, 4, (8, 3)).tolist():
        nearest = math.sqrt(float(np.min(sum((p - s) ** 2 for p, s in zip(point, spots, strict=True)))))
        found = float(away(head, *(np.array([p]) for p in point))[0])
        assert found <= nearest + 1e-9
        assert found >= nearest - 0.02 * head.spot - 1e-9


def test_a_booth_without_a_gap_keeps_the_scatter_of_a_turning_head_inside():
    head = Source("scatter", (0.0, 0.0, 1.2), Box(0.0, 1.0, (-0.3, 0.1)), profile(), REACH, spot=0.4)
    room = ((-1.5, -1.5), (1.5, -1.5), (1.5, 1.5), (-1.5, 1.5), (-1.5, -1.5))
    area = lit(head, (Screen("booth", room, 0.0, 2.5),))
    assert area.bounds == pytest.approx((-1.5, -1.5, 1.5, 1.5), abs=4.0 * 12.0 / 250.0)  # squares of the plan
    low = lit(head, (Screen("low booth", room, 0.0, 1.0),))
    assert low.area == pytest.approx(outline(head, BAND).area, rel=1e-2)  # without a hair at its rim
    leaking = lit(head, (Screen("booth", room, 0.0, 2.5, (Gap(1.0, 1.5, 0.0, 2.0),)),))
    assert leaking.bounds[1] < -2.5


def test_a_spot_far_round_the_envelope_is_counted():
    around = Spots((0.0, 0.0, 1.0), Box(0.0, math.pi, (0.0, 0.0)), 2.0)
    place = (np.array([0.0]), np.array([-2.5]), np.array([1.0]))
    assert float(around.away(*place)[0]) == pytest.approx(0.5)  # the spot as aimed is 4.5 m away
