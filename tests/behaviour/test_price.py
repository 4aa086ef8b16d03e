"""What a strict assumption costs is said beside the row that it decides."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.price import _strict
from lasersafe.models import parse_case
from tests.crosscheck.scene_description import Barrier, Laser, Person, Scene, Surface, case_text
from tests.regression.test_lit_from_elsewhere import TARGET
from tests.regression.test_lit_surfaces import place, scene, surface

LOOSE = surface("sheet", "5 m", finish="mirror") + "---" + place(shape="flat", width="0.3 m", normal="{}")


def said(case):
    whole = case.model_copy(update={"settings": case.settings.model_copy(update={"surfaces_complete": True})})
    return [one.text for one in assess(whole).scene.findings if one.kind == "price"]


def test_a_mirror_set_by_hand_says_what_its_tolerance_costs():
    """By hand: the sheet sends the beam back along the aim, 1.5 m from the eyes; off by 20 deg it comes 40 deg aside.

    The beam of the lens is 8.5 mm / 400 mm * 9.6 m = 0.2 m wide there: exp(-(2 * 1.5 / 0.2)^2) of it is nothing.
    """
    loose, exact = (
        [one for one in said(scene(LOOSE.replace("{}", normal), person=(1.5, 0.0))) if "the normal" in one]
        for normal in ("180 deg +- 20 deg", "180 deg")
    )
    assert re.search(r"S[0-9]+, Row, .*mirror.* of Welder: counts as [0-9.]+ times the limit; .*: 0.00100$", loose[0])
    assert not exact


def test_a_head_that_moves_by_default_says_what_that_costs():
    """The hand-held head is taken 0.5 m to every side: a person 0.5 m beside the aim can be in its beam."""

    def by_hand(aim):
        case = scene(person=(0.5, 4.0), aim=aim)
        return case.model_copy(update={"laser": (case.laser[0].model_copy(update={"handheld": True}),)})

    (words,) = [one for one in said(by_hand('margin = "0 deg"')) if "direct" in one]
    assert words.endswith("with a head that stays at its stated place (moves): 0.00100")
    assert not [one for one in said(by_hand('margin = "0 deg"\nmoves = "0.5 m"')) if "(moves)" in one]


def crossing(laser, places, *walls):
    """Return what assumptions cost where one laser shines past people and walls."""
    case = parse_case(case_text(Scene((laser,), (Person("Row", places),), (), walls)))
    return [one.text for one in assess(case).scene.findings if one.kind == "price"]


def test_a_scan_says_what_it_costs_that_its_line_may_lie_anyhow():
    """A level line of 40 deg at 1 m; the eyes are 0.5 m higher, 10 m away: 3 deg above it, in the cone of 20 deg."""
    beam = Laser(5.0, 5e-3, 1e-3, (0.0, 0.0, 1.0), 0.0, scan=40.0)
    (words,) = [one for one in crossing(beam, ((1.0, 10.0),)) if "direct beam of" in one]
    assert words.endswith("with the line of the scan level: which way it lies is not stated, "
                          "so that it counts on every side: 0.00100")  # fmt: skip


def test_light_past_an_edge_says_what_it_costs_that_it_counts_as_all_of_the_beam():
    """The wall ends 0.1 m beyond the axis of a beam 60 mm wide: 1.5e-5 of its peak of 9.5 kW/m2 goes past the edge."""
    beam = Laser(50.0, 60e-3, 5e-4, (0.0, 0.0, 1.6), 0.0)
    (words,) = [one for one in crossing(beam, ((0.0, 20.0),), Barrier("wall", ((-1.0, 2.0), (0.1, 2.0))))
                if "direct beam of" in one]  # fmt: skip
    assert words.endswith("what passes an edge counts as all of the beam: 0.00100")


def test_a_slit_narrower_than_the_beam_is_said_to_let_a_part_of_it_through():
    """4 mm of a beam of 30 mm pass: 2 * 4 / (30 * sqrt(pi)) = 15 % of it; a beam of no width would pass as a whole."""
    beam = Laser(50.0, 0.03, 1e-3, (0.0, 0.0, 1.6), 0.0)
    sides = [Barrier(f"wall {side}", ((side * 2e-3, 2.0), (side * 3.0, 2.0))) for side in (-1.0, 1.0)]
    (words,) = [one for one in crossing(beam, ((0.0, 10.0),), *sides) if "direct beam of" in one]
    assert words.endswith("may let only a part of the beam through, and behind them all of it counts")
    assert not [one for one in crossing(beam, ((0.0, 10.0),)) if "only a part" in one]


def test_a_floor_that_a_mirror_lights_costs_what_the_mirror_scatters():
    """In the welder's starter at 37.18 kW the floor decides, at 9690 times the limit, and no price was said.

    With mirrors that scatter nothing it is 15.8: what the floor sends on comes from the sheet that counts as dull.
    """
    case = SimpleNamespace(surface=(SimpleNamespace(name="sheet", finish="mirror"),))
    stage = SimpleNamespace(case=case, scene=SimpleNamespace(aim=(), barrier=()))
    context, row = SimpleNamespace(setup=SimpleNamespace(scan=None)), SimpleNamespace(way="scatter")

    def acting(name, *parts):
        return _strict(stage, context, row, None, SimpleNamespace(surface=name, parts=parts))

    assert (acting("ground", "part"), acting("sheet"), acting("clamp")) == (("shines",), ("shines",), ())


@pytest.mark.parametrize(("aside", "told"), [(0.0, True), (0.6, False)])
def test_what_stands_in_a_beam_says_what_it_costs_that_it_does_not_stop_it(aside, told):
    """The plate of 1 m is in the middle of a beam of 5 mm, or 0.1 m beside it; eyes are behind it."""
    beam, plate = Laser(5.0, 5e-3, 1e-3, (0.0, 0.0, 1.6), 0.0), Surface("plate", (aside, 3.0, 1.6), 200.0, width=1.0)
    case = parse_case(case_text(Scene((beam,), (Person("Row", ((0.0, 10.0),)),), (plate,))))
    words = [one.text for one in assess(case).scene.findings if one.kind == "price" and "direct beam of" in one.text]
    assert [one for one in words if one.endswith("none is relied on for that: 0.00100")] == words
    assert bool(words) == told


def test_what_stands_behind_a_target_says_what_its_reflectance_costs():
    """500 W on a door 1 m beyond the eyes and 0.5 m beside them: 0.8 * 500 W / (pi 1.25 m2) = 102 W/m2, 2.04 times.

    With 0.3 it is 0.77 times the limit; the target gives 0.6 times.
    """
    target = TARGET + 'behind_distance = "3 m"\n'
    beam = Laser(500.0, 5e-3, 1e-3, (0.0, 0.0, 1.2), 0.0)
    text = case_text(Scene((beam,), (Person("Row", ((0.5, 6.0),), eyes=(1.1, 1.3)),))) + target
    (words,) = [
        one for one in (f.text for f in assess(parse_case(text)).scene.findings) if "behind targets stated" in one
    ]
    now, then = re.search(r"of Lamp: counts as ([0-9.]+) times .*: ([0-9.]+)$", words).groups()
    assert float(then) == pytest.approx(float(now) * 0.3 / 0.8, rel=0.02)
    assert float(now) == pytest.approx(2.04, rel=0.06)
