"""What `scene.bound` calls dark or below has to be so at every place, and its bounds have to be near the truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import settings

from lasersafe.assessment.faces import Face, lit_faces
from lasersafe.optics.beam import BeamGeometry
from lasersafe.records import Criterion
from lasersafe.scene.beams import (
    EVERYWHERE,
    LEAST,
    Around,
    BeamProfile,
    Box,
    Cone,
    Directions,
    ScatterProfile,
    about,
    angles_of,
    nearest,
    turned,
    unit,
)
from lasersafe.scene.bound import ABOVE, BELOW, Places, most_light
from lasersafe.scene.mirrors import Mirror, reflected
from lasersafe.scene.sources import Source
from lasersafe.scene.walls import Gap, Screen, Walls
from tests.one_light import blocked, bound, over

OPEN = Walls()
LEVEL = Box(0.0, 0.0, (0.0, 0.0))


def laser(
    power: float, width: float, angle: float, aims: Directions, apex: tuple[float, float, float] = (0.0, 0.0, 1.6)
) -> Source:
    """Return a continuous beam of 1/e width and angle against 50 W/m2 over 3.5 mm."""
    limit = Criterion("", "eye", "", "continuous", power, "W", 50.0, "W/m2", 3.5e-3, 10.0, "")
    return Source("direct", apex, aims, BeamProfile(BeamGeometry(width, angle), (limit,)), 1e3)


def at(*point: float) -> Places:
    """Return a single point as a place."""
    return Places(np.array([point]), np.array([point]))


def some_walls(rng: np.random.Generator) -> Screen:
    """Return a row of walls, now and then closed, now and then with a window."""
    line = [tuple(p) for p in rng.uniform(-3.0, 3.0, (rng.integers(2, 6), 2)).tolist()]
    if rng.random() < 0.3:
        line = [(-2.0, -2.0), (2.0, -2.0), (2.0, 2.0), (-2.0, 2.0), (-2.0, -2.0)]
    gaps = (Gap(0.5, 1.0, 0.5, 1.5),) if rng.random() < 0.5 else ()
    return Screen("wall", tuple(line), 0.0, 2.5, gaps)


def test_walls_stop_only_where_no_straight_way_is_free():
    """Ways between corners of two boxes, followed one by one, meet a solid part wherever `stop` says so."""
    rng, stopped, dark = np.random.default_rng(13), 0, 0
    for _ in range(settings().max_examples):
        screen = some_walls(rng)
        walls, pieces, many = Walls([screen]), screen.pieces(), 40
        size = 10.0 ** rng.uniform(-3.0, 0.0, (many, 1))
        a_half, b_half = rng.uniform(0.0, 0.3, (many, 3)) * size, rng.uniform(0.0, 0.5, (many, 3)) * size
        a, b = (np.column_stack([rng.uniform(-4, 4, (many, 2)), rng.uniform(0.6, 2.5, many)]) for _ in range(2))
        stop, clear = walls.stop(a, a_half, b, b_half), walls.clear(a, a_half, b, b_half)
        for i in range(many):
            ends = rng.choice([-1.0, 0.3, 1.0], (2, 10, 3))
            hit = [
                bool(blocked(tuple(p), *(q[:, None]), pieces)[0])
                for p, q in zip(a[i] + ends[0] * a_half[i], b[i] + ends[1] * b_half[i], strict=True)
            ]
            assert all(hit) or not stop[i]
            assert not any(hit) or not clear[i]
            dark += all(hit)
            stopped += int(stop[i])
    assert stopped > 0.9 * dark  # joined walls and windows cost little


def test_a_part_of_an_upright_face_is_stopped_as_what_lies_on_it_before_it():
    """Of the box of a part only the line on the face counts; on a closed row of walls it is inside or outside."""
    rng, stopped, flat = np.random.default_rng(14), 0, 0
    for _ in range(settings().max_examples):
        screen = some_walls(rng)
        turn = np.exp(1j * rng.uniform(0.0, 6.3))
        line = [(float(z.real), float(z.imag)) for z in (complex(*p) * turn for p in screen.line)]
        screen = Screen("wall", tuple(line), 0.0, 2.5, screen.gaps)
        walls, pieces, many = Walls([screen]), screen.pieces(), 30
        number = rng.integers(0, len(line) - 1, many)
        ends = np.array([[line[i], line[i + 1]] for i in number.tolist()])
        way = ends[:, 1] - ends[:, 0]
        normal = np.column_stack([-way[:, 1], way[:, 0], np.zeros(many)]) / np.hypot(*way.T)[:, None]
        normal *= rng.choice([-1.0, 1.0], (many, 1))
        share, long = rng.uniform(0.0, 1.0, (many, 1)), rng.uniform(0.0, 0.5, (many, 1))
        low, high = np.clip(share - long, 0.0, 1.0), np.clip(share + long, 0.0, 1.0)
        a = np.column_stack([ends[:, 0] + way * (low + high) / 2.0, rng.uniform(0.6, 2.4, many)])
        a_half = np.column_stack([np.abs(way) * (high - low) / 2.0, rng.uniform(0.0, 0.1, many)])
        b, b_half = (
            np.column_stack([rng.uniform(-4, 4, (many, 2)), rng.uniform(0.6, 2.4, many)]),
            np.full((many, 3), 0.05),
        )
        stop, boxed = walls.stop(a, a_half, b, b_half, face=normal), walls.stop(a, a_half, b, b_half)
        front = ((b - a) * normal).sum(axis=1) > 0.2  # what lies behind the face gets none of its light anyhow
        for i in np.flatnonzero(front):
            along = rng.choice([-0.999, 0.3, 0.999], 10)[:, None]  # on a corner itself both walls are met and missed
            start = a[i, :2] + along * way[i] * (high[i] - low[i]) / 2.0 + 1e-7 * normal[i, :2]
            rise = a[i, 2] + rng.choice([-1.0, 1.0], 10) * a_half[i, 2]
            end = b[i] + rng.choice([-1.0, 1.0], (10, 3)) * b_half[i]
            hit = [bool(blocked((*p, z), *(q[:, None]), pieces)[0]) for p, z, q in zip(start, rise, end, strict=True)]
            assert all(hit) or not stop[i]
            stopped, flat = stopped + int(boxed[i]), flat + int(stop[i])
    assert flat > stopped


@pytest.mark.parametrize(
    "aims", [LEVEL, about(LEVEL, 0.2), Box(0.3, 0.5, (-0.4, 0.1)), Around(Box(0.3, 0.5, (0, 0)), 0.2)]
)
@pytest.mark.parametrize("moves", [(0.0, 0.0, 0.0), (0.5, 0.5, 0.2)])
def test_no_aim_and_no_place_give_more_than_the_bound_of_a_box(aims, moves):
    """Rays drawn from the set, from places drawn from where the head moves, give less at points of each box."""
    rng = np.random.default_rng(5)
    source = laser(5.0, 5e-3, 20e-3, aims)
    moving = Source(**{**source.__dict__, "moves": moves})
    middle, half = rng.uniform([-2, 0.5, 0.5], [4, 8, 2.5], (60, 3)), rng.uniform(0.0, 0.4, (60, 3))
    upper = over(moving, middle, half)
    for _ in range(60):
        point = middle + rng.uniform(-1, 1, half.shape) * half
        angles = np.broadcast_to(angles_of(aims), (60, 5))
        way = nearest(angles, point + rng.normal(0.0, 0.1, half.shape) - np.array(source.apex))
        for ray in (way, nearest(angles, point - np.array(source.apex))):
            start = np.array(source.apex) + rng.uniform(-1, 1, half.shape) * np.array(moves)
            along = ((point - start) * ray).sum(axis=1)
            aside = np.sqrt(np.maximum(np.square(point - start).sum(axis=1) - along**2, 0.0))
            lit = along > 0.0
            wide = np.hypot(5e-3, 20e-3 * along)
            peak = 5.0 * 4.0 / (math.pi * wide**2) * np.exp(-np.square(2.0 * aside / wide)) / 50.0
            through = 5.0 * -np.expm1(-np.square(3.5e-3 / wide)) / (math.pi * 3.5e-3**2 / 4.0) / 50.0
            exact = np.where(aside > 1e-3, np.minimum(peak, through), through)  # a bound from below, beside the axis
            assert (exact[lit] <= upper[lit] * (1.0 + 1e-9)).all()


def test_a_person_beside_the_axis_of_a_scan_is_inside_its_field():
    """Field of 40 degrees, so 20 to each side: 8 degrees off the axis it can stop on the person, 10 m away."""
    place = unit(math.radians(8.0), 0.0)
    found = bound(
        [[(laser(5.0, 5e-3, 1e-3, about(LEVEL, math.radians(20.0))), OPEN)]], at(*(10 * np.array(place) + (0, 0, 1.6)))
    )
    on_axis = 5.0 * -math.expm1(-((3.5e-3 / math.hypot(5e-3, 10e-3)) ** 2)) / (math.pi * 3.5e-3**2 / 4.0) / 50.0
    assert found.upper[0] == pytest.approx(on_axis, rel=1e-6)
    assert found.outcome[0] == ABOVE


def test_a_narrow_beam_is_found_in_a_wide_area_without_samples():
    """3 mm beam of 1 W from 5 m height, 20 degrees down: it passes eyes between 1 and 1.8 m 8.8 to 11 m away."""
    area = shapely.box(-20.0, 1.0, 20.0, 36.0)
    places = Places(np.array([[-20.0, 1.0, 1.0]]), np.array([[20.0, 36.0, 1.8]]), [area])
    down = Box(math.radians(17.3), 0.0, (math.radians(-20.0),) * 2)
    found = bound([[(laser(1.0, 3e-3, 0.5e-3, down, (0.0, 0.0, 5.0)), OPEN)]], places)
    away = 3.2 / math.sin(math.radians(20.0))
    wide = math.hypot(3e-3, 0.5e-3 * away)
    truth = -math.expm1(-((3.5e-3 / wide) ** 2)) / (math.pi * 3.5e-3**2 / 4.0) / 50.0
    assert truth <= found.upper[0] <= 1.03 * truth
    assert found.outcome[0] == ABOVE
    assert math.hypot(*found.place[0, :2]) == pytest.approx(3.2 / math.tan(math.radians(20.0)), rel=1e-3)


def test_a_shadow_is_as_sharp_as_the_beam_is_narrow():
    """60 mm beam past an edge 20 mm beyond the axis: 50 mm aside it is unhindered, 200 mm behind the edge all is dark.

    E = 4 * 50 / (pi 0.06^2) exp(-(2 * 0.04825 / 0.06)^2) / 50 = 26.6, at the inner rim of the aperture.
    """
    edge = Walls([Screen("edge", ((-2.0, 2.0), (0.02, 2.0)), 0.0, 3.0)])
    wide = [[(laser(50.0, 60e-3, 0.1e-3, LEVEL), edge)]]
    assert bound(wide, at(0.05, 20.0, 1.6)).upper[0] == pytest.approx(26.6, rel=0.01)
    assert bound(wide, at(-0.3, 20.0, 1.6)).outcome[0] == BELOW
    turning = Box(0.0, math.radians(30.0), (0.0, 0.0))
    half = Walls([Screen("edge", ((-5.0, 2.0), (0.0, 2.0)), 0.0, 3.0)])
    assert bound([[(laser(50.0, 8e-3, 1e-3, turning), half)]], at(-0.035, 20.0, 1.6)).upper[0] > 700.0
    behind = Places(np.array([[-3.0, 19.0, 1.0]]), np.array([[-0.3, 21.0, 1.8]]))
    assert bound([[(laser(50.0, 8e-3, 1e-3, turning), half)]], behind).outcome[0] == BELOW


def test_a_closed_booth_stays_closed_at_its_corners():
    """A head that moves and points anywhere in a booth of joined walls; people all round it, 15 mm away."""
    ring = ((-2.0, -2.0), (2.0, -2.0), (2.0, 2.0), (-2.0, 2.0), (-2.0, -2.0))
    head = laser(50.0, 5e-3, 1e-3, Cone((0.0, 0.0, 1.0), math.pi), (1.8, 1.7, 1.0))
    moving = Source(**{**head.__dict__, "moves": (0.5, 0.5, 0.5)})
    round_it = shapely.box(-5, -5, 5, 5).difference(shapely.box(-2.015, -2.015, 2.015, 2.015))
    places = Places(np.array([[-5.0, -5.0, 0.0]]), np.array([[5.0, 5.0, 1.9]]), [round_it])
    assert bound([[(moving, Walls([Screen("booth", ring, 0.0, 4.0)]))]], places).outcome[0] == BELOW
    window = Screen("booth", ring, 0.0, 4.0, (Gap(1.0, 1.4, 1.0, 1.4),))
    assert bound([[(moving, Walls([window]))]], places).upper[0] > 100.0


def test_groups_are_added_and_ways_of_a_group_are_not():
    """Two equal lasers give twice what one gives; two ways of one laser give what the stronger gives."""
    one, two = laser(5.0, 5e-3, 20e-3, LEVEL), laser(5.0, 5e-3, 20e-3, LEVEL)
    person = at(0.0, 20.0, 1.6)
    single = bound([[(one, OPEN)]], person).upper[0]
    assert bound([[(one, OPEN)], [(two, OPEN)]], person).upper[0] == pytest.approx(2.0 * single)
    assert bound([[(one, OPEN), (two, OPEN)]], person).upper[0] == pytest.approx(single)
    assert most_light([[(one, OPEN)], [(two, OPEN)]], person.low, person.low * 0.0).shape == (2, 1)


def test_a_light_that_another_exceeds_keeps_a_bound_for_the_halves_of_a_box():
    """A strong beam at the left end of a box, a weak one at its right end: the right half has the weak one only.

    On the axis 20 m away the weak one gives 4 * 0.5 / (pi (0.005^2 + 0.04^2)) / 50 = 7.8 times the limit.
    """
    wall = Walls([Screen("aside", ((50.0, 1.0), (51.0, 1.0)), 0.0, 3.0)])
    strong, weak = (laser(power, 5e-3, 2e-3, LEVEL, (x, 0.0, 1.6)) for power, x in ((500.0, -1.0), (0.5, 1.0)))
    middle, half = np.array([[0.0, 20.0, 1.6]]), np.array([[1.0, 0.0, 0.0]])
    group = [(strong, wall), (weak, wall)]
    assert most_light([group], middle, half)[1, 0] >= 7.8
    right = Places(np.array([[0.8, 20.0, 1.6]]), np.array([[1.2, 20.0, 1.6]]))
    assert bound([group], right).upper[0] == pytest.approx(7.8, rel=0.01)


def test_a_mirror_that_is_off_by_its_tolerance_gives_no_more_than_the_bound():
    """Normals drawn within 5 degrees of the stated one: the exact image of each gives less at points of each box."""
    rng, off = np.random.default_rng(8), math.radians(5.0)
    source = laser(5.0, 5e-3, 2e-3, LEVEL)
    stated = np.array(unit(math.radians(140.0), 0.0))
    mirror = Mirror("m", (0.0, 3.0, 1.6), tuple(stated.tolist()), 0.3, 0.9, off=off)
    bounded = reflected(source, mirror, 1e3)
    for _ in range(200):
        normal = stated + rng.normal(0.0, 1.0, 3) * off * 0.5
        normal /= np.linalg.norm(normal)
        if math.acos(min(float(normal @ stated), 1.0)) > off:
            continue
        exact = reflected(source, Mirror("m", mirror.position, tuple(normal.tolist()), 0.3, 0.9), 1e3)
        way = turned((0.0, 1.0, 0.0), tuple(normal.tolist()))
        point = np.array(mirror.position) + np.array(way) * rng.uniform(0.5, 9.0) + rng.normal(0.0, 2e-3, 3)
        there, none = point[None, :], np.zeros((1, 3))
        assert over(exact, there, none)[0] <= over(bounded, there, none)[0] * (1.0 + 1e-9)


def test_a_place_where_no_point_was_found_lit_has_a_light_all_the_same():
    # a slit of 4 mm in a wall of 6 m, and a single box: no point of it is lit, and its bound is far above the limit
    gap = Gap(1.2, 1.204, 1.45, 1.454)
    wall = Walls([Screen("wall", ((-3.0, 2.0), (3.0, 2.0)), 0.0, 3.0, (gap,))])
    light = Source("scatter", (0.0, 0.0, 1.4), EVERYWHERE, ScatterProfile(lambda r: 100.0 / np.square(r)), 1e3)
    places = Places(np.array([[-4.0, 4.0, 1.5]]), np.array([[4.0, 6.0, 1.7]]))
    found = bound([[(light, wall)]], places, most=1)
    assert found.upper[0] > 1.0
    assert found.found[0] == 0.0
    assert found.light[0] == 0


@pytest.mark.parametrize("seed", range(6))
def test_light_scattered_by_ground_is_never_more_than_the_scatter_of_the_lit_ground_as_a_bound(seed):
    """The irradiance of a level or falling beam on the ground, scattered by Lambert, summed over patches of it."""
    rng = np.random.default_rng(seed)
    power, width, angle = 200.0, 10.0 ** rng.uniform(-2.5, -1.5), 10.0 ** rng.uniform(-2.3, -1.3)
    high, fall = rng.uniform(0.2, 1.5), rng.uniform(0.0, 0.06)
    beam = laser(power, width, angle, Box(0.0, 0.0, (-fall, -fall)), (0.0, 0.0, high))
    ground = Face(
        "ground", np.array([-20.0, -5.0, 0.0]), np.diag([40.0, 60.0, 0.0])[:2], np.array([0.0, 0.0, 1.0]), 0.8
    )
    (lit,) = lit_faces([([(beam, OPEN)], [ground])], at(0.0, 20.0, 1.0))
    places = np.column_stack([rng.uniform(-3, 3, 40), rng.uniform(1, 50, 40), 10.0 ** rng.uniform(-1.2, 0.2, 40)])
    profile = ScatterProfile(lambda r: power / (math.pi * 50.0 * np.square(r)))
    x, y = np.meshgrid(np.linspace(-8.0, 8.0, 641), np.linspace(0.5, 55.0, 2181))
    along = y * math.cos(fall) + high * math.sin(fall)
    wide = np.hypot(width, angle * along)
    aside = np.square(x) + np.square(y * math.sin(fall) - high * math.cos(fall))
    slope = np.maximum(high / np.sqrt(np.square(x) + np.square(y) + high * high), 0.0)  # of the ray on the ground
    sent = 0.8 * slope * 4.0 * power / (math.pi * wide**2) * np.exp(-4.0 * aside / wide**2)
    assert len(lit) == 1 or (sent / (0.8 * slope * 50.0)).max() < LEAST
    bounded = over(lit[0].source(profile, 10.0), places, np.zeros_like(places)) if lit else np.full(len(places), LEAST)
    patch = 0.025 * 0.025
    for (px, py, pz), most in zip(places.tolist(), bounded.tolist(), strict=True):
        square = np.square(x - px) + np.square(y - py) + pz * pz
        assert (sent * pz / (math.pi * square**1.5)).sum() * patch / 50.0 <= most + 1e-9


def test_a_level_beam_whose_edge_touches_the_ground_far_away_reaches_nobody_by_the_scatter_of_the_ground():
    """5 W at 0.5 m, 20 mrad: the ground gets P / (pi h^2 e) = 2.3 W/m2 at most; all of it would reach 0.16 m."""
    beam = laser(5.0, 5e-3, 20e-3, LEVEL, (0.0, 0.0, 0.5))
    edges = np.diag([10.0, 60.0, 0.0])[:2]
    ground = Face("ground", np.array([-5.0, 0.0, 0.0]), edges, np.array([0.0, 0.0, 1.0]), 0.8)
    lit = lit_faces([([(beam, OPEN)], [ground])], at(0.0, 30.0, 1.0))[0][0]
    source = lit.source(ScatterProfile(lambda r: 5.0 / (math.pi * 50.0 * np.square(r))), 0.18)
    assert 0.7 * 0.5 * math.sqrt(math.e) <= lit.spread <= 0.5 * math.sqrt(math.e)
    assert source.reach == 0.0
    assert over(source, np.array([[0.0, 30.0, 0.05]]), np.zeros((1, 3)))[0] <= 0.8 * 2.0 * 2.35 / 50.0
