"""What the scene found, in words: findings, rules for spectators, advice for cameras."""

from __future__ import annotations

from lasersafe.results import Assessment
from lasersafe.sheet.flow import BODY, NOTE, Flow, Row, faint, strong, tiny
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
                    [strong(target.name), faint(target.laser)],
                    tiny(target.material),
                    [tiny(text(f"scene.finish_{target.finish}")), faint(text(f"scene.shape_{target.shape}"))],
                    [tiny(number(target.reflectance, 3, "up")), faint(tidy(wording.say(target.reflectance_source)))],
                    [tiny(", ".join(behind)), faint(stop)],
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
                strong(wording.say(rule.outcome)),
                [tiny(wording.say(rule.rule)), faint(wording.say(rule.text))],
                tiny(wording.say(rule.words)),
                [tiny(wording.say(rule.pack_name)), faint(f"{rule.source} ({rule.seen})")],
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
                strong(line.camera),
                tiny(f"{line.laser}, {line.setup}"),
                [tiny(text(f"way.{line.way}")), faint(wording.say(line.surface))],
                tiny(quantity(line.distance, "m", 3, "down")),
                [tiny(tidy(wording.say(line.words))), faint("; ".join(map(wording.say, line.advice)))],
            )
        )
        for line in assessment.scene.camera_lines
    ]
    keys = ("camera", "laser", "way", "at", "receives")
    flow.table([text(f"scene.{key}") for key in keys], (14, 18, 16, 9, 43), rows, 1.5)
