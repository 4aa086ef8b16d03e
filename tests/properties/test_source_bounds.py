"""Scanned beams, sums and extended sources: what must hold for any input."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.hazard.combine import Line, sums_beyond
from lasersafe.hazard.exposure import Received, compare_source, continuous, pulse_train
from lasersafe.hazard.scanning import Scan, scan_distance, scan_ratio
from lasersafe.hazard.scatter import Viewed
from lasersafe.optics.beam import collimated
from lasersafe.optics.viewing import ExtendedSource, ScanPattern
from tests.few import few
from tests.summed import summed_distance

RULE_SETS = st.sampled_from(["ICNIRP-2013", "EU-2006/25/EC"])
KINDS = st.sampled_from(["line", "circle", "figure of eight", "wobble"])
BEAM = collimated(3e-3, 1e-3, "1/e")


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


@given(kind=KINDS, width=number(1e-3, 1.5), sweep=number(1e-4, 1.0), part=st.floats(0.01, 1.0), rate=number(1.0, 1e4))
@few(150)
def test_dwell_grows_with_the_sweep_and_stays_within_the_period(kind, width, sweep, part, rate):
    pattern = ScanPattern(kind, (width, width), rate)
    whole, less = pattern.dwell(5.0, [sweep, sweep * part])
    assert 0.0 < less <= whole * (1.0 + 1e-12)
    assert whole <= pattern.period


@given(rule_set=RULE_SETS, kind=KINDS, rate=number(5.0, 500.0), distance=number(0.5, 300.0))
@few(25)
def test_running_continuous_beam_is_proportional_to_power_and_never_above_the_stopped_one(
    rule_set, kind, rate, distance
):
    pattern = ScanPattern(kind, (0.4, 0.4), rate)
    place = np.array([distance])
    one, two = (
        float(scan_ratio(Scan(rule_set, "eye", BEAM, 650e-9, 10.0, pattern), continuous(p), place)[0])
        for p in (1.0, 2.0)
    )
    assert two == pytest.approx(2.0 * one, rel=1e-9)
    still = ScanPattern(kind, (1e-6, 1e-6), rate)  # too narrow for any credit
    stopped = float(scan_ratio(Scan(rule_set, "eye", BEAM, 650e-9, 10.0, still), continuous(1.0), place)[0])
    assert one <= stopped * (1.0 + 1e-9)


@given(rule_set=RULE_SETS, energy=number(1e-7, 1e-3), rate=number(1e2, 1e6))
@few(15)
def test_beyond_the_distance_of_a_running_scan_nothing_is_above_the_limit(rule_set, energy, rate):
    emission, pattern = pulse_train(energy, 1e-8, rate), ScanPattern("line", (0.3, 0.3), 60.0)
    distance = scan_distance(Scan(rule_set, "eye", BEAM, 1064e-9, 10.0, pattern), emission)
    places = max(distance, 1e-3) * np.geomspace(1.0, 100.0, 60)
    assert (scan_ratio(Scan(rule_set, "eye", BEAM, 1064e-9, 10.0, pattern), emission, places) <= 1.0).all()


@given(
    rule_set=RULE_SETS,
    powers=st.lists(number(1e-4, 10.0), min_size=2, max_size=4),
    distance=number(0.1, 1e3),
    tissue=st.sampled_from(["eye", "skin"]),
)
@few(40)
def test_a_sum_is_not_below_any_share_and_does_not_depend_on_the_order(rule_set, powers, distance, tissue):
    wavelengths = (532e-9, 808e-9, 1064e-9, 2e-6)
    lines = [Line(str(i), wavelengths[i], continuous(p), BEAM) for i, p in enumerate(powers)]
    sums = {s.group: s for s in sums_beyond(rule_set, tissue, lines, 10.0, distance)}
    other = {s.group: s for s in sums_beyond(rule_set, tissue, lines[::-1], 10.0, distance)}
    assert sums.keys() == other.keys()
    for group, found in sums.items():
        assert found.total == other[group].total
        assert found.total >= max(s.fraction for s in found.shares)
    reach = summed_distance(rule_set, tissue, lines, 10.0)
    assert reach >= summed_distance(rule_set, tissue, lines[:1], 10.0)
    beyond = max(reach, 1e-3) * 1.0000001
    assert max(s.total for s in sums_beyond(rule_set, tissue, lines, 10.0, beyond)) <= 1.0


@given(
    rule_set=RULE_SETS,
    first=number(1e-5, 1.0),
    second=number(1e-5, 1.0),
    more=st.floats(1.0, 10.0),
    duration=number(1e-2, 1e4),
)
@few(60)
def test_a_larger_source_never_has_a_lower_thermal_limit_than_a_point(rule_set, first, second, more, duration):
    def limit(one: float, two: float) -> float:
        rows = compare_source(
            Received(rule_set, "eye", continuous(1.0), 808e-9, duration), np.array([one]), np.array([two])
        )
        return min(float(r.limit[0]) for r in rows)

    point, source, wider = limit(0.0, 0.0), limit(first, second), limit(first * more, second)
    assert point <= source * 1.03  # the printed join of small and extended sources beyond 10 s
    assert source <= wider * 1.03


@given(share=st.floats(0.01, 0.99), distance=number(0.1, 10.0), rule_set=RULE_SETS)
@few(30)
def test_an_array_is_never_milder_than_its_brightest_emitter(share, distance, rule_set):
    source = ExtendedSource((1e-3, 1e-3), count=(2, 1), pitch=(20e-3, 20e-3), weights=(share, 1.0 - share))
    found = Viewed(Received(rule_set, "eye", continuous(1.0), 808e-9, 100.0), source).findings(distance)[0]
    alone = ExtendedSource((1e-3, 1e-3))
    power = continuous(max(share, 1.0 - share))
    assert found.ratio >= Viewed(Received(rule_set, "eye", power, 808e-9, 100.0), alone).findings(distance)[0].ratio * (
        1 - 1e-9
    )
