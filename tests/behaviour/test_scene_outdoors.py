"""Outdoors: loss in the air shown beside the distance without it, visual interference, weather, the authority."""

from __future__ import annotations

import math
import re

import pytest

from lasersafe.assessment import assess
from lasersafe.data import templates_path
from lasersafe.models import parse_case
from tests.crosscheck.scene_description import Laser, Person, Scene, case_text

LINE = '[[laser.line]]\nname = "line"\nwavelength = "532 nm"\npower = "0.193 mW"\n'
OUTDOOR = '\n[scene.outdoor]\nbehind = "sky"\nvisibility = "5 km"\n'


def found(template: str, language: str = "en", outdoor: str = OUTDOOR):
    text = templates_path("cases", f"{template}.toml").read_text(encoding="utf-8")
    return assess(parse_case(text + outdoor), language, wanted="short")


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


def two_colours(wavelength: str, power: float, *lines: str, visibility: str = "") -> list[str]:
    """Return what is said outdoors of a beam of 5 mm and 1 mrad with further wavelengths."""
    more = "".join(f'[[laser.line]]\nname = "line {n}"\n{line}\n' for n, line in enumerate(lines))
    text = case_text(Scene((Laser(power, 5e-3, 1e-3, (0.0, 0.0, 1.5), 0.0),), (Person("Row", ((0.0, 10.0),)),)))
    text = text.replace("1070 nm", wavelength).replace("[[person]]", f"{more}[[person]]", 1)
    return words(assess(parse_case(f"{text}[scene.outdoor]\nwet = false\n{visibility}"), wanted="short"))


def test_loss_in_the_air_counts_of_each_wavelength_and_their_sum() -> None:
    # 1 W of 532 nm and 10 W of 650 nm, each against 10 W/m2: 11 W are above it for sqrt(44 / 10 pi) / 1 mrad = 1183 m.
    # Through air of a visibility of 1 km, mu = 3.912 / km * (lambda / 550 nm)^-0.585: 1 part in exp(mu r) is left.
    text = two_colours("532 nm", 1.0, 'wavelength = "650 nm"\npower = "10 W"', visibility='visibility = "1 km"\n')
    (told,) = (one for one in text if "without loss" in one)
    without, through = (float(number) for number in re.findall(r"([0-9.]+) k?m with", told))
    assert without == pytest.approx(1.183, rel=0.01)
    powers = {532.0: 1.0, 650.0: 10.0}

    def above(r: float) -> float:
        left = sum(p * math.exp(-3.912e-3 * (nm / 550.0) ** -0.585 * r) for nm, p in powers.items())
        return 4.0 * left / (math.pi * (25e-6 + (1e-3 * r) ** 2)) / 10.0

    near, far = 1.0, 1183.0
    for _ in range(60):
        middle = (near + far) / 2.0
        near, far = (middle, far) if above(middle) > 1.0 else (near, middle)
    assert far == pytest.approx(491.0, abs=1.0)
    assert far <= through <= 1.01 * far  # all with the least of the losses


def test_what_disturbs_sight_is_every_wavelength_that_is_seen() -> None:
    alone = [one for one in two_colours("532 nm", 1.0) if "disturbs sight" in one]
    beside = two_colours("1064 nm", 10.0, 'wavelength = "532 nm"\npower = "1 W"')
    assert [one for one in beside if "disturbs sight" in one] == alone
    assert len(alone) == 3
    assert any("aviation authority" in one for one in beside if "before the first shot" in one)
    twice = two_colours("532 nm", 0.5, 'wavelength = "532 nm"\npower = "0.5 W"')
    assert [one for one in twice if "disturbs sight" in one] == alone


def test_a_focus_of_two_wavelengths_is_not_missed_in_air_with_a_loss() -> None:
    # 0.386 mW of 10 mm through a lens of 4 m: 10.03 W/m2 through 7 mm in the focus, above 10 W/m2 from 2.8 m to 5.2 m
    text = case_text(Scene((Laser(1.93e-4, 10e-3, 1e-3, (0.0, 0.0, 1.5), 0.0),), (Person("Row", ((0.0, 10.0),)),)))
    text = text.replace('"collimated"', '"lens"\nfocal_length = "4 m"').replace('divergence = "1 mrad"\n', "")
    text = text.replace("1070 nm", "532 nm").replace("[[person]]", f"{LINE}[[person]]", 1)
    told = words(assess(parse_case(f'{text}[scene.outdoor]\nwet = false\nvisibility = "100 km"\n')))
    without, through = map(float, re.findall(r"([0-9.]+) m with", next(one for one in told if "without loss" in one)))
    assert through == pytest.approx(without, rel=0.01)
    assert 4.0 < through < 6.0  # said before: 4.48e-18 m
