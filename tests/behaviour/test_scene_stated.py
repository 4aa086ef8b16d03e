"""What a scene may state of what varies: how far a mirror is off, where a hand is, what is overhead, one at a time."""

from __future__ import annotations

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.stages import stages_of
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.wording import Message, load_wording
from tests.behaviour.test_scene import HEAD, SCENE

PLAIN = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
MIRROR = """
[[scene.surface]]
name = "Glass"
position = ["1 m", "-2 m"]
height = "1.2 m"
normal = "{normal}"
tilt = "{tilt}"
"""
SURFACE = '[[surface]]\nname = "Glass"\nmaterial = "mirror"\nfinish = "mirror"\ndistance = "2 m"\n'


def with_mirror(normal="30 deg", tilt="0 deg", more=""):
    return PLAIN.replace("[scene]\n", SURFACE + "[scene]\n") + MIRROR.format(normal=normal, tilt=tilt) + more


def faults(text):
    with pytest.raises(CaseError) as caught:
        parse_case(text)
    assert all(fault.line is not None and "\n" not in fault.message for fault in caught.value.faults)
    return {fault.field: fault.message for fault in caught.value.faults}


def test_a_normal_with_its_tolerance_is_read_and_is_no_corner():
    place = parse_case(with_mirror("30 deg +- 5 deg", "2 deg +- 1 deg")).scene.surface[0]
    assert place.normal_tolerance == pytest.approx(math.radians(6.0))  # both may be off at once
    place = parse_case(with_mirror("30 deg +- 2 deg standard uncertainty")).scene.surface[0]
    assert place.normal_tolerance == pytest.approx(math.radians(4.0))  # twice the standard uncertainty
    assert len(stages_of(parse_case(with_mirror("30 deg +- 5 deg")))) == 1
    assert parse_case(with_mirror()).scene.surface[0].normal_tolerance == 0.0


@pytest.mark.parametrize(
    ("old", "new", "field", "message"),
    [
        ('normal = "30 deg"', 'normal = "30 deg +- 95 deg"', "scene.surface[1].normal", "off by more than 90 deg"),
        ('tilt = "0 deg"', 'tilt = "0 deg +- 91 deg"', "scene.surface[1].tilt", "off by more than 90 deg"),
        ('tilt = "0 deg"', 'tilt = "95 deg"', "scene.surface[1].tilt", "at most 90 deg"),
        ('bearing = "180 deg"', 'bearing = "180 deg"\nmoves = "1.3 m"', "scene.aim[1].moves", "is below the floor"),
        ("[[scene.aim]]\n", '[[scene.aim]]\nmode = "alignment"\n', "scene.aim[1]", "has no place while it runs"),
        ('bearing = "180 deg"', 'bearing = "180 deg"\nmoves = "20 m"', "scene.aim[1].moves", "at most 10 m"),
        ("[scene]\n", '[scene]\noutline = [["-1 m", "-9 m"], ["0.4 m", "-9 m"], ["0.4 m", "9 m"], ["-1 m", "9 m"]]\n',
         "scene.aim[1].moves", "is not inside the outline"),
        ("[[scene.aim]]", '[scene.ceiling]\nheight = "1.2 m"\n[[scene.aim]]', "scene.ceiling.height",
         "1.2 m is not above aim[1].height, 1.2 m"),
        ("[[scene.aim]]", '[scene.ceiling]\nheight = "1.6 m"\n[[scene.aim]]\nmoves = "0.5 m"', "scene.ceiling.height",
         "1.6 m is not above aim[1].height, 1.2 m + moves, 0.5 m"),
        ("[[scene.aim]]", '[scene.ceiling]\nheight = "1.9 m"\n[[scene.person]]\nname = "Guests"\n'
         'position = ["1 m", "9 m"]\neye_height = "1.95 m"\n[[scene.aim]]', "scene.ceiling.height",
         "1.9 m is not above person[1].floor, 0 m + eye_height, 1.95 m"),
        ("[[scene.aim]]", '[scene.ceiling]\nheight = "3 m"\nreflectance = 1.2\n[[scene.aim]]',
         "scene.ceiling.reflectance", "at most 1"),
        ("[[scene.aim]]", '[scene.ceiling]\nheight = "3 m"\nrating = "1 W/cm2"\n[[scene.aim]]',
         "scene.ceiling.rated_time", "a rating holds for a time"),
        ("[[scene.aim]]", '[scene.ceiling]\nreflectance = 0.5\n[[scene.aim]]', "scene.ceiling.height", "missing"),
        ("[[scene.aim]]", '[scene.ground]\nfinish = "wet"\n[[scene.aim]]', "scene.ground.finish", "is not a choice"),
        ("[scene]\n", "[scene]\none_at_a_time = true\n", "scene.one_at_a_time_reason", "say what makes sure"),
        ("[scene]\n", '[scene]\none_at_a_time_reason = "one key"\n', "scene.one_at_a_time",
         "write one_at_a_time = true as well"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_its_line(old, new, field, message):
    text = with_mirror()
    assert old in text
    text = text.replace(old, new)
    if field.endswith("moves") and "moves =" not in new:
        text = text.replace('bearing = "180 deg"', 'bearing = "180 deg"\nmoves = "0.5 m"')
    assert message in faults(text)[field]


@pytest.mark.parametrize(("table", "most"), [("surface", 200), ("person", 200), ("barrier", 100)])
def test_as_many_as_are_said_are_taken_and_one_more_is_refused(table, most):
    more = {
        "surface": '[[scene.surface]]\nname = "s{i}"\n',
        "person": '[[scene.person]]\nname = "s{i}"\nposition = ["{i} m", "9 m"]\n',
        "barrier": '[[scene.barrier]]\nkind = "wall"\nname = "s{i}"\ntop = "2 m"\n'
        'line = [["{i} m", "5 m"], ["{i} m", "6 m"]]\n',
    }[table]
    own = {
        "surface": '[[surface]]\nname = "s{i}"\nmaterial = "steel"\ndistance = "2 m"\n',
        "person": '[[person]]\nname = "s{i}"\nrole = "crew"\ndistance = "2 m"\n',
        "barrier": "",
    }[table]
    there = {"surface": 0, "person": 1, "barrier": 1}[table]

    def text(count):
        numbers = range(count - there)
        head = "".join(own.format(i=i) for i in numbers)
        return PLAIN.replace("[scene]\n", head + "[scene]\n") + "".join(more.format(i=i) for i in numbers)

    parse_case(text(most))
    assert f"at most {most} may be given; make two cases of it" in faults(text(most + 1))[f"scene.{table}"]


def test_a_scan_may_say_the_largest_angle_and_no_smaller_one():
    scan = '[laser.setup.scan]\npattern = "line"\nfrequency = "50 Hz"\nfull_angle = "20 deg"\nlargest_angle = "{}"\n'
    text = PLAIN.replace("[[person]]", scan + "[[person]]", 1)
    assert float(parse_case(text.format("40 deg")).laser[0].setup[0].scan.largest_angle.x) == pytest.approx(0.6981317)
    assert "15 deg is less than full_angle, 20 deg" in next(iter(faults(text.format("15 deg")).values()))


@pytest.mark.parametrize("fixed", [True, False])
def test_in_a_fault_a_mirror_that_is_not_fixed_faces_anywhere(fixed):
    case = parse_case(with_mirror(more=f"fixed = {str(fixed).lower()}\n"))
    (stage,) = stages_of(case)
    (context,) = stage.contexts
    for mode in ("running", "fault"):
        (pose,) = stage.poses(context, mode)
        (glass,) = [item for item in stage.lit(context, pose) if item.name == "Glass"]
        assert (glass.normal is None) == (mode == "fault" and not fixed)


@pytest.mark.parametrize("moves", [0.0, 0.3])
def test_a_head_that_moves_lights_a_barrier_from_its_nearest_place(moves):
    # 3 m to the booth, less by what the head moves; behind 400 mm the beam is 8.5 mm / 400 mm wide for each metre
    width = 8.5e-3 / 0.4 * (3.0 - moves - 0.4)
    case = parse_case(PLAIN.replace('bearing = "180 deg"', f'bearing = "180 deg"\nmoves = "{moves} m"'))
    (booth,) = assess(case).scene.barriers
    (direct,) = [way for way in booth.ways if way.way == "direct"]
    assert direct.irradiance == pytest.approx(4.0 * 1500.0 / (math.pi * width**2), rel=1e-3)


def two_lasers(head=""):
    """Return two equal lasers side by side: 5 W, 20 mrad, 3 mm, 1070 nm, 0.2 m apart, beam towards minus y."""
    laser = """
[[laser]]
name = "{name}"
class_label = "4"
wavelength = "1070 nm"
[laser.emission]
kind = "continuous"
power = "5 W"
[[laser.setup]]
name = "beam"
kind = "collimated"
beam_diameter = "3 mm"
divergence = "20 mrad"
criterion = "1/e"
"""
    aim = """
[[scene.aim]]
laser = "{name}"
position = ["{x} m", "0 m"]
height = "1.2 m"
bearing = "180 deg"
"""
    start, end = PLAIN.index("[[laser]]"), PLAIN.index("[[person]]")
    text = PLAIN[:start] + laser.format(name="Left") + laser.format(name="Right") + PLAIN[end : PLAIN.index("[scene]")]
    text = text[: text.index("[[barrier]]")]
    row = '[[scene.person]]\nname = "Row"\nposition = ["0 m", "-20 m"]\n'
    return f"{text}[scene]\n{head}" + aim.format(name="Left", x=-0.1) + aim.format(name="Right", x=0.1) + row


def test_a_laser_without_a_place_in_a_scene_is_refused():
    # Zones, lines, map and barriers knew nothing of it and were printed as if they were whole.
    text, start = two_lasers(), two_lasers().index('[[scene.aim]]\nlaser = "Right"')
    found = faults(text[:start] + text[text.index("[[scene.person]]") :])
    assert found == {"scene.aim": load_wording().say(Message("misfit.not_running", laser="'Right'"))}


def test_a_laser_whose_direction_is_not_stated_counts_to_all_sides():
    # 10 m behind the heads, 5 W are 4 * 5 W / (pi * (3 mm^2 + (20 mrad * 10 m)^2)) = 159.1 W/m2, 3.18 times the limit
    text, start = two_lasers().replace("-20 m", "10 m"), two_lasers().index('[[scene.aim]]\nlaser = "Right"')
    found = assess(parse_case(text[:start] + text[start:].replace('bearing = "180 deg"\n', "", 1)))
    ratios = {c.laser: c.ratio for c in found.scene.matrix if (c.way, c.mode) == ("direct", "running")}
    assert ratios == {"Left": pytest.approx(0.0, abs=0.01), "Right": pytest.approx(3.182, rel=2e-3)}
    assert load_wording().text("scene.any_way", laser="Right") in [f.text for f in found.scene.findings]
    assert all(line.distance >= 17.84 for line in found.scene.lines if line.laser == "Right")  # as far as it reaches
    assert {line.side for line in found.scene.lines if line.laser == "Right"} == {"front", "right", "back", "left"}
    up = assess(parse_case(text[:start] + text[start:].replace('bearing = "180 deg"', 'elevation = "60 deg"', 1)))
    assert all(c.ratio < 0.01 for c in up.scene.matrix if (c.way, c.mode) == ("direct", "running"))  # over their heads


def test_lasers_that_run_one_at_a_time_do_not_add_and_the_reason_is_printed():
    reason = 'one_at_a_time = true\none_at_a_time_reason = "one key switch feeds both"\n'
    both, alone = (assess(parse_case(two_lasers(head))) for head in ("", reason))
    assert any(s.way == "together" for s in both.scenarios)
    assert not any(s.way == "together" for s in alone.scenarios)
    said = load_wording().text("scene.one_at_a_time", reason="one key switch feeds both")
    assert said in [f.text for f in alone.scene.findings]
    assert said in alone.decision.reasons
    assert "all lasers together" in both.decision.people
    assert "all lasers together" not in alone.decision.people
    # one: sqrt(4 * 5 W / (pi * 50 W/m2)) = 356.8 mm / 20 mrad = 17.84 m; both sqrt(2) times as far, 25.23 m
    # In front the ground scatters, which the beam meets 39 m away.
    assert all(17.8 <= line.distance <= 18.2 for line in alone.scene.lines if line.side != "front")
    assert all(25.2 <= line.distance <= 25.9 for line in both.scene.lines if line.side != "front")
    assert {z.kind for z in both.scene.zones} - {z.kind for z in alone.scene.zones} == {"eye together", "skin together"}


def test_a_laser_without_a_fibre_has_none_that_breaks_and_the_answer_says_what_that_rests_on():
    name, said = next(laser.name for laser in parse_case(PLAIN).laser), load_wording().text
    for typed, length, breaks in (
        ("fibre = false\n", "1070 nm", False), ("", "1070 nm", True),
        ("", "10.6 um", False), ("fibre = true\n", "10.6 um", True),
    ):  # fmt: skip
        text = PLAIN.replace(f'name = "{name}"\n', f'name = "{name}"\n{typed}', 1).replace("1070 nm", length)
        found = assess(parse_case(text))
        assert any(s.way == "fibre broken" for s in found.scenarios) is breaks, (typed, length)
        assert (said("scene.no_fibre", lasers=name) in found.decision.reasons) is ("false" in typed)
        assert (said("cannot.no_fibre") in {cell.note for cell in found.scene.matrix}) is ("false" in typed)
    end = '[[laser.setup]]\nname = "End"\nkind = "fibre multimode"\n\n[[person]]\n'
    text = PLAIN.replace("[[person]]\n", end, 1).replace('1070 nm"\n', '1070 nm"\nfibre = false\n', 1)
    assert faults(text)["laser[1].fibre"].startswith("false, but a set-up is the end of a fibre")


def test_a_scenario_of_a_place_says_whether_it_is_proven_or_shown():
    # one laser of 5 W, 20 mrad reaches 17.84 m: at 20 m each is proven below, at 10 m light is shown to come
    for away, key in (("-20 m", "hit.proven_below"), ("-10 m", "hit.shown_above")):
        found = assess(parse_case(two_lasers().replace("-20 m", away)))
        (direct, *_) = [s for s in found.scenarios if (s.way, s.tissue, s.laser) == ("direct", "eye", "Left")]
        assert any(Message(key) in step.numbers for step in direct.steps)
