"""What a flat mirror sends on past walls: no single ray that passes its disc comes where the bound has no light."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.optics.beam import collimated
from lasersafe.records import Criterion
from lasersafe.scene.beams import BeamProfile, Box, about, unit
from lasersafe.scene.lights import Lights
from lasersafe.scene.mirrors import Mirror, lit_patch, past_walls, reachable, reflected
from lasersafe.scene.sources import Source
from lasersafe.scene.walls import Screen, Walls
from tests.few import few

HOLE = 1e-3  # m, so narrow that its mean is the irradiance in its middle


def beam_of(width: float, angle: float, power: float = 1e4) -> BeamProfile:
    limit = Criterion("", "eye", "", "continuous", power, "W", 10.0, "W/m2", HOLE, 10.0, "")
    return BeamProfile(collimated(width, angle, "1/e", "gaussian"), (limit,))


def across(way):
    first = np.cross(way, (0.0, 0.0, 1.0) if abs(way[2]) < 0.9 else (1.0, 0.0, 0.0))
    first /= np.linalg.norm(first)
    return first, np.cross(way, first)


def free(walls: Walls, a, b) -> bool:
    """Return whether no wall stands between two places, worked out anew."""
    for start, end, low, high in zip(walls.start, walls.end, walls.bottom, walls.top, strict=True):
        matrix = np.array([(b - a)[:2], start - end]).T
        if abs(np.linalg.det(matrix)) < 1e-12:
            continue
        there, along = np.linalg.solve(matrix, start - a[:2])
        if 0.0 < there < 1.0 and 0.0 <= along <= 1.0 and low <= a[2] + there * (b - a)[2] <= high:
            return False
    return True


@few(120)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_place_gets_more_by_way_of_a_flat_mirror_than_its_bound(seed):
    """Places and slopes of rays are independent Gaussians; of those that come to a place the mirror takes a share.

    Given the offset y at s, the offset at m is a Gaussian round y (w2 + t2 m s) / (w2 + t2 s2), of the variance
    w2 t2 (s - m)2 / (w2 + t2 s2), with the standard deviations w of the place and t of the slope.
    """
    rng = np.random.default_rng(seed)
    profile = beam_of(10 ** rng.uniform(-2.6, -1.2), 10 ** rng.uniform(-3.2, -1.8))
    (w, _), (t, _) = profile.beam.waist_diameter, profile.beam.divergence
    w, t = w / math.sqrt(8.0), t / math.sqrt(8.0)
    low, high = sorted(rng.uniform(-0.6, 0.6, 2).tolist())
    box = Box(rng.uniform(0, 6.28), float(rng.choice([0.0, 0.3])), (low, high) if rng.random() < 0.5 else (low, low))
    moves = rng.choice([0.0, 0.3]) * rng.uniform(0, 1, 3)
    laser = Source("direct", (0.0, 0.0, 1.5), about(box, rng.choice([0.0, 0.05])), profile, 1e9, moves=tuple(moves))
    head = np.array(laser.apex) + rng.uniform(-1, 1, 3) * moves
    aim = np.array(unit(box.bearing + rng.uniform(-1, 1) * box.half_bearing, rng.uniform(*box.elevation)))
    first, second = across(aim)
    m = 10 ** rng.uniform(-0.3, 0.7)
    s = m + 10 ** rng.uniform(-0.3, 1.3)
    normal = -aim + rng.normal(size=3) * rng.choice([0.3, 1.5])
    normal /= np.linalg.norm(normal)
    width = 10 ** rng.uniform(-2.3, 0.0)
    inner, other = across(normal)
    hit = head + m * aim + rng.normal(0, 2 * w, 2) @ [first, second]
    centre = hit + rng.uniform(-0.4, 0.4, 2) * width @ np.array([inner, other])
    mirror = Mirror("mirror", tuple(centre.tolist()), tuple(normal.tolist()), width, 1.0)
    y = rng.normal(0, math.hypot(w, t * s), 2)
    end = head + s * aim + y @ [first, second]
    spread = w * w + t * t * s * s
    offsets = y * (w * w + t * t * m * s) / spread + rng.normal(size=(4000, 2)) * w * t * (s - m) / math.sqrt(spread)
    at = head + m * aim + offsets @ [first, second]
    way = end - at
    at = at + ((centre - at) @ normal / (way @ normal))[:, None] * way  # where they meet the plane of the mirror
    between = ((end - at) * (end - head)).sum(axis=1) > 0.0
    passed = (np.linalg.norm(at - centre, axis=1) <= width / 2.0) & between & ((at - head) @ aim > 0.0)
    share = passed.mean() - 4.0 * math.sqrt(passed.mean() / 4000)
    full = profile.strengths[HOLE] * math.exp(-(y @ y) / (2.0 * spread)) / (2.0 * math.pi * spread)
    if share * full < 1.0:
        return
    place = end - 2.0 * ((end - centre) @ normal) * normal
    assert reachable(laser, mirror)
    points = np.zeros(1, dtype=np.intp), place[None], np.zeros((1, 3))
    sent = past_walls(laser, mirror, 1e9, Walls())  # on both sides where the head can be on either
    for some in ([reflected(laser, mirror, 1e9)], sent) if len(sent) == 1 else (sent,):
        assert share * full <= max(Lights([(one, Walls())]).over(*points)[0] for one in some) * 1.001


def test_a_wide_beam_that_turns_sends_light_past_the_cone_of_a_small_mirror():
    """A mirror of 10 mm at 1 m, a beam of 28.3 mm and 2.83 mrad (1/e): 10 mm and 1 mrad as standard deviations.

    At 10 m a place 92 mm beside the middle of the reflection lies 42 mm outside the cone from the head through the rim.
    With the head turned by 9.67 mrad rays through the mirror come from 4.7 mm beside its middle: the axis ends 96.7 mm
    aside, 4.7 mm from the place, where 31 % or more of the full 4 P / (pi d^2) arrives, as rays start within
    +-(5 mm + 5 / 9 mm) of there; the beam 42 mm aside of the cone had counted as exp(-(2 42 / 40)^2) = 1 %.
    """
    profile = beam_of(math.sqrt(8.0) * 1e-2, math.sqrt(8.0) * 1e-3)
    laser = Source("direct", (0.0, 0.0, 1.5), Box(0.0, 0.2, (0.0, 0.0)), profile, 1e9)
    mirror = Mirror("mirror", (0.0, 1.0, 1.5), (0.0, -1.0, 0.0), 0.01, 1.0)
    sent = reflected(laser, mirror, 1e9)
    peak = profile.strengths[HOLE] / (2.0 * math.pi * (1e-4 + 1e-4))
    found = Lights([(sent, Walls())]).over(np.zeros(1, dtype=np.intp), np.array([[0.092, -8.0, 1.5]]), np.zeros((1, 3)))
    assert found[0] >= 0.1 * peak


@few(60)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_ray_that_walls_leave_free_is_hidden(seed):
    rng = np.random.default_rng(seed)
    profile = beam_of(0.01, 0.002)
    screens = []
    for number in range(rng.integers(1, 4)):
        a = rng.uniform(-2, 2, 2)
        b = a + rng.uniform(-2, 2, 2)
        screens.append(Screen(f"wall {number}", (tuple(a), tuple(b)), 0.0, float(rng.choice([1.5, 3.0])), ()))
    walls = Walls(screens)
    box = Box(rng.uniform(0, 6.28), 0.2, (-0.2, 0.2))
    laser = Source("direct", (*rng.uniform(-3, 3, 2).tolist(), 1.5), box, profile, 1e9, moves=(0.1, 0.1, 0.0))
    head = np.array(laser.apex) + rng.uniform(-1, 1, 3) * np.array(laser.moves)
    rays = head + np.array([unit(box.bearing + b, e) for b, e in rng.uniform(-0.2, 0.2, (40, 2))])
    centre = head + rng.uniform(1.0, 4.0) * np.array(unit(box.bearing, 0.0))
    normal = rng.normal(size=3) * [1, 1, 0.3]
    normal /= np.linalg.norm(normal)
    mirror = Mirror("mirror", tuple(centre.tolist()), tuple(normal.tolist()), float(rng.uniform(0.1, 1.5)), 1.0)
    sent = past_walls(laser, mirror, 1e9, walls)
    table = Lights([(one, walls) for one in sent])
    for ray in rays - head:
        along = (centre - head) @ normal / (ray @ normal)
        met = head + along * ray
        if along <= 0.0 or np.linalg.norm(met - centre) > mirror.width / 2.0 or not free(walls, head, met):
            continue
        out = ray - 2.0 * (ray @ normal) * normal
        end = met + rng.uniform(0.2, 6.0) * out
        if free(walls, met, end):
            assert sent
            assert not table.hidden(np.zeros(1, dtype=np.intp), end[None], np.full((1, 3), rng.choice([0.0, 0.1])))[0]
            assert table.over(np.zeros(1, dtype=np.intp), end[None], np.zeros((1, 3)))[0] > 0.0


def test_a_wall_before_a_mirror_keeps_it_dark_and_one_beside_it_part_of_it():
    profile = beam_of(0.01, 0.001)
    laser = Source("direct", (0.0, 0.0, 1.5), Box(0.0, 0.1, (0.0, 0.0)), profile, 1e9)
    mirror = Mirror("mirror", (0.0, 4.0, 1.5), (0.0, -1.0, 0.0), 0.6, 1.0)
    before = Walls([Screen("wall", ((-1.0, 2.0), (1.0, 2.0)), 0.0, 3.0, ())])
    assert lit_patch(laser, mirror, before) is None
    assert past_walls(laser, mirror, 1e9, before) == []
    beside = Walls([Screen("wall", ((0.0, 2.0), (1.0, 2.0)), 0.0, 3.0, ())])  # all of its right half is dark
    (sent,) = past_walls(laser, mirror, 1e9, beside)
    assert not sent.whole
    where = np.array([[-0.6, -4.0, 1.5], [0.6, -4.0, 1.5]])  # from the left half, and from the right one
    dark = Lights([(sent, beside)]).hidden(np.zeros(2, dtype=np.intp), where, np.zeros((2, 3)))
    assert dark.tolist() == [False, True]


def test_before_a_focus_light_far_below_the_limit_on_a_mirror_is_followed():
    """A beam of 100 mm that a lens focuses 10 m ahead, 0.3 W: 38 W/m2 are below the limit of 50 W/m2 everywhere.

    A mirror of 60 mm at 2 m, 60 mm beside the axis, takes a part of 0.1 or more, 30 mW: in the focus all of it comes
    through one pupil of 7 mm, 780 W/m2.
    """
    from lasersafe.optics.beam import through_lens

    limit = Criterion("", "eye", "", "continuous", 0.3, "W", 50.0, "W/m2", 7e-3, 10.0, "")
    profile = BeamProfile(through_lens(0.1, 10.0, "1/e", "gaussian"), (limit,))
    laser = Source("direct", (0.0, 0.0, 1.5), Box(0.0, 0.0, (0.0, 0.0)), profile, 1e9)
    assert reachable(laser, Mirror("mirror", (0.06, 2.0, 1.5), (0.0, -1.0, 0.0), 0.06, 1.0))


@few(60)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_rim_of_an_even_beam_that_turns_gives_no_more_than_the_bound(seed):
    """At s along the axis and d(s) / 2 beside it, L = sqrt(s2 + d2 / 4) away, an even beam gives 4 P / (pi d2)."""
    rng = np.random.default_rng(seed)
    limit = Criterion("", "eye", "", "continuous", 1e4, "W", 10.0, "W/m2", HOLE, 10.0, "")
    profile = BeamProfile(collimated(10 ** rng.uniform(-3, -1), rng.uniform(0.05, 0.8), "1/e", "top-hat"), (limit,))
    laser = Source("direct", (0.0, 0.0, 1.5), Box(0.0, 1.5, (-1.5, 1.5)), profile, 1e9)
    along = 10 ** rng.uniform(-2, 1)
    wide = float(profile.widths(np.array(along))[0])
    place = np.array([[wide / 2.0 * 0.999, along, 1.5]])
    found = Lights([(laser, Walls())]).over(np.zeros(1, dtype=np.intp), place, np.zeros((1, 3)))[0]
    assert found >= 1e4 / 10.0 * 4.0 / (math.pi * wide**2) * (1.0 - 1e-9)
