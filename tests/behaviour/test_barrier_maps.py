"""The irradiance on each barrier, place by place, and its drawing."""

import math

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.scene_barriers import barrier_maps
from lasersafe.assessment.stages import stages_of
from lasersafe.data import templates_path
from tests.behaviour.command import run
from tests.behaviour.test_scene_barriers import case


def mapped(**changes):
    (found,) = barrier_maps(stages_of(case(**changes)))
    return found


def middles(edges):
    return (np.array(edges[:-1]) + np.array(edges[1:])) / 2.0


def test_a_turning_head_lights_the_place_that_it_points_at_with_the_peak_of_the_beam_there():
    found = mapped(aim='bearing_range = ["150 deg", "210 deg"]\nelevation_range = ["-20 deg", "20 deg"]')
    x, z = middles(found.along) - 20.0, middles(found.heights)
    row, column = int(np.argmin(abs(z - 1.2))), int(np.argmin(abs(x)))
    away = math.hypot(3.0, x[column], z[row] - 1.2)
    width = 8.5e-3 / 0.4 * (away - 0.4)
    middle = 4.0 * 1500.0 / (math.pi * width**2)  # nowhere in the cell is more than its value
    assert middle <= found.ways["direct"][row, column] <= 1.01 * middle
    outside = abs(x) > 3.0 * math.tan(math.radians(31.0)) + 0.2
    assert (found.ways["direct"][:, outside] < 1e-3 * found.ways["direct"].max()).all()


def test_scatter_falls_off_from_the_spot_as_lambert_says():
    found = mapped()
    x, z = middles(found.along) - 20.0, middles(found.heights)
    square = x[None, :] ** 2 + 2.6**2 + (z[:, None] - 1.2) ** 2  # spot at 0.4 m in front of the head
    middle = 1500.0 / (math.pi * square)
    assert (middle <= found.ways["scatter"]).all()
    assert (found.ways["scatter"] <= 1.08 * middle).all()


def test_no_place_of_a_map_is_above_the_irradiance_that_is_judged():
    one = case(aim='bearing_range = ["100 deg", "260 deg"]\nelevation_range = ["-40 deg", "40 deg"]')
    (line,) = assess(one).scene.barriers
    (found,) = barrier_maps(stages_of(one))
    for way, values in found.ways.items():
        assert values.max() <= max(w.irradiance for w in line.ways if w.way == way) * (1.0 + 1e-9), way


def test_a_map_is_compared_with_the_rating():
    assert mapped(rating="20 W/cm2").rating == pytest.approx(2e5)


def test_the_pages_of_the_demo(tmp_path):
    demo = templates_path("cases", "demo.toml")
    answer = run("plan", demo, "--barriers", "-o", tmp_path / "b.svg", "--json").data
    assert [page["kind"] for page in answer["pages"]] == ["barrier"] * len(answer["pages"])
    text = (tmp_path / "b.svg").read_text(encoding="utf-8")
    for words in ("Irradiance on Steel booth, back wall", "direct beam: peak", "scattered light: peak", "height above"):
        assert words in text
    assert "local law comes first" in text


def test_two_kinds_of_pages_at_once_are_refused(tmp_path):
    answer = run("plan", templates_path("cases", "demo.toml"), "--barriers", "--elevation", "-o", tmp_path / "b.svg")
    assert answer.code == 2
    assert "write one of the two" in answer.err
    assert list(tmp_path.iterdir()) == []
