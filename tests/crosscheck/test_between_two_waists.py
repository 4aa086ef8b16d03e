"""The worst place of a beam with two waists, against a quadrature of its own on a fine grid."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.distances import exposure_ratios
from lasersafe.hazard.distances import worst_place
from lasersafe.hazard.other_rules import accessible_fraction
from lasersafe.limits import rule_sets
from lasersafe.models import parse_case
from lasersafe.optics.beam import BeamGeometry
from tests.case_head import HEAD

CASE = (
    HEAD
    + """\
[[laser]]
name = "L"
class_label = "3B"
wavelength = "1064 nm"
[laser.emission]
kind = "continuous"
power = "2.24 mW"
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = ["40.01 mm", "48.01 mm"]
divergence = "20 mrad"
criterion = "1/e"
waist_at = ["2 m", "2.4 m"]
[[person]]
name = "P"
role = "crew"
distance = "0.2 m"
distance_from_work = "0.2 m"
"""
)
PHI = (np.arange(4000) + 0.5) * 2.0 * math.pi / 4000


def mean(power: float, dx: float, dy: float, hole: float) -> float:
    """Return the mean of an elliptical Gaussian over a round hole, by the mean over all directions psi.

    tan psi = sqrt(a / b) tan phi spreads the nodes evenly over both ends of a long ellipse.
    """
    a, b, radius = max(dx, 1e-9) / 2.0, max(dy, 1e-9) / 2.0, hole / 2.0
    k = a / b
    weight = np.cos(PHI) ** 2 + k * np.sin(PHI) ** 2
    square = (a**2 * np.cos(PHI) ** 2 + b**2 * k * np.sin(PHI) ** 2) / weight
    outside = np.mean(np.exp(-(radius**2) / square) * math.sqrt(k) / weight)
    return float(power * (1.0 - outside) / (math.pi * radius**2))


def best_of(beam: BeamGeometry, power: float, hole: float, start: float, end: float, points: int) -> float:
    def width(axis: int, place: float) -> float:
        return math.hypot(beam.waist_diameter[axis], beam.divergence[axis] * (place - beam.waist_position[axis]))

    return max(mean(power, width(0, z), width(1, z), hole) for z in np.linspace(start, end, points))


def test_the_worst_place_between_two_waists_is_searched():
    # Waists of sqrt(40.01^2 - 40^2) = 0.894 mm and sqrt(48.01^2 - 48^2) = 0.980 mm. Where the beam covers least, at a
    # waist, it is 8 mm long: 45.3 W/m2 through 7 mm. Half-way, at 2.2 m, it is 4.1 mm round: 1 - exp(-(7 / 4.1)^2) =
    # 0.945 of 2.24 mW on 38.5 mm2 is 55.0 W/m2, over 50 W/m2 (1064 nm, 10 s) that is 1.10.
    beam = BeamGeometry(
        (math.sqrt(40.01e-3**2 - 40e-3**2), math.sqrt(48.01e-3**2 - 48e-3**2)), (20e-3, 20e-3), (2.0, 2.4)
    )
    by_hand = best_of(beam, 2.24e-3, 7e-3, 0.2, 3.0, 561) / 50.0
    assert by_hand == pytest.approx(1.10, abs=5e-3)
    case = parse_case(CASE)
    person = next(s for s in assess(case).scenarios if (s.way, s.tissue) == ("direct", "eye"))
    assert person.ratio == pytest.approx(by_hand, rel=1e-6)
    assert not person.below
    ratios = exposure_ratios(contexts(case, rule_sets())[0], "direct", "eye", 0.2, {"power": [2.24e-3, 1.12e-3]})
    assert ratios == pytest.approx([by_hand, by_hand / 2.0], rel=1e-6)


@pytest.mark.parametrize("hole", [1e-3, 3.5e-3, 7e-3])
@pytest.mark.parametrize(
    ("waists", "angles", "places"),
    [
        ((0.2e-3, 3e-3), (20e-3, 5e-3), (0.5, 1.5)),
        ((1e-4, 1e-4), (0.1, 0.1), (0.2, 4.0)),
        ((5e-3, 1e-3), (1e-3, 30e-3), (3.0, 0.1)),
        ((0.0, 0.5e-3), (50e-3, 10e-3), (1.0, 1.02)),
    ],
)
def test_no_place_between_two_waists_is_worse_than_the_worst_place(hole, waists, angles, places):
    beam = BeamGeometry(waists, angles, places)

    def at(place: float) -> float:
        width = [math.hypot(w, a * (place - p)) for w, a, p in zip(waists, angles, places, strict=True)]
        return mean(1.0, *width, hole)

    for near in (0.0, 0.5 * sum(places)):
        found = max(at(place) for place in worst_place(beam, near, (hole,)))
        assert found >= best_of(beam, 1.0, hole, near, max(places) + 0.1, 701) * (1.0 - 1e-6)


def test_a_class_counts_the_share_of_the_power_between_two_waists() -> None:
    """At both waists one axis is 5 mm wide, 0.9949 through 7 mm; half-way both are 2.5 mm, 1 - exp(-7.84) = 0.9996."""
    beam = BeamGeometry((10e-6, 10e-6), (0.1, 0.1), (0.3, 0.35))
    assert accessible_fraction(beam, 0.1, 7e-3) == pytest.approx(1.0 - math.exp(-((7.0 / 2.5) ** 2)), rel=1e-6)
