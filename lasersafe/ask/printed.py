"""What the commands print of an assessment: in short, whole, the lines for spectators."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from lasersafe.assessment import assess
from lasersafe.assessment.decision import metres, way_of
from lasersafe.assessment.facts import MOST, gain_of
from lasersafe.drawing.text import decimals, measured
from lasersafe.errors import InputError
from lasersafe.models import read_case
from lasersafe.quantity import feet, times
from lasersafe.records import as_json, badness
from lasersafe.results import Assessment, Scenario, unanswered
from lasersafe.wording import Message, Wording, load_wording, word

WIDTH, MOST_LINES = 80, 25
LABEL = 11
_ROOM = WIDTH - LABEL
_GROUPS = ("guests", "crew", "cameras")
_WHOLE = 10_000  # longer than anything that is said
_NAMES = (36, 26, 18, 12)  # longest names, tried from the first to the last until all fits
_SPARE = (  # what goes first, and what stays of it
    ("change", 2), ("change", 1), ("assumed", 2), ("assumed", 1), ("worst", 2), ("wear", 2), ("worst", 1), ("wear", 1),
)  # fmt: skip
Lines = list[tuple[str, str]]  # a label and the line beside it; a line over the whole width is a label alone


@dataclass(frozen=True)
class _Row:
    """One subject of the answer: its items, and how many of them are not printed."""

    key: str
    items: tuple[str, ...]
    left_out: int = 0

    def lines(self, wording: Wording) -> list[str]:
        """Return the items, wrapped beside the label."""
        more = [wording.text("brief.more", count=self.left_out)] if self.left_out else []
        return [line for item in (*self.items, *more) for line in _wrapped(item)]


@lru_cache(maxsize=256)  # the rows are laid out again for each item that is left out
def _wrapped(item: str) -> list[str]:
    return textwrap.wrap(item, _ROOM)


def brief(a: Assessment) -> Lines:
    """Return the short answer: at most 25 lines that fit 80 columns.

    Parameters
    ----------
    a : Assessment
        As assessed.
    """
    wording = load_wording(a.language)
    last = textwrap.wrap(wording.caution_short, WIDTH)
    room = MOST_LINES - 1 - len(last)
    lines: Lines = []
    for width in _NAMES:
        rows = [row for row in _Answer(a, wording, width).rows() if row.items]
        for key, least in _SPARE:
            while _height(rows, wording) > room and any(r.key == key and len(r.items) > least for r in rows):
                rows = [replace(r, items=r.items[:-1], left_out=r.left_out + 1) if r.key == key else r for r in rows]
        lines = [
            (wording.text(f"brief.{row.key}") if not i else "", line)
            for row in rows
            for i, line in enumerate(row.lines(wording))
        ]
        if len(lines) <= room:
            break
    with decimals(wording):
        said = [(label, measured(line)) for label, line in lines[:room]]
    return [(textwrap.shorten(a.title, WIDTH, placeholder="..."), ""), *said, *((line, "") for line in last)]


def subjects(a: Assessment) -> Lines:
    """Return the subjects of the answer with each of their items whole, for where there is room for all."""
    wording = load_wording(a.language)
    return [
        (wording.text(f"brief.{row.key}") if not i else "", item)
        for row in _Answer(a, wording, _WHOLE).rows()
        for i, item in enumerate(row.items)
    ]


def _height(rows: Sequence[_Row], wording: Wording) -> int:
    return sum(len(row.lines(wording)) for row in rows)


class _Answer:
    """The subjects of the answer, with names of at most some letters."""

    def __init__(self, a: Assessment, wording: Wording, width: int) -> None:
        self.a, self.wording, self.text, self.width = a, wording, wording.text, width
        self.fitted = [s for s in a.setups if s.fitted]
        self.counted = sorted(a.counted, key=lambda s: (s.below, bool(s.answer), -s.ratio))
        self.open = unanswered(self.counted)
        open_keys = {s.key for s in self.open}
        self.uncontrolled = [f for f in a.record.findings if f.scenario not in open_keys]
        typed = {s.person for s in a.scenarios} | {s.laser for s in a.setups} | {s.setup for s in a.setups}
        typed |= {b.barrier for b in a.barriers} | {v.text for n in a.eyewear if (v := n.verdict)}
        self.long = sorted((name for name in typed if len(name) > width), key=len, reverse=True)

    def rows(self) -> Iterator[_Row]:
        """Yield all subjects."""
        found = {
            "verdict": [self.verdict()],
            "wear": self.wear(),
            **{key: self.group(key) for key in _GROUPS},
            "barriers": self.barriers(),
            "worst": self.worst(),
            "change": self.changes(),
            "assumed": self.assumed(),
            "unsigned": self.unsigned(),
        }
        for key, items in found.items():
            yield _Row(key, tuple(map(self.short, items)))

    def short(self, text: str) -> str:
        """Return a text in which no name is longer than names may be."""
        for name in self.long:
            text = text.replace(name, name[: self.width - 3].rstrip(" .,") + "...")
        return text

    def metres(self, distance: float) -> str:
        """Return a distance, rounded up."""
        if not math.isfinite(distance):
            return self.text("brief.no_bound")
        return metres(distance, self.a.units == "metric and feet")

    @staticmethod
    def listed(names: Iterable[str], most: int = 3) -> str:
        """Return some names, and how many more there are."""
        every = list(dict.fromkeys(names))
        return ", ".join(every[:most]) + (f", +{len(every) - most}" if len(every) > most else "")

    def verdict(self) -> str:
        """Return the verdict with the counts behind it, and what it leaves out."""
        d, text = self.a.decision, self.text
        readings = sum(row.reading is not None and row.reading.above for row in self.a.record.expected)
        counts = {"open": len(self.open), "uncontrolled": len(self.uncontrolled), "measured": readings}
        left_out = d.strike_outs.not_assessed
        parts = [text(f"say.{key}_{'one' if n == 1 else 'many'}", count=n) for key, n in counts.items() if n]
        worst = d.strike_outs.worst
        out = [text("brief.n_struck", count=d.strike_outs.ways, ratio=times(worst.ratio))] if worst else []
        out += [text("brief.n_left_out", count=len(left_out), pairs=self.listed(map("/".join, left_out), 1))] * bool(
            left_out
        )
        if d.passed:
            return "; ".join([text(f"brief.passed_{d.passing}"), *out])
        return text("brief.not_as_planned", what="; ".join([*(parts or d.reasons[:1]), *out]))

    def wear(self) -> Iterator[str]:
        """Yield what to ask for, laser by laser, and whose own eyewear is not enough."""
        needs = [
            (laser.name, [o.eyewear for o in (laser, *laser.lines) if o.eyewear]) for laser in self.a.record.lasers
        ]
        for name, covers in needs:
            if any(not one.reliable for one in covers):
                yield self.text("brief.no_eyewear_holds", laser=name)
            elif covers:
                marking = self.text("say.and").join(dict.fromkeys(one.marking for one in covers))
                density = max(one.optical_density for one in covers)
                yield self.text("brief.marking", laser=name, marking=marking, density=f"{density:.1f}")
        if not any(covers for _, covers in needs):
            yield self.text("brief.no_eyewear")
        fitted = {(s.laser, s.setup) for s in self.fitted}
        worn = [n.person for n in self.a.eyewear if n.verdict and not n.verdict.enough and (n.laser, n.setup) in fitted]
        if worn:
            yield self.text("brief.not_enough", persons=self.listed(worn))

    def group(self, key: str) -> Iterator[str]:
        """Yield from where people of a group need nothing, and how those of the case stand."""
        d = self.a.decision
        other = {(s.laser, s.setup) for s in self.a.setups if not s.fitted}
        there = any(self.a.group_of(s) == key and (s.laser, s.setup) not in other for s in self.a.scenarios)
        mine = [s for s in self.counted if self.a.group_of(s) == key]
        far = badness(d.headline_distance)
        aids = self.a.with_optics and (key == "cameras" or any(s.way in ("aided", "aided viewing") for s in mine))
        where = self.text("brief.from", direct=self.metres(far), scatter=self.metres(d.scatter_distance))
        where += self.text("brief.aided", distance=self.metres(d.aided_distance)) if aids else ""
        where += self.text("brief.bare") if key == "cameras" and not self.a.with_optics else ""
        above = self.listed(s.person for s in mine if not s.below and not s.answer)
        held = self.listed(s.person for s in mine if not s.below)
        state = "above" if above else "held" if held else "below" if mine else "struck" if there else "nobody"
        if state == "nobody" and any(self.a.group_of(s) == key for s in self.a.scenarios):
            state = "below"  # what is fitted does not reach them
        if state == "nobody" and key == "cameras" and self.a.scene is not None and self.a.scene.cameras:
            state, held = "sensors", self.listed(one.name for one in self.a.scene.cameras)
        yield f"{where}; {self.text(f'brief.{state}', persons=above or held)}"

    def barriers(self) -> list[str]:
        """Return which barriers hold what is fitted, and what passes them."""
        asked = [one for one in self.a.decision.loads if one.asked]
        failing = {one.barrier for one in asked if not one.stands}
        names = dict.fromkeys(one.barrier for one in asked)
        found = [] if names else [self.text("brief.no_barrier")]
        held = [name for name in names if name not in failing]
        for key, some in (("fail", [name for name in names if name in failing]), ("hold", held)):
            found += [self.text(f"brief.{key}", barriers=self.listed(some))] if some else []
        return ["; ".join([*found, *(remark.rstrip(".") for remark in self.a.decision.barrier_remarks)])]

    def worst(self) -> Iterator[str]:
        """Yield three scenarios, those without an answer first, each person and way once."""
        found: dict[tuple[str, str], Scenario] = {}
        for s in self.counted:
            found.setdefault((s.person, s.way), s)
        for s in list(found.values())[:3]:
            answer = self.text("brief.is_below") if s.below else s.answer or self.text("brief.unanswered")
            words = {"person": s.person, "way": way_of(s, self.wording), "ratio": times(s.ratio), "answer": answer}
            room, said = max(_ROOM, self.width), self.short(self.text("brief.scenario", **words))
            if len(said) > room:  # the way gives way, so that the answer stands
                least = 18 if s.answer else 0  # rows that differ in it alone keep some of it
                words["way"] = words["way"][: max(len(words["way"]) - (len(said) - room) - 3, least)].rstrip() + "..."
                said = self.short(self.text("brief.scenario", **words))
            yield textwrap.shorten(said, room, placeholder="...")

    def changes(self) -> Iterator[str]:
        """Yield what would turn the verdict: what is missing, or what it rests on."""
        d, text = self.a.decision, self.text
        persons: dict[str, list[str]] = {}
        for person in dict.fromkeys(s.person for s in self.open):
            ways = self.listed((text(f"way.{s.way}") for s in self.open if s.person == person), 2)
            persons.setdefault(ways, []).append(person)
        for ways, names in persons.items():
            yield text("brief.stop", person=self.listed(names), ways=ways)
        if not d.passed and self.a.scene is not None:
            yield from (f.text for f in self.a.scene.findings if f.refuses)
        if self.uncontrolled:
            yield text("brief.control", persons=self.listed(f.person for f in self.uncontrolled))
        carried = [s for s in self.counted if not s.below and s.answer] if d.passed else []
        if carried:
            top = max(carried, key=lambda s: badness(s.ratio))
            yield text("brief.rests_on", answer=top.answer, person=top.person, ratio=times(top.ratio))
        struck = d.strike_outs.worst
        if d.passed and struck is not None:
            yield text("brief.rests_on_strike", way=way_of(struck, self.wording), person=struck.person)
        for setup in self.fitted:
            own = setup.zone("direct", "eye").distance
            others = [s for s in self.a.setups if s.laser == setup.laser and not s.fitted]
            worse = max(others, key=lambda s: badness(s.zone("direct", "eye").distance), default=setup)
            reach = worse.zone("direct", "eye").distance
            if not reach <= own:
                yield text("brief.other_setup", laser=setup.laser, setup=worse.setup, reach=self.metres(reach))

    def assumed(self) -> Iterator[str]:
        """Yield the three assumptions that cost most, and what each would bring when it is stated."""
        left = MOST
        for one in self.a.record.assumptions:
            words = gain_of(one, self.a.decision.headline_distance, self.wording, self.metres)
            if words and left:
                left -= 1
                what = self.wording.input_name(one.what) if one.laser else ""
                yield self.text(f"brief.gain_{one.what}" if not one.laser else "brief.gain", what=what, **words)

    def unsigned(self) -> list[str]:
        """Return what keeps anybody from signing, beside the verdict."""
        found, unstated = self.a.record.starter_values, self.a.record.unstated
        names = self.listed((f"'{one.name}'" for one in found), 2)
        said = [self.text("brief.starter", count=len(found), names=names)] if found else []
        fields = self.listed(self.text(f"unstated.{name}") for name in unstated)
        return [*said, self.text("brief.unstated", fields=fields)] if unstated else said


# ---------------------------------------------------------------------------------------------------------------------
# The whole assessment


def assessment_text(a: Assessment) -> str:
    """Return the decision block, and the tables of the annex on distances, barriers and scenarios as text."""
    from lasersafe.sheet import tables_as_text

    wording, d = load_wording(a.language), a.decision
    head = [a.title, ", ".join(filter(None, (a.place, a.dates))), "", d.verdict]
    named = {"wear": d.wear, "people": d.people, "barrier": d.barrier}
    head += [wording.text(f"all.{key}", what=what) for key, what in named.items() if what]
    head += [f"- {reason}" for reason in d.reasons]
    with decimals(wording):
        return "\n".join([*map(measured, head), *tables_as_text(a, wording), "", wording.caution_short])


# ---------------------------------------------------------------------------------------------------------------------
# The lines for spectators


def spectator_lines(path: Path) -> tuple[dict[str, Any], list[str]]:
    """Return the spectator lines of a case file as a producer reads them, and as JSON.

    Raises
    ------
    CalcError
        If the case has faults, or no scene.
    """
    case = read_case(path)
    wording = load_wording(case.language)
    if case.scene is None:
        raise InputError(wording.text("spectators.no_scene", case=path))
    assessment = assess(case, wanted="drawn")
    assert assessment.scene is not None
    scene, say, holds = assessment.scene, wording.say, Message("spectators.holds")
    lasers = {
        aim.laser: as_json(aim, ("position:position_m", "setup"))
        for aim in scene.aims
        if aim.mode == "running" and aim.fitted
    }
    rows, told = [], dict[tuple[str, str], list[str]]()  # a side, and by what it is limited -> how far from which laser
    for line in scene.lines:
        limited = line.limited_by
        if line.note:
            limited = Message("spectators.by", limit=limited, note=line.note, kind=word(line.line_kind))
        side, start = wording.text(f"side.{line.side}"), say(line.distance_from)
        row = as_json(line, ("side", "laser", "setup", "distance:distance_m"))
        row |= {"distance_ft": math.ceil(feet(line.distance)), "from": line.distance_from, "limited_by": limited}
        rows.append(row | {"line_m": as_json(line.line)})
        if line.distance <= 0.0:
            told[side, ""] = []
            continue
        origin = wording.text("spectators.of", start=start, laser=line.laser) if len(lasers) > 1 else start
        away = wording.text("spectators.away", distance=metres(line.distance), origin=origin)
        told.setdefault((side, say(limited)), []).append(away)
    lines = [assessment.title, ""]
    for (side, limit), far in told.items():
        words = {"side": side, "away": ", ".join(far), "limited_by": limit}
        lines.append(wording.text("spectators.line" if limit else "spectators.free", **words))
    left_out = wording.text("scene.left_out", what=scene.left_out) if scene.left_out else ""
    lines += filter(None, [left_out])
    data = {
        "title": assessment.title,
        "lines": rows,
        "lasers": lasers,
        "left_out": left_out,
        "holds_for": holds,
        "verdict": assessment.decision.verdict,
        "passed": assessment.decision.passed,
        "caution": wording.caution_short,
    }
    with decimals(wording):
        said = [*map(measured, lines), "", say(holds), say(assessment.decision.verdict), wording.caution_short]
    return data, said
