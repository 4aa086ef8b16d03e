"""Pulses behind a scanner, put on the path of the spot one by one and counted where most of them cross an aperture."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.hazard.exposure import continuous, pulse_train
from lasersafe.hazard.scanning import Scan, running_ratios, scan_finding, scan_ratio
from lasersafe.hazard.settings import Tried
from lasersafe.models import parse_case
from lasersafe.optics.beam import collimated, diameters, mean_exposure
from lasersafe.optics.viewing import ScanPattern, sweep_widths

SETS = ("ICNIRP-2013", "EU-2006/25/EC")
BEAM = collimated(3e-3, 1e-3, "1/e")
PLACE, DURATION = 9.5, 10.0
LINE = ScanPattern("line", (0.2, 0.2), 15.7, "triangle")


def most_pulses(pattern, rate, duration=DURATION):
    """How many pulses touch the aperture at the place on the line where most of them do."""
    spot = float(diameters(BEAM, PLACE)[0])
    reach = 0.5 * (spot + 3.5e-3)
    phase = np.arange(int(duration * rate)) / rate * pattern.frequency
    half = 0.5 * pattern.width[0] * PLACE
    even = pattern.waveform == "triangle"
    x = half * (4.0 * np.abs(phase % 1.0 - 0.5) - 1.0) if even else half * np.cos(2.0 * np.pi * phase)
    y = np.floor(phase % pattern.lines) * pattern.pitch * PLACE if pattern.kind == "raster" else 0.0 * phase
    found = 0
    for height in np.unique(y)[1:2] if y.any() else [0.0]:
        for centre in np.linspace(-half, half, 401):
            found = max(found, int((np.hypot(x - centre, y - height) < reach).sum()))
    return found


def counted(pattern, rate, wavelength=1550e-9):
    """How many pulses the ratio stands for: 1e4 J/m2 hold for up to 10 s, shared by all of them."""
    exposure = float(mean_exposure(1e-3, *diameters(BEAM, PLACE), 3.5e-3, "gaussian"))
    emission = pulse_train(1e-3, 1e-8, rate)
    ratio = [float(scan_ratio(Scan(s, "eye", BEAM, wavelength, DURATION, pattern), emission, PLACE)) for s in SETS]
    return max(ratio) * 1e4 / exposure


def test_every_pass_in_the_middle_of_a_line_counts_whole():
    # 58 pulses in each period of 1/15.7 s: in the middle of the line one pulse there and one back, 157 periods in 10 s,
    # 314 pulses and 1 more when both ends count; the spot needs 32.8 mm for two pulses at an end, it has 16
    assert most_pulses(LINE, 58 * 15.7) == 314
    assert 315 <= counted(LINE, 58 * 15.7) <= 2 * 158 * (1 + 1e-9)


def test_separate_passes_are_pulses_of_a_train_of_their_own():
    # 1064 nm, EU: 2 x 157 pulses of 5e-2 J/m2 with N^-0.25; as one pulse in each period they would be 2^0.25 less
    exposure = float(mean_exposure(1e-3, *diameters(BEAM, PLACE), 7e-3, "gaussian"))
    emission = pulse_train(1e-3, 1e-8, 58 * 15.7)
    ratio = float(scan_ratio(Scan(SETS[1], "eye", BEAM, 1064e-9, DURATION, LINE), emission, PLACE))
    assert exposure / 5e-2 * 314**0.25 <= ratio <= exposure / 5e-2 * 320**0.25


@pytest.mark.parametrize("pattern", [
    LINE, ScanPattern("line", (0.2, 0.2), 15.7), ScanPattern("raster", (0.2, 0.2), 80.0, lines=4, pitch=5e-4),
], ids=["triangle", "sine", "raster"])  # fmt: skip
@pytest.mark.parametrize("per_period", [1.3, 7.0, 58.0, 60.37, 333.0])
def test_no_place_is_crossed_by_more_pulses_than_are_counted(pattern, per_period):
    rate = per_period * pattern.frequency
    least = most_pulses(pattern, rate)
    found = counted(pattern, rate)
    passes = float(pattern.most_passes(PLACE, 16e-3))
    assert least * (1 - 1e-9) <= found <= 2.5 * least + 1.5 * passes * DURATION / pattern.period


@pytest.mark.parametrize(("duration", "met"), [(10.0, 401), (10.01, 401), (0.25, 11), (0.02, 1)])
def test_limit_and_print_count_every_pass_that_the_exposure_meets(duration, met):
    # A turn every 25 ms, 0.3 ms long. Counted over 999 starts of the exposure in a period: passes that begin in it, 400
    # in 10 s, and passes that it meets, 401 where it begins within one. With E t_pass in each, N of the limit, 18 J/m2
    # t_pass^0.75 N^-0.25 of the directive, is the stricter one, which was printed; the limit counted 400.
    starts = np.linspace(0.0, 25e-3, 999, endpoint=False)[:, np.newaxis]
    begin = 25e-3 * np.arange(-1, 402)
    end = starts + duration * (1.0 - 1e-12)
    assert int(((begin + 3e-4 > starts) & (begin <= end)).sum(axis=1).max()) == met
    assert int(((begin >= starts) & (begin <= end)).sum(axis=1).max()) == met - (duration in (10.0, 0.25))
    scan = Scan("EU-2006/25/EC", "eye", BEAM, 532e-9, duration, ScanPattern("line", (0.2, 0.2), 40.0, "triangle"))
    found = scan_finding(scan, continuous(1.0), PLACE)
    irradiance = float(mean_exposure(1.0, *diameters(BEAM, PLACE), 7e-3, "gaussian"))
    assert found.passes == met
    assert found.criterion.rule in ("train", "single pulse")
    assert found.exposure == pytest.approx(irradiance * found.pass_time, rel=1e-12)
    assert found.criterion.limit == pytest.approx(18.0 * found.pass_time**0.75 * met**-0.25, rel=1e-12)


def test_a_running_scan_can_be_worked_out_again_from_its_lines():
    # H = E t_pass; ratio = H / H_limit; H_limit is the last line of its limit, H_limit(t_pass) C_P or H_limit(T) / n
    case = Path(__file__).parent.parent / "golden" / "cases" / "scanned-line-continuous.toml"
    found = [s for s in assess(parse_case(case.read_text(encoding="utf-8"), "")).scenarios if "t_pass" in str(s.steps)]
    for one in found:
        stay, _, exposure, ratio = one.steps
        irradiance, _, time = str(exposure.numbers).partition(" W/m2 · ")
        assert float(irradiance) * float(time.removesuffix(" s")) == pytest.approx(exposure.value, rel=1e-4)
        assert float(time.removesuffix(" s")) == pytest.approx(stay.value, rel=1e-4)
        limit = one.criterion.steps[-1]
        assert limit.value == one.criterion.limit
        assert exposure.value / limit.value == pytest.approx(ratio.value, rel=1e-12)
    assert {one.criterion.rule for one in found} == {"train", "mean"}


@pytest.mark.parametrize("wavelength", [532e-9, 1064e-9, 10.6e-6])
def test_many_settings_at_once_are_the_trains_of_each(wavelength):
    draw = np.random.default_rng(13)
    for tissue in ("eye", "skin"):
        hole = Scan(SETS[0], tissue, BEAM, wavelength, DURATION, LINE).aperture
        widths = sweep_widths(*diameters(BEAM, PLACE), hole)
        ways = np.array([[[float(of(PLACE, w))] for w in widths] for of in (LINE.dwell, LINE.most_passes, LINE.dwell)])
        pulse, rate = 10 ** draw.uniform(-9, -5, 20), 10 ** draw.uniform(1, 4.9, 20)
        for rule_set in SETS:
            scan = Scan(rule_set, tissue, BEAM, wavelength, DURATION, LINE)
            tried = Tried(np.full(20, 1e-3), pulse, rate, np.ones(20), 1.0 / rate)
            quick = running_ratios(scan, tried, ways)
            if wavelength > 2e-6 and tissue == "eye":
                continue  # apertures grow with time there; the quick way is for wide beams
            share = float(mean_exposure(1.0, *diameters(BEAM, PLACE), hole, "gaussian"))
            for t, f, value in zip(pulse, rate, quick, strict=True):
                full = scan_ratio(
                    Scan(rule_set, tissue, BEAM, wavelength, DURATION, LINE), pulse_train(1e-3, t, f), PLACE
                )
                # the quick way leaves out the windows inside one pass, which the full rules try as well
                assert value * share * (1 - 1e-9) <= float(full) <= value * share * 1.05
