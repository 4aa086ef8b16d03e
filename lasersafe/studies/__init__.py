"""One laser with one set-up of a case, what of it a question may change, and many values of that at once."""

from __future__ import annotations

import copy
import itertools
import math
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.corners import corners_of
from lasersafe.assessment.distances import exposure_ratios, variable_inputs, zone_distances
from lasersafe.assessment.uncertainty import critical_values, stated_tolerances
from lasersafe.errors import CalcError, CaseError, refuse
from lasersafe.limits import rule_sets
from lasersafe.limits.exposure import duration_edges
from lasersafe.models import Case, case_from, parse_case, read_case_text, tolerances_of
from lasersafe.models.kinds import with_assumptions
from lasersafe.models.values import Measured
from lasersafe.quantity import format_quantity, parse_quantity, shown
from lasersafe.records import InputTolerance
from lasersafe.wording import Message

DURATION = "duration"
HELD = ("pulse_duration", "repetition_rate", "duty")
_FEW_PULSES = 12
_TIME = Measured("s", "100 fs", "30000 s", "10 s", "the limit tables of both rule sets cover no other duration")


@dataclass(frozen=True)
class Input:
    """One input that may be changed.

    Parameters
    ----------
    path : str
        As typed: ``laser.power``, ``setup.divergence``, ``duration``.
    name : str
        Field of the case file.
    mark : Measured
        What the field takes.
    nominal : float or None
        What the case says, in SI; None for a setting that can be turned, and for an exposure duration, which follows
        from wavelength and way.
    ends : tuple of float or None
        Of a setting that can be turned, as the case has them. [SI]
    partner : tuple of str and float, or None
        The field that changes with it in proportion, and how many times its value: a fixed train may state its mean
        power beside its pulse energy.
    typed : str
        What the case says, where it carries a tolerance; otherwise "".
    span : tuple of float or None
        The lowest and highest value of that tolerance. [SI]
    """

    path: str
    name: str
    mark: Measured
    nominal: float | None
    ends: tuple[float, float] | None = None
    partner: tuple[str, float] | None = None
    typed: str = ""
    span: tuple[float, float] | None = None

    @property
    def stated(self) -> str:
        """What the case says, in words."""
        if self.nominal is not None:
            return self.typed or nearest_text(self.nominal, self)
        return Message("study.by_way" if self.path == DURATION else "study.worst_of_range")

    def arrays(self, values: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
        """Return the fields of the case file that change, with their values in SI."""
        return {self.name: values} | ({} if self.partner is None else {self.partner[0]: values * self.partner[1]})

    @property
    def column(self) -> str:
        """Name of its column in a table, with the unit."""
        plain = "exposure_duration" if self.path == DURATION else self.path.replace(".", "_")
        return plain if self.mark.unit == "1" else f"{plain}_{self.mark.unit}"

    def read(self, text: str) -> float:
        """Return one value as typed, in SI.

        Raises
        ------
        InputError
            If it is not one number with one unit that the field takes.
        """
        parse_quantity(text, self.mark.unit, self.path, self.mark.kind)
        return float(self.mark.number(text, self.path))


@dataclass(frozen=True)
class Subject:
    """One laser with one set-up of a case.

    Parameters
    ----------
    file : str
        What the case file is called.
    data : mapping
        The case as ``tomllib`` reads it, with what it leaves out.
    case : Case
        The same, checked.
    laser, setup : int
        Places in the case, from 0.
    context : Context
        The case as it says, without its tolerances.
    inputs : mapping of str to Input
        What may be changed, by path.
    """

    file: str
    data: Mapping[str, Any]
    case: Case
    laser: int
    setup: int
    context: Context
    inputs: Mapping[str, Input]

    @property
    def name(self) -> str:
        """Laser and set-up in words."""
        return f"{self.context.laser.name}, {self.context.setup.name}"

    def facts(self) -> dict[str, Any]:
        """Return what it is, for scripts."""
        context = self.context
        return {
            "title": self.case.title, "laser": context.laser.name, "setup": context.setup.name,
            "fitted": context.setup.fitted, "rule_sets": list(context.rule_sets),
        }  # fmt: skip

    def input(self, path: str) -> Input:
        """Return an input by its path.

        Raises
        ------
        InputError
            If this laser with this set-up has none of that name.
        """
        plain = path.replace("laser.emission.", "laser.")
        if plain not in self.inputs:
            refuse(f"{shown(path)} cannot be changed for {self.name}; what can: {', '.join(self.inputs)}")
        return self.inputs[plain]

    def critical(self, one: Input) -> list[float]:
        """Return the values of an input at which the distance may jump or turn."""
        if one.ends and one.name in ("pulse_duration", "repetition_rate"):
            times = duration_edges(self.context.rule_sets)
            counts = range(1, _FEW_PULSES)
            return times if one.name == "pulse_duration" else [n / time for time in times for n in counts]
        return critical_values(self.context).get(one.name, [])

    def changed(self, values: Mapping[str, float]) -> tuple[Context, ...]:
        """Return the case with some inputs changed, read and checked like a case file: one context for each corner.

        What is changed is exact; the tolerances of all other inputs still count.

        Parameters
        ----------
        values : mapping of str to float
            Path of an input to its value. [SI]

        Raises
        ------
        InputError
            If the case does not hold together with these values.
        """
        held = {path: value for path, value in values.items() if self.inputs[path].ends is not None}
        try:
            corners = corners_of(self._case(values)).cases
            found = [contexts(corner, self.context.rule_sets)[self.setup] for corner in corners]
        except CalcError as error:
            what = str(error)
            if isinstance(error, CaseError):
                what = f"{error.faults[0].field.rpartition('.')[2]}: {error.faults[0].message}"
            typed = ", ".join(f"{path} = {nearest_text(value, self.inputs[path])}" for path, value in values.items())
            refuse(f"{typed}: {what}")
        for path, value in held.items():
            name = self.inputs[path].name
            found = [replace(one, space=one.space.held(name, float(value))) for one in found]
        if DURATION in values:
            found = [replace(one, time=float(values[DURATION])) for one in found]
        return tuple(found)

    def unsure(self, values: Mapping[str, float]) -> tuple[InputTolerance, ...]:
        """Return the inputs of this laser, set-up and its surfaces that carry a tolerance and are not changed.

        Parameters
        ----------
        values : mapping of str to float
            As for `changed`, for which the case holds together.
        """
        case = self._case(values)
        held = {self.inputs[path].name for path in values if self.inputs[path].ends is not None}
        found = []
        for stated, one in zip(tolerances_of(case), corners_of(case).inputs, strict=True):
            kind, at, *rest = stated.place
            if kind == "surface" and case.surface[int(at)].laser in (None, self.context.laser.name):
                found.append(one)
            elif kind == "laser" and (
                # what acts on what is asked for, and is not held at one value
                rest[1] == self.setup and rest[2] != "scan"
                if rest[0] == "setup"
                else rest[0] != "module" and not (rest[0] == "emission" and rest[1] in held)
            ):
                found.append(replace(one, field=one.field.replace("laser[1]", f"laser[{self.laser + 1}]", 1)))
        return tuple(found)

    def _case(self, values: Mapping[str, float]) -> Case:
        """Return the case with this laser alone and some inputs changed."""
        case = self.whole(values)
        return case.model_copy(update={"laser": (case.laser[self.laser],)})

    def whole(self, values: Mapping[str, float]) -> Case:
        """Return the case with all its lasers and some inputs changed, see `changed`."""
        data = copy.deepcopy(dict(self.data))
        laser = data["laser"][self.laser]
        tables = {"wavelength": laser}
        for path, value in values.items():
            if path == DURATION or self.inputs[path].ends is not None:
                continue
            name, _, axis = self.inputs[path].name.partition(".")
            table = tables.get(name, laser["setup"][self.setup] if path.startswith("setup.") else laser["emission"])
            text = exact_text(value, self.inputs[path].mark.unit)
            old = table[name] if isinstance(table.get(name), list) else [table.get(name)] * 2
            table[name] = text if not axis else [text, old[1]] if axis == "x" else [old[0], text]
            partner = self.inputs[path].partner
            if partner is not None and f"laser.{partner[0]}" not in values:
                other = self.inputs[f"laser.{partner[0]}"]
                table[partner[0]] = exact_text(value * partner[1], other.mark.unit)
        return case_from(data, self.file)


def exact_text(value: float, unit: str) -> str:
    """Return a number as a case file takes it, with all its digits."""
    return repr(float(value)) if unit == "1" else f"{float(value)!r} {unit}"


def nearest_text(value: float, one: Input) -> str:
    """Return a value of an input as a person reads it, without needless zeros."""
    return trimmed(format_quantity(value, one.mark.unit, 4))


def trimmed(text: str) -> str:
    """Return a quantity without zeros at the end of its decimals.

    Examples
    --------
    >>> trimmed("150.0 mm"), trimmed("20 W"), trimmed("1.500e-9")
    ('150 mm', '20 W', '1.500e-9')
    """
    number, space, unit = text.partition(" ")
    if "." in number and "e" not in number:
        number = number.rstrip("0").rstrip(".")
    return f"{number}{space}{unit}"


def open_subject(source: Path | str, laser: str | None, setup: str | None) -> Subject:
    """Return what a question is about.

    Parameters
    ----------
    source : pathlib.Path or str
        The case file, or its text.
    laser, setup : str or None
        Names; None for the only laser, and for the fitted set-up.

    Raises
    ------
    InputError
        If the case has faults or several lasers and none is named, or if there is none of that name.
    """
    text, file = (source, "case") if isinstance(source, str) else (read_case_text(source), str(source))
    case = parse_case(text, file)
    filled = with_assumptions(tomllib.loads(text.replace("\r\n", "\n")))

    def place(name: str | None, names: list[str], option: str, usual: int) -> int:
        if name is not None and name not in names:
            refuse(f"{option} = {shown(name)}: the case has no such {option}; there are: {quoted(names)}")
        return usual if name is None else names.index(name)

    def quoted(names: list[str]) -> str:
        return ", ".join(f"'{name}'" for name in names)

    names = [one.name for one in case.laser]
    if laser is None and len(names) > 1:
        refuse(f"laser: missing; the case has several, name one with --laser: {quoted(names)}")
    which = place(laser, names, "laser", 0)
    if which in filled.others:
        refuse(
            f"laser[{which + 1}].setup: the optics of '{names[which]}' are not stated, so that every usual lens, and "
            "none, counts; write the one that is fitted as [[laser.setup]], and ask again"
        )
    setups = [one.name for one in case.laser[which].setup]
    mounted = place(setup, setups, "setup", setups.index(case.laser[which].fitted_setup.name))
    sets = (case.rule_set, *(name for name in rule_sets() if name != case.rule_set))
    context = contexts(case.model_copy(update={"laser": (case.laser[which],)}), sets)[mounted]
    # what may be changed: what the arrays take, and the settings that can be turned, held at one value
    known: dict[str, float | None] = dict(variable_inputs(context))
    spans = {name: span for name, span in context.space.knobs.items() if name in HELD}
    known |= dict.fromkeys(spans)
    stated = stated_tolerances(context)
    tables = ((context.laser, "laser"), (context.laser.emission, "laser"), (context.setup, "setup"))
    fields = {name: (info, prefix) for model, prefix in tables[::-1] for name, info in type(model).model_fields.items()}
    found = dict[str, Input]()
    for name, nominal in known.items():
        info, prefix = fields.get(name.partition(".")[0], (None, ""))
        mark = None if info is None else next((m for m in info.metadata if isinstance(m, Measured)), None)
        if mark is not None:
            one, own = stated.get(name), f"{prefix}.{name}"
            typed, span = ("", None) if one is None else (one.value.typed, one.ends)
            found[own] = Input(own, name, mark, nominal, spans.get(name), typed=typed, span=span)
    mean, energy = (found.get(f"laser.{name}") for name in ("mean_power", "pulse_energy"))
    if not context.space.knobs and mean and energy and mean.nominal and energy.nominal:
        found[mean.path] = replace(mean, partner=(energy.name, energy.nominal / mean.nominal))
        found[energy.path] = replace(energy, partner=(mean.name, mean.nominal / energy.nominal))
    found[DURATION] = Input(DURATION, DURATION, _TIME, None)
    return Subject(file, filled.data, case, which, mounted, context, found)


MOST_STEPS = 10_000
HOW = "write FIELD=LOW..HIGH:COUNT, as setup.divergence=1mrad..10mrad:50, or FIELD='1 mrad|2 mrad|5 mrad'"


@dataclass(frozen=True)
class Varied:
    """An input and the values that it takes.

    Parameters
    ----------
    input : Input
        What is varied.
    values : numpy.ndarray, shape (n,)
        Rising. [SI]
    log : bool
        Whether the values were asked to have equal ratios.
    listed : bool
        Whether they were typed one by one.
    """

    input: Input
    values: NDArray[np.float64]
    log: bool = False
    listed: bool = False


def read_values(one: Input, text: str) -> Varied:
    """Return an input with the values that a text asks for.

    Parameters
    ----------
    one : Input
        What is varied; it refuses a value that its field does not take.
    text : str
        ``LOW..HIGH:COUNT``, ``LOW..HIGH:COUNT:log``, or values with ``|`` between them.

    Raises
    ------
    InputError
        If the text is anything else.
    """
    typed = f"{one.path} = {shown(text)}"
    if ".." not in text:
        parts = [part.strip() for part in text.split("|")]
        if len(parts) > MOST_STEPS:
            refuse(f"{one.path}: {len(parts)} values; at most {MOST_STEPS} are taken")
        values = sorted(map(one.read, parts))
        if len(set(values)) < len(values):
            refuse(f"{typed}: a value stands twice; write each once")
        return Varied(one, np.array(values), listed=True)
    if "|" in text:
        refuse(f"{typed}: a range or a list, not both; {HOW}")
    ends, *more = [part.strip() for part in text.split(":")]
    if not more or len(more) > 2 or ".." not in ends or (len(more) == 2 and more[1] not in ("log", "linear")):
        refuse(
            f"{typed}: a range needs a count, as LOW..HIGH:50; "
            "add ':log' behind it for equal ratios in place of equal steps"
        )
    low, high = (one.read(end.strip()) for end in ends.split("..", 1))
    count, log = int(more[0]) if re.fullmatch(r"[0-9]{1,9}", more[0]) else 0, more[1:] == ["log"]
    if not 2 <= count <= MOST_STEPS:
        refuse(f"{typed}: the count is a whole number, 2 to {MOST_STEPS}")
    if not low < high:
        refuse(f"{typed}: write the smaller end first, and two ends that differ")
    if log and not low > 0.0:
        refuse(f"{typed}: equal ratios need both ends above zero; leave ':log' out")
    return Varied(one, np.geomspace(low, high, count) if log else np.linspace(low, high, count), log)


Floats = NDArray[np.float64]
MOST_POINTS = 100_000
MOST_HELD = 2_000
MOST_INPUTS = 6
WAYS = ("direct", "mirror", "scatter")
TISSUES = ("eye", "skin")
ZONES = tuple((way, tissue) for way in WAYS for tissue in TISSUES)


@dataclass(frozen=True)
class Sweep:
    """A grid of points; the first varied input changes slowest.

    Parameters
    ----------
    subject : Subject
        What it is about.
    varied : tuple of Varied
        The axes of the grid.
    distances : mapping of (way, tissue) to numpy.ndarray, shape (n1, n2, ...)
        Beyond it the exposure is below the limit of every rule set. [m]
    decided : mapping of (way, tissue) to numpy.ndarray of int, shape (n1, n2, ...)
        Place in ``subject.context.rule_sets`` of the rule set that reaches farthest.
    """

    subject: Subject
    varied: tuple[Varied, ...]
    distances: Mapping[tuple[str, str], Floats]
    decided: Mapping[tuple[str, str], NDArray[np.int8]]

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of values on each axis."""
        return tuple(one.values.size for one in self.varied)

    @property
    def start(self) -> dict[str, float]:
        """The first point: path of each varied input to its value. [SI]."""
        return {one.input.path: float(one.values[0]) for one in self.varied}

    @property
    def size(self) -> int:
        """Number of points."""
        return math.prod(self.shape)


def read_varied(subject: Subject, texts: Sequence[str]) -> tuple[Varied, ...]:
    """Return what the options ``--vary`` ask for.

    Parameters
    ----------
    subject : Subject
        What it is about.
    texts : sequence of str
        As typed.

    Raises
    ------
    InputError
        If one cannot be read, an input stands twice, or the grid has too many points.
    """
    found: list[Varied] = []
    for text in texts:
        path, _, values = map(str.strip, text.partition("="))
        if not path or not values:
            refuse(f"vary = {shown(text)}: {HOW}")
        one = subject.input(path)
        if any(one.path == other.input.path for other in found):
            refuse(f"{one.path} stands behind --vary twice; write its values in one, as '1 W|2 W|5 W'")
        found.append(read_values(one, values))
    if len(found) > MOST_INPUTS:
        refuse(f"{len(found)} inputs are varied; at most {MOST_INPUTS} can be")
    points = math.prod(one.values.size for one in found)
    if points > MOST_POINTS:
        counts = " x ".join(str(one.values.size) for one in found)
        refuse(f"{counts} = {points} points; at most {MOST_POINTS} are worked out in one sweep: ask for fewer values")
    return tuple(found)


def sweep(subject: Subject, varied: Sequence[Varied]) -> Sweep:
    """Return the distances at every point of the grid.

    Parameters
    ----------
    subject : Subject
        What it is about.
    varied : sequence of Varied
        The axes of the grid.

    Raises
    ------
    InputError
        If the case does not hold together at a corner of the grid.
    """
    for corner in itertools.product(*((one.values[0], one.values[-1]) for one in varied)):
        subject.changed({one.input.path: float(value) for one, value in zip(varied, corner, strict=True)})
    shape = tuple(one.values.size for one in varied)
    reaches = {zone: np.zeros(shape) for zone in ZONES}
    decided = {zone: np.zeros(shape, dtype=np.int8) for zone in ZONES}
    names = subject.context.rule_sets
    for where, corners, changes in _parts(subject, varied):
        for zone in ZONES:
            found = reach_by_rule_set(corners, zone, changes)
            by_rule = [found[name] for name in names]
            reaches[zone][where] = reduce(np.maximum, by_rule)
            decided[zone][where] = np.argmax(np.stack(np.broadcast_arrays(*by_rule)), axis=0)
    return Sweep(subject, tuple(varied), reaches, decided)


def _parts(
    subject: Subject, varied: Sequence[Varied]
) -> Iterator[tuple[tuple[int | slice, ...], tuple[Context, ...], dict[str, Floats]]]:
    """Yield the grid in parts: what the arrays do not take is held at one value after the other."""
    starts = {one.input.path: float(one.values[0]) for one in varied}
    first = subject.changed(starts)
    held = [k for k, one in enumerate(varied) if one.input.ends or not takes_arrays(first, one.input.name)]
    inner = [k for k in range(len(varied)) if k not in held]
    parts = math.prod(varied[k].values.size for k in held)
    if parts > MOST_HELD:
        what = ", ".join(varied[k].input.path for k in held)
        refuse(f"{what}: {parts} points that are worked out one by one; at most {MOST_HELD} are, ask for fewer")
    changes: dict[str, Floats] = {}
    for turn, k in enumerate(inner):
        shape = [1] * len(inner)
        shape[turn] = -1
        changes |= varied[k].input.arrays(varied[k].values.reshape(shape))
    for places in itertools.product(*(range(varied[k].values.size) for k in held)):
        at = dict(zip(held, places, strict=True))
        values = starts | {varied[k].input.path: float(varied[k].values[n]) for k, n in at.items()}
        where = tuple(at.get(k, slice(None)) for k in range(len(varied)))
        yield where, subject.changed(values), changes


def takes_arrays(contexts: Sequence[Context], name: str) -> bool:
    """Return whether an input can be replaced by an array, at every corner of the tolerances."""
    return all(name in variable_inputs(context) for context in contexts)


def reach_by_rule_set(
    contexts: Sequence[Context], zone: tuple[str, str], changes: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Return how far one zone reaches under each rule set, the farthest of all corners.

    Parameters
    ----------
    contexts : sequence of Context
        One laser with one set-up, at each corner of its tolerances.
    zone : tuple of str
        Way and tissue.
    changes : mapping of str to numpy.ndarray
        What is changed. [SI]

    Returns
    -------
    dict of str to numpy.ndarray, shape (...)
        [m]
    """
    return {
        name: reduce(np.maximum, (zone_distances(one, *zone, changes, (name,)) for one in contexts))
        for name in contexts[0].rule_sets
    }


def eye_ratio(contexts: Sequence[Context], place: float, changes: Mapping[str, Floats]) -> Floats:
    """Return exposure over limit of the eye at or beyond a place, the worst of all ways.

    Parameters
    ----------
    contexts : sequence of Context
        One laser with one set-up, at each corner of its tolerances.
    place : float
        From the last optic, for scatter from the lit surface. [m]
    changes : mapping of str to numpy.ndarray
        What is changed. [SI]

    Returns
    -------
    numpy.ndarray, shape (...)
        Of several wavelengths, the sum of those that act together. [1]
    """
    every = (exposure_ratios(one, way, "eye", place, changes) for one in contexts for way in WAYS)
    return np.asarray(reduce(np.maximum, every))
