"""Plans and elevations as a user meets them: files, scale, legend, escapes, refusals."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from pypdf import PdfReader

from lasersafe.ask.drawings import PAPERS, barrier_drawings, drawings_of
from lasersafe.ask.printed import spectator_lines
from lasersafe.assessment import assess
from lasersafe.assessment.scene_zones import SUMS
from lasersafe.data import templates_path
from lasersafe.drawing.maps import barrier_page, cells, decade, map_page, share_of_rating
from lasersafe.drawing.page import Paper, outermost, state_of
from lasersafe.drawing.plan import plan_page, room_of, stands, way_pages
from lasersafe.drawing.primitives import Area, Drawing, Lines, Words, clip_line, clip_ring, to_png, to_svg
from lasersafe.drawing.room import Floor, elevation_pages, joined, rings_in
from lasersafe.drawing.sketch import DARK, LIGHT, View, fit, longer
from lasersafe.drawing.text import width_of
from lasersafe.errors import InputError, OutputError
from lasersafe.models import parse_case, read_case
from lasersafe.records.scene import (
    BarrierLine,
    BarrierMap,
    BarrierWay,
    ElevationItem,
    HazardMap,
    MapPlace,
    Opening,
    Polygon,
    SceneResult,
    SpectatorLine,
)
from lasersafe.results import Assessment, Assumption, LaserFacts
from lasersafe.sheet import render_sheet
from lasersafe.sheet.drawings import drawings_pdf
from lasersafe.wording import Wording, load_wording
from tests.behaviour.command import run
from tests.behaviour.sample_assessment import assessment
from tests.behaviour.sample_scene import LASER, room, scattered, sector
from tests.behaviour.test_scene import HEAD, SCENE
from tests.crosscheck.scene_description import Laser, Person, Scene, Surface, case_text
from tests.drawing_faults import text_box

A4 = Paper("A4", 210.0, 297.0, 10.0)
CAUTION = "A computed aid for a qualified laser safety officer, who decides"
BEYOND = "beyond which the computed exposure is below"


def placed(scene: SceneResult) -> Assessment:
    return replace(assessment(), scene=scene, title="Open evening")


def pages_of(scene: SceneResult, paper: Paper = A4) -> list[Drawing]:
    found = placed(scene)
    return [plan_page(found, paper, load_wording()), *way_pages(found, paper, load_wording())]


def text_of(page: Drawing) -> str:
    return " ".join(mark.text for mark in page.marks if isinstance(mark, Words)).replace("\u00a0", " ")


@cache
def case(name: str) -> Path:
    return Path(templates_path("cases", f"{name}.toml"))


def without_scene(folder: Path) -> Path:
    lines, kept = case("nanosecond-marker").read_text(encoding="utf-8").splitlines(), []
    inside_scene = False
    for line in lines:
        if line.startswith("["):
            inside_scene = line.lstrip("[").startswith("scene")
        if not inside_scene:
            kept.append(line)
    path = folder / "plain.toml"
    path.write_text("\n".join(kept), encoding="utf-8")
    return path


# --- the command --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", ["svg", "png", "pdf"])
def test_command_writes_each_format(tmp_path: Path, suffix: str) -> None:
    target = tmp_path / f"plan.{suffix}"
    answer = run("plan", case("nanosecond-marker"), "-o", target)
    assert answer.code == 0, answer.err
    assert re.search(r"^plan: .*, 1:\d+ on A4$", answer.out, re.MULTILINE)
    assert CAUTION in answer.out
    start = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}[suffix]
    assert target.read_bytes().startswith(start)


def test_command_names_every_file_as_json(tmp_path: Path) -> None:
    answer = run("plan", case("co2-cutter"), "-o", tmp_path / "plan.svg", "--all", "--json", "--paper", "A3")
    kinds = [page["kind"] for page in answer.data["pages"]]
    assert kinds[0] == "plan"
    assert kinds[-1] == "map"
    assert set(kinds[1:-1]) == {"way"}
    for page in answer.data["pages"]:
        assert Path(page["file"]).is_file()
        assert page["paper"] == "A3"


def test_command_draws_elevations(tmp_path: Path) -> None:
    answer = run("plan", case("nanosecond-marker"), "--elevation", "-o", tmp_path / "side.svg")
    assert answer.code == 0, answer.err
    assert answer.out.startswith("elevation: ")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("-o", "plan.bmp"), "error: output = 'plan.bmp': the name must end in .svg, .png or .pdf\n"),
        (
            ("-o", "plan.svg", "--paper", "B5"),
            "error: paper = 'B5': allowed are A4, A3, A2, A1, Letter, Tabloid\n",
        ),
    ],
)
def test_refusals(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], message: str) -> None:
    monkeypatch.chdir(tmp_path)
    answer = run("plan", case("nanosecond-marker"), *words)
    assert (answer.code, answer.err, list(tmp_path.iterdir())) == (2, message, [])


@pytest.mark.parametrize("more", [(), ("--elevation",)])
def test_a_case_without_a_scene(tmp_path: Path, more: tuple[str, ...]) -> None:
    answer = run("plan", without_scene(tmp_path), "-o", tmp_path / "plan.svg", *more)
    assert answer.code == 2
    assert answer.err.startswith("error: scene: missing, so that nothing can be drawn; write a table [scene]")
    assert answer.err.count("\n") == 1
    assert not (tmp_path / "plan.svg").exists()


def test_equal_input_gives_equal_bytes() -> None:
    whole = replace(assessment(), scene=room())
    for _ in range(2):
        drawings = [drawings_of(whole, "A4") for _ in range(2)]
        assert to_svg(drawings[0][0]) == to_svg(drawings[1][0])
        assert to_png(drawings[0][0], 60) == to_png(drawings[1][0], 60)
        assert drawings_pdf(drawings[0], {"scene": whole.scene}, "plan", load_wording()) == drawings_pdf(
            drawings[1], {"scene": whole.scene}, "plan", load_wording()
        )


def test_no_fitted_laser_has_no_elevation() -> None:
    whole = replace(assessment(), scene=replace(room(), elevations=()))
    with pytest.raises(InputError, match="no laser is fitted"):
        drawings_of(whole, "A4", elevation=True)


# --- scale --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("extent", "space", "scale"),
    [((12.0, 8.0), (120.0, 80.0), 100), ((12.001, 8.0), (120.0, 80.0), 200), ((0.1, 0.1), (200.0, 200.0), 1),
     ((2.4, 1.0), (120.0, 80.0), 20), ((3.0, 1.0), (120.0, 80.0), 25), ((1e5, 1.0), (100.0, 100.0), 1_000_000)],
)  # fmt: skip
def test_round_scales(extent: tuple[float, float], space: tuple[float, float], scale: int) -> None:
    assert fit((0.0, 0.0, *extent), (0.0, -4.0, *space)).scale == scale  # the scale bar stands below


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_scale_is_true_in_print(paper: str) -> None:
    """The room is 12 m wide: its outline and the scale bar have the stated size in millimetres of the SVG page."""
    whole = replace(assessment(), scene=room())
    page = drawings_of(whole, paper)[0]
    root = ElementTree.fromstring(to_svg(page))
    assert root.get("width") == f"{page.width:g}mm"
    assert root.get("viewBox") == f"0 0 {page.width:g} {page.height:g}"
    assert f"Scale 1:{page.scale} when printed on {paper}" in text_of(page)
    wanted = 12_000.0 / page.scale
    widths = []
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        if path.get("stroke-width") == "0.35":
            xs = [float(x) for x in re.findall(r"[ML](\S+) ", path.get("d") or "")]
            widths.append(max(xs) - min(xs))
    assert any(math.isclose(width, wanted, abs_tol=0.01) for width in widths)


def test_scale_bar_has_the_length_that_it_names() -> None:
    view = View((0.0, 0.0, 190.0, 150.0), (0.0, 0.0), 50)
    floor = Floor(room(), view, load_wording())
    floor.place_bar()
    marks = floor.bar
    texts = [mark for mark in marks if isinstance(mark, Words)]
    assert [mark.text for mark in texts] == ["0", "2 m"]
    black = [mark.rings[0] for mark in marks if isinstance(mark, Area) and mark.fill == "#000000"]
    assert math.isclose(black[0][1][0] - black[0][0][0], 500.0 / 50)  # a quarter of 2 m


def test_no_line_is_left_between_the_parts_of_a_zone() -> None:
    """Cells that did not meet by 1e-17 m left black lines across the scatter of the demo's marker."""
    low, high = (Polygon(((0.0, y), (1.0, y), (1.0, y + 1.0), (0.0, y + 1.0))) for y in (0.0, 1.0 + 1e-15))
    area = joined([low, high])
    assert area.geom_type == "Polygon"
    assert area.area == pytest.approx(2.0, abs=1e-4)
    assert all(area.covers(joined([part])) for part in (low, high))


def test_the_scale_bar_hides_nothing() -> None:
    """It stood in the drawing, and hid a person in a detail, walls and parts of zones in most drawings of the demo."""
    view = fit((-1.0, -1.0, 1.0, 1.0), (0.0, 0.0, 190.0, 150.0))
    floor = Floor(room(), view, load_wording())
    floor.place_bar()
    words = [mark for mark in floor.bar if isinstance(mark, Words)]
    assert [mark.text for mark in words] == ["0", "1 m"]
    assert all(0.0 <= text_box(mark)[1] and text_box(mark)[3] <= view.frame[1] for mark in words)
    rings = [ring for mark in floor.bar if isinstance(mark, Area) for ring in mark.rings]
    assert max(y for ring in rings for _, y in ring) < view.frame[1]


def test_pdf_page_is_the_paper() -> None:
    whole = replace(assessment(), scene=room())
    reader = PdfReader(
        io.BytesIO(drawings_pdf(drawings_of(whole, "A4"), {"scene": whole.scene}, "plan", load_wording()))
    )
    assert sorted(map(float, reader.pages[0].mediabox[2:])) == pytest.approx([595.2756, 841.8898], abs=1e-3)
    assert "Steel screen" in reader.pages[0].extract_text()


# --- content ------------------------------------------------------------------------------------------------


def test_every_drawing_carries_caution_wording_and_limit() -> None:
    scene = room()
    pages = pages_of(scene)
    pages += elevation_pages(scene, A4, "Open evening", load_wording())
    chart = map_page(scene, A4, "Open evening", load_wording())
    assert chart is not None
    for page in [*pages, chart]:
        text = text_of(page)
        assert CAUTION in text, page.kind
        assert BEYOND in text, page.kind
        assert "DRAFT" in text, page.kind
        assert ("5000 W/m²" if "set on fire" in page.title else "50.6 W/m² for 10 s") in text, page.title


def test_no_page_promises_safety() -> None:
    for page in pages_of(room()):
        assert not re.search("eye-safe|safe distance", text_of(page), re.IGNORECASE)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_reach_without_a_number_is_drawn_to_the_frame(value: float) -> None:
    scene = room(9.0)
    scene = replace(
        scene,
        aims=tuple(replace(aim, reach=value) for aim in scene.aims),
        elevations=tuple(replace(one, reach=value) for one in scene.elevations),
    )
    pages = [*pages_of(scene), *elevation_pages(scene, A4, "Open evening", load_wording())]
    for page in pages:
        assert "nan" not in to_svg(page)
        for mark in page.marks:
            if isinstance(mark, Lines):
                assert all(0.0 <= x <= page.width and 0.0 <= y <= page.height for run in mark.runs for x, y in run)


def test_an_area_without_corners_is_not_drawn() -> None:
    scene = room()
    empty = replace(scene.beyond[0], polygons=(Polygon(((1.0, 1.0), (2.0, 2.0))),))
    flat = replace(scene.zones[0], polygons=(Polygon(()),))
    assert pages_of(replace(scene, zones=(flat, *scene.zones), beyond=(empty,)))


def test_user_text_is_escaped() -> None:
    scene = room()
    page = pages_of(scene)[0]
    svg = to_svg(page)
    assert "<& guests>" not in svg
    texts = [node.text for node in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]
    assert any("Visitors <& guests>" in (text or "") for text in texts)
    bad = replace(placed(scene), title="</title><script>alert(1)</script>")
    assert "<script" not in to_svg(plan_page(bad, A4, load_wording()))


def test_svg_text_has_the_width_that_the_labels_count_on() -> None:
    for node in ElementTree.fromstring(to_svg(pages_of(room())[0])).iter("{http://www.w3.org/2000/svg}text"):
        size, bold = float(node.get("font-size") or 0), node.get("font-weight") == "bold"
        assert float(node.get("textLength") or 0) == pytest.approx(width_of(node.text or "", size, bold), abs=1e-3)


def test_png_refuses_what_the_typeface_lacks() -> None:
    person = replace(room().persons[0], name="見学者")
    page = pages_of(replace(room(), persons=(person,)))[0]
    with pytest.raises(OutputError, match=r"plan: the character 見 \(U\+898B\)"):
        to_png(page, 40)
    assert "見学者" in to_svg(page)


def test_png_prints_to_scale() -> None:
    from PIL import Image

    image = Image.open(io.BytesIO(to_png(pages_of(room())[0], 100)))
    assert image.size == (827, 1169)
    assert image.info["dpi"] == pytest.approx((100, 100), abs=0.1)


# --- barriers, lines, map -----------------------------------------------------------------------------------


def _barrier(*holds: tuple[str, str, bool]) -> BarrierLine:
    ways = tuple(
        BarrierWay("direct", laser, setup, 1.0, held, "", fitted=setup != "collimated") for laser, setup, held in holds
    )
    return BarrierLine("Screen", "barrier", ((0.0, 0.0), (1.0, 0.0)), 0.0, 2.0, True, ways)


@pytest.mark.parametrize(
    ("ways", "state"),
    [
        ((), ("plain", "")),
        (((LASER, "long-focus lens", True),), ("holds", "")),
        (((LASER, "long-focus lens", False),), ("fails", "direct")),
        (((LASER, "long-focus lens", True), (LASER, "collimated", False)), ("today", "collimated")),
        (((LASER, "long-focus lens", True), ("Marker", "lens", False)), ("part", "Marker")),
        (((LASER, "long-focus lens", False), ("Marker", "lens", False)), ("fails", f"{LASER}; Marker")),
    ],
)
def test_barriers_that_hold_and_those_that_do_not(
    ways: tuple[tuple[str, str, bool], ...], state: tuple[str, str]
) -> None:
    assert state_of(_barrier(*ways)) == state


def test_three_tones_survive_a_grey_printer() -> None:
    """Luminance of an ink from 0 (black) to 1: three tones that differ by a quarter each from the next or so."""
    levels = [int(ink[1:3], 16) / 255 for ink in (DARK, LIGHT, "#ffffff")]
    assert all(second - first >= 0.14 for first, second in pairwise(levels))
    assert all(ink[1:3] == ink[3:5] == ink[5:7] for ink in (DARK, LIGHT))
    fills = {mark.fill for mark in pages_of(room())[0].marks if isinstance(mark, Area)}
    assert {DARK, "#ffffff"} <= fills


def test_eyewear_that_cannot_be_relied_on_opens_no_zone() -> None:
    found = placed(room())  # no eyewear is named in it: nobody stands in any zone
    area = {key: joined(parts) for key, parts in stands(found).items()}
    assert area["eyewear"].is_empty
    assert area["nobody"].buffer(1e-6).contains(joined(found.scene.zones[3].polygons))
    need = replace(found.eyewear[1], laser=LASER)
    facts = LaserFacts(
        LASER, "4", "", 1.07e-6, True, "continuous", (1.0, 1.0), None, None, None, (), ("invisible",), need
    )
    named = replace(found, record=replace(found.record, lasers=(facts,)))
    area = {key: joined(parts) for key, parts in stands(named).items()}
    eye, skin = (joined(zone.polygons) for zone in found.scene.zones[:2])
    assert area["eyewear"].buffer(1e-6).contains(eye)
    assert area["nobody"].buffer(1e-6).contains(skin)
    doubtful = replace(facts, eyewear=replace(need, reliable=False))
    assert not stands(replace(found, record=replace(found.record, lasers=(doubtful,))))["eyewear"]


def test_a_plan_names_twelve_at_most_and_lists_the_rest_by_number() -> None:
    full = room()
    crowd = tuple(replace(full.persons[0], name=f"Person {n}", position=(0.5 + 0.6 * n, 7.5)) for n in range(18))
    page = plan_page(placed(replace(full, persons=crowd)), A4, load_wording())
    names = {mark.text for mark in page.marks if isinstance(mark, Words) and mark.framed and mark.size > 2.6}
    assert len(names) <= 12 + 3  # with the letters of details
    text = text_of(page)
    assert all(person.name in text for person in crowd)
    assert all(mark.size >= 2.47 for mark in page.marks if isinstance(mark, Words)), "7 pt are 2.47 mm"


def test_what_is_assumed_has_a_mark_at_its_name_and_an_explanation_below() -> None:
    """The rail faces anywhere; of the sheet metal everything is stated, until it is a mirror of unknown shape."""
    full = room()
    guessed = Assumption("divergence", LASER, "1 mrad", "5 mrad", 90.0, 20.0)
    rail, metal = full.surfaces
    scene = replace(full, surfaces=(rail, replace(metal, mirror=True, shape="unknown")))
    found = replace(placed(scene), record=replace(assessment().record, assumptions=(guessed,)))
    wide = Paper("A3", 420.0, 297.0, 10.0)  # with each sentence in a line
    stated, assumed = (text_of(plan_page(one, wide, load_wording())) for one in (placed(full), found))
    assert "* Drawn at its strictest, since it is assumed and not stated: which way Chrome rail faces." in stated
    assert [f"{name} *" in stated for name in (LASER, rail.name, metal.name)] == [False, True, False]
    assert all(f"{name} *" in assumed for name in (LASER, rail.name, metal.name))
    for said in (f"divergence of {LASER}: 1 mrad", "which way Chrome rail faces", "the shape of Sheet metal"):
        assert said in assumed, said


def test_who_stands_far_away_is_told_in_the_margin_and_not_in_the_scale() -> None:
    full = room()
    near = replace(full, persons=full.persons[:3])
    text = text_of(pages_of(full)[0])
    assert "Outside the drawing: Passer-by in the lane, eyes" not in text
    assert "Passer-by in the lane: 138 m from Hand-held welder" in text  # 140 m - 2 m, rounded down
    assert "Hand-held welder, eye, direct: goes on to 311 m from the last optic" in text
    assert pages_of(near)[0].scale == pages_of(full)[0].scale


def test_the_margin_says_from_where_a_zone_goes_on() -> None:
    """Scatter of 635 mm from the lit spot on page 1 was 816 mm in the margin, which did not say from where."""
    full = room()
    zone = replace(next(one for one in full.zones if one.kind == "eye direct"), kind="scatter eye", distance=20.0)
    said = {}
    for origin in ("last optic", "lit surface"):
        scene = replace(full, zones=(replace(zone, measured_from=origin),))  # of each laser the farthest is named
        said[origin] = [text_of(plan_page(placed(scene), Paper("A3", 420.0, 297.0, 10.0), load_wording(one)))
                        for one in ("en", "de")]  # fmt: skip
    assert "eye, scatter: goes on to 20.0 m from the last optic" in said["last optic"][0]
    assert "eye, scatter: goes on to 20.0 m from the lit surface" in said["lit surface"][0]
    assert "reicht bis 20.0 m ab der beleuchteten Oberfläche" in said["lit surface"][1]


def test_people_in_a_room_are_shown_where_the_zones_go_on_past_it() -> None:
    """A machine of 1 m filled the plan, all in one tone, and the people 3 m away were a note at its margin."""
    text = HEAD.format(rating="1 W/cm2") + SCENE.format(top="3 m", aim="")
    text = text.replace('"-20 m", "-3 m"], ["20 m", "-3 m"', '"-0.5 m", "-0.5 m"], ["0.5 m", "-0.5 m"')
    shown = room_of(assess(parse_case(text.replace('["0 m", "-8 m"]', '["0 m", "-3 m"]'))).scene)
    assert shown[1] <= -3.0
    assert longer(shown) <= 10.0 + 1.0


def test_a_sum_goes_on_as_far_as_page_1_says() -> None:
    """Its squares of the floor ended at 3.18 km beside 3.14 km on page 1: they are larger than what is proven."""
    full = room()
    farther = [replace(zone, kind="eye together", distance=317.6) for zone in full.zones if zone.kind == "eye direct"]
    found = placed(replace(full, zones=(*full.zones, *farther)))
    text = text_of(plan_page(found, Paper("A3", 420.0, 297.0, 10.0), load_wording()))
    assert found.decision.headline_distance == 108.43
    assert "Hand-held welder, eye, lasers together: goes on, along the beams to 109 m" in text
    assert "318 m" not in text


def test_a_detail_shows_what_lies_within_five_millimetres() -> None:
    full = room()
    (first, *others) = full.persons
    close = replace(full, persons=(first, replace(first, name="Second", position=(1.62, 3.72)), *others))
    apart, detailed = (plan_page(placed(one), A4, load_wording()) for one in (room(), close))
    bars = [sum(isinstance(m, Words) and m.text == "0" for m in page.marks) for page in (apart, detailed)]
    assert bars[1] >= 2


def test_one_drawing_for_each_way_and_none_that_is_empty() -> None:
    titles = [page.title for page in pages_of(room())[1:]]
    assert titles == [
        f"{LASER}: direct beam",
        f"{LASER}: mirror reflections",
        f"{LASER}: scattered light",
        f"{LASER}: what it can set on fire",
        f"{LASER}: behind the target Mild steel plate",
    ]
    bare = replace(room(), zones=room().zones[:2], beyond=())
    assert [page.title for page in pages_of(bare)[1:]] == titles[:1]


def test_an_area_without_numbers_is_everywhere() -> None:
    odd = joined([Polygon(((0.0, 0.0), (math.nan, 1.0), (1.0, 0.0)))])
    ((x0, y0), *_) = ring = rings_in(odd, (0.0, 0.0, 4.0, 3.0))[0]
    assert sorted(ring) == [(0.0, 0.0), (0.0, 3.0), (4.0, 0.0), (4.0, 3.0)], (x0, y0)


def test_barriers_are_drawn_by_what_they_hold() -> None:
    text = text_of(pages_of(room())[0])
    assert "Steel screen" in text
    assert "barrier that does not hold" in text
    layers = Floor(room(), fit((0.0, 0.0, 12.0, 8.0), (0.0, 0.0, 240.0, 160.0)), load_wording())
    layers.barriers()
    thick = [mark for mark in layers.marks if isinstance(mark, Lines) and mark.thick == 1.5 and not mark.dashes]
    assert len(thick) == 1  # the steel screen alone is a full bar


def test_spectator_line_is_named_with_its_distance() -> None:
    text = text_of(pages_of(room())[0])
    assert "left 3.20 m" in text
    assert "left: no nearer than 3.20 m" in text


def test_a_steep_aim_has_a_ring_and_no_bearing() -> None:
    full = room()
    aim = replace(full.aims[0], elevation=-math.pi / 2, elevation_range=(-math.pi / 2, -math.pi / 2), margin=0.03)
    layers = Floor(replace(full, aims=(aim,)), fit(room_of(full), (0.0, 0.0, 190.0, 150.0)), load_wording())
    layers.aims()
    x, y = layers.view.point(aim.position)
    runs = [run for mark in layers.marks if isinstance(mark, Lines) for run in mark.runs]
    assert max(math.dist((x, y), point) for run in runs for point in run) < 10.0  # no ray, no arrow


def test_outermost_line_of_each_side() -> None:
    near = SpectatorLine("right", ((3.0, 0.0), (3.0, 9.0)), 3.0, "last optic", "eye", math.pi / 2, laser="A")
    far = replace(near, line=((5.0, 0.0), (5.0, 9.0)), laser="B", distance=2.0)
    none = replace(near, distance=0.0, side="left")
    assert outermost([near, far, none]) == [far]


@pytest.mark.parametrize(
    ("ratio", "found"),
    [(0.0, 0), (1.0, 0), (1.0000001, 1), (10.0, 1), (10.1, 2), (1000.0, 3), (1000.1, 4), (math.inf, 4), (math.nan, 4)],
)
def test_decades_of_the_map(ratio: float, found: int) -> None:
    assert decade(ratio) == found


def test_merged_cells_of_the_map_keep_the_highest() -> None:
    ratio = np.zeros((2, 300, 400))
    ratio[1, 123, 321] = 50.0
    ratio[0, 7, 8] = math.nan
    xs, ys, classes = cells(HazardMap(np.arange(400.0), np.arange(300.0), (("child", 1.0), ("adult", 1.7)), ratio))
    assert [sum(row.count(k) for row in classes) for k in (1, 2, 3, 4)] == [0, 1, 0, 1]
    row = next(n for n, line in enumerate(classes) if 2 in line)
    column = classes[row].index(2)
    assert xs[column] <= 321 <= xs[column + 1]
    assert ys[row] <= 123 <= ys[row + 1]
    assert (xs[0], xs[-1], ys[-1]) == (-0.5, 399.5, 299.5)


def test_the_plan_is_in_the_language_of_the_case(tmp_path: Path) -> None:
    text = case("visible-diode").read_text(encoding="utf-8")
    path = tmp_path / "german.toml"
    path.write_text(text.replace("[in_charge]", 'language = "de"\n\n[in_charge]', 1), encoding="utf-8")
    assert run("plan", path, "-o", tmp_path / "plan.svg").code == 0
    plan = (tmp_path / "plan.svg").read_text(encoding="utf-8").replace("\u00a0", " ")
    for words in ("Grundriss:", "vorn: nicht näher als", "Maßstab 1:"):
        assert words in plan
    assert not re.search(r">[^<]*\b(spectators|last optic|front|scatter|drawing)\b[^<]*<", plan)


def test_what_the_map_does_not_cover_is_grey_and_in_the_legend() -> None:
    page = map_page(room(), A4, "Open evening", load_wording())
    assert page is not None
    assert "not worked out here" in text_of(page)
    crosses = [mark for mark in page.marks if isinstance(mark, Lines) and len(mark.runs) == 2 and mark.thick == 0.2]
    assert len(crosses) > 1, (
        "the grey of 10 to 100 times is much the same, so that the field has a cross, as its sample"
    )
    _, y0, _, y1 = page.frame
    grey = [ring for mark in page.marks if isinstance(mark, Area) and mark.fill == "#d6d6d6" for ring in mark.rings]
    area = shapely.union_all([polygon for ring in grey if (polygon := shapely.Polygon(ring)).bounds[3] > y0 + 4.0])
    x0, _, x1, _ = area.bounds
    assert all(area.contains(shapely.Point(x0 + 1.0, y)) for y in (y0 + 5.0, y1 - 1.0))
    assert not area.contains(shapely.Point((x0 + x1) / 2, (y0 + y1) / 2))


@pytest.mark.parametrize(
    ("ratio", "found"), [(0.0, 0), (0.01, 0), (0.011, 1), (0.1, 1), (0.11, 2), (1.0, 2), (1.001, 4), (math.nan, 4)]
)
def test_shares_of_a_rating_fail_closed(ratio: float, found: int) -> None:
    assert share_of_rating(ratio) == found


def test_map_is_left_out_when_there_is_none() -> None:
    assert map_page(replace(room(), map=None), A4, "Open evening", load_wording()) is None


# --- sheet --------------------------------------------------------------------------------------------------


def test_sheet_shows_the_plan_after_the_decision() -> None:
    plain = PdfReader(io.BytesIO(render_sheet(assessment())))
    whole, annex = (
        PdfReader(io.BytesIO(render_sheet(replace(assessment(), scene=room()), kind=kind)))
        for kind in ("sheet", "annex")
    )
    texts = [page.extract_text() for page in annex.pages]
    assert any("Elevation along the aim" in text for text in texts)
    assert any("Exposure map" in text for text in texts)
    assert not any("who may stand where" in page.extract_text() for page in plain.pages)
    titles = [entry.title for entry in whole.outline if not isinstance(entry, list)]
    assert titles[:3] == ["Decision", "Sign-off", "Plan: who may stand where"]


# --- geometry -----------------------------------------------------------------------------------------------


def test_clipping() -> None:
    square = (0.0, 0.0, 10.0, 10.0)
    assert clip_line((-5.0, 5.0), (15.0, 5.0), square) == ((0.0, 5.0), (10.0, 5.0))
    assert clip_line((-5.0, -5.0), (-1.0, 20.0), square) is None
    ring = clip_ring(((5.0, 5.0), (25.0, 5.0), (25.0, 8.0), (5.0, 8.0)), square)
    assert max(x for x, _ in ring) == 10.0


def test_the_drawings_use_every_text(monkeypatch: pytest.MonkeyPatch) -> None:
    used: set[str] = set()
    plain = Wording.text

    def recorded(self: Wording, key: str, /, **values: object) -> str:
        used.add(key)
        return plain(self, key, **values)

    monkeypatch.setattr(Wording, "text", recorded)
    full = room()
    first = full.zones[0]
    barrier = full.barriers[0]
    part = replace(barrier, ways=(*barrier.ways, BarrierWay("direct", "Marker", "lens", 1.0, False, "")))
    other = BarrierWay("direct", LASER, "collimated", 1.0, False, "", fitted=False)
    later = replace(barrier, ways=(*barrier.ways, other))
    gap = Opening("gap", "gap", (8.2, 2.0), (8.4, 3.0), 0.0, 2.0, False)
    tilted = replace(first, kind="skin mirror", polygons=(Polygon(sector(2.0, 4.0, 0.0, 1.0, 0.3)),))
    rule = replace(full.lines[0], side="front", line_kind="barrier 3 m away", laser="Marker")
    away = replace(full.lines[0], side="left", line=((-90.0, 0.0), (-90.0, 9.0)), distance=92.0, bearing=-math.pi / 2)
    beyond = full.beyond[0]
    inside_room = Polygon(((3.0, 3.0), (5.0, 3.0), (5.0, 5.0)))
    stops = replace(beyond, ends_at="Steel screen", can_ignite=False, polygons=(inside_room,))
    short = replace(first, kind="scatter eye", distance=9.0, polygons=(Polygon(sector(6.0, 4.0, 0.0, 6.0, 2.0)),))
    ring = ((-900.0, -900.0), (900.0, -900.0), (900.0, 900.0), (-900.0, 900.0))
    assert full.map is not None
    ratio = full.map.ratio.copy()
    ratio[0, 0, 0] = math.nan
    unknown = replace(
        full.map, ratio=ratio, persons=(MapPlace("Near", (3.0, 4.0), 3.0), MapPlace("Far", (9.0, 7.0), 0.5))
    )
    section = full.elevations[0]
    held = replace(section, ends_at="Steel screen", setup="unknown", items=section.items[:1])
    near = replace(section, reach=3.0, items=())
    part_item = ElevationItem("Part", "barrier", 1.0, 0.0, 0.0, 2.0, None, False)
    later_item = ElevationItem("Later", "barrier", 1.0, 0.0, 0.0, 2.0, None, False)
    bare_item = ElevationItem("Bare", "wall", 1.0, 0.0, 0.0, 2.0, None, None)
    work_item = ElevationItem("work", "target", 1.0, 0.0, 0.9, 1.0)
    scenes = [
        full,
        replace(
            full, zones=(*full.zones, tilted, short), barriers=(replace(part, openings=(gap,)), later), beyond=(stops,)
        ),
        replace(
            full, lines=(*full.lines, rule, away), beyond=(replace(stops, can_ignite=None),), elevations=(held, near)
        ),
        replace(
            full,
            zones=tuple(replace(first, kind=kind, polygons=(Polygon(ring),)) for kind in (first.kind, *SUMS)),
            map=unknown,
        ),
        replace(
            full,
            barriers=(replace(part, name="Part"), replace(later, name="Later")),
            elevations=(replace(section, items=(part_item, later_item, bare_item, work_item)),),
        ),
        scattered(7),
        replace(full, surfaces=tuple(replace(one, mirror=True, shape="unknown") for one in full.surfaces)),
    ]
    guessed = Assumption("divergence", LASER, "1 mrad", "5 mrad", 90.0, 20.0)
    record = replace(assessment().record, assumptions=(guessed,))
    for scene in scenes:
        whole = replace(assessment(), scene=scene, record=record)
        if scene.elevations:
            drawings_of(whole, "A4", elevation=True)
        drawings_of(whole, "A4")
    crowd = replace(full, persons=tuple(replace(full.persons[0], name=f"Person {n} " * 5) for n in range(90)))
    pages_of(crowd, Paper("A6", 105.0, 148.0))
    for missing in (None, replace(full, elevations=())):
        with pytest.raises(InputError):
            drawings_of(replace(assessment(), scene=missing), "A4", elevation=True)
    pages_of(replace(full, zones=tuple(replace(one, kind="eye together") for one in full.zones)))
    for kind in ("sheet", "annex"):
        render_sheet(replace(assessment(), scene=full), kind=kind)
    strip = {"direct": np.array([[1e7, math.inf, 0.0]]), "scatter": np.array([[99.0, 900.0, 3000.0]])}
    for rating in (1e4, None):
        on_it = BarrierMap("Part", (0.0, 1.0, 2.0, 3.0), (0.0, 2.0), strip, rating)
        barrier_page(on_it, replace(part, ways=()), Paper("A4", 297.0, 210.0, 10.0), "", load_wording())
    with pytest.raises(InputError, match="no barrier"):
        barrier_drawings(
            read_case(templates_path("cases", "demo.toml")),
            replace(assessment(), scene=replace(full, barriers=())),
            "A4",
        )
    asked = {key for key in load_wording().texts if key.startswith("plan.")}
    assert asked - used == set()


def test_what_refuses_the_verdict_and_no_zone_holds_is_named_beside_the_distances(tmp_path: Path) -> None:
    # a beam 2 m wide between two mirrors that face each other: on each way below the limit, above it on all together
    head = Laser(50.0 * 0.3 * math.pi, 5e-3, 0.1, (0.0, 0.0, 1.6), 0.0)
    mirrors = tuple(Surface(f"{x}", (x, 10.0, 1.6), 90.0, width=14.0) for x in (-0.15, 0.15))
    texts = [case_text(Scene((head,), (Person("P", ((0.0, 20.0),)),), some)) for some in (mirrors, ())]
    texts = [text.replace("class_label", "fibre = false\nclass_label") for text in texts]
    for number, text in enumerate(texts):
        found, wording = assess(parse_case(text)), load_wording()
        assert found.scene is not None
        told = wording.text("scene.left_out", what="several ways of one laser that meet at one place (P)")
        (path := tmp_path / f"{number}.toml").write_text(text, encoding="utf-8")
        data, lines = spectator_lines(path)
        chart = map_page(found.scene, A4, "T", wording)
        assert chart is not None
        sheet = "".join(page.extract_text() for page in PdfReader(io.BytesIO(render_sheet(found))).pages)
        drawn = map(text_of, (chart, drawings_of(found, "A4")[0]))
        places = [found.decision.people, data["left_out"], " ".join(lines), *drawn, sheet]
        assert ["".join(told.split()) in "".join(one.split()) for one in places] == [number == 0] * len(places)


def test_the_sum_of_lasers_is_not_said_to_be_in_no_zone() -> None:
    # two beams side by side, each 0.56 of the limit at P: the zone of both lasers together and the map hold the place
    heads = [Laser(21.0, 5e-3, 0.2, (x, 0.0, 1.6), 0.0, name=name) for name, x in (("A", -0.1), ("B", 0.1))]
    text = case_text(Scene(tuple(heads), (Person("P", ((0.0, 4.9),)),))).replace(
        "class_label", "fibre = false\nclass_label"
    )
    found = assess(parse_case(text)).scene
    assert found is not None
    assert found.map is not None
    assert found.map.persons[0].ratio > 1.0
    assert any(one.refuses and one.subject == "P" for one in found.findings)
    assert found.left_out == ""


LENS = 'kind = "lens"\nbeam_diameter = "10 mm"\nfocal_length = "150 mm"\ncriterion = "1/e"\n'
KEPT = '[[strike_out]]\nway = "{}"\nperson = "P"\nreason = "a switch in the lens holder"\n'


@pytest.mark.parametrize(
    ("language", "struck"),
    [("en", ()), ("de", ()), ("en", ("optic lost",)), ("en", ("optic lost", "fibre broken"))],
)
def test_a_fault_that_reaches_beyond_the_lines_is_named_beside_the_distances(
    tmp_path: Path, language: str, struck: tuple[str, ...]
) -> None:
    # 100 W, 10 mm, by a lens of 150 mm: 1070 nm spread by 2 lambda / (pi 10 mm) = 68.1 urad without it. Over 7 mm 50
    # W/m2 are left of 1.596 m: 23.4 km. Of a fibre of 0.20 at 5 % they are at 1.596 m sqrt(ln 20) / (2 tan(asin 0.2)).
    text = case_text(Scene((Laser(100.0, 10e-3, 1e-3, (0.0, 0.0, 1.6), 0.0, name="L"),), (Person("P", ((0.0, 9.0),)),)))
    start, end = text.index('kind = "collimated"'), text.index("[[person]]")
    text = f'language = "{language}"\n{text[:start]}{LENS}{text[end:]}' + "".join(KEPT.format(way) for way in struck)
    found, wording = assess(parse_case(text)), load_wording(language)
    assert found.scene is not None
    wide = math.sqrt(4.0 * 100.0 / (math.pi * 50.0))
    reach = {"optic lost": wide / (2.0 * 1070e-9 / (math.pi * 10e-3))}
    reach["fibre broken"] = wide * math.sqrt(math.log(20.0)) / (2.0 * math.tan(math.asin(0.2)))
    (path := tmp_path / "case.toml").write_text(text, encoding="utf-8")
    told = spectator_lines(path)[0]["left_out"]
    sheet = "".join(page.extract_text() for page in PdfReader(io.BytesIO(render_sheet(found))).pages)
    named = [one.text for one in found.scene.findings if one.kind == "fault"]
    assert len(named) == len(reach) - len(struck)
    words = "".join(wording.text("left_out.fault", lasers="L (@").partition("@")[0].split())
    farthest = max((far for way, far in reach.items() if way not in struck), default=None)
    for where in (told, found.decision.people, sheet):
        number = re.search(f"{re.escape(words)}([0-9.,]+)(k?)m", "".join(where.split()))
        assert (number is None) is (farthest is None)
        if number is not None:
            ours = float(number[1].replace(",", ".")) * (1e3 if number[2] else 1.0)
            assert farthest <= ours <= 1.01 * farthest
