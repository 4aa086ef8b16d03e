"""Propagation of uncertainty to a hazard distance, from the trade notes: a derived figure, not one of a standard."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.assessment.distances import zone_distances
from lasersafe.hazard.tolerances import slope
from tests.crosscheck.test_variation_one_by_one import made
from tests.published.printed import worked


@pytest.mark.published(
    "TRADE-UNCERTAINTY",
    "section 7, propagation",
    note="slopes of a far zone; u of power 5 %, of divergence 15 %, of limit 0",
)
@pytest.mark.parametrize(
    ("power", "divergence", "expected"), [pytest.param("0.05", "0.15", "0.15", id="power 5 %, divergence 15 %")]
)
def test_relative_uncertainty_of_a_distance(power: str, divergence: str, expected: str) -> None:
    own = made("free", {"power": 4e4, "divergence": 3e-3, "beam_diameter": 3e-3})
    nominal = {"power": 4e4, "divergence": 3e-3}
    slopes = [slope(lambda case: zone_distances(own, "direct", "eye", case), nominal, name) for name in nominal]
    found = float(np.hypot(slopes[0] * float(power), slopes[1] * float(divergence)))
    assert found == worked(expected)
