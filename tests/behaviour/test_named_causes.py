"""What a verdict rests on or is refused for is named: windows that do not hold, doubtful readings, missing ones."""

from __future__ import annotations

import io
import math
from pathlib import Path

from pypdf import PdfReader

from lasersafe.assessment import assess
from lasersafe.drawing.text import tidy
from lasersafe.models import parse_case
from lasersafe.results import Assessment, Decision
from lasersafe.sheet import render_sheet
from lasersafe.sheet.text import joined
from tests.behaviour.command import run
from tests.behaviour.test_strike_outs import PLAIN, starter

PANE = """[[scene.barrier.opening]]
name = "view pane"
kind = "window"
start = "0.2 m"
end = "0.6 m"
bottom = "1.2 m"
top = "1.6 m"
"""
DENSE = 'optical_density = 8\nrating = "30 W/cm2"\nrated_time = "30000 s"\n'


def with_pane(more: str) -> str:
    text = starter("co2-cutter")
    after = text.index("[[scene.", text.index('[[scene.barrier]]\nname = "Walls of the cutter"') + 4)
    return text[:after] + PANE + more + "\n" + text[after:]


def assessed(text: str, language: str | None = None) -> Assessment:
    return assess(parse_case(text), language)


def decided(text: str, language: str | None = None) -> Decision:
    """Return the decision alone, from what the short answer works out."""
    return assess(parse_case(text), language, wanted="short").decision


def first_page(found: Assessment) -> str:
    return " ".join(PdfReader(io.BytesIO(render_sheet(found))).pages[0].extract_text().split()).replace("\u00a0", " ")


def test_a_view_window_that_holds_refuses_nothing() -> None:
    found = decided(with_pane(DENSE))
    assert found.passed
    assert not any("view pane" in reason for reason in found.reasons)


def test_a_view_window_that_does_not_hold_is_the_first_cause(tmp_path: Path) -> None:
    # What falls on the pane is 12.6 W/cm2, as the beam of the walls' table a little higher up: 12.7 times 1 W/cm2.
    text, cause = with_pane(DENSE.replace('"30 W/cm2"', '"1 W/cm2"')), "12.7 times the rated 10000 W/m2"
    found = assessed(text)
    assert not found.decision.passed
    first = found.decision.reasons[0]
    assert first.startswith("view window 'view pane' in 'Walls of the cutter', Cutter, direct beam:")
    assert cause in first
    assert tidy(cause).replace("\u00a0", " ") in first_page(found)
    path = tmp_path / "case.toml"
    path.write_text(text, encoding="utf-8")
    assert f"- {first}" in run("assess", path, "--all").out
    refused = run("signoff", path, "--name", "Ines Falkenrath", "--role", "assessor")
    assert refused.code == 2
    assert f"(first cause: {first}): there is nothing to sign" in refused.err
    assert decided(text, "de").reasons[0].startswith("Sichtfenster 'view pane'")


def test_a_view_window_that_is_not_dense_enough_is_the_first_cause() -> None:
    # An eye at the pane gets more than 100 times its limit, so density 1 is not enough.
    found = decided(with_pane(DENSE.replace("optical_density = 8", "optical_density = 1")))
    assert not found.passed
    assert found.reasons[0].startswith("view window 'view pane' in 'Walls of the cutter', Cutter, direct beam:")
    assert "density 1, 2.2 is needed" in found.reasons[0]


def test_a_view_window_that_does_not_hold_refuses_even_where_nobody_stands_behind_it() -> None:
    # The eye that the pane is there for stands at the pane, not among the persons of the case.
    text = with_pane(DENSE.replace('"30 W/cm2"', '"1 W/cm2"'))
    far = text.replace('start = "0.2 m"', 'start = "1.8 m"').replace('end = "0.6 m"', 'end = "2.2 m"')
    found = decided(far)
    assert not found.passed
    assert found.reasons[0].startswith("view window 'view pane'")


def test_a_window_of_unknown_density_is_named() -> None:
    reasons = decided(with_pane("")).reasons
    assert any("light passes 'Walls of the cutter' through the window 'view pane'" in reason for reason in reasons)


def reading(share: float, found: Assessment, key: str) -> str:
    row = next(row for row in found.record.expected if row.key == key)
    value = f"{row.value * share:.6g} {row.unit}"
    return (
        f'[[reading]]\nwhat = "{row.what}"\nwhere = "{row.where}"\nway = "{row.way}"\nvalue = "{value}"\n'
        'instrument = "thermopile BMC-T-01"\nuncertainty = "5 %"\n'
    )


def test_readings_that_are_missing_are_counted_on_the_first_page() -> None:
    text = starter("co2-cutter")
    found = assessed(text)
    keys = [row.key for row in found.record.to_be_read]
    words = f"Acceptance test: {len(keys)} of {len(keys)} readings are missing ({', '.join(keys)})"
    assert words in found.decision.reasons
    assert f"Missing: {len(keys)} of {len(keys)} ({joined(keys)})." in first_page(found)
    assert found.decision.passed  # it is read after printing
    one = decided(text + reading(0.9, found, keys[0]))
    assert (
        f"Acceptance test: {len(keys) - 1} of {len(keys)} readings are missing ({', '.join(keys[1:])})" in one.reasons
    )
    every = decided(text + "".join(reading(0.9, found, key) for key in keys))
    assert not any("missing" in reason for reason in every.reasons)


def test_a_doubtful_reading_is_named_with_what_was_expected() -> None:
    # 0.3 of what was computed, with 5 % on top 0.315: less than half, so the meter may have missed the beam.
    text = starter("co2-cutter")
    found = assessed(text)
    key = found.record.to_be_read[0].key
    low = assessed(text + reading(0.3, found, key))
    (words,) = [reason for reason in low.decision.reasons if reason.startswith(f"Reading {key}: ")]
    assert "is doubtful, less than" in words
    assert "check that the meter saw the whole beam" in words
    assert words.split(": ")[1].split(",")[0] in first_page(low)
    assert low.decision.passed
    assert math.isfinite(low.record.expected[0].value)
    fine = decided(text + reading(0.6, found, key))
    assert not any(reason.startswith("Reading") for reason in fine.reasons)
    german = decided(text + reading(0.3, found, key), "de")
    assert any(reason.startswith(f"Messwert {key}: ") for reason in german.reasons)


def test_a_time_and_a_list_of_surfaces_that_the_verdict_rests_on_are_named() -> None:
    typed = PLAIN.replace('distance = "8 m"', 'distance = "8 m"\ntime = "1 ms"\ntime_reason = "walks past quickly"')
    found = assessed(typed + "[settings]\nsurfaces_complete = true\n").decision
    words = "Row: exposed for 1 ms as typed, not for the usual time; reason given: walks past quickly"
    assert words in found.reasons
    assert "The case states that nothing but the surfaces listed can come into the beam" in found.reasons
    assert words in first_page(assessed(typed))
    assert not any("typed" in reason or "surfaces listed" in reason for reason in assessed(PLAIN).decision.reasons)
