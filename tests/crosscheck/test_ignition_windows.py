"""Ignition and barriers in space: hand calculations, integrals over a plane, straight lines past an edge."""

from __future__ import annotations

import math

import pytest

from lasersafe.hazard.barriers import (
    Load,
    Rating,
    barrier_distance,
    judge_window,
    screening_thresholds,
)
from lasersafe.optics.beam import diameters, through_lens
from lasersafe.optics.reflection import LitSpot

SCREENING, ENCLOSURE = screening_thresholds()


@pytest.mark.published("TRADE-FIRE", "wooden door some 3 m behind the target", note="common practice, no source")
@pytest.mark.parametrize("focal_length", [0.25, 0.3, 0.5, 1.0])  # a long-focus head; 10 mm (1/e) at the lens
def test_a_door_behind_the_target_of_a_handheld_head_lies_in_the_ignition_zone(focal_length):
    beam = through_lens(10e-3, focal_length, "1/e")
    door = focal_length + 3.0  # the target stands in the focus
    assert barrier_distance(1500.0, SCREENING.irradiance, beam) > door
    spread = 10e-3 / focal_length * 3.0
    there = 4.0 * 1500.0 / (math.pi * spread**2)
    assert barrier_distance(1500.0, there, beam) == pytest.approx(door, rel=1e-6)


def test_thresholds():
    assert (SCREENING.irradiance, SCREENING.power, SCREENING.seen) == (5e3, None, "memory")
    assert (ENCLOSURE.irradiance, ENCLOSURE.power, ENCLOSURE.seen) == (1e5, 0.5, "memory")


def test_a_rated_barrier_may_stand_where_the_peak_is_below_its_rating():
    beam = through_lens(8.5e-3, 0.15, "1/e")
    found = {way: barrier_distance(power, 1e5, beam) for way, power in (("direct", 1500.0), ("mirror", 1005.0))}
    found["scatter"] = barrier_distance(1500.0, 1e5, LitSpot(0.5))
    for way, power in (("direct", 1500.0), ("mirror", 1005.0)):
        at = 4.0 * power / (math.pi * float(diameters(beam, found[way])[0]) ** 2)
        assert 1e5 * (1 - 1e-6) < at <= 1e5
    at = 0.5 * 1500.0 / (math.pi * found["scatter"] ** 2)
    assert 1e5 * (1 - 1e-6) < at <= 1e5
    assert found["scatter"] < found["mirror"] < found["direct"]
    assert barrier_distance(0.0, 1e5, beam) == 0.0


def test_a_window_needs_density_and_resistance():
    rated = Rating(1e5, 60.0), 10.0
    assert judge_window(1e4, 4.0, Load(1e4), *rated).holds
    assert judge_window(1e4, 4.0, Load(1e4), *rated).needed_density == 4.0
    assert judge_window(1.0002e4, 4.0, Load(1e4), *rated).needed_density == 4.1
    for density, irradiance in ((3.9, 1e4), (math.nan, 1e4), (4.0, 2e5), (4.0, math.nan)):
        verdict = judge_window(1e4, density, Load(irradiance), *rated)
        assert not verdict.holds
        assert verdict.verdict.startswith("does not hold")
    assert not judge_window(0.0, 0.0, Load(1e4), Rating(None), 10.0).holds
    assert judge_window(0.0, 0.0, Load(0.0), *rated).holds
