"""What the signs of a drawing say: how barriers hold, which lines count, which limits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import partial

from lasersafe.drawing import symbols
from lasersafe.drawing.page import Entry
from lasersafe.drawing.primitives import BLACK, Lines, Mark, Rect, box, closed
from lasersafe.drawing.style import AIM_DASHES, AIM_INK, ITEM_INK
from lasersafe.drawing.values import duration, in_unit
from lasersafe.records.barriers import BarrierLine
from lasersafe.records.scene import SceneResult, SpectatorLine, ZoneShape
from lasersafe.wording import Wording
from lasersafe.wording.message import joined, word


def state_of(scene: SceneResult, barrier: BarrierLine) -> tuple[str, str]:
    """Return how a barrier is drawn, and against what it does not hold.

    It holds against all that hits it ("holds"), only for the set-ups fitted today ("today"), only against some of the
    lasers ("part"), it does not hold for what is fitted ("fails"), or nothing was judged ("plain").
    """
    if not barrier.ways:
        return "plain", ""
    other = {(aim.laser, aim.setup) for aim in scene.aims if not aim.fitted}
    other |= {(zone.laser, zone.setup) for zone in scene.zones if not zone.fitted}
    fitted = [way for way in barrier.ways if (way.laser, way.setup) not in other]
    lasers = dict.fromkeys(way.laser for way in fitted)
    against, beaten = [], 0
    for laser in lasers:
        own = [way for way in fitted if way.laser == laser]
        failing = list(dict.fromkeys(way.way for way in own if not way.holds))
        if failing:
            every = all(not way.holds for way in own)
            beaten += 1
            alone = joined(map(word, failing), ", ")
            against.append(alone if len(lasers) == 1 else laser if every else joined([laser, alone], " "))
    if against:
        return ("fails" if beaten == len(lasers) else "part"), joined(against)
    later = dict.fromkeys(way.setup for way in barrier.ways if not way.holds)
    return ("today", ", ".join(later)) if later else ("holds", "")


def outermost(lines: Sequence[SpectatorLine]) -> list[SpectatorLine]:
    """Return for each side, and each rule, the line that lies farthest out: behind it people are behind them all."""
    found: dict[tuple[str, str], tuple[float, SpectatorLine]] = {}
    for line in lines:
        if line.distance <= 0.0 or not line.line:
            continue
        way = (math.sin(line.bearing), math.cos(line.bearing))
        out = max(x * way[0] + y * way[1] for x, y in line.line)
        key = (line.side, line.line_kind)
        if key not in found or not out <= found[key][0]:
            found[key] = (out, line)
    return [line for _, line in found.values()]


def limits_line(zones: Iterable[ZoneShape], wording: Wording) -> str:
    """Return the limits of some zones with their times in one sentence."""
    found = dict.fromkeys(limit_text(zone, wording) for zone in zones if zone.fitted and zone.limit is not None)
    return wording.text("plan.map_limits", limits="; ".join(found)) if found else ""


def limit_text(zone: ZoneShape, wording: Wording) -> str:
    """Return the limit of a zone with its time."""
    limit = wording.say(zone.limited_by) if zone.limit is None else in_unit(zone.limit, zone.limit_unit, 3, "down")
    return limit + ("" if zone.duration is None else wording.text("plan.time", duration=duration(zone.duration)))


_SIGNS = ("laser", "aim", "axis", "person", "eyes", "target", "camera", "mirror", "scatter", "holds", "this", "part",
          "today", "fails", "plain", "door", "window", "gap", "line", "item")  # fmt: skip


def sign_entries(used: Iterable[str], wording: Wording) -> list[Entry]:
    """Return the legend of the signs that are on a drawing."""
    return [Entry(partial(_sign, key), wording.text(f"plan.legend_{key}")) for key in _SIGNS if key in used]


def _sign(key: str, rect: Rect) -> list[Mark]:
    """Return the sample of a sign."""
    x0, y0, x1, y1 = rect
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    across = ((x0, y), (x1, y))
    if key in ("holds", "this", "part", "today", "fails", "plain"):
        return symbols.barrier(across, key)
    if key in ("door", "window", "gap"):
        around = [] if key == "door" else symbols.barrier(across, "holds")
        return [*around, *symbols.opening((x0 + 3.0, y - 0.5), (x1 - 3.0, y - 0.5), key, True)]
    trace = ((x0 + 1.0, y), (x1 - 1.0, y))
    drawn: dict[str, list[Mark]] = {
        "laser": symbols.laser((x + 2.5, y), math.pi / 2),
        "aim": [Lines((across,), AIM_INK, 0.3, AIM_DASHES)],
        "axis": [Lines((across,), BLACK, 0.35, AIM_DASHES)],
        "person": symbols.person((x, y)),
        "eyes": symbols.person((x, y)),
        "target": symbols.target((x, y), False),
        "camera": symbols.camera((x - 1.0, y), math.pi / 2),
        "mirror": symbols.surface((x, y), trace, True),
        "scatter": symbols.surface((x, y), trace, False),
        "line": [Lines((across,), BLACK, 0.9, (4.0, 1.0))],
        "item": [Lines((closed(box(rect)),), ITEM_INK, 0.3, (3.0, 0.8))],
    }
    return drawn[key]
