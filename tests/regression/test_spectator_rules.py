"""Rule packs: every row met, not met, not judged; conditions; nothing met by what is not known."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from lasersafe.hazard.other_rules import (
    MET,
    NOT_APPLICABLE,
    NOT_JUDGED,
    NOT_MET,
    Facts,
    asked_for,
    class_rank,
    judge,
    packs,
)
from tests.project import bibliography

GOOD = Facts(
    height_above_standing=7.0,
    lateral_gap=3.0,
    reach_over_gap=1.0,
    barrier_height=0.8,
    object_temperature=300.0,
    shortest_exposure_time=10.0,
    visible=True,
    attended=True,
    laser_class="4",
    class_where_people="1",
    class_viewed="1",
    class_not_viewed="2",
    audience_scanning=False,
    only_scatter_reaches_people=True,
)


def outcomes(key: str, facts: Facts) -> dict[str, str]:
    return {verdict.rule: verdict.outcome for verdict in judge(packs()[key], facts)}


@pytest.mark.parametrize("key", packs())
def test_nothing_is_met_by_what_is_not_known(key):
    assert set(outcomes(key, Facts()).values()) == {NOT_JUDGED}
    assert {MET} <= set(outcomes(key, GOOD).values()) <= {MET, NOT_APPLICABLE}
    assert packs()[key].source.key in bibliography()


def test_germany_row_by_row():
    edges = replace(
        GOOD,
        height_above_standing=2.7,
        lateral_gap=1.0,
        object_temperature=363.15,
        shortest_exposure_time=4.0,
    )
    assert set(outcomes("germany_shows", edges).values()) == {MET}
    hot = next(v for v in judge(packs()["germany_shows"], edges) if v.rule == "object temperature")
    assert hot.words == "at most 90 °C, here 90 °C"
    worse = {
        "height above standing places": replace(GOOD, height_above_standing=2.69),
        "gap beside spectators": replace(GOOD, lateral_gap=0.99),
        "gap below reach-over points": replace(GOOD, reach_over_gap=math.nan),
        "stage or barrier height": replace(GOOD, barrier_height=0.79),
        "object temperature": replace(GOOD, object_temperature=364.0),
        "shortest exposure time": replace(GOOD, shortest_exposure_time=0.25),
    }
    assert set(worse) == {rule.key for rule in packs()["germany_shows"].rules}
    for key, facts in worse.items():
        found = outcomes("germany_shows", facts)
        assert [k for k, outcome in found.items() if outcome != MET] == [key]
        assert found[key] == NOT_MET
    assert (
        outcomes("germany_shows", replace(GOOD, height_above_standing=math.inf))["height above standing places"] == MET
    )


def test_massachusetts_by_control_and_class():
    near = replace(GOOD, height_above_standing=3.1, lateral_gap=2.44)
    assert {MET} <= set(outcomes("massachusetts", near).values()) <= {MET, NOT_APPLICABLE}
    unattended = outcomes("massachusetts", replace(near, attended=False))
    assert unattended["above, unattended"] == NOT_MET
    assert unattended["above, attended"] == NOT_APPLICABLE
    unknown = outcomes("massachusetts", replace(near, attended=None))
    assert unknown["above, unattended"] == NOT_JUDGED  # 3.1 m would not do if nobody were at the controls
    assert set(outcomes("massachusetts", replace(near, laser_class="2")).values()) == {NOT_APPLICABLE}


@pytest.mark.parametrize("key", ["arizona", "illinois"])
def test_invisible_emission_at_most_class_1(key):
    infrared = replace(GOOD, visible=False, class_where_people="1")
    assert {MET} <= set(outcomes(key, infrared).values()) <= {MET, NOT_APPLICABLE}
    for worse in ("1M", "2", "3B", "4"):
        assert outcomes(key, replace(infrared, class_where_people=worse))["invisible radiation"] == NOT_MET
    assert outcomes(key, replace(infrared, class_where_people="odd"))["invisible radiation"] == NOT_JUDGED
    assert outcomes(key, infrared)["light that is looked at"] == NOT_APPLICABLE


def test_figures_printed_in_feet():
    values = {rule.key: float(rule.value) / 0.3048 for rule in packs()["massachusetts"].rules}
    assert values == pytest.approx(
        {
            "above, unattended": 20.0,
            "beside or below, unattended": 8.0,
            "above, attended": 10.0,
            "beside, attended": 8.0,
        }
    )
    assert {rule.key: rule.seen for rule in packs()["fda_variance"].rules}["beside"] == "memory"


def test_classes():
    assert class_rank("Class IIIb") == class_rank("3B")
    assert class_rank("9") is None
    assert class_rank("1") < class_rank("2") < class_rank("1M") < class_rank("3R") < class_rank("3B") < class_rank("4")


def test_what_a_pack_asks_for_in_a_drawing():
    chosen = packs()["massachusetts"]
    value, rule = asked_for(chosen, "height_above_standing", Facts(attended=True, laser_class="4"))
    assert (round(value, 3), rule.key) == (3.048, "above, attended")
    assert asked_for(chosen, "height_above_standing", Facts())[1].key == "above, unattended"  # not known: the larger
    assert asked_for(chosen, "height_above_standing", Facts(laser_class="1")) is None
    assert asked_for(chosen, "barrier_height", Facts()) is None
