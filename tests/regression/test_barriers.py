"""Barriers: what holds, what does not, and that nothing unknown ever holds."""

from __future__ import annotations

import math

import pytest

from lasersafe.data import load
from lasersafe.errors import CalcError
from lasersafe.hazard.barriers import (
    Iec60825Part4,
    Load,
    Rating,
    barrier_distance,
    en12254_outside,
    judge_barrier,
    load_and_rating,
    needed_time,
)
from lasersafe.optics.beam import through_lens

RATED = {"rating": 1e5, "rated_time": 60.0, "required_time": 10.0}
WEAK = {"mean_power": 50.0, "observed": True}


def judged(irradiance, *, required_time, rating=None, rated_time=None, pulse_rating=None, **more):
    stated = {key: more.pop(key) for key in ("en12254_class", "observed") if key in more}
    load = Load(irradiance, pulse=more.pop("pulse_exposure", None), **more)
    return judge_barrier(load, Rating(rating, rated_time, pulse_rating, **stated), required_time)


@pytest.mark.parametrize(
    ("irradiance", "change", "holds", "words"),
    [
        (4.8e4, {}, True, "within the rated"),
        (4.8e4, {"rating": 1.2e6}, True, "within the rated 1.20e6 W/m2"),
        (1e5, {}, True, "within the rated"),
        (1e5 * (1 + 1e-12), {}, False, "is above the rated"),
        (7.6e5, {}, False, "7.60 times the rated"),
        (4.8e4, {"rating": None}, False, "not rated"),
        (0.0, {"rating": None}, False, "not rated"),
        (4.8e4, {"rated_time": None}, False, "not rated"),  # a case states it with every rating
        (4.8e4, {"required_time": 60.0}, True, "60 s are needed"),
        (4.8e4, {"required_time": 60.1}, False, "rated for 60 s"),
    ],
)
def test_irradiance_and_time_are_both_compared(irradiance, change, holds, words):
    result = judged(irradiance, **(RATED | change))
    assert result.holds is holds
    assert words in result.verdict
    assert result.verdict.startswith("holds" if holds else "does not hold")


@pytest.mark.parametrize(
    ("load", "rating", "said"),
    [  # a reason said 4.98 times beside 4.99 in the table, of 2 490 215 / 5e5; 99 951 up would be above 99 990
        (2490215.0, 5e5, "2.50e6 W/m2"), (48001.0, 1e5, "48100 W/m2"), (99951.0, 99990.0, "99960 W/m2"),
        (1e5 * (1 + 1e-12), 1e5, "101000 W/m2"), (1e5, 1e5, "100000 W/m2"), (math.inf, 1e5, "inf W/m2"),
    ],
)  # fmt: skip
def test_a_load_is_rounded_up_and_stays_on_its_side_of_the_rating(load, rating, said):
    words = load_and_rating(load, rating, "W/m2")
    assert words["load"] == said
    assert words["rating"] == f"{rating:.6g} W/m2"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, -1.0])
@pytest.mark.parametrize("field", ["irradiance", "rating", "rated_time", "required_time"])
def test_a_number_that_cannot_be_used_never_holds(field, bad):
    result = judged(**({"irradiance": 1.0} | RATED | {field: bad}))
    assert result.holds is False
    assert "not a usable number" in result.verdict


@pytest.mark.parametrize(
    ("beam", "reason"),
    [
        ({"mean_power": 100.1, "observed": True}, "100 W mean power"),
        ({"mean_power": 50.0, "observed": False}, "somebody who watches"),
        ({"pulse_energy": 31.0, "observed": True}, "30 J per pulse"),
        ({"mean_power": math.nan, "observed": True}, "100 W mean power"),
        ({"pulse_energy": math.nan, "observed": True}, "30 J per pulse"),
    ],
)
def test_an_ab_class_counts_only_in_its_scope(beam, reason):
    result = judged(1.0, en12254_class="AB10", **RATED, **beam)
    assert result.holds is False
    assert "a guard to IEC 60825-4 is needed" in result.verdict
    assert reason in " ".join(result.notes)
    pulses = {"pulse_exposure": 1.0, "pulse_rating": 10.0} if "pulse_energy" in beam else {}
    without = judged(1.0, **RATED, **beam, **pulses)
    assert without.holds is True
    assert reason in " ".join(without.notes)


def test_an_ab_class_in_its_scope_still_needs_a_stated_density():
    bare = judged(1.0, rating=None, required_time=10.0, en12254_class="AB5", **WEAK)
    assert (bare.holds, "not rated" in bare.verdict) == (False, True)
    rated = judged(1.0, **RATED, en12254_class="AB5", **WEAK)
    assert rated.holds is True
    assert "AB5" in rated.notes[0]


def test_notes_on_a_single_pulse_have_no_name_of_a_field():
    notes = " ".join(judged(1.0, **RATED, pulse_energy=1.0, observed=True, en12254_class="AB5").notes)
    assert "single pulse" in notes
    assert "_" not in notes


def test_a_rating_as_power_density_says_nothing_about_pulses():
    beam = {"mean_power": 2.0, "pulse_energy": 20.0}
    assert "does not speak about pulses" in judged(1.0, **RATED, **beam, pulse_exposure=4e5).verdict
    for rating, exposure, holds in ((1e6, 4e5, True), (1e5, 4e5, False), (1e6, math.nan, False), (1e6, None, False)):
        result = judged(1.0, **RATED, **beam, pulse_exposure=exposure, pulse_rating=rating)
        assert result.holds is holds


def test_scope_edges_lie_inside():
    assert en12254_outside(100.0, 30.0, True) == ()
    assert en12254_outside(None, 30.0, True) == ()
    assert len(en12254_outside(101.0, 31.0, False)) == 3


def test_guard_classes():
    assert {one.name: one.time for one in load(Iec60825Part4).classes} == {"T1": 30000, "T2": 100, "T3": 10}
    assert [needed_time(observed) for observed in (False, True)] == [30000, 10]


def test_screen_behind_the_focus_of_a_cutting_head():
    # worked out beforehand: 1.5 kW, 100 mrad after the focus, 10 W/cm2
    beam = through_lens(15e-3, 0.15, "1/e")
    distance = barrier_distance(1500.0, 1e5, beam)
    assert distance - 0.15 == pytest.approx(math.sqrt(4 * 1500 / (math.pi * 1e5)) / 0.1, rel=1e-6)
    for behind, expected in ((2.0, 4.8), (0.5, 76.0), (0.1, 1.9e3)):
        irradiance = 1500 / (math.pi / 4 * (0.1 * behind) ** 2)
        assert irradiance / 1e4 == pytest.approx(expected, rel=0.01)
        assert judged(irradiance, **RATED).holds is (behind + 0.15 >= distance)
    assert barrier_distance(1e-3, 1e5, through_lens(15e-3, 0.15, "1/e", focus_diameter=1e-3)) == 0.0


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_distance_refuses_what_is_no_rating(bad):
    with pytest.raises(CalcError):
        barrier_distance(100.0, bad, through_lens(15e-3, 0.15, "1/e"))
