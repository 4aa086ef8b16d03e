"""What a field of a case may hold, as check judges it and docs/cases.md says it."""

from __future__ import annotations

import pytest

from lasersafe.data import templates_path
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.wording import load_wording
from tools.case_fields import describe_fields
from tools.cases_page import cases_page

CASE = templates_path("cases", "visible-diode.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "'high voltge' is not a hazard of the wording; did you mean 'high voltage'?"),
        ("de", "'high voltge' ist kein Schlüssel einer Gefährdung; gemeint 'high voltage'?"),
    ],
)
def test_an_unknown_key_of_other_hazards_is_refused_where_the_case_is_read(language: str, said: str) -> None:
    head = f'language = "{language}"\n' + CASE
    keys = 'keys = ["fire"]'
    assert keys in CASE
    parse_case(head.replace(keys, 'keys = ["high voltage", "fume"]'))
    with pytest.raises(CaseError) as caught:
        parse_case(head.replace(keys, 'keys = ["high voltage", "high voltge"]'))
    (fault,) = caught.value.faults
    assert fault.field == "other_hazards.keys[2]"
    assert fault.message.startswith(said)


def test_the_page_of_fields_lists_the_keys_of_the_wording() -> None:
    page = cases_page()
    part = page[page.index("## `[other_hazards]`") :].partition("\n## ")[0]
    assert [f"`{entry.key}`" for entry in load_wording().other_hazards if f"`{entry.key}`" not in part] == []
    part = page[page.index("## `[[control]]`") :].partition("\n## ")[0]
    assert [f"`{entry.key}`" for entry in load_wording().controls if f"`{entry.key}`" not in part] == []


def test_whole_numbers_numbers_and_lists_are_called_what_they_are() -> None:
    values = {(row.table, row.field): row.value for row in describe_fields()}
    assert values["[laser.module]", "columns"] == values["[[extended]]", "rows"] == "whole number: 1 to 16"
    assert values["[laser.setup.scan]", "lines"] == "whole number: 2 to 100000"
    assert values["[[extended]]", "shares"] == "list of numbers: 0 to 1"
    assert values["[area]", "access_list"] == "list of text"
    assert values["[[barrier]]", "must_stop"] == 'list of "direct" | "mirror" | "scatter"'
    assert values["[[control]]", "key"] == "text"


def test_it_is_said_that_terrain_stops_every_beam_without_a_rating() -> None:
    (row,) = (one for one in describe_fields() if (one.table, one.field) == ("[[scene.barrier]]", "kind"))
    assert "terrain is solid ground: it stops every beam and needs no rating" in row.description


@pytest.mark.parametrize(("field", "word"), [("laser", "All lasers together"), ("person", "direct")])
def test_a_name_that_is_a_word_of_the_program_is_refused(field: str, word: str) -> None:
    # A laser of that name was left out of the sum of all lasers, and one that people look at broke the answer off; a
    # control with answers = ["direct"] answered the direct beam for everybody, not for the person of that name.
    heading = f"[[{field}]]\nname = "
    before, _, after = CASE.partition(heading)
    assert after
    with pytest.raises(CaseError) as caught:
        parse_case(before + heading + f'"{word}"\n' + after.partition("\n")[2])
    faults = {fault.field: fault.message for fault in caught.value.faults}
    assert faults[f"{field}[1].name"] == f"'{word}': this means something else where names stand; give another name"
