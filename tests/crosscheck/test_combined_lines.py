"""Sums of fractions against arithmetic that is written out anew, and distances against a fine search."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.hazard.combine import Line, group_of, sums_beyond
from lasersafe.hazard.distances import direct_distance
from lasersafe.hazard.exposure import Received, continuous, criteria, pulse_train
from lasersafe.limits import hazard_limits
from lasersafe.optics.beam import collimated, diameters, fraction_through, through_lens
from lasersafe.optics.reflection import LitSpot
from lasersafe.optics.viewing import offset_fraction, side_by_side
from tests.summed import summed_distance

ICNIRP, EU = "ICNIRP-2013", "EU-2006/25/EC"


def green(**powers):
    beam = collimated(2e-3, 1e-3, "1/e")
    wide = collimated(3e-3, 4e-3, "1/e")
    return [
        Line("532", 532e-9, continuous(powers.get("p532", 0.2)), beam),
        Line("808", 808e-9, continuous(powers.get("p808", 0.1)), wide),
        Line("1064", 1064e-9, continuous(powers.get("p1064", 0.3)), beam),
    ]


@pytest.mark.parametrize("rule_set", [ICNIRP, EU])
def test_sum_is_the_sum_of_exposure_over_limit(rule_set):
    for distance in (1.0, 30.0, 200.0):
        total = 0.0
        for line in green():
            dx, dy = diameters(line.beam, distance)
            through = line.emission.power * float(fraction_through(dx, dy, 7e-3)) / (math.pi * 3.5e-3**2)
            limit = next(h for h in hazard_limits(rule_set, "eye", line.wavelength, 10.0) if h.name == "retina thermal")
            total += through / float(limit.irradiance)
        found = next(s for s in sums_beyond(rule_set, "eye", green(), 10.0, distance) if s.group == "retina thermal")
        assert found.total == pytest.approx(total, rel=1e-12)
        assert [s.line for s in found.shares] == [
            s.line for s in sorted(found.shares, key=lambda s: s.fraction, reverse=True)
        ]


@pytest.mark.parametrize("rule_set", [ICNIRP, EU])
def test_distance_of_the_sum_is_where_a_fine_search_finds_it(rule_set):
    found = summed_distance(rule_set, "eye", green(), 10.0)
    grid = np.linspace(0.5 * found, 1.5 * found, 20001)
    over = [max(s.total for s in sums_beyond(rule_set, "eye", green(), 10.0, z)) > 1.0 for z in grid[::200]]
    last = grid[::200][np.flatnonzero(over)[-1]]
    assert last <= found <= (last + 200 * (grid[1] - grid[0])) * (1.0 + 1e-12)
    assert found > max(summed_distance(rule_set, "eye", [line], 10.0) for line in green())
    assert sums_beyond(rule_set, "eye", green(), 10.0, found)[0].total == pytest.approx(1.0, abs=1e-9)


def test_one_line_alone_keeps_its_own_distance():
    line = green()[0]
    alone = max(
        direct_distance(c.amount, c.limit, c.limiting_aperture, line.beam)
        for c in criteria(Received(ICNIRP, "eye", line.emission, line.wavelength, 10.0))
    )
    assert summed_distance(ICNIRP, "eye", [line], 10.0) == alone


def test_two_equal_halves_are_the_whole():
    beam = through_lens(8e-3, 0.1, "1/e")
    half = [Line(name, 1064e-9, continuous(5.0), beam) for name in "ab"]
    whole = [Line("c", 1064e-9, continuous(10.0), beam)]
    for tissue in ("eye", "skin"):
        one, two = (summed_distance(EU, tissue, lines, 10.0) for lines in (whole, half))
        assert two == pytest.approx(one, rel=1e-12)


def test_different_tissues_do_not_add():
    beam = collimated(2e-3, 1e-3, "1/e")
    lines = [Line("532", 532e-9, continuous(1.0), beam), Line("2940", 2940e-9, continuous(1.0), beam)]
    sums = sums_beyond(ICNIRP, "eye", lines, 10.0, 10.0)
    assert {s.group for s in sums} == {"retina thermal", "retina photochemical", "cornea and lens"}
    assert all(len(s.shares) == 1 for s in sums)
    assert len(sums_beyond(ICNIRP, "skin", lines, 10.0, 10.0)[0].shares) == 2


@pytest.mark.parametrize(
    ("first", "second", "eye", "skin"),
    [
        (266e-9, 280e-9, True, True),  # UV-C with UV-B
        (266e-9, 355e-9, False, False),  # UV-C with UV-A
        (266e-9, 532e-9, False, False),
        (355e-9, 532e-9, False, True),  # UV-A with visible: skin
        (355e-9, 10.6e-6, True, True),  # UV-A with IR-C: both
        (532e-9, 1064e-9, True, True),
        (532e-9, 10.6e-6, False, True),
        (1550e-9, 10.6e-6, True, True),
    ],
)
def test_table_of_additions(first, second, eye, skin):
    def groups(tissue, wavelength):
        return {
            group_of(tissue, h.name, wavelength)
            for h in hazard_limits(EU, tissue, wavelength, 1.0)
            if np.isfinite(float(h.irradiance))
        }

    assert bool(groups("eye", first) & groups("eye", second)) is eye
    assert bool(groups("skin", first) & groups("skin", second)) is skin


def test_pulsed_and_continuous_lines_add():
    beam = collimated(2e-3, 1e-3, "1/e")
    lines = [
        Line("1064", 1064e-9, pulse_train(1e-4, 10e-9, 1000.0), beam),
        Line("808", 808e-9, continuous(1.0), beam),
    ]
    found = summed_distance(ICNIRP, "eye", lines, 10.0)
    assert found > max(summed_distance(ICNIRP, "eye", [line], 10.0) for line in lines) > 0.0
    assert sums_beyond(ICNIRP, "eye", lines, 10.0, found)[0].total == pytest.approx(1.0, abs=1e-9)


def test_scattered_fractions_of_a_point_fall_with_the_square_and_add():
    def total(lines, distance):
        return sums_beyond(EU, "eye", lines, 100.0, distance, LitSpot(0.8, 0.5))[0].total

    lines = green()
    each = [total([one], 1.0) for one in (lines[1], lines[2])]
    assert total(lines[1:], 3.0) == pytest.approx(sum(each) / 9.0, rel=1e-12)


def test_offset_fraction_against_points_thrown_at_random():
    random = np.random.default_rng(9)
    points = random.normal(0.0, 4e-3 / (2.0 * math.sqrt(2.0)), (400_000, 2))
    for offset in (0.0, 2e-3, 5e-3):
        inside = (np.hypot(points[:, 0] - offset, points[:, 1]) <= 3.5e-3).mean()
        assert float(offset_fraction(4e-3, 7e-3, offset)) == pytest.approx(inside, abs=4e-3)
    assert float(offset_fraction(4e-3, 7e-3, 0.0)) == pytest.approx(float(fraction_through(4e-3, 4e-3, 7e-3)), rel=1e-4)


def test_beams_side_by_side_are_bounded_by_one_point_source():
    beam = collimated(3e-3, 1e-3, "1/e")
    near = side_by_side(beam, (4, 3), (6e-3, 6e-3), 1.0)
    assert near.offset < 0.5 * near.joined
    assert near.sources == "several sources"
    assert near.separation == pytest.approx(6e-3)
    far = side_by_side(beam, (4, 3), (6e-3, 6e-3), 200.0)
    assert far.sources == "one source"
    assert far.offset == pytest.approx(far.joined, rel=0.1)
    assert far.offset <= far.joined
