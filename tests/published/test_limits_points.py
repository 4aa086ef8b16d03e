"""Limits at points, typed from published examples and tables: sections 1, 3, 12 and 12.1 of the list of checks.

Rows of older editions that today's rule sets replace stand with what was printed, and are tested with what today's rule
sets give there. `worked` marks what no document prints: the formula of the edition, worked out at a point.
"""

from __future__ import annotations

import math

import pytest

from lasersafe.limits import correction_factor, exposure_limit, hazard_limits, source_factor, time_t2
from tests.published.printed import WrongPrintError, printed, worked, wrong_in_print

ICNIRP, EU = "ICNIRP-2013", "EU-2006/25/EC"
BOTH = [ICNIRP, EU]
JUST_BELOW, JUST_ABOVE = 1 - 1e-9, 1 + 1e-9
SEVEN_MM = math.pi / 4 * 7e-3**2


def dose(rule_set, tissue, nm, duration, **more):
    return float(exposure_limit(rule_set, tissue, nm * 1e-9, duration, **more).radiant_exposure)


def irradiance(rule_set, tissue, nm, duration, **more):
    return float(exposure_limit(rule_set, tissue, nm * 1e-9, duration, **more).irradiance)


def one_hazard(rule_set, name, nm, duration, quantity="radiant_exposure"):
    (limit,) = [h for h in hazard_limits(rule_set, "eye", nm * 1e-9, duration) if h.name == name]
    return float(getattr(limit, quantity))


@pytest.mark.published("SAMPLE-CALCULATIONS", "MPE-01")
@pytest.mark.parametrize("rule_set", BOTH)
def test_argon_blink(rule_set):
    assert dose(rule_set, "eye", 488, 0.25) / 10 == printed("0.64")  # mJ/cm2


@pytest.mark.published("OSHA-OTM", "MPE-03")
@pytest.mark.parametrize("rule_set", BOTH)
def test_carbon_dioxide_ten_seconds(rule_set):
    assert irradiance(rule_set, "eye", 10600, 10.0) * 1e-4 == printed("0.1")  # W/cm2
    assert irradiance(rule_set, "eye", 10600, 10.0 * JUST_ABOVE) * 1e-4 == worked("0.1000")


@pytest.mark.published("OSHA-OTM", "MPE-05")
@pytest.mark.parametrize("rule_set", BOTH)
def test_neodymium_ten_seconds_is_the_short_branch_and_the_edge_takes_the_stricter_one(rule_set):
    assert irradiance(rule_set, "eye", 1064, 10.0 * JUST_BELOW) * 1e-4 == printed("5.1e-3")
    assert irradiance(rule_set, "eye", 1064, 10.0) == pytest.approx(50.0, rel=1e-12)


@pytest.mark.published("OSHA-OTM", "table of limits, ANSI Z136.1-1993")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize(
    ("nm", "duration", "of_1993", "today"),  # W/cm2
    [
        pytest.param(1064, 3e4, "1.6e-3", "5.0e-3", id="MPE-06"),
        pytest.param(840, 3e4, "610e-6", "1.905e-3", id="MPE-08"),
        pytest.param(633, 600, "293e-6", "1.0e-3", id="MPE-10"),
        pytest.param(647, 600, "364e-6", "1.0e-3", id="MPE-12"),
        pytest.param(647, 3e4, "28.5e-6", "1.0e-3", id="MPE-13"),
        pytest.param(568, 600, "31e-6", "1.0e-3", id="MPE-14"),
        pytest.param(514, 600, "16.7e-6", "1.0e-3", id="MPE-16"),
        pytest.param(514, 3e4, "1.0e-6", "1.0e-3", id="MPE-17"),
    ],
)
def test_rows_of_the_1993_table(published_row, rule_set, nm, duration, of_1993, today):
    found = irradiance(rule_set, "eye", nm, duration) * 1e-4
    published_row(of_1993, found, f"{rule_set}: {today}", superseded=True)
    assert found == worked(today)


@pytest.mark.published("OSHA-OTM", "MPE-16, note")
@pytest.mark.parametrize("rule_set", BOTH)
def test_photochemical_limit_at_514_nm_does_not_bind(rule_set):
    assert one_hazard(rule_set, "retina photochemical", 514, 600, "irradiance") * 1e-4 == worked("1.9e-3")
    assert str(exposure_limit(rule_set, "eye", 514e-9, 600).hazard) == "retina thermal"


@pytest.mark.published("OSHA-OTM", "MPE-15")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.xfail(
    strict=True,
    raises=WrongPrintError,
    reason="SUSPECT: the print is ten times the 1993 formula (1.86e-6); superseded as well, by 1.0e-3",
)
def test_krypton_568_nm_all_day(rule_set):
    wrong_in_print(irradiance(rule_set, "eye", 568, 3e4) * 1e-4, "18.6e-6", expected="1.0e-3")


@pytest.mark.published("OSHA-OTM", "MPE-09")
@pytest.mark.parametrize("rule_set", BOTH)
def test_helium_neon_blink(rule_set):
    assert irradiance(rule_set, "eye", 633, 0.25) * 1e-4 == printed("2.5e-3")


@pytest.mark.published("OSHA-OTM", "MPE-20")
def test_1330_nm_has_c_c_of_8_in_the_directive_and_a_cornea_limit_in_icnirp(published_row):
    found = irradiance(EU, "eye", 1330, 10.0 * JUST_BELOW) * 1e-4
    published_row("5.1e-3", found, "printed with C_C = 1; EU-2006/25/EC has 8", superseded=True)
    assert found == worked("40.5e-3")
    assert float(correction_factor(ICNIRP, "C_C", 1330e-9)) == worked("1593")
    assert str(exposure_limit(ICNIRP, "eye", 1330e-9, 10.0).hazard) == "cornea thermal"


@pytest.mark.published("EU-GUIDE", "MPE-21, MPE-23")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize("nm", [400 * JUST_ABOVE, 555, 700 * JUST_BELOW])
def test_class_2_derivation(rule_set, nm):
    assert dose(rule_set, "eye", nm, 0.25) == printed("6.36")
    assert irradiance(rule_set, "eye", nm, 0.25) * SEVEN_MM * 1e3 == printed("0.98")  # mW


@pytest.mark.published("DGUV203-036", "MPE-24")
@pytest.mark.parametrize("rule_set", BOTH)
def test_four_second_stare(rule_set):
    assert irradiance(rule_set, "eye", 532, 4.0) * SEVEN_MM * 1e3 == printed("0.5")  # mW


@pytest.mark.published("DGUV203-042", "MPE-26")
@pytest.mark.parametrize("rule_set", BOTH)
def test_two_seconds_against_a_blink(rule_set):
    assert irradiance(rule_set, "eye", 532, 2.0) / irradiance(rule_set, "eye", 532, 0.25) == printed("0.6")


@pytest.mark.published("ANSI-Z136-1", "SKIN-01 to SKIN-07")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize("duration", [11.0, 100.0, 3e4])
@pytest.mark.parametrize(("nm", "expected"), [(808, "0.33"), (1064, "1.0")])
def test_skin_continuous(rule_set, duration, nm, expected):
    assert irradiance(rule_set, "skin", nm, duration) * 1e-4 == printed(expected)  # W/cm2


@pytest.mark.published("ANSI-Z136-1", "SKIN-04, SKIN-06, SKIN-07")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize("duration", [1.1e-9, 10e-9, 99e-9])
@pytest.mark.parametrize(("nm", "expected"), [(532, "20"), (1064, "100"), (750, "25")])
def test_skin_pulse(rule_set, duration, nm, expected):
    assert dose(rule_set, "skin", nm, duration) / 10 == printed(expected)  # mJ/cm2


# Section 12. Point source, eye. 10 ns and 1 us and 0.25 s in J/m2, then W/m2; "dose" rows in J/m2 throughout.
EYE = [
    # nm, 10 ns OLD, NEW, 1 us OLD, NEW, 0.25 s OLD, NEW, 10 s OLD, NEW, 100 s, 3e4 s
    (405, "0.005", "0.002", "0.005", "0.002", "6.364", "6.364", "10", "10", "1", "1"),
    (445, "0.005", "0.002", "0.005", "0.002", "6.364", "6.364", "10", "10", "1", "1"),
    (488, "0.005", "0.002", "0.005", "0.002", "6.364", "6.364", "10", "10", "5.754", "5.754"),
    (532, "0.005", "0.002", "0.005", "0.002", "6.364", "6.364", "10", "10", "10", "10"),
    (633, "0.005", "0.002", "0.005", "0.002", "6.364", "6.364", "10", "10", "10", "10"),
    (650, "0.005", "0.002", "0.005", "0.002", "6.364", "6.364", "10", "10", "10", "10"),
    (785, "0.007396", "0.002958", "0.007396", "0.002958", "9.413", "9.413", "14.79", "14.79", "14.79", "14.79"),
    (850, "0.009976", "0.003991", "0.009976", "0.003991", "12.70", "12.70", "19.95", "19.95", "19.95", "19.95"),
    (904, "0.01279", "0.005117", "0.01279", "0.005117", "16.28", "16.28", "25.59", "25.59", "25.59", "25.59"),
    (1053, "0.05", "0.02", "0.05", "0.02", "31.82", "31.82", "50", "50", "50", "50"),
    (1064, "0.05", "0.02", "0.05", "0.02", "31.82", "31.82", "50", "50", "50", "50"),
    (1080, "0.05", "0.02", "0.05", "0.02", "31.82", "31.82", "50", "50", "50", "50"),
    (1550, "1.000e4", "1.000e4", "1.000e4", "1.000e4", "1.000e4", "1.000e4", "1000", "1000", "1000", "1000"),
    (1645, "1.000e4", "1.000e4", "1.000e4", "1.000e4", "1.000e4", "1.000e4", "1000", "1000", "1000", "1000"),
    (2010, "1000", "1000", "1000", "1000", "3960", "3960", "1000", "1000", "1000", "1000"),
    (2940, "100", "100", "177.1", "177.1", "3960", "3960", "1000", "1000", "1000", "1000"),
]
LONG = 10.0 * JUST_ABOVE  # the column of the print is the row from 10 s on; at exactly 10 s the stricter row applies


@pytest.mark.published("ICNIRP2013", "section 12")
@pytest.mark.parametrize("row", EYE, ids=lambda row: f"{row[0]}nm")
@pytest.mark.parametrize(("column", "rule_set"), [(0, EU), (1, ICNIRP)])
def test_eye_points(row, column, rule_set):
    nm, values = row[0], row[1:]
    for at, duration in ((0, 10e-9), (2, 1e-6), (4, 0.25)):
        assert dose(rule_set, "eye", nm, duration) == worked(values[at + column])
    for at, duration in ((6 + column, LONG), (8, 100.0), (9, 3e4)):
        assert irradiance(rule_set, "eye", nm, duration) == worked(values[at])


@pytest.mark.published("ICNIRP2013", "section 12, rows 193, 308, 351 nm")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize(
    ("nm", "values"),
    [
        (193, ["30", "30", "30", "30", "30", "30"]),
        (308, ["56.0", "177.1", "398.1", "398.1", "398.1", "398.1"]),
        (351, ["56.0", "177.1", "3960", "1.000e4", "1.000e4", "1.000e4"]),
    ],
)
def test_ultraviolet_doses(rule_set, nm, values):
    for duration, text in zip([10e-9, 1e-6, 0.25, LONG, 100.0, 3e4], values, strict=True):
        assert dose(rule_set, "eye", nm, duration) == worked(text)
        assert dose(rule_set, "skin", nm, duration) == worked(text)


@pytest.mark.published("ICNIRP2013", "section 12, row 1319 nm and remark (c)")
def test_1319_nm():
    for duration, text in ((10e-9, "0.400"), (1e-6, "0.400"), (0.25, "254.6")):
        assert dose(EU, "eye", 1319, duration) == worked(text)
    for duration in (LONG, 100.0, 3e4):
        assert irradiance(EU, "eye", 1319, duration) == worked("400")
        assert one_hazard(ICNIRP, "retina thermal", 1319, duration, "irradiance") == worked("2.917e4")
        assert irradiance(ICNIRP, "eye", 1319, duration) == worked("1.000e4")  # the skin limit binds
    for duration, text in ((10e-9, "11.67"), (1e-6, "11.67"), (0.25, "1.856e4")):
        assert one_hazard(ICNIRP, "retina thermal", 1319, duration) == worked(text)


@pytest.mark.published("ICNIRP2013", "section 12, remark (b)")
@pytest.mark.parametrize("rule_set", BOTH)
def test_308_nm_switches_at_25_microseconds(rule_set):
    switch = 2.51e-5  # as printed; the smaller of both limits switches at 2.55e-5, which is stricter in between
    assert dose(rule_set, "eye", 308, switch) == pytest.approx(5600 * switch**0.25, rel=1e-12)
    assert dose(rule_set, "eye", 308, switch) == pytest.approx(398.1, rel=0.005)
    assert dose(rule_set, "eye", 308, switch * 1.02) == worked("398.1")


@pytest.mark.published("ICNIRP2013", "section 12; limits_sources 1.6, 2.4")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize(
    ("name", "nm", "expected"),
    [
        ("C_A", 785, "1.4791"),
        ("C_A", 808, "1.6444"),
        ("C_A", 850, "1.9953"),
        ("C_A", 904, "2.5586"),
        ("C_A", 980, "3.6308"),
        ("C_A", 1064, "5"),
        ("C_A", 800, "1.5849"),
        ("C_A", 905, "2.5704"),
        ("C_A", 940, "3.0200"),
        ("C_A", 976, "3.5645"),
        ("C_A", 1049.999, "5.0118"),
        ("C_B", 488, "5.754"),
        ("C_B", 514.5, "19.50"),
        ("C_B", 532, "43.65"),
        ("C_B", 473, "2.8840"),
        ("C_B", 500, "10.000"),
        ("C_B", 515, "19.953"),
        ("C_B", 550, "100.00"),
        ("C_B", 600, "1000.0"),
        ("C_C", 1180, "3.467"),
        ("C_C", 1175, "2.8184"),
        ("C_C", 1199.9999, "7.943"),
        ("T_1", 488, "57.5"),
        ("T_1", 473, "28.84"),
        ("T_1", 500, "100"),
        ("T_1", 440, "10"),
    ],
)
def test_correction_factors(rule_set, name, nm, expected):
    assert float(correction_factor(rule_set, name, nm * 1e-9)) == worked(expected)


@pytest.mark.published("ICNIRP2013", "section 12; limits_sources 2.4")
@pytest.mark.parametrize(
    ("rule_set", "nm", "expected"),
    [
        (EU, 1319, "8"),
        (EU, 1399, "8"),
        (ICNIRP, 1319, "583.4"),
        (ICNIRP, 1200.0001, "8.01"),
        (ICNIRP, 1250, "9.00"),
        (ICNIRP, 1300, "108"),
        (ICNIRP, 1310, "259.2"),
        (ICNIRP, 1320, "639.0"),
        (ICNIRP, 1340, "3989"),
        (ICNIRP, 1350, "10008"),
        (ICNIRP, 1400, "1.000e6"),
    ],
)
def test_c_c_differs_between_the_editions(rule_set, nm, expected):
    assert float(correction_factor(rule_set, "C_C", nm * 1e-9)) == worked(expected)


# Section 12.1, skin: 10 ns, 1 ms, 0.25 s in J/m2, 10 s in W/m2.
SKIN = [
    (355, "56.0", "995.8", "3960", None),
    (532, "200", "1956", "7778", "2000"),
    (633, "200", "1956", "7778", "2000"),
    (905, "514.1", "5028", "1.999e4", "5141"),
    (980, "726.2", "7102", "2.824e4", "7262"),
    (1080, "1000", "9781", "3.889e4", "1.000e4"),
    (1550, "1.000e4", "1.000e4", "1.000e4", "1000"),
    (10600, "100", "995.8", "3960", "1000"),
]


@pytest.mark.published("ICNIRP2013", "section 12.1")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize("row", SKIN, ids=lambda row: f"{row[0]}nm")
def test_skin_points(rule_set, row):
    nm, *pulses, steady = row
    for duration, text in zip((10e-9, 1e-3, 0.25), pulses, strict=True):
        assert dose(rule_set, "skin", nm, duration) == worked(text)
    if steady is None:
        assert dose(rule_set, "skin", nm, LONG) == worked("1.000e4")
    else:
        assert irradiance(rule_set, "skin", nm, LONG) == worked(steady)


@pytest.mark.published("ICNIRP2013", "EXT-01, EXT-02, EXT-04")
@pytest.mark.parametrize("rule_set", BOTH)
def test_extended_source_factors(rule_set):
    assert float(source_factor(rule_set, 10.0, 15e-3)) == worked("10.00")
    assert float(source_factor(rule_set, 10.0, 100e-3)) == worked("66.67")
    assert float(time_t2(rule_set, 50e-3)) == worked("31.07")
    ratio = dose(rule_set, "eye", 633, 1.0, source_angle=15e-3) / dose(rule_set, "eye", 633, 1.0)
    assert ratio == worked("10.00")


@pytest.mark.published("ICNIRP2013", "limits_sources 1.6")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize(("mrad", "expected"), [(5, "10.853"), (10, "12.198"), (1, "10"), (100, "100"), (500, "100")])
def test_t2(rule_set, mrad, expected):
    assert float(time_t2(rule_set, mrad * 1e-3)) == worked(expected)


# Points worked out for both editions (limits_sources 6.1). The value of ICNIRP at 1064 nm, 1 ps is disputed between two
# recollections; limits.md takes the stricter 1e-3.
@pytest.mark.published("ICNIRP2013", "limits_sources 6.1")
@pytest.mark.parametrize(
    ("nm", "duration", "directive", "icnirp"),
    [
        (532, 1e-12, "1.500e-4", "1.000e-3"),
        (532, 1e-10, "8.538e-4", "2.000e-3"),
        (532, 5e-9, "5.000e-3", "2.000e-3"),
        (532, 1e-5, "5.000e-3", "3.201e-3"),
        (905, 1e-7, "1.285e-2", "5.141e-3"),
        (1064, 1e-12, "1.500e-3", "1.000e-3"),
        (1064, 1e-8, "5.000e-2", "2.000e-2"),
        (1064, 2e-5, "5.000e-2", "2.692e-2"),
        (1320, 1e-8, "0.400", "12.78"),
        (355, 5e-9, "47.09", "47.09"),
        (266, 5e-9, "30.00", "30.00"),
        (1550, 1e-8, "1.000e4", "1.000e4"),
        (10600, 0.25, "3960", "3960"),
        (532, 10 * JUST_BELOW, "101.2", "101.2"),
        (905, 10 * JUST_BELOW, "260.2", "260.2"),
        (1064, 10 * JUST_BELOW, "506.1", "506.1"),
    ],
)
def test_points_of_both_editions(nm, duration, directive, icnirp):
    assert dose(EU, "eye", nm, duration) == worked(directive)
    assert dose(ICNIRP, "eye", nm, duration) == worked(icnirp)


@pytest.mark.published("ICNIRP2013", "limits_sources 6.1, 1320 nm, 10 s")
def test_1320_nm_ten_seconds():
    assert irradiance(EU, "eye", 1320, 10 * JUST_BELOW) == worked("404.9")
    assert irradiance(EU, "eye", 1320, 10 * JUST_ABOVE) == worked("400")
    assert one_hazard(ICNIRP, "retina thermal", 1320, 10 * JUST_BELOW, "irradiance") == worked("3.234e4")
    assert irradiance(ICNIRP, "eye", 1320, 10 * JUST_ABOVE) == worked("1.000e4")


@pytest.mark.published("EU2006-25", "limits_sources 1.2.1")
@pytest.mark.parametrize(
    ("nm", "listed", "formula"),
    [
        (303, "40", "39.81"),
        (304, "60", "63.10"),
        (305, "100", "100.0"),
        (306, "160", "158.5"),
        (307, "250", "251.2"),
        (308, "400", "398.1"),
        (309, "630", "631.0"),
        (310, "1000", "1000"),
        (311, "1600", "1585"),
        (312, "2500", "2512"),
        (313, "4000", "3981"),
        (314, "6300", "6310"),
    ],
)
def test_directive_takes_the_lower_of_list_and_formula(nm, listed, formula):
    lower = min(listed, formula, key=float)
    match = printed if lower == listed else worked
    assert dose(EU, "eye", nm, 100.0) == match(lower)
    assert dose(EU, "skin", nm, 3e4) == match(lower)
    assert dose(EU, "eye", nm + 0.999, 100.0) == printed(listed)  # the whole nanometre below


@pytest.mark.published("EU2006-25", "limits_sources 1.9 and 2.1")
@pytest.mark.parametrize(
    ("rule_set", "tissue", "nm", "at", "form", "neighbour", "form_is_below"),
    [
        (EU, "eye", 532, 1e-11, "1.52e-4", "1.5e-4", False),
        (EU, "eye", 532, 1e-9, "4.80e-3", "5e-3", True),
        (EU, "eye", 532, 1.8e-5, "4.97e-3", "5e-3", False),
        (EU, "eye", 1064, 1e-11, "1.52e-3", "1.5e-3", False),
        (EU, "eye", 1064, 1e-9, "4.80e-2", "5e-2", True),
        (EU, "eye", 1064, 5e-5, "5.35e-2", "5e-2", False),
        (ICNIRP, "eye", 532, 5e-6, "1.90e-3", "2e-3", False),
        (ICNIRP, "eye", 1064, 13e-6, "1.95e-2", "2e-2", False),
        (ICNIRP, "eye", 355, 1e-9, "31.5", "30", False),
        (ICNIRP, "eye", 10600, 1e-7, "99.6", "100", False),
        (ICNIRP, "eye", 1450, 1e-3, "996", "1000", False),
        (EU, "eye", 2000, 1e-3, "996", "1000", False),
        (EU, "eye", 351, 10.0, "9958", "1e4", True),
        (ICNIRP, "skin", 532, 1e-7, "195.6", "200", False),
        (EU, "skin", 532, 1e-7, "195.6", "200", False),
    ],
)
def test_forms_meet_at_the_joins(rule_set, tissue, nm, at, form, neighbour, form_is_below):
    below, above = dose(rule_set, tissue, nm, at * JUST_BELOW), dose(rule_set, tissue, nm, at * JUST_ABOVE)
    expected = (form, neighbour) if form_is_below else (neighbour, form)
    assert below == worked(expected[0])
    assert above == worked(expected[1])
    assert dose(rule_set, tissue, nm, at) == pytest.approx(min(below, above), rel=1e-8)
    assert max(below, above) / min(below, above) <= 1.071


@pytest.mark.published("EU2006-25", "limits_sources 1.9")
@pytest.mark.parametrize("rule_set", BOTH)
@pytest.mark.parametrize(
    ("tissue", "nm", "below", "above"),
    [("eye", 532, "10.12", "10"), ("eye", 1064, "50.6", "50"), ("skin", 532, "1956", "2000")],
)
def test_forms_meet_at_ten_seconds(rule_set, tissue, nm, below, above):
    before, after = irradiance(rule_set, tissue, nm, 10 * JUST_BELOW), irradiance(rule_set, tissue, nm, 10 * JUST_ABOVE)
    assert before == worked(below)
    assert after == worked(above)
    assert irradiance(rule_set, tissue, nm, 10.0) == pytest.approx(min(before, after), rel=1e-8)


@pytest.mark.published("ICNIRP2013", "limits_sources 2.1")
def test_the_step_of_two_at_ten_picoseconds():
    assert dose(ICNIRP, "eye", 532, 1e-11 * JUST_BELOW) == worked("1.000e-3")
    assert dose(ICNIRP, "eye", 532, 1e-11) == worked("1.000e-3")
    assert dose(ICNIRP, "eye", 532, 1e-11 * JUST_ABOVE) == worked("2.000e-3")


@pytest.mark.published("ICNIRP2013", "limits_sources 1.9")
@pytest.mark.parametrize("rule_set", BOTH)
def test_photochemical_limit_is_continuous_at_100_seconds(rule_set):
    for duration in (100 * JUST_BELOW, 100.0, 100 * JUST_ABOVE):
        assert irradiance(rule_set, "eye", 430, duration) == pytest.approx(1.0, rel=1e-8)


@pytest.mark.published("SGF-FORUM", "PUL-12", note="chart reading of one digit, 532 nm, 10 ps, J/cm2")
def test_chart_reading_at_ten_picoseconds_in_the_directive(published_row):
    found = dose(EU, "eye", 532, 10e-12) * 1e-4
    assert found == worked("1.5e-8")
    published_row("1e-8", found, "EU-2006/25/EC; PUL-11 of the same chart fits the later edition only")


@pytest.mark.published("SGF-FORUM", "PUL-12", note="chart reading of one digit, 532 nm, 10 ps, J/cm2")
@pytest.mark.xfail(
    strict=True, raises=WrongPrintError, reason="SUSPECT: PUL-11 of the same chart fits ICNIRP-2013, this does not"
)
def test_chart_reading_at_ten_picoseconds_in_icnirp():
    wrong_in_print(dose(ICNIRP, "eye", 532, 10e-12) * 1e-4, "1e-8", expected="1.0e-7")
