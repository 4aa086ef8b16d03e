"""A surface that sends nothing on: no light, a distance of nothing, and no division by it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.calculation import distance_steps
from lasersafe.hazard.exposure import Received, continuous, criteria
from lasersafe.models import parse_case
from lasersafe.optics.beam import collimated
from tests.crosscheck.scene_description import Laser, Person, Scene, Surface, case_text


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_no_light_reaches_nowhere(profile: str) -> None:
    # A reflectance of 0 leaves 0 W of 5 W: below every limit everywhere.
    (light,) = criteria(Received("ICNIRP-2013", "skin", continuous(5.0).scaled(0.0), 1064e-9, 10.0))[:1]
    area, distance = distance_steps(light, collimated(5e-3, 1e-3, "1/e", profile), 0.0)
    assert area.symbol == "A"
    assert (distance.symbol, distance.value) == ("r", 0.0)


@pytest.mark.parametrize("radius", [0.0, 1.0, -1.0])
def test_a_surface_that_sends_nothing_back_is_no_mirror(radius: float) -> None:
    """A reflectance of 0, which a case may state, ended in a refusal that named no field."""
    laser, black = Laser(10.0, 5e-3, 1e-3, (0.0, 0.0, 1.5), 0.0), Surface("black", (0.0, 2.0, 1.5), 180.0)
    scene = Scene((laser,), (Person("Row", ((1.0, 4.0),)),), (replace(black, reflectance=0.0, radius=radius),))
    cells = assess(parse_case(case_text(scene))).scene.matrix
    assert max(c.ratio for c in cells if "mirror" in c.way and c.mode == "running") < 1e-3
