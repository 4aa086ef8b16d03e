"""Accessible emission limits of a laser class, as printed; for a check of the label, never to classify."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Literal

from lasersafe.data import As, Printed, Source, Span, WavelengthsNm, load
from lasersafe.limits import correction_factor
from lasersafe.reference import shared_path

CLASSES = ("1", "1M", "2", "2M", "3R", "3B", "4")
EDITION = "IEC 60825-1:2014"
_FACTORS = {"C_2": "C_2", "C_3": "C_B", "C_4": "C_A", "C_7": "C_C"}
_EDGE = 1e-12


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
class _Units:
    wavelength: Literal["nm"]
    duration: Literal["s"]
    energy: Annotated[Literal["J"], As("Q")]
    power: Annotated[Literal["W"], As("P")]


@dataclass(frozen=True)
class _Rows:
    unit: _Units
    row: tuple[EmissionRow, ...]


@dataclass(frozen=True)
class _Emission:
    source: Source
    table: _Rows


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
    return content.table.row, content.source


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
