"""Scatter models against quadrature over the half space and over the face of a disc (scipy)."""

from __future__ import annotations

import math

import pytest
from scipy import integrate

from lasersafe.optics.reflection import (
    disc_factor,
    scatter_exposure,
    scatter_intensity,
    source_angle,
    source_angles,
)


@pytest.mark.parametrize("model", ["lambert", "hemisphere"])
def test_each_model_sends_out_what_it_takes_in(model):
    def ring(angle):
        return float(scatter_intensity(3.0, 0.4, angle, model)) * 2.0 * math.pi * math.sin(angle)

    value, _ = integrate.quad(ring, 0.0, math.pi / 2.0, epsabs=0.0, epsrel=1e-12)
    assert value == pytest.approx(1.2, rel=1e-11, abs=0)


@pytest.mark.parametrize("distance", [0.05, 1.0, 7.0])
def test_an_even_disc_seen_along_its_normal(distance):
    diameter, power = 0.8, 5.0
    radiance = power / math.pi / (math.pi * diameter**2 / 4.0)

    def ring(radius):
        slope2 = radius**2 + distance**2
        return radiance * (distance**2 / slope2) / slope2 * 2.0 * math.pi * radius  # both cosines, inverse square

    value, _ = integrate.quad(ring, 0.0, diameter / 2.0, epsabs=0.0, epsrel=1e-12)
    point = float(scatter_exposure(power, 1.0, distance))
    assert point * float(disc_factor(diameter, distance)) == pytest.approx(value, rel=1e-10, abs=0)
    assert value <= point


def test_each_axis_of_a_spot_is_limited_before_the_mean():
    # at 1 m: 20 mm long and 1 mm wide, the long axis seen at 60 degrees: 10 mrad and 1 mrad
    long_axis, short_axis = source_angles(1e-3, 20e-3, 1.0, math.pi / 3.0)
    assert float(long_axis) == pytest.approx(2.0 * math.atan(5e-3), rel=1e-12, abs=0)
    assert float(short_axis) == pytest.approx(2.0 * math.atan(0.5e-3), rel=1e-12, abs=0)
    free = float(source_angle(1e-3, 20e-3, 1.0, math.pi / 3.0))
    assert free == pytest.approx(5.5e-3, rel=1e-4, abs=0)
    limited = float(source_angle(1e-3, 20e-3, 1.0, math.pi / 3.0, smallest=1.5e-3, largest=5e-3))
    assert limited == pytest.approx((5e-3 + 1.5e-3) / 2.0, rel=1e-12, abs=0)


def test_a_spot_larger_than_the_distance_fills_at_most_half_the_view():
    assert float(source_angle(1e9, 1e9, 1e-3)) == pytest.approx(math.pi, rel=1e-9, abs=0)
