"""Scanned beams, sums over wavelengths, modules and extended sources as JSON and as text."""

from __future__ import annotations

import math
from typing import Any

from lasersafe.quantity import format_quantity
from lasersafe.results import Assessment, LineShare


def _finite(value: float | None) -> float | str | None:
    return value if value is None or math.isfinite(value) else str(value)


def shares_json(shares: tuple[LineShare, ...]) -> list[dict[str, Any]]:
    """Return what each wavelength adds to a ratio."""
    return [
        {"line": s.line, "wavelength_m": s.wavelength, "fraction": _finite(s.fraction), "rule": s.rule,
         "hazard": s.hazard}
        for s in shares
    ]  # fmt: skip


def sources_json(a: Assessment) -> dict[str, Any]:
    """Return the parts of an assessment that concern special sources: SI numbers, the unit in each key."""
    return {
        "scanned_beams": [
            {
                "laser": s.laser,
                "setup": s.setup,
                "fitted": s.fitted,
                "tissue": s.tissue,
                "pattern": s.pattern,
                "duration_s": s.duration,
                "running_distance_m": s.running,
                "running_distance_by_rule_set_m": s.running_by_rule_set,
                "stopped_distance_m": s.stopped,
                "reaction_time_s": s.reaction_time,
                "reaction_distance_m": s.reaction,
                "credit": s.credit,
                "places": [
                    {
                        "distance_m": p.distance,
                        "pass_time_s": p.pass_time,
                        "pulses_per_pass": p.pulses,
                        "passes": p.passes,
                        "ratio": _finite(p.ratio),
                        "counts_as_standing": p.standing,
                        "sentence": p.sentence,
                    }
                    for p in s.places
                ],
            }
            for s in a.scans
        ],
        "sums": [
            {
                "laser": s.laser,
                "setup": s.setup,
                "way": s.way,
                "tissue": s.tissue,
                "adds_in": s.group,
                "rule_set": s.rule_set,
                "distance_m": s.distance,
                "distance_of_one_alone_m": s.alone,
                "duration_s": s.duration,
                "shares": shares_json(s.shares),
            }
            for s in a.sums
        ],
        "modules": [
            {
                "laser": m.laser,
                "setup": m.setup,
                "person": m.person,
                "distance_m": m.distance,
                "separation_rad": m.separation,
                "sources": m.sources,
                "share_as_one_point": m.joined,
                "share_side_by_side": m.offset,
            }
            for m in a.modules
        ],
        "extended_sources": [
            {
                "source": e.source,
                "laser": e.laser,
                "tissue": e.tissue,
                "rule_set": e.rule_set,
                "hazard": e.hazard,
                "rule": e.rule,
                "duration_s": e.duration,
                "distance_m": e.distance,
                "by_rule_set_m": e.by_rule_set,
                "most_hazardous_viewing_distance_m": e.worst_distance,
                "ratio_there": _finite(e.worst_ratio),
                "angle_rad": e.angle,
                "part": e.part,
                "share_of_power": e.share,
                "radiance_W_per_m2_sr": e.radiance,
                "radiance_limit_W_per_m2_sr": e.radiance_limit,
                "radiance_limit_source": e.radiance_source,
            }
            for e in a.extended
        ],
        "which_rule_decided": list(a.rules),
    }


def sources_text(a: Assessment) -> list[str]:
    """Return the lines on special sources for the terminal."""
    lines = []
    for s in a.scans:
        lines.append(
            f"{s.laser}, {s.setup}, scan, {s.tissue}: running {format_quantity(s.running, 'm', 3, 'up')}, stopped "
            f"{format_quantity(s.stopped, 'm', 3, 'up')} from the last optic; {s.credit}"
        )
    lines += [f"{s.laser}, {s.setup}: {s.sentence}" for s in a.sums]
    lines += [f"{m.laser}, {m.setup}: {m.sentence}" for m in a.modules]
    for e in a.extended:
        reach = format_quantity(e.distance, "m", 3, "up")
        lines.append(f"{e.source}: above the limit up to {reach} from it; {e.sentence}")
    return lines
