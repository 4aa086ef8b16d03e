"""Markings as they are typed, one by one: what is read, what is refused and in which words, how it is judged."""

from __future__ import annotations

import math

import pytest

from lasersafe.errors import CalcError, InputError
from lasersafe.hazard.marking import Asked, ScaleMark, parse_marking
from lasersafe.records import ScaleNeed

D6 = ScaleMark("D", 6)


def need(mode: str, number: int | None) -> ScaleNeed:
    return ScaleNeed(mode, number, 1.0, "W/m2")


@pytest.mark.parametrize(
    ("text", "statements"),
    [
        ("1064 D LB6", [(1064, 1064, True, (D6,))]),
        ("  1064nm  d lb6 ", [(1064, 1064, True, (D6,))]),
        ("1064 D L6", [(1064, 1064, True, (D6,))]),
        ("1064: D LB 6", [(1064, 1064, True, (D6,))]),
        ("514.5 RLB5", [(514.5, 514.5, True, (ScaleMark("R", 5),))]),
        ("1064 R LB5", [(1064, 1064, True, (ScaleMark("R", 5),))]),
        ("1030 M LB8Y", [(1030, 1030, True, (ScaleMark("M", 8, True),))]),
        ("800-1100 DI LB5 + M LB7", [(800, 1100, True, (ScaleMark("DI", 5), ScaleMark("M", 7)))]),
        (">1050–1400 D LB5 + IR LB6", [(1050, 1400, False, (ScaleMark("D", 5), ScaleMark("IR", 6)))]),
        (
            "315-532 D LB6 + R LB5, 900-1100 D LB7",
            [(315, 532, True, (D6, ScaleMark("R", 5))), (900, 1100, True, (ScaleMark("D", 7),))],
        ),
        ("9-11 µm D LB10; 1064 D LB6", [(9000, 11000, True, (ScaleMark("D", 10),)), (1064, 1064, True, (D6,))]),
        ("10.6 um DIRM LB4", [(10600, 10600, True, (ScaleMark("DIRM", 4),))]),
        ("1064 D LB6 XX S CE", [(1064, 1064, True, (D6,))]),
        ("1064 D LB6 + D LB5", [(1064, 1064, True, (D6, ScaleMark("D", 5)))]),  # the lower counts
        ("D 1064 L6 / R 1064 L5", [(1064, 1064, True, (D6,)), (1064, 1064, True, (ScaleMark("R", 5),))]),
        ("532 & 1064 D LB6", [(532, 532, True, (D6,)), (1064, 1064, True, (D6,))]),
    ],
)
def test_scale_numbers_are_read(text, statements):
    read = parse_marking(text).statements
    assert [(one.low_nm, one.high_nm, one.low_included, one.scales) for one in read] == statements
    assert all(one.optical_density is None and one.alignment is None for one in read)


@pytest.mark.parametrize(
    ("text", "low", "high", "density"),
    [
        ("OD 6 @ 1064", 1064, 1064, 6), ("OD 5+ 190-534", 190, 534, 5), ("OD 7+ @ 900-1100 nm", 900, 1100, 7),
        ("od6.5@1064", 1064, 1064, 6.5), ("OD 4 at 10.6 um", 10600, 10600, 4), ("190-534 nm OD 5+", 190, 534, 5),
    ],
)  # fmt: skip
def test_densities_are_read(text, low, high, density):
    (read,) = parse_marking(text).statements
    assert (read.low_nm, read.high_nm, read.optical_density, read.scales) == (low, high, density, ())


def test_alignment_number_is_read_and_never_enough():
    (read,) = parse_marking("532-650 RB3").statements
    assert (read.alignment, read.scales) == (3, ())
    verdict = Asked(532e-9, [need("D", 1)], 0.5).judge("532-650 RB3")
    assert (verdict.enough, verdict.verdict) == (False, "not marked for this mode")
    assert "alignment eyewear (EN 208, visible beams up to 1 W, from memory)" in " ".join(verdict.reasons)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "counts as none"), (" \n", "counts as none"),
        ("1064,5 D LB6", r"decimal point as '\.'"), ("OD 6,5 @ 1064", r"decimal point as '\.'"),
        ("1064 X LB6", "mode letter 'X' is unknown; D, I, R and M are allowed"),
        ("1064 LB6", "mode letter is missing"),
        ("1064 D LB11", "LB1 to LB10"), ("1064 D LB0", "LB1 to LB10"), ("1064 D LB06", "LB1 to LB10"),
        ("1100-800 D LB5", "runs backwards"), ("1064-1064 D LB5", "runs backwards or is empty"),
        (">1064 D LB3", "'>' needs a range"),
        ("D LB6", "has no wavelength"), ("1064", "without a scale number"),
        ("OD 6", "has no wavelength"), ("OD 0 @ 1064", "above 0 and up to 20"), ("OD 61064", "above 0 and up to 20"),
        ("OD 6 @ 10 - ", "outside 180 nm"), ("OD 6.1234567 1064", "not understood"),
        ("1064 D LB6, , 532 D LB3", "is not clear"), ("1064 D LB6 VOID", "'VOID' is not understood"),
        ("10.6 D LB4", "unless 'um' stands there"), ("179 D LB4", "outside 180 nm to 1 mm"),
        ("1064 RB2", "EN 208 covers 400 nm to 700 nm"), ("532 RB6", "RB1 to RB5"), ("532 D RB3", "is not clear"),
        ("１０６４ D LB6", "is not understood"), ("1" * 401, "401 characters"),
        ("1050>1400 D LB4", "runs backwards|is not clear|'>' needs"), ("CE", "no filter class"),
        ("safety glasses, clear", "ordinary safety glasses"), ("shade 5", "ordinary safety glasses"),
        ("532 1064 D LB6", "is not clear"),  # a number that may be something else is no wavelength
        ("OD 6 1064 OD 4", "is not clear"), ("532/1064 D LB5 / R LB7", "is not clear"),
        ("532; 1064 D LB6", "without a scale number"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_with_help(text, words):
    with pytest.raises(InputError, match=words):
        parse_marking(text)


@pytest.mark.parametrize(
    ("text", "needs", "density", "rate", "verdict", "words"),
    [
        ("1064 D LB6", [("D", 6)], 5.0, None, "enough", "D LB6 is enough"),
        ("1064 D LB6", [("D", 7)], 5.0, None, "not enough", "D LB6 is too low: D LB7 is needed"),
        ("1064 D LB6", [("D", 4)], 6.0, None, "enough", "for the density"),
        ("1064 D LB6", [("D", 4)], 6.1, None, "not enough", "D LB7 (for the density; LB4 for damage)"),
        ("1064 D LB10", [("D", None)], 5.0, None, "not enough", "no marking promises that"),
        ("1064 D LB6", [("R", 4), ("D", 4)], 4.0, 1e3, "not marked for this mode", "Mode R is not marked"),
        ("1064 D LB3", [("R", 4), ("D", 4)], 4.0, 1e3, "not marked for this mode", "D LB3 is too low"),
        ("1064 IRM LB9", [("D", 4)], 4.0, None, "not marked for this mode", "Mode D is not marked"),
        ("532 D LB9", [("D", 4)], 4.0, None, "wrong wavelength", "Marked for 532 nm; the laser has 1064 nm"),
        (">1064-1400 D LB9", [("D", 4)], 4.0, None, "wrong wavelength", "above 1064-1400"),
        ("1060-1064 D LB9", [("D", 4)], 4.0, None, "enough", "D LB9 is enough"),
        ("1065 D LB9, 190-1063.9 D LB9", [("D", 4)], 4.0, None, "wrong wavelength", "1065, 190-1063.9"),
        ("1064 D LB9; 800-1100 D LB3", [("D", 4)], 4.0, None, "not enough", "D LB3 is too low"),
        ("1064 D LB4; OD 7 @ 1064", [("D", 4)], 6.5, None, "not enough", "OD 7 counts as 7"),
        ("1064 M LB8Y", [("M", 6)], 5.0, None, "not enough", "a single pulse or an unknown rate"),
        ("1064 M LB8Y", [("M", 6)], 5.0, 25.0, "not enough", "this laser has 25 Hz"),
        ("1064 M LB8Y", [("M", 6)], 5.0, 25.1, "enough", "LB8Y is enough at this rate"),
        ("1064 DM LB8Y", [("D", 6)], 5.0, None, "enough", "D LB8 is enough"),
        ("1064 D LB9 + D LB4", [("D", 5)], 4.0, None, "not enough", "D LB4 is too low"),
        ("1064 D LB6 XX 1F CE", [("D", 6)], 5.0, None, "enough", "Says nothing about the filter: XX 1F CE."),
        ("OD 9 @ 1064", [("D", 4)], 4.0, None, "not marked for this mode", "OD only: damage class not marked"),
    ],
)
def test_verdicts(text, needs, density, rate, verdict, words):
    result = Asked(1064e-9, [need(*one) for one in needs], density).judge(text, rate)
    assert result.verdict == verdict
    assert result.enough is (verdict == "enough")
    assert words in " ".join(result.reasons)
    assert result.text == text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"density": math.nan}, "optical density"),
        ({"wavelength": math.nan}, "wavelength"), ({"wavelength": -1.0}, "wavelength"),
        ({"repetition_rate": math.nan}, "repetition rate"), ({"repetition_rate": 0.0}, "repetition rate"),
    ],
)  # fmt: skip
def test_numbers_that_cannot_be_used_are_refused(change, words):
    good = {"wavelength": 1064e-9, "scales": [need("D", 1)], "density": 1.0, "repetition_rate": None}
    asked = good | change
    rate = asked.pop("repetition_rate")
    with pytest.raises(CalcError, match=words):
        Asked(**asked).judge("1064 D LB9", rate)
