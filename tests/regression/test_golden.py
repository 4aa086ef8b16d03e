"""Whole answers are those that were frozen, but for what is meant."""

import pytest

from tools.golden import GOLDEN, cases, compared, intended, reason_for


@pytest.mark.parametrize("name", cases())
def test_the_answer_to_a_case_is_the_frozen_one(name):
    meant = intended()
    assert [row for row in compared(name) if reason_for(name, row[0], meant) is None] == []


def test_every_case_has_a_golden_file():
    frozen = {path.name.removesuffix(".json.xz") for path in (GOLDEN / "answers").iterdir()}
    assert frozen == set(cases())
