"""Into which class an emission would fall, next to the label. Information only, no classification of a product."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Literal

import numpy as np

from lasersafe.data import As, Printed, Source, Span, WavelengthsNm, load, shared_path
from lasersafe.hazard.emission import Emission, Received
from lasersafe.hazard.exposure import train_limit
from lasersafe.limits import correction_factor
from lasersafe.optics.beam import BeamGeometry, diameters, fraction_through
from lasersafe.records.sources import CLASS_ORDER, UNKNOWN
from lasersafe.records.step import Step
from lasersafe.wording.message import Message

CLASSES = ("1", "1M", "2", "2M", "3R", "3B", "4")
EDITION = "IEC 60825-1:2014"
_FACTORS = {"C_2": "C_2", "C_3": "C_B", "C_4": "C_A", "C_7": "C_C"}
_EDGE = 1e-12
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
class _Emission:
    source: Source
    wavelength: Annotated[Literal["nm"], As("table.unit.wavelength")]
    duration: Annotated[Literal["s"], As("table.unit.duration")]
    energy: Annotated[Literal["J"], As("table.unit.Q")]
    power: Annotated[Literal["W"], As("table.unit.P")]
    rows: Annotated[tuple[EmissionRow, ...], As("table.row")]


@lru_cache(maxsize=1)
def emission_table() -> tuple[tuple[EmissionRow, ...], Source]:
    """Return the rows of the printed tables and where they come from.

    Returns
    -------
    tuple of EmissionRow, Source
        In the order of the file.

    Raises
    ------
    ReferenceDataError
        If the file is damaged.
    """
    content = load(_Emission, shared_path("limits_emission", "iec60825_1_2014.toml"))
    return content.rows, content.source


def _value(row: EmissionRow, wavelength: float, duration: float) -> float:
    value: float = row.value * duration**row.power
    for factor in row.factors:
        if factor == "C_1":
            value *= 5.6e3 * duration**0.25
        elif not (factor == "C_4" and wavelength < 700e-9):
            value *= float(correction_factor("ICNIRP-2013", _FACTORS[factor], wavelength))
    return value * duration if row.quantity == "P" else value


def _lowest(laser_class: str, wavelength: float, duration: float) -> float:
    rows, _ = emission_table()
    found = [
        _value(row, wavelength, duration)
        for row in rows
        if row.laser_class == laser_class
        and row.wavelength[0] * (1 - _EDGE) <= wavelength * 1e9 <= row.wavelength[1] * (1 + _EDGE)
        and row.duration[0] * (1 - _EDGE) <= duration <= row.duration[1] * (1 + _EDGE)
    ]
    return min(found, default=math.nan)


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
    visible = 400e-9 * (1 - _EDGE) <= wavelength <= 700e-9 * (1 + _EDGE)
    one = _lowest("1", wavelength, duration)
    highest = _lowest("3B", wavelength, duration)
    if 1050e-9 * (1 - _EDGE) <= wavelength <= 1400e-9 * (1 + _EDGE) and not math.isnan(highest):
        one = min(one, highest)
    if laser_class == "1":
        return one
    if laser_class == "3B":
        return highest
    if laser_class == "2":
        if not visible:
            return math.nan
        return _lowest("2", wavelength, duration) if duration >= 0.25 * (1 - _EDGE) else one
    if wavelength < 302.5e-9 * (1 - _EDGE):
        return math.nan
    if visible and duration >= 0.25 * (1 - _EDGE):
        return _lowest("3R", wavelength, duration)
    return 5.0 * one if math.isnan(highest) else min(5.0 * one, highest)


@dataclass(frozen=True)
class ClassFinding:
    """The class that the computed emission would fall into, and the comparison that rules out the class below."""

    computed: str  # a class, "3B or 4", or UNKNOWN
    label: str  # class on the label, "" when it cannot be read
    label_is_lower: bool
    steps: tuple[Step, ...]


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


def measuring_conditions(wavelength: float, duration: float) -> tuple[tuple[float, float], ...]:
    """Return distance and aperture of each measuring condition [1]_.

    Parameters
    ----------
    wavelength : float
        Wavelength. [m]
    duration : float
        Duration of the emission. [s]

    Returns
    -------
    tuple of (distance, aperture)
        For the unaided eye first, then with optics, where that counts; each [m, m].

    References
    ----------
    .. [1] IEC60825-1-2014, measuring conditions 1 and 3.
    """
    if 400e-9 <= wavelength <= 1400e-9:
        return (0.1, 7e-3), (2.0, 50e-3)
    if wavelength >= 1e-4:
        return ((0.1, 11e-3),)
    if wavelength < 400e-9 or duration <= 0.35:
        return ((0.1, 1e-3),)
    return ((0.1, 3.5e-3 if duration >= 10.0 else 1.5e-3 * duration**0.375),)


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
    places = [distance, *(place for place in beam.waist_position if place > distance)]
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
    emission: Emission, beam: BeamGeometry, wavelength: float, name: str, condition: int
) -> tuple[bool | None, Step | None]:
    """Return whether the emission stays below a class under one measuring condition, None where no figure is known."""
    base = TIME_BASE_ULTRAVIOLET if wavelength < 400e-9 else TIME_BASE
    if 400e-9 <= wavelength <= 700e-9 and name in ("2", "3R"):
        base = TIME_BASE_VISIBLE
    worst: Step | None = None
    for energy, limit, time, what in _comparisons(emission, wavelength, base, name):
        if math.isnan(limit):
            return None, None
        conditions = measuring_conditions(wavelength, time)
        if condition >= len(conditions):
            return True, worst
        distance, aperture = conditions[condition]
        share = accessible_fraction(beam, distance, aperture)
        ratio = energy * share / limit
        if worst is None or not ratio <= worst.value:
            worst = Step(
                "Q/AEL", Message("class.step", name=name, what=what), Message("class.formula"),
                Message("class.numbers", amount=f"{energy:.5g}", share=f"{share:.4g}",
                        aperture=f"{aperture * 1e3:.3g} mm", place=f"{distance:g} m", limit=f"{limit:.5g}"),
                ratio, "1", f"{EDITION}, {emission_table()[1].locator}", emission_table()[1].seen,
            )  # fmt: skip
    assert worst is not None
    return bool(worst.value <= 1.0), worst


def class_finding(emissions: tuple[Emission, ...], beam: BeamGeometry, wavelength: float, label: str) -> ClassFinding:
    """Return the highest class that any of the settings would fall into.

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

    Returns
    -------
    ClassFinding
        Information only.
    """
    found = [_class_of(emission, beam, wavelength) for emission in emissions]
    computed, steps = max(found, key=lambda one: CLASS_ORDER.index(one[0]))
    on_label, least = label_class(label), "3B" if computed == "3B or 4" else computed
    known = on_label in CLASSES and least in CLASSES
    lower = known and CLASSES.index(on_label) < CLASSES.index(least)
    return ClassFinding(computed, on_label, lower, steps)


def _class_of(emission: Emission, beam: BeamGeometry, wavelength: float) -> tuple[str, tuple[Step, ...]]:
    steps: list[Step] = []
    known = one_known = False
    for name in ("1", "2", "3R", "3B"):
        bare, step = _passes(emission, beam, wavelength, name, 0)
        if bare is None:
            continue
        known = True
        one_known = one_known or name == "1"
        aided, more = _passes(emission, beam, wavelength, name, 1)
        steps += [one for one in (step, more) if one is not None]
        if bare and aided:
            return (name if name != "3B" or one_known else UNKNOWN), tuple(steps)
        if bare and name in ("1", "2"):
            below, last = _passes(emission, beam, wavelength, "3B", 1)
            if below:
                return f"{name}M", tuple(steps)
            steps += [last] if last is not None else []
    if not known:
        return UNKNOWN, ()
    bare, _ = _passes(emission, beam, wavelength, "3B", 0)
    return ("3B or 4" if bare is None else "4"), tuple(steps)
