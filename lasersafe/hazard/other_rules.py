"""Rules beside the exposure limits: classes of products, disturbance of pilots and drivers, regions on spectators."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, fields
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, ClassVar, Literal, TypeVar

import numpy as np

from lasersafe.data import As, Printed, Seen, Source, Span, WavelengthsNm, check, fail, load, shared_path
from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.hazard.distances import PEAK_APERTURE, direct_distance, worst_place
from lasersafe.hazard.exposure import Emission, Received, train_limit
from lasersafe.limits import correction_factor
from lasersafe.limits.tables import EDGE, inside
from lasersafe.optics.beam import BeamGeometry, diameters, fraction_through, positive, within
from lasersafe.records import CLASS_ORDER, UNKNOWN, ClassCheck, Step
from lasersafe.records.scene import SpectatorRule
from lasersafe.wording import Message, joined, word

CLASSES = ("1", "1M", "2", "2M", "3R", "3B", "4")
EDITION = "IEC 60825-1:2014"
_FACTORS = {"C_2": "C_2", "C_3": "C_B", "C_4": "C_A", "C_7": "C_C"}
TIME_BASE = 100.0  # [s] no intended viewing
TIME_BASE_ULTRAVIOLET = 3e4
TIME_BASE_VISIBLE = 0.25  # classes 2, 2M and 3R of visible light
_RULES = "ICNIRP-2013"  # its train factor is the C_5 of the edition


@dataclass(frozen=True)
class EmissionRow:
    """One printed limit: ``value * t ** power * factors`` [J or W] on a range of wavelength [nm] and duration [s]."""

    laser_class: Annotated[Literal["1", "1M", "2", "2M", "3R", "3B", "4"], As("class")]
    hazard: str
    wavelength: WavelengthsNm
    duration: Annotated[Span, As(inside=(1e-13, 3e4))]
    quantity: Literal["Q", "P"]
    value: Printed
    power: Printed = 0.0
    factors: tuple[Literal["C_1", "C_2", "C_3", "C_4", "C_7"], ...] = ()


@dataclass(frozen=True)
class MeasuringCondition:
    """Where a class is measured: through ``aperture * t ** power`` [m] at a distance [m], on a range [nm, s]."""

    telescope: bool
    wavelength: WavelengthsNm
    distance: Annotated[float, As("distance_m", printed=True)]
    aperture: Annotated[float, As("aperture_mm", 1e-3, printed=True)]
    power: Printed = 0.0
    duration: Annotated[Span, As(inside=(1e-13, 3e4))] = (1e-13, 3e4)


@dataclass(frozen=True)
class _Emission:
    file: ClassVar = "limits_emission/iec60825_1_2014.toml"
    source: Source
    wavelength: Annotated[Literal["nm"], As("table.unit.wavelength")]
    duration: Annotated[Literal["s"], As("table.unit.duration")]
    energy: Annotated[Literal["J"], As("table.unit.Q")]
    power: Annotated[Literal["W"], As("table.unit.P")]
    rows: Annotated[tuple[EmissionRow, ...], As("table.row")]
    conditions: Annotated[tuple[MeasuringCondition, ...], As("condition")]


_Ranged = TypeVar("_Ranged", EmissionRow, MeasuringCondition)


def _holding(rows: tuple[_Ranged, ...], wavelength: float, duration: float) -> list[_Ranged]:
    """Return the rows that hold at a wavelength [m] for a duration [s], at an edge those of both sides."""
    light, time = np.asarray(wavelength * 1e9), np.asarray(duration)
    return [row for row in rows if inside(row.wavelength, light) and inside(row.duration, time)]


def _value(row: EmissionRow, wavelength: float, duration: float) -> float:
    value: float = row.value * duration**row.power
    for factor in row.factors:
        if factor == "C_1":
            value *= 5.6e3 * duration**0.25
        elif not (factor == "C_4" and wavelength < 700e-9):
            value *= float(correction_factor("ICNIRP-2013", _FACTORS[factor], wavelength))
    return value * duration if row.quantity == "P" else value


def _lowest(laser_class: str, wavelength: float, duration: float) -> float:
    rows = (one for one in _holding(load(_Emission).rows, wavelength, duration) if one.laser_class == laser_class)
    return min((_value(row, wavelength, duration) for row in rows), default=math.nan)


@lru_cache(maxsize=1024)
def emission_limit(laser_class: str, wavelength: float, duration: float) -> float:
    """Return the accessible emission limit of a class as an energy, for a small source [1]_.

    Parameters
    ----------
    laser_class : str
        "1", "2", "3R" or "3B".
    wavelength : float
        Wavelength. [m]
    duration : float
        Duration of the emission; divide by it for a power. [s]

    Returns
    -------
    float
        Highest energy, the stricter at an edge that two rows share; NaN where no figure is known. [J]

    References
    ----------
    .. [1] IEC60825-1-2014 (``shared/limits_emission/iec60825_1_2014.toml``).

    Examples
    --------
    >>> round(emission_limit("1", 840e-9, 100.0) / 100.0 * 1e3, 3)
    0.743
    """
    one, highest = _lowest("1", wavelength, duration), _lowest("3B", wavelength, duration)

    def capped(value: float) -> float:
        return value if math.isnan(highest) else min(value, highest)

    if 1050e-9 * (1 - EDGE) <= wavelength <= 1400e-9 * (1 + EDGE):
        one = capped(one)
    if laser_class in ("1", "3B"):
        return one if laser_class == "1" else highest
    own = _lowest(laser_class, wavelength, duration)  # of visible light from 0.25 s on
    if not math.isnan(own):
        return own
    if laser_class == "2":
        return one if 400e-9 * (1 - EDGE) <= wavelength <= 700e-9 * (1 + EDGE) else math.nan
    return math.nan if wavelength < 302.5e-9 * (1 - EDGE) else capped(5.0 * one)


def label_class(text: str) -> str:
    """Return the class that a label names, or "" when it names none.

    Parameters
    ----------
    text : str
        As typed, as "4" or "Class 3B".

    Returns
    -------
    str
        One of the classes.
    """
    found = re.fullmatch(r"(?:laser\s*)?(?:class|klasse|classe)?\s*(1M|1C|1|2M|2|3R|3B|4)", text.strip(), re.IGNORECASE)
    return found.group(1).upper() if found else ""


@lru_cache(maxsize=256)
def accessible_fraction(beam: BeamGeometry, distance: float, aperture: float) -> float:
    """Return the share of the beam that passes an aperture at a distance or, if it is more, farther out.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    distance : float
        Shortest distance from the last optic. [m]
    aperture : float
        Diameter of the aperture. [m]

    Returns
    -------
    float
        0 to 1. [1]
    """
    places = worst_place(beam, distance, (aperture,))
    return max(float(fraction_through(*diameters(beam, place), aperture, beam.profile)) for place in places)


@lru_cache(maxsize=256)
def _comparisons(
    emission: Emission, wavelength: float, base: float, name: str
) -> list[tuple[float, float, float, str]]:
    """Return (energy, limit, duration, what) of every comparison with a class."""
    if emission.kind == "continuous":
        what = Message("class.power_over", time=f"{base:g} s")
        return [(emission.power * base, emission_limit(name, wavelength, base), base, what)]
    each = emission.pulses or ((0.0, emission.pulse_duration, emission.pulse_energy),)
    one: str = Message("class.one_pulse")
    found = [(q + emission.pedestal * t, emission_limit(name, wavelength, t), t, one) for _, t, q in each]
    if emission.kind == "single pulse" or (emission.period is None and emission.pulses and not emission.pedestal):
        return found
    limit = emission_limit(name, wavelength, base)
    once = math.fsum(q for _, _, q in emission.pulses) if emission.period is None else 0.0
    found.append((emission.power * base + once, limit, base, Message("class.mean_over", time=f"{base:g} s")))
    if name == "3B":
        return found
    whole = max(base, *(length for _, length, _ in each))  # no train is shorter than one of its pulses
    for row in train_limit(Received(_RULES, "eye", emission, wavelength, whole)).rows:
        if row.rule == "train" and np.isfinite(row.per_pulse):
            time, joined, factor = (float(v) for v in (row.averaging_time, row.pulses_joined, row.pulse_factor))
            sent = emission.pulse_energy * joined + emission.pedestal * time
            found.append((sent, emission_limit(name, wavelength, time) * factor, time, f"C_5 = {factor:.3g}"))
    return found


def _passes(
    emission: Emission, beam: BeamGeometry, wavelength: float, name: str, telescope: bool = False
) -> tuple[bool | None, Step | None]:
    """Return whether the emission stays below a class for the bare eye or with optics, None where no figure is known.

    Without a measuring condition for optics nothing is above.
    """
    base = TIME_BASE_ULTRAVIOLET if wavelength < 400e-9 else TIME_BASE
    if 400e-9 <= wavelength <= 700e-9 and name in ("2", "3R"):
        base = TIME_BASE_VISIBLE
    worst: Step | None = None
    table = load(_Emission)
    for energy, limit, time, what in _comparisons(emission, wavelength, base, name):
        if math.isnan(limit):
            return None, None
        for one in _holding(table.conditions, wavelength, time):
            if one.telescope != telescope:
                continue
            aperture = one.aperture * time**one.power
            share = accessible_fraction(beam, one.distance, aperture)
            ratio = energy * share / limit
            if worst is None or not ratio <= worst.value:
                worst = Step(
                    "Q/AEL", Message("class.step", name=name, what=what), Message("class.formula"),
                    Message("class.numbers", amount=f"{energy:.5g}", share=f"{share:.4g}",
                            aperture=f"{aperture * 1e3:.3g} mm", place=f"{one.distance:g} m", limit=f"{limit:.5g}"),
                    ratio, "1", f"{EDITION}, {table.source.locator}", table.source.seen,
                )  # fmt: skip
    return worst is None or bool(worst.value <= 1.0), worst


def _class_of(emission: Emission, beam: BeamGeometry, wavelength: float) -> tuple[str, list[Step]]:
    """Return the lowest class that an emission stays below, and what it was compared with."""
    seen: list[Step | None] = []
    known = set()
    for name in ("1", "2", "3R", "3B"):
        bare, step = _passes(emission, beam, wavelength, name)
        if bare is None:
            continue
        known.add(name)
        aided, more = _passes(emission, beam, wavelength, name, telescope=True)
        seen += [step, more]
        computed = name if aided else ""
        if bare and not aided and name in ("1", "2"):
            below, last = _passes(emission, beam, wavelength, "3B", telescope=True)
            computed = f"{name}M" if below else ""
            seen += [] if below else [last]
        if bare and computed:
            return computed if name != "3B" or "1" in known else UNKNOWN, [one for one in seen if one is not None]
    highest = "4" if "3B" in known else "3B or 4"
    return highest if known else UNKNOWN, [one for one in seen if one is not None]


def class_check(
    emissions: tuple[Emission, ...], beam: BeamGeometry, wavelength: float, label: str, several: bool = False
) -> ClassCheck:
    """Return the highest class that any of the settings would fall into, next to the label.

    Parameters
    ----------
    emissions : tuple of Emission
        Settings to look at.
    beam : BeamGeometry
        The beam that leaves the last optic.
    wavelength : float
        Wavelength. [m]
    label : str
        Class on the label, as typed.
    several : bool
        Whether it is one of several wavelengths, whose sum is not looked at.

    Returns
    -------
    ClassCheck
        Information only, of no laser and set-up yet.
    """
    found = [_class_of(emission, beam, wavelength) for emission in emissions]
    computed, steps = max(found, key=lambda one: CLASS_ORDER.index(one[0]))
    on_label, least = label_class(label), "3B" if computed == "3B or 4" else computed
    known = computed != UNKNOWN
    lower = on_label in CLASSES and least in CLASSES and CLASSES.index(on_label) < CLASSES.index(least)
    said = {
        "class.not_covered": not known, "class.computed": known, "class.label_lower": lower, "class.lines": several,
        "class.no_label": not lower and not on_label and known,
    }  # fmt: skip
    facts = {"edition": EDITION, "computed": computed, "label": label}
    sentence = joined((Message(key, **facts) for key, holds in said.items() if holds), " ")
    return ClassCheck("", "", label, computed, lower, sentence, tuple(steps))


VISIBLE = (400e-9, 700e-9)  # m


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
    file: ClassVar = "photopic/cie1924_v.toml"
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
    places, values = zip(*((row.wavelength, max(row.cie, row.ac70)) for row in load(_Photopic).rows), strict=True)
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
    reached = ((level, float(direct_distance(seen, level, PEAK_APERTURE, beam))) for level in LEVELS.values())
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


def judge(chosen: Pack, facts: Facts) -> tuple[SpectatorRule, ...]:
    """Judge every row of a pack.

    Parameters
    ----------
    chosen : Pack
        The pack.
    facts : Facts
        What the scene says.

    Returns
    -------
    tuple of SpectatorRule
        One for each row, in their order.
    """
    return tuple(
        SpectatorRule(
            chosen.key, chosen.name, rule.key, rule.text, *_judge(rule, facts),
            f"{chosen.source.key}, {rule.locator}", rule.seen,
        )
        for rule in chosen.rules
    )  # fmt: skip


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
        if rule.fact == fact and rule.comparison == "at least" and _judge(rule, facts)[0] != NOT_APPLICABLE
    ]
    return max(fitting, key=lambda pair: pair[0], default=None)


def _judge(rule: Rule, facts: Facts) -> tuple[str, str]:
    """Return the outcome of one row, and what is asked and was found."""
    unknown = []
    for name, asked in (("visible", rule.visible), ("attended", rule.attended)):
        given = getattr(facts, name)
        if asked is not None and given is None:
            unknown.append(name)
        elif asked is not None and given is not asked:
            return NOT_APPLICABLE, Message(f"rule.only_{name}_{str(asked).lower()}")
    if rule.above_class is not None:
        rank = None if facts.laser_class is None else class_rank(facts.laser_class)
        if rank is None:
            unknown.append("laser_class")
        elif rank <= _RANKS[rule.above_class]:
            return NOT_APPLICABLE, Message("rule.only_above", name=rule.above_class)
    value = getattr(facts, rule.fact)
    met = None if value is None else _compare(rule, value)
    typed = f"{rule.value} {rule.unit.removeprefix('1')}".strip()
    value_asked = _shown(float(rule.value), "K") if rule.unit == "K" else typed
    asked_for = Message(f"rule.{rule.comparison.replace(' ', '_')}", value=word(value_asked))
    if met is None:
        return NOT_JUDGED, _not_stated(asked_for, [rule.fact])
    words = Message("rule.found", asked=asked_for, found=_shown(value, rule.unit))
    return (NOT_JUDGED, _not_stated(words, unknown)) if unknown and not met else (MET if met else NOT_MET, words)


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
