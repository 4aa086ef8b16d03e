"""A curved surface without a place is lit wherever it may be; set-ups that are not fitted meet curved surfaces too."""

from __future__ import annotations

import math

import pytest

from lasersafe.assessment import assess
from tests.regression.test_lit_surfaces import COLLIMATED, LENS, place, ratios, scene, surface

DOME = '---[[scene.target]]\nname = "dome"\nmaterial = "steel"\nreflectance = 1\nshape = "convex"\nradius = "200 mm"\n'


def spread(along: float, radius: float, away: float) -> tuple[float, float]:
    """Return both widths [m] of a beam of 5 mm and 1 mrad behind a convex cylinder so far along, at a distance."""
    left = 1.0 + 2.0 * away / radius
    return math.hypot(5e-3 * left, 1e-3 * (along * left + away)), math.hypot(5e-3, 1e-3 * (along + away))


def test_the_lit_place_of_an_unplaced_curved_target_varies_with_its_distance() -> None:
    # 5 W, work at 20 m, so the dome is at 18 m to 22 m; radius 200 mm, Row at (0.5 m, 10 m), beside the aim. From the
    # dome at 18 m it is 8.02 m. A cylinder may lie along the beam: up to 87 degrees off its normal it spreads as one of
    # 0.2 m / cos(87) = 3.82 m, to 18.7 mm x (1 + 2 x 8.02 / 3.82) + 1 mrad x 8.02 m = 105 mm by 26.5 mm, where 5 W make
    # 5 / (pi / 4 x 0.105 x 0.0265) = 2290 W/m2, 45.9 times 50 W/m2. The ball round the place, of a sixteenth of 4 m, is
    # 7.77 m away: 47.6 times, the bound.
    found = ratios(scene(DOME, COLLIMATED + 'work_distance = "20 m"\n', "5 W", (0.5, 10.0)))
    ends = [
        5.0 / (math.pi / 4.0 * math.prod(spread(18.0, 0.2 / math.cos(math.radians(87.0)), away))) / 50.0
        for away in (math.hypot(0.5, 8.0), math.hypot(0.5, 8.0) - 0.25)
    ]
    assert ends == pytest.approx([45.9, 47.6], rel=0.01)
    assert 0.99 * ends[0] <= found["convex mirror"] <= ends[1]


def test_a_set_up_that_is_not_fitted_has_a_concave_way() -> None:
    # The free beam is not fitted; a dish in it can gather all of its 5 W into a pupil: 5 W / (pi (3.5 mm)^2) = 1.299e5
    # W/m2, 2598 times 50 W/m2, where a flat mirror gives 2091 times.
    wide = '[[laser.setup]]\nname = "wide"\nfitted = true\n' + LENS + 'work_distance = "400 mm"\n'
    dish = surface("dish", "5 m", finish="mirror") + "---"
    dish += place("dish", 0.0, shape="concave", width="0.1 m", normal="180 deg")
    found = assess(scene(dish, COLLIMATED + wide, "5 W", (1.0, 2.0)))
    free = {
        c.way: c.ratio for c in found.scene.matrix if (c.setup, c.mode, c.tissue) == ("long focus", "running", "eye")
    }
    assert free["concave mirror"] == pytest.approx(5.0 / (math.pi * 3.5e-3**2) / 50.0, rel=1e-3)
    assert "convex mirror" in free
    (row,) = [s for s in found.scenarios if s.setup == "long focus"]
    assert row.way == "concave mirror"


def test_the_height_of_a_barrier_counts_every_place_of_an_unplaced_curved_target() -> None:
    # The dome is 18 m to 22 m along the aim, 1.2 m high; Row is at 10 m, up to 2 m high, the rail at 14 m. From 22 m
    # the way to the head of Row crosses it at 1.2 m + 0.8 m x 8 / 12 = 1.733 m, from 20 m at 1.2 m + 0.8 m x 6 / 10 =
    # 1.68 m. The ball of 0.25 m round the place asks for 1.45 m + 0.55 m x 8.25 / 12.25 = 1.82 m.
    rail = '[[scene.barrier]]\nname = "rail"\nkind = "wall"\nline = [["-3 m", "14 m"], ["3 m", "14 m"]]\n'
    rail += 'top = "2.5 m"\nrating = "9 MW/cm2"\nrated_time = "30000 s"\n'
    found = assess(scene(DOME + rail, COLLIMATED + 'work_distance = "20 m"\n', "5 W", (0.5, 10.0)))
    (line,) = found.scene.barriers
    assert line.needed_height is not None
    assert 1.733 <= line.needed_height <= 1.83
