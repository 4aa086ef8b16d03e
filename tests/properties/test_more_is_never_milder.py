"""What makes light stronger, nearer or less well known never makes an answer milder; what is only renamed, nothing."""

from __future__ import annotations

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.models import parse_case

FRAME = """
rule_set = "{rule_set}"
[[laser]]
name = "A"
wavelength = "{wavelength}"
[laser.emission]
{emission}
[[laser.setup]]
name = "head"
kind = "collimated"
beam_diameter = {diameter}
divergence = {divergence}
criterion = "1/e"
work_distance = "1.5 m"
[[person]]
name = "P"
role = "crew"
distance = "{distance}"
distance_from_work = "{from_work}"
time = "{time}"
time_reason = "stated for this test"
aided = {aided}
briefed = {briefed}
[[surface]]
name = "plate"
material = "steel"
finish = "{finish}"
reflectance = {reflectance}
distance = "1.5 m"
[[barrier]]
name = "screen"
distance = "2 m"
rating = "{rating}"
rated_time = "30000 s"
{more}
"""
EMISSION = {
    "continuous": 'kind = "continuous"\npower = "{power}"',
    "train": 'kind = "pulse train"\npulse_duration = "20 ns"\nrepetition_rate = "{rate}"\npulse_energy = "{energy}"',
    "modes": 'kind = "mode table"\nmodes = [{{ name = "a", pulse_duration = "3 us", repetition_rate = "{rate}", '
    'pulse_energy = "{energy}" }}{mode}]',
}
PLAIN = {
    "rule_set": "ICNIRP-2013", "diameter": '"4 mm"', "divergence": '"3 mrad"', "distance": "6 m", "from_work": "2 m",
    "time": "12 s", "aided": "false", "briefed": "true", "finish": "matt", "reflectance": "0.4", "rating": "10 W/cm2",
    "power": "80 mW", "rate": "50 Hz", "energy": "0.2 mJ", "mode": "", "more": "",
}  # fmt: skip
SECOND = '[[laser]]\nname = "B"\nwavelength = "450 nm"\nemission = { kind = "continuous", power = "5 mW" }\nsetup = [{ '
SECOND += 'name = "b", kind = "collimated", beam_diameter = "3 mm", divergence = "5 mrad", criterion = "1/e" }]'
LINE = '[[laser.line]]\nname = "pump"\nwavelength = "808 nm"\nshare = 0.3'
WORSE = [
    {"power": "100 mW", "energy": "0.3 mJ"}, {"power": "80 mW +- 5 %", "energy": "0.2 mJ +- 5 %"}, {"rate": "80 Hz"},
    {"divergence": '"2 mrad"'}, {"divergence": '"3 mrad +- 10 %"'}, {"diameter": '"4 mm +- 5 %"'},
    {"distance": "5 m"}, {"from_work": "1.6 m"}, {"time": "60 s"}, {"aided": "true"}, {"briefed": "false"},
    {"finish": "unknown"}, {"reflectance": "0.7"}, {"rating": "1 W/cm2"}, {"more": SECOND}, {"more": LINE},
    {"mode": ', { name = "b", pulse_duration = "100 ns", repetition_rate = "20 kHz", mean_power = "9 W" }'},
]  # fmt: skip
ALIKE = [
    {"rule_set": "EU-2006/25/EC"}, {"diameter": '"0.4 cm"', "divergence": '"0.003 rad"', "distance": "600 cm"},
    {"diameter": '["4 mm", "4 mm"]'}, {"power": "0.08 W", "energy": "200 uJ", "rate": "0.05 kHz"},
    {"rating": "100 kW/m2", "time": "12000 ms"},
]  # fmt: skip


def answer(kind: str, wavelength: str, change: dict[str, str]) -> dict[tuple[str, ...], float]:
    """Return how bad each result of a case is."""
    values = PLAIN | change
    text = FRAME.format(wavelength=wavelength, emission=EMISSION[kind].format(**values), **values)
    found = assess(parse_case(text), wanted="drawn")
    bad = {("refused",): float(not found.decision.passed)}
    bad |= {("zone", s.laser, z.way, z.tissue): z.distance for s in found.setups for z in s.zones}
    bad |= {("ratio", s.laser, s.way, s.tissue): s.ratio for s in found.scenarios}
    bad |= {("open", s.laser, s.way, s.tissue): float(not (s.below or s.answer)) for s in found.scenarios}
    for need in found.eyewear:
        name = f"{need.laser}, {need.wavelength * 1e9:.0f} nm"
        bad["density", name] = need.optical_density_exact
        bad |= {("scale", name, one.mode): one.scale_number or 99.0 for one in need.scales}
    return bad | {("barrier", b.laser, b.way): b.irradiance for b in found.barriers}


@pytest.mark.parametrize(("kind", "wavelength"), [("continuous", "532 nm"), ("train", "1500 nm"), ("modes", "1064 nm")])
def test_more_is_never_milder(kind: str, wavelength: str) -> None:
    plain = answer(kind, wavelength, {})
    for change in WORSE:
        if kind != "continuous" and not change.keys() & {"energy", "rate", "mode", "time"}:
            continue
        worse = answer(kind, wavelength, change)
        milder = {key for key, value in plain.items() if not worse.get(key, -math.inf) >= value - 1e-9 * abs(value)}
        assert not milder, change
    for change in ALIKE:
        assert answer(kind, wavelength, change) == pytest.approx(plain, rel=1e-9), change
    # 1500 nm is an edge: the stricter of both sides counts for it, and so it does in a tolerance that holds it
    unsure = answer(kind, f"{wavelength} +- 0.2 %", {})
    assert all(unsure.get(key, math.inf) >= value * (1.0 - 1e-9) for key, value in plain.items() if key[0] == "zone")
