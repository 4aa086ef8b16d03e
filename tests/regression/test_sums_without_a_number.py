"""A fraction that is not a number counts as the worst, wherever it stands among the sums of several groups."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lasersafe.hazard.combine import Line, sums_at
from lasersafe.hazard.distances import Reach, reaches, zone
from lasersafe.hazard.exposure import Comparison, continuous
from lasersafe.optics.beam import collimated
from lasersafe.records import Criterion
from lasersafe.scene.beams import BeamProfile

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


def test_what_is_not_a_number_is_the_worst_also_where_it_comes_first() -> None:
    first, second = (Criterion("", "", "one", "rule", 1.0, "W", 1.0, "W/m2", 7e-3, 10.0, "") for _ in "ab")
    unknown = replace(first, amount=math.nan)
    assert math.isnan(BeamProfile(collimated(2e-3, 1e-3, "1/e"), (unknown, second)).strengths[7e-3])
    several = {"A": Reach(math.nan, unknown), "B": Reach(3.0, second)}
    assert math.isnan(zone("direct", "eye", several, "last optic").distance)
    places = {1.0: math.nan, 2.0: 5.0}  # by limit [W/m2]
    compared = [Comparison("A", "one", "rule", *map(np.asarray, (1.0, limit, 7e-3, 10.0))) for limit in places]
    assert math.isnan(reaches(compared, lambda one: np.asarray(places[float(one.limit)])).distance)
