"""What `reach` and `eyewear` take where nothing was typed, and what they ask for."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.behaviour.command import run
from tests.project import ROOT

BLUE = ["reach", "--wavelength", "450 nm", "--power", "100 W", "--beam-diameter", "4 mm", "--criterion", "1/e"]
BLUE += ["--divergence", "1 mrad"]
ULTRAVIOLET = ["reach", "--wavelength", "355 nm", "--power", "3 W", "--beam-diameter", "4 mm", "--criterion", "1/e"]
ULTRAVIOLET += ["--divergence", "1 mrad"]
MARKER = ["--wavelength", "1064 nm", "--power", "20 W", "--pulse-duration", "2..350 ns"]
MARKER += ["--repetition-rate", "20..80 kHz", "--beam-diameter", "7 mm"]
PAIRS = ["1064 D LB7 + R LB7 XX S CE", "OD 6+ @ 190-540nm & 800-1100nm", "DI 750-1100 L7 / R 750-1100 L5", "CE"]
FIBRE = ["--wavelength", "1070 nm", "--power", "100 W", "--beam-diameter", "7 mm", "--criterion", "1/e"]


def test_reach_without_a_duration_takes_the_time_of_the_way_and_the_wavelength() -> None:
    # 450 nm: somebody looks at the lit spot for 100 s, where 100 J/m2 (C_B = 1) are allowed, so 1 W/m2:
    # sqrt(100 W / (pi 1 W/m2)) = 5.642 m; the direct beam is met for 10 s.
    blue = run(*BLUE, "--json").data
    assert blue["duration_s"] is None
    assert {way: found["duration_s"] for way, found in blue["details"].items()} == {
        "direct_eye": 10.0, "direct_skin": 10.0, "scatter_eye": 100.0, "scatter_skin": 100.0,
    }  # fmt: skip
    assert blue["scatter_eye_m"] == pytest.approx(math.sqrt(100.0 / math.pi), rel=1e-9)
    assert "scatter, eye: 5.65 m" in run(*BLUE).out
    # 355 nm: the dose of the day, 1e4 J/m2 in 30 000 s = 1/3 W/m2: sqrt(3 W / (pi / 3 W/m2)) = 1.693 m.
    ultraviolet = run(*ULTRAVIOLET, "--json").data
    assert ultraviolet["details"]["direct_eye"]["duration_s"] == 30_000.0
    assert ultraviolet["scatter_eye_m"] == pytest.approx(3.0 / math.sqrt(math.pi), rel=1e-9)


def test_reach_with_a_shorter_duration_names_what_the_usual_time_gives() -> None:
    # 10 s: 100 J/m2 / 10 s = 10 W/m2, sqrt(100 / (10 pi)) = 1.784 m; the direct beam has 10 s as its usual time.
    blue = run(*BLUE, "--duration", "10 s", "--json").data
    assert blue["scatter_eye_m"] == pytest.approx(math.sqrt(10.0 / math.pi), rel=1e-9)
    assert blue["details"]["scatter_eye"]["usual_duration_s"] == 100.0
    assert blue["details"]["scatter_eye"]["usual_m"] == pytest.approx(math.sqrt(100.0 / math.pi), rel=1e-9)
    assert "usual_m" not in blue["details"]["direct_eye"]
    lines = run(*ULTRAVIOLET, "--duration", "10 s").out.splitlines()
    start = lines.index("scatter, eye: 31.0 mm from the lit surface")
    assert "the usual time here is longer: 1.70 m for 30000 s, ultraviolet" in lines[start + 2]
    assert "usual" not in run(*BLUE, "--duration", "100 s").out


def test_reach_draws_beam_limits_and_people(tmp_path: Path) -> None:
    path = tmp_path / "reach.svg"
    told = run(*BLUE, "--duration", "10 s", "--drawing", path).out
    drawn = path.read_text(encoding="utf-8")
    # Scatter: 1.784 m in 10 s and 5.642 m in the usual 100 s, rounded up.
    assert "scatter, eye: 1.79 m for 10.0 s (ICNIRP-2013); for the usual 100 s: 5.65 m" in drawn
    for way in ("direct beam or full mirror, eye: ", "direct beam or full mirror, skin: "):
        distance = next(line for line in told.splitlines() if line.startswith(way)).removeprefix(way).split(" from")[0]
        assert f"{way}{distance} for 10.0 s" in drawn
    assert "nobody in the beam without protection" in drawn
    assert "qualified laser safety officer" in drawn
    assert run(*BLUE, "--drawing", path).code == 0  # its own drawing, as it was written
    path.write_text("mine", encoding="utf-8")
    for name in (path, tmp_path / "reach.png", tmp_path):
        assert run(*BLUE, "--drawing", name).code == 2
    assert path.read_text(encoding="utf-8") == "mine"
    weak = ["reach", "--wavelength", "650 nm", "--power", "0.1 mW", *BLUE[5:], "--drawing", tmp_path / "weak.svg"]
    assert run(*weak).code == 0


def test_a_limit_of_the_user_is_averaged_over_the_aperture_that_goes_with_it() -> None:
    # 1390 nm, 10 W, 4 mm top hat: over 7 mm all 10 W count, 10 / (pi (3.5 mm)^2) = 2.60e5 W/m2, never 3e5. Over 3.5 mm,
    # as the cornea of ICNIRP, it is above 3e5 W/m2 until the beam is sqrt(4 x 10 / (3e5 pi)) = 6.515 mm wide, at
    # sqrt(6.515^2 - 4^2) mm / 1 mrad = 5.14 m.
    words = ["reach", "--wavelength", "1390 nm", "--power", "10 W", "--beam-diameter", "4 mm", "--criterion", "1/e"]
    words += ["--divergence", "1 mrad", "--profile", "top-hat", "--limit-eye", "3e5 W/m2", "--json"]
    strict = run(*words).data["details"]["direct_eye"]
    assert strict["limiting_aperture_mm"] == 3.5
    assert strict["by_rule_set_m"]["typed by the user"] == pytest.approx(5.142, abs=1e-3)
    over_seven = run(*words, "--limit-aperture", "7 mm").data
    assert over_seven["details"]["direct_eye"]["limiting_aperture_mm"] == 7.0
    assert over_seven["direct_eye_m"] == 0.0
    assert run(*words, "--rule-set", "EU-2006/25/EC").data["direct_eye_m"] == 0.0
    refused = run(*BLUE, "--limit-aperture", "7 mm")
    assert "--limit-eye" in refused.err


def test_the_unit_of_a_range_counts_for_its_first_end_beside_an_exponent() -> None:
    # '2..3e3 ns' was refused as '2 e3 ns', which nobody typed; '1e3' was taken for a number with a unit.
    words = ["reach", "--wavelength", "1064 nm", "--pulse-energy", "1 mJ", "--beam-diameter", "7 mm", "--json"]
    words += ["--criterion", "1/e", "--divergence", "1 mrad"]
    short = run(*words, "--pulse-duration", "2..3e3 ns", "--repetition-rate", "1e3..2e3 Hz").data
    assert short == run(*words, "--pulse-duration", "2 ns..3 us", "--repetition-rate", "1 kHz..2 kHz").data


def test_a_limit_of_the_user_counts_the_pulse_of_most_energy_that_can_be_set() -> None:
    # 20 W at 0.06 Hz to 3 Hz: up to 20 / 0.06 = 333.3 J in a pulse. 5 J/m2 is kept where the beam has
    # sqrt(4 x 333.3 / (5 pi)) = 9.213 m, at 1 mrad 9213 m away. By the limits of the rule sets 0.1 Hz is the worst: two
    # pulses of 200 J in 10 s; that setting gave 7136 m.
    words = ["reach", "--wavelength", "1550 nm", "--power", "20 W", "--pulse-duration", "100 us", "--beam-diameter"]
    words += ["7 mm", "--criterion", "1/e", "--divergence", "1 mrad", "--limit-eye", "5 J/m2", "--json"]
    assert run(*words, "--repetition-rate", "0.06..3 Hz").data["direct_eye_m"] == pytest.approx(9213.17, abs=0.01)


def test_eyewear_without_pulse_data_asks_whether_the_beam_is_continuous() -> None:
    refused = run("eyewear", *FIBRE)
    assert "--continuous" in refused.err
    assert "--pulse-duration" in refused.err
    assert (refused.code, refused.out) == (2, "")
    assert run("eyewear", *FIBRE, "--continuous", "--json").data["scale_numbers"] == {"D": 7}
    pulses = ["--pulse-duration", "100 ns", "--repetition-rate", "20 kHz"]
    assert "contradict" in run("eyewear", *FIBRE, *pulses, "--continuous").err


def test_four_pairs_as_printed_get_four_verdicts_in_one_command() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    words = ["eyewear", *MARKER, *(word for pair in PAIRS for word in ("--wearing", pair))]
    lines = run(*words).out.splitlines()
    assert all(f'--wearing "{pair}"' in readme for pair in PAIRS)
    assert "\n".join(lines[:5]) in readme
    found = [line.removeprefix(f"'{pair}': ") for pair, line in zip(PAIRS, lines, strict=False)]
    verdicts = ("enough", "not marked for this mode", "not enough", "no protection")
    assert all(line.startswith(verdict) for line, verdict in zip(found, verdicts, strict=True))
    assert lines[4].startswith("ask for: 1064 D LB7 + R LB6")
    assert [one["verdict"] for one in run(*words, "--json").data["wearing"]] == list(verdicts)
    letters = next(line for line in lines if "pulses from 1 ns to" in line)
    assert all(f"{name}: " in letters for name in ("D", "I", "R", "LB", "OD"))
    assert "RB: " not in letters


def test_eyewear_asks_for_all_that_it_needs_at_once_and_says_where_it_stands() -> None:
    nothing = run("eyewear")
    assert (nothing.code, nothing.out) == (2, "")
    asked = (
        "--wavelength: the number with nm",
        "--continuous for",
        "--power: the highest",
        "--beam-diameter: how wide",
    )
    assert all(part in nothing.err for part in asked)
    half = run("eyewear", "--wavelength", "1064", "--pulse-duration", "2..350 ns").err
    assert "number without a unit" in half
    assert all(part in half for part in ("--repetition-rate: the pulses", "--power: ", "--beam-diameter: "))
    assert "--continuous" not in half


def test_ranges_and_tolerances_are_never_below_one_of_their_points() -> None:
    whole = run("eyewear", *MARKER, "--json").data
    for pulse in ("2 ns", "30 ns", "350 ns"):
        for rate in ("20 kHz", "45 kHz", "80 kHz"):
            words = [*MARKER, "--pulse-duration", pulse, "--repetition-rate", rate]
            one = run("eyewear", *words, "--json").data
            assert all(whole["scale_numbers"][mode] >= number for mode, number in one["scale_numbers"].items())
            assert whole["optical_density"] >= one["optical_density"]
    # 396 to 404 nm: the ultraviolet side counts 30 000 s of 1e4 J/m2, the visible side 10 s of 10 W/m2.
    words = ["eyewear", "--power", "1 W", "--continuous", "--beam-diameter", "7 mm", "--criterion", "1/e"]
    wide, visible = (
        run(*words, "--wavelength", wave, "--wearing", "400-410 D LB9", "--json").data
        for wave in ("400 nm +- 1 %", "404 nm")
    )
    assert wide["optical_density"] > visible["optical_density"]
    assert wide["marking"].startswith("396-404 D LB")
    assert (visible["wearing"][0]["verdict"], wide["wearing"][0]["verdict"]) == ("enough", "wrong wavelength")
    assert "backwards" in run("eyewear", *MARKER, "--pulse-duration", "350..2 ns").err


def test_the_beam_at_the_nearest_face_or_the_strictest() -> None:
    # 7 mm with 2 mrad, 6 m away: sqrt(7^2 + 12^2) mm = 13.89 mm; nearer is nothing worse than the last optic.
    words = ["eyewear", *FIBRE, "--continuous", "--divergence", "2 mrad", "--json"]
    there = run(*words, "--at", "6 m").data
    assert there["beam_diameter_63_m"] == pytest.approx(math.hypot(7e-3, 12e-3), rel=1e-9)
    unknown = run(*words, "--at", "unknown").data
    assert unknown["beam_diameter_63_m"] == pytest.approx(7e-3)
    assert "nearest distance is not known" in " ".join(unknown["assumed"])
    nothing = run("eyewear", *FIBRE[:4], "--continuous", "--beam-diameter", "unknown").out
    assert "assumed: the width of the beam is not known: 0.5 mm at 1/e2" in nothing
    strict = run("eyewear", *FIBRE[:-2], "--continuous", "--json").data
    # Without a criterion 7 mm counts as 1/e2, 4.95 mm at 1/e.
    assert strict["beam_diameter_63_m"] == pytest.approx(7e-3 / math.sqrt(2.0))
    assert "--at" in run(*words).err


@pytest.mark.parametrize(
    ("marking", "warned"),
    [
        ("900-1070 D LB8", ["900-1070"]),  # ends on the wavelength
        ("900-1080.7 D LB8", ["900-1080.7"]),  # 1 % of 1070 nm is 10.7 nm
        ("900-1081 D LB8", []),
        ("1060-1200 D LB8", ["1060-1200"]),
        ("1070 D LB8", []),  # no band
        ("900-1070 D LB5", ["900-1070"]),  # not enough, and warned of
    ],
)
def test_a_band_that_ends_within_a_hundredth_of_the_wavelength_is_warned_of(marking: str, warned: list[str]) -> None:
    words = ["eyewear", *FIBRE, "--continuous", "--wearing", marking]
    assert run(*words, "--json").data["wearing"][0]["bands_that_end_here_nm"] == warned
    first = run(*words).out.splitlines()[0]
    assert ("ends within 1 % of the wavelength" in first) is bool(warned)
    assert all(f"The band {band} nm" in first for band in warned)


def test_the_help_of_limit_promises_only_what_it_takes():
    # Its texts were those of `reach`: a range of the pulse duration, and 'single', each of which is refused here.
    words = " ".join(run("limit", "--help").out.split())
    assert "'single'" not in words
    assert ".." not in words


def test_the_axis_of_a_german_drawing_has_german_numbers(tmp_path: Path) -> None:
    # The axis said 0.1 and the words beside it 1,79 m.
    path = tmp_path / "reach.svg"
    assert run(*BLUE, "--duration", "10 s", "--language", "de", "--drawing", path).code == 0
    drawn = path.read_text(encoding="utf-8")
    assert ">0,1</text>" in drawn
    assert "1,79 m" in drawn
    assert ">0.1</text>" not in drawn
