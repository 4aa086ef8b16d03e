"""Backwards: up to which value of one input a distance is kept, or a given pair of glasses is enough."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe import studies
from lasersafe.ask import SolveQuestion
from lasersafe.assessment import assess
from lasersafe.assessment.context import Context
from lasersafe.assessment.decision import metres, way_of
from lasersafe.assessment.protection import needs_alone
from lasersafe.assessment.setups import setup_result
from lasersafe.drawing.text import decimals, measured
from lasersafe.errors import CalcError, refuse
from lasersafe.hazard.marking import parse_marking
from lasersafe.hazard.tolerances import GRID, solved_input
from lasersafe.quantity import choice, format_quantity, parse_quantity, shown, times
from lasersafe.records import as_json, badness, worst_of_each
from lasersafe.studies.tables import CORNER, alone, certainty, certainty_data, durations, worked_out_with
from lasersafe.wording import Message, Wording, joined, load_wording, word

Floats = NDArray[np.float64]
MOST = ("power", "mean_power", "pulse_energy", "focal_length", "mode_field_diameter", studies.DURATION)
LEAST = (
    "divergence", "beam_diameter", "numerical_aperture", "core_diameter", "focus_diameter", "spot_diameter",
    "pulse_duration", "duty",
)  # fmt: skip
DIGITS = 3
NEAREST_PLACE, FARTHEST_PLACE = 1e-3, 1e6  # m
_CAUTIOUS, _BOLD = 1e6, 1e3  # so many times the nominal value to either side are searched without being asked
_SHORTEST = 1e-6  # s
_LONGEST = 30_000.0  # s
_SCAN = 33
_CLOSE = 1e-4
_TRIES = 4


@dataclass(frozen=True)
class PutBack:
    """What the assessment says of the case with the answer in it.

    Parameters
    ----------
    holds : bool
        Whether the target is kept.
    words : str
        What was found.
    skin : float
        How far the skin limit is exceeded, the worst of the ways asked for. [m]
    """

    holds: bool
    words: str
    skin: float


@dataclass(frozen=True)
class Asked:
    """A question backwards.

    Parameters
    ----------
    subject : Subject
        What it is about.
    input : Input
        What is asked for.
    place : float
        Where, and beyond it, the target has to be kept: from the last optic along the beam, for scatter from the lit
        surface. [m]
    ways, tissues : tuple of str
        What counts; with eyewear every way, and the eye.
    marking : str
        Marking of the eyewear that is worn, "" for none.
    """

    subject: studies.Subject
    input: studies.Input
    place: float
    ways: tuple[str, ...] = studies.WAYS
    tissues: tuple[str, ...] = studies.TISSUES
    marking: str = ""

    @property
    def largest(self) -> bool:
        """Whether the largest value is asked for, so that the low end of a range is the cautious one.

        Raises
        ------
        InputError
            If neither end is.
        """
        name, inputs = self.input.name.partition(".")[0], self.subject.inputs
        if name == "repetition_rate":
            return "laser.pulse_energy" in inputs
        if name not in MOST + LEAST:
            able = ", ".join(path for path, one in inputs.items() if one.name.partition(".")[0] in MOST + LEAST)
            refuse(f"for = '{self.input.path}': neither end of its range is the cautious one; ask for one of: {able}")
        return name in MOST

    def solve(self, between: str | None = None) -> Answer:
        """Return how far the input may go so that the target is kept, and by everything on the cautious side of it.

        Parameters
        ----------
        between : str, optional
            Range to search, as typed.

        Raises
        ------
        InputError
            If the question cannot be answered.
        """
        one, largest, (low, high) = self.input, self.largest, self.ends(between)
        evaluate, most, quick = self._function()
        critical = sorted({value for value in self.subject.critical(one) if low < value < high})
        tried, sections, close = (GRID, 64, 0.0) if quick else (_SCAN, 2, _CLOSE)
        found = solved_input(
            evaluate, low, high, most, critical, largest=largest, points=tried, sections=sections, close=close
        )
        cautious, of = low if largest else high, {**vars(self), "low": low, "high": high, "tried": tried}
        if found.value is None:
            return Answer(**of, value=None, text="", every=False, put_back=self.checked(cautious))
        value = found.value
        for digits in (DIGITS,) * _TRIES + (15,):
            text = format_quantity(value, one.mark.unit, digits, "down" if largest else "up")
            value = parse_quantity(text, one.mark.unit, one.path).value
            if not low <= value <= high:
                text, value = studies.nearest_text(cautious, one), cautious
            back = self.checked(value)
            if back.holds and bool((evaluate(np.array([value])) <= most).all()):
                return Answer(**of, value=value, text=text, every=found.every, put_back=back)
            value *= 1.0 - 1e-3 if largest else 1.0 + 1e-3
        refuse(f"{one.path}: the value found does not hold when it is put back into the case; no answer is given")

    def ends(self, between: str | None) -> tuple[float, float]:
        """Return the range to be searched: as typed, or around the nominal value as far as the case holds together.

        Raises
        ------
        InputError
            If a range that was typed cannot be used.
        """
        one, subject = self.input, self.subject
        if between is not None:
            ends, dots, rest = between.partition("..")
            if not dots or ":" in rest:
                refuse(f"between = {shown(between)}: write both ends, as '1 W..2 kW'")
            low, high = one.read(ends.strip()), one.read(rest.strip())
            if not low < high:
                refuse(f"{one.path}: between = {shown(between)}: write the smaller end first, and two ends that differ")
            for end in (low, high):
                subject.changed({one.path: end})
            return low, high
        if one.ends is not None:
            return one.ends
        if one.path == studies.DURATION:
            return max(_SHORTEST, subject.context.space.longest_pulse), _LONGEST
        assert one.nominal is not None
        least, most = (parse_quantity(text, one.mark.unit, one.path).value for text in (one.mark.low, one.mark.high))
        down, up = (_CAUTIOUS, _BOLD) if self.largest else (_BOLD, _CAUTIOUS)
        low, high = max(one.nominal / down, least), min(one.nominal * up, most)
        return self._valid_end(low), self._valid_end(high)

    def _valid_end(self, wanted: float) -> float:
        """Return the value nearest to the wanted one, from the nominal value on, with which the case holds together."""

        def valid(value: float) -> bool:
            try:
                self.subject.changed({self.input.path: value})
            except CalcError:
                return False
            return True

        if valid(wanted):
            return wanted
        assert self.input.nominal is not None
        good, bad = self.input.nominal, wanted
        while abs(bad - good) > _CLOSE * good:
            middle = math.sqrt(good * bad) if bad > 0.0 else good / 2.0
            good, bad = (middle, bad) if valid(middle) else (good, middle)
        return good

    def _function(self) -> tuple[Callable[[Floats], Floats], float, bool]:
        """Return a function of many values of the input, what it must not exceed, and whether it is quick."""
        one, subject = self.input, self.subject

        def asked(contexts: Sequence[Context], changes: Mapping[str, Floats]) -> Floats:
            if self.marking:
                return np.asarray(0.0 if self._enough(contexts)[0] else 1.0)
            zones = [(way, tissue) for way in self.ways for tissue in self.tissues]
            found = [values for zone in zones for values in studies.reach_by_rule_set(contexts, zone, changes).values()]
            return np.asarray(np.maximum.reduce(found))

        most = 0.5 if self.marking else self.place
        start = one.ends[0] if one.ends else one.nominal
        by_turns = bool(self.marking or one.ends)
        contexts = () if by_turns else subject.changed({one.path: _LONGEST if start is None else start})
        if not by_turns and studies.takes_arrays(contexts, one.name):
            return lambda values: asked(contexts, one.arrays(values)), most, True
        known: dict[float, float] = {}

        def evaluate(values: Floats) -> Floats:  # from the cautious end on: behind the first that fails all count so
            found = np.full(values.shape, np.inf)
            for number, value in enumerate(map(float, values)):
                if value not in known:
                    known[value] = float(asked(subject.changed({one.path: value}), {}))
                found[number] = known[value]
                if not found[number] <= most:
                    break
            return found

        return evaluate, most, False

    def _enough(self, contexts: Sequence[Context]) -> tuple[bool, tuple[str, ...]]:
        """Return whether the eyewear is enough at the place and beyond it, and why or why not."""
        ratio = float(studies.eye_ratio(contexts, self.place, {}))
        least = math.log10(ratio) if ratio > 0.0 else -math.inf
        needs = [need for context in contexts for need in needs_alone(context, self.place, self.marking, least)]
        verdicts = [need.verdict for need in needs]
        enough = all(verdict is not None and verdict.enough for verdict in verdicts)
        return enough, tuple(dict.fromkeys(reason for verdict in verdicts if verdict for reason in verdict.reasons))

    def checked(self, value: float) -> PutBack:
        """Return what the assessment says of the case with a value [SI] in it, by the way of single numbers."""
        contexts = self.subject.changed({self.input.path: value})
        every = worst_of_each(setup_result(context).zones for context in contexts)
        zones = {(zone.way, zone.tissue): zone for zone in every}
        skin = max((zones[way, "skin"].distance for way in self.ways), key=badness)
        if self.marking:
            enough, reasons = self._enough(contexts)
            why = joined(reasons) or Message("study.enough")
            return PutBack(enough, why, skin)
        asked = [zones[way, tissue] for way in self.ways for tissue in self.tissues]
        worst = max(asked, key=lambda zone: badness(zone.distance))
        if worst.distance <= 0.0:
            words = Message("study.nowhere")
        else:
            reach = format_quantity(worst.distance, "m", 4, "up")
            facts = {"way": word(worst.way), "tissue": word(worst.tissue), "rule_set": worst.criterion.rule_set}
            words = Message("study.farthest", distance=reach, **facts)
        return PutBack(worst.distance <= self.place, words, skin)


@dataclass(frozen=True, kw_only=True)
class Answer(Asked):
    """The answer to a question backwards.

    Parameters
    ----------
    low, high : float
        The range that was searched. [SI]
    tried : int
        At how many values at least.
    value : float or None
        Rounded to the cautious side; None when no value does it. [SI]
    text : str
        The same as text that a case file takes.
    every : bool
        Whether the whole range does it.
    put_back : PutBack
        With the answer, or with the cautious end when no value does it.
    """

    low: float
    high: float
    tried: int
    value: float | None
    text: str
    every: bool
    put_back: PutBack

    @property
    def changed(self) -> dict[str, float]:
        """What was put back into the case. [SI]."""
        cautious = self.low if self.largest else self.high
        return {self.input.path: cautious if self.value is None else self.value}

    def whole_case(self, wording: Wording) -> tuple[str, dict[str, Any]]:
        """Return what the assessment of the whole case says with the answer in it: all lasers, ways and persons."""
        found = assess(self.subject.whole(self.changed), wanted="short")
        above = sorted((s for s in found.counted if not s.below), key=lambda s: -badness(s.ratio))
        far = badness(found.decision.headline_distance)
        data = {"distance_m": far if math.isfinite(far) else None, "above_the_limit": len(above), "worst": None}
        text = self.text if self.subject.context.setup.fitted else wording.text("solve.not_fitted", value=self.text)
        reach = metres(far, False) if math.isfinite(far) else wording.text("brief.no_bound")
        values = {"value": text, "distance": reach}
        if not above:
            return wording.text("solve.whole_below", **values), data
        worst = {"person": above[0].person, "way": way_of(above[0], wording), "ratio": times(above[0].ratio)}
        return wording.text("solve.whole_above", count=len(above), **values, **worst), {**data, "worst": worst}

    def sentences(self) -> list[str]:
        """Return the answer in words, the answer itself first."""
        one, subject, most = self.input, self.subject, "most" if self.largest else "least"
        ends = {"low": studies.nearest_text(self.low, one), "high": studies.nearest_text(self.high, one)}
        cautious = ends["low" if self.largest else "high"]
        corner = "_in_corner" if worked_out_with(subject, self.changed) == CORNER else ""
        name = Message("study.named" if subject.context.setup.fitted else "study.not_fitted", name=subject.name)
        place, back = studies.trimmed(format_quantity(self.place, "m", 4)), self.put_back
        if self.marking:
            goal = Message("study.goal_marking", marking=shown(self.marking), place=place)
        else:
            ways = joined([Message(f"study.way_{way}") for way in self.ways], ", ")
            goal = Message(f"study.goal_{'_'.join(self.tissues)}", place=place, ways=ways)
        lines: list[str] = [Message("study.goal", name=name, goal=goal)]
        if self.value is None:
            lines.append(Message("study.none", field=one.path, **ends))
            lines.append(Message(f"study.back_cautious{corner}", value=cautious, words=back.words))
        else:
            lines.append(Message(f"study.at_{most}", field=one.path, value=self.text, nominal=self._nominal()))
            lines += [Message("study.every", **ends)] if self.every else []
            lines.append(Message(f"study.back{corner}", value=self.text, words=back.words))
            lines.append(Message(f"study.searched_{most}", count=self.tried, cautious=cautious, **ends))
        lines += [durations(subject, {one.path}), *certainty(subject, self.changed), *alone(subject)]
        lines += [Message("study.duration_asked")] if one.path == studies.DURATION else []
        if self.marking and back.skin > 0.0:
            reach = studies.trimmed(format_quantity(back.skin, "m", 3, "up"))
            lines.append(Message(f"study.skin_{'beyond' if back.skin > self.place else 'nearer'}", distance=reach))
        return [*lines, Message("study.accident")] if self.marking else lines

    def _nominal(self) -> str:
        """Return what the case says of the input, and whether the answer allows that."""
        one, value = self.input, self.value
        if one.nominal is None or value is None:
            if one.ends is None:
                return ""
            return Message(
                "study.allows", low=studies.nearest_text(one.ends[0], one), high=studies.nearest_text(one.ends[1], one)
            )
        low, high = one.span or (one.nominal, one.nominal)
        kept = high <= value if self.largest else low >= value
        return Message("study.says_kept" if kept else "study.says", stated=one.stated)

    def data(self) -> dict[str, Any]:
        """Return the answer as plain data."""
        one, back = self.input, self.put_back
        unit = "" if one.mark.unit == "1" else f"_{one.mark.unit}"
        return {
            **self.subject.facts(),
            "field": one.path,
            "asked": "largest" if self.largest else "smallest",
            f"answer{unit}": self.value,
            "answer": self.text or None,
            f"nominal{unit}": one.nominal,
            "stated": one.stated,
            **certainty_data(self.subject, self.changed),
            "found": "none" if self.value is None else "every value" if self.every else "a value",
            f"searched_low{unit}": self.low,
            f"searched_high{unit}": self.high,
            "values_tried": self.tried,
            "at_m": self.place,
            "ways": list(self.ways),
            "tissues": list(self.tissues),
            "eyewear": self.marking or None,
            "put_back": as_json(back, ("holds", "words", "skin:skin_distance_m")),
        }


def read_choice(given: Sequence[str], allowed: tuple[str, ...], option: str) -> tuple[str, ...]:
    """Return what was chosen from a list, in its order; all of it when nothing was typed.

    Raises
    ------
    InputError
        If one is not on the list.
    """
    for one in given:
        choice(option, one, allowed)
    return tuple(one for one in allowed if one in given) or allowed


def _target(question: SolveQuestion) -> tuple[float, tuple[str, ...], tuple[str, ...], str]:
    """Return what has to hold: place, ways, tissues and the marking of what is worn.

    Raises
    ------
    InputError
        If a part is missing, or parts contradict each other.
    """
    if question.at is None:
        refuse("at: missing; say where the person is, as --at '6 m'")
    place = parse_quantity(question.at, "m", "at").value
    if not NEAREST_PLACE <= place <= FARTHEST_PLACE:
        refuse(f"at = {shown(question.at)}: must be 1 mm or more, and at most 1000 km")
    ways = read_choice(question.way or (), studies.WAYS, "way")
    tissues = read_choice(question.tissue or (), studies.TISSUES, "tissue")
    if question.eyewear is None:
        return place, ways, tissues, ""
    if question.way or question.tissue:
        refuse("way, tissue: with eyewear every way counts, and the eye; leave --way and --tissue out")
    if not (marking := question.eyewear.strip()):
        refuse("eyewear = '': nothing is written here; write its marking, as '1064 D LB6'")
    parse_marking(marking)  # what cannot be read is no question
    return place, ways, ("eye",), marking


def run_solve(case: Path | str, question: SolveQuestion, *, whole: bool = True) -> tuple[dict[str, Any], str]:
    """Return the answer to a question backwards, as JSON and as text; if wanted with what the whole case then says.

    The case is a file, or its text.

    Raises
    ------
    InputError
        If the question cannot be answered as typed.
    """
    if question.wanted is None:
        refuse("for: missing; say which input is asked for, as --for laser.power")
    target = _target(question)
    subject = studies.open_subject(case, question.laser, question.setup)
    answer = Asked(subject, subject.input(question.wanted), *target).solve(question.between)
    lines, data, wording = answer.sentences(), answer.data(), load_wording(subject.case.language)
    if whole and answer.value is not None and answer.input.path != studies.DURATION and answer.input.ends is None:
        words, data["whole_case"] = answer.whole_case(wording)
        lines.insert(-1, words)
    with decimals(wording):
        said = [measured(wording.say(line)).replace(".; ", "; ") for line in lines]
    return {**data, "sentences": said, "caution": wording.caution_short}, "\n".join([*said, wording.caution_short])
