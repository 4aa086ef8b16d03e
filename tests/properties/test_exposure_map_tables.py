"""The exposure map of a beam that is not round is never below the ratio itself."""

from __future__ import annotations

import math

import numpy as np

from lasersafe.hazard.exposure import Received, continuous, criteria
from lasersafe.optics.beam import BeamGeometry
from lasersafe.scene.areas import hazard_map
from lasersafe.scene.beams import BeamProfile, Box
from lasersafe.scene.sources import Source
from lasersafe.scene.walls import Walls

FARTHEST = 60.0
BEAMS = {
    "two foci": BeamGeometry((0.2e-3, 0.3e-3), (10e-3, 50e-3), (0.3, 0.4)),
    "far foci": BeamGeometry((7.4e-3, 0.04e-3), (1.1e-3, 177e-3), (1.4, 19.1)),
    "two waists": BeamGeometry((40e-3, 48e-3), (20e-3, 20e-3), (2.0, 2.4)),
    "oblong": BeamGeometry((2e-3, 5e-3), (1e-3, 8e-3), (0.0, 0.0)),
    "oblong, even": BeamGeometry((2e-3, 5e-3), (1e-3, 8e-3), (0.0, 0.0), "top-hat"),
    "foci, even": BeamGeometry((8.7e-3, 0.1e-3), (0.4e-3, 16e-3), (0.15, 27.0), "top-hat"),
    "round, focus": BeamGeometry((0.016e-3,) * 2, (142e-3,) * 2, (4.46, 4.46)),
    "round, even": BeamGeometry((2e-3,) * 2, (3e-3,) * 2, (1.0, 1.0), "top-hat"),
}


def profile_of(beam: BeamGeometry, nanometre: float = 1064.0) -> BeamProfile:
    sets = ("ICNIRP-2013", "EU-2006/25/EC")
    found = [one for name in sets for one in criteria(Received(name, "eye", continuous(10.0), nanometre * 1e-9, 10.0))]
    return BeamProfile(beam, tuple(found))


def test_exposure_map_of_a_beam_that_is_not_round_is_not_low() -> None:
    # 10 W at 1064 nm, evenly filled, 2 mm x 5 mm, 1 mrad x 8 mrad: as far as the wide axis is below 7 mm, to
    # sqrt(7^2 - 5^2) / 8 = 0.6124 m, all of it goes through the pupil: 10 W / (pi (3.5 mm)^2) / 50 W/m2 = 5197.
    profile = profile_of(BEAMS["oblong, even"])
    x = np.linspace(0.55, 0.6123, 50)
    source = Source("direct", (0.0, 0.0, 1.6), Box(math.pi / 2.0, 0.0, (0.0, 0.0)), profile, 10.0)
    found = hazard_map([[[(source, Walls())]]], x, np.array([0.0]), (("eye", 1.6),)).ratio[0, 0]
    assert np.all(found >= 10.0 / (math.pi * 3.5e-3**2) / 50.0)
    assert found.max() < 5197.0 * 1.02
