"""The case file as frozen models: every field described, every fault named with its line; and what a case says.

Numbers are :class:`SIValue`: floats in SI units that keep the text as typed.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from lasersafe.data import load_toml, templates_path
from lasersafe.models.base import CaseModel, Place, path_text
from lasersafe.models.case import Case
from lasersafe.models.emission import Emission, Mode, PulseTrainEmission
from lasersafe.models.kinds import laser_kinds
from lasersafe.models.laser import Extended, ExtraLine, Laser, Module, Setup
from lasersafe.models.reading import REPLACE, case_from, parse_case, read_case, read_case_text
from lasersafe.models.scene import Aim, Camera, Scene, SceneBarrier, SceneOpening, ScenePerson, Target
from lasersafe.models.site import Area, Barrier, Control, MeasuredReading, Person, Settings, Surface
from lasersafe.models.values import Axes, Knob, Measured, Path, SIValue, Spot, Tolerance, Worst
from lasersafe.results import InputLine, StarterValue
from lasersafe.wording import Message, joined, word

__all__ = [
    "KINDS", "REPLACE", "Aim", "Area", "Axes", "Barrier", "Camera", "Case", "Control", "Emission", "Extended",
    "ExtraLine", "Knob", "Laser", "MeasuredReading", "Mode", "Module", "Path", "Person", "PulseTrainEmission",
    "SIValue", "Scene", "SceneBarrier", "SceneOpening", "ScenePerson", "Settings", "Setup", "Spot", "Surface", "Target",
    "Toleranced", "canonical", "case_from", "json_schema", "laser_kinds", "parse_case", "read_case", "read_case_text",
    "replaced", "starter_values", "tolerances_of", "typed_inputs",
]  # fmt: skip

_PARTS = ("x", "y", "low", "high")


_Leaf = tuple[Place, FieldInfo, Any, bool]  # a field that is no table, its value, and whether it was written


def _leaves(model: BaseModel, place: Place = ()) -> Iterator[_Leaf]:
    """Yield every field of a model and of the tables below it that is no table, in the order of the models."""
    for name, info in type(model).model_fields.items():
        value, here = getattr(model, name), (*place, name)
        if isinstance(value, BaseModel):
            yield from _leaves(value, here)
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for i, one in enumerate(value):
                yield from _leaves(one, (*here, i))
        else:
            yield here, info, value, name in model.model_fields_set


def typed_inputs(case: Case) -> tuple[InputLine, ...]:
    """Return every input as typed, in the order of the file.

    Parameters
    ----------
    case : Case
        From ``read_case``; a case from ``case_from`` has no lines.

    Returns
    -------
    tuple of InputLine
        ``used`` is the value in SI units, empty for plain text. Fields that were left out are not there.
    """
    lines, inputs = case._lines, []
    for place, _, value, written in _leaves(case):
        if not written or (lines and place not in lines):
            continue
        measured = isinstance(value, (SIValue, Knob, Axes, Spot, Path))
        typed = value.typed if measured else ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)
        typed = typed.lower() if isinstance(value, bool) else typed  # as the file has it
        inputs.append(InputLine(path_text(place), typed, value.words(_plain) if measured else "", lines.get(place)))
    return tuple(sorted(inputs, key=lambda line: line.line or 0))


def _plain(value: SIValue) -> str:
    unit = "" if value.unit == "1" else f" {value.unit}"
    off = value.tolerance
    if off is None:
        return f"{float(value):.6g}{unit}"
    ends = Message("input.range", low=f"{off.low:.6g}", high=f"{off.high:.6g}")
    kinds = [] if off.kind == "bound" else [word(off.kind)]
    return Message("input.within", value=f"{float(value):.6g}", ends=joined([ends, *kinds], ", "), unit=unit)


def canonical(case: Case) -> dict[str, Any]:
    """Return the case as plain data in SI units, with defaults filled in and keys sorted, for a fingerprint.

    Two cases that mean the same (``1.5 kW`` and ``1500 W``) give the same data.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    dict
        Only dictionaries, lists, text, numbers, booleans and None; floats in SI units.
    """
    return {name: _simple(getattr(case, name)) for name in sorted(type(case).model_fields)}


def _simple(value: object) -> Any:
    if isinstance(value, BaseModel):
        return {name: _simple(getattr(value, name)) for name in sorted(type(value).model_fields)}
    if isinstance(value, SIValue):
        number, off = float(value) + 0.0, value.tolerance  # minus zero becomes zero
        if off is None:
            return number
        return {"value": number, "lowest": off.low + 0.0, "highest": off.high + 0.0, "kind": off.kind}
    if isinstance(value, (Knob, Axes, Spot)):
        return [_simple(one) for _, one in value.parts]
    if isinstance(value, (Path, tuple)):
        return [_simple(one) for one in (value.spots if isinstance(value, Path) else value)]
    return value.isoformat() if isinstance(value, date) else value


def json_schema() -> dict[str, Any]:
    """Return the JSON schema of a case file; every number with a unit is a string with ``x-unit``."""
    for info in Case.model_fields.values():
        if isinstance(info.default, CaseModel):
            type(info.default).model_rebuild()  # pydantic below 2.14 wants it built before it is written as a default
    schema = Case.model_json_schema()
    for name, fields in _MAY_BE_ASSUMED.items():
        table = schema["$defs"][name]
        table["required"] = [field for field in table["required"] if field not in fields]
    return schema


_OF_A_BEAM = ("name", "kind", "beam_diameter", "divergence", "criterion", "focal_length")
# table -> fields that a laser of a stated kind may leave out
_MAY_BE_ASSUMED = {"Laser": ("setup",), "CollimatedSetup": _OF_A_BEAM, "LensSetup": _OF_A_BEAM,
                   "PulseTrainEmission": ("repetition_rate",)}  # fmt: skip


@dataclass(frozen=True)
class Toleranced:
    """One input that carries a tolerance.

    Parameters
    ----------
    place : tuple
        Keys and indices from the top of the case; of an oblong width or a range the last part names the end:
        ``x``, ``y``, ``low`` or ``high``.
    value : SIValue
        Nominal value, text and tolerance.
    worst : str
        Which end is the worse one, as in :class:`Measured`.
    """

    place: Place
    value: SIValue
    worst: Worst

    @property
    def name(self) -> str:
        """Name of the field alone, as ``divergence``."""
        return str(self.place[-2] if self.place[-1] in _PARTS else self.place[-1])

    @property
    def tolerance(self) -> Tolerance:
        """The tolerance itself."""
        assert self.value.tolerance is not None
        return self.value.tolerance

    @property
    def ends(self) -> tuple[float, float]:
        """The lowest and highest value that a corner takes; one that the field does not take was refused before."""
        return self.value.ends(self.name)

    @property
    def field(self) -> str:
        """The place as text, as ``laser[1].setup[2].divergence``."""
        return path_text(self.place)


def tolerances_of(case: Case) -> tuple[Toleranced, ...]:
    """Return every input of a case whose tolerance has a worst corner, in the order of the models."""
    return tuple(
        Toleranced((*place, part) if part else place, one, mark.worst)
        for place, info, value, _ in _leaves(case)
        for mark in info.metadata
        if isinstance(mark, Measured) and mark.worst != "inside"
        for part, one in _parts(value)
        if one.tolerance is not None
    )


def _parts(value: Any) -> tuple[tuple[str, SIValue], ...]:
    """Return the numbers of a value with their names, which a single number has not."""
    if isinstance(value, (Knob, Axes)):
        (_, first), (_, second) = value.parts
        return (("", first),) if first is second else value.parts
    return (("", value),) if isinstance(value, SIValue) else ()


def replaced(old: Any, values: Mapping[Place, SIValue | Knob]) -> Any:
    """Return a case, or a part of it, with other values at the places of `Toleranced`; nothing is checked again.

    Parameters
    ----------
    old : Case, model, tuple of models or SIValue
        What is changed.
    values : mapping of Place to SIValue or Knob
        New values, at places as seen from *old*.

    Returns
    -------
    Case, model, tuple of models or SIValue
        A copy.
    """
    if isinstance(old, SIValue):
        return values[()]
    if isinstance(old, (Knob, Axes)):
        first, second = (values.get((), values.get((name,), one)) for name, one in old.parts)
        first = first.low if isinstance(first, Knob) else first
        return type(old)(first, second.high if isinstance(second, Knob) else second)
    below: dict[Any, dict[Place, SIValue | Knob]] = {}
    for place, value in values.items():
        below.setdefault(place[0], {})[place[1:]] = value
    if isinstance(old, tuple):
        return tuple(replaced(one, below[i]) if i in below else one for i, one in enumerate(old))
    return old.model_copy(update={name: replaced(getattr(old, name), inner) for name, inner in below.items()})


KINDS = ("person", "eyewear", "barrier", "reading", "strike_out")
# how things are called, and what refers to it: whoever renames a laser has not looked at who stands where
_NAMES = {
    "person": ("name", "laser", "setup"),
    "barrier": ("name", "laser", "protects"),
    "reading": ("where", "laser", "note"),
    "strike_out": ("person", "laser", "setup"),
}
_FEW = 5  # of fewer values two cases can have the same by chance: there the name counts as well


def starter_values(case: Case) -> tuple[StarterValue, ...]:
    """Return the records of a case that say what one of an example case says, and the figures marked to be replaced.

    A record is the same when all its values are, in SI units and with defaults filled in, whatever it and its laser are
    called; of a record that says little the name has to be the same, too. A person's eyewear is the same when a person
    of that name wears it in a starter case.

    Parameters
    ----------
    case : Case
        The case as typed.

    Returns
    -------
    tuple of StarterValue
        In the order of `KINDS` and of the case.

    Raises
    ------
    CaseError
        If a starter case has faults.
    """
    known = _starters()
    found = [
        StarterValue(said[0], name, known[said], path_text(place), case._lines.get(place))
        for said, place, name in _said(canonical(case))
        if said in known
    ]
    marked = (StarterValue("figure", path_text(at), "", path_text(at), case._lines.get(at)) for at in case._marked)
    return (*sorted(found, key=lambda one: KINDS.index(one.kind)), *marked)


@lru_cache(maxsize=1)
def _starters() -> Mapping[tuple[str, Hashable], str]:
    found: dict[tuple[str, Hashable], str] = {}
    for path in sorted(templates_path("cases").glob("*.toml")):
        for said, *_ in _said(canonical(case_from(load_toml(path), str(path)))):
            found.setdefault(said, path.stem)
    return found


def _said(data: Mapping[str, Any]) -> Iterator[tuple[tuple[str, Hashable], Place, str]]:
    """Yield kind and content of each record, its place, and the name of what it is about."""
    for kind, names in _NAMES.items():
        for place, record in enumerate(data[kind]):
            values = {key: value for key, value in record.items() if key not in names}
            stated = sum(value not in (None, False, "", []) for value in values.values())
            name = str(record[names[0]])
            here: Place = (kind, place)
            yield (kind, repr((values, name if stated < _FEW and kind != "strike_out" else ""))), here, name
            if record.get("eyewear"):
                yield ("eyewear", (name, record["eyewear"])), (*here, "eyewear"), name
