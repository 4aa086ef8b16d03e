"""The data files of ``shared/eyewear/``; a gap, an overlap or an unknown key is refused."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, Literal

from lasersafe.data import As, Count, Printed, Seen, Source, Span, WavelengthsNm, check, check_cover, load
from lasersafe.reference import shared_path

_WAVELENGTHS_NM = (180.0, 1e6)
_FROM_ZERO = (0.0, math.inf)


@dataclass(frozen=True)
class Capacity:
    """What scale number n withstands: ``coefficient * 10**(n + offset)`` in ``unit``, by the lower figure printed."""

    modes: str
    wavelength_nm: WavelengthsNm
    upper: Annotated[float, As("coefficient", printed=True)]
    offset: int
    unit: Literal["W/m2", "J/m2"]
    seen: Seen
    lower: Annotated[float, As("lower_coefficient", printed=True)] = math.inf

    def __post_init__(self) -> None:
        """Refuse other letters than those of the modes, and figures of nothing."""
        letters = len(set(self.modes)) == len(self.modes) and set(self.modes) <= set("DIRM")
        check(letters, "'modes' must be letters out of D, I, R, M")
        check(self.coefficient > 0.0, "coefficients must be positive")

    @property
    def coefficient(self) -> float:
        """The lower of the figures."""
        return min(self.upper, self.lower)


@dataclass(frozen=True)
class Mode:
    """A mode letter and its pulse lengths."""

    letter: str
    pulse_duration: Annotated[Span, As("pulse_duration_s")]
    seen: Seen


@dataclass(frozen=True)
class FactorRow:
    """One row of the beam-diameter factor: ``coefficient * (d / mm)**exponent``."""

    diameter_mm: Span
    coefficient: Printed
    exponent: Printed


@dataclass(frozen=True)
class BeamFactor:
    """The beam-diameter factor of mode D and the condition that the document sets for it."""

    wavelength_nm: WavelengthsNm
    trigger_power: Annotated[float, As("trigger_power_w")]
    trigger_irradiance: Annotated[float, As("trigger_irradiance_w_per_m2")]
    rows: Annotated[tuple[FactorRow, ...], As("row")]
    locator: str
    seen: Seen

    def __post_init__(self) -> None:
        """Refuse diameters without a factor."""
        check_cover("diameter_mm", (row.diameter_mm for row in self.rows), _FROM_ZERO)


@dataclass(frozen=True)
class PulseNumber:
    """The pulse-number rule of modes I, R and M."""

    wavelength_nm: WavelengthsNm
    exponent: Printed
    counting_time: Annotated[float, As("counting_time_s")]
    repetition_rate_above: Annotated[float, As("repetition_rate_above_hz")]
    pulse_duration_below: Annotated[float, As("pulse_duration_below_s")]
    locator: str
    seen: Seen


@dataclass(frozen=True)
class Merge:
    """The time inside which pulses are summed first."""

    wavelength_nm: WavelengthsNm
    time: Annotated[float, As("time_s")]
    seen: Seen


@dataclass(frozen=True)
class ScaleNumbers:
    """The scale numbers that the document has."""

    lowest: Count
    highest: Count
    transmittance: str
    seen: Seen

    def __post_init__(self) -> None:
        """Refuse an empty range."""
        check(self.lowest < self.highest, "'lowest' must be below 'highest'")


@dataclass(frozen=True)
class EyewearTest:
    """How long eyewear is tested, with how many pulses, and the rate from which the letter Y is left out."""

    duration: Annotated[float, As("duration_s")]
    pulses: Count
    low_rate: Annotated[float, As("low_rate_hz")]
    seen: Seen
    locator: str


@dataclass(frozen=True)
class En207:
    """EN 207:2017 as a set of tables."""

    source: Source
    scale_number: ScaleNumbers
    test: EyewearTest
    modes: Annotated[tuple[Mode, ...], As("mode")]
    capacities: Annotated[tuple[Capacity, ...], As("capacity")]
    beam_factor: BeamFactor
    pulse_number: PulseNumber
    merges: Annotated[tuple[Merge, ...], As("merge")]

    @property
    def lowest(self) -> int:
        """The lowest scale number."""
        return self.scale_number.lowest

    @property
    def highest(self) -> int:
        """The highest scale number."""
        return self.scale_number.highest

    def __post_init__(self) -> None:
        """Refuse a letter too many or too few, and what leaves a gap or overlaps."""
        once = sorted(mode.letter for mode in self.modes) == ["D", "I", "M", "R"]
        check(once, "mode: the letters D, I, R, M must stand once each")
        check_cover("pulse_duration_s", (mode.pulse_duration for mode in self.modes), _FROM_ZERO)
        for letter in "DIRM":
            ranges = (row.wavelength_nm for row in self.capacities if letter in row.modes)
            check_cover(f"capacity of mode {letter}", ranges, _WAVELENGTHS_NM)
        check_cover("merge", (merge.wavelength_nm for merge in self.merges), self.pulse_number.wavelength_nm)


@dataclass(frozen=True)
class AlignmentScale:
    """One RB number: highest continuous power, optical density."""

    number: int
    power: Annotated[float, As("power_w")]
    optical_density: Count


@dataclass(frozen=True)
class AlignmentScope:
    """The wavelengths of alignment eyewear."""

    wavelength_nm: WavelengthsNm
    seen: Seen


@dataclass(frozen=True)
class En208:
    """EN 208 alignment eyewear."""

    source: Source
    scope: AlignmentScope
    scales: Annotated[tuple[AlignmentScale, ...], As("scale")]

    def __post_init__(self) -> None:
        """Refuse numbers with a gap and powers that do not rise."""
        numbers = [scale.number for scale in self.scales]
        check(numbers == list(range(1, len(numbers) + 1)), "scale: numbers must run 1, 2, 3 without a gap")
        check(all(one.power < other.power for one, other in pairwise(self.scales)), "scale: powers must rise")


@dataclass(frozen=True)
class ScreenScope:
    """What EN 12254 covers."""

    mean_power: Annotated[float, As("mean_power_w")]
    pulse_energy: Annotated[float, As("pulse_energy_j")]
    observed: bool


@dataclass(frozen=True)
class ScreenTest:
    """How long a screen is tested, with how many pulses."""

    duration: Annotated[float, As("duration_s")]
    pulses: Count


@dataclass(frozen=True)
class En12254:
    """EN 12254 screens: the scope and the test, without a table of AB numbers."""

    source: Source
    scope: ScreenScope
    test: ScreenTest


@dataclass(frozen=True)
class GuardClass:
    """One test class of IEC 60825-4."""

    name: str
    time: Annotated[float, As("time_s")]
    use: str


@dataclass(frozen=True)
class Iec60825Part4:
    """IEC 60825-4 guards: the test classes."""

    source: Source
    classes: Annotated[tuple[GuardClass, ...], As("class")]

    def __post_init__(self) -> None:
        """Refuse a name that stands twice."""
        check(len({entry.name for entry in self.classes}) == len(self.classes), "class: a name stands twice")


@lru_cache(maxsize=1)
def en207() -> En207:
    """Return the tables of ``shared/eyewear/en207_2017.toml``."""
    return load(En207, shared_path("eyewear", "en207_2017.toml"))


@lru_cache(maxsize=1)
def en208() -> En208:
    """Return the table of ``shared/eyewear/en208.toml``."""
    return load(En208, shared_path("eyewear", "en208.toml"))


@lru_cache(maxsize=1)
def en12254() -> En12254:
    """Return the scope in ``shared/eyewear/en12254.toml``."""
    return load(En12254, shared_path("eyewear", "en12254.toml"))


@lru_cache(maxsize=1)
def iec60825_4() -> Iec60825Part4:
    """Return the classes in ``shared/eyewear/iec60825_4.toml``."""
    return load(Iec60825Part4, shared_path("eyewear", "iec60825_4.toml"))
