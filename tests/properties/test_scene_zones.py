"""Outlines of zones: every place above the limit lies inside, on random scenes; outlines are rounded outwards."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.optics.beam import collimated, through_lens
from lasersafe.records import Criterion
from lasersafe.scene.areas import LOOSE, NEGLIGIBLE, PAD, box_of, finest, hazard_map, lit_areas, outline, polygons
from lasersafe.scene.beams import EVERYWHERE, BeamProfile, Box, ScatterProfile, farthest_of, mirrored, unit
from lasersafe.scene.bound import Places
from lasersafe.scene.lights import Lights
from lasersafe.scene.mirrors import Mirror, facing_anywhere, reflected
from lasersafe.scene.sources import Source, Spots
from lasersafe.scene.walls import Gap, Screen, Walls
from tests.few import few
from tests.one_light import blocked, bound
from tests.one_light import ratio as ratio_at

BAND = (0.0, 2.0)


def criterion(power: float, limit: float, aperture: float) -> Criterion:
    return Criterion("test", "eye", "test", "continuous", power, "W", limit, "W/m2", aperture, 10.0, "test")


def random_laser(rng) -> tuple[Source, BeamProfile]:
    profile = str(rng.choice(["gaussian", "top-hat"]))
    if rng.random() < 0.5:
        width = [rng.uniform(2e-3, 2e-2), rng.uniform(2e-3, 2e-2)]
        beam = collimated(width, rng.uniform(1e-3, 0.05), "1/e", profile)
    else:
        beam = through_lens(rng.uniform(2e-3, 1e-2), rng.uniform(0.05, 1.0), "1/e", profile)
    power, limit = 10 ** rng.uniform(-2, 3.2), 10 ** rng.uniform(0.5, 3.5)
    aperture = float(rng.choice([1e-3, 3.5e-3, 7e-3]))
    rows = BeamProfile(beam, (criterion(power, limit, aperture), criterion(power, 2.0 * limit, aperture / 2.0)))
    apex = (rng.uniform(-2, 2), rng.uniform(-2, 2), rng.uniform(0.1, 4.0))
    if rng.random() < 0.6:
        low, high = sorted(rng.uniform(-1.5, 1.2, 2).tolist())
    else:
        low = high = float(rng.uniform(-0.6, 0.3))
    box = Box(rng.uniform(0, 2 * math.pi), float(rng.choice([0.0, 0.02, 0.3, 1.0, 3.2])), (low, high))
    box = box.widened(float(rng.choice([0.0, 0.05, 0.17])))
    return Source("direct", apex, box, rows, farthest_of(rows.criteria, beam) * 1.001), rows


def random_source(rng) -> Source:
    laser, rows = random_laser(rng)
    kind = rng.integers(4)
    share = float(rng.uniform(0.3, 1.0))
    reach = farthest_of(rows.criteria, rows.beam, share) * 1.001
    place = (rng.uniform(-4, 4), rng.uniform(-4, 4), rng.uniform(0.1, 2.0))
    if kind == 1:
        normal = unit(rng.uniform(0, 6.28), rng.uniform(-0.7, 0.7))
        return reflected(laser, Mirror("mirror", place, normal, rng.uniform(0.05, 1.5), share), reach)
    if kind == 2:
        patch = Spots(place, EVERYWHERE, float(rng.choice([0.0, rng.uniform(0.02, 0.8)])), True)
        turning = Spots(laser.apex, laser.directions, rng.uniform(0.1, 2.0))
        spots = turning if rng.random() < 0.4 else patch
        return facing_anywhere(laser, Mirror("mirror", place, None, 1.0, share), spots, reach)
    if kind == 3:
        plane = (place, unit(rng.uniform(0, 6.28), rng.uniform(-1.5, 1.5))) if rng.random() < 0.5 else None
        spot = ScatterProfile(lambda r: (3.0 / np.maximum(r, 0.01)) ** 2)
        wide = float(rng.choice([0.0, rng.uniform(0.02, 0.8)]))
        return Source("scatter", place, EVERYWHERE, spot, 3.003, plane=plane, spot=wide, patch=True)
    return laser


def random_screens(rng):
    found = []
    for _ in range(rng.integers(0, 5)):
        line = tuple(map(tuple, rng.uniform(-6, 6, (rng.integers(2, 4), 2)).tolist()))
        bottom = float(rng.choice([0.0, 0.0, 0.5]))
        gaps = (Gap(1.0, 2.0, float(rng.choice([0.0, 0.8])), float(rng.choice([1.5, 100.0]))),)
        screen = Screen("screen", line, bottom, bottom + rng.uniform(0.5, 3.0), gaps if rng.random() < 0.4 else ())
        found.append(screen)
    return tuple(found)


def lit(source, screens=(), near=None):
    """Return where a source is not proven below the limit behind screens that hold."""
    wanted = [([[(source, Walls(screens))]], outline(source, BAND))]
    return lit_areas(wanted, BAND, (-6.0, -6.0, 6.0, 6.0), near)[0]


def past(source, x, y, z, screens):
    """Return the ratio at points past screens, as the eye of a source that is one point sees them."""
    pieces = tuple(piece for screen in screens for piece in screen.pieces())
    return np.where(blocked(source.apex, x, y, z, pieces, source.cut_plane()), 0.0, alone(source, x, y, z))


def alone(source, x, y, z):
    """Return the ratio at points; of what a mirror sends on that of the laser, where the straight way meets it."""
    if source.through is None or source.aims is None:
        return ratio_at(source, x, y, z)
    (middle, radius, normal), (aims, _) = source.through, source.aims
    points, apex = np.stack([x, y, z], axis=1), np.array(source.apex)
    level = (points - middle) @ normal
    with np.errstate(divide="ignore", invalid="ignore"):
        met = apex + ((middle - apex) @ normal / ((points - apex) @ normal))[:, None] * (points - apex)
    folded = points - 2.0 * level[:, None] * np.array(normal)
    laser = replace(
        source, way="direct", apex=mirrored(source.apex, middle, normal), directions=aims, plane=None, through=None,
        aims=None,
    )  # fmt: skip
    meets = (level > 0.0) & (np.linalg.norm(met - middle, axis=1) <= radius)
    return np.where(meets, ratio_at(laser, *folded.T), 0.0)


@few(10)
@given(seed=st.integers(0, 2**32 - 1))
def test_asked_only_near_something_a_zone_is_the_same_there(seed):
    rng = np.random.default_rng(seed)
    source, screens = random_source(rng), random_screens(rng)
    there = shapely.Point(rng.uniform(-6, 6, 2)).buffer(rng.uniform(0.1, 3.0))
    around = there.buffer(3.0 * finest((-6.0, -6.0, 6.0, 6.0)))
    whole, part = lit(source, screens), lit(source, screens, around)
    # but for corners that touch, where the squares are wide: the part is no smaller
    assert whole.difference(part).intersection(there).area < 1e-9
    assert part.difference(whole).intersection(there).area < 1e-3
    assert outline(source, BAND).difference(box_of(source)).area < 1e-9


@few(60)
@given(seed=st.integers(0, 2**32 - 1))
def test_every_point_above_the_limit_lies_inside_the_outline(seed):
    rng = np.random.default_rng(seed)
    source = random_source(rng)
    screens = random_screens(rng) if source.spots is None else ()
    area = lit(source, screens)
    half = min(source.reach * 1.1, 10 ** rng.uniform(0, 1.5) + 1.0)
    grid = np.linspace(-half, half, 61)
    x, y = (a.ravel() for a in np.meshgrid(grid + source.apex[0], grid + source.apex[1]))
    bearing = source.directions.box().bearing + rng.normal(0.0, 0.05, 500)
    away = 10 ** rng.uniform(-1.5, math.log10(max(source.reach, 0.2)), 500)
    x = np.concatenate([x, source.apex[0] + away * np.sin(bearing)])
    y = np.concatenate([y, source.apex[1] + away * np.cos(bearing)])
    z = rng.uniform(*BAND, x.size)
    hot = past(source, x, y, z, screens) > 1.0
    assert shapely.contains_xy(area.buffer(1e-9), x[hot], y[hot]).all()


@few(15)
@given(seed=st.integers(0, 2**32 - 1))
def test_nowhere_in_a_cell_of_the_map_is_more_than_its_ratio(seed):
    rng = np.random.default_rng(seed)
    sources = [random_source(rng) for _ in range(3)]
    pairs = [(one, random_screens(rng) if one.spots is None else ()) for one in sources]
    x, y, tried = np.linspace(-5, 5, 71), np.linspace(-4, 6, 33), 400
    groups = [[(one, Walls(screens))] for one, screens in pairs]
    heights = (("adult", 1.6), ("child", 1.0))
    found, apart = hazard_map([groups], x, y, heights), hazard_map([[one] for one in groups], x, y, heights)
    assert found.ratio.shape == (2, 33, 71)
    half = np.array([(x[1] - x[0]) / 2.0, (y[1] - y[0]) / 2.0])
    column, row = rng.integers(0, 71, tried), rng.integers(0, 33, tried)
    px, py = x[column] + half[0] * rng.uniform(-1, 1, tried), y[row] + half[1] * rng.uniform(-1, 1, tried)
    for level, height in enumerate((1.6, 1.0)):
        pz = height + 0.1 * rng.uniform(-1, 1, tried)
        each = [past(one, px, py, pz, screens) for one, screens in pairs]
        assert (np.sum(each, axis=0) <= found.ratio[level, row, column] * (1.0 + 1e-9) + 3e-6).all()
        assert (np.max(each, axis=0) <= apart.ratio[level, row, column] * (1.0 + 1e-9) + 3e-6).all()


@few(4)
@given(seed=st.integers(0, 24), apart=st.booleans())
def test_no_cell_of_a_map_has_much_more_than_the_bound_of_it_alone(seed, apart):
    rng = np.random.default_rng(seed)
    lights = [(one, Walls(random_screens(rng) if one.spots is None else ())) for one in map(random_source, [rng] * 3)]
    groups = [lights] if apart else [[one] for one in lights]
    x, y = np.linspace(-5, 5, 64), np.linspace(-4, 6, 64)
    found = hazard_map([groups], x, y, (("adult", 1.6),)).ratio[0]
    half = np.array([(x[1] - x[0]) / 2.0, (y[1] - y[0]) / 2.0, 0.1])
    middle = np.stack([*(one.ravel() for one in np.meshgrid(x, y)), np.full(64 * 64, 1.6)], axis=1)
    alone = bound(groups, Places(middle - half, middle + half), to_limit=True, most=64).upper.reshape(64, 64)
    assert (found <= np.maximum(alone * LOOSE * (1.0 + 1e-9), NEGLIGIBLE)).all()
    assert ((found > 1.0) == (alone > 1.0)).all()


def test_a_map_of_many_cells_looks_at_few_squares(monkeypatch):
    # light of 100 W into every direction: at r the ratio falls as 1/r^2, by less than 1.25 within 0.08 r along and
    # more across, which is 14 cells of 8 mm from 1.4 m on
    beam = through_lens(5e-3, 0.05, "1/e")
    rows = BeamProfile(beam, (criterion(100.0, 1.0, 7e-3),))
    source = Source("direct", (0.0, 0.0, 1.6), EVERYWHERE, rows, farthest_of(rows.criteria, beam))
    asked, over = [], Lights.over
    monkeypatch.setattr(Lights, "over", lambda *given: asked.append(len(given[1])) or over(*given))
    grid = np.linspace(1, 5, 500)
    hazard_map([[[(source, Walls())]]], grid, grid, (("adult", 1.6),))
    assert sum(asked) < grid.size**2 / 10


@given(half=st.floats(0.01, 1.2), bearing=st.floats(0.0, 6.28), reach=st.floats(0.5, 500.0))
@few(40)
def test_the_outline_of_a_sector_holds_the_sector_and_little_more(half, bearing, reach):
    beam = collimated(5e-3, 5e-3, "1/e")
    power = 100.0
    width = math.hypot(5e-3, 5e-3 * reach)
    limit = power * 4.0 / (math.pi * width**2) / 2.0
    rows = BeamProfile(beam, (criterion(power, limit, 1e-6),))
    far = farthest_of(rows.criteria, beam)
    source = Source("direct", (0.0, 0.0, 1.0), Box(bearing, half, (0.0, 0.0)), rows, far)
    area = outline(source, BAND)
    turn = bearing + np.linspace(-half, half, 101)
    assert shapely.contains_xy(area, far * np.sin(turn), far * np.cos(turn)).all()
    sector = half * far**2
    assert sector <= area.area
    spread = float(rows.spread(np.linspace(1e-3, far, 500)).max())
    assert area.area <= 1.02 * sector + 2.2 * far * (spread + PAD) + 2.0 * half * far * 3.0 * PAD + 1.0


def test_a_beam_above_all_heads_has_no_zone_and_one_through_a_gap_leaks():
    beam = collimated(5e-3, 1e-3, "1/e")
    rows = BeamProfile(beam, (criterion(10.0, 50.0, 7e-3),))
    far = farthest_of(rows.criteria, beam)
    high = Source("direct", (0.0, 0.0, 5.0), Box(0.0, 0.3, (0.0, 0.3)), rows, far)
    assert outline(high, BAND).is_empty
    level = Source("direct", (0.0, 0.0, 1.2), Box(0.0, 0.0, (0.0, 0.0)), rows, far)
    wall = Screen("wall", ((-5.0, 3.0), (5.0, 3.0)), 0.0, 2.2)
    assert lit(level, (wall,)).bounds[3] <= 3.0 + 12.0 / 250.0 * 4.0  # squares of the plan
    for gap in (Gap(4.5, 5.5, 0.0, 2.0), Gap(4.0, 6.0, 1.0, 1.5)):
        leaking = Screen("wall", wall.line, 0.0, 2.2, (gap,))
        assert lit(level, (leaking,)).bounds[3] > 0.99 * far
    beside = Screen("wall", wall.line, 0.0, 2.2, (Gap(1.0, 2.0, 0.0, 2.0),))
    assert lit(level, (beside,)).bounds[3] < 3.1
    low = Screen("low wall", wall.line, 0.0, 1.0)  # the beam passes over it
    assert lit(level, (low,)).bounds[3] > 0.99 * far
    raised = Screen("raised", wall.line, 1.5, 3.0)  # and under this one
    assert lit(level, (raised,)).bounds[3] > 0.99 * far


def test_coordinates_describe_the_area_again():
    ring = shapely.Point(0, 0).buffer(3.0).difference(shapely.Point(0, 0).buffer(1.0))
    (part,) = polygons(ring)
    assert shapely.Polygon(part.outline, part.holes).equals(ring)
