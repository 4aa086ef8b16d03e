"""Which zones are drawn, under which letter, and what the legend says of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import product
from string import ascii_uppercase

from lasersafe.drawing import symbols
from lasersafe.drawing.page import Entry
from lasersafe.drawing.primitives import BLACK, Lines, Mark, Rect, box, closed, edge
from lasersafe.drawing.style import (
    AIM_DASHES,
    AIM_INK,
    ITEM_INK,
    LOOKS,
    SHADOW,
    metres_and_feet,
    quantity_text,
    swatch,
    time_text,
)
from lasersafe.records.barriers import BarrierLine
from lasersafe.records.fields import badness
from lasersafe.records.scene import ZONE_KINDS, BeyondTarget, SceneResult, SpectatorLine, ZoneShape
from lasersafe.wording import Wording


@dataclass(frozen=True)
class Group:
    """The zones of one kind that one set-up has, one for each mirror or lit surface."""

    tag: str
    zones: tuple[ZoneShape, ...]

    @property
    def first(self) -> ZoneShape:
        """The zone that reaches farthest."""
        return max(self.zones, key=lambda zone: badness(zone.distance))

    @property
    def plain(self) -> bool:
        """Whether only its edge is drawn, because the set-up is not fitted."""
        return not self.first.fitted


def grouped(scene: SceneResult) -> tuple[list[Group], list[tuple[str, BeyondTarget]]]:
    """Return the zones to be drawn and the ways behind targets, each with its letter."""
    found: dict[tuple[bool, str, str, str], list[ZoneShape]] = {}
    for zone in scene.zones:
        if (zone.fitted or zone.worst) and zone.polygons:
            found.setdefault((not zone.fitted, zone.laser, zone.setup, zone.kind), []).append(zone)
    order = {kind: number for number, kind in enumerate(ZONE_KINDS)}
    keys = sorted(found, key=lambda key: (key[0], order.get(key[3], 99)))
    names = map("".join, product(["", *ascii_uppercase], ascii_uppercase))  # A, B ... Z, AA, AB ...
    groups = [Group(next(names), tuple(found[key])) for key in keys]
    beyond = [(next(names), one) for one in scene.beyond if one.fitted and one.polygons]
    return groups, beyond


def zone_entry(
    zone: ZoneShape | None,
    heading: Mapping[str, str],
    distance: float,
    wording: Wording,
    *,
    more: str = "",
    plain: bool = False,
) -> Entry:
    """Return the legend of a zone: how far from where, the limit and its time, and what else has to be known.

    ``heading`` has the letter, the kind, the laser and its set-up, and the state in words.
    """
    text, kind = wording.text, heading["kind"]
    words = text(
        "plan.ignition_text" if kind == "ignition" else "plan.zone",
        distance=metres_and_feet(distance),
        origin=wording.say("last optic" if zone is None else zone.measured_from),
        limit=text("plan.eye_limit") if zone is None else limit_text(zone, wording),
    )
    head = text("plan.zone_head", **{**heading, "kind": text(f"plan.{kind}")}).lstrip()
    return Entry(lambda rect: swatch(rect, LOOKS[kind], plain=plain), head, words + more)


def entry(group: Group, wording: Wording) -> Entry:
    """Return the legend of one group: the distance, the limit and its time, and which barriers cut it."""
    zone, text = group.first, wording.text
    state = text("plan.both" if zone.fitted and zone.worst else "plan.fitted" if zone.fitted else "plan.worst")
    clipped = dict.fromkeys(name for one in group.zones for name in one.clipped_by)
    passed = dict.fromkeys(name for one in group.zones for name in one.not_clipped_by)
    more = text("plan.clipped", names=", ".join(clipped)) if clipped else ""
    more += text("plan.not_clipped", names=", ".join(passed)) if passed else ""
    more += text("plan.overhead") if any(one.overhead for one in group.zones) else ""
    heading = {"tag": group.tag, "kind": zone.kind, "laser": zone.laser, "setup": zone.setup, "state": state}
    return zone_entry(zone, heading, zone.distance, wording, more=more, plain=group.plain)


def beyond_entry(tag: str, one: BeyondTarget, wording: Wording) -> Entry:
    """Return the legend of the way behind a target."""
    text = wording.text
    head = text("plan.beyond_head", tag=tag, target=one.target, laser=one.laser, setup=one.setup)
    far = metres_and_feet(one.distance)
    words = text("plan.beyond_stop", stop=one.ends_at, distance=far) if one.ends_at else ""
    words = words or text("plan.beyond_open", distance=far)
    if one.behind:
        words += text("plan.beyond_behind", behind=one.behind)
        known = {True: "can_ignite", False: "cannot_ignite", None: "unknown_ignite"}
        words += ", " + text(f"plan.{known[one.can_ignite]}")
    return Entry(lambda rect: swatch(rect, LOOKS["beyond"]), head, words)


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
            alone = ", ".join(failing)
            against.append(alone if len(lasers) == 1 else laser if every else f"{laser} {alone}")
    if against:
        return ("fails" if beaten == len(lasers) else "part"), "; ".join(against)
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


def limits_line(groups: Sequence[Group], wording: Wording) -> str:
    """Return the limits with their times in one sentence, for a drawing whose legend is on another page."""
    found: dict[str, list[str]] = {}
    for group in groups:
        zone = group.first
        if zone.limit is not None:
            found.setdefault(limit_text(zone, wording), []).append(group.tag)
    parts = [f"{', '.join(names)}: {limit}" for limit, names in found.items()]
    return wording.text("plan.map_limits", limits="; ".join(parts)) if parts else ""


def limit_text(zone: ZoneShape, wording: Wording) -> str:
    """Return the limit of a zone with its time."""
    limit = wording.say(zone.limited_by) if zone.limit is None else quantity_text(zone.limit, zone.limit_unit, "down")
    return limit + ("" if zone.duration is None else wording.text("plan.time", duration=time_text(zone.duration)))


_SIGNS = ("laser", "aim", "axis", "person", "eyes", "target", "camera", "mirror", "scatter", "holds", "this", "part",
          "today", "fails", "plain", "shadow", "door", "window", "gap", "line", "item")  # fmt: skip


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
        "shadow": edge(rect, 0.1, fill=SHADOW),
        "line": [Lines((across,), BLACK, 0.9, (4.0, 1.0))],
        "item": [Lines((closed(box(rect)),), ITEM_INK, 0.3, (3.0, 0.8))],
    }
    return drawn[key]
