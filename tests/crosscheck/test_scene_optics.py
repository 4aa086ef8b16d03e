"""Loss in air, aided viewing and visual interference against second methods and against their bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.distances import attenuated_distance, beam_reach, direct_distance
from lasersafe.hazard.exposure import Comparison
from lasersafe.hazard.instruments import UNDESCRIBED, aid, through, transmission
from lasersafe.hazard.other_rules import interference, photopic_factor
from lasersafe.optics.beam import BeamGeometry, diameters, mean_exposure
from lasersafe.optics.viewing import kruse_attenuation, transmitted

BEAMS = [
    BeamGeometry((3e-3, 3e-3), (1e-3, 1e-3)),
    BeamGeometry((3e-3, 5e-3), (1e-3, 4e-3), (-2.0, 1.0)),
    BeamGeometry((1e-3, 1e-3), (5e-3, 5e-3), (400.0, 400.0)),  # focused far away
]


@pytest.mark.parametrize("beam", BEAMS)
@pytest.mark.parametrize("attenuation", [1e-7, 1e-5, 1e-3, 0.05])
def test_loss_in_air_by_a_root_finder(beam, attenuation):
    def excess(z):
        dx, dy = diameters(beam, z)
        return float(mean_exposure(100.0, dx, dy, 7e-3) * np.exp(-attenuation * z) / 10.0) - 1.0

    found = attenuated_distance(100.0, 10.0, 7e-3, beam, attenuation)
    places = np.geomspace(1e-6, found[0] * 1.01, 20000)
    over = np.flatnonzero([excess(z) > 0 for z in places[::10]])
    last = int(over[-1]) * 10
    expected = brentq(excess, places[last], places[min(last + 10, places.size - 1)])
    assert found[1] == pytest.approx(expected, rel=1e-9)
    assert found[1] <= found[0] == direct_distance(100.0, 10.0, 7e-3, beam)


@pytest.mark.parametrize("waists", [(4290.749, 4290.749), (4290.5, 4290.749)])
def test_a_focus_far_away_is_not_missed_in_air_with_a_loss(waists):
    # above 560 W/m2 from 0.25 m before the focus to 0.25 m behind it: 0.006 % of the way
    beam, loss = BeamGeometry((19.2e-3, 19.2e-3), (72e-3, 72e-3), waists), 2.5e-6
    without, found = attenuated_distance(0.314, 560.0, 7e-3, beam, loss)
    assert waists[1] < found < without
    exposure = float(mean_exposure(0.314, *diameters(beam, found), 7e-3)) * math.exp(-loss * found)
    assert exposure == pytest.approx(560.0, rel=1e-6)


def test_no_loss_changes_nothing_and_loss_is_monotone():
    distances = [attenuated_distance(100.0, 10.0, 7e-3, BEAMS[0], mu)[1] for mu in (0, 1e-20, 1e-6, 1e-4, 1)]
    assert distances[0] == distances[1] == direct_distance(100.0, 10.0, 7e-3, BEAMS[0])
    assert distances == sorted(distances, reverse=True)


def test_kruse():
    # a target at the visual range keeps 2 % of its contrast at 550 nm
    for visibility in (200.0, 5e3, 23e3, 100e3):
        assert float(transmitted(kruse_attenuation(visibility, 550e-9), visibility)) == pytest.approx(0.02, rel=1e-3)
    assert kruse_attenuation(10e3, 1064e-9) == pytest.approx(3.912e-4 * (1064 / 550) ** -1.3, rel=1e-12)
    edge = kruse_attenuation(6e3, 1064e-9)
    assert edge < kruse_attenuation(6e3 * (1 - 1e-9), 1064e-9)  # the smaller loss at an edge
    for bad in ((0.0, 1e-6), (math.nan, 1e-6), (1e4, 10.6e-6), (1e4, 355e-9), (2e6, 1e-6)):
        with pytest.raises(OutOfRangeError):
            kruse_attenuation(*bad)


@given(
    st.floats(1e-3, 1e5), st.floats(1e-2, 1e6), st.floats(1e-4, 0.2), st.sampled_from([10.6e-6, 355e-9, 532e-9])
)  # fmt: skip
def test_a_distance_behind_an_instrument_is_that_of_the_exposure_there(amount, limit, divergence, wavelength):
    beam = BeamGeometry((4e-3, 4e-3), (divergence, divergence))
    instrument = aid("binoculars 7x50")
    gain = instrument.gain(wavelength)
    one = Comparison("", "", "", amount, np.asarray(limit), np.asarray(7e-3))
    bare, aided = (float(beam_reach(seen, beam)) for seen in (one, *through([one], instrument, wavelength)))
    longer = max(1.0, math.sqrt(gain))
    assert aided <= max(bare, bare * longer * 1.01 + 5e-3 / divergence * longer)
    assert (aided == 0.0) >= (gain == 0.0)
    if aided > 0.0:
        dx, dy = diameters(beam, aided)
        assert gain * float(mean_exposure(amount, dx, dy, 50e-3)) == pytest.approx(limit, rel=1e-6)


def test_glass_and_instruments():
    assert [transmission(w) for w in (250e-9, 350e-9, 400e-9, 532e-9, 700e-9, 1070e-9, 2.9e-6)] == [
        0.0, 0.7, 0.9, 0.9, 0.9, 0.7, 0.0,
    ]  # fmt: skip
    assert aid("binoculars 7x50").gain(532e-9) == pytest.approx(0.9 * (50 / 7) ** 2)
    assert aid("binoculars 7x50").gain(10.6e-6) == 0.0
    assert all(UNDESCRIBED.gain(w) == pytest.approx((50 / 7) ** 2) for w in (355e-9, 532e-9, 1070e-9, 10.6e-6))


def test_photopic_factor_is_never_below_either_table_and_smooth_between():
    assert photopic_factor(555e-9) == 1.0
    assert photopic_factor(450e-9) == pytest.approx(0.038, rel=1e-12)
    assert photopic_factor(650e-9) == pytest.approx(0.107, rel=1e-12)
    assert photopic_factor(455e-9) == pytest.approx(math.sqrt(0.038 * 0.06), rel=1e-9)
    for bad in (399e-9, 701e-9, math.nan):
        with pytest.raises(OutOfRangeError):
            photopic_factor(bad)
    assert interference(5.0, 1070e-9, BEAMS[0], 100.0) == ()
