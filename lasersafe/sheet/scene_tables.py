"""What the scene found, in words: findings, rules for spectators, advice for cameras."""

from __future__ import annotations

from lasersafe.results import Assessment
from lasersafe.sheet.flow import BODY, NOTE, TINY, TINY_BOLD, TINY_NOTE, Flow, Part, Row
from lasersafe.sheet.text import tidy
from lasersafe.sheet.values import number, quantity
from lasersafe.wording import Wording

_FINISHES = {"mirror": "scene.finish_mirror", "matt": "scene.finish_matt", "unknown": "scene.finish_unknown"}
_SHAPES = {
    "flat": "scene.shape_flat",
    "convex": "scene.shape_convex",
    "concave": "scene.shape_concave",
    "unknown": "scene.shape_unknown",
}


def scene_tables(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print the findings of a scene, the rules that were chosen, and what cameras may receive."""
    scene = assessment.scene
    if scene is None:
        return
    text = wording.text
    if scene.targets:
        _targets(flow, assessment, wording)
    if scene.findings:
        flow.heading(text("scene.findings"), 0, keep=40.0)
        for finding in scene.findings:
            flow.paragraph(tidy(finding.text), NOTE, 12.0, "•")
    if scene.rules:
        _rules(flow, assessment, wording)
    if scene.camera_lines:
        _cameras(flow, assessment, wording)


def _targets(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    assert assessment.scene is not None
    text = wording.text
    flow.heading(text("scene.targets"), 0, keep=60.0)
    flow.paragraph(text("scene.targets_intro"), BODY)
    rows = []
    for target in assessment.scene.targets:
        behind = [target.behind or text("scene.not_stated")]
        if target.behind_distance is not None:
            behind.append(quantity(target.behind_distance, "m", 3, "down"))
        stop = text("scene.target_stop" if target.rated_stop else "scene.target_no_stop", stop=target.stop or "–")
        rows.append(
            Row(
                (
                    [Part(target.name, TINY_BOLD), Part(target.laser, TINY_NOTE)],
                    [Part(target.material, TINY)],
                    [
                        Part(text(f"scene.finish_{target.finish}"), TINY),
                        Part(text(f"scene.shape_{target.shape}"), TINY_NOTE),
                    ],
                    [
                        Part(number(target.reflectance, 3, "up"), TINY),
                        Part(tidy(wording.say(target.reflectance_source)), TINY_NOTE),
                    ],
                    [Part(", ".join(behind), TINY), Part(stop, TINY_NOTE)],
                )
            )
        )
    keys = ("target", "material", "finish", "reflectance", "behind")
    flow.table([text(f"scene.{key}") for key in keys], (20, 18, 14, 24, 24), rows, 1.5)


def _rules(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    assert assessment.scene is not None
    text = wording.text
    flow.heading(text("scene.rules"), 0, keep=60.0)
    flow.paragraph(text("scene.rules_intro"), BODY)
    rows = [
        Row(
            (
                [Part(wording.say(rule.outcome), TINY_BOLD)],
                [Part(wording.say(rule.rule), TINY), Part(wording.say(rule.text), TINY_NOTE)],
                [Part(wording.say(rule.words), TINY)],
                [Part(wording.say(rule.pack_name), TINY), Part(f"{rule.source} ({rule.seen})", TINY_NOTE)],
            )
        )
        for rule in assessment.scene.rules
    ]
    keys = ("outcome", "rule", "asked", "source")
    flow.table([text(f"scene.{key}") for key in keys], (16, 34, 25, 25), rows, 1.5)


def _cameras(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    assert assessment.scene is not None
    text = wording.text
    flow.heading(text("scene.cameras"), 0, keep=60.0)
    flow.paragraph(text("scene.cameras_intro"), BODY)
    rows = [
        Row(
            (
                [Part(line.camera, TINY_BOLD)],
                [Part(f"{line.laser}, {line.setup}", TINY)],
                [Part(text(f"way.{line.way}"), TINY), Part(wording.say(line.surface), TINY_NOTE)],
                [Part(quantity(line.distance, "m", 3, "down"), TINY)],
                [Part(tidy(wording.say(line.words)), TINY), Part("; ".join(map(wording.say, line.advice)), TINY_NOTE)],
            )
        )
        for line in assessment.scene.camera_lines
    ]
    keys = ("camera", "laser", "way", "at", "receives")
    flow.table([text(f"scene.{key}") for key in keys], (14, 18, 16, 9, 43), rows, 1.5)
