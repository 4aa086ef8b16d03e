"""Scanned beams (section 13 of the project's list of checks)."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.hazard.distances import highest_ratio
from lasersafe.hazard.exposure import Received, compare, continuous
from lasersafe.hazard.scanning import Scan, scan_finding
from lasersafe.limits import exposure_limit
from lasersafe.models import parse_case
from lasersafe.optics.beam import collimated
from lasersafe.optics.viewing import ScanPattern, sweep_widths
from tests.published.printed import printed, worked

ICNIRP, EU = "ICNIRP-2013", "EU-2006/25/EC"


@pytest.mark.published("SHOW-FORUM", "SCAN-01", note="10 mW/cm2, four times the limit of 0.25 s, as limit of one sweep")
@pytest.mark.parametrize("rule_set", [ICNIRP, EU])
def test_rule_of_thumb_for_one_sweep_means_a_millisecond(rule_set):
    sweep = float(exposure_limit(rule_set, "eye", 532e-9, 1e-3).irradiance)
    stare = float(exposure_limit(rule_set, "eye", 532e-9, 0.25).irradiance)
    assert sweep / 10.0 == printed("10")  # mW/cm2
    assert sweep / stare == printed("4")
    assert sweep == worked("101.2")


def test_a_sweep_lasts_between_the_wider_and_the_sum():
    """SCAN-01: between max(d, D) / v and (d + D) / v; in the middle of a triangle, half of the dwell at its edge."""
    for spot in (2e-3, 7e-3, 20e-3):
        short, long = sweep_widths(spot, spot, 7e-3)
        assert (float(short), float(long)) == (max(spot, 7e-3), pytest.approx(spot + 7e-3))
        pattern = ScanPattern("line", (0.2, 0.2), 25.0, "triangle")
        speed = 2.0 * 0.2 * 10.0 * 25.0  # both ways of the width at 10 m in each period
        for sweep in (short, long):
            assert float(pattern.dwell(10.0, sweep)) == pytest.approx(2.0 * float(sweep) / speed)


def test_turning_points_decide_not_the_mean_speed():
    sine = ScanPattern("line", (0.2, 0.2), 25.0)
    mean_speed = 2.0 * 0.2 * 10.0 * 25.0
    ours = float(sine.dwell(10.0, 9e-3))
    assert ours == pytest.approx(math.acos(1.0 - 9e-3 / 1.0) / (math.pi * 25.0))
    assert ours > 10.0 * 9e-3 / mean_speed


@pytest.mark.published("DGUV203-036", "SCAN-03")
@pytest.mark.parametrize("rule_set", [ICNIRP, EU])
def test_static_hit_of_four_seconds(rule_set):
    allowed = float(exposure_limit(rule_set, "eye", 532e-9, 4.0).irradiance) * math.pi * 3.5e-3**2
    assert allowed * 1e3 == printed("0.5")
    assert allowed * 1e3 == pytest.approx(0.490, abs=0.0005)
    beam = collimated(1e-3, 1e-3, "1/e")
    for power, given in ((0.9999 * allowed, True), (1.0001 * allowed, False)):
        ratio = float(highest_ratio(compare(Received(rule_set, "eye", continuous(power), 532e-9, 4.0)), beam, 0.5))
        assert (ratio <= 1.0) is given


def test_no_credit_without_a_monitored_cut_off():
    path = Path(__file__).parent.parent / "golden" / "cases" / "scanned-unmonitored.toml"
    case = path.read_text(encoding="utf-8")
    assert "monitored = true" not in case
    found = [str(one.surface) for one in assess(parse_case(case, "")).scenarios if "t_pass" in str(one.steps)]
    assert found
    assert all("scan running, movement not counted" in one for one in found)


def test_a_pattern_that_is_too_narrow_counts_as_standing():
    beam = collimated(3e-3, 1e-3, "1/e")
    narrow = ScanPattern("line", (15e-3, 15e-3), 100.0)
    found = scan_finding(Scan(ICNIRP, "eye", beam, 532e-9, 10.0, narrow), continuous(1.0), 1.0)
    assert found.standing
    assert found.criterion.note == "the beam counts as standing"
    assert float(narrow.dwell(1.0, np.array(10e-3))) == narrow.period
