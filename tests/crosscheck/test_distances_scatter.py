"""Scatter models against quadrature over the half space and over the face of a disc (scipy)."""

from __future__ import annotations

import math

import pytest
from scipy import integrate

from lasersafe.optics.reflection import (
    scatter_intensity,
    source_angles,
)
from lasersafe.optics.viewing import limited_angle


@pytest.mark.parametrize("model", ["lambert", "hemisphere"])
def test_each_model_sends_out_what_it_takes_in(model):
    def ring(angle):
        return float(scatter_intensity(3.0, 0.4, angle, model)) * 2.0 * math.pi * math.sin(angle)

    value, _ = integrate.quad(ring, 0.0, math.pi / 2.0, epsabs=0.0, epsrel=1e-12)
    assert value == pytest.approx(1.2, rel=1e-11, abs=0)


def test_each_axis_of_a_spot_is_limited_before_the_mean():
    # at 1 m: 20 mm long and 1 mm wide, the long axis seen at 60 degrees: 10 mrad and 1 mrad
    long_axis, short_axis = source_angles(1e-3, 20e-3, 1.0, math.pi / 3.0)
    assert float(long_axis) == pytest.approx(2.0 * math.atan(5e-3), rel=1e-12, abs=0)
    assert float(short_axis) == pytest.approx(2.0 * math.atan(0.5e-3), rel=1e-12, abs=0)
    free = float(limited_angle(long_axis, short_axis, 0.0, math.pi))
    assert free == pytest.approx(5.5e-3, rel=1e-4, abs=0)
    limited = float(limited_angle(long_axis, short_axis, 1.5e-3, 5e-3))
    assert limited == pytest.approx((5e-3 + 1.5e-3) / 2.0, rel=1e-12, abs=0)


def test_a_spot_larger_than_the_distance_fills_at_most_half_the_view():
    assert float(source_angles(1e9, 1e9, 1e-3)[0]) == pytest.approx(math.pi, rel=1e-9, abs=0)
