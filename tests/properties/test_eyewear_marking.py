"""Any text is read to its end or refused, and a marking is never judged better than what it promises."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from lasersafe.errors import InputError
from lasersafe.hazard.marking import Asked, Marking, density_number, parse_marking
from lasersafe.records import MarkingVerdict, ScaleNeed

PIECES = [
    "1064", "532", "800-1100", ">1050-1400", "10.6", "um", "nm", "OD", "OD 6", "5+", "@", "at", "D", "I", "R", "M",
    "DIR", "LB", "LB6", "L6", "LB11", "LB8Y", "RB3", "Y", "+", ",", ";", "-", " ", "  ", ".", "5", "0", "\n", "–",
    "µm", "X", "CE", "S", "EN 207", "/", "&", ">", "532 RB2", "ſ", "①", "K", "\x1b",
]  # fmt: skip
TEXTS = st.one_of(st.text(max_size=60), st.lists(st.sampled_from(PIECES), max_size=14).map("".join))
NEEDS = (ScaleNeed("D", 6, 1.0, "W/m2"), ScaleNeed("R", 4, 1.0, "J/m2"))
VERDICTS = {"enough", "not enough", "wrong wavelength", "not marked for this mode"}


@given(TEXTS)
def test_any_text_is_read_or_refused(text):
    refusal = ""
    try:
        marking = parse_marking(text)
    except InputError as error:
        refusal = str(error)
    if refusal:
        assert refusal.startswith("marking")
        assert refusal.isprintable()
        return
    assert isinstance(marking, Marking)
    for statement in marking.statements:
        assert 180 <= statement.low_nm <= statement.high_nm <= 1e6
        kinds = (bool(statement.scales), statement.optical_density is not None, statement.alignment is not None)
        assert any(kinds)
        assert not (kinds[2] and any(kinds[:2])), "an alignment number stands alone"
        assert all(1 <= mark.number <= 10 and set(mark.modes) <= set("DIRM") for mark in statement.scales)


@given(TEXTS, st.floats(180e-9, 1e-3), st.floats(-1, 12), st.one_of(st.none(), st.floats(0.1, 1e6)))
def test_any_text_is_judged_or_refused(text, wavelength, density, rate):
    try:
        verdict = Asked(wavelength, NEEDS, density).judge(text, rate)
    except InputError:
        return
    assert isinstance(verdict, MarkingVerdict)
    assert verdict.verdict in VERDICTS
    assert verdict.enough is (verdict.verdict == "enough")
    assert verdict.reasons
    assert all(reason.endswith(".") for reason in verdict.reasons)


SCALES = st.dictionaries(st.sampled_from("DIRM"), st.integers(1, 10), min_size=1)


@given(SCALES, SCALES, st.floats(-1, 10), st.integers(180, 100000))
def test_enough_means_every_letter_reaches_density_and_damage_class(marked, needed, density, nanometre):
    text = f"{nanometre} " + " + ".join(f"{mode} LB{number}" for mode, number in marked.items())
    needs = [ScaleNeed(mode, number, 1.0, "W/m2") for mode, number in needed.items()]
    result = Asked(nanometre * 1e-9, needs, density).judge(text)
    least = density_number(density)
    enough = all(marked.get(mode, 0) >= max(number, least) for mode, number in needed.items())
    assert result.enough is enough
    if not enough:
        unmarked = not needed.keys() <= marked.keys()
        assert result.verdict == ("not marked for this mode" if unmarked else "not enough")


@given(SCALES, st.floats(-1, 10), st.floats(180e-9, 0.99e-3))
def test_the_marking_to_ask_is_enough_and_one_step_less_is_not(needed, density, wavelength):
    wavelength = round(wavelength * 1e9) * 1e-9
    needs = [ScaleNeed(mode, number, 1.0, "W/m2") for mode, number in needed.items()]
    asked = Asked(wavelength, needs, density).marking()
    assert Asked(wavelength, needs, density).judge(asked).enough
    for mark in parse_marking(asked).statements[0].scales:
        if mark.number > 1:
            weaker = asked.replace(f"{mark.modes} LB{mark.number}", f"{mark.modes} LB{mark.number - 1}")
            assert Asked(wavelength, needs, density).judge(weaker).verdict == "not enough"


@given(st.integers(180, 20000), st.integers(180, 20000), st.integers(180, 20000), st.booleans())
def test_a_range_covers_what_lies_in_it(one, other, nanometre, above):
    low, high = min(one, other), max(one, other) + 1
    verdict = Asked(nanometre * 1e-9, NEEDS, 5.0).judge(f"{'>' if above else ''}{low}-{high} DR LB9")
    inside = (low < nanometre if above else low <= nanometre) and nanometre <= high
    assert verdict.verdict == ("enough" if inside else "wrong wavelength")


@given(st.floats(0.1, 20).map(lambda value: f"{value:.2f}"), st.floats(-1, 12))
def test_a_density_alone_is_never_enough(printed, density):
    verdict = Asked(1064e-9, NEEDS, density).judge(f"OD {printed}+ @ 1064")
    assert verdict.verdict == "not marked for this mode"
    text = " ".join(verdict.reasons)
    assert "OD only: damage class not marked" in text
    assert ("does not reach" in text) == (math.floor(float(printed)) < density_number(density))


@given(TEXTS)
def test_nothing_is_read_that_is_not_printed(text):
    try:
        marking = parse_marking(text)
    except InputError:
        return
    for one in marking.statements:
        assert all(f"{mark.number}" in text for mark in one.scales)
        assert all(letter in text.upper() for mark in one.scales for letter in mark.modes)
        assert one.optical_density is None or f"{one.optical_density:g}" in text
        assert all(f"{end:.7g}" in text or f"{end / 1e3:.7g}" in text for end in (one.low_nm, one.high_nm))
