"""Steps of who has a place can be recomputed by hand: the sum that is printed, its lengths, its ratio."""

import math
import re

import pytest

from lasersafe.assessment import assess
from lasersafe.drawing.primitives import Words
from lasersafe.drawing.text import quantity, spoken, unit_text
from lasersafe.models import parse_case, read_case
from lasersafe.records import Step
from lasersafe.results import Scenario
from lasersafe.sheet import PAPERS, shown
from lasersafe.sheet.back import steps
from lasersafe.sheet.flow import Sheet
from lasersafe.wording import load_wording, localise
from tests.crosscheck.scene_description import Barrier, Laser, Person, Scene, case_text
from tests.printed_arithmetic import length, sum_of, worked_out
from tests.project import ROOT

# 1 W, 1070 nm, 3 mm and 0.5 mrad (1/e), level, person at 10 m: d = sqrt(3^2 + 5^2) mm = 5.831 mm, and over 7 mm
# E = 1 W (1 - exp(-(7 / 5.831)^2)) / 38.48 mm2 = 19 840 W/m2.
LAMP = Laser(1.0, 3e-3, 0.5e-3, (0.0, 0.0, 1.6), 0.0)
AHEAD = Scene((LAMP,), (Person("Row", ((0.0, 10.0),)),))
AREA = Scene((LAMP,), (Person("Row", ((-2.0, 9.0), (2.0, 9.0), (2.0, 12.0), (-2.0, 12.0))),))
_CORNERS = r"\(([-\d., ]+)\) to \(([-\d., ]+)\) m"
_CASES = ("scene-scanned-train", "scene-window-camera")


def put_in(step: Step) -> str:
    return spoken(unit_text(step.numbers))


def lines(one: Scenario) -> tuple[Step, Step]:
    there, ratio = one.steps
    return there, ratio


def test_the_exposure_at_a_place_is_the_sum_that_is_printed() -> None:
    found = assess(parse_case(case_text(AHEAD)))
    (one,) = (s for s in found.scenarios if (s.person, s.way, s.tissue) == ("Row", "direct", "eye"))
    there, ratio = lines(one)
    width = math.hypot(3e-3, 0.5e-3 * 10.0)
    by_hand = (1.0 - math.exp(-((7e-3 / width) ** 2))) / (math.pi * 7e-3**2 / 4.0)
    assert there.value == pytest.approx(by_hand, rel=1e-3)
    assert there.numbers.startswith("1 · (1 − exp(−(7 mm / 5.831 mm)²)) / (π · (7 mm)² / 4)")
    assert "k = " not in there.numbers
    assert ratio.value == pytest.approx(there.value / one.limit)


def test_the_shortest_path_to_a_box_follows_from_its_corners() -> None:
    """Straight way from the last optic to the box, less what 1.01 times 3.5 mm beside the axis is short of it."""
    found = assess(parse_case(case_text(AREA)))
    (one,) = (s for s in found.scenarios if (s.person, s.way, s.tissue) == ("Row", "direct", "eye"))
    text = put_in(lines(one)[0])
    start = [float(x) for x in re.search(r"counted from \(([-\d., ]+)\) m", text)[1].split(", ")]  # type: ignore[index]
    low, high = ([float(x) for x in part.split(", ")] for part in re.search(_CORNERS, text).groups())  # type: ignore[union-attr]
    away = math.dist(start, [min(max(s, a), b) for s, a, b in zip(start, low, high, strict=True)])
    by_hand = math.sqrt(away**2 - (1.01 * 3.5e-3) ** 2)
    assert length(text, r"to \([^)]*\) m, ") == pytest.approx(by_hand, abs=1.5e-3)
    assert length(text, "d at z = ") == pytest.approx(by_hand, abs=1.5e-3)
    width = math.hypot(3e-3, 0.5e-3 * length(text, "d at z = "))
    assert length(text, "7 mm / ") == pytest.approx(width, rel=1e-4)


@pytest.mark.parametrize("name", _CASES)
def test_sums_that_are_printed_for_persons_come_to_what_is_printed(name: str) -> None:
    """All of a scene of mirrors, curved ones, scatter and instruments; a factor that nobody can recompute is rare."""
    found = assess(read_case(ROOT / "tests" / "golden" / "cases" / f"{name}.toml"))
    placed = [one for one in found.scenarios if one.placed and one.steps and one.way != "together"]
    plain = [one for one in placed if len(one.steps) == 2]
    assert len(plain) >= 0.95 * len(placed) > 15
    sums = 0
    for one in plain:
        there, ratio = lines(one)
        assert worked_out(sum_of(put_in(ratio))) == pytest.approx(ratio.value, rel=2e-4)
        if "part through" in there.formula or there.value < 1e-12:
            continue  # an oblong or an even beam: its integral is no sum
        sums += 1
        text = put_in(there)
        assert worked_out(sum_of(text)) == pytest.approx(there.value, rel=2e-4), text
        waist = re.search(r"d₀ = [\d.]+ \w+ at z₀ = [\d.]+ \w+, φ = [\d.]+ \w+", text)
        if (
            waist and "/ (π" in text and "exp" in text
        ):  # the beam behind a mirror that is not flat, or of a broken fibre
            place, width = length(text, "d at z = "), length(text, r"exp\(−\([\d.]+ mm / ")
            off = length(text, "φ = ") * (place - length(text, "z₀ = "))
            assert width == pytest.approx(math.hypot(length(text, "d₀ = "), off), rel=2e-3, abs=1e-7), text
    assert sums > 15


def test_the_lines_of_zones_barriers_and_eyewear_come_to_what_is_printed() -> None:
    found = assess(read_case(ROOT / "tests" / "golden" / "cases" / "scene-scanned-train.toml"))
    steps = [step for setup in found.setups for zone in setup.zones for step in zone.steps]
    steps += [step for result in (*found.barriers, *found.eyewear) for step in result.steps]
    sums = 0
    for step in steps:
        try:
            value = worked_out(sum_of(put_in(step)))
        except (ValueError, SyntaxError):
            continue  # words, or a sum with words in it
        if step.symbol not in ("OD", "n_i"):  # rounded up
            sums += 1
            assert value == pytest.approx(step.value, rel=2e-4), step
    assert sums > 15


def test_the_distances_of_page_1_have_their_lines() -> None:
    """Fractions of two beams far from their foci fall with the square: about √(r1² + r2²) where both make 1."""
    found = assess(read_case(ROOT / "tests" / "golden" / "cases" / "two-lasers-alike.toml")).decision
    together, scatter = found.steps
    assert together.value == pytest.approx(found.headline_distance, rel=1e-9)
    assert scatter.value == pytest.approx(found.scatter_distance, rel=1e-9)
    assert worked_out(sum_of(put_in(scatter))) == pytest.approx(scatter.value, rel=0.02)


def test_the_line_of_the_scatter_distance_counts_what_is_lit_in_the_scene() -> None:
    """The distance of page 1 counted a wall that returns 0.8 of the light, its line a sheet that returns 0.3 of it.

    1 W and 2 W, 100 s, 50 W/m2: √(0.8 / 50 π) = 0.0714 m and √(1.6 / 50 π) = 0.1009 m, together 0.1236 m.
    """
    lamps = LAMP, Laser(2.0, 3e-3, 0.5e-3, (1.0, 0.0, 1.6), 0.0, name="Second")
    wall = Barrier("Wall", ((-5.0, 5.0), (5.0, 5.0)))
    scene = Scene(lamps, (Person("Row", ((0.0, -10.0),)),), barriers=(wall,))
    metal = '[[surface]]\nname = "Metal"\nmaterial = "steel"\nfinish = "matt"\nreflectance = 0.3\ndistance = "2 m"\n\n'
    text = case_text(scene)
    found = assess(parse_case(text.replace("[scene]", metal + "[scene]", 1))).decision
    scatter = found.steps[1]
    assert found.scatter_distance == pytest.approx(math.sqrt(2.4 / (50.0 * math.pi)), rel=1e-3)
    assert worked_out(sum_of(put_in(scatter))) == pytest.approx(scatter.value, rel=1e-3)
    said = load_wording().say(scatter.numbers)  # it named neither what is lit nor its share
    assert said.count("by the scatter of Wall, ρ Φ / (π r²) with ρ = 0.8") == 2
    even = text.replace("[settings]", '[settings]\nscatter_model = "hemisphere"').replace(
        "[scene]", metal + "[scene]", 1
    )
    found = assess(parse_case(even)).decision  # half of that straight before it: 0.1236 m / √2
    assert found.scatter_distance == pytest.approx(math.sqrt(1.2 / (50.0 * math.pi)), rel=1e-3)
    said = load_wording().say(found.steps[1].numbers)
    assert said.count("by the scatter of Wall, ρ Φ / (2 π r²) with ρ = 0.8") == 2


def test_spectator_lines_stand_in_the_annex_with_what_limits_them() -> None:
    found = assess(read_case(ROOT / "tests" / "golden" / "cases" / "scene-scanned-train.toml"))
    assert found.scene is not None
    wording = load_wording()
    sheet = Sheet(PAPERS["A4"], (42.0, 44.0, 42.0, 53.0), localise(found, wording), wording, "A4")
    shown.scene_tables(sheet)
    said = " ".join(mark.text for page in sheet.pages for mark in page.marks if isinstance(mark, Words))
    assert wording.text("scene.lines") in said
    for line in found.scene.lines:
        far = quantity(line.distance, "m", 3, "up").replace("\u00a0", " ")
        assert f"{line.side}: {far} from {line.laser}" in said.replace("\u00a0", " ")


def _part(profile: str, hole: float, wide: float, high: float) -> float:
    """Return the part of an oblong beam through a hole by the mean that is printed, over 720 angles."""
    total = 0.0
    for n in range(720):
        angle = math.pi * n / 720
        u = hole**2 * (math.cos(angle) ** 2 / wide**2 + math.sin(angle) ** 2 / high**2)
        total += -math.expm1(-u) / u if profile == "gaussian" else min(1.0, 1.0 / u)
    return hole**2 / (wide * high) * total / 720


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_the_lines_of_an_oblong_beam_and_of_an_instrument_come_to_what_is_printed(profile: str) -> None:
    """Their distances were 'searched', and the part through the aperture was an integral without a number."""
    text = (ROOT / "tests" / "golden" / "cases" / "continuous-green.toml").read_text("utf-8")
    text = text.replace('divergence = "1.5 mrad"', f'profile = "{profile}"\ndivergence = ["1.5 mrad", "6 mrad"]')
    found = assess(parse_case(text))
    zones = [zone for zone in found.setups[0].zones if zone.way in ("direct", "aided")]
    assert [(zone.way, zone.tissue) for zone in zones] == [("direct", "eye"), ("direct", "skin"), ("aided", "eye")]
    for zone in zones:
        *_, part, last = zone.steps
        assert part.symbol == "F"
        for step in zone.steps[2:]:
            assert worked_out(sum_of(put_in(step))) == pytest.approx(step.value, rel=2e-4), step
        sizes = [length(put_in(last), before) for before in ("d_x = ", "d_y = ", r"u = \(")]
        assert _part(profile, sizes[2], *sizes[:2]) == pytest.approx(part.value, rel=1e-3)
    sums = 0
    for one in found.scenarios:
        there = one.steps[-2] if one.way in ("direct", "mirror", "aided viewing") else one.steps[-1]
        if "F = " in there.formula:
            said = put_in(there)
            hole, wide, high = (length(said, before) for before in ("F over ", "d_x = ", "d_y = "))
            assert worked_out(sum_of(said)) == pytest.approx(there.value, rel=2e-4), there
            printed = [float(x) for x in re.findall(r"· ([\d.e-]+) / \(π", said)]
            assert _part(profile, hole, wide, high) == pytest.approx(printed[0], rel=1e-3)
            sums += 1
    assert sums > 3


def test_the_peak_of_all_lasers_on_a_barrier_has_its_line() -> None:
    """Page 1 asks a barrier for the sum of lasers, which stood nowhere in the annex: 2 W is twice what 1 W is."""
    lamps = LAMP, Laser(2.0, 3e-3, 0.5e-3, (1.0, 0.0, 1.6), 0.0, name="Second")
    scene = Scene(lamps, (Person("Row", ((0.0, -10.0),)),), barriers=(Barrier("Wall", ((-5.0, 5.0), (5.0, 5.0))),))
    found = assess(parse_case(case_text(scene)))
    loads = [one for one in found.decision.loads if one.together and one.way == "direct"]
    assert loads
    turns = 'one_at_a_time = true\none_at_a_time_reason = "one key for both"\n'
    alone = assess(parse_case(case_text(scene).replace("[scene]\n", f"[scene]\n{turns}", 1)))
    assert not any(one.together for one in alone.decision.loads)  # page 1 added lasers that take turns
    wording = load_wording()
    sheet = Sheet(PAPERS["A4"], (42.0, 44.0, 42.0, 53.0), localise(found, wording), wording, "A4")
    steps(sheet)
    said = " ".join(mark.text for page in sheet.pages for mark in page.marks if isinstance(mark, Words))
    for one in loads:
        first, second = (value for _, value in one.parts)
        assert second == pytest.approx(2.0 * first) or first == pytest.approx(2.0 * second)
        assert worked_out(f"{first:.5g} + {second:.5g}") == pytest.approx(one.load, rel=1e-4)
        assert all(f"{value:.5g}".partition("e")[0] in said for value in (first, second))
    assert said.count("ΣE") >= len(loads)


@pytest.mark.parametrize("name", ["scene-scanned-train", "scene-window-camera"])
def test_what_is_in_the_image_of_a_camera_has_its_lines(name: str) -> None:
    """The load of the image was printed with no line: what the lens collects over the area of the image."""
    scene = assess(read_case(ROOT / "tests" / "golden" / "cases" / f"{name}.toml")).scene
    assert scene is not None
    lines = [line for line in scene.camera_lines if line.exposure > 0.0]
    assert lines or name == "scene-scanned-train"
    for line in lines:
        size, load = line.steps
        assert (size.value, load.value) == (line.spot, line.exposure)
        for step in line.steps:
            assert worked_out(sum_of(put_in(step))) == pytest.approx(step.value, rel=2e-4), step


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_only_a_gaussian_beam_has_a_factor_for_what_lies_beside_its_axis(profile: str) -> None:
    """A camera 90 mm beside a beam of 170 to 240 mm: an even one had exp(...) too, with a rest of 1.47 against it."""
    text = (ROOT / "tests" / "golden" / "cases" / "scene-window-camera.toml").read_text(encoding="utf-8")
    for old, new in {
        'criterion = "1/e2"': f'criterion = "1/e2"\nprofile = "{profile}"',
        '"1.5 mrad"': '"30 mrad"',
        '["2.5 m", "8 m"]': '["0.09 m", "8 m"]',
        'bearing = "20 deg"\nelevation = "-10 deg"\nbearing_range = ["-30 deg", "60 deg"]\nmargin = "5 deg"': (
            'bearing = "0 deg"\nelevation = "2.862 deg"\nmargin = "0 deg"'
        ),
        '[["-2 m", "2.5 m"], ["2 m", "2.5 m"]]': '[["-9 m", "2.5 m"], ["-8 m", "2.5 m"]]',
    }.items():
        assert old in text
        text = text.replace(old, new)
    scene = assess(parse_case(text)).scene
    assert scene is not None
    printed = [put_in(step) for line in scene.camera_lines for step in line.steps]
    assert any("exp" in one for one in printed) == (profile == "gaussian"), printed


def test_how_near_a_barrier_may_stand_has_its_line() -> None:
    """The nearest place stood in a table alone: there 4 P / (π d_x d_y) is the rating, from scatter r = √(ρ P / (π E)).

    1 W, 3 mm, 0.5 mrad, 1 W/cm2: d = √(4 / (π 1e4)) = 11.284 mm, r = √(11.284² - 3²) mm / 0.5 mrad = 21.756 m.
    """
    wall = Barrier("Wall", ((-5.0, 5.0), (5.0, 5.0)))
    text = case_text(Scene((LAMP,), (Person("Row", ((0.0, 10.0),)),), barriers=(wall,)))
    scene = assess(parse_case(text.replace("1e4 MW/m2", "1 W/cm2"))).scene
    assert scene is not None
    places = {way.way: place for way in scene.barriers[0].ways for place in way.stands if place.steps}
    assert set(places) == {"direct", "scatter"}
    assert places["direct"].distance == pytest.approx(21.756, abs=1e-3)
    for way, place in places.items():
        (step,) = place.steps
        by_hand = worked_out(spoken(unit_text(step.numbers.partition(" at ")[0])))
        assert step.value == place.distance
        assert by_hand == pytest.approx(place.distance if way == "scatter" else 1e4, rel=3e-4), step


def test_the_peak_on_a_placed_barrier_and_how_near_it_may_stand_in_a_fault_have_their_lines() -> None:
    """Page 1 of the starter says 5.45e6 W/m2 with the lens lost, and nothing printed said from what that follows.

    80 W from a beam of 6 mm (1/e2) behind the lost lens: 4.3267 mm (1/e) at 0.3 m, so 4 * 80 / (pi * 4.3267 mm**2).
    """
    found = assess(read_case(ROOT / "templates" / "cases" / "co2-cutter.toml"))
    assert found.scene is not None
    walls = next(one for one in found.scene.barriers if one.name == "Walls of the cutter")
    for way in (*walls.ways, *walls.faults):
        if way.fitted:
            (step,) = way.steps
            k, *rest = str(step.numbers).split(" · ")
            sent, _, away = " · ".join(rest).replace(" (floor)", "").partition(" at ")
            value = float(k) * worked_out(sent.replace(" W", "").replace(" m", ""))
            assert 0.999 < float(k) < (1.3 if way.way == "scatter" else 1.01), step  # else its distance said nothing
            if way.way == "scatter":
                path, cosine = away.split(" m · ")
                value *= float(cosine) / (math.pi * float(path) ** 2)
            assert value == pytest.approx(way.irradiance, rel=3e-4), step
    lost = next(one for one in walls.faults if one.way == "optic lost")
    assert lost.irradiance == pytest.approx(4.0 * 80.0 / (math.pi * 4.3267e-3**2), rel=1e-3)
    sheet = Sheet(PAPERS["A4"], (42.0, 44.0, 42.0, 53.0), found, load_wording())
    steps(sheet)
    said = " ".join(mark.text for page in sheet.pages for mark in page.marks if isinstance(mark, Words))
    assert "Barrier: Walls of the cutter, lens lost or broken (Cutter: Cutting head, 2 inch lens)" in said


def test_the_distance_of_several_wavelengths_behind_an_instrument_has_its_sum() -> None:
    """It was "searched" alone; at its end the fractions of all wavelengths behind the objective are 1."""
    text = (ROOT / "tests" / "golden" / "cases" / "continuous-green.toml").read_text("utf-8")
    line = '\n[[laser.line]]\nname = "pump"\nwavelength = "808 nm"\npower = "30 mW"\n'
    found = assess(parse_case(text.replace("\n[[laser.setup]]", line + "\n[[laser.setup]]", 1)))
    zone = next(zone for zone in found.setups[0].zones if zone.way == "aided")
    assert zone.steps[-1].symbol == "Σ"
    assert zone.steps[-1].value == pytest.approx(1.0, rel=1e-6)


def test_the_width_of_a_bent_beam_at_a_barrier_follows_from_the_waist_that_is_printed() -> None:
    """A concave plate makes a beam with no steps of its own: its waist, and the way over the plate, stand there."""
    text = (ROOT / "templates" / "cases" / "co2-cutter.toml").read_text(encoding="utf-8")
    scene = assess(parse_case(text.replace('shape = "flat"', ""))).scene
    assert scene is not None
    texts = [put_in(step) for one in scene.barriers for way in one.ways for step in way.steps if step.symbol == "E"]
    bent = [text for text in texts if "d₀ = " in text]
    assert bent
    for text in bent:
        found = re.search(r"π · ([\d.e-]+) m · [\d.e-]+ m\) at ([\d.]+) m", text)
        assert found is not None
        waist, place, angle = (length(text, before) for before in ("d₀ = ", "z₀ = ", "φ = "))
        assert math.hypot(waist, angle * (float(found[2]) - place)) == pytest.approx(float(found[1]), rel=1e-3)
        assert re.search(r"; over [^;]+ from the last optic along the path: [^;]+, and [^;]+ on from the nearest", text)
