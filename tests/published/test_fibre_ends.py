"""Spread of fibre ends and fraction through an aperture."""

from __future__ import annotations

import math

import pytest

from lasersafe.hazard.distances import direct_distance
from lasersafe.hazard.other_rules import emission_limit
from lasersafe.optics.beam import diameters, fibre_multimode, fibre_single_mode, fraction_through
from tests.published.printed import printed, worked

AEL_840 = emission_limit("1", 840e-9, 100.0) / 100.0  # W; at 840 nm as in edition 1.2 of IEC 60825-1, see FIB-01
MULTIMODE = fibre_multimode(0.20, "5 %")


def dbm(power: float) -> float:
    return 10.0 * math.log10(power / 1e-3)


@pytest.mark.published("KOLESAR2000", "50 um multimode fibre, NA 0.20, beam diameter d63")
@pytest.mark.parametrize(
    ("distance", "millimetres"), [pytest.param(14e-3, "3.294", id="FIB-02"), pytest.param(0.1, "23.53", id="FIB-06")]
)
def test_multimode_diameter(distance, millimetres):
    assert float(diameters(MULTIMODE, distance)[0]) * 1e3 == printed(millimetres)


@pytest.mark.published("KOLESAR2000", "50 um multimode fibre, fraction through 7 mm at 100 mm", note="FIB-07")
def test_fraction_through_seven_millimetres():
    dx, dy = diameters(MULTIMODE, 0.1)
    assert float(fraction_through(dx, dy, 7e-3)) == printed("0.085")


@pytest.mark.published("KOLESAR2000", "50 um multimode fibre, class 1 emission at 14 mm", note="FIB-04")
def test_greatest_emission_near():
    dx, dy = diameters(MULTIMODE, 14e-3)
    assert AEL_840 / float(fraction_through(dx, dy, 7e-3)) * 1e3 == printed("0.751")


@pytest.mark.published("KOLESAR2000", "50 um multimode fibre, class 1 emission at 100 mm", note="FIB-09")
def test_greatest_emission_far_in_dbm():
    dx, dy = diameters(MULTIMODE, 0.1)
    assert dbm(AEL_840 / float(fraction_through(dx, dy, 7e-3))) == printed("9.43")


@pytest.mark.published("KOLESAR2000-MAIL", "limit with all the power in the aperture", note="FIB-10")
def test_all_power_in_the_aperture():
    assert dbm(AEL_840 / float(fraction_through(0.0, 0.0, 7e-3))) == printed("-1.29")


@pytest.mark.published("KOLESAR2000", "hazard distance (1.7 / NA) sqrt(P / (pi MPE))", note="FIB-16, grade P")
def test_fibre_hazard_distance():
    beam = fibre_multimode(0.22, "5 %")
    assert direct_distance(20.0, 1000.0, 1e-6, beam) == worked("0.62")


@pytest.mark.published("KOLESAR2000", "single mode, d63 = 2 sqrt(2) r wavelength / (pi MFD)", note="formula, no figure")
def test_single_mode_diameter():
    # by hand: 2.828427 x 0.1 m x 1310 nm / (3.141593 x 9.3 um) = 12.682 mm
    dx, _ = diameters(fibre_single_mode(9.3e-6, 1310e-9), 0.1)
    assert float(dx) * 1e3 == worked("12.682")
