"""One laser with one set-up of a case, and the inputs of it that a question may change."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.corners import corners_of, ends_of
from lasersafe.assessment.distances import variable_inputs
from lasersafe.assessment.spreads import stated_tolerances
from lasersafe.errors import CalcError, CaseError, InputError
from lasersafe.limits import rule_sets
from lasersafe.models import Case, case_from, parse_case, read_case_text, tolerances_of
from lasersafe.models.kinds import with_assumptions
from lasersafe.models.measured import Measured
from lasersafe.quantity import format_quantity, parse_quantity
from lasersafe.records.uncertainty import InputTolerance
from lasersafe.typed import shown

DURATION = "duration"
HELD = ("pulse_duration", "repetition_rate", "duty")
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
        return "by wavelength and way of the light" if self.path == DURATION else "the worst of the range in the case"

    def arrays(self, values: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
        """Return the fields of the case file that change, with their values in SI."""
        found = {self.name: values}
        if self.partner is not None:
            name, factor = self.partner
            found[name] = values * factor
        return found

    @property
    def unit(self) -> str:
        """SI unit, ``"1"`` for a ratio."""
        return self.mark.unit

    @property
    def column(self) -> str:
        """Name of its column in a table, with the unit."""
        plain = "exposure_duration" if self.path == DURATION else self.path.replace(".", "_")
        return plain if self.unit == "1" else f"{plain}_{self.unit}"

    @property
    def words(self) -> str:
        """Name as a person says it."""
        return "exposure duration" if self.path == DURATION else self.name.replace("_", " ")

    def read(self, text: str) -> float:
        """Return one value as typed, in SI.

        Raises
        ------
        InputError
            If it is not one number with one unit that the field takes.
        """
        parse_quantity(text, self.unit, self.path, self.mark.kind)
        return float(self.mark.number(text, self.path))


@dataclass(frozen=True)
class Subject:
    """One laser with one set-up of a case.

    Parameters
    ----------
    path : pathlib.Path
        The case file.
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

    path: Path
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

    def input(self, path: str) -> Input:
        """Return an input by its path.

        Raises
        ------
        InputError
            If this laser with this set-up has none of that name.
        """
        plain = path.replace("laser.emission.", "laser.")
        if plain not in self.inputs:
            message = f"{shown(path)} cannot be changed for {self.name}; what can: {', '.join(self.inputs)}"
            raise InputError(message)
        return self.inputs[plain]

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
            message = f"{typed}: {what}"
            raise InputError(message) from None
        return tuple(self._with(context, values, held) for context in found)

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
            elif kind == "laser" and self._counts(rest, held):
                found.append(replace(one, field=one.field.replace("laser[1]", f"laser[{self.laser + 1}]", 1)))
        return tuple(found)

    def _counts(self, rest: Sequence[str | int], held: Collection[str]) -> bool:
        """Return whether a place of the laser acts on what is asked for, and is not held at one value."""
        if rest[0] == "setup":
            return rest[1] == self.setup and rest[2] != "scan"
        return rest[0] != "module" and not (rest[0] == "emission" and rest[1] in held)

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
            text = exact_text(value, self.inputs[path].unit)
            old = table[name] if isinstance(table.get(name), list) else [table.get(name)] * 2
            table[name] = text if not axis else [text, old[1]] if axis == "x" else [old[0], text]
            partner = self.inputs[path].partner
            if partner is not None and f"laser.{partner[0]}" not in values:
                other = self.inputs[f"laser.{partner[0]}"]
                table[partner[0]] = exact_text(value * partner[1], other.unit)
        return case_from(data, str(self.path))

    def _with(self, context: Context, values: Mapping[str, float], held: Mapping[str, float]) -> Context:
        for path, value in held.items():
            space = context.space.held(self.inputs[path].name, float(value))
            context = replace(context, space=space, _worst={}, _lines={})
        if DURATION not in values:
            return context
        return replace(context, time=float(values[DURATION]), _lines={})


def exact_text(value: float, unit: str) -> str:
    """Return a number as a case file takes it, with all its digits."""
    return repr(float(value)) if unit == "1" else f"{float(value)!r} {unit}"


def nearest_text(value: float, one: Input) -> str:
    """Return a value of an input as a person reads it, without needless zeros."""
    return trimmed(format_quantity(value, one.unit, 4))


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


def open_subject(path: Path, laser: str | None, setup: str | None) -> Subject:
    """Return what a question is about.

    Parameters
    ----------
    path : pathlib.Path
        The case file.
    laser, setup : str or None
        Names; None for the only laser, and for the fitted set-up.

    Raises
    ------
    InputError
        If the case has faults or several lasers and none is named, or if there is none of that name.
    """
    text = read_case_text(path)
    case = parse_case(text, str(path))
    filled = with_assumptions(tomllib.loads(text.replace("\r\n", "\n")))
    names = [one.name for one in case.laser]
    if laser is None and len(names) > 1:
        message = f"laser: missing; the case has several, name one with --laser: {_quoted(names)}"
        raise InputError(message)
    which = 0 if laser is None else _place(laser, names, "laser")
    if which in filled.others:
        message = (
            f"laser[{which + 1}].setup: the optics of '{names[which]}' are not stated, so that every usual lens, and "
            "none, counts; write the one that is fitted as [[laser.setup]], and ask again"
        )
        raise InputError(message)
    setups = [one.name for one in case.laser[which].setup]
    fitted = case.laser[which].fitted_setup.name
    mounted = setups.index(fitted) if setup is None else _place(setup, setups, "setup")
    sets = (case.rule_set, *(name for name in rule_sets() if name != case.rule_set))
    context = contexts(case.model_copy(update={"laser": (case.laser[which],)}), sets)[mounted]
    return Subject(path, filled.data, case, which, mounted, context, _inputs(context))


def _place(name: str, names: list[str], option: str) -> int:
    if name not in names:
        message = f"{option} = {shown(name)}: the case has no such {option}; there are: {_quoted(names)}"
        raise InputError(message)
    return names.index(name)


def _quoted(names: list[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)


def _inputs(context: Context) -> dict[str, Input]:
    """Return what may be changed: what the arrays take, and the settings that can be turned, held at one value."""
    known: dict[str, float | None] = dict(variable_inputs(context))
    spans = {name: span for name, span in context.space.knobs.items() if name in HELD}
    known |= dict.fromkeys(spans)
    stated = stated_tolerances(context)
    found = {}
    for name, nominal in known.items():
        if name == DURATION:
            continue
        field = name.partition(".")[0]
        for model, prefix in ((context.laser, "laser"), (context.laser.emission, "laser"), (context.setup, "setup")):
            info = type(model).model_fields.get(field)
            mark = None if info is None else next((m for m in info.metadata if isinstance(m, Measured)), None)
            if mark is not None:
                one = stated.get(name)
                typed, span = ("", None) if one is None else (one.value.typed, ends_of(one))
                path = f"{prefix}.{name}"
                found[path] = Input(path, name, mark, nominal, spans.get(name), typed=typed, span=span)
                break
    pair = [found.get(f"laser.{name}") for name in ("mean_power", "pulse_energy")]
    if not context.space.knobs and pair[0] is not None and pair[1] is not None:
        for own, other in (pair, pair[::-1]):
            assert own is not None
            assert other is not None
            assert own.nominal is not None
            assert other.nominal is not None
            found[own.path] = replace(own, partner=(other.name, other.nominal / own.nominal))
    found[DURATION] = Input(DURATION, DURATION, _TIME, None)
    return found
