"""Markings as frames and shops print them, each with what a table made by hand says of it.

The forms follow EN 207 (wavelengths, mode letters, LB, maker, mechanical strength, CE), its older order and L numbers,
EN 208, and the density that US practice prints; the makers' marks are invented. What each laser asks for, by hand:

* green: 532 nm, 1 W, 3 mm. E' = 1 W / 7.07e-6 m2 x 3^1.7 = 9.2e5 W/m2 <= 10^(n+1), n = 4.96; density
  log10(2.6e4 / 10) = 3.4: D LB5.
* infrared: 1064 nm, 20 W, 7 mm. E' = 20 W / 3.85e-5 m2 x 7^1.7 = 1.42e7 W/m2, n = 6.15; density
  log10(3.3e5 / 50) = 3.8: D LB7.
* marker: the same as 1 mJ in 10 ns at 20 kHz. H' = 26 J/m2 x (1e5)^0.25 = 462 J/m2 <= 5 x 10^(n-3), n = 4.97; D as
  before: D LB7 + R LB5.
"""

from __future__ import annotations

import pytest

from lasersafe import judge_marking
from lasersafe.errors import InputError
from lasersafe.hazard.marking import parse_marking

LASERS = {
    "green": {"wavelength": "532 nm", "beam_diameter": "3 mm", "power": "1 W", "continuous": True},
    "infrared": {"wavelength": "1064 nm", "beam_diameter": "7 mm", "power": "20 W", "continuous": True},
    "marker": {
        "wavelength": "1064 nm", "beam_diameter": "7 mm", "pulse_energy": "1 mJ", "pulse_duration": "10 ns",
        "repetition_rate": "20 kHz",
    },
}  # fmt: skip
ENOUGH, SHORT, WAVE, MODE, NONE = (
    "enough", "not enough", "wrong wavelength", "not marked for this mode", "no protection",
)  # fmt: skip
BY_HAND = [  # as printed, laser, its D and R number at the wavelength of the laser (0: none), verdict
    ("532 D LB5 XX S CE", "green", 5, 0, ENOUGH),
    ("532 D LB4 XX S CE", "green", 4, 0, SHORT),
    ("315-532 D LB6 + IR LB7 AB 1F CE", "green", 6, 7, ENOUGH),
    (">315-532 DIRM LB5 ABC CE 0196", "green", 5, 5, ENOUGH),
    (">532-750 D LB6 XX CE", "green", 0, 0, WAVE),
    ("180-315 D LB10 + IR LB5; >315-532 D LB5 + IRM LB6Y", "green", 5, 6, ENOUGH),
    ("D 532 L5", "green", 5, 0, ENOUGH),
    ("DIR 500-540 L4 DIN CE", "green", 4, 4, SHORT),
    ("1 W 2x10-4 J 532 RB2", "green", 0, 0, NONE),  # the power is not understood
    ("532 RB2 XX CE", "green", 0, 0, MODE),
    ("R3 532-560", "green", 0, 0, MODE),  # the older number of EN 208
    ("RB5 400-700 + 532 D LB1", "green", 0, 0, NONE),  # two orders in one: not clear
    ("190-540nm OD 4+", "green", 0, 0, MODE),
    ("OD5+ 190-450nm 500-2000nm", "green", 0, 0, MODE),  # one density, several bands
    ("190-450 500-540 D LB5", "green", 5, 0, ENOUGH),
    ("OD 7+ @ 190-532 nm", "green", 0, 0, MODE),
    ("190-532 D LB5 / 800-1100 D LB6", "green", 5, 0, ENOUGH),
    ("200nm-540nm OD6+ & 532 D LB5", "green", 5, 0, ENOUGH),
    ("1064 D LB7 XX S CE", "infrared", 7, 0, ENOUGH),
    ("1064 D LB6 XX S CE", "infrared", 6, 0, SHORT),
    ("1064 D L7", "infrared", 7, 0, ENOUGH),
    ("DI 1064 L7 / R 1064 L8", "infrared", 7, 8, ENOUGH),
    ("750-1100 DI LB7 + R LB8 + M LB8Y", "infrared", 7, 8, ENOUGH),
    ("750-1100 D LB8; 1064 D LB5", "infrared", 5, 0, SHORT),  # two that hold: the lower
    ("1060 D LB9", "infrared", 0, 0, WAVE),
    ("1064 IRM LB9", "infrared", 0, 9, MODE),
    ("1064 LB7", "infrared", 0, 0, NONE),  # no letter
    ("D LB7", "infrared", 0, 0, NONE),  # no wavelength
    ("1064 nm", "infrared", 0, 0, NONE),
    ("CE", "infrared", 0, 0, NONE),
    ("Laser safety goggles CE EN 207", "infrared", 0, 0, NONE),
    ("EN 207:2017 900-1100 D LB7 XX CE", "infrared", 7, 0, ENOUGH),
    ("O.D. 6+ 190-540nm & 800-1100nm VLT 35%", "infrared", 0, 0, MODE),
    ("OD>5 @ 1064 ANSI Z136.1", "infrared", 0, 0, MODE),
    ("OD 5+ 190-540, OD 7+ 900-1100, Z87+", "infrared", 0, 0, MODE),
    ("OD 7 1064 OD 4", "infrared", 0, 0, NONE),  # before or behind?
    ("532/1064 D LB5/D LB7", "infrared", 0, 0, NONE),  # in this order, or all of them?
    ("532 + 1064 D LB7", "infrared", 7, 0, ENOUGH),
    ("10.6 um DI LB4", "infrared", 0, 0, WAVE),
    ("1064 D LB11", "infrared", 0, 0, NONE),
    ("1064 D LB7 test filter", "infrared", 0, 0, NONE),
    ("1064 D LB7 + R LB5 XX S CE", "marker", 7, 5, ENOUGH),
    ("1064 D LB7 + R LB4 XX S CE", "marker", 7, 4, SHORT),
    ("1064 D LB10 XX S CE", "marker", 10, 0, MODE),
    ("900-1100 DIR LB7", "marker", 7, 7, ENOUGH),
    ("900-1064 DIRM L7 CE", "marker", 7, 7, ENOUGH),
    ("OD 7+ 900-1100 + 1064 D LB7", "marker", 0, 0, NONE),  # which is for which?
]


def test_there_are_forty() -> None:
    assert len({marking for marking, *_ in BY_HAND}) >= 40


@pytest.mark.parametrize(("marking", "laser", "mode_d", "mode_r", "verdict"), BY_HAND, ids=lambda one: str(one))
def test_a_marking_is_worth_what_the_table_by_hand_says(
    marking: str, laser: str, mode_d: int, mode_r: int, verdict: str
) -> None:
    found = judge_marking(marking, criterion="1/e", **LASERS[laser])
    assert (found.verdict, found.enough) == (verdict, verdict == ENOUGH)
    assert found.reasons
    if verdict == NONE:
        with pytest.raises(InputError):
            parse_marking(marking)
        return
    nanometre = 532.0 if laser == "green" else 1064.0
    marks = [mark for one in parse_marking(marking).statements if one.covers(nanometre) for mark in one.scales]
    lowest = [min((mark.number for mark in marks if letter in mark.modes), default=0) for letter in "DR"]
    assert lowest == [mode_d, mode_r]
