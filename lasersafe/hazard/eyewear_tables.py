"""Read the data files of ``shared/eyewear/``; a gap, an overlap or an unknown key is refused."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

from lasersafe.hazard.data_table import FROM_ZERO, DataTable, Source, check_cover, open_data
from lasersafe.reference import shared_path

_WAVELENGTHS_NM = (180.0, 1e6)


@dataclass(frozen=True)
class Capacity:
    """What scale number n withstands: ``coefficient * 10**(n + offset)`` in ``unit``."""

    modes: str
    wavelength_nm: tuple[float, float]
    coefficient: float
    printed: str
    offset: int
    unit: str
    seen: str


@dataclass(frozen=True)
class Mode:
    """A mode letter and its pulse lengths."""

    letter: str
    pulse_duration: tuple[float, float]
    seen: str


@dataclass(frozen=True)
class FactorRow:
    """One row of the beam-diameter factor: ``coefficient * (d / mm)**exponent``."""

    diameter_mm: tuple[float, float]
    coefficient: float
    exponent: float


@dataclass(frozen=True)
class BeamFactor:
    """The beam-diameter factor of mode D and the condition that the document sets for it."""

    wavelength_nm: tuple[float, float]
    trigger_power: float
    trigger_irradiance: float
    rows: tuple[FactorRow, ...]
    locator: str
    seen: str


@dataclass(frozen=True)
class PulseNumber:
    """The pulse-number rule of modes I, R and M."""

    wavelength_nm: tuple[float, float]
    exponent: float
    counting_time: float
    repetition_rate_above: float
    pulse_duration_below: float
    locator: str
    seen: str


@dataclass(frozen=True)
class Merge:
    """The time inside which pulses are summed first."""

    wavelength_nm: tuple[float, float]
    time: float
    seen: str


@dataclass(frozen=True)
class En207:
    """EN 207:2017 as a set of tables."""

    source: Source
    lowest: int
    highest: int
    test_duration: float
    test_pulses: int
    low_rate: float
    modes: tuple[Mode, ...]
    capacities: tuple[Capacity, ...]
    beam_factor: BeamFactor
    pulse_number: PulseNumber
    merges: tuple[Merge, ...]


@dataclass(frozen=True)
class AlignmentScale:
    """One RB number: highest continuous power, optical density."""

    number: int
    power: float
    optical_density: int


@dataclass(frozen=True)
class En208:
    """EN 208 alignment eyewear."""

    source: Source
    wavelength_nm: tuple[float, float]
    scales: tuple[AlignmentScale, ...]


@dataclass(frozen=True)
class En12254:
    """EN 12254 screens: the scope and the test, without a table of AB numbers."""

    source: Source
    mean_power: float
    pulse_energy: float
    observed: bool
    test_duration: float
    test_pulses: int


@dataclass(frozen=True)
class GuardClass:
    """One test class of IEC 60825-4."""

    name: str
    time: float
    use: str


@dataclass(frozen=True)
class Iec60825Part4:
    """IEC 60825-4 guards: the test classes."""

    source: Source
    classes: tuple[GuardClass, ...]


def _capacity(table: DataTable) -> Capacity:
    modes = table.text("modes")
    if len(set(modes)) != len(modes) or not set(modes) <= set("DIRM"):
        table.fail("'modes' must be letters out of D, I, R, M")
    wavelength = table.range("wavelength_nm", _WAVELENGTHS_NM)
    printed = table.text("coefficient")
    lower = table.optional_text("lower_coefficient")
    try:
        coefficient = min(float(printed), float(lower) if lower is not None else math.inf)
    except ValueError:
        table.fail("coefficients must be numbers in quotes, as printed")
    if not (math.isfinite(coefficient) and coefficient > 0):
        table.fail("coefficients must be positive")
    offset, unit = table.whole("offset"), table.text("unit")
    if unit not in ("W/m2", "J/m2"):
        table.fail("'unit' must be W/m2 or J/m2")
    row = Capacity(modes, wavelength, coefficient, lower or printed, offset, unit, table.seen())
    table.done()
    return row


def _beam_factor(table: DataTable) -> BeamFactor:
    wavelength = table.range("wavelength_nm", _WAVELENGTHS_NM)
    power, irradiance = table.number("trigger_power_w"), table.number("trigger_irradiance_w_per_m2")
    rows = []
    for entry in table.tables("row"):
        rows.append(FactorRow(entry.range("diameter_mm"), entry.printed("coefficient"), entry.printed("exponent")))
        entry.done()
    check_cover(table, "diameter_mm", (row.diameter_mm for row in rows), FROM_ZERO)
    factor = BeamFactor(wavelength, power, irradiance, tuple(rows), table.text("locator"), table.seen())
    table.done()
    return factor


def _pulse_number(table: DataTable) -> PulseNumber:
    rule = PulseNumber(
        table.range("wavelength_nm", _WAVELENGTHS_NM),
        table.printed("exponent"),
        table.number("counting_time_s"),
        table.number("repetition_rate_above_hz"),
        table.number("pulse_duration_below_s"),
        table.text("locator"),
        table.seen(),
    )
    table.done()
    return rule


def read_en207(path: Path) -> En207:
    """Read a file of EN 207 tables.

    Parameters
    ----------
    path : pathlib.Path
        The file, shaped as ``shared/eyewear/en207_2017.toml``.

    Returns
    -------
    En207
        All its tables, checked.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged, leaves a gap, overlaps or has an unknown key.
    """
    top, source = open_data(path)
    scale, test = top.table("scale_number"), top.table("test")
    lowest, highest = scale.count("lowest"), scale.count("highest")
    if not lowest < highest:
        scale.fail("'lowest' must be below 'highest'")
    scale.text("transmittance")
    scale.seen()
    scale.done()
    test_duration, test_pulses, low_rate = test.number("duration_s"), test.count("pulses"), test.number("low_rate_hz")
    test.seen()
    test.text("locator")
    test.done()
    modes = []
    for table in top.tables("mode"):
        modes.append(Mode(table.text("letter"), table.range("pulse_duration_s"), table.seen()))
        table.done()
    if sorted(mode.letter for mode in modes) != ["D", "I", "M", "R"]:
        top.fail("mode: the letters D, I, R, M must stand once each")
    check_cover(top, "pulse_duration_s", (mode.pulse_duration for mode in modes), FROM_ZERO)
    capacities = tuple(_capacity(table) for table in top.tables("capacity"))
    for letter in "DIRM":
        ranges = (row.wavelength_nm for row in capacities if letter in row.modes)
        check_cover(top, f"capacity of mode {letter}", ranges, _WAVELENGTHS_NM)
    beam_factor = _beam_factor(top.table("beam_factor"))
    pulse_number = _pulse_number(top.table("pulse_number"))
    merges = []
    for table in top.tables("merge"):
        merges.append(Merge(table.range("wavelength_nm", _WAVELENGTHS_NM), table.number("time_s"), table.seen()))
        table.done()
    check_cover(top, "merge", (merge.wavelength_nm for merge in merges), pulse_number.wavelength_nm)
    top.done()
    return En207(
        source, lowest, highest, test_duration, test_pulses, low_rate, tuple(modes), capacities, beam_factor,
        pulse_number, tuple(merges),
    )  # fmt: skip


def read_en208(path: Path) -> En208:
    """Read a file of EN 208 alignment numbers.

    Parameters
    ----------
    path : pathlib.Path
        The file, shaped as ``shared/eyewear/en208.toml``.

    Returns
    -------
    En208
        Its content, checked.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged, or has an unknown key.
    """
    top, source = open_data(path)
    scope = top.table("scope")
    wavelength = scope.range("wavelength_nm", _WAVELENGTHS_NM)
    scope.seen()
    scope.done()
    scales = []
    for table in top.tables("scale"):
        scales.append(AlignmentScale(table.whole("number"), table.number("power_w"), table.count("optical_density")))
        table.done()
    if [scale.number for scale in scales] != list(range(1, len(scales) + 1)):
        top.fail("scale: numbers must run 1, 2, 3 without a gap")
    if any(low.power >= high.power for low, high in pairwise(scales)):
        top.fail("scale: powers must rise")
    top.done()
    return En208(source, wavelength, tuple(scales))


def read_en12254(path: Path) -> En12254:
    """Read a file with the scope of EN 12254.

    Parameters
    ----------
    path : pathlib.Path
        The file, shaped as ``shared/eyewear/en12254.toml``.

    Returns
    -------
    En12254
        Its content, checked.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged, or has an unknown key.
    """
    top, source = open_data(path)
    scope, test = top.table("scope"), top.table("test")
    result = En12254(
        source, scope.number("mean_power_w"), scope.number("pulse_energy_j"), scope.flag("observed"),
        test.number("duration_s"), test.count("pulses"),
    )  # fmt: skip
    for table in (scope, test, top):
        table.done()
    return result


def read_iec60825_4(path: Path) -> Iec60825Part4:
    """Read a file with the test classes of IEC 60825-4.

    Parameters
    ----------
    path : pathlib.Path
        The file, shaped as ``shared/eyewear/iec60825_4.toml``.

    Returns
    -------
    Iec60825Part4
        Its content, checked.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged, or has an unknown key.
    """
    top, source = open_data(path)
    classes = []
    for table in top.tables("class"):
        classes.append(GuardClass(table.text("name"), table.number("time_s"), table.text("use")))
        table.done()
    if len({entry.name for entry in classes}) != len(classes):
        top.fail("class: a name stands twice")
    top.done()
    return Iec60825Part4(source, tuple(classes))


@lru_cache(maxsize=1)
def en207() -> En207:
    """Return the tables of ``shared/eyewear/en207_2017.toml``."""
    return read_en207(shared_path("eyewear", "en207_2017.toml"))


@lru_cache(maxsize=1)
def en208() -> En208:
    """Return the table of ``shared/eyewear/en208.toml``."""
    return read_en208(shared_path("eyewear", "en208.toml"))


@lru_cache(maxsize=1)
def en12254() -> En12254:
    """Return the scope in ``shared/eyewear/en12254.toml``."""
    return read_en12254(shared_path("eyewear", "en12254.toml"))


@lru_cache(maxsize=1)
def iec60825_4() -> Iec60825Part4:
    """Return the classes in ``shared/eyewear/iec60825_4.toml``."""
    return read_iec60825_4(shared_path("eyewear", "iec60825_4.toml"))
