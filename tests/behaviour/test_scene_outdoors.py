"""Outdoors: loss in the air shown beside the distance without it, visual interference, weather, the authority."""

from __future__ import annotations

import re

import pytest

from lasersafe.assessment import assess
from lasersafe.data import templates_path
from lasersafe.models import parse_case

OUTDOOR = '\n[scene.outdoor]\nbehind = "sky"\nvisibility = "5 km"\n'


def found(template: str, language: str = "en", outdoor: str = OUTDOOR):
    text = templates_path("cases", f"{template}.toml").read_text(encoding="utf-8")
    return assess(parse_case(text + outdoor), language)


def words(assessment) -> list[str]:
    return [f.text for f in assessment.scene.findings if f.kind == "outdoors"]


def test_both_distances_are_shown_and_the_verdict_counts_no_loss() -> None:
    outdoors = found("visible-diode")
    text = next(w for w in words(outdoors) if "without loss" in w)
    without, attenuated = (float(n) for n in re.findall(r"([0-9.]+) m ", text)[:2])
    assert attenuated < without
    zone = next(s for s in outdoors.setups if s.fitted).zone("direct", "eye")
    assert without == pytest.approx(zone.distance, rel=0.01)
    plain = found("visible-diode", outdoor='\n[scene.outdoor]\nbehind = "sky"\n')
    assert plain.decision.headline_distance == outdoors.decision.headline_distance
    assert not any("without loss" in w for w in words(plain))


def test_visible_light_disturbs_sight_far_beyond_and_the_authority_is_asked() -> None:
    text = words(found("visible-diode"))
    assert sum("disturbs sight" in w for w in text) == 3
    for level in ("100 uW/cm2", "5 uW/cm2", "0.05 uW/cm2"):
        assert any(f"above {level} as the eye weighs it" in w for w in text)
    assert any("aviation authority" in w for w in text)
    assert any("Stop in rain" in w for w in text)
    invisible = words(found("co2-cutter"))
    assert not any("disturbs sight" in w for w in invisible)


def test_far_infrared_counts_no_loss() -> None:
    assert not any("without loss" in w for w in words(found("co2-cutter")))


def test_in_german() -> None:
    text = words(found("visible-diode", "de"))
    assert any("Luftfahrtbehörde" in w for w in text)
    assert any("Sichtweite" in w for w in text)
