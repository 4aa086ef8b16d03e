"""A surface that sends nothing on: no light, a distance of nothing, and no division by it."""

from __future__ import annotations

import pytest

from lasersafe.assessment.calculation import distance_steps
from lasersafe.hazard.exposure import Received, continuous, criteria
from lasersafe.optics.beam import collimated


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_no_light_reaches_nowhere(profile: str) -> None:
    # A reflectance of 0 leaves 0 W of 5 W: below every limit everywhere.
    (light,) = criteria(Received("ICNIRP-2013", "skin", continuous(5.0).scaled(0.0), 1064e-9, 10.0))[:1]
    area, distance = distance_steps(light, collimated(5e-3, 1e-3, "1/e", profile), 0.0)
    assert area.symbol == "A"
    assert (distance.symbol, distance.value) == ("r", 0.0)
