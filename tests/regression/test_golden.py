"""Whole answers are those that were frozen, but for what is meant; the suite looks at a share of the cases."""

import pytest

from tools.golden import GOLDEN, cases, compared, intended, reason_for

SHARE = 4  # one case in so many is compared in each run of the suite, all of them in a soak and by `make golden`


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.soak] if i % SHARE else []) for i, n in enumerate(cases())]
)
def test_the_answer_to_a_case_is_the_frozen_one(name):
    meant = intended()
    assert [row for row in compared(name) if reason_for(name, row[0], meant) is None] == []


def test_every_case_has_a_golden_file():
    frozen = {path.name.removesuffix(".json.xz") for path in (GOLDEN / "answers").iterdir()}
    assert frozen == set(cases())
