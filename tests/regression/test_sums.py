"""Fractions of a limit that add: of several lasers, of several wavelengths of one laser, under each rule set."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.distances import zone_distances
from lasersafe.assessment.setups import reach_together
from lasersafe.hazard import exposure
from lasersafe.hazard.combine import Line, groups
from lasersafe.hazard.exposure import continuous
from lasersafe.models import parse_case
from lasersafe.optics.beam import through_lens
from tests import case_head
from tests.behaviour import test_sources
from tests.case_head import HEAD
from tests.regression.test_verdicts import laser, person
from tests.summed import summed_distance


def beam(name: str, wavelength: str, power: str, diameter: str, divergence: str, more: str = "") -> str:
    text = laser(name, wavelength, power).replace('"8 mm"', f'"{diameter}"').replace('"5 mrad"', f'"{divergence}"')
    return text + more


def worked(*parts: str):
    return assess(parse_case(HEAD + "".join(parts)))


def mean_over(power, diameter, aperture):
    """Return power / area of the aperture times what passes it: 1 - exp(-(D / d)^2) of a Gaussian beam [W/m2]."""
    return power * -np.expm1(-((aperture / diameter) ** 2)) / (math.pi * aperture**2 / 4.0)


def together(found, tissue: str = "eye"):
    return next(s for s in found.scenarios if s.way == "together" and s.tissue == tissue)


# 640 nm for 10 s: 10 W/m2 over 7 mm. Of one beam no place exceeds it: 0.36 mW / 38.48 mm2 = 9.36 W/m2 at most, and
# 70 mW over 100 mm: 8.9 W/m2. Of two the sum is 1 where P (1 - exp(-(7 mm)^2 / d^2)) / 38.48 mm2 = 5 W/m2:
# d = 7 mm / sqrt(-ln(1 - 5 W/m2 38.48 mm2 / P)), r = sqrt(d^2 - d0^2) / phi.
@pytest.mark.parametrize(("power", "width", "angle", "by_hand"), [
    (0.36e-3, 2e-3, 0.8e-3, 9.689), (70e-3, 100e-3, 0.1e-3, 883.2),
])  # fmt: skip
def test_several_lasers_reach_together_to_where_their_fractions_sum_to_one(power, width, angle, by_hand):
    part = 5.0 * math.pi * 7e-3**2 / 4.0 / power
    reach = math.sqrt(7e-3**2 / -math.log1p(-part) - width**2) / angle
    assert reach == pytest.approx(by_hand, rel=1e-4)
    two = [beam(name, "640 nm", f"{power} W", f"{width} m", f"{angle} rad") for name in "AB"]
    found = worked(*two, person("Visitor", f"{reach * 1.001} m"))
    assert all(s.zone("direct", "eye").distance == 0.0 for s in found.setups)
    assert found.decision.headline_distance == pytest.approx(reach, rel=1e-6)
    assert found.decision.headline_distance >= reach * (1.0 - 1e-12)
    assert found.decision.passed
    nearer = worked(*two, person("Visitor", f"{reach * 0.999} m"))
    assert not nearer.decision.passed
    there = mean_over(power, math.hypot(width, angle * reach * 0.999), 7e-3) / 10.0
    assert together(nearer).ratio == pytest.approx(2.0 * there)


def test_two_equal_lasers_reach_a_camera_with_an_instrument_as_far_as_one_of_twice_the_power():
    filming = person("Camera crew", "5 m", role="crew", extra="aided = true")
    two = worked(*(beam(name, "640 nm", "1 W", "2 mm", "1 mrad") for name in "AB"), filming).decision
    one = worked(beam("A", "640 nm", "2 W", "2 mm", "1 mrad"), filming).decision
    assert two.aided_distance == pytest.approx(one.aided_distance, rel=1e-6)
    assert two.aided_distance > 2.0 * two.headline_distance


# Wide beams, alike but for their power: the fractions at the person are 0.995 and 0.009, their sum 1.004.
def test_a_sum_that_is_little_more_than_its_largest_part_is_not_dropped():
    unit = mean_over(1.0, math.hypot(0.02, 1e-3), 7e-3) / 10.0  # of the limit for each watt, at 1 m
    parts = [beam(n, "640 nm", f"{f / unit} W", "20 mm", "1 mrad") for n, f in (("A", 0.995), ("B", 0.009))]
    found = worked(*parts, person("Visitor", "1 m"))
    assert together(found).ratio == pytest.approx(1.004, rel=1e-9)
    assert not together(found).below
    assert not found.decision.passed


# ICNIRP counts the cornea from 1200 nm: at 1390 nm as the skin, 1.1e4 C_A t^0.25 with C_A = 5 and t = 10 s, which is
# 97 805 J/m2 or 9780.5 W/m2 over 3.5 mm; at 1550 nm 1e4 J/m2 in 10 s, 1000 W/m2.
# 0.75 W and 1.93 W over 50 mm: 0.75 / 9780.5 + 1.93 / 1000, each over 1.9635e-3 m2, less what 3.5 mm averages away.
def test_what_adds_as_two_lines_of_one_laser_adds_as_two_lasers():
    line = '[[laser.line]]\nname = "other"\nwavelength = "1550 nm"\npower = "1.93 W"\n'
    first = beam("A", "1390 nm", "0.75 W", "50 mm", "0.1 mrad")
    lines = worked(first, line, person("Visitor", "1 m"))
    lasers = worked(first, beam("B", "1550 nm", "1.93 W", "50 mm", "0.1 mrad"), person("Visitor", "1 m"))
    by_hand = mean_over(0.75 / 9780.5 + 1.93 / 1000.0, math.hypot(0.05, 1e-4), 3.5e-3)
    assert by_hand == pytest.approx(1.019, abs=2e-3)
    row = next(s for s in lines.scenarios if s.way == "direct" and s.tissue == "eye")
    assert row.ratio == pytest.approx(by_hand, rel=1e-5)
    assert together(lasers).ratio == pytest.approx(row.ratio, rel=1e-12)
    assert not lasers.decision.passed


def test_the_ratio_of_a_sum_by_rule_set_is_of_what_adds():
    """A blue beam 100 times above the limit of the retina adds nothing to the cornea, where two others meet."""
    blue, others = beam("A", "445 nm", "18 W", "4 mm", "1 mrad"), (("B", "10.6 um"), ("C", "1550 nm"))
    found = worked(blue, *(beam(name, nm, "0.1 W", "4 mm", "2 mrad") for name, nm in others), person("Visitor", "1 m"))
    row = together(found)
    assert row.surface == "B, C"
    assert max(row.ratio_by_rule_set.values()) == row.ratio < max(s.ratio for s in found.scenarios)


@pytest.mark.parametrize(("wavelength", "other", "eye", "skin"), [
    (1390e-9, 1550e-9, True, True), (1064e-9, 1550e-9, False, True), (300e-9, 350e-9, False, False),
    (315e-9, 300e-9, True, True), (315e-9, 350e-9, True, True), (355e-9, 1550e-9, True, True),
])  # fmt: skip
def test_one_table_says_what_adds(wavelength, other, eye, skin):
    assert bool(groups("eye", wavelength) & groups("eye", other)) is eye
    assert bool(groups("skin", wavelength) & groups("skin", other)) is skin


# Each scatters 3 W at a wall of reflectance 1: E = 3 W / (pi r^2). 640 nm for 100 s: 10 W/m2, so one reaches
# sqrt(3 / (10 pi)) = 0.309 m and two sqrt(6 / (10 pi)) = 0.437 m; 1550 nm acts on another tissue.
def test_scatter_of_several_lasers_reaches_as_far_as_its_sum():
    reach = reach_together([contexts_of(beam("A", "640 nm", "3 W", "2 mm", "1 mrad"))], ("scatter",))[0]
    assert reach == pytest.approx(math.sqrt(3.0 / (10.0 * math.pi)), rel=1e-6)
    other = beam("C", "1550 nm", "3 W", "2 mm", "1 mrad")
    two = contexts_of(*(beam(name, "640 nm", "3 W", "2 mm", "1 mrad") for name in "AB"), other)
    assert reach_together([two], ("scatter",))[0] == pytest.approx(math.sqrt(6.0 / (10.0 * math.pi)), rel=1e-6)


def contexts_of(*parts: str):
    case = parse_case(HEAD + "".join(parts) + person("Visitor", "5 m"))
    return contexts(case, ("ICNIRP-2013", "EU-2006/25/EC"))


# Eyes: 1064 nm and 1550 nm do not add. Skin: both do; alone each is at 0.9 of its skin limit at most.
def test_a_tissue_that_is_less_at_risk_from_each_laser_still_adds_in_a_scene():
    def one(name: str, wavelength: str, power: str) -> str:
        return beam(name, wavelength, power, "100 mm", "0.1 mrad"), case_head.aim(name, "1.6 m", "")

    (first, aim), (second, other) = one("A", "1064 nm", "0.35 W"), one("B", "1550 nm", "7 W")
    place = '[[scene.person]]\nname = "Visitor"\nposition = ["0 m", "10 m"]\n'
    found = worked(first, second, person("Visitor", "10 m"), '[scene]\nstage_bearing = "0 deg"\n', aim, other, place)
    rows = {(s.laser, s.tissue): s.ratio for s in found.scenarios if s.way == "direct"}
    assert rows["A", "eye"] > rows["A", "skin"]
    worst = {(s.laser, s.tissue): s.ratio for s in sorted(found.scenarios, key=lambda s: s.ratio) if not s.struck_out}
    assert together(found, "skin").ratio == pytest.approx(worst["A", "skin"] + worst["B", "skin"])


# 905 nm, 1 mJ at 1 kHz for 10 s, pulses of 1 us to 18 us. EU (18 us: 5e-3 C_A N^-0.25) is the same for all of them and
# decides. ICNIRP is strictest at 5 us, the edge that two rows share: 18 C_A C_P t^0.75 J/m2 over 7 mm, 1.903e-3 J/m2
# times C_A = 10^(0.002 205) = 2.570 and, of 10 000 pulses up to 5 us, C_P = 5 N^-0.25 = 0.5.
# So d = 7 mm / sqrt(-ln(1 - H 38.48 mm2 / 1 mJ)) and r = sqrt(d^2 - d0^2) / phi.
PULSES = 'kind = "pulse train"\npulse_energy = "1 mJ"\nrepetition_rate = "1 kHz"\npulse_duration = ["1 us", "18 us"]'


def test_what_is_shown_beside_is_each_rule_set_at_its_own_worst_setting():
    limit = 0.5 * 18.0 * 5e-6**0.75 * 10.0 ** (0.002 * 205.0)
    reach = math.sqrt(7e-3**2 / -math.log1p(-limit * math.pi * 7e-3**2 / 4.0 / 1e-3) - 4e-3**2) / 1e-3
    source = laser(wavelength="905 nm", emission=PULSES).replace('"8 mm"', '"4 mm"').replace('"5 mrad"', '"1 mrad"')
    found = worked(source, person("Visitor", "10 m"))
    zone = found.setups[0].zone("direct", "eye")
    assert zone.criterion.rule_set == "EU-2006/25/EC"
    assert zone.by_rule_set["ICNIRP-2013"] == pytest.approx(reach, rel=1e-5)
    there = mean_over(1e-3, math.hypot(4e-3, 1e-3 * 10.0), 7e-3)
    row = next(s for s in found.scenarios if s.way == "direct" and s.tissue == "eye")
    assert row.ratio_by_rule_set["ICNIRP-2013"] == pytest.approx(there / limit, rel=1e-5)


# A line of 20 degrees at 100 Hz, 20 nJ in 10 ns at 20 kHz, 1064 nm: nothing reaches 1, so neither rule set reaches any
# distance. At 10 m the rows of the person say about 0.02 by ICNIRP and 0.04 by EU, whose N^-0.25 starts with the first
# pulse; the place in the table of scans is the same place, and shows 0.04.
def test_a_place_under_a_scan_shows_the_worst_of_the_rule_sets():
    pulses = 'kind = "pulse train"\npulse_energy = "20 nJ"\npulse_duration = "10 ns"\nrepetition_rate = "20 kHz"'
    text = test_sources.text_of(scan=test_sources.SCAN).replace("532 nm", "1064 nm")
    found = assess(parse_case(text.replace('kind = "continuous"\npower = "20 mW"', pulses)))
    scan = next(one for one in found.scans if one.tissue == "eye")
    assert scan.running == 0.0
    row = next(s for s in found.scenarios if (s.way, s.tissue, s.modes) == ("direct", "eye", ("running",)))
    assert row.ratio_by_rule_set["EU-2006/25/EC"] > 1.5 * row.ratio_by_rule_set["ICNIRP-2013"] > 0.0
    assert [one.ratio for one in scan.places] == [pytest.approx(row.ratio)]


STAGE = """[scene]
stage_bearing = "0 deg"
[[scene.aim]]
laser = "W"
position = ["0 m", "0 m"]
height = "1.2 m"
bearing = "0 deg"
[[scene.target]]
name = "plate"
material = "steel"
shape = "flat"
[[scene.person]]
name = "Maker"
position = ["1 m", "1 m"]
"""


def with_line(share: str, stage: str = STAGE):
    line = f'[[laser.line]]\nname = "side"\nwavelength = "1064 nm"\nshare = {share}\n' if share else ""
    extra = 'aided = true\ndistance_from_work = "1 m"'
    return worked(laser(power="21 W", extra='work_distance = "1 m"'), line,
                  person("Maker", "0.5 m", "operator", extra), stage)  # fmt: skip


# 1064 nm and 1070 nm have one limit: a line with the part s of the power multiplies every ratio by 1 + s, no more, and
# every distance in the far field by its root.
@pytest.mark.parametrize(("share", "more"), [("1e-6", 1e-6), ("0.5", 0.5)])
def test_a_sum_takes_each_line_once_in_every_table_and_on_the_plan(share, more):
    alone, found = with_line(""), with_line(share)

    def rows(one):
        return {(s.way, s.modes, s.tissue): s for s in one.scenarios}

    before, after = rows(alone), rows(found)
    assert {key for key, s in before.items() if s.ratio > 1.0} <= set(after)
    for key in set(before) & set(after):
        assert after[key].ratio == pytest.approx(before[key].ratio * (1.0 + more), rel=1e-6), key
        assert after[key].exposure == pytest.approx(before[key].exposure, rel=1e-6), key  # of the main beam
        assert all(step.value <= 21.0 * (1.0 + 1e-6) for step in after[key].steps if step.symbol == "Φ")
    zones = {(z.way, z.tissue): z.distance for z in alone.setups[0].zones}
    for zone in found.setups[0].zones:
        before_it = zones[zone.way, zone.tissue]
        if zone.way != "scatter":
            far = before_it * math.sqrt(1.0 + more)
            assert zone.distance == pytest.approx(far, rel=0.05 * more + 1e-6), (zone.way, zone.tissue)
        else:  # of an extended spot at most in proportion
            assert before_it < zone.distance <= before_it * (1.0 + more) * (1.0 + 1e-9), zone.tissue
    drawn = {z.kind: z.distance for z in alone.scene.zones}
    for shape in found.scene.zones:
        # drawn from tables, which round outwards by a step of up to 0.8 %
        assert shape.distance == pytest.approx(drawn[shape.kind] * math.sqrt(1.0 + more), rel=0.05 * more + 8e-3)


# The same without places: the scatter of the lit spot, 8 mm seen from 1 m, keeps its credit as an extended source.
@pytest.mark.parametrize(("share", "more"), [("1e-6", 1e-6), ("0.5", 0.5)])
def test_rows_without_places_take_each_line_once_and_the_spot_as_extended(share, more):
    before, after = ({(s.way, s.tissue): s.ratio for s in with_line(one, "").scenarios} for one in ("", share))
    assert set(before) == set(after)
    for key, ratio in after.items():
        assert ratio == pytest.approx(before[key] * (1.0 + more), rel=1e-6), key


# A beam of 1 m focused 100 m away (10 mrad): lines of 0.9 and 0.2 of the limit where 7 mm take in all of the light. The
# sum 1.1 (1 - exp(-(7 mm / d)^2)) is 1 at d = 7 mm / sqrt(ln 11) = 4.52 mm, 0.452 m behind the focus; farther from the
# focus than that, on both sides, it is below 1, and a line alone is everywhere.
def test_a_sum_that_is_above_the_limit_in_a_focus_only_is_found():
    full = 10.0 * 10.0 ** (0.002 * 50.0) * math.pi * 7e-3**2 / 4.0  # W at 750 nm for 10 s: 10 C_A W/m2
    beam_of = through_lens(1.0, 100.0, "1/e")
    lines = [Line(name, 750e-9, continuous(part * full), beam_of) for name, part in (("A", 0.9), ("B", 0.2))]
    reach = summed_distance("ICNIRP-2013", "eye", lines, 10.0)
    assert all(summed_distance("ICNIRP-2013", "eye", [line], 10.0) == 0.0 for line in lines)
    assert reach == pytest.approx(100.0 + 7e-3 / math.sqrt(math.log(11.0)) / 10e-3, rel=1e-6)


# 10.6 um: what is said to be a mirror, with its reflectance and nothing else in reach, sends on that part of the power
# and no more; what is said to be matt may be a full mirror at this wavelength.
@pytest.mark.parametrize(("finish", "part"), [("mirror", 0.04), ("matt", 1.0)])
def test_a_stated_mirror_counts_in_the_far_infrared_too(finish, part):
    surface = (
        f'[[surface]]\nname = "Plate"\nmaterial = "quartz plate"\nfinish = "{finish}"\nreflectance = 0.04\n'
        'reflectance_source = "data sheet of the college store"\ndistance = "5 m"\n'
        "[settings]\nsurfaces_complete = true\n"
    )
    found = worked(laser(wavelength="10600 nm", power="100 W"), person("Visitor", "8 m"), surface)
    weaker = worked(laser(wavelength="10600 nm", power=f"{100.0 * part} W"), person("Visitor", "8 m"))
    zone = found.setups[0].zone("mirror", "eye")
    assert zone.distance == pytest.approx(weaker.setups[0].zone("direct", "eye").distance, rel=1e-9)


# A 1064 nm beam of 50 mrad lights a spot 100 mm wide, 2 m on; the 808 nm beside it of 1 mrad one of hypot(3 mm, 2 mm) =
# 3.61 mm. At 1 m that is 3.61 mrad: C_E = 2.404, T_2 = 10 * 10^(2.106/98.5) = 10.5 s, C_A = 10^0.216 = 1.644, limit for
# 100 s 18 * 1.644 * 2.404 * 10.5^-0.25 = 39.5 W/m2. 1 W over pi m2 are 0.3183 W/m2: ratio 0.00806. (As wide as the main
# beam it was 18 * 1.644 * 66.7 * 100^-0.25 = 624 W/m2, ratio 0.00051.) A spot that is typed is that of the main beam: a
# point, 16.44 W/m2, 0.01936.
@pytest.mark.parametrize(("typed", "by_hand"), [("", 0.008056), ('spot_diameter = "100 mm"', 0.01936)])
def test_a_further_wavelength_with_an_angle_of_its_own_earns_the_credit_of_its_own_spot(typed, by_hand):
    line = '[[laser.line]]\nname = "pump"\nwavelength = "808 nm"\npower = "1 W"\n'
    line += 'divergence = "1 mrad"\ndivergence_criterion = "1/e"\n[[laser.setup]]'
    main = beam("A", "1064 nm", "1 mW", "3 mm", "50 mrad").replace("[[laser.setup]]", line)
    main = main.rstrip("\n") + f'\nwork_distance = "2 m"\n{typed}\n'
    found = worked(main, person("Visitor", "3 m", extra='distance_from_work = "1 m"\n'))
    scatter = next(s for s in found.scenarios if s.way == "scatter" and s.tissue == "eye")
    part = next(share.fraction for share in scatter.shares if share.line == "pump")
    assert part == pytest.approx(by_hand, rel=1e-3)


# 1 W of 808 nm at 1 mrad: 10 C_A = 16.44 W/m2 are kept where the beam is sqrt(4 / (16.44 pi)) = 278.3 mm wide, 278.3 m
# away. At the 50 mrad of the main beam it was 5.57 m, and 'the farthest alone' the 10.1 m of the 10 W of 1064 nm. An
# angle of 2 sqrt(2) 100 um / (pi 6.2 um) = 14.5 rad from a fibre was refused.
def test_how_far_one_wavelength_reaches_alone_is_that_of_its_own_beam():
    line = '[[laser.line]]\nname = "pump"\nwavelength = "808 nm"\npower = "1 W"\n'
    line += 'divergence = "1 mrad"\ndivergence_criterion = "1/e"\n[[laser.setup]]'
    main = beam("A", "1064 nm", "10 W", "3 mm", "50 mrad").replace("[[laser.setup]]", line)
    found = worked(main, person("Visitor", "3 m"))
    together = next(one for one in found.sums if (one.way, one.tissue) == ("direct", "eye"))
    assert together.alone == pytest.approx(278.3, rel=1e-3)
    assert together.alone < together.distance < 1.001 * together.alone
    text = beam("A", "1064 nm", "10 W", "3 mm", "5 mrad").split("[[laser.setup]]")[0]
    text += '[[laser.line]]\nname = "far"\nwavelength = "100 um"\npower = "1 W"\n'
    text += '[[laser.setup]]\nname = "fibre"\nkind = "fibre single mode"\nmode_field_diameter = "6.2 um"\n'
    assert worked(text, person("Visitor", "3 m")).sums


# A fibre of 6.2 um for 1064 nm spreads 532 nm at least half as much: theta = 2 sqrt(2) wavelength / (pi w), since
# no field is wider at a shorter wavelength. At 3 m d63 = 3 m * 2 sqrt(2) 532 nm / (pi 6.2 um) = 231.8 mm, 1 W over 7 mm
# 23.7 W/m2 where 10 W/m2 are allowed; at the angle of 1064 nm it was a quarter. 1550 nm keeps the angle of 1064 nm.
@pytest.mark.parametrize(("wavelength", "by_hand"), [("532 nm", 23.69 / 10.0), ("1550 nm", 5.925 / 1000.0)])
def test_from_a_single_mode_fibre_a_shorter_wavelength_spreads_less(wavelength, by_hand):
    text = beam("A", "1064 nm", "1 uW", "3 mm", "5 mrad").split("[[laser.setup]]")[0]
    text += f'[[laser.line]]\nname = "other"\nwavelength = "{wavelength}"\npower = "1 W"\n'
    text += '[[laser.setup]]\nname = "fibre"\nkind = "fibre single mode"\nmode_field_diameter = "6.2 um"\n'
    found = worked(text, person("Visitor", "3 m"))
    hit = next(s for s in found.scenarios if s.way == "direct" and s.tissue == "eye")
    assert hit.ratio == pytest.approx(by_hand, rel=2e-3)
    free = zone_distances(contexts(parse_case(HEAD + text + person("Visitor", "3 m")))[0], "direct", "eye", {})
    assert float(free) == pytest.approx(found.setups[0].zone("direct", "eye").distance, rel=1e-12)


# 315 nm is the end of UV-B and the start of UV-A: it adds with 266 nm too. 30 000 s allow 30 and 1e4 J/m2, so at 20 m
# in beams of hypot(3 mm, 100 mm) = 100.04 mm, peak 127.2 / m2, 4.7 uW give 0.598 and 1.57 mW give 0.599 of the limits.
def test_light_on_the_edge_of_two_groups_adds_with_both():
    line = '[[laser.line]]\nname = "edge"\nwavelength = "315 nm"\npower = "1.57 mW"\n[[laser.setup]]'
    main = beam("A", "266 nm", "4.7 uW", "3 mm", "5 mrad").replace("[[laser.setup]]", line)
    found = worked(main, person("Visitor", "20 m"))
    peak = 1.0 / (math.pi / 4.0 * math.hypot(3e-3, 0.1) ** 2)
    by_hand = peak * (4.7e-6 / 1e-3 + 1.57e-3 / (1e4 / 3e4))
    for tissue in ("eye", "skin"):
        hit = next(s for s in found.scenarios if s.way == "direct" and s.tissue == tissue)
        assert hit.ratio == pytest.approx(by_hand, rel=2e-3)
        assert by_hand == pytest.approx(1.197, rel=1e-3)


# A diffuser of 2.8 mm lets the 405 nm of 42.3 mW beside 1320 nm through as well: at 0.1 m 42.3 mW / (pi 0.01 m2) are
# 1.346 W/m2, and 100 s of 405 nm allow 1 W/m2 (photochemical; 28 mrad earn no credit there). Of 808 nm, 4 W give 127.3
# W/m2; under 28 mrad it may get 18 * 10^0.216 * 18.67 * 18.58^-0.25 = 266 W/m2, 0.4786; 1 W of 820 nm adds 0.1132.
@pytest.mark.parametrize(("main", "power", "other", "less", "by_hand"), [
    ("1320 nm", "40 mW", "405 nm", "42.3 mW", 1.346), ("808 nm", "4 W", "820 nm", "1 W", 0.5918),
])  # fmt: skip
def test_an_extended_source_glows_in_every_wavelength_of_its_laser(main, power, other, less, by_hand):
    line = f'[[laser.line]]\nname = "other"\nwavelength = "{other}"\npower = "{less}"\n[[laser.setup]]'
    text = beam("A", main, power, "3 mm", "5 mrad").replace("[[laser.setup]]", line)
    found = worked(text, person("Visitor", "0.1 m"), '[[extended]]\nname = "opal"\nlaser = "A"\nsize = "2.8 mm"\n')
    eye = next(one for one in found.extended if one.tissue == "eye")
    assert eye.worst_ratio == pytest.approx(by_hand, rel=2e-3)
    glowing = [s.ratio for s in found.scenarios if "extended source" in s.modes and s.tissue == "eye"]
    assert glowing == [pytest.approx(by_hand, rel=2e-3)]


# 0.1 mW of 1064 nm is class 1 (1.9 mW), but 1 W of 532 nm beside it is more than the 0.5 W of class 3B.
def test_the_class_is_that_of_the_worst_wavelength():
    line = '[[laser.line]]\nname = "green"\nwavelength = "532 nm"\npower = "1 W"\n[[laser.setup]]'
    text = beam("A", "1064 nm", "0.1 mW", "3 mm", "5 mrad").replace('"4"', '"1"')
    (alone,) = worked(text, person("Visitor", "20 m")).class_checks
    (both,) = worked(text.replace("[[laser.setup]]", line), person("Visitor", "20 m")).class_checks
    assert (alone.computed, alone.label_is_lower, both.computed, both.label_is_lower) == ("1", False, "4", True)


def test_wavelengths_with_the_same_limits_are_worked_out_once(monkeypatch):
    # 1064 +- 5 nm lies in one row of every table: all draws of it are one case. Two wavelengths, a train, a lit spot
    # of 10 mm that is seen as an extended source: 150 trains were worked out for each draw.
    train = 'kind = "pulse train"\npulse_duration = "20 ns"\nrepetition_rate = "5 kHz"\npulse_energy = "2 mJ"\n'
    line = '[[laser.line]]\nname = "second"\nwavelength = "808 nm"\nshare = 0.1\n'
    text = HEAD + laser("M", "1064 nm", extra='work_distance = "1 m"', emission=train + line) + person()
    context = contexts(parse_case(text), ("ICNIRP-2013", "EU-2006/25/EC"))[0]
    alone = float(zone_distances(context, "scatter", "eye", {}))
    sizes, before = [], exposure.pulse_train_limit

    def counted(*given, **more):
        sizes.append(np.broadcast(*given[2:]).size)
        return before(*given, **more)

    monkeypatch.setattr(exposure, "pulse_train_limit", counted)
    draws = np.random.default_rng(5).uniform(1059e-9, 1069e-9, 2_000)
    assert zone_distances(context, "scatter", "eye", {"wavelength": draws}) == pytest.approx(alone, rel=1e-12)
    assert sum(sizes) < 5_000
