"""Random cases, made from the models of a case file: every table and every field, mostly inside what is allowed.

One ``random.Random`` makes every choice, so that hypothesis can shrink a case, a seed can repeat it, and a
coverage-guided fuzzer can steer it.
"""

from __future__ import annotations

import datetime
import math
import typing
from functools import cache
from random import Random
from typing import Any

from pydantic.fields import FieldInfo

from lasersafe.data import listed_in, shared_path
from lasersafe.models import Case
from lasersafe.models.base import CaseModel
from lasersafe.models.site import MATERIALS
from lasersafe.models.values import Measured
from lasersafe.quantity import parse_quantity, units
from lasersafe.wording import languages, load_wording
from tools.case_fields import leaves_of

WILD_NUMBERS = (
    "nan",
    "inf",
    "1e999",
    "-0",
    "1e-320",
    "0",
    "1e308",
    "--3",
    "1,5",
    "1/3",
    "0x10",
    "1_000",
    "٣",
    "1 000",
    "½",
    "1e400",
    "9" * 80,
    "1e-5000",
    "1.",
    ".5",
    "+3",
    "6 +- 0.5",
    "6 ± 0.5",
    "6 mm +- 0.5",
    "6 mm +- 15 %",
    "6 mm +- 0.5 mm",
    "5..7",
)
WILD_VALUES: tuple[Any, ...] = (
    "",
    " ",
    "x",
    "a" * 201,
    "a" * 5000,
    "\u0000",
    "\u202e",
    "line\nbreak",
    "é" * 30,
    "𝛌",
    "-",
    "'",
    '"',
    "<b>",
    "{x}",
    "%s",
    0,
    1,
    -1,
    3.5,
    1e308,
    -1e-308,
    math.nan,
    math.inf,
    10**30,
    True,
    False,
    [],
    {},
    [[]],
    [{}],
    {"": ""},
    [1, "2 m"],
    ["1 m"],
    ["1 m", "2 m", "3 m"],
    ["2 m", "1 m"],
    datetime.date(2027, 1, 1),
    datetime.time(7, 30),
    datetime.datetime(2027, 1, 1, 12),
    "2027-02-30",
    "0000-00-00",
    ["direct"] * 3,
    "every way",
    "de",
    "Letter",
    "mirror",
)
USUAL = {  # lengths and the like are drawn from here most of the time: (low, high) in SI units
    "beam_diameter": (2e-4, 3e-2),
    "divergence": (2e-4, 0.1),
    "focal_length": (5e-3, 1.0),
    "work_distance": (1e-2, 3.0),
    "spot_diameter": (1e-4, 2e-2),
    "focus_diameter": (1e-4, 1e-3),
    "distance": (0.05, 100.0),
    "power": (1e-3, 5e3),
    "distance_from_work": (0.05, 100.0),
    "pulse_energy": (1e-7, 10.0),
    "pulse_duration": (1e-12, 1e-4),
    "repetition_rate": (0.1, 1e5),
    "mean_power": (1e-3, 1e3),
    "position": (-30.0, 30.0),
    "area": (-30.0, 30.0),
    "outline": (-30.0, 30.0),
    "line": (-30.0, 30.0),
    "height": (0.2, 3.0),
    "top": (2.0, 6.0),
    "bottom": (-0.5, 1.0),
    "start": (0.0, 0.5),
    "end": (0.6, 2.0),
    "numerical_aperture": (0.05, 0.6),
    "core_diameter": (1e-5, 1e-3),
    "mode_field_diameter": (4e-6, 2e-5),
    "time": (1e-3, 3e4),
    "wavelength": (1.8e-7, 2e-5),
    "duty": (0.01, 0.9),
    "pedestal_power": (1e-3, 1.0),
    "spacing": (1e-8, 1e-6),
    "pulses": (1.0, 20.0),
    "share": (1e-4, 0.5),
    "rating": (1.0, 1e7),
    "pulse_rating": (1.0, 1e6),
    "eye_height": (0.5, 2.0),
    "radius": (1e-2, 5.0),
    "width": (0.05, 3.0),
    "towards": (-30.0, 30.0),
    "full_width": (1e-3, 0.5),
    "width_at": (1e-2, 2.0),
    "towards_height": (0.0, 3.0),
}
EYEWEAR = (
    "1064 D LB6",
    "900-1100 D LB7 + IR LB6",
    "OD 6+",
    "OD 5 @ 450",
    "440-480 DIR LB4",
    "1064 R1",
    "welding mask",
    "LB",
)
GUARDS = ("1064 D AB5", "1064 D AB6 + R AB7", "450 AB3", "AB")
_SI: dict[str, list[tuple[str, float]]] = {}


def units_of(unit: str) -> list[tuple[str, float]]:
    """Return the units that measure the same as *unit*, each with what one of it is in SI."""
    if not _SI:
        by_dimension: dict[str, list[tuple[str, float]]] = {}
        for row in units():
            by_dimension.setdefault(row.si_unit, []).append((row.text, float(row.factor)))
        _SI.update(by_dimension)
        _SI["1"] = [*by_dimension.get("1", []), ("", 1.0)]
    return _SI[unit]


@cache
def bounds_of(low: str, high: str, unit: str) -> tuple[float, float]:
    """Return the bounds of a field in SI units."""
    return parse_quantity(low, unit, "low").value, parse_quantity(high, unit, "high").value


@cache
def _known(name: str) -> list[str]:
    if name == "key":
        return [one.key for one in load_wording().controls]
    found: dict[str, Any] = {
        "eyewear": EYEWEAR,
        "en12254_class": GUARDS,
        "material_key": listed_in("material", "key", *MATERIALS),
        "viewing_aid": listed_in("aid", "name", "viewing/aids.toml"),
        "class_label": ("1", "2M", "3B", "4"),
        "language": languages(),
        "spectator_rules": sorted(path.stem for path in shared_path("spectator_rules").glob("*.toml")),
    }
    return list(found.get(name, ()))


class CaseMaker:
    """Makes tables of a case.

    Parameters
    ----------
    random : random.Random
        Makes every choice.
    wild : float
        Share of the fields that get something that may not be there; 0 for a case that is mostly right.
    optional : float
        Share of the optional fields that are written.
    """

    def __init__(self, random: Random, wild: float = 0.0, optional: float = 0.2) -> None:
        self.random = random
        self.wild = wild
        self.optional = optional
        self.names: dict[str, list[str]] = {}
        self.setup_of: dict[str, list[str]] = {}

    def case(self) -> dict[str, Any]:
        """Return a case."""
        r = self.random
        self.names = {field: [f"{field} {i}" for i in range(1, 1 + self._count(field))] for field in _NAMED}
        self.setup_of = {
            name: [f"{name} head {i}" for i in range(1, r.choice((1, 1, 1, 2)) + 1)] for name in self.names["laser"]
        }
        case: dict[str, Any] = self.table(Case, "")
        if r.random() < 0.75:
            case.pop("scene", None)
        if "scene" not in case and r.random() > self.wild:
            case.pop("spectator_rules", None)
        return case

    def table(self, model: type[CaseModel], path: str, index: int = 0) -> dict[str, Any]:
        """Return one table of the case; *path* names its place, as ``laser.setup``."""
        r = self.random
        table: dict[str, Any] = {}
        for name, info in model.model_fields.items():
            here = f"{path}.{name}" if path else name
            usual = here in _ALWAYS or (info.is_required() and r.random() >= self.wild * 0.1)
            if not usual and r.random() >= (_OFTEN.get(here, self.optional)):
                continue
            if r.random() < self.wild:
                table[name] = r.choice(WILD_VALUES)
            else:
                value = self.value(model, name, info, here, index)
                if value is not None:
                    table[name] = value
        if r.random() < self.wild * 0.2:
            table[r.choice(("naem", "power", "", "x y", "é", "Name", "kind", "diameter"))] = r.choice(WILD_VALUES)
        if r.random() >= self.wild:
            _mend(path, table, r)
        return table

    def value(self, model: type[CaseModel], name: str, info: FieldInfo, here: str, index: int) -> Any:
        """Return a value for one field, or None to leave it out."""
        r = self.random
        mark = next((mark for mark in info.metadata if isinstance(mark, Measured)), None)
        if mark is not None:
            return self.measured(mark, name)
        leaves = leaves_of(info.annotation)
        models = [one for one in leaves if isinstance(one, type) and issubclass(one, CaseModel)]
        many = "tuple" in str(info.annotation)
        if models:
            if not many:
                return self.table(r.choice(models), here)
            names = _NAMED.get(here)
            count = len(self.names[here]) if names is not None else r.choice((1, 1, 2, 3))
            if here == "laser.setup":
                count = len(self._setups(index))
            return [
                self.table(r.choice(models), here, i if here != "laser.setup" else index * 100 + i)
                for i in range(count)
            ]
        if all(isinstance(leaf, str) for leaf in leaves):
            if here == "language":
                return r.choice(_known("language"))
            return r.choice(leaves) if not many else list(dict.fromkeys(r.choices(leaves, k=r.randint(1, 3))))
        kind = leaves[0]
        if kind is bool:
            return r.random() < 0.5
        if kind is int:
            return r.choice((1, 1, 2, 3, 16)) if name != "lines" else r.choice((2, 10, 500, 100000))
        if kind is float:
            return None if r.random() < 0.9 else [0.5, 0.5]
        if kind is datetime.date:
            return datetime.date(2027, r.randint(1, 12), r.randint(1, 28))
        return self.words(here, name, index, many)

    def measured(self, mark: Measured, name: str) -> Any:
        """Return what may be typed for a field with a unit."""
        r = self.random
        if mark.shape == "point":
            return [self.number(mark, name), self.number(mark, name)]
        if mark.shape in ("path", "area"):
            return self.outline(mark, name, mark.shape == "area")
        if mark.shape in ("range", "axes") and r.random() < 0.2:
            ends = [self.si(mark, name), self.si(mark, name)]
            if mark.shape == "range" and r.random() >= self.wild:
                ends.sort()
            return [self.typed(mark, one) for one in ends]
        return self.number(mark, name)

    def outline(self, mark: Measured, name: str, closed: bool) -> list[list[str]]:
        """Return corners round a centre, or a wandering line."""
        r = self.random
        count = r.choice((3, 4, 4, 5, 8, 30)) if closed else r.choice((2, 2, 3, 6))
        if r.random() < 0.02 + self.wild:
            count = r.choice((1, 2, 3, 60, 200, 201))
        if r.random() < self.wild:
            return [[self.number(mark, name), self.number(mark, name)] for _ in range(count)]
        x, y, size = r.uniform(-20, 20), r.uniform(-20, 20), 10 ** r.uniform(-0.5, 1.2)
        if closed:
            turns = sorted(r.uniform(0, 2 * math.pi) for _ in range(count))
            spots = [(x + size * math.cos(a) * r.uniform(0.6, 1), y + size * math.sin(a)) for a in turns]
        else:
            spots = [(x + size * r.uniform(-1, 1), y + size * r.uniform(-1, 1)) for _ in range(count)]
        return [[f"{a:.3f} m", f"{b:.3f} m"] for a, b in spots]

    def number(self, mark: Measured, name: str) -> Any:
        """Return one number with a unit, as text."""
        r = self.random
        if r.random() < self.wild:
            unit = r.choice((*[text for text, _ in units_of(mark.unit)], "", "m", "W", "parsec", "kg", "mm2", "%", "°"))
            return f"{r.choice(WILD_NUMBERS)} {unit}".strip()
        return self.typed(mark, self.si(mark, name))

    def si(self, mark: Measured, name: str) -> float:
        """Return a value in SI units: usual, anywhere inside the bounds, on a bound, or just beyond."""
        r = self.random
        low, high = bounds_of(mark.low, mark.high, mark.unit)
        pick = r.random()
        if pick < 0.03 + self.wild:
            return r.choice((low, high, low * (1 + 1e-12), high * (1 - 1e-12), high * 1.001, low - 1e-3 * abs(high)))
        near, far = USUAL.get(name, (low, high)) if pick < 0.85 else (low, high)
        near, far = max(near, low), min(far, high)
        if not near < far:
            near, far = low, high
        if near <= 0.0 and (near < 0.0 or far < 1000.0):
            return r.uniform(near, far)
        return math.exp(r.uniform(math.log(max(near, far * 1e-12)), math.log(far)))

    def typed(self, mark: Measured, value: float) -> Any:
        """Return a value in SI units as text in one of the units of the field."""
        r = self.random
        if name_of_count(mark):
            return round(value)
        choices = units_of(mark.unit)
        unit, factor = r.choice(choices)
        digits = r.choice((".3g", ".6g", ".17g"))
        if mark.unit == "1" and not unit and r.random() < 0.5:
            return float(format(value, digits))
        return f"{format(value / factor, digits)} {unit}".strip()

    def words(self, here: str, name: str, index: int, many: bool) -> Any:
        """Return text for a field: a name that exists, where a name is meant."""
        r = self.random
        if many:
            return self._several(here, name)
        if name == "name" and here.removesuffix(".name") in _NAMED:
            return self.names[here.removesuffix(".name")][index]
        if here == "laser.setup.name":
            return self._setups(index // 100)[index % 100]
        if name == "name" and here.startswith("scene."):
            part = here.split(".")[1]
            return self.names[part][index % len(self.names[part])] if self.names.get(part) else f"{part} {index}"
        if name == "laser":
            return r.choice(self.names["laser"] or ["nothing"]) if r.random() < 0.6 else None
        if name == "setup":
            return (
                r.choice([one for all_ in self.setup_of.values() for one in all_] or ["head"])
                if r.random() < 0.3
                else None
            )
        if name in ("person", "where"):
            return r.choice(self.names["barrier" if name == "where" and r.random() < 0.3 else "person"] or ["nobody"])
        if name == "stop":
            return r.choice(self.names["barrier"]) if self.names["barrier"] and r.random() < 0.3 else None
        known = _known(name)
        if known:
            return r.choice(known)
        return r.choice(("some words", "Größe – Ω", "one, two; three", f"{name} {index}"))

    def _several(self, here: str, name: str) -> list[str] | None:
        r = self.random
        if name == "protects":
            return r.sample(self.names["person"], r.randint(0, len(self.names["person"])))
        if name == "answers":
            return r.sample(["direct", "mirror", "scatter", *self.names["person"]], 2)
        if name == "keys":
            return r.sample(["fire", "high voltage", "noise"], r.randint(0, 3))
        if name == "spectator_rules":
            return [r.choice(_known("spectator_rules"))]
        return ["somebody", "somebody else"]

    def _setups(self, laser: int) -> list[str]:
        name = self.names["laser"][laser] if laser < len(self.names["laser"]) else ""
        return self.setup_of.get(name, ["head"])

    def _count(self, field: str) -> int:
        r = self.random
        if r.random() < 0.01 + self.wild * 0.1:
            return r.choice((0, 13, 61))
        return r.choice(_NAMED[field])


def name_of_count(mark: Measured) -> bool:
    """Return whether a field holds a whole number."""
    return mark.unit == "1" and mark.low == "1" and mark.high == "100000"


_NAMED = {
    "laser": (1, 1, 1, 1, 2),
    "person": (1, 1, 2, 3),
    "surface": (0, 0, 1, 2),
    "barrier": (0, 0, 1, 2),
    "extended": (0, 0, 0, 1),
}
_ALWAYS = {"laser", "person", "laser.emission.pulse_duration", "laser.emission.mean_power", "scene.person.position"}
_OFTEN = {
    "surface": 1.0,
    "barrier": 1.0,
    "extended": 1.0,
    "reading": 0.03,
    "strike_out": 0.05,
    "control": 0.15,
    "scene": 0.3,
    "sign_off": 0.05,
    "area": 0.05,
    "laser.line": 0.1,
    "laser.module": 0.05,
    "laser.setup.scan": 0.1,
    "laser.setup.fitted": 0.0,
    "laser.emission.duty": 0.05,
    "laser.emission.burst": 0.1,
    "laser.emission.pulse_energy": 0.2,
    "person.visits": 0.05,
    "person.laser": 0.1,
    "person.setup": 0.05,
    "person.time": 0.1,
    "language": 0.1,
    "spectator_rules": 0.1,
    "scene.person": 0.9,
    "scene.barrier": 0.5,
    "scene.surface": 0.5,
    "scene.aim.bearing": 0.8,
    "scene.aim.towards": 0.1,
}


def _mend(path: str, table: dict[str, Any], random: Random) -> None:
    """Put right what hangs together in a table, so that most cases get past the first check."""
    has = table.__contains__
    if path == "laser.setup":
        if "measured_at" in table and "waist_at" not in table:
            table.pop("measured_at")
        if table.get("kind") == "collimated" and random.random() < 0.9:
            table.pop("waist_at", None)
            table.pop("measured_at", None)
    elif path == "laser":
        setups = table.get("setup")
        if isinstance(setups, list) and len(setups) > 1 and all(isinstance(one, dict) for one in setups):
            for i, one in enumerate(setups):
                one["fitted"] = i == 0
    elif path == "laser.emission":
        if has("duty"):
            table.pop("pulse_duration", None)
            table.pop("burst", None)
        if has("mean_power") and has("pulse_energy") and random.random() < 0.8:
            table.pop("pulse_energy")
    elif path == "laser.emission.modes":
        table.setdefault("mean_power", "1 W")
    elif path == "laser.setup.scan":
        _mend_scan(table)
    elif path == "laser.line":
        table.pop("share", None) if has("power") else table.setdefault("share", 0.1)
        if not (has("divergence") and has("divergence_criterion")):
            table.pop("divergence", None)
            table.pop("divergence_criterion", None)
    elif path == "person":
        if has("time"):
            table.pop("visits", None)
            table["time_reason"] = "timed"
        else:
            table.pop("time_reason", None)
        if has("viewing_aid"):
            table["aided"] = True
    elif path == "surface" and has("material_key"):
        table.pop("reflectance", None)
    elif path in ("barrier", "scene.barrier"):
        if has("rating"):
            table.setdefault("rated_time", "60 s")
        if path == "scene.barrier" and str(table.get("name")).startswith("barrier "):
            table.pop("rating", None)
    elif path == "extended":
        if table.get("spread") != "cone":
            table.pop("divergence", None)
        else:
            table.setdefault("divergence", "30 deg")
        table.setdefault("pitch", "3 mm")
        table.pop("shares", None)
    elif path == "control" and has("key"):
        table["kind"] = next((one.kind for one in load_wording().controls if one.key == table["key"]), "technical")
    elif path == "control":
        table.setdefault("text", "This is done.")
    elif path == "strike_out":
        if isinstance(table.get("reason"), str):
            table["reason"] += " keeps the light away"
        if table.get("way") == "every way":
            table.setdefault("mode", "service")
    elif path == "sign_off":
        table.pop("required_roles", None)
    elif path == "scene.aim":
        if has("towards"):
            table.pop("bearing", None)
            table.pop("elevation", None)
        elif not has("bearing_range"):
            table.setdefault("bearing", "0 deg")
        if has("bearing_range"):
            table["bearing_range"] = random.choice((["-40 deg", "40 deg"], ["0 deg", "360 deg"], "90 deg"))
    elif path == "scene.person" and has("position"):
        table.pop("area" if random.random() < 0.7 or "area" not in table else "position", None)


def _mend_scan(table: dict[str, Any]) -> None:
    if "full_width" in table and "width_at" in table:
        table.pop("full_angle", None)
    else:
        table.pop("full_width", None)
        table.pop("width_at", None)
        table.setdefault("full_angle", "20 deg")
    if table.get("pattern") == "raster":
        table.setdefault("lines", 100)
    else:
        table.pop("lines", None)
    if table.get("monitored") is True:
        table.setdefault("reaction_time", "5 ms")
    else:
        table.pop("reaction_time", None)


assert typing.TYPE_CHECKING or set(_NAMED) <= set(Case.model_fields)
