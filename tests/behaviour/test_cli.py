"""Every command as a user gets it: answers, JSON keys, one line for every error, exit code 2."""

from __future__ import annotations

import math
import re
import subprocess
import sys

import pytest

from lasersafe.ask.cases import template_text
from tests.assessed_once import anew
from tests.behaviour.command import run
from tests.project import ROOT

BEAM = ["--wavelength", "1064 nm", "--power", "300 W", "--beam-diameter", "8.5 mm", "--criterion", "1/e"]
HAND_HELD = [*BEAM, "--lens-focal-length", "150 mm", "--duration", "10 s"]
TEMPLATES = ["co2-cutter", "demo", "handheld-welder", "nanosecond-marker", "ultraviolet", "visible-diode"]


def test_limit_json_has_the_promised_keys() -> None:
    data = run("limit", "--wavelength", "1070 nm", "--duration", "10 s", "--json").data
    for tissue in ("eye", "skin"):
        keys = {"radiant_exposure_J_per_m2", "irradiance_W_per_m2", "limiting_aperture_mm", "hazard", "source"}
        assert keys <= data[tissue].keys()
    assert data["eye"]["irradiance_W_per_m2"] == pytest.approx(50.0, rel=1e-12)
    assert data["eye"]["limiting_aperture_mm"] == 7.0
    assert data["skin"]["limiting_aperture_mm"] == 3.5
    assert "per_pulse_J_per_m2" not in data["eye"]


def test_limit_of_a_train_names_the_rule() -> None:
    data = run(
        "limit", "--wavelength", "1064 nm", "--duration", "10 s", "--pulse-duration", "10 ns",
        "--repetition-rate", "20 Hz", "--rule-set", "EU-2006/25/EC", "--json",
    ).data  # fmt: skip
    assert data["eye"]["per_pulse_J_per_m2"] == pytest.approx(0.05 * 200**-0.25, rel=1e-9)
    assert data["eye"]["deciding_rule"] == "train"


def test_limit_text_says_when_the_other_rule_set_is_stricter() -> None:
    text = run("limit", "--wavelength", "1319 nm", "--duration", "10 s").out
    assert "EU-2006/25/EC is stricter for the eye: 400.0 W/m2" in text


def test_reach_of_the_published_hand_held_case_rounds_up() -> None:
    answer = run("reach", *HAND_HELD, "--scatter", "hemisphere", "--json").data
    assert answer["direct_eye_from_focus_m"] == pytest.approx(48.776, abs=2e-3)
    assert answer["direct_eye_m"] == pytest.approx(answer["direct_eye_from_focus_m"] + 0.15, rel=1e-12)
    assert answer["scatter_eye_m"] == pytest.approx(0.977, abs=1e-3)
    text = run("reach", *HAND_HELD).out
    assert "49.0 m from the last optic" in text
    assert "laser safety officer" in text
    assert "safe distance" not in text


def test_reach_takes_a_limit_of_the_user_and_says_so() -> None:
    words = ["reach", "--wavelength", "1064 nm", "--power", "100 W", "--beam-diameter", "2 mm", "--criterion", "1/e"]
    words += ["--divergence", "2 mrad", "--duration", "30000 s", "--propagation", "linear", "--limit-eye", "16 W/m2"]
    answer = run(*words, "--json").data
    assert answer["direct_eye_m"] == pytest.approx(1409.5, rel=1e-3)
    assert answer["details"]["direct_eye"]["decided_by"] == "typed by the user"
    assert "typed by the user" in run(*words).out


def test_reach_lets_the_stricter_rule_set_decide() -> None:
    pulses = ["--pulse-energy", "1 mJ", "--pulse-duration", "100 ns", "--repetition-rate", "20 kHz"]
    words = ["reach", "--wavelength", "1064 nm", *pulses, "--beam-diameter", "7 mm", "--criterion", "1/e"]
    words += ["--divergence", "1 mrad", "--duration", "10 s", "--json"]
    both = run(*words).data
    one = {name: run(*words, "--rule-set", name).data["direct_eye_m"] for name in ("ICNIRP-2013", "EU-2006/25/EC")}
    assert both["direct_eye_m"] == max(one.values())
    assert both["details"]["direct_eye"]["by_rule_set_m"] == one


def test_eyewear_answers_in_one_line_and_judges_what_is_worn() -> None:
    beam = [
        "--wavelength",
        "1070 nm",
        "--power",
        "100 W",
        "--continuous",
        "--beam-diameter",
        "7 mm",
        "--criterion",
        "1/e",
    ]
    data = run("eyewear", *beam, "--wearing", "1070 D LB8", "--json").data
    assert data["scale_numbers"] == {"D": 7}
    assert data["wearing"][0]["enough"] is True
    text = run("eyewear", *beam, "--wearing", "1064 D LB8").out
    assert text.splitlines()[0].startswith("'1064 D LB8': wrong wavelength - do not rely on it")
    assert text.splitlines()[1].startswith("ask for: 1070 D LB7")
    assert "not enough" in run("eyewear", *beam, "--wearing", "1070 D LB5").out


def test_eyewear_says_when_none_can_be_relied_on() -> None:
    data = run("eyewear", "--wavelength", "1070 nm", "--power", "1.5 kW", "--continuous", "--beam-diameter", "8 mm",
               "--criterion", "1/e2", "--wearing", "1070 D LB10", "--json").data  # fmt: skip
    assert data["no_reliance"].startswith("no eyewear can be relied on here")
    assert data["reliable"] is False
    assert data["wearing"][0]["enough"] is False
    assert data["optical_density"] >= data["optical_density_exact"]


def test_eyewear_density_is_that_of_the_power_in_the_aperture() -> None:
    data = run("eyewear", "--wavelength", "1070 nm", "--power", "100 W", "--continuous", "--beam-diameter", "1 mm",
               "--criterion", "1/e", "--json").data  # fmt: skip
    assert data["optical_density_exact"] == pytest.approx(math.log10(100 / (math.pi * 3.5e-3**2) / 50), abs=1e-6)
    assert data["optical_density"] == pytest.approx(4.8)


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["limit", "--wavelength", "1,07 um", "--duration", "10 s"], "1,07 um"),
        (["limit", "--wavelength", "1070", "--duration", "10 s"], "wavelength = '1070'"),
        (["limit", "--wavelength", "170 nm", "--duration", "10 s"], "180 nm"),
        (["limit", "--wavelength", "1070 nm", "--duration", "9 h"], "duration"),
        (["limit", "--wavelength", "1070 nm", "--duration", "10 s", "--rule-set", "ICNIRP-2031"], "ICNIRP-2013"),
        (["limit", "--wavelength", "1070 nm", "--duration", "10 s", "--pulse-duration", "1 ns"], "go together"),
        (["limit", "--wavelength", "1070 nm", "--duration", "10 s", "--source-angle", "-3 mrad"], "source"),
        (["reach", *BEAM, "--duration", "10 s"], "--lens-focal-length"),
        (["reach", *HAND_HELD, "--divergence", "1 mrad"], "--lens-focal-length"),
        (["reach", *BEAM, "--divergence", "1 urad", "--duration", "10 s"], "diffraction"),
        # as typed, and the least on the same criterion: 4 * 1064 nm / (pi * 8.5 mm) = 0.159380 mrad at 1/e2
        (
            ["reach", *BEAM[:-1], "1/e2", "--divergence", "0.1 mrad", "--duration", "10 s"],
            "divergence = 0.1 mrad (full angle at 1/e2) is below the diffraction limit: 1064 nm light with a waist of "
            "8.5 mm (1/e2) spreads by at least 0.15938 mrad",
        ),
        (["reach", *BEAM, "--divergence", "2 rad", "--duration", "10 s"], "mrad"),
        (["reach", *HAND_HELD[:-2], "--duration", "10 s", "--power", "2 MW"], "did you mean"),
        (["reach", *HAND_HELD, "--scatter", "mirror"], "lambert"),
        (["reach", *HAND_HELD, "--reflectance", "1.2"], "reflectance"),
        (["reach", *HAND_HELD, "--criterion", "1/e3"], "1/e3"),
        (["reach", *HAND_HELD, "--pulse-energy", "1 mJ"], "pulse duration"),
        (["reach", *HAND_HELD, "--limit-eye", "50 J/m2"], "limit for the eye"),
        (["reach", *HAND_HELD, "--rule-set", "EU"], "EU-2006/25/EC"),
        (["eyewear", *BEAM[:2], *BEAM[4:]], "--continuous for a laser that cannot pulse"),
        (["eyewear", *BEAM, "--pulse-duration", "1 ms", "--repetition-rate", "2 kHz"], "longer than the period"),
        (["eyewear", *BEAM, "--continuous", "--divergence", "1 mrad"], "--at"),
        (["assess", "missing.toml"], "missing.toml"),
        (["check", "."], "."),
        (["new", "x.toml"], "say --yes"),
        (["new", "x.toml", "--from", "handheld-weldr"], "did you mean 'handheld-welder'"),
        (["sheet", "missing.toml", "-o", "x.pdf"], "missing.toml"),
        (["limit", "--wavelength", "1070 nm"], "duration"),
        (["nothing"], "nothing"),
    ],
)
def test_bad_input_is_one_message_and_exit_code_2(words, part, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    answer = run(*words)
    assert answer.code == 2
    assert part in answer.err + answer.out
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", TEMPLATES)
def test_every_template_is_written_checked_and_assessed(name, tmp_path) -> None:
    case = tmp_path / "case.toml"
    case.write_bytes(template_text(name))
    assert run("check", case).code == 0
    data = run("assess", case, "--json").data
    assert data["scenarios"]
    assert all(not s["below_limit"] or s["ratio"] <= 1.0 for s in data["scenarios"])
    text = run("assess", case, "--all").out
    assert data["decision"]["verdict"] in text
    assert data["caution"] in text


@pytest.mark.parametrize(
    "name", ["co2-cutter", *(pytest.param(one, marks=pytest.mark.soak) for one in TEMPLATES if one != "co2-cutter")]
)
def test_every_template_is_printed_on_another_paper(name, tmp_path) -> None:
    case, sheet = tmp_path / "case.toml", tmp_path / "sheet.pdf"
    case.write_bytes(template_text(name))
    assert run("sheet", case, "-o", sheet, "--paper", "Letter").code == 0
    assert sheet.read_bytes().startswith(b"%PDF")


def test_a_sheet_that_is_printed_again_has_the_same_bytes(tmp_path) -> None:
    case, sheet = tmp_path / "case.toml", tmp_path / "sheet.pdf"
    case.write_bytes(template_text("visible-diode"))
    assert run("sheet", case, "-o", sheet).code == 0
    first = sheet.read_bytes()
    with anew():
        assert run("sheet", case, "-o", sheet).code == 0
    assert sheet.read_bytes() == first


@pytest.mark.parametrize(("words", "code"), [(["units"], 0), (["check", "no such file"], 2)])
def test_the_program_ends_at_once_but_prints_all_and_does_what_was_put_off(words, code) -> None:
    text = "import atexit; atexit.register(print, 'last'); from lasersafe.cli import main; main()"
    ended = subprocess.run([sys.executable, "-c", text, *words], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (ended.returncode, ended.stderr) == (code, "")
    lines = ended.stdout.splitlines()
    assert len(lines) > 2
    assert lines[-1] == "last"


def test_new_does_not_overwrite(tmp_path) -> None:
    case = tmp_path / "case.toml"
    case.write_text("mine")
    answer = run("new", case, "--from", "demo")
    assert answer.code == 2
    assert case.read_text() == "mine"
    assert run("new", case, "--from", "demo", "--replace").code == 0
    assert case.read_text() != "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["case.toml"]


def test_check_lists_all_faults_with_lines(tmp_path) -> None:
    case = tmp_path / "case.toml"
    case.write_bytes(template_text("handheld-welder"))
    text = case.read_text(encoding="utf-8")
    case.write_text(
        text.replace('wavelength = "1070 nm"', 'wavelength = "1,07 um"').replace("distance =", "distanse =", 1)
    )
    answer = run("check", case)
    assert answer.code == 2
    assert answer.out.count("line ") >= 2
    faults = run("check", case, "--json").data["faults"]
    assert {"wavelength"} <= {f["field"].rpartition(".")[2] for f in faults}
    assert all(isinstance(f["line"], int) for f in faults)


def test_a_sheet_that_cannot_be_written_leaves_nothing(tmp_path) -> None:
    case = tmp_path / "case.toml"
    case.write_bytes(template_text("handheld-welder"))
    folder = tmp_path / "folder.pdf"
    folder.mkdir()
    answer = run("sheet", case, "-o", folder)
    assert answer.code == 2
    assert "folder" in answer.err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["case.toml", "folder.pdf"]


def test_units_version_and_schema() -> None:
    assert "mrad" in run("units").out
    assert run("--version").out.startswith("lasersafe ")
    assert run("schema").data["title"]


def test_commands_that_write_a_file_answer_in_json_too(tmp_path) -> None:
    case = tmp_path / "case.toml"
    assert run("new", case, "--from", "demo", "--json").data == {"case": str(case), "template": "demo"}
    for kind in ("prestart", "card", "door-sign"):
        page = tmp_path / f"{kind}.pdf"
        data = run(kind, case, "-o", page, "--json").data
        assert data["page"] == str(page)
        assert page.read_bytes().startswith(b"%PDF")
        assert "laser safety officer" in data["caution"]


def test_limit_reach_and_eyewear_answer_in_german() -> None:
    """They had no --language, and reach and limit had their sentences in the code, in English."""
    point = ["--wavelength", "1064 nm", "--duration", "10 s", "--language", "de"]
    text = run("limit", *point, "--pulse-duration", "10 ns", "--repetition-rate", "20 kHz").out
    assert "je Puls: 2,500 mJ/m2; es entscheidet die Regel: Mittelwert" in text
    assert "Haut: 97,80 kJ/m2 = 9,780 kW/m2, gemittelt über 3,5 mm (Haut thermisch;" in text
    text = run("reach", *HAND_HELD, "--duration", "1 s", "--limit-skin", "1000 W/m2", "--language", "de").out
    assert "(vom Nutzer eingegeben, wie eingegeben, gemittelt über 3,5 mm) für 1,00 s, wie eingegeben" in text
    assert "beenden es (TROS-2, 5.1; übliche Praxis)" in text  # a place in a document
    beam = ["--wavelength", "1064 nm", "--beam-diameter", "8 mm", "--continuous", "--power", "50 W"]
    text = run("eyewear", *beam, "--wearing", "1064 D LB5", "--language", "de").out
    assert text.startswith("'1064 D LB5': nicht ausreichend - nicht darauf verlassen")
    assert "(Dichte 4,4, Beständigkeit D LB7)" in text
    for command in (["limit", *point[:-1]], ["reach", *HAND_HELD, "--language"], ["eyewear", *beam, "--language"]):
        assert "language = 'fr'" in run(*command, "fr").err
    english = re.compile(r"\b(the|from|beyond|below|exposure|averaged|decides|stricter|typed)\b")
    answers = (run("reach", *HAND_HELD, "--language", "de").out, text)
    assert not [line for answer in answers for line in answer.splitlines() if english.search(line)]
