"""Cases with a scene, as a user meets them: the spectator lines, bad scenes, the starter cases, the matrix."""

from __future__ import annotations

import dataclasses
import json
import math
import re
from functools import lru_cache

import numpy as np
import pytest
from typer.testing import CliRunner

from lasersafe.ask.cases import template_names, template_text
from lasersafe.assessment import assess
from lasersafe.assessment.context import BASE_WAY, MORE_WAYS
from lasersafe.assessment.loads import MODES
from lasersafe.assessment.scene import scene_map
from lasersafe.assessment.scene_zones import zones_over
from lasersafe.assessment.stages import stages_of
from lasersafe.cli import app
from lasersafe.errors import CalcError, CaseError
from lasersafe.models import parse_case
from lasersafe.quantity import parse_quantity
from lasersafe.records import as_json
from lasersafe.records.scene import SCENE_UNITS
from lasersafe.wording import Message
from tests import case_head
from tests.one_light import along

HEAD = (
    case_head.HEAD
    + """[[laser]]
name = "Welder"
class_label = "4"
wavelength = "1070 nm"
[laser.emission]
kind = "continuous"
power = "1.5 kW"
[[laser.setup]]
name = "long focus"
kind = "lens"
beam_diameter = "8.5 mm"
criterion = "1/e"
focal_length = "400 mm"
work_distance = "400 mm"
[[person]]
name = "Row"
role = "spectator"
distance = "8 m"
[[barrier]]
name = "Booth"
distance = "2.5 m"
rating = "{rating}"
rated_time = "100 s"
observed = true
"""
)
SCENE = """
[scene]
stage_bearing = "0 deg"
[[scene.aim]]
laser = "Welder"
position = ["0 m", "0 m"]
height = "1.2 m"
bearing = "180 deg"
{aim}
[[scene.target]]
name = "plate"
material = "steel"
shape = "flat"
behind = "wooden door"
behind_distance = "3 m"
stop = "Booth"
[[scene.barrier]]
name = "Booth"
line = [["-20 m", "-3 m"], ["20 m", "-3 m"]]
top = "{top}"
[[scene.person]]
name = "Row"
position = ["0 m", "-8 m"]
"""


SHAPED = (HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")).replace(
    'shape = "flat"', 'shape = "{shape}"'
)


def case(rating="1 kW/cm2", top="3 m", aim="", more=""):
    return parse_case(HEAD.format(rating=rating) + SCENE.format(top=top, aim=aim) + more)


def drawn(found):
    """Return all that there is of a case but for what only the pages print."""
    return assess(found, wanted="drawn")


def short(found):
    """Return what the short answer rests on: no zones, and nothing of set-ups that are not fitted."""
    return assess(found, wanted="short")


@lru_cache
def template(name):
    return assess(parse_case(template_text(name).decode()))


def run(*arguments):
    return CliRunner().invoke(app, list(arguments))


def written(tmp_path, text):
    path = tmp_path / "case.toml"
    path.write_text(text)
    return str(path)


@pytest.mark.parametrize("name", template_names())
def test_every_starter_case_is_a_scene(name):
    scene = template(name).scene
    assert scene is not None
    assert {z.kind for z in scene.zones} >= {"eye direct", "eye mirror"}
    for zone in scene.zones:
        assert zone.polygons
        assert math.isfinite(zone.distance)
        for part in zone.polygons:
            assert len(part.outline) >= 3
            assert all(math.isfinite(v) for point in part.outline for v in point)
    assert len(scene.lines) == 4 * sum(a.fitted and a.mode == "running" for a in scene.aims)
    assert scene.targets
    assert scene.elevations


@pytest.mark.parametrize("name", template_names())
def test_the_matrix_is_complete_and_sorted(name):
    found = template(name)
    scene = found.scene
    fitted = {(s.laser, s.setup) for s in found.setups if s.fitted}
    ways = BASE_WAY.keys() - set(MORE_WAYS)  # no starter states what passes its targets
    for person in scene.persons:
        own = [c for c in scene.matrix if c.person == person.name and (c.laser, c.setup) in fitted]
        lasers = {c.laser for c in own}
        assert lasers
        cells = {(c.laser, c.mode, c.way) for c in own}
        assert cells == {(laser, mode, way) for laser in lasers for mode in MODES for way in ways}
    ranks = [(bool(c.struck_out), -c.ratio) for c in scene.matrix]
    assert ranks == sorted(ranks)
    assert all(c.below == (c.ratio <= 1.0) for c in scene.matrix)


def test_records_hold_numbers_and_coordinates_only():
    def walk(value):
        if dataclasses.is_dataclass(value):
            for field in dataclasses.fields(value):
                walk(getattr(value, field.name))
        elif isinstance(value, tuple):
            for one in value:
                walk(one)
        else:
            assert value is None or value is SCENE_UNITS or type(value) in (str, Message, float, int, bool), value

    walk(dataclasses.replace(template("demo").scene, map=None))


def test_spectators_in_metres_and_feet(tmp_path):
    path = written(tmp_path, template_text("demo").decode())
    result = run("spectators", path)
    assert result.exit_code == 0
    for side in ("front", "right", "back", "left"):
        assert re.search(rf"^{side}: stand [0-9.]+ m \([0-9.]+ ft\) or more from the last optic", result.output, re.M)
    assert "limited by: eye" in result.output
    for laser in ("Welder", "Marker"):  # two lasers, two front lines: each says from where
        assert re.search(rf"^front: .* from the last optic of {laser}, ", result.output, re.M)
    data = json.loads(run("spectators", path, "--json").output)
    row = data["lines"][0]
    for said in re.findall(r"stand ([0-9.]+) m \(([0-9.]+) ft\)", result.output):  # 10.7 m were 35 ft, 10.67 m
        assert float(said[1]) * 0.3048 >= float(said[0]), said
    assert row["distance_ft"] >= row["distance_m"] / 0.3048
    assert row["limited_by"]
    assert data["caution"]


def test_a_line_that_a_rule_moved_out_says_so(tmp_path):
    text = with_rules(HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim=""))
    result = run("spectators", written(tmp_path, text))
    assert re.search(r"from the last optic, behind .*; with a gap of 1 m \(Germany: shows: gap beside", result.output)


def test_each_row_of_the_table_names_way_and_mode(tmp_path):
    result = run("assess", written(tmp_path, template_text("handheld-welder").decode()), "--all")
    rows = result.output[result.output.index("Scenarios, highest ratio first") :]
    assert "  fault: direct beam, eye  " in rows
    assert "  mirror reflection, then scatter (bound), eye  " in rows
    assert "  a look through an optical aid, eye  " in rows
    assert "running, " not in rows


def test_spectators_without_a_scene_is_one_line(tmp_path):
    path = written(tmp_path, HEAD.format(rating="1 kW/cm2"))
    result = run("spectators", path)
    assert isinstance(result.exception, CalcError)
    assert "has no [scene]" in str(result.exception)
    assert "\n" not in str(result.exception)


def test_a_rated_barrier_clips_and_one_that_does_not_hold_does_not():
    held, open_ = (drawn(case(rating=r)).scene for r in ("1 kW/cm2", "1 W/cm2"))
    eye = next(z for z in held.zones if z.kind == "eye direct")
    assert eye.clipped_by == ("Booth",)
    assert "Booth" in eye.limited_by
    assert min(y for p in eye.polygons for _, y in p.outline) == pytest.approx(-3.0, abs=0.1)  # a square of the plan
    leak = next(z for z in open_.zones if z.kind == "eye direct")
    assert leak.clipped_by == ()
    assert min(y for p in leak.polygons for _, y in p.outline) < -leak.distance * 0.999
    assert [{w.holds for w in one.barriers[0].ways if w.way == "direct"} for one in (held, open_)] == [{True}, {False}]
    line = {s.lines[0].side: s.lines[0] for s in (held, open_)}["front"]
    assert line.distance >= leak.distance
    cells = {(c.mode, c.way): c for c in held.matrix}
    assert cells["running", "direct"].ratio == 0.0
    assert cells["service", "direct"].ratio > 1000.0  # barriers may be open in service
    assert cells["fault", "direct"].ratio == 0.0


def test_a_remark_on_the_scene_is_printed_with_that_of_the_case():
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    noted = text.replace("[scene]\n", '[scene]\nnote = "chairs are bolted down"\n')
    assert assess(parse_case(noted), wanted="short").notes == ("chairs are bolted down",)


def test_a_low_barrier_leaks_over_its_edge():
    scene = short(case(top="1.3 m", aim='elevation_range = ["0 deg", "10 deg"]')).scene
    assert next(c for c in scene.matrix if (c.mode, c.way) == ("running", "direct")).ratio > 1.0
    assert scene.barriers[0].reach_over


def test_the_aim_envelope_and_the_margin_of_a_hand_widen_the_zone():
    narrow = drawn(case(rating="1 W/cm2")).scene
    wide = drawn(case(rating="1 W/cm2", aim='bearing_range = ["160 deg", "200 deg"]')).scene
    text = HEAD.format(rating="1 W/cm2") + SCENE.format(top="3 m", aim="")
    hand = drawn(parse_case(text.replace('class_label = "4"', 'class_label = "4"\nhandheld = true'))).scene
    sizes = [sum(z.area for z in s.zones if z.kind == "eye direct") for s in (narrow, wide, hand)]
    assert sizes[0] < sizes[1] / 5.0
    assert sizes[0] < sizes[2] / 5.0
    (aim,) = [a for a in hand.aims if a.fitted]
    assert aim.margin == pytest.approx(math.radians(10.0))
    assert narrow.aims[0].margin == 0.0


def test_a_wooden_door_three_metres_behind_the_target_can_catch_fire():
    """Common practice, no source: 1.5 kW of about 1 um through a long-focus lens chars such a door within seconds."""
    scene = assess(case(rating="1 W/cm2")).scene
    (beyond,) = scene.beyond
    assert beyond.can_ignite
    assert beyond.ignition_threshold == 5000.0
    assert "NFPA115 (from memory)" in beyond.ignition_source
    assert beyond.backing_irradiance > 5000.0
    (zone,) = [z for z in scene.zones if z.kind == "ignition"]
    assert zone.distance > 3.4
    import shapely

    assert any(shapely.contains_xy(shapely.Polygon(p.outline), 0.0, -3.4) for p in zone.polygons)
    assert any("wooden door" in f.text and "fire" in f.text for f in scene.findings if f.kind == "ignition")
    assert any("wooden door" in reason for reason in assess(case(rating="1 W/cm2")).decision.reasons)


def test_beyond_the_target_the_zone_ends_at_a_stop_that_holds_and_goes_on_without():
    (stopped,) = assess(case()).scene.beyond
    assert stopped.ends_at == "Booth"
    assert stopped.distance == pytest.approx(3.0)
    (free,) = assess(case(rating="1 W/cm2")).scene.beyond
    assert free.ends_at == ""
    assert free.distance > 250.0


def test_an_object_that_is_not_listed_is_not_fired_at():
    assessed = assess(case())
    assert any("not on the list is not fired at" in reason for reason in assessed.decision.reasons)
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    bare = short(parse_case(re.sub(r"\[\[scene\.target\]\].*?(?=\[\[scene\.barrier)", "", text, flags=re.S)))
    assert any("no target list" in reason for reason in bare.decision.reasons)
    assert not bare.decision.passed


def unknown_shape(**more):
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    return drawn(parse_case(text.replace('shape = "flat"\n', "".join(f'{k} = "{v}"\n' for k, v in more.items()))))


def rows(assessed, way):
    found = [c for c in assessed.scene.matrix if c.way == way and c.mode == "running" and c.tissue == "eye"]
    return {c.person: c for c in found}


def test_a_mirror_of_unknown_shape_counts_as_flat_and_as_the_worst_curvature():
    flat, unknown, hollow = assess(case()), unknown_shape(), unknown_shape(shape="concave")
    assert [f.text for f in flat.scene.findings if "shape not stated" in f.text] == []
    (named,) = [f.text for f in unknown.scene.findings if "shape not stated" in f.text]
    assert named.endswith(": plate")
    assert rows(flat, "mirror")["Row"].ratio == 0.0  # the booth holds against the flat plate
    assert rows(flat, "concave mirror")["Row"].struck_out.startswith("not possible: no surface is listed")
    # behind the focus a hollow plate can put a focus on the booth, which withstands no such thing, and on the Row
    wide = 8.5e-3 / 0.4 * 0.04  # on the plate, 10 % off the focus
    narrow = 2 * 1070e-9 / (math.pi * wide) * 7.6  # the smallest focus that can be made of it, 7.6 m away
    full = 1500.0 / (math.pi * 3.5e-3**2) / 50.0  # all of the power through a pupil of 7 mm, in limits
    through = 1.0 - math.exp(-((7e-3 / narrow) ** 2))
    assert rows(unknown, "concave mirror")["Row"].ratio == pytest.approx(full * through, rel=0.01)
    assert rows(hollow, "concave mirror")["Row"].ratio == rows(unknown, "concave mirror")["Row"].ratio
    bump = rows(unknown, "convex mirror")["Row"]  # 10 % in front of the focus it can make the beam parallel
    # it is then 360 mm from the last optic and the hollow one 440 mm, nearer to the Row
    assert bump.ratio == pytest.approx(rows(unknown, "concave mirror")["Row"].ratio, rel=0.015)
    assert any(not w.holds for b in unknown.scene.barriers for w in b.ways if w.way == "mirror")
    farthest = max(z.distance for z in unknown.scene.zones if z.kind == "eye mirror")
    assert farthest > 3.0 * max(z.distance for z in flat.scene.zones if z.kind == "eye mirror")


def test_a_hollow_object_that_is_not_listed_is_named_with_its_distance():
    complete = case(more="[settings]\nsurfaces_complete = true\n")
    listed = 'name = "plate"\nmaterial = "steel"\nfinish = "mirror"\ndistance = "400 mm"\nreflectance = 0.7\n'
    named = case(more=f'[[surface]]\n{listed}reflectance_source = "typed"\n')
    assert not any("hollow (concave)" in f.text for f in short(complete).scene.findings)
    (found,) = [f for f in assess(named).scene.findings if "hollow (concave)" in f.text]
    printed = re.search(r"above the limit for ([0-9.]+ k?m), farther than", found.text)
    assert found.text.endswith("such an object is not fired at")
    # by hand from what the annex prints: a waist d0 at 1/e that spreads by phi is d_z wide on the object, of any
    # curvature, and spreads by d0 phi / d_z behind it; a Gaussian of Phi is at the limit E over D_a where it is
    # D_a / sqrt(-ln(1 - E A / Phi)) wide
    angle, limit, area, _, reach = found.steps
    waist, spread, wide, place = map(float, re.findall(r"([0-9.e-]+) (?:m|rad)\b", angle.numbers))
    assert angle.value == pytest.approx(waist * spread / wide, rel=1e-4)
    power, hole = float(limit.formula.split()[2]), 7e-3
    assert area.value == pytest.approx(math.pi * hole**2 / 4.0, rel=1e-9)
    at_limit = hole / math.sqrt(-math.log1p(-limit.value * area.value / power))
    assert reach.value == pytest.approx(place + at_limit / angle.value, rel=1e-3)
    assert reach.value <= parse_quantity(printed[1], "m", "reach").value <= 1.1 * reach.value


def test_a_surface_without_a_position_takes_its_shape_from_the_scene():
    surface = '[[surface]]\nname = "bar"\nmaterial = "steel"\ndistance = "450 mm"\n'
    bar = '[[scene.surface]]\nname = "bar"\nshape = "convex"\nradius = "15 mm"\n'
    round_bar, bare = short(case(more=surface + bar)), short(case(more=surface))
    named = [f.text for f in bare.scene.findings if "shape not stated" in f.text]
    assert named[0].endswith(": bar")
    assert not any("shape not stated" in f.text for f in round_bar.scene.findings)
    assert round_bar.scene.surfaces == ()  # nothing is drawn where no place is known
    for wrong in ('normal = "90 deg"', 'height = "1 m"'):
        with pytest.raises(CaseError, match="stands without a position"):
            case(more=surface + bar + wrong + "\n")
    with pytest.raises(CaseError, match="missing: write the height"):
        case(more=surface + bar + 'position = ["0 m", "-1 m"]\n')


def test_a_target_that_is_a_surface_too_gives_it_its_shape():
    surface = '[[surface]]\nname = "plate"\nmaterial = "steel"\ndistance = "400 mm"\n'
    assert not any("shape not stated" in f.text for f in short(case(more=surface)).scene.findings)


def test_a_target_takes_its_reflectance_from_the_data_files():
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    complete = "[settings]\nsurfaces_complete = true\n"
    steel = text.replace('material = "steel"\n', 'material = "steel"\nfinish = "mirror"\nmaterial_key = "steel"\n')
    scene = drawn(parse_case(steel + complete)).scene
    (target,) = scene.targets
    assert target.reflectance == pytest.approx(0.67)  # 0.65 + 0.02 at 1070 nm
    assert "iron" in target.reflectance_source
    (typed,) = short(case(more=complete)).scene.targets
    assert (typed.reflectance, typed.reflectance_source) == (1.0, "strict bound")
    assert {z.surface for z in scene.zones if z.kind == "eye mirror"} == {"plate"}
    with pytest.raises(CaseError, match=r"scene\.target\[1\]\.material_key.*did you mean 'steel'"):
        parse_case(steel.replace('"steel"\nbehind', '"stell"\nbehind').replace('key = "steel"', 'key = "stell"'))
    with pytest.raises(CaseError, match="leave out the one"):
        parse_case(steel.replace('key = "steel"', 'key = "steel"\nreflectance = 0.5'))


def test_of_a_complete_list_without_a_mirror_the_brightest_surface_counts_as_one():
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    matt = text.replace('material = "steel"\n', 'material = "card"\nfinish = "matt"\nreflectance = 0.3\n')
    zones = zones_over(stages_of(parse_case(matt + "[settings]\nsurfaces_complete = true\n")))
    assert {z.surface for z in zones if z.kind == "eye mirror"} == {"plate"}
    open_list = zones_over(stages_of(parse_case(matt)))
    assert {z.surface for z in open_list if z.kind == "eye mirror"} == {"an object that is not on the list"}


def test_a_mirror_in_front_of_a_turning_head_counts_from_the_nearest_place_it_can_be():
    """A person beside a head that turns: the mirror of today may be on that side."""
    beside = case(
        aim='bearing_range = ["0 deg", "360 deg"]',
        rating="1 W/cm2",
        more='[[person]]\nname = "Near"\nrole = "operator"\ndistance = "1 m"\n'
        '[[scene.person]]\nname = "Near"\nposition = ["0 m", "1 m"]\neye_height = "1.2 m"\n',
    )
    (stage,) = stages_of(beside)
    (context,) = stage.contexts
    (mirror,) = stage.sources(context, "mirror", "eye")
    x, y, z = (np.array([v]) for v in (0.0, 1.0, 1.2))
    path, _, _ = along(mirror, x, y, z)
    assert float(path[0]) == pytest.approx(0.4 + 0.6)  # 0.4 m to the plate, and back to 1 m from the head
    assert mirror.path_to((0.0, 1.0, 1.2)) == pytest.approx(1.0)


def test_the_needed_height_counts_the_highest_place_that_a_turning_head_lights():
    low, high = (
        next(b for b in short(case(aim=aim)).scene.barriers if b.name == "Booth").needed_height
        for aim in ("", 'elevation_range = ["0 deg", "90 deg"]')
    )
    assert low == pytest.approx(max(1.2, 1.2 + 0.8 * 3.0 / 8.0))
    assert high == pytest.approx(1.6 + 0.4 * 3.0 / 8.0, abs=0.03)  # 0.4 m above the head
    assert high >= 1.6 + 0.4 * 3.0 / 8.0


def test_the_block_that_is_read_aloud_names_a_curved_mirror_that_reaches_farther():
    flat = drawn(parse_case(SHAPED.format(shape="flat")))
    assert "By way of" not in flat.decision.people
    for shape in ("concave", "unknown"):
        found = drawn(parse_case(SHAPED.format(shape=shape)))
        farthest = max(z.distance for z in found.scene.zones if z.kind == "eye mirror")
        assert found.decision.headline_distance == pytest.approx(farthest, rel=1e-3)  # of that distance, or of its line
        assert farthest > 2.0 * flat.decision.headline_distance
        assert re.search(r"By way of plate, .* light of Welder .* as far as [0-9.]+ k?m from", found.decision.people)


def test_no_line_of_a_flat_mirror_lies_beyond_the_distance_of_the_decision():
    # A head that moves by 1 m carries what an object at 400 mm sends on with it: the lines lie up to 2 m beyond the
    # beam of 291.2 m from the last optic, and page 1 said 291.2 m.
    found = drawn(case(rating="10 W/cm2", aim='elevation = "-90 deg"\nmoves = "1 m"'))
    lines = [line.distance for line in found.scene.lines]
    assert max(lines) > 1.001 * max(zone.distance for setup in found.setups for zone in setup.zones)
    assert found.decision.headline_distance >= max(lines)


def test_strike_out_needs_its_reason_and_holds_for_its_mode_only():
    more = '[[strike_out]]\nway = "every way"\nmode = "service"\nperson = "Row"\nreason = "Nobody is in."\n'
    cells = short(case(more=more)).scene.matrix
    assert {c.mode for c in cells if c.struck_out == "Nobody is in."} == {"service"}
    with pytest.raises(CaseError, match="of one mode only"):
        case(more='[[strike_out]]\nway = "every way"\nperson = "Row"\nreason = "a wall stands between"\n')


def test_the_map_of_a_case_lies_inside_its_zones():
    import shapely

    (stage,) = stages_of(case(rating="20 W/cm2", top="2 m", aim='bearing_range = ["170 deg", "190 deg"]'))
    x, y = np.linspace(-6, 6, 61), np.linspace(-12, 3, 76)
    found = scene_map((stage,), x, y)
    assert [name for name, _ in found.heights] == ["standing adult", "child"]
    shapes = [shapely.Polygon(p.outline, p.holes) for z in zones_over((stage,)) for p in z.polygons]
    area = shapely.union_all(shapes)
    grid_x, grid_y = np.meshgrid(x, y)
    for level in found.ratio:
        hot = level > 1.0
        assert hot.any()
        away = shapely.distance(area, shapely.points(grid_x[hot], grid_y[hot]))
        assert away.max() <= 0.1 * math.sqrt(2.0) + 0.06  # half a cell across, and what a rough bound of one adds


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('laser = "Welder"\nposition', 'laser = "Wolder"\nposition', "is not a laser of this case"),
        ('name = "Row"\nposition', 'name = "Rowe"\nposition', "is not a person of this case"),
        ('position = ["0 m", "-8 m"]', 'position = ["0 m"]', "a point has x and y"),
        ('position = ["0 m", "-8 m"]', 'position = ["0", "-8 m"]', "scene.person[1].position"),
        ('position = ["0 m", "-8 m"]', "", "write position"),
        ('line = [["-20 m", "-3 m"], ["20 m", "-3 m"]]', 'line = [["-20 m", "-3 m"]]', "at least 2 points"),
        ('top = "3 m"', 'top = "-1 m"', "is not above the lower edge"),
        ('stop = "Booth"', 'stop = "Boot"', "is not a barrier with a place in the scene"),
        ('bearing = "180 deg"', 'bearing = "180 deg"\ntowards = ["1 m", "1 m"]', "given twice"),
        ('bearing = "180 deg"', 'bearing_range = ["0 deg", "400 deg"]', "more than a full turn"),
        ('height = "1.2 m"', 'height = "1.2"', "scene.aim[1].height"),
        ('position = ["0 m", "-8 m"]', 'area = [["0 m", "0 m"], ["1 m", "1 m"], ["1 m", "0 m"], ["0 m", "1 m"]]',
         "crosses itself"),
        ('name = "Booth"\nline', 'name = "Wall"\nline', "is not a barrier of this case"),
    ],
)  # fmt: skip
def test_bad_scenes_name_their_line(old, new, message):
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    assert old in text
    with pytest.raises(CaseError) as caught:
        parse_case(text.replace(old, new))
    fault = next(f for f in caught.value.faults if message in f"{f.field}: {f.message}")
    assert fault.line is not None
    assert fault.line > HEAD.count("\n")
    assert "\n" not in fault.message


def test_an_outline_with_corners_on_one_line_does_not_cross_itself() -> None:
    """Corners on one line with others counted as a crossing, wherever they stood on it."""
    area = '[["0 m", "-5 m"], ["0 m", "-9 m"], ["1 m", "-8 m"], ["2 m", "-7 m"], ["4 m", "-5 m"]]'
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    scene = parse_case(text.replace('position = ["0 m", "-8 m"]', f"area = {area}", 1)).scene
    assert scene is not None
    assert scene.person[0].area is not None


def test_a_person_nearer_in_the_scene_than_stated_counts_as_nearer():
    near = short(parse_case(HEAD.format(rating="1 W/cm2") + SCENE.format(top="3 m", aim="").replace("-8 m", "-2 m")))
    assert any(s.person == "Row" and s.distance < 2.1 for s in near.scenarios)


def test_every_way_has_words_and_a_plain_way():
    from lasersafe.wording import load_wording

    assert set(BASE_WAY.values()) == {"direct", "mirror", "scatter"}
    assert load_wording() is not None
    result = template("demo")
    assert all(s.placed for s in result.scenarios if s.person in {p.name for p in result.scene.persons})


def with_rules(text, packs='["germany_shows"]'):
    return text.replace("[in_charge]", f"spectator_rules = {packs}\n[in_charge]", 1)


def test_rules_for_spectators_are_judged_row_by_row_and_the_stricter_decides():
    held = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    plain, ruled = drawn(parse_case(held)).scene, drawn(parse_case(with_rules(held)))
    rows = {rule.rule: rule for rule in ruled.scene.rules}
    assert plain.rules == ()
    assert len(rows) == 6
    assert rows["gap beside spectators"].outcome == "met"
    assert rows["object temperature"].outcome == "cannot be judged from this case"
    assert any("object temperature: cannot be judged" in reason for reason in ruled.decision.reasons)
    for before, after in zip(plain.lines, ruled.scene.lines, strict=True):
        if before.distance > 0.0:
            assert after.distance == pytest.approx(before.distance + 1.0, abs=0.11)
            assert "gap beside spectators" in after.line_kind
    low = short(parse_case(with_rules(held.replace("1 kW/cm2", "1 W/cm2"))))
    rows = {rule.rule: rule for rule in low.scene.rules}
    assert rows["gap beside spectators"].outcome == "not met"
    assert rows["height above standing places"].outcome == "not met"
    assert not low.decision.passed
    assert any("gap beside spectators: not met" in reason for reason in low.decision.reasons)


def test_a_rule_that_is_not_met_refuses_what_would_pass():
    text = template_text("nanosecond-marker").decode()
    near = text.replace('["2 m", "-2.5 m"], ["-2 m", "-2.5 m"]]', '["2 m", "-1.4 m"], ["-2 m", "-1.4 m"]]')
    assert near != text
    assert template("nanosecond-marker").decision.passed
    plain, ruled = short(parse_case(near)), short(parse_case(with_rules(near)))
    assert {r.rule: r.outcome for r in ruled.scene.rules}["gap beside spectators"] == "not met"
    assert plain.decision.passed
    assert not ruled.decision.passed


CAMERA_BEHIND_GLASS = (
    """
[settings]
surfaces_complete = true
[[laser]]
name = "Lamp"
wavelength = "532 nm"
[laser.emission]
kind = "continuous"
power = "100 W"
[[laser.setup]]
name = "Bare"
kind = "collimated"
beam_diameter = "40 mm"
divergence = "0.5 mrad"
criterion = "1/e"
[[person]]
name = "Operator"
role = "operator"
distance = "2 m"
[[barrier]]
name = "Wall"
distance = "3 m"
rating = "1 MW/cm2"
rated_time = "30000 s"
[scene]
"""
    + case_head.aim("Lamp", "1.5 m", "")
    + """[[scene.person]]
name = "Operator"
position = ["5 m", "-2 m"]
[[scene.barrier]]
name = "Wall"
line = [["-6 m", "3 m"], ["6 m", "3 m"]]
top = "3 m"
[[scene.barrier.opening]]
name = "pane"
kind = "window"
start = "5 m"
end = "7 m"
bottom = "1 m"
top = "2 m"
optical_density = 4
rating = "1 MW/cm2"
rated_time = "30000 s"
[[scene.camera]]
name = "Film"
position = ["0 m", "5 m"]
height = "1.5 m"
focal_length = "85 mm"
f_number = 2.8
pixel = "4 um"
"""
)


def test_a_camera_behind_a_shut_view_window_gets_what_its_density_lets_through():
    # 10^-4 of 100 W is below every limit behind the window; through 85 mm / 2.8 it is gathered on 4 um.
    found = short(parse_case(case_head.HEAD + CAMERA_BEHIND_GLASS))
    assert all(pane.holds for line in found.scene.barriers for pane in line.windows)
    (direct,) = [line for line in found.scene.camera_lines if line.way == "direct"]
    inside = 100.0 * -math.expm1(-((85e-3 / 2.8 / math.hypot(40e-3, 0.5e-3 * 5.0)) ** 2)) * 1e-4
    assert direct.exposure == pytest.approx(inside / (math.pi / 4.0 * 4e-6**2), rel=0.02)
    assert direct.ratio > 3.0
    assert "density 4 lets through" in direct.words


def test_bad_packs_are_named():
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    with pytest.raises(CaseError, match="did you mean 'germany_shows'"):
        parse_case(with_rules(text, '["germany_show"]'))
    with pytest.raises(CaseError, match=r"write \[scene\] as well"):
        parse_case(with_rules(HEAD.format(rating="1 kW/cm2")))


def test_cameras_are_advice_and_never_a_verdict():
    found = template("co2-cutter")
    lines = found.scene.camera_lines
    assert {line.way for line in lines} == {"direct", "mirror", "scatter"}
    # it stands outside the walls of a cutter that points straight down
    assert all((line.exposure, line.words.key) == (0.0, "camera.dark") for line in lines)
    text = template_text("co2-cutter").decode()
    wall = text.index('[[scene.barrier]]\nname = "Walls of the cutter"')
    bare = text[:wall] + text[text.index("[[scene.barrier]]", wall + 1) :]
    lit = [one for one in short(parse_case(bare)).scene.camera_lines if one.way != "direct"]
    assert all(one.exposure > 0.0 and one.advice for one in lit)
    assert all(one.ratio is None and "no published threshold is known" in one.words for one in lit)
    bare = assess(parse_case(text.partition("\n[[scene.camera]]")[0]))
    assert bare.scene.camera_lines == ()
    assert bare.decision == found.decision
    assert json.loads(json.dumps(as_json(found.scene)["camera_lines"]))[0]["camera"] == lines[0].camera


def test_a_zone_reaches_as_far_as_its_set_up_and_ignition_is_worked_out() -> None:
    """One distance on the first page, on the plan and in the steps; the peak at the ignition distance is 5000 W/m2."""
    found = assess(parse_case(template_text("visible-diode").decode()))
    assert found.scene is not None
    zones = {(z.laser, z.setup, z.kind): z for z in found.scene.zones}
    for setup in (one for one in found.setups if one.fitted):
        direct = zones.get((setup.laser, setup.setup, "eye direct"))
        assert direct is None or direct.distance == setup.zone("direct", "eye").distance
        hot = zones[setup.laser, setup.setup, "ignition"]
        step = hot.steps[0]
        assert step.value == hot.distance
        power, wide, high = map(float, re.findall(r"([\d.e+-]+) (?:W|m)\b", step.numbers)[:3])
        peak = 4.0 * power / (math.pi * wide * high)
        assert peak == pytest.approx(hot.limit, rel=1e-3), step.numbers
