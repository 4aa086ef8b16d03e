"""The limits worked out a second time, with if-clauses typed from limits.md, against the table-driven evaluator."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.limits import exposure_limit, hazard_limits, pulse_train_limit
from lasersafe.limits.exposure import duration_edges, wavelength_edges
from tests.few import few

ICNIRP, EU = "ICNIRP-2013", "EU-2006/25/EC"
INFINITE = math.inf
LIST_303 = [40, 60, 100, 160, 250, 400, 630, 1e3, 1.6e3, 2.5e3, 4e3, 6.3e3]


def c_a(nm):
    return 1.0 if nm < 700 else 10 ** (0.002 * (nm - 700)) if nm < 1050 else 5.0


def c_b(nm):
    return 1.0 if nm < 450 else 10 ** (0.02 * (nm - 450))


def c_c(nm, eu):
    if nm < 1150:
        return 1.0
    if nm < 1200:
        return 10 ** (0.018 * (nm - 1150))
    return 8.0 if eu else 8 + 10 ** (0.04 * (nm - 1250))


def c_e(t, mrad, eu):
    largest = 100.0 if eu or t > 0.25 else 5.0 if t < 625e-6 else 200 * math.sqrt(t)
    if mrad <= 1.5:
        return 1.0
    return mrad / 1.5 if mrad <= largest else mrad**2 / (1.5 * largest)


def t_2(mrad):
    return 10.0 if mrad < 1.5 else 100.0 if mrad > 100 else 10 * 10 ** ((mrad - 1.5) / 98.5)


def skin_visible(nm, t):
    if t < 1e-9:
        return 2e11 * c_a(nm) * t
    return c_a(nm) * (200 if t < 1e-7 else 1.1e4 * t**0.25 if t < 10 else 2e3 * t)


def infrared(nm, t):
    peak, flat, until = (1e12, 1e3, 1e-3) if nm < 1500 or 1800 <= nm < 2600 else (1e11, 100, 1e-7)
    if 1500 <= nm < 1800:
        peak, flat, until = 1e13, 1e4, 10
    return peak * t if t < 1e-9 else flat if t < until else 5.6e3 * t**0.25 if t < 10 else 1e3 * t


def retina_thermal(nm, t, mrad, eu):
    factor = c_e(t, mrad, eu)
    if t >= 10:
        base = c_a(nm) * c_c(nm, eu)
        if mrad <= 1.5:
            return 10 * base * t
        if t <= t_2(mrad):
            return 18 * base * factor * t**0.75
        irradiance = 18 * base * factor * t_2(mrad) ** -0.25
        return (min(irradiance, 1000) if eu and nm >= 700 else irradiance) * t
    if eu:
        if nm < 1050:
            factor *= c_a(nm)
            parts = (1.5e-4, 2.7e4, 5e-3, 1.8e-5, 18)
        else:
            factor *= c_c(nm, eu)
            parts = (1.5e-3, 2.7e5, 5e-2, 5e-5, 90)
        first, rise, flat, until, slope = parts
        if t < 1e-9:
            return factor * (first if t < 1e-11 else rise * t**0.75)
        return factor * (flat if t < until else slope * t**0.75)
    if nm < 1050:
        if t < 1e-11:
            return 1e-3 * factor
        return c_a(nm) * factor * (2e-3 if t < 5e-6 else 18 * t**0.75)
    factor *= c_c(nm, eu)
    return factor * (1e-3 if t < 1e-11 else 2e-2 if t < 13e-6 else 90 * t**0.75)


def by_hazard(rule_set, tissue, nm, t, mrad):
    """Return dose limits by hazard at a point inside all ranges."""
    eu = rule_set == EU
    if nm < 400:
        if t < 1e-9:
            return {"ultraviolet peak": 3e10 * t}
        found = {"ultraviolet thermal": 5.6e3 * t**0.25} if t < 10 else {}
        if nm < 315:
            formula = 10 ** (0.2 * (nm - 295))
            if nm < (303 if eu else 302.5):
                formula = 30.0
            elif eu:
                formula = min(formula, LIST_303[int(nm) - 303])
            found["ultraviolet photochemical"] = formula
        elif t >= 10:
            found["ultraviolet photochemical"] = 1e4
        return found
    if nm >= 1400:
        return {"cornea thermal" if tissue == "eye" else "skin thermal": infrared(nm, t)}
    if tissue == "skin":
        return {"skin thermal": skin_visible(nm, t)}
    found = {"retina thermal": retina_thermal(nm, t, mrad, eu)}
    if nm < 600 and t >= 10:
        found["retina photochemical"] = c_b(nm) * (100 if t < 100 else t)
    if nm >= 1200 and not eu:
        found["cornea thermal"] = skin_visible(nm, t)
    return found


def aperture(rule_set, tissue, hazard, nm, t):
    """Return the limiting aperture in mm."""
    eu = rule_set == EU
    if tissue == "skin" or (hazard == "cornea thermal" and nm < 1400):
        return 11.0 if nm >= 1e5 and not eu else 3.5
    if nm >= 1e5:
        return 11.0
    if 400 <= nm < 1400:
        return 7.0
    return 1.0 if t < (0.3 if eu else 0.35) else 1.5 * t**0.375 if t < 10 else 3.5


def points(count, seed):
    generator = np.random.default_rng(seed)
    lam = np.where(
        generator.random(count) < 0.7,
        generator.uniform(180, 2700, count),
        np.exp(generator.uniform(np.log(180), np.log(1e6), count)),
    )
    t = np.exp(generator.uniform(np.log(1e-13), np.log(3e4), count))
    t = np.where(generator.random(count) < 0.3, np.exp(generator.uniform(np.log(10), np.log(3e4), count)), t)
    mrad = np.where(generator.random(count) < 0.3, 1.0, np.exp(generator.uniform(np.log(0.1), np.log(3000), count)))
    return lam, t, mrad


@pytest.mark.parametrize(("rule_set", "tissue"), list(product([ICNIRP, EU], ["eye", "skin"])))
def test_the_evaluator_agrees_with_the_second_method(rule_set, tissue):
    lam, t, mrad = points(6000, 20130700 + len(rule_set) + len(tissue))
    expected = [by_hazard(rule_set, tissue, *point) for point in zip(lam, t, mrad, strict=True)]
    got = exposure_limit(rule_set, tissue, lam * 1e-9, t, mrad * 1e-3)
    np.testing.assert_allclose(got.radiant_exposure, [min(e.values()) for e in expected], rtol=1e-11)
    np.testing.assert_allclose(got.irradiance, got.radiant_exposure / t, rtol=1e-14)
    hazards = [min(e, key=e.get) for e in expected]
    assert [str(h) for h in got.hazard] == hazards
    holes = [aperture(rule_set, tissue, h, a, b) for h, a, b in zip(hazards, lam, t, strict=True)]
    np.testing.assert_allclose(got.limiting_aperture * 1e3, holes, rtol=1e-12)


@pytest.mark.parametrize(("rule_set", "tissue"), list(product([ICNIRP, EU], ["eye", "skin"])))
def test_each_hazard_agrees_with_the_second_method(rule_set, tissue):
    lam, t, mrad = points(3000, 7)
    expected = [by_hazard(rule_set, tissue, *point) for point in zip(lam, t, mrad, strict=True)]
    limits = {h.name: h for h in hazard_limits(rule_set, tissue, lam * 1e-9, t, mrad * 1e-3)}
    assert set(limits) == {name for e in expected for name in e}
    for name, limit in limits.items():
        np.testing.assert_allclose(limit.radiant_exposure, [e.get(name, INFINITE) for e in expected], rtol=1e-11)


EDGES_NM = [302.5, 303, 315, 400, 450, 600, 700, 1050, 1150, 1200, 1400, 1500, 1800, 2600, 1e5]
EDGES_S = [1e-11, 1e-9, 1e-7, 5e-6, 13e-6, 18e-6, 50e-6, 625e-6, 1e-3, 0.25, 0.3, 0.35, 10.0, 100.0, 1e4]
INNER_NM = [250.0, 310.5, 350.0, 430.0, 520.0, 650.0, 900.0, 1064.0, 1175.0, 1300.0, 1450.0, 1550.0, 2000.0, 10600.0]
INNER_S = [1e-12, 1e-10, 1e-8, 1e-6, 8e-6, 1.5e-5, 3e-5, 1e-4, 1e-2, 1.0, 50.0, 1e3, 2e4]


def beside(value):
    return value * (1 - 1e-10), value * (1 + 1e-10)


def on_forms(value):
    """Return ways in which an edge reaches us after a change of unit, all within 1e-12 of it."""
    return [value, np.nextafter(value, 0), np.nextafter(value, INFINITE), value * (1 - 5e-13), value * (1 + 5e-13)]


@pytest.mark.parametrize(
    ("rule_set", "tissue", "mrad"), list(product([ICNIRP, EU], ["eye", "skin"], [1.0, 30.0, 200.0]))
)
def test_at_an_edge_the_stricter_row_applies(rule_set, tissue, mrad, monkeypatch):
    plain = c_a  # C_A steps at 1050 nm, and on the edge every row takes its lower value

    def lower_c_a(nm):
        return min(plain(nm * (1 - 1e-9)), plain(nm * (1 + 1e-9)))

    only_upper = {303.0, 315.0} if rule_set == EU else set()  # the print gives a value for the whole nanometre itself
    cases = [(nm, t, [nm], beside(t)) for nm in INNER_NM for t in EDGES_S]
    cases += [(nm, t, beside(nm), [t]) for nm in EDGES_NM for t in INNER_S]
    cases += [(nm, t, beside(nm), beside(t)) for nm in EDGES_NM for t in EDGES_S]
    for nm, t, lams, times in cases:
        kept = [lams[1]] if nm in only_upper else lams
        with monkeypatch.context() as on_the_edge:
            on_the_edge.setitem(globals(), "c_a", lower_c_a)
            lower = min(min(by_hazard(rule_set, tissue, a, b, mrad).values()) for a, b in product(kept, times))
        got = exposure_limit(rule_set, tissue, nm * 1e-9, t, mrad * 1e-3)
        assert float(got.radiant_exposure) == pytest.approx(lower, rel=1e-7), (nm, t)
        for a, b in product(lams, times):  # just beside the edge there is one row only
            here = float(exposure_limit(rule_set, tissue, a * 1e-9, b, mrad * 1e-3).radiant_exposure)
            assert here == pytest.approx(min(by_hazard(rule_set, tissue, a, b, mrad).values()), rel=1e-11), (a, b)


@pytest.mark.parametrize(("rule_set", "tissue"), list(product([ICNIRP, EU], ["eye", "skin"])))
def test_no_beam_may_have_more_on_an_edge_than_beside_it(rule_set, tissue):
    """Of a hazard with two apertures too: 978 J/m2 over 3.5 mm at 1400 nm, 100 ns allowed 12 times 1000 J/m2 over 1 mm.

    A wider aperture never takes in less, and over a narrower one the mean is never lower: one of both limits must hold.
    """
    lam = np.array([edge for edge in wavelength_edges([rule_set]) if 181e-9 < edge < 9e-4])[:, np.newaxis]
    times = np.array([t for t in duration_edges([rule_set]) if 1e-12 < t < 1e4])
    edge = {limit.name: limit for limit in hazard_limits(rule_set, tissue, lam, times)}
    for red, late in ((1e-10, 0.0), (-1e-10, 0.0), (0.0, 1e-10), (0.0, -1e-10), (1e-10, 1e-10), (-1e-10, -1e-10)):
        for beside in hazard_limits(rule_set, tissue, lam * (1.0 + red), times * (1.0 + late)):
            whole = red < 0.0 and rule_set == EU and beside.name == "ultraviolet photochemical"  # steps up, as printed
            on, hole, other = edge[beside.name], edge[beside.name].limiting_aperture, beside.limiting_aperture
            lower = on.radiant_exposure <= beside.radiant_exposure * (1.0 + 1e-7)
            less = on.radiant_exposure * hole**2 <= beside.radiant_exposure * other**2 * (1.0 + 1e-7)
            kept = np.where(hole <= other * (1.0 + 1e-7), lower, less) | np.isinf(beside.radiant_exposure)
            assert kept.all() or whole, (beside.name, lam[~kept.all(axis=1)], times[~kept.all(axis=0)])


@pytest.mark.parametrize("rule_set", [ICNIRP, EU])
@pytest.mark.parametrize("nm", [400, 700, 1050, 1400, 2600])
def test_an_edge_is_met_whatever_the_last_bits_are(rule_set, nm):
    exact = exposure_limit(rule_set, "eye", nm / 1e9, 1.0)
    for value in on_forms(nm * 1e-9):
        got = exposure_limit(rule_set, "eye", value, 1.0)
        assert float(got.radiant_exposure) == pytest.approx(float(exact.radiant_exposure), rel=1e-10)
        assert str(got.hazard) == str(exact.hazard)
    for value in on_forms(10.0):
        got = exposure_limit(rule_set, "skin", nm / 1e9, value)
        expected = exposure_limit(rule_set, "skin", nm / 1e9, 10.0)
        assert float(got.radiant_exposure) == pytest.approx(float(expected.radiant_exposure), rel=1e-10)


@pytest.mark.parametrize("nm", range(304, 315))
def test_whole_nanometres_of_the_directive_keep_their_printed_value(nm):
    value = min(10 ** (0.2 * (nm - 295)), LIST_303[nm - 303])
    for lam in (nm * 1e-9, nm / 1e9, *on_forms(nm * 1e-9)):
        assert float(exposure_limit(EU, "eye", lam, 100.0).radiant_exposure) == pytest.approx(value, rel=1e-10)


def test_at_315_nm_the_directive_has_the_value_printed_from_there():
    for lam in (315e-9, 315 / 1e9, *on_forms(315e-9)):
        assert float(exposure_limit(EU, "eye", lam, 100.0).radiant_exposure) == pytest.approx(1e4, rel=1e-10)
    assert float(exposure_limit(EU, "eye", 314.99e-9, 100.0).radiant_exposure) == pytest.approx(6.3e3, rel=1e-10)


def mean_by_counting(rule_set, tissue, nm, pulse, rate, duration, mrad):
    """Return the mean rule by hazard, from every window with its own number of pulses."""
    total = max(math.ceil(duration * rate * (1 - 1e-9)), 1)
    n = np.arange(min(2, total), total + 1)
    window = np.minimum((n - 1) / rate + pulse, duration) if total > 1 else np.array([duration])
    n, window = np.append(n, total), np.append(window, duration)
    limits = hazard_limits(rule_set, tissue, nm * 1e-9, window, mrad * 1e-3)
    return {h.name: float((h.radiant_exposure / n).min()) for h in limits}


@few(60)
@given(
    st.sampled_from([ICNIRP, EU]),
    st.sampled_from(["eye", "skin"]),
    st.sampled_from([308.0, 355, 450, 532, 905, 1064, 1300, 1550, 10600]),
    st.floats(-12, -0.5),
    st.floats(-1, 3.3),
    st.floats(0, 4),
    st.sampled_from([1.5, 4.0, 20.0, 70.0, 300.0]),
)
def test_the_mean_rule_finds_the_worst_of_all_windows(rule_set, tissue, nm, log_pulse, log_duration, log_count, mrad):
    duration = min(10.0**log_duration, 3e4)
    rate = 10.0**log_count / duration
    pulse = min(10.0**log_pulse, 0.9 / rate, duration)
    got = pulse_train_limit(rule_set, tissue, nm * 1e-9, pulse, rate, duration, mrad * 1e-3)
    expected = mean_by_counting(rule_set, tissue, nm, pulse, rate, duration, mrad)
    means = {}
    for row in got.rows:
        if row.rule == "mean":
            means[row.hazard] = min(means.get(row.hazard, INFINITE), float(row.per_pulse))
    assert means == pytest.approx(expected, rel=1e-9)


def train_by_hand(rule_set, tissue, nm, pulse, rate, duration, mrad):
    """Return the lowest limit of the train rule for one hazard, infinite where it does not apply."""
    eu = rule_set == EU
    thermal = {"retina thermal"}
    if eu:
        thermal |= {"cornea thermal", "skin thermal", "ultraviolet thermal", "ultraviolet peak"}
        t_i = next(
            value
            for below, value in (
                (315, 0.0),
                (400, 1e-9),
                (1050, 18e-6),
                (1400, 50e-6),
                (1500, 1e-3),
                (1800, 10.0),
                (2600, 1e-3),
                (1e7, 1e-7),
            )
            if nm < below
        )
        counted = duration  # Table 2.6 names no shorter time
    else:
        if not 400 <= nm < 1400 or pulse > 0.25:
            return INFINITE
        t_i, counted = (5e-6 if nm < 1050 else 13e-6), min(duration, t_2(mrad))
    within = pulse <= t_i
    time = min(t_i, duration) if within else pulse
    joined = max(math.ceil(time * rate * (1 - 1e-9)), 1) if within else 1
    count = math.ceil(max(math.ceil(counted * rate * (1 - 1e-9)), 1) / joined)
    largest = 100.0 if pulse > 0.25 else 5.0 if pulse < 625e-6 else 200 * math.sqrt(pulse)
    if eu:
        factor = count**-0.25
    elif within:
        factor = 1.0 if duration <= 0.25 or count <= 600 else min(max(5 * count**-0.25, 0.4), 1.0)
    elif mrad <= 5 or mrad > 100:
        factor = 1.0
    elif mrad <= largest:
        factor = count**-0.25 if count <= 40 else 0.4
    else:
        factor = count**-0.25 if count <= 625 else 0.2
    least = INFINITE
    for one, share in ((pulse, 1), (time, joined)) if joined > 1 else ((pulse, 1),):
        found = by_hazard(rule_set, tissue, nm, one, mrad)
        least = min([least] + [found[name] / share * factor for name in thermal & set(found)])
    return least


@few(150)
@given(
    st.sampled_from([ICNIRP, EU]),
    st.sampled_from(["eye", "skin"]),
    st.sampled_from([250.5, 310.5, 355, 450.5, 532, 905, 1064, 1300, 1450, 1550, 2000, 10600]),
    st.floats(-12.9, -0.1),
    st.floats(-3, 4.4),
    st.floats(0, 8),
    st.sampled_from([1.5, 4.0, 20.0, 70.0, 300.0]),
)
def test_the_train_rule_agrees_with_the_second_method(rule_set, tissue, nm, log_pulse, log_duration, log_count, mrad):
    duration = 10.0**log_duration
    rate = 10.0**log_count / duration
    pulse = min(10.0**log_pulse, 0.9 / rate, duration)
    if pulse < 1e-13:
        return
    if rule_set == ICNIRP and tissue == "skin":
        assert not [
            r for r in pulse_train_limit(rule_set, tissue, nm * 1e-9, pulse, rate, duration).rows if r.rule == "train"
        ]
        return
    got = pulse_train_limit(rule_set, tissue, nm * 1e-9, pulse, rate, duration, mrad * 1e-3)
    trains = min([float(row.per_pulse) for row in got.rows if row.rule == "train"], default=INFINITE)
    expected = train_by_hand(rule_set, tissue, nm, pulse, rate, duration, mrad)
    assert trains == pytest.approx(
        expected, rel=0.08
    )  # T_i lies on an edge of its row, where the stricter side applies
    assert trains <= expected * (1 + 1e-9)
    assert float(got.per_pulse) == min(float(row.per_pulse) for row in got.rows)
