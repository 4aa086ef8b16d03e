"""What lasers of a stated kind usually have: the strictest of it stands for what a case does not state."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import count
from typing import Any, ClassVar, Literal, get_args

from lasersafe.data import Source, WavelengthsNm, load
from lasersafe.errors import InputError
from lasersafe.models.base import Place, plain_text
from lasersafe.models.laser import DIAMETER, DIVERGENCE, WAVELENGTH, least_product
from lasersafe.models.site import Role
from lasersafe.models.values import SIValue
from lasersafe.quantity import OVER_1_E, format_quantity

_OPTICS = "as fitted"


@dataclass(frozen=True)
class Figure:
    """The strictest usual figure and the most usual one, as typed; widths and full angles at 1/e2."""

    least: str
    usual: str


@dataclass(frozen=True)
class LaserKind:
    """What lasers of one kind usually have; texts as they are typed in a case."""

    key: str
    wavelengths_nm: WavelengthsNm
    wavelength: str
    emission: Literal["continuous", "pulse train"]
    power: str
    beam_diameter: Figure
    divergence: Figure
    lenses: tuple[str, ...]
    usual_lens: str
    also: tuple[str, ...] = ()  # other names that people use
    pulse_duration: tuple[str, ...] = ()
    repetition_rate: tuple[str, ...] = ()
    handheld: bool = False


@dataclass(frozen=True)
class _Kinds:
    file: ClassVar = "laser_kinds/usual.toml"
    source: Source
    kind: tuple[LaserKind, ...]


@lru_cache(maxsize=1)
def laser_kinds() -> Mapping[str, LaserKind]:
    """Return the kinds of the data files by their keys."""
    return {one.key: one for one in load(_Kinds).kind}


@dataclass(frozen=True)
class Assumed:
    """One input that the case does not state, and what stands for it."""

    place: Place  # of the field
    value: str  # as it would be typed; of optics, the usual lenses
    usual: str  # what it usually is


@dataclass(frozen=True)
class Filled:
    """The tables of a case with what was left out: what was assumed, and the other optics that may be fitted."""

    data: Mapping[str, Any]
    assumed: tuple[Assumed, ...]
    # laser -> set-ups, any of which may stand in the place of its first
    others: Mapping[int, tuple[Mapping[str, Any], ...]]


def with_assumptions(data: Mapping[str, Any]) -> Filled:
    """Return the tables of a case with strict values in the place of what it does not state.

    Names are given to all lasers and persons, a beam only to a laser that says what it is ``like``; an only set-up is
    fitted. What cannot be read is left as it is, to be refused.

    Parameters
    ----------
    data : mapping
        As typed.
    """
    if not isinstance(data, Mapping):
        return Filled(data, (), {})
    filled = dict(data)
    lasers = _named(_tables(data, "laser"), "like", laser_kinds(), "laser")
    persons = _named(_tables(data, "person"), "role", get_args(Role), "person")
    assumed: list[Assumed] = []
    others: dict[int, tuple[Mapping[str, Any], ...]] = {}
    for i, laser in enumerate(lasers):
        like, setups = laser.get("like"), laser.get("setup")
        if isinstance(setups, (list, tuple)) and len(setups) == 1 and isinstance(setups[0], Mapping):
            laser["setup"] = [{"fitted": True, **setups[0]}]  # the only one
        if isinstance(like, str) and like in laser_kinds():
            optics = _filled_laser(laser, laser_kinds()[like], ("laser", i), assumed)
            if len(optics) > 1:
                others[i] = tuple(optics)
    for key, tables in (("laser", lasers), ("person", persons)):
        if tables and len(tables) == len(data[key]):
            filled[key] = tables
    names = [one["name"] for one in lasers if isinstance(one.get("name"), str)]
    if "title" not in filled and names:
        filled["title"] = ", ".join(names)[:200]
    return Filled(filled, tuple(assumed), others)


def _tables(data: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    tables = data.get(key)
    return [dict(one) for one in tables if isinstance(one, Mapping)] if isinstance(tables, (list, tuple)) else []


def _named(tables: list[dict[str, Any]], field: str, known: Collection[str], otherwise: str) -> list[dict[str, Any]]:
    """Give each table without a name that of its kind, with a number where another one has it."""
    taken = {plain_text(one["name"]) for one in tables if isinstance(one.get("name"), str)}
    for i, one in enumerate(tables):
        if "name" not in one:
            kind = one.get(field)
            kind = kind if isinstance(kind, str) and kind in known else otherwise
            name = next(new for n in count(1) if plain_text(new := f"{kind} {n}" if n > 1 else kind) not in taken)
            taken.add(plain_text(name))
            tables[i] = {"name": name, **one}
    return tables


def _filled_laser(
    laser: dict[str, Any], kind: LaserKind, place: Place, assumed: list[Assumed]
) -> list[Mapping[str, Any]]:
    """Fill what a laser leaves out; return all optics that may be fitted, the first as in the laser."""
    laser.setdefault("handheld", kind.handheld)
    emission = laser.get("emission")
    if isinstance(emission, Mapping) and emission.get("kind") == "pulse train":
        laser["emission"] = emission = dict(emission)
        for key, ends in (("pulse_duration", kind.pulse_duration), ("repetition_rate", kind.repetition_rate)):
            if ends and key not in emission and not (key == "pulse_duration" and "duty" in emission):
                emission[key] = list(ends)
                assumed.append(Assumed((*place, "emission", key), " .. ".join(ends), ""))
    stated, setups = "setup" in laser, laser.get("setup", [{}])
    if not isinstance(setups, (list, tuple)):
        return []
    found: list[Mapping[str, Any]] = []
    filled = []
    for j, setup in enumerate(setups):
        if not isinstance(setup, Mapping):
            filled.append(setup)
            continue
        here = (*place, "setup", j) if stated else (*place, "setup")
        table = {"name": _OPTICS if len(setups) == 1 else f"{_OPTICS} {j + 1}", **setup}
        table.setdefault("kind", "lens" if "focal_length" in table else "collimated")
        optics = [table]
        if not stated or (table["kind"] == "lens" and "focal_length" not in table and len(setups) == 1):
            field = (*here, "focal_length") if stated else here
            assumed.append(Assumed(field, ", ".join(kind.lenses), kind.usual_lens))
            lenses = [{**table, "kind": "lens", "focal_length": f, "fitted": True} for f in kind.lenses]
            optics = lenses if stated else [{**table, "fitted": True}, *lenses]
        each = [_filled_setup(one, kind, laser) for one in optics]
        assumed += [Assumed((*here, *one.place), one.value, one.usual) for one in each[0][1]]
        filled.append(each[0][0])
        found = [one for one, _ in each]
    laser["setup"] = filled
    return found


def _filled_setup(
    setup: dict[str, Any], kind: LaserKind, laser: Mapping[str, Any]
) -> tuple[dict[str, Any], list[Assumed]]:
    """Return a set-up with the narrowest beam of its kind where none is stated, and what was assumed of it."""
    setup, assumed = dict(setup), list[Assumed]()
    if setup["kind"] not in ("collimated", "lens"):
        return setup, []
    typed = {key for key in ("beam_diameter", "divergence", "criterion") if key in setup}
    if "criterion" not in typed:
        setup["criterion"] = "1/e2"
        if typed:
            assumed.append(Assumed(("criterion",), "1/e2", ""))
    own = OVER_1_E.get(str(setup["criterion"]), OVER_1_E["1/e2"])  # a top-hat is no narrower than the narrowest
    narrower = (min(OVER_1_E.values()) if setup.get("profile") == "top-hat" else own) / OVER_1_E["1/e2"]
    free = setup["kind"] == "collimated"
    for key, other, mark, figure in (
        ("beam_diameter", "divergence", DIAMETER, kind.beam_diameter),
        ("divergence", "beam_diameter", DIVERGENCE, kind.divergence),
    ):
        if key in typed or not (free or key == "beam_diameter"):
            continue
        least = float(mark.number(figure.least, key))
        value = least * narrower
        if free and other in typed:  # what diffraction makes of the other width at least, where that can be read
            try:
                wavelength = float(WAVELENGTH.number(laser.get("wavelength"), "wavelength"))
                stated = min((DIAMETER if other == "beam_diameter" else DIVERGENCE).read(setup[other], other).pair)
            except InputError:
                stated = 0.0
            if stated > 0.0:
                scale = math.sqrt(0.5) / narrower  # to 1/e
                value = max(value, least_product(wavelength) / (stated * scale * scale) * (1.0 + 1e-6))
        shown = figure.least if value == least else format_quantity(value, mark.unit, 4)
        setup[key] = SIValue(value, f"{shown} (assumed)", mark.unit)
        assumed.append(Assumed((key,), shown, figure.usual))
    return setup, assumed
