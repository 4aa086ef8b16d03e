"""What a target lets through is a way for light of its own, which persons, barriers and zones know."""

from __future__ import annotations

import pytest

from lasersafe.assessment import assess
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from tests.behaviour.test_strike_outs import PLAIN, starter, strike

SHEET = """[[surface]]
name = "acrylic plate"
material = "acrylic, 3 mm"
finish = "matt"
distance = "150 mm"
"""
SCREEN = '[[barrier]]\nname = "curtain"\ndistance = "4 m"\nrating = "10 W/cm2"\nrated_time = "30000 s"\n'


def of(rows, way: str, tissue: str = "eye"):
    return next(row for row in rows if row.way == way and getattr(row, "tissue", tissue) == tissue)


def test_what_passes_a_target_reaches_persons_zones_and_barriers() -> None:
    found = assess(parse_case(PLAIN + SHEET + 'transmittance = "0.02"\n' + SCREEN))
    direct, passed = (of(found.scenarios, way) for way in ("direct", "transmitted"))
    # By hand: 0.02 * 500 W = 10 W. At 8 m the beam is 40.79 mm wide, so that through 7 mm come
    # 10 W (1 - exp(-(7 / 40.79)^2)) = 0.2902 W, over 38.48 mm2 that is 7541 W/m2.
    assert passed.exposure == pytest.approx(7541.0, rel=1e-3)
    assert passed.ratio == pytest.approx(0.02 * direct.ratio, rel=1e-12)
    assert not passed.below
    # The zone by hand: 10 W through 7 mm are 50 W/m2 (EU, 10 s) where (7 mm / d)^2 = -ln(1 - 50 * 38.48e-6 / 10),
    # d = 504.7 mm, and sqrt(504.7^2 - 8^2) mm / 5 mrad = 100.9 m.
    (setup,) = found.setups
    assert of(setup.zones, "transmitted").distance == pytest.approx(100.9, rel=1e-3)
    loads = {row.way: row for row in found.barriers}
    assert loads["transmitted"].irradiance == pytest.approx(0.02 * loads["direct"].irradiance, rel=1e-12)
    assert loads["transmitted"].holds
    assert not loads["direct"].holds


def test_nothing_passes_unless_a_figure_says_so() -> None:
    found = assess(parse_case(PLAIN + SHEET))
    assert {s.way for s in found.scenarios} == {"direct", "mirror", "scatter", "fibre broken"}
    assert all(zone.way != "transmitted" for setup in found.setups for zone in setup.zones)


def test_who_cannot_be_in_the_beam_is_still_reached_by_what_passes_and_it_is_struck_out_by_its_own_name() -> None:
    case = PLAIN + "in_beam_possible = false\n" + SHEET + 'transmittance = "0.02"\n'
    found = assess(parse_case(case))
    assert of(found.scenarios, "direct").struck_out
    passed = of(found.scenarios, "transmitted")
    assert not passed.struck_out
    assert passed.ratio > 1.0
    struck = assess(parse_case(case + strike("transmitted", "a steel box closes the back of the plate")))
    assert of(struck.scenarios, "transmitted").struck_out


def test_with_places_what_passes_counts_behind_the_target_with_its_share() -> None:
    plain = starter("visible-diode")
    case = parse_case(plain.replace("cut_through = false", 'cut_through = false\ntransmittance = "0.1"', 1))
    cells = {(cell.person, cell.mode, cell.way): cell for cell in assess(case).scene.matrix}
    passed = {key[:2]: cell for key, cell in cells.items() if key[2] == "transmitted"}
    assert passed
    assert {cell.tissue for cell in passed.values()} <= {"eye", "skin"}
    for person, cell in passed.items():
        missed = cells[*person, "missing the target"]
        assert cell.ratio == pytest.approx(0.1 * missed.ratio, rel=1e-9)


def test_of_a_bent_target_it_is_not_known_how_light_goes_on() -> None:
    plain = starter("visible-diode")
    bent = 'shape = "convex"\ncut_through = false\ntransmittance = "0.1"'
    with pytest.raises(CaseError, match="write shape = 'flat', or 0"):
        parse_case(plain.replace('shape = "flat"\ncut_through = false', bent, 1))
