"""Rules beside the exposure limits: how far pilots and drivers are disturbed, and regional rules for spectators."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, Literal

import numpy as np

from lasersafe.data import As, Printed, Seen, Source, check, fail, load, shared_path
from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.hazard.distances import direct_distance
from lasersafe.optics.beam import BeamGeometry
from lasersafe.optics.checks import positive, within
from lasersafe.wording.message import Message, joined, word

VISIBLE = (400e-9, 700e-9)  # m
_PEAK_APERTURE = 1e-9  # m; so small that the average over it is the peak


# W/m2, effective: flash blindness or after-image, glare, distraction (FAA-AC70-1, from memory)
LEVELS = {"sensitive": 1.0, "critical": 0.05, "laser-free": 0.0005}


@dataclass(frozen=True)
class Interference:
    """One level [W/m2], how far the beam is above it [m], and that or the hazard distance if farther [m]."""

    level: float
    distance: float
    to_keep: float


@dataclass(frozen=True)
class _Factor:
    wavelength: float
    cie: Printed
    ac70: Printed

    def __post_init__(self) -> None:
        check(0.0 < max(self.cie, self.ac70) <= 1.0, "factors must lie above 0 and be at most 1")


@dataclass(frozen=True)
class _Photopic:
    source: Source
    key: Annotated[str, As("second.key")]
    locator: Annotated[str, As("second.locator")]
    seen: Annotated[Seen, As("second.seen")]
    wavelength: Annotated[Literal["nm"], As("data.unit.wavelength")]
    cie: Annotated[Literal["1"], As("data.unit.cie")]
    ac70: Annotated[Literal["1"], As("data.unit.ac70")]
    rows: Annotated[tuple[_Factor, ...], As("data.row")]

    def __post_init__(self) -> None:
        check(all(one.wavelength < other.wavelength for one, other in pairwise(self.rows)), "wavelengths must rise")


@lru_cache(maxsize=1)
def _photopic_rows() -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return wavelengths [nm] and the larger of the two factors at each."""
    rows = load(_Photopic, shared_path("photopic", "cie1924_v.toml")).rows
    return tuple(row.wavelength for row in rows), tuple(max(row.cie, row.ac70) for row in rows)


def photopic_factor(wavelength: float) -> float:
    """Return the visual correction factor, 1 at 555 nm: the larger of two tables, between rows by its logarithm [1]_.

    Parameters
    ----------
    wavelength : float
        Wavelength, 400 nm to 700 nm. [m]

    Returns
    -------
    float
        Factor of the actual irradiance. [1]

    Raises
    ------
    OutOfRangeError
        If the wavelength is outside the table.

    References
    ----------
    .. [1] CIE-V-1924 and FAA-AC70-1, from memory (``shared/photopic/cie1924_v.toml``).

    Examples
    --------
    >>> photopic_factor(555e-9), round(photopic_factor(532e-9), 3)
    (1.0, 0.88)
    """
    light = float(within("wavelength", wavelength, "m", *VISIBLE))
    places, values = _photopic_rows()
    return min(1.0, math.exp(float(np.interp(round(light * 1e9, 6), places, np.log(values)))))


def interference(
    mean_power: float, wavelength: float, beam: BeamGeometry, hazard_distance: float
) -> tuple[Interference, ...]:
    """Return how far a beam is above each level of visual interference [1]_.

    Parameters
    ----------
    mean_power : float
        Power, of pulses their mean. [W]
    wavelength : float
        Wavelength. [m]
    beam : BeamGeometry
        The beam. [1]
    hazard_distance : float
        Hazard distance of the eye for the same beam, which is kept where it is farther. [m]

    Returns
    -------
    tuple of Interference
        One for each level; empty for invisible light, which disturbs nobody and is as harmful.

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.

    References
    ----------
    .. [1] FAA-AC70-1, zones and levels, from memory.
    """
    light = float(positive("wavelength", wavelength, "m"))
    nohd = float(within("hazard_distance", hazard_distance, "m", 0.0, math.inf))
    if not VISIBLE[0] <= light <= VISIBLE[1]:
        return ()
    seen = mean_power * photopic_factor(light)
    reached = ((level, float(direct_distance(seen, level, _PEAK_APERTURE, beam))) for level in LEVELS.values())
    return tuple(Interference(level, distance, max(distance, nohd)) for level, distance in reached)


FOLDER = "spectator_rules"
ZERO_CELSIUS = 273.15  # K
MET, NOT_MET, NOT_JUDGED, NOT_APPLICABLE = "met", "not met", "cannot be judged from this case", "does not apply"
# M classes can harm through binoculars, so they rank above 2; United States numerals stand beside them
_RANKS = {"1": 0, "I": 0, "2": 1, "II": 1, "IIA": 1, "1C": 2, "1M": 2, "2M": 2, "3R": 3, "3A": 3, "IIIA": 3}
_RANKS |= {"3B": 4, "IIIB": 4, "4": 5, "IV": 5}


@dataclass(frozen=True)
class Facts:
    """What a scene says about spectators; None where it is not known. SI units.

    Parameters
    ----------
    height_above_standing : float, optional
        Lowest height above a place where people stand at which a limit is exceeded; infinite where none is. [m]
    lateral_gap : float, optional
        Shortest way sideways from the hazard zone to people. [m]
    reach_over_gap : float, optional
        Shortest way from the hazard zone to a place that people can reach over to. [m]
    barrier_height : float, optional
        Height of the stage or of the lowest barrier before people. [m]
    object_temperature : float, optional
        Highest temperature that an object in reach of a beam can take. [K]
    shortest_exposure_time : float, optional
        Shortest exposure time that the spectators' limits were worked out for. [s]
    visible : bool, optional
        Whether the beam is visible, 400 nm to 700 nm.
    attended : bool, optional
        Whether the laser is under continuous control of an operator.
    laser_class : str, optional
        Class of the laser.
    class_where_people, class_viewed, class_not_viewed : str, optional
        Class of the emission where people are: any; looked at; not looked at.
    audience_scanning : bool, optional
        Whether a beam is moved over spectators.
    only_scatter_reaches_people : bool, optional
        Whether nothing but scatter reaches people.
    """

    height_above_standing: float | None = None
    lateral_gap: float | None = None
    reach_over_gap: float | None = None
    barrier_height: float | None = None
    object_temperature: float | None = None
    shortest_exposure_time: float | None = None
    visible: bool | None = None
    attended: bool | None = None
    laser_class: str | None = None
    class_where_people: str | None = None
    class_viewed: str | None = None
    class_not_viewed: str | None = None
    audience_scanning: bool | None = None
    only_scatter_reaches_people: bool | None = None


@dataclass(frozen=True)
class Rule:
    """One row of a pack."""

    key: str
    text: str
    fact: str
    comparison: Literal["at least", "at most", "class at most", "is"]
    value: str
    unit: str
    locator: str
    seen: Seen
    visible: bool | None = None
    attended: bool | None = None
    above_class: str | None = None

    def __post_init__(self) -> None:
        """Refuse a fact that no scene gives, and a value that does not fit the comparison."""
        check(self.fact in _FACTS, f"fact '{self.fact}' is not known")
        check(self.above_class is None or self.above_class in _RANKS, f"above_class '{self.above_class}' is not known")
        words = {"class at most": tuple(_RANKS), "is": ("true", "false")}.get(self.comparison)
        good = _is_number(self.value) if words is None else self.value in words
        check(good, f"value '{self.value}' does not fit '{self.comparison}'")


@dataclass(frozen=True)
class Pack:
    """A rule pack: its source; key, name and what it is for; and its rows."""

    source: Source
    key: Annotated[str, As("pack.key")]
    name: Annotated[str, As("pack.name")]
    scope: Annotated[str, As("pack.scope")]
    rules: Annotated[tuple[Rule, ...], As("rule")]


@dataclass(frozen=True)
class RuleVerdict:
    """One row judged: ``outcome`` is met, not met, cannot be judged from this case, or does not apply."""

    rule: Rule
    outcome: str
    found: str
    words: str


_FACTS = frozenset(field.name for field in fields(Facts))


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


@lru_cache(maxsize=1)
def packs() -> dict[str, Pack]:
    """Return the packs of ``shared/spectator_rules/`` by key.

    Raises
    ------
    ReferenceDataError
        If a file is damaged.
    """
    found: dict[str, Pack] = {}
    for path in sorted(shared_path(FOLDER).glob("*.toml")):
        found[path.stem] = load(Pack, path)
        if (key := found[path.stem].key) != path.stem:
            fail(f"data file {path.name}", f"the key '{key}' must be the name of the file")
    if not found:
        refuse(f"data folder {FOLDER} is missing; install lasersafe again", ReferenceDataError)
    return found


def pack(key: str) -> Pack:
    """Return a rule pack.

    Parameters
    ----------
    key : str
        As in ``shared/spectator_rules/``.

    Returns
    -------
    Pack
        The pack.

    Raises
    ------
    InputError
        If there is none of this key.
    """
    if key not in packs():
        refuse(f"spectator rules = {key!r} are not known here; write one of: {', '.join(packs())}")
    return packs()[key]


def class_rank(name: str) -> int | None:
    """Return the rank of a laser class, for comparing; None for a class that is not known.

    Parameters
    ----------
    name : str
        As "3B" or "Class IIIb".

    Returns
    -------
    int or None
        The higher, the more harmful; Class 1 has 0.
    """
    return _RANKS.get(name.upper().removeprefix("CLASS").strip())


def judge(chosen: Pack, facts: Facts) -> tuple[RuleVerdict, ...]:
    """Judge every row of a pack.

    Parameters
    ----------
    chosen : Pack
        The pack.
    facts : Facts
        What the scene says.

    Returns
    -------
    tuple of RuleVerdict
        One for each row, in their order.
    """
    return tuple(_judge(rule, facts) for rule in chosen.rules)


def asked_for(chosen: Pack, fact: str, facts: Facts) -> tuple[float, Rule] | None:
    """Return the largest figure of at least, for one fact, that a pack can ask for in a scene, with its row.

    For a drawing: how far to the side, or how high, people or beams have to be. A row whose condition is not known
    counts.

    Parameters
    ----------
    chosen : Pack
        The pack.
    fact : str
        Name of a field of `Facts`, as "lateral_gap".
    facts : Facts
        What the scene says; only the conditions are read.

    Returns
    -------
    tuple of float and Rule, or None
        None where the pack asks for nothing. [m or s]
    """
    fitting = [
        (float(rule.value), rule)
        for rule in chosen.rules
        if rule.fact == fact and rule.comparison == "at least" and _judge(rule, facts).outcome != NOT_APPLICABLE
    ]
    return max(fitting, key=lambda pair: pair[0], default=None)


def _judge(rule: Rule, facts: Facts) -> RuleVerdict:
    unknown = []
    for name, asked in (("visible", rule.visible), ("attended", rule.attended)):
        given = getattr(facts, name)
        if asked is not None and given is None:
            unknown.append(name)
        elif asked is not None and given is not asked:
            return RuleVerdict(rule, NOT_APPLICABLE, "", Message(f"rule.only_{name}_{str(asked).lower()}"))
    if rule.above_class is not None:
        rank = None if facts.laser_class is None else class_rank(facts.laser_class)
        if rank is None:
            unknown.append("laser_class")
        elif rank <= _RANKS[rule.above_class]:
            return RuleVerdict(rule, NOT_APPLICABLE, "", Message("rule.only_above", name=rule.above_class))
    value = getattr(facts, rule.fact)
    met = None if value is None else _compare(rule, value)
    typed = f"{rule.value} {rule.unit.removeprefix('1')}".strip()
    value_asked = _shown(float(rule.value), "K") if rule.unit == "K" else typed
    asked_for = Message(f"rule.{rule.comparison.replace(' ', '_')}", value=word(value_asked))
    if met is None:
        return RuleVerdict(rule, NOT_JUDGED, "", _not_stated(asked_for, [rule.fact]))
    found = _shown(value, rule.unit)
    words = Message("rule.found", asked=asked_for, found=found)
    if unknown and not met:
        return RuleVerdict(rule, NOT_JUDGED, found, _not_stated(words, unknown))
    return RuleVerdict(rule, MET if met else NOT_MET, found, words)


def _not_stated(asked: str, facts: list[str]) -> Message:
    return Message("rule.not_stated", asked=asked, missing=joined((Message(f"fact.{one}") for one in facts), ", "))


def _compare(rule: Rule, value: float | bool | str) -> bool | None:
    if rule.comparison == "is":
        return value is (rule.value == "true")
    if rule.comparison == "class at most":
        rank = class_rank(str(value))
        return None if rank is None else rank <= _RANKS[rule.value]
    number, asked = float(value), float(rule.value)
    return number >= asked if rule.comparison == "at least" else number <= asked


def _shown(value: float | bool | str, unit: str) -> str:
    if isinstance(value, bool):
        return word(str(value).lower())
    if isinstance(value, str):
        return value
    if math.isinf(value):
        return Message("rule.no_place")
    if unit == "K":
        return f"{value - ZERO_CELSIUS:.4g} °C"
    return f"{value:.4g}" + (f" {unit}" if unit != "1" else "")
