"""Distances on arrays against the functions that one case goes through, beam by beam."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.hazard import exposure
from lasersafe.hazard.distances import beam_reach, direct_reach, reaches, scatter_distance
from lasersafe.hazard.exposure import Emission, Received, compare
from lasersafe.hazard.scatter import scatter_reach
from lasersafe.limits import rule_sets
from lasersafe.optics.beam import BeamGeometry
from lasersafe.optics.reflection import LitSpot

KINDS = ("continuous", "single pulse", "pulse train")
BEAMS = 40


def drawn(kind: str, tissue: str):
    """Return random settings, wavelengths, durations and beams of one kind, edges of the tables among them."""
    random = np.random.default_rng([KINDS.index(kind), tissue == "skin"])
    edges = np.array([315e-9, 400e-9, 700e-9, 1050e-9, 1400e-9, 1.5e-6, 2.6e-6])
    wavelength = np.where(
        random.random(BEAMS) < 0.3, random.choice(edges, BEAMS), 10 ** random.uniform(np.log10(200e-9), -4.9, BEAMS)
    )
    duration = random.choice([0.25, 10.0, 100.0, 1000.0, 30000.0], BEAMS)
    pulse = 10 ** random.uniform(-12, -4, BEAMS)
    rate = 10 ** random.uniform(0, 3.9, BEAMS)
    amount = 10 ** random.uniform(-7, 3, BEAMS)
    beam = [10 ** random.uniform(-5, -2, BEAMS), 10 ** random.uniform(-4, -1, BEAMS), random.uniform(0, 1, BEAMS)]
    return wavelength, duration, pulse, rate, amount, beam


@pytest.mark.parametrize("oblong", [1.0, 2.5], ids=["circular", "oblong"])
@pytest.mark.parametrize("tissue", ["eye", "skin"])
@pytest.mark.parametrize("kind", KINDS)
def test_many_beams_at_once_give_what_each_gives_alone(kind: str, tissue: str, oblong: float) -> None:
    wavelength, duration, pulse, rate, amount, (waist, angle, place) = drawn(kind, tissue)
    light = Emission(kind, power=amount, pulse_energy=amount, pulse_duration=pulse, repetition_rate=rate)
    sets = rule_sets()
    beams = BeamGeometry((waist, waist), (angle, angle * oblong), (place, place), "top-hat")
    compared = [one for name in sets for one in compare(Received(name, tissue, light, wavelength, duration))]
    direct = reaches(compared, lambda one: beam_reach(one, beams, 0.7))
    scatter = reaches(compared, lambda one: scatter_distance(one.amount, one.limit, 0.4, 0.3))
    for i in range(BEAMS):
        one = {
            "continuous": lambda i=i: exposure.continuous(float(amount[i])),
            "single pulse": lambda i=i: exposure.single_pulse(float(amount[i]), float(pulse[i])),
            "pulse train": lambda i=i: exposure.pulse_train(float(amount[i]), float(pulse[i]), float(rate[i])),
        }[kind]()
        beam = BeamGeometry((waist[i],) * 2, (angle[i], angle[i] * oblong), (place[i],) * 2, "top-hat")
        colour, time = float(wavelength[i]), float(duration[i])
        for name in sets:
            alone = direct_reach(Received(name, tissue, one, colour, time), beam, 0.7)
            spread = scatter_reach(Received(name, tissue, one, colour, time), LitSpot(0.4, 0.3))
            assert direct.by_rule_set[name][i] == pytest.approx(alone.distance, rel=1e-9, abs=0)
            assert scatter.by_rule_set[name][i] == pytest.approx(spread.distance, rel=1e-9, abs=0)
        far = max(sets, key=lambda name: direct.by_rule_set[name][i])
        assert direct.distance[i] == direct.by_rule_set[far][i]
        if direct.distance[i] > 0.0:
            alone = direct_reach(Received(far, tissue, one, colour, time), beam, 0.7)
            assert direct.labels[direct.decided[i]] == (far, alone.criterion.hazard, alone.criterion.rule)
            assert direct.limit[i] == pytest.approx(alone.criterion.limit, rel=1e-9)
            assert direct.limiting_aperture[i] == pytest.approx(alone.criterion.limiting_aperture, rel=1e-9)
    assert (direct.distance > 0.0).any()
