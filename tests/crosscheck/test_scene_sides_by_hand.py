"""Scenes worked out by hand in which light starts, or is met, where it is least expected: on the other side."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from lasersafe.assessment import assess
from lasersafe.models import parse_case
from lasersafe.records.scene import SceneResult
from tests.crosscheck.scene_description import Barrier, Laser, Person, Scene, Surface, case_text

LIMIT = 50.0  # W/m2: 1070 nm, 10 s or more
BEAM = Laser(50.0, 5e-3, 1e-3, (0.0, 0.0, 1.6), 0.0)


def found(scene: Scene, *changes: tuple[str, str]) -> SceneResult:
    """Assess a scene, with some changes of the text of its case file."""
    text = case_text(scene)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    result = assess(parse_case(text)).scene
    assert result is not None
    return result


def highest(result: SceneResult, way: str, person: str = "P") -> float:
    """Return the highest ratio of somebody's eyes on one way while running."""
    return max(c.ratio for c in result.matrix if (c.person, c.mode, c.way, c.tissue) == (person, "running", way, "eye"))


def scattered(power: float, share: float, off: tuple[float, float, float], normal: int) -> float:
    """Return what a matt spot sends so far [m] along its normal and beside it, over the limit."""
    square = sum(one * one for one in off)
    return share * power * abs(off[normal]) / math.sqrt(square) / (math.pi * square) / LIMIT


def test_a_head_that_moves_meets_both_sides_of_a_mirror() -> None:
    # the mirror faces along x, and its plane passes 0.05 m beside the head, which moves by 0.5 m: from (-0.3, 0) a ray
    # of bearing 5.7 degrees meets it at (0, 3) from behind and comes to (-0.3, 6): 50 W of 0.9, 6.02 m from the head
    head = replace(BEAM, place=(0.05, 0.0, 1.6), bearing=4.0, bearing_half=3.0, moves=0.5)
    mirror = Surface("plate", (0.0, 3.0, 1.6), 90.0)
    seen = found(Scene((head,), (Person("P", ((-0.3, 6.0),)),), (mirror,)))
    wide = math.hypot(5e-3, 1e-3 * 2.0 * math.hypot(0.3, 3.0))
    through = 1.0 - math.exp(-((7e-3 / wide) ** 2))
    assert highest(seen, "mirror") >= 0.9 * 50.0 * through / (math.pi * 3.5e-3**2) / LIMIT
    # matt, 3 kW: eyes 0.5 m before the side from which it is lit then get 0.9 * 3 kW / (pi 0.25 m2) = 3438 W/m2
    plate = replace(mirror, mirror=False)
    seen = found(Scene((replace(head, power=3000.0),), (Person("P", ((-0.5, 3.0),)),), (plate,)))
    assert highest(seen, "scatter") >= scattered(3000.0, 0.9, (0.5, 0.0, 0.0), 0)


def test_a_mirror_that_is_off_can_be_met_from_behind() -> None:
    # 0.2 m beside its plane and 3 m away the beam comes at 3.8 degrees to the mirror; turned by 5 degrees this is met
    # from the other side, and sends the beam 2 * 5 - 3.8 degrees behind its plane as stated
    aim = math.atan(0.2 / 3.0)
    place = (-3.0 * math.tan(math.radians(10.0) - aim), 6.0)
    head = replace(BEAM, place=(0.2, 0.0, 1.6), bearing=-math.degrees(aim))
    mirror = Surface("plate", (0.0, 3.0, 1.6), 90.0, width=0.1)
    scene = Scene((head,), (Person("P", (place,)),), (mirror,))
    assert highest(found(scene), "mirror") <= 1.0
    assert highest(found(scene, ('normal = "90 deg"', 'normal = "90 deg +- 5 deg"')), "mirror") > 1e4


def test_a_head_that_moves_round_the_end_of_a_wall_lights_its_other_face() -> None:
    # from (0.45, 0) a ray of bearing -4 degrees meets the right face of a wall at x = 0.3 m, 2.145 m along
    head = replace(BEAM, power=3000.0, bearing=-4.0, bearing_half=2.0, moves=0.5)
    wall = Barrier("wall", ((0.3, 0.3), (0.3, 5.0)))
    seen = found(Scene((head,), (Person("P", ((1.2, 2.3),)),), (), (wall,)))
    assert highest(seen, "scatter") >= scattered(3000.0, 0.8, (0.9, 0.155, 0.0), 0)


def test_the_beams_of_a_module_leave_side_by_side() -> None:
    # four beams 0.3 m apart: the outer ones leave 0.45 m beside the middle, and all of the power counts in one of them
    scene = Scene((BEAM,), (Person("P", ((0.45, 5.0),)),))
    assert highest(found(scene), "direct") <= 1.0
    module = '[laser.module]\ncolumns = 4\ncolumn_pitch = "300 mm"\n[[laser.setup]]'
    assert highest(found(scene, ("[[laser.setup]]", module)), "direct") > 1e4


@pytest.mark.parametrize("bearing", [0.0, 360.0])
def test_where_a_laser_is_said_to_point_counts_outside_its_range_too(bearing: float) -> None:
    scene = Scene((BEAM,), (Person("P", ((0.0, 5.0),)),))
    turned = f'bearing = "{bearing:g} deg"\nbearing_range = ["45 deg", "135 deg"]'
    assert highest(found(scene, ('bearing = "0 deg"', turned)), "direct") > 1e4
