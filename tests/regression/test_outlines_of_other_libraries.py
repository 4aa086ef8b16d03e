"""A sheet is the same where another geometry library joins the outlines, and on the lowest versions that are taken."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from lasersafe.signing.record import NOTHING, changes, results_digest
from tests.project import ROOT
from tools.lowest import lowest

SQUARE = [[0.0, 0.0], [8.0, 0.0], [8.0, 4.0], [0.0, 4.0]]
HOLE = [[1.0, 1.0], [2.0, 1.0], [2.0, 2.0]]


def zone(outline: list[list[float]], area: float = 31.5, distance: float = 8.0) -> dict[str, Any]:
    return {"zones": [{"polygons": [{"outline": outline, "holes": [HOLE]}], "area": area, "distance": distance}]}


SAME = {
    "it starts at another corner": [*SQUARE[2:], *SQUARE[:2]],
    "it runs the other way round": SQUARE[::-1],
    "a corner more on an edge": [[0.0, 0.0], [3.0, 0.0], *SQUARE[1:]],
    "last digits": [[x + 2.6e-16, y - 1e-12] for x, y in SQUARE],
}


@pytest.mark.parametrize("outline", SAME.values(), ids=SAME)
def test_an_outline_with_other_corners_on_the_same_edges_is_the_same_result(outline: list[list[float]]) -> None:
    """Shapely 2.0.6 and 2.2 join the same sectors to outlines of 291 and 292 corners: 919 results of the demo case."""
    old, new = zone(SQUARE), zone(outline, area=31.5 * (1.0 + 2e-7))
    assert changes(old, new, NOTHING) == ()
    assert results_digest(old) == results_digest(new)
    assert changes(old, new) != ()  # where nothing may differ, as in a case, it counts


def test_an_outline_with_another_edge_is_another_result() -> None:
    """A corner moved by 1 mm of 8 m is 1.25e-4."""
    moved = [[0.0, 0.0], [8.001, 0.0], *SQUARE[2:]]
    assert changes(zone(SQUARE), zone(moved), NOTHING)
    assert changes(zone(SQUARE), zone(SQUARE, area=31.6), NOTHING)
    assert changes(zone(SQUARE), zone(SQUARE, distance=8.1), NOTHING)
    assert results_digest(zone(SQUARE)) != results_digest(zone(SQUARE, distance=8.1))
    for broken in ([], [{}], [{"outline": [[0.0, 0.0]], "holes": []}], [{"outline": "x", "holes": []}]):
        assert changes({"polygons": broken}, {"polygons": [{"outline": SQUARE, "holes": []}]}, NOTHING)


def test_the_lowest_versions_are_those_of_the_project() -> None:
    """`make test-lowest` runs the suite on them; pydantic 2.11 named no field, pint 0.24 could not be imported."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        project = tomllib.load(file)["project"]
    found = dict(line.split("==") for line in lowest(project))
    least = {
        "numpy": "2.0",
        "pint": "0.24.4",
        "pydantic": "2.12",
        "typer": "0.16",
        "shapely": "2.1",
        "cryptography": "48",
    }
    assert found.items() >= least.items()
    assert len(found) == len({line.split(">=")[0] for line in (
        *project["dependencies"], *project["optional-dependencies"]["test"])})  # fmt: skip
    with pytest.raises(SystemExit, match="x>=1,>=2: one lower bound is needed"):
        lowest({**project, "dependencies": ["x>=1,>=2"]})
    with pytest.raises(SystemExit, match="the same wherever the package is named"):
        lowest({**project, "dependencies": ["pytest>=7"]})
