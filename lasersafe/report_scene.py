"""What the commands print of a scene: the spectator lines, and the scene as plain data."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

from lasersafe.quantity import feet, format_quantity
from lasersafe.results_scene import HazardMap, SceneResult, SpectatorLine

LINES_HOLD = (
    "The lines hold for the set-up that is fitted, while it runs as described and every barrier stands; beyond them "
    "the computed exposure is below the limits for the times that the sheet names."
)


def spectators_json(path: Path) -> dict[str, Any]:
    """Return the spectator lines of a case file, ready for JSON.

    Raises
    ------
    CalcError
        If the case has faults, or no scene.
    """
    from lasersafe.assessment import assess
    from lasersafe.errors import InputError
    from lasersafe.models import read_case
    from lasersafe.wording import load_wording

    case = read_case(path)
    if case.scene is None:
        message = (
            f"{path}: the case has no [scene], so that no side is known; 'lasersafe assess' prints its distances, and "
            "a starter case shows how a scene is written"
        )
        raise InputError(message)
    assessment = assess(case)
    assert assessment.scene is not None
    scene = assessment.scene
    aims = {a.laser: a for a in scene.aims if a.mode == "running" and a.fitted}
    return {
        "title": assessment.title,
        "lines": [_line(line) for line in scene.lines],
        "lasers": {name: {"position_m": list(aim.position), "setup": aim.setup} for name, aim in aims.items()},
        "not_placed": [f.subject for f in scene.findings if f.kind == "aim"],
        "holds_for": LINES_HOLD,
        "verdict": assessment.decision.verdict,
        "passed": assessment.decision.passed,
        "caution": load_wording().caution_short,
    }


def _line(line: SpectatorLine) -> dict[str, Any]:
    return {
        "side": line.side,
        "laser": line.laser,
        "setup": line.setup,
        "distance_m": line.distance,
        "distance_ft": math.ceil(feet(line.distance)),
        "from": line.distance_from,
        "limited_by": _limited_by(line),
        "line_m": [list(point) for point in line.line],
    }


def _limited_by(line: SpectatorLine) -> str:
    """Return what limits a line, with the regional rule that moved it out."""
    return line.limited_by + (f"; {line.note} ({line.line_kind})" if line.note else "")


def spectators_text(data: dict[str, Any]) -> str:
    """Return the spectator lines as a producer reads them."""
    lines = [data["title"], ""]
    several = len(data["lasers"]) > 1
    for row in data["lines"]:
        far = f"{row['distance_m']:,.1f} m"
        if row["distance_m"] <= 0.0:
            lines.append(f"{row['side']}: no zone reaches this side")
            continue
        origin = f"{row['from']} of {row['laser']}" if several else row["from"]
        lines.append(
            f"{row['side']}: stand {far} ({row['distance_ft']:,} ft) or more from the {origin}, behind a straight "
            f"line across this side; limited by: {row['limited_by']}"
        )
    if not data["lines"]:
        lines.append("No laser has a place in the scene.")
    lines += [f"{name} has no place in the scene: no line takes it into account" for name in data["not_placed"]]
    lines += ["", LINES_HOLD, data["verdict"], data["caution"]]
    return "\n".join(lines)


def barriers_text(scene: SceneResult) -> list[str]:
    """Return what falls on each barrier by its place, as lines of text."""
    lines = []
    for barrier in scene.barriers:
        for way in (*barrier.ways, *barrier.faults):
            if not way.fitted or (way.rating is None and not way.asked):
                continue
            peak = format_quantity(way.irradiance, "W/m2", 3, "up") if math.isfinite(way.irradiance) else "no bound"
            away = "" if way.away is None else f" {format_quantity(way.away, 'm', 3, 'down')} away"
            stands = "".join(
                f"; may stand from {format_quantity(s.distance, 'm', 3, 'up')} ({s.measured_from})" for s in way.stands
            )
            lines.append(
                f"  {barrier.name}, {way.laser}, {way.way}: {peak} at its nearest place{away}; {way.verdict}{stands}"
            )
    return ["barriers by their place", *lines] if lines else []


def scene_json(scene: SceneResult) -> dict[str, Any]:
    """Return a scene as plain data: lengths in metres, angles in radians, ratios as numbers."""
    data = {f.name: _plain(getattr(scene, f.name)) for f in dataclasses.fields(scene) if f.name != "map"}
    data["unit"] = {"length": "m", "angle": "rad", "irradiance": "W/m2"}
    data["map"] = None if scene.map is None else scene.map.summary()
    return data


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, float):
        if math.isnan(value):
            return None
        return value if math.isfinite(value) else str(value)
    if isinstance(value, (tuple, list)):  # mostly coordinates
        return [one if type(one) is float and math.isfinite(one) else _plain(one) for one in value]
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, HazardMap):
        return value.summary()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    return value
