"""What the decision has of barriers: the highest load of all, and which of them hold everything."""

from __future__ import annotations

import io
import math
import re

import pytest
from pypdf import PdfReader

from lasersafe.ask.printed import assessment_text
from lasersafe.assessment import assess
from lasersafe.drawing.text import irradiance, ratio
from lasersafe.models import parse_case
from lasersafe.records.scene import BarrierLoad
from lasersafe.results import Assessment
from lasersafe.sheet import PAPERS, render_sheet
from lasersafe.sheet.flow import Part, Sheet
from lasersafe.sheet.front import barrier_row
from lasersafe.wording import load_wording, localise
from tests.behaviour.test_strike_outs import PLAIN, starter

WELDER = starter("handheld-welder")


def assessed(text: str, language: str | None = None) -> Assessment:
    return assess(parse_case(text), language)


def changed(text: str, *pairs: tuple[str, str]) -> str:
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return text


def without_bare_head(text: str) -> str:
    start = text.index('[[laser.setup]]\nname = "Bare head')
    return text[:start] + text[text.index("# --- People") :]


def loads_of(found: Assessment, name: str) -> dict[str, BarrierLoad]:
    """Return what falls on a barrier, the worst of each way."""
    own = [one for one in found.decision.loads if one.barrier == name]
    return {one.way: one for one in sorted(own, key=lambda one: (one.factor, one.load))}


def barrier(rating: str, more: str = "") -> str:
    return (
        '[[barrier]]\nname = "Plate"\ndistance = "2 m"\nobserved = true\nrated_time = "30000 s"\n'
        f'rating = "{rating}"\n{more}\n'
    )


def test_the_headline_counts_what_is_fitted_and_a_set_up_that_brings_more_stands_beside_it() -> None:
    # By hand: the booth is 2.6 m away and the head moves by 0.15 m; the beam of 8.5 mm and 5 mrad without a lens is
    # sqrt(8.5^2 + 12.25^2) = 14.91 mm wide at 2.45 m, and 1.5 kW peak at 4 * 1500 / (pi * 14.91^2 mm2) = 8.59 W/mm2.
    width = math.hypot(8.5e-3, 5e-3 * 2.45)
    peak = 4.0 * 1500.0 / (math.pi * width**2)
    assert peak / 1e4 == pytest.approx(859.1, rel=1e-3)
    found = assessed(WELDER)
    # The same beam comes from a lens that is lost, and over a mirror next to the head, whose width counts: 0.2 % more.
    top = max((one for one in found.decision.loads if one.asked), key=lambda one: one.load)
    assert (top.barrier, top.way, top.stands) == ("Steel booth, back wall", "optic lost", False)
    assert "861\N{NO-BREAK SPACE}W/cm²" in irradiance(top.load, True, "up")
    assert found.scene is not None
    (booth,) = [line for line in found.scene.barriers if line.name == top.barrier]
    other = max((way for way in booth.ways if not way.fitted), key=lambda way: way.irradiance)
    assert (other.way, other.holds) == ("mirror", False)
    assert "861\N{NO-BREAK SPACE}W/cm²" in irradiance(other.irradiance, True, "up")
    assert other.rating is not None
    assert ratio(other.irradiance / other.rating) == "7.18"


def test_the_headline_takes_the_beam_of_a_lost_lens() -> None:
    # 2 kW through a lens that is lit over 14.142 mm (20 mm at 1/e2): the beam of the lost lens spreads by diffraction
    # alone, 0.1 mrad, so at 2.6 m it still peaks at 4 * 2000 / (pi * 14.142^2 mm2) = 12.73 W/mm2 = 1273 W/cm2.
    text = changed(without_bare_head(WELDER), ('"1.5 kW"', '"2 kW"'), ('"8.5 mm"', '"14.142 mm"'))
    found = assess(parse_case(text), wanted="short")
    peak = 4.0 * 2000.0 / (math.pi * 14.142e-3**2) / 1e4
    assert peak == pytest.approx(1273.3, rel=1e-4)
    assert found.scene is not None
    (lost,) = [way for way in found.scene.barriers[0].faults if way.way == "optic lost"]
    assert lost.irradiance / 1e4 == pytest.approx(peak, rel=2e-3)
    load = loads_of(found, "Steel booth, back wall")["optic lost"]
    assert load.load == max(one.load for one in found.decision.loads if one.asked) == lost.irradiance
    assert ratio(load.factor) == "10.7"
    assert re.search(r"^lens lost or broken, Welder, .* 1\.28 × 10⁷ W/m²,", assessment_text(found), re.MULTILINE)


def test_a_barrier_for_scatter_says_how_far_the_direct_beam_is_above_its_rating() -> None:
    # The curtain is 3.00 m from the head, which moves by 0.15 m on every side: 8.5 mm / 400 mm * 2.45 m = 52.06 mm at
    # 2.85 m, and 4 * 1500 / (pi * 52.06^2 mm2) is 70.5 W/cm2, 7.05 times its 10 W/cm2.
    curtain = loads_of(assessed(WELDER), "Laser curtain towards the stage")
    assert [curtain[way].stands for way in ("direct", "mirror", "scatter")] == [False, False, True]
    assert ratio(curtain["mirror"].factor) == "7.10"
    page = " ".join(PdfReader(io.BytesIO(render_sheet(assessed(WELDER)))).pages[0].extract_text().split())
    assert "holds for scattered light only" in page


@pytest.mark.parametrize(("rating", "holds"), [("100 W/cm2", False), ("220 W/cm2", True)])
def test_every_barrier_holds_is_said_only_when_it_holds_every_way(rating: str, holds: bool) -> None:
    # PLAIN at 2 m: sqrt(8^2 + 10^2) = 12.81 mm, 4 * 500 W / (pi * 12.81^2 mm2) = 388 W/cm2 for the direct beam; a
    # power of 250 W gives 194 W/cm2.
    text = changed(PLAIN, ('"500 W"', '"250 W"')) + barrier(rating, 'must_stop = ["scatter"]')
    plate = loads_of(assessed(text), "Plate")
    assert all(one.stands for one in plate.values()) is holds
    assert plate["scatter"].stands
    assert (ratio(plate["direct"].factor) == "1.95") is not holds


def test_the_verdict_the_headline_and_the_table_round_a_factor_alike() -> None:
    # 194.09 W/cm2 (above) over 100 W/cm2 is 1.9409: the verdict said 1.94, the headline 2.0, the table 1.95.
    found = localise(
        assessed(changed(PLAIN, ('"500 W"', '"250 W"')) + barrier("100 W/cm2", 'must_stop = ["scatter"]')),
        load_wording(),
    )
    (verdict,) = [one.verdict for one in found.barriers if one.way == "direct"]
    (load,) = [one for one in found.decision.loads if one.way == "direct"]
    assert load.factor == pytest.approx(1.9409, rel=1e-4)
    assert "1.95 times the rated" in verdict
    assert ratio(load.factor) == "1.95"


def test_a_barrier_that_fails_against_the_beam_answers_with_the_light_that_it_holds() -> None:
    """The sheet said "barrier 'Plate' holds" under the person, and 'does not hold' in the table of barriers."""
    nearer = changed(PLAIN, ('"500 W"', '"250 W"'), ('"8 m"', '"2.5 m"'))  # 194 W/cm2 of the beam, as above
    text = nearer + barrier("100 W/cm2", 'protects = ["Row"]')
    answers = {s.answer for s in assessed(text).scenarios if s.answer}
    assert answers == {f"barrier 'Plate' holds ({way})" for way in ("scattered light", "broken fibre")}


def test_what_a_barrier_need_not_stop_answers_for_nobody() -> None:
    text = PLAIN + barrier("2 MW/cm2", 'must_stop = ["scatter"]')
    found = assessed(text)
    asked = {"direct": False, "mirror": False, "scatter": True, "fibre broken": False}
    assert {b.way: b.asked for b in found.barriers} == asked
    assert all(b.holds for b in found.barriers)
    assert all(not s.answer for s in found.scenarios)
    assert {row.way for row in found.record.expected if row.where == "Plate"} == {"scatter"}


def test_lasers_that_light_a_barrier_at_once_count_together() -> None:
    # Two lasers of 250 W each bring 194 W/cm2 to the plate at 2 m; the maker's 220 W/cm2 hold one of them, not both.
    second = PLAIN[PLAIN.index("[[laser]]") : PLAIN.index("[[person]]")].replace('"Welder"', '"Cleaner"')
    text = changed(PLAIN, ("[[person]]", second + "[[person]]"))
    load = loads_of(assessed(changed(text, ('"500 W"', '"250 W"')) + barrier("220 W/cm2")), "Plate")["direct"]
    assert "389\N{NO-BREAK SPACE}W/cm²" in irradiance(load.load, True, "up")
    assert load.together
    assert not load.stands


@pytest.mark.parametrize(("alone", "holds"), [("", False), ('laser = "Welder"', True)])
def test_an_ab_class_is_asked_for_all_lasers_that_are_on_at_once(alone: str, holds: bool) -> None:
    # EN 12254 ends at 100 W: each of two lasers has 80 W, both on one screen 160 W.
    second = PLAIN[PLAIN.index("[[laser]]") : PLAIN.index("[[person]]")].replace('"Welder"', '"Cleaner"')
    text = changed(PLAIN, ("[[person]]", second + "[[person]]"), ('"500 W"', '"80 W"'))
    found = assessed(text + barrier("10 kW/cm2", f'en12254_class = "1064 D AB5"\n{alone}'))
    assert {one.holds for one in found.barriers} == {holds}


def test_a_barrier_of_one_laser_is_not_said_to_hold_the_other() -> None:
    second = PLAIN[PLAIN.index("[[laser]]") : PLAIN.index("[[person]]")].replace('"Welder"', '"Cleaner"')
    text = changed(PLAIN, ("[[person]]", second + "[[person]]")) + barrier("2 MW/cm2", 'laser = "Welder"')
    found = assessed(text)
    assert {one.laser for one in found.decision.loads} == {"Welder"}
    assert all(one.stands for one in found.decision.loads)


def test_what_is_open_in_a_barrier_is_said_beside_that_it_holds() -> None:
    text = starter("nanosecond-marker")
    shut = assessed(text).decision
    assert all(one.stands for one in shut.loads if one.asked)
    low = "Too low to shade everybody behind: Window of the frame (up to 1.6 m; 1.71 m needed)."
    assert shut.barrier_remarks == (low,)
    after = text.index("[[scene.", text.index('[[scene.barrier]]\nname = "Steel back panel"') + 4)
    gap = '[[scene.barrier.opening]]\nname = "cable slit"\nstart = "0.1 m"\nend = "0.2 m"\ntop = "0.2 m"\n\n'
    open_ = assess(parse_case(text[:after] + gap + text[after:]), wanted="short").decision
    assert open_.barrier_remarks == (low, "Light passes through: cable slit (Steel back panel).")


def test_a_barrier_that_is_rated_for_no_pulse_is_said_not_to_hold_one() -> None:
    emission = 'kind = "single pulse"\npulse_energy = "1 J"\npulse_duration = "10 ns"'
    text = changed(PLAIN, ('kind = "continuous"\npower = "500 W"', emission)) + barrier("2 MW/cm2")
    load = loads_of(assessed(text), "Plate")["direct"]
    assert math.isinf(load.load)
    assert load.pulse_rating is None
    assert not load.stands


def test_a_screen_that_is_there_for_scatter_and_does_not_hold_it_is_not_said_to_hold_scatter_only() -> None:
    """The window of the blue engraver has no rating: 'does not hold' stood above 'holds for scattered light only'."""
    found = localise(assessed(starter("visible-diode")), load_wording())
    own = [one for one in found.decision.loads if one.barrier == "Orange window"]
    assert {one.way for one in own if one.asked} == {"scatter"}
    assert not any(one.stands for one in own)
    sheet = Sheet(PAPERS["A4"], (42.0, 44.0, 42.0, 53.0), found, load_wording(), "A4")
    row = barrier_row("Orange window", own, sheet)
    said = [part.text for cell in row.cells for part in ([cell] if isinstance(cell, Part) else cell)]
    assert sheet.text("barriers.fails") in said
    assert sheet.text("barriers.scatter_only") not in said


def printed(found: Assessment) -> str:
    pages = PdfReader(io.BytesIO(render_sheet(found))).pages
    return " ".join(" ".join(page.extract_text() for page in pages[:2]).split())


def test_the_headline_names_barriers_only_where_one_answers() -> None:
    """It said "or behind a barrier or eyewear that holds" beside two barriers that do not hold: none of them counts."""
    found = assessed(starter("co2-cutter"))
    assert found.decision.passed
    assert not any(one.answer for one in found.counted)
    assert {one.barrier for one in found.decision.loads if one.asked and not one.stands} != set()
    assert found.decision.verdict.startswith("Below the limit in what is assessed; ")
    page = printed(found)
    assert "a barrier that holds" not in page
    assert "The verdict counts on a barrier on the ways alone on which it holds; under Barriers stands on which" in page
    held = assessed(PLAIN + barrier("1000 MW/m2", 'must_stop = ["direct"]'))  # an answer to the direct beam
    assert held.decision.answered == any(one.answer for one in held.counted)
    assert held.decision.answered


def test_a_barrier_that_is_drawn_is_judged_where_it_stands_on_page_1_too() -> None:
    """Page 1 had the load at the typed 2 m, the table by place and the terminal that at 3 m."""
    drawn = (
        '[scene]\n[[scene.aim]]\nlaser = "Welder"\nposition = ["0 m", "0 m"]\nheight = "1 m"\nbearing = "0 deg"\n'
        'elevation = "0 deg"\nmoves = "0 m"\n[[scene.barrier]]\nname = "Plate"\n'
        'line = [["-1 m", "3 m"], ["1 m", "3 m"]]\ntop = "2 m"\n'
    )
    found = assess(parse_case(PLAIN + barrier("2 MW/cm2") + drawn), wanted="short")
    assert found.scene is not None
    (plate,) = found.scene.barriers
    loads = [one for one in found.decision.loads if one.barrier == "Plate"]
    assert max(one.load for one in loads) == max(way.irradiance for way in plate.ways)
    assert {one.verdict for one in loads} <= {way.verdict for way in (*plate.ways, *plate.faults)}
