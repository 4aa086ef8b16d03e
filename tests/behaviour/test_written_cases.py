"""A case that is written as text says the same when it is read again, each number as it was typed."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from lasersafe.batch.sources import Heading, Reading, case_data, case_text, column_of
from lasersafe.data import templates_path
from lasersafe.errors import InputError
from lasersafe.library.cases import make_case as case_of
from lasersafe.models import Case, canonical, case_from, typed_inputs

STARTERS = sorted(templates_path("cases").glob("*.toml"))


def said(case: Case) -> set[tuple[str, str, str]]:
    return {(one.field, one.typed, one.used) for one in typed_inputs(case)}


@pytest.mark.parametrize("path", STARTERS, ids=lambda path: path.stem)
def test_a_case_of_dictionaries_is_written_as_text_that_says_the_same(path) -> None:
    data: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    data["notes"] = "\"quoted\" \\ and 'single'; ü, °\nsecond line\twith a tab [x] = # no comment"
    made = case_of(data)
    again = case_from(tomllib.loads(made._text))
    assert canonical(again) == canonical(made)
    assert said(again) == said(made)


def test_what_is_no_finite_number_is_refused_before_it_is_written() -> None:
    data = tomllib.loads(STARTERS[0].read_text(encoding="utf-8"))
    data["laser"][0]["line"] = [{"name": "pilot", "wavelength": "650 nm", "share": float("nan")}]
    with pytest.raises(InputError, match=r"laser\[1\].line\[1\].share = nan: write a finite number"):
        case_of(data)


def test_the_case_file_of_a_row_says_what_the_row_says() -> None:
    cells = {
        "name": 'Welder "A" \\ 1',
        "wavelength": "1070 nm",
        "power": "1.50 kW",
        "beam diameter": "3 mm x 5 mm",
        "divergence": "3 mrad +- 15 %",
        "criterion": "1/e2",
        "person distance": "12 m",
        "class": "4",
    }
    headings = {name: heading for name in cells if isinstance(heading := column_of(name), Heading)}
    data, faults = case_data(cells, Reading(headings, False))
    assert faults == []
    made, again = case_from(data), case_from(tomllib.loads(case_text(data)))
    assert canonical(again) == canonical(made)
    assert said(again) == said(made)
    assert case_text(data).startswith("# Made by 'lasersafe batch'")
