"""No label of a drawing lies over another one or leaves its frame, whatever the scene."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from lasersafe.assessment import assess_file
from lasersafe.data import templates_path
from lasersafe.drawing.maps import map_page
from lasersafe.drawing.page import Paper
from lasersafe.drawing.plan import plan_page, way_pages
from lasersafe.drawing.primitives import Drawing, Words
from lasersafe.drawing.room import elevation_pages
from lasersafe.records.scene import SceneResult
from lasersafe.wording import load_wording
from tests.behaviour.sample_assessment import assessment
from tests.behaviour.sample_scene import room, scaled, scattered
from tests.drawing_faults import faults
from tests.few import few

A4 = Paper("A4", 210.0, 297.0, 10.0)
PAPERS = (A4, Paper("A4", 297.0, 210.0, 10.0), Paper("A1", 594.0, 841.0, 10.0), Paper("Letter", 180.0, 240.0))


def every_page(scene: SceneResult, paper: Paper) -> list[Drawing]:
    wording = load_wording()
    found = replace(assessment(), scene=scene)
    pages = [plan_page(found, paper, wording), *way_pages(found, paper, wording)]
    pages += elevation_pages(scene, paper, "Open evening", wording)
    chart = map_page(scene, paper, "Open evening", wording)
    return [*pages, *([chart] if chart else [])]


def assert_clean(scene: SceneResult, paper: Paper) -> None:
    for page in every_page(scene, paper):
        assert faults(page) == [], page.kind


@pytest.mark.parametrize("paper", PAPERS, ids=lambda p: f"{p.name} {p.width:g}")
@pytest.mark.parametrize("name", sorted(path.stem for path in templates_path("cases").glob("*.toml")))
def test_labels_of_templates(name: str, paper: Paper) -> None:
    scene = _template(name)
    if scene is None:
        pytest.skip("no scene in this template")
    assert_clean(scene, paper)


_SCENES: dict[str, SceneResult | None] = {}


def _template(name: str) -> SceneResult | None:
    if name not in _SCENES:
        _SCENES[name] = assess_file(Path(templates_path("cases", f"{name}.toml"))).scene
    return _SCENES[name]


@pytest.mark.parametrize("factor", [0.002, 0.05, 1.0, 40.0, 3000.0])
@pytest.mark.parametrize("paper", PAPERS, ids=lambda p: f"{p.name} {p.width:g}")
def test_labels_of_small_and_large_scenes(factor: float, paper: Paper) -> None:
    assert_clean(scaled(room(), factor), paper)


@pytest.mark.parametrize("reach", [0.5, 3.0, 311.0, 25e3])
def test_labels_with_short_and_long_zones(reach: float) -> None:
    assert_clean(room(reach), A4)


@few(40)
@given(st.integers(0, 10**6))
@example(1897)  # a name lay over the letter of a detail
def test_labels_of_random_scenes(seed: int) -> None:
    assert_clean(scattered(seed), A4)


@few(40)
@given(st.integers(0, 10**6))
def test_every_person_is_named(seed: int) -> None:
    """A name for which there is no room stands in the list or in the margin; none is lost."""
    scene = scattered(seed)
    page = plan_page(replace(assessment(), scene=scene), A4, load_wording())
    text = " ".join(mark.text for mark in page.marks if isinstance(mark, Words))
    for person in scene.persons:
        assert " ".join(person.name.split()[:2]) in text


def test_the_checker_sees_faults() -> None:
    page = Drawing("plan", "", 100.0, 100.0, (10.0, 10.0, 90.0, 90.0), 1)
    page.marks.extend([Words(20.0, 20.0, "one", framed=True), Words(21.0, 21.0, "two", framed=True)])
    page.marks.append(Words(88.0, 50.0, "three", framed=True))
    page.marks.append(Words(98.0, 95.0, "four"))
    page.marks.append(Words(40.0, 60.0, "five"))
    found = faults(page)
    assert found == [
        "'one' over 'two'",
        "'three' leaves the frame",
        "'four' leaves the page",
        "'five' lies over the frame",
    ]
