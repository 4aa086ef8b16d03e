"""Random scenes: no cell of the exposure map has more, of all lasers together, than the map says; nor has a person."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

import numpy as np
import pytest
import shapely
from hypothesis import settings

from lasersafe.assessment import assess
from lasersafe.assessment.scene import map_places, scene_map
from lasersafe.assessment.stages import stages_of
from lasersafe.models import parse_case
from lasersafe.records.scene import PersonMark
from tests.crosscheck.random_scenes import random_scene
from tests.crosscheck.scene_description import Laser, Person, Scene, Surface, case_text
from tests.crosscheck.test_scene_random_cases import FEW, MANY, SURE, TENTH
from tests.crosscheck.tracer import EYE, Tracer, unit

STEP = 0.25  # m: edge of a cell
UP_AND_DOWN = 0.1  # m, of the height of the eyes
X, Y = np.arange(-11.0, 11.0, STEP) + STEP / 2.0, np.arange(-4.0, 18.0, STEP) + STEP / 2.0
GATE = (1, 7)  # seeds of quick scenes


@dataclass(frozen=True)
class Cell:
    """One cell of the map, or one person: what the tracer found there and what the program says."""

    seed: int
    place: str
    found: float
    where: tuple[float, float, float]
    said: float

    @property
    def wrong(self) -> bool:
        return self.found > SURE * max(self.said, 1.0)


def chosen(ratio: np.ndarray, heights: tuple[float, ...], tracer: Tracer, each: int) -> list[tuple[int, ...]]:
    """Cells of the map: some above the limit, white ones beside them, any, and such that rays of the tracer meet."""
    white = ratio <= 1.0
    beside = np.zeros_like(white)
    for axis in (1, 2):
        for step in (-1, 1):
            beside |= np.roll(~white, step, axis=axis)
    found = []
    for some in (~white, white & beside, np.ones_like(white)):
        found += tracer.rng.permutation(np.argwhere(some))[:each].tolist()
    for level, height in enumerate(heights):
        x, y, z = tracer.passed((height - UP_AND_DOWN, height + UP_AND_DOWN), 20).T
        row, column = (np.floor((at - along[0]) / STEP + 0.5).astype(int) for at, along in ((y, Y), (x, X)))
        met = (np.abs(z - height) < 1.0) & (row >= 0) & (row < len(Y)) & (column >= 0) & (column < len(X))
        met = np.unique(np.stack([row, column], axis=1)[met], axis=0)
        hidden = met[white[level][tuple(met.T)]]
        for some in (met, hidden):  # those that the map calls white above all
            found += [[level, *one] for one in tracer.rng.permutation(some)[:each].tolist()]
    return [tuple(one) for one in found]


def cells(seed: int, candidates: int, each: int) -> Iterator[Cell]:
    """Compare both for some cells of a random scene and for all of its people."""
    scene = random_scene(seed)
    stages = stages_of(parse_case(case_text(scene)))
    found, tracer = scene_map(stages, X, Y), Tracer(scene, seed, candidates)
    heights, edges = tuple(height for _, height in found.heights), np.array([-0.5, 0.5]) * STEP
    for level, row, column in chosen(found.ratio, heights, tracer, each):
        height, x, y = heights[level], X[column] + edges, Y[row] + edges
        corners = ((x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1]))
        here = Person("cell", corners, eyes=(height - UP_AND_DOWN, height + UP_AND_DOWN))
        yield Cell(seed, f"{level} {row} {column}", *tracer.together(here), float(found.ratio[level, row, column]))
    marks = tuple(PersonMark(one.name, one.places[0], 1.6, 0.0) for one in scene.persons)
    for one, place in zip(scene.persons, map_places(stages, marks), strict=True):
        yield Cell(seed, one.name, *tracer.together(one), place.ratio)


@pytest.mark.parametrize("seed", GATE)
def test_no_cell_and_no_person_gets_more_of_all_lasers_than_the_map_says(seed):
    found = list(cells(seed, FEW, 1))
    assert [one for one in found if one.wrong] == []
    assert any(one.found > 1.0 for one in found)


@pytest.mark.soak
def test_many_maps() -> None:
    start, many = Random().getrandbits(30), settings().max_examples // TENTH
    assert [one for seed in range(start, start + many) for one in cells(seed, MANY, 3) if one.wrong] == []


def test_the_floor_that_a_mirror_lights_scatters_to_people_and_counts_in_zones_and_map():
    # 2 kW, level at 1.5 m, is sent 60 degrees down by a flat mirror of 0.95 3 m away and meets the floor at
    # y = 3 m + 1.5 m * tan 30 = 3.866 m; a child's eye 0.9 m above (0.8, 3.8) is r = 1.206 m from there, and gets
    # 0.8 * 0.95 * 2 kW * (0.9 / 1.206) / (pi r^2) = 248 W/m2 = 4.97 times the limit of 50 W/m2
    child = Person("child", ((0.8, 3.8),), "child")
    mirror = Surface("plate", (0.0, 3.0, 1.5), 180.0, -60.0, reflectance=0.95)
    scene = Scene((Laser(2000.0, 5e-3, 2e-3, (0.0, 0.0, 1.5), 0.0),), (child,), (mirror,))
    found = assess(parse_case(case_text(scene))).scene
    assert found is not None
    said = {c.way: c.ratio for c in found.matrix if c.mode == "running" and c.tissue == "eye"}
    assert 4.9 < said["mirror then scatter"] < 6.0
    zones = [shapely.Polygon(p.outline, p.holes) for z in found.zones if z.kind == "scatter eye" for p in z.polygons]
    assert any(shapely.contains_xy(zone, 0.8, 3.8) for zone in zones)
    ratio = scene_map(stages_of(parse_case(case_text(scene))), np.array([0.7, 0.8]), np.array([3.8])).ratio
    assert 4.9 < ratio[1].max() < 9.0


def test_a_convex_cap_is_lit_over_its_rim():
    # the head is 0.05 m behind the plane of the rim of a cap that rises 11 degrees (0.15 m / 0.8 m) towards it, so that
    # most of the beam falls on its front, nearly along it
    cap = Surface("plate", (1.856, -0.562, 1.752), -60.29, 3.7, reflectance=0.3, radius=0.807)
    laser = Laser(4300.0, 4.57e-3, 1.79e-3, (0.954, -2.266, 1.875), 27.9, -3.64)
    place = (5.5, 12.25, 1.1)
    scene = Scene((laser,), (Person("child", (place[:2],), "child"),), (cap,))
    tracer, found = Tracer(scene, 1), assess(parse_case(case_text(scene))).scene
    assert found is not None
    aim = unit(np.radians(laser.bearing), np.radians(laser.elevation))
    there = tracer.counted(laser, tracer.chains[1], aim, np.array(place), 0.05, 400_000) / EYE[0]
    assert there > 20.0
    assert max(c.ratio for c in found.matrix if c.mode == "running" and c.way == "convex mirror") > there
