"""A case that leaves most fields out against the same with every field at its worst stated value."""

from __future__ import annotations

from typing import Any

import pytest

from lasersafe.assessment import assess
from lasersafe.errors import CaseError
from lasersafe.models import case_from
from lasersafe.models.kinds import laser_kinds
from lasersafe.results import Assessment

PERSONS = [{"role": "crew", "distance": "2 m"}, {"role": "spectator", "distance": "8 m"}]
STEADY = {"kind": "continuous", "power": "5 W"}
TRAIN = {"kind": "pulse train", "mean_power": "20 W"}
CASES: dict[str, dict[str, Any]] = {
    "a welder": {"like": "hand-held welder", "wavelength": "1070 nm", "emission": {**STEADY, "power": "1.5 kW"}},
    "a cleaner": {"like": "hand-held cleaner", "wavelength": "1064 nm", "emission": TRAIN},
    "a marker of known pulses": {
        "like": "laser marker",
        "wavelength": "1064 nm",
        "emission": {**TRAIN, "pulse_duration": "100 ns", "repetition_rate": "20 kHz"},
    },
    "a blue diode": {"like": "blue diode", "wavelength": "450 nm", "emission": STEADY},
    "a cutter": {"like": "CO2 cutter", "wavelength": "10.6 um", "emission": {**STEADY, "power": "60 W"}},
    "a green laser": {"like": "green laser", "wavelength": "532 nm", "emission": STEADY},
    "ultraviolet": {"like": "ultraviolet laser", "wavelength": "355 nm", "emission": {**TRAIN, "mean_power": "5 W"}},
    "anything at 1550 nm": {"like": "any laser", "wavelength": "1550 nm", "emission": STEADY},
    "a diameter alone": {
        "like": "blue diode",
        "wavelength": "450 nm",
        "emission": STEADY,
        "setup": [{"beam_diameter": "3 mm", "criterion": "1/e"}],
    },
    "a lens of unknown focal length": {
        "like": "hand-held welder",
        "wavelength": "1070 nm",
        "emission": {**STEADY, "power": "500 W"},
        "setup": [{"kind": "lens", "beam_diameter": "6 mm"}],
    },
}


def answers(found: Assessment) -> dict[tuple[str, ...], float]:
    """Return every distance, every ratio and every density by what it is about."""
    numbers: dict[tuple[str, ...], float] = {("far",): found.decision.headline_distance or 0.0}
    numbers["near",] = found.decision.scatter_distance
    for setup in found.setups:
        numbers |= {("zone", zone.way, zone.tissue): zone.distance for zone in setup.zones}
    numbers |= {("ratio", s.person, s.way, s.tissue): s.ratio for s in found.scenarios}
    for need in found.eyewear:
        numbers["density", need.person] = need.optical_density
        numbers |= {("scale", need.person, one.mode): one.scale_number or 99 for one in need.scales}
        numbers["unreliable", need.person] = float(not need.reliable)
    return numbers


def stated(laser: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the laser with every field at the worst that its kind has, with each of the optics that it may have."""
    kind = laser_kinds()[laser["like"]]
    emission = dict(laser["emission"])
    if emission["kind"] == "pulse train":
        emission = {
            "pulse_duration": list(kind.pulse_duration),
            "repetition_rate": list(kind.repetition_rate),
        } | emission
    fixed = {"name": laser["like"], "class_label": "4", "wavelength": laser["wavelength"], "handheld": kind.handheld}
    typed = laser.get("setup", [{}])[0]
    least = {"name": "as fitted", "beam_diameter": kind.beam_diameter.least, "criterion": "1/e2"}
    free = {"kind": "collimated", "divergence": kind.divergence.least}
    optics = [free] if typed.get("kind", "collimated") == "collimated" else []
    if typed.get("kind") == "lens" or not typed:
        optics += [{"kind": "lens", "focal_length": one} for one in kind.lenses]
    return [{**fixed, "emission": emission, "setup": [{**least, **one, **typed}]} for one in optics]


def answered(laser: dict[str, Any]) -> Assessment:
    return assess(case_from({"laser": [laser], "person": PERSONS}), wanted="drawn")


@pytest.mark.parametrize("name", CASES)
def test_what_is_left_out_is_never_shorter_and_never_less_dense_than_the_worst_that_can_be_stated(name: str) -> None:
    laser = CASES[name]
    found = answered(laser)
    short = answers(found)
    assert found.record.assumptions
    worst: dict[tuple[str, ...], float] = {}
    refused = []
    for each in stated(laser):
        try:
            long = answers(answered(each))
        except CaseError as error:
            refused.append(str(error))
            continue
        for key, number in long.items():
            worst[key] = max(worst.get(key, 0.0), number)
    assert worst
    # the narrowest beam with the least divergence need not be a beam at all
    assert all("below the diffraction limit" in text for text in refused)
    assert len(refused) <= 1
    assert {key for key, number in worst.items() if not short.get(key, -1.0) >= number * (1 - 1e-12)} == set()


def test_a_kind_at_a_wavelength_that_it_does_not_have_is_refused() -> None:
    with pytest.raises(CaseError, match=r"'blue diode' stands for 400 nm to 490 nm, and the wavelength is '1064 nm'"):
        answered({"like": "blue diode", "wavelength": "1064 nm", "emission": STEADY})


def test_without_a_kind_nothing_of_the_beam_is_assumed() -> None:
    with pytest.raises(CaseError, match=r"laser\[1\].setup: missing; .*or say what the laser is like"):
        answered({"wavelength": "1064 nm", "emission": STEADY})
