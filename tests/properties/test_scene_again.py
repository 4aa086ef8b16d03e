"""A case assessed again in the same process, people elsewhere: the same whole answer as in a process of its own."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from lasersafe.assessment import assess, faces, scene_zones, stages
from lasersafe.data import templates_path
from lasersafe.models import parse_case
from lasersafe.records import as_json
from lasersafe.scene.areas import lit_areas
from tests.crosscheck.scene_description import Laser, Person, Scene, Surface, case_text


def test_people_who_moved_get_what_they_would_get_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    text, looked = templates_path("cases", "co2-cutter.toml").read_text(encoding="utf-8"), list[int]()
    here, there = 'position = ["-0.3 m", "-0.6 m"]', 'position = ["-0.8 m", "-0.9 m"]'  # the operator
    assert here in text

    def counted(wanted: Any, *rest: Any) -> Any:
        looked.append(len(wanted))
        return lit_areas(wanted, *rest)

    monkeypatch.setattr(scene_zones, "lit_areas", counted)
    monkeypatch.setattr(stages, "_EARLIER", [])  # another test may have assessed this case before
    assess(parse_case(text), wanted="drawn")
    first = sum(looked)
    other = re.sub(r'(?m)^(title|place|dates|assessor) = "', r"\g<0>Another ", text).replace(
        'paper = "A4"', 'paper = "Letter"'
    )
    assert other.count("Another ") == 4
    case = parse_case(other.replace(here, there))
    again = as_json(assess(case, wanted="drawn"))
    assert sum(looked) - first < first  # what does not rest on where people are is not looked at again
    monkeypatch.setattr(stages, "_EARLIER", [])
    monkeypatch.setattr(faces, "_KNOWN", {})
    assert again == as_json(assess(case, wanted="drawn"))


def test_a_job_that_is_broken_off_leaves_nothing_half_taken_over(monkeypatch: pytest.MonkeyPatch) -> None:
    text = templates_path("cases", "co2-cutter.toml").read_text(encoding="utf-8")
    here, there = 'position = ["-0.3 m", "-0.6 m"]', 'position = ["-6 m", "-9 m"]'  # so far that the plan grows
    case = parse_case(text.replace(here, there))

    def stop(_: object) -> None:
        raise KeyboardInterrupt  # as a newer job of the page ends the one before it

    monkeypatch.setattr(stages, "_EARLIER", [])
    assess(parse_case(text), wanted="drawn")
    with monkeypatch.context() as broken:
        broken.setattr(stages, "_lit_known", stop)
        with pytest.raises(KeyboardInterrupt):
            assess(case, wanted="drawn")
    again = as_json(assess(case, wanted="drawn"))
    monkeypatch.setattr(stages, "_EARLIER", [])
    monkeypatch.setattr(faces, "_KNOWN", {})
    assert again == as_json(assess(case, wanted="drawn"))


def test_ways_at_once_are_found_where_somebody_stands_now(monkeypatch: pytest.MonkeyPatch) -> None:
    # of two mirrors that face each other, 0.3 m apart; what else is lit is the same for both places
    head = Laser(15.0 * math.pi, 5e-3, 0.1, (0.0, 0.0, 1.6), 0.0)
    mirrors = tuple(Surface(f"{x}", (x, 10.0, 1.6), 90.0, width=14.0) for x in (-0.15, 0.15))
    monkeypatch.setattr(stages, "_EARLIER", [])
    told, other = [], Person("Q", ((8.0, 45.0),))
    for aside in (0.3, 0.0, 0.3, 0.3):
        text = case_text(Scene((head,), (Person("P", ((aside, 20.0),)), other), mirrors))
        scene = assess(parse_case(text), wanted="short").scene
        assert scene is not None
        told.append([one.subject for one in scene.findings if one.refuses and one.kind == "mirror"])
    assert told == [[], ["P"], [], []]


def test_cameras_see_the_floor_that_is_lit_now(monkeypatch: pytest.MonkeyPatch) -> None:
    # who steps down from a dull riser stands on another floor of that height, which scatters more
    head = Laser(200.0, 5e-3, 2e-3, (0.0, 0.0, 1.0), 0.0, elevation=-60.0)
    edge = '[["-1 m", "-3 m"], ["1 m", "-3 m"], ["1 m", "3 m"], ["-1 m", "3 m"]]'
    more = (
        f'[[scene.floor]]\nname = "riser"\nkind = "riser"\nheight = "0.5 m"\nreflectance = 0.05\noutline = {edge}\n'
        '[[scene.camera]]\nname = "C"\nposition = ["1.5 m", "0.6 m"]\nheight = "1.5 m"\n'
        'focal_length = "50 mm"\nf_number = 2\n'
    )
    monkeypatch.setattr(stages, "_EARLIER", [])
    seen = []
    for aside in (0.5, 4.0, 0.5):
        text = case_text(Scene((head,), (Person("P", ((aside, 2.5),)),)))
        text = text.replace("[[scene.person]]\n", '[[scene.person]]\nfloor = "0.5 m"\n') + more
        scene = assess(parse_case(text), wanted="short").scene
        assert scene is not None
        seen.append(next(line.exposure for line in scene.camera_lines if line.way == "scatter"))
    assert seen[1] > 1.3 * seen[0]
    assert seen[2] == seen[0]
