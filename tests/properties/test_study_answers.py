"""What holds for every range and for every question backwards."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.ask import SolveQuestion
from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.corners import corners_of
from lasersafe.assessment.setups import setup_result
from lasersafe.data import templates_path
from lasersafe.errors import InputError
from lasersafe.hazard.tolerances import solved_input
from lasersafe.limits import rule_sets
from lasersafe.models import case_from, parse_case, read_case_text
from lasersafe.quantity import parse_quantity
from lasersafe.studies import Subject, open_subject, read_values, read_varied
from lasersafe.studies.solving import Asked, run_solve
from tests.few import few
from tests.regression.test_eyewear_answers import BOWL, BOWL_PLACE, CASE

X = SimpleNamespace(path="x", read=lambda text: parse_quantity(text, "m", "x").value)


@few(40)
@given(st.floats(1e-6, 1e3), st.floats(1.001, 1e6), st.integers(2, 400), st.booleans())
def test_a_range_has_its_ends_its_count_and_rises(low: float, ratio: float, count: int, log: bool) -> None:
    high = low * ratio
    span = read_values(X, f"{low!r} m..{high!r} m:{count}{':log' if log else ''}")
    assert span.values.size == count
    assert (span.values[0], span.values[-1]) == (low, high)
    assert (np.diff(span.values) > 0.0).all()
    steps = np.diff(np.log(span.values) if log else span.values)
    assert steps == pytest.approx(np.full(count - 1, steps.mean()), rel=1e-4, abs=1e-12 * high)


@given(st.lists(st.floats(1e-6, 1e6), min_size=1, max_size=9, unique=True))
def test_a_list_holds_what_was_typed(values: list[float]) -> None:
    span = read_values(X, " | ".join(f"{value!r} m" for value in values))
    assert span.values.tolist() == sorted(values)
    assert span.listed


@few(40)
@given(st.text(max_size=40))
def test_any_text_is_a_range_or_one_clear_line(text: str) -> None:
    for read in (lambda t: read_varied(SimpleNamespace(input=lambda _: X), [t]), lambda t: read_values(X, t)):
        try:
            read(text)
        except InputError as error:
            assert len(str(error)) < 500  # noqa: PT017
            assert "\n" not in str(error)  # noqa: PT017


@few(40)
@given(st.floats(0.05, 0.95), st.floats(0.0, 0.9), st.integers(2, 40), st.booleans())
def test_few_points_and_few_sections_still_end_on_the_cautious_side(
    edge: float, wave: float, points: int, rising: bool
) -> None:
    def function(x: np.ndarray) -> np.ndarray:
        return (x if rising else 1.0 - x) + 0.01 * wave * np.sin(9.0 * x)

    found = solved_input(function, 0.01, 0.99, edge, largest=rising, points=points, sections=2, close=1e-6)
    if found.value is not None:
        assert function(np.array([found.value]))[0] <= edge
        if not found.every:
            beyond = found.value * (1.0 + 2e-6) if rising else found.value * (1.0 - 2e-6)
            assert function(np.array([beyond]))[0] > edge - 1e-4


@cache
def subject(name: str) -> Subject:
    return open_subject(Path(templates_path("cases", f"{name}.toml")), None, None)


QUESTIONS = [
    ("handheld-welder", "laser.power", ("emission", "power"), "W"),
    ("handheld-welder", "setup.beam_diameter", ("setup", "beam_diameter"), "m"),
    ("co2-cutter", "laser.power", ("emission", "power"), "W"),
    ("co2-cutter", "setup.focal_length", ("setup", "focal_length"), "m"),
]


@few(4)
@given(st.sampled_from(QUESTIONS), st.floats(2.0, 60.0))
def test_an_answer_put_back_into_the_case_file_keeps_the_place_and_a_little_more_does_not(question, place) -> None:
    name, path, (table, field), unit = question
    one = subject(name)
    span = {"W": "1 mW..3 kW", "m": "10 mm..900 mm"}[unit]
    answer = Asked(one, one.input(path), place).solve(span)
    if answer.value is None:
        assert farthest(one, table, field, f"{answer.low if answer.largest else answer.high!r} {unit}") > place
        return
    assert farthest(one, table, field, answer.text) <= place
    beyond = answer.value * (1.02 if answer.largest else 1.0 / 1.02)
    if not answer.every and answer.low < beyond < answer.high:
        assert farthest(one, table, field, f"{beyond!r} {unit}") > place


def farthest(one: Subject, table: str, field: str, text: str) -> float:
    """Return the farthest zone of the case file with another text in one field, without the code of the question."""
    import copy
    import tomllib

    data = copy.deepcopy(tomllib.loads(read_case_text(Path(one.file))))
    laser = data["laser"][one.laser]
    (laser["setup"][one.setup] if table == "setup" else laser[table])[field] = text
    found = [contexts(corner, rule_sets()) for corner in corners_of(case_from(data)).cases]
    zones = [zone for every in found for zone in setup_result(every[one.setup]).zones if zone.way != "aided"]
    return max(zone.distance for zone in zones)


def test_a_relation_that_turns_back_is_answered_from_the_cautious_end() -> None:
    def function(x: np.ndarray) -> np.ndarray:
        return np.where((x > 3.0) & (x < 3.5), 2.0, np.where(x > 8.0, 2.0, 0.5))

    found = solved_input(function, 1.0, 10.0, 1.0, largest=True)
    assert found.value == pytest.approx(3.0, rel=1e-12)
    assert not found.every
    found = solved_input(function, 1.0, 7.0, 1.0, largest=False)
    assert found.value == pytest.approx(3.5, rel=1e-12)


SHAPES = (
    'shape = "flat"',
    'shape = "unknown"',
    'shape = "concave"\nradius = "{radius} m"\naxes = "sphere"',
    'shape = "concave"\nradius = "{radius} m"\naxes = "cylinder"',
    'shape = "convex"\nradius = "{radius} m"\naxes = "sphere"',
)


@few(8)
@given(
    st.sampled_from(SHAPES), st.floats(0.2, 4.0), st.floats(0.3, 3.0), st.integers(2, 8), st.booleans(),
    st.sampled_from(("1070 nm", "532 nm", "10600 nm")),
)  # fmt: skip
def test_with_the_power_that_is_solved_the_assessment_finds_the_eyewear_enough(
    shape: str, radius: float, at: float, number: int, placed: bool, wavelength: str
) -> None:
    place, light = f"{at:.3f} m", wavelength.removesuffix(" nm")
    worn = f"{light} D LB{number}"
    text = CASE.format(wavelength=wavelength, power="{power}", eyewear=worn)
    text = text.replace('work_distance = "1 m"', 'work_distance = "2 m"').replace(
        'distance = "1 m"\ndistance_from_work = "0.5 m"', f'distance = "{place}"\ndistance_from_work = "{place}"'
    )
    text += BOWL.format(shape=shape.format(radius=f"{radius:.3f}"), reflectance="")
    text += BOWL_PLACE.format(y=f"-{at:.3f}") if placed else ""
    with TemporaryDirectory() as folder:
        case = Path(folder) / "case.toml"
        case.write_text(text.replace("{power}", "5 W"), encoding="utf-8")
        found, _ = run_solve(case, SolveQuestion(wanted="laser.power", at=place, eyewear=worn), whole=False)
    power = found["answer"] or f"{found['searched_low_W']} W"
    (need,) = assess(parse_case(text.replace("{power}", power)), wanted="short").eyewear or [None]
    enough = need is None or need.verdict.verdict == "enough"
    # where somebody stands is known to be farther from a mirror than that, so that more may do
    assert enough is (found["answer"] is not None) or (placed and enough)
