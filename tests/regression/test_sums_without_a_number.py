"""A fraction that is not a number counts as the worst, wherever it stands among the sums of several groups."""

from __future__ import annotations

import math

import pytest

from lasersafe.hazard.combine import Line, sums_at
from lasersafe.hazard.emission import continuous
from lasersafe.optics.beam import collimated

GROUPS = ("retina thermal", "retina photochemical")  # both apply to 500 nm for 100 s


@pytest.mark.parametrize("unknown", GROUPS)
def test_a_sum_that_is_not_a_number_comes_first(unknown: str) -> None:
    line = Line("one", 500e-9, continuous(1e-3), collimated(2e-3, 1e-3, "1/e"))

    def exposure(_line: Line, criterion: object) -> float:
        return math.nan if criterion.hazard == unknown else 1.0  # type: ignore[attr-defined]

    found = sums_at("ICNIRP-2013", "eye", [line], 100.0, exposure)
    assert {one.group for one in found} == set(GROUPS)
    assert found[0].group == unknown
    assert math.isnan(found[0].total)
