"""Camera sensors: two cases worked through by hand, limits of resolution, and silence where nothing is published."""

from __future__ import annotations

import math
import tomllib
from dataclasses import fields
from itertools import pairwise

import numpy as np
import pytest

from lasersafe.data import load, templates_path
from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.exposure import continuous, pulse_train
from lasersafe.hazard.instruments import (
    ADVICE,
    Camera,
    Sent,
    _Thresholds,
    known_threshold,
)
from lasersafe.optics.beam import BeamGeometry
from lasersafe.optics.reflection import LitSpot
from lasersafe.records.scene import CameraLine
from tests.project import bibliography
from tests.published.printed import printed

LENS = Camera("stage left", 50e-3, 2.8, 0.9)
STEADY = continuous(100.0)


def through(line: CameraLine) -> float:
    """Return the power that passes lens and filter, from its exposure and spot. [W]."""
    return line.exposure * math.pi / 4.0 * line.spot**2


@pytest.mark.published("CAMERA-DERIVED", "100 W, 450 nm, in 1 mm, reflectance 0.5, f/2.8", note="DERIVED")
def test_a_resolved_spot(published_row):
    exposure = LENS.lit_by_spot(STEADY, 450e-9, 2.0, LitSpot(0.5, diameter=1e-3)).exposure / 1e4
    assert 175.0 < exposure < 185.0  # about 180 W/cm2 with a lens that passes 0.9
    published_row("180", exposure, note="printed as about this, W/cm2")


@pytest.mark.published("CAMERA-DERIVED", "3 kW, 1070 nm, reflectance 0.3, at 2 m, 50 mm f/2.8", note="DERIVED")
def test_an_unresolved_spot():
    found = LENS.lit_by_spot(continuous(3000.0), 1070e-9, 2.0, LitSpot(0.3))
    assert not found.resolved
    assert found.spot * 1e6 == printed("7")
    assert through(found) * 1e3 == printed("16")
    assert round(found.exposure / 1e4, -4) == printed("4e4")
    assert found.threshold is None
    assert found.ratio is None
    assert "no published threshold is known for continuous light of 1070 nm" in found.words


def test_a_resolved_spot_is_as_bright_at_any_distance_and_an_unresolved_one_is_not():
    near, far = (LENS.lit_by_spot(STEADY, 532e-9, r, LitSpot(0.5, diameter=5e-3)) for r in (1.0, 4.0))
    assert near.resolved
    assert far.resolved
    assert near.exposure == pytest.approx(far.exposure, rel=2e-3)
    assert near.exposure == pytest.approx(100 / (math.pi / 4 * 25e-6) * 0.5 * 0.9 / (4 * 2.8**2), rel=2e-3)
    near, far = (LENS.lit_by_spot(STEADY, 532e-9, r) for r in (1.0, 4.0))
    assert near.exposure == pytest.approx(16.0 * far.exposure, rel=1e-12)
    # a larger spot is never brighter than one whose size is not known
    sizes = [LENS.lit_by_spot(STEADY, 532e-9, 2.0, LitSpot(diameter=d)).exposure for d in np.geomspace(1e-6, 0.1, 60)]
    assert max(sizes) <= LENS.lit_by_spot(STEADY, 532e-9, 2.0).exposure * (1 + 1e-9)
    assert all(a >= b * (1 - 1e-9) for a, b in pairwise(sizes))


def test_a_beam_in_the_lens_holds_no_more_than_the_beam():
    beam = BeamGeometry((3e-3, 3e-3), (1e-3, 1e-3))
    for place in (0.5, 20.0, 500.0):
        found = LENS.lit_by_beam(STEADY, 532e-9, beam, place)
        assert through(found) <= 90.0
        assert found.threshold is not None
        assert found.ratio == pytest.approx(found.exposure / 1e8)
    assert LENS.lit_by_beam(STEADY, 532e-9, beam, 0.5).ratio > 1e3


def test_what_a_mirror_sends_into_a_lens_beside_its_axis_is_taken_apart():
    """The line had one number for power, reflectance and place together. 0.7 x 0.25 of the beam: 0.175 of the load."""
    beam = BeamGeometry((3e-3, 3e-3), (1e-3, 1e-3))
    whole = LENS.lit_by_beam(STEADY, 532e-9, beam, 0.5)
    part = LENS.lit_by_beam(STEADY, 532e-9, beam, 0.5, Sent("mirror", 0.7, 0.25))
    assert part.exposure == pytest.approx(0.175 * whole.exposure, rel=1e-12)
    assert part.steps[-1].numbers.startswith(f"{STEADY.power:g} · 0.7 · 0.25 · ")
    assert part.way == "mirror"


@pytest.mark.parametrize(
    ("wavelength", "pulse", "value"),
    [
        (532e-9, None, 1e8),
        (532e-9, 10e-9, 789.0),
        (532e-9, 1e-6, None),
        (532e-9, 1e-12, None),
        (450e-9, None, None),
        (1070e-9, None, None),
        (1064e-9, 10e-9, None),
        (1550e-9, 10e-9, None),
    ],
)
def test_a_threshold_counts_only_for_its_own_wavelength_and_mode(wavelength, pulse, value):
    found = known_threshold(wavelength, pulse)
    assert (None if found is None else found.value) == (None if value is None else pytest.approx(value))
    assert {one.source for one in load(_Thresholds).threshold} <= set(bibliography())


def test_advice_and_never_a_verdict():
    assert not {field.name for field in fields(CameraLine)} & {"below", "holds", "verdict", "safe"}
    with templates_path("wording", "en", "cameras.toml").open("rb") as file:
        wording = tomllib.load(file)
    assert set(wording["advice"]) == {key for keys in ADVICE.values() for key in keys}
    train = LENS.lit_by_spot(pulse_train(1e-3, 10e-9, 1e3), 532e-9, 2.0)
    assert "a train damages at less" in train.words
    assert train.unit == "J/m2"
    for bad in (math.nan, 0.0, -1.0):
        with pytest.raises(OutOfRangeError):
            LENS.lit_by_spot(continuous(1.0), 532e-9, bad)


def test_a_lens_beside_a_focus_that_is_a_point_is_counted_too() -> None:
    # Nothing is known of how the light falls off beside a point: the whole share counts, F = 1. It was a traceback.
    point = BeamGeometry((0.0, 0.0), (0.1, 0.1), (0.15, 0.15))
    there = LENS.lit_by_beam(STEADY, 532e-9, point, 0.15, Sent(aside=1.0))
    assert there.exposure == LENS.lit_by_beam(STEADY, 532e-9, point, 0.15).exposure > 0.0
