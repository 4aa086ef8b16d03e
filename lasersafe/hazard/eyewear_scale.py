"""The data files of ``shared/eyewear/``, and the EN 207 scale numbers that a beam asks for."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, ClassVar, Literal, NamedTuple, TypeVar

from lasersafe.data import As, Count, Printed, Seen, Source, Span, WavelengthsNm, check, check_cover, load
from lasersafe.errors import OutOfRangeError, refuse
from lasersafe.hazard.exposure import Emission
from lasersafe.optics.beam import pair, positive, within
from lasersafe.records import ScaleNeed, Step
from lasersafe.wording import Message

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
class En207:
    """EN 207:2017 as a set of tables."""

    file: ClassVar = "eyewear/en207_2017.toml"
    source: Source
    lowest: Annotated[int, As("scale_number.lowest", inside=(1.0, math.inf))]
    highest: Annotated[int, As("scale_number.highest", inside=(1.0, math.inf))]
    transmittance: Annotated[str, As("scale_number.transmittance")]
    numbers_seen: Annotated[Seen, As("scale_number.seen")]
    test_time: Annotated[float, As("test.duration_s")]
    test_pulses: Annotated[int, As("test.pulses", inside=(1.0, math.inf))]
    low_rate: Annotated[float, As("test.low_rate_hz")]  # from which the letter Y is left out
    test_seen: Annotated[Seen, As("test.seen")]
    test_locator: Annotated[str, As("test.locator")]
    modes: Annotated[tuple[Mode, ...], As("mode")]
    capacities: Annotated[tuple[Capacity, ...], As("capacity")]
    beam_factor: BeamFactor
    pulse_number: PulseNumber
    merges: Annotated[tuple[Merge, ...], As("merge")]

    def __post_init__(self) -> None:
        """Refuse a letter too many or too few, and what leaves a gap or overlaps."""
        check(self.lowest < self.highest, "'lowest' must be below 'highest'")
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
class En208:
    """EN 208 alignment eyewear."""

    file: ClassVar = "eyewear/en208.toml"
    source: Source
    wavelength_nm: Annotated[Span, As("scope.wavelength_nm", inside=_WAVELENGTHS_NM)]
    scope_seen: Annotated[Seen, As("scope.seen")]
    scales: Annotated[tuple[AlignmentScale, ...], As("scale")]

    def __post_init__(self) -> None:
        """Refuse numbers with a gap and powers that do not rise."""
        numbers = [scale.number for scale in self.scales]
        check(numbers == list(range(1, len(numbers) + 1)), "scale: numbers must run 1, 2, 3 without a gap")
        check(all(one.power < other.power for one, other in pairwise(self.scales)), "scale: powers must rise")


@dataclass(frozen=True)
class En12254:
    """EN 12254 screens: the scope, without a table of AB numbers."""

    file: ClassVar = "eyewear/en12254.toml"
    source: Source
    mean_power: Annotated[float, As("scope.mean_power_w")]
    pulse_energy: Annotated[float, As("scope.pulse_energy_j")]
    observed: Annotated[bool, As("scope.observed")]


@dataclass(frozen=True)
class GuardClass:
    """One test class of IEC 60825-4."""

    name: str
    time: Annotated[float, As("time_s")]
    use: str


@dataclass(frozen=True)
class Iec60825Part4:
    """IEC 60825-4 guards: the test classes."""

    file: ClassVar = "eyewear/iec60825_4.toml"
    source: Source
    classes: Annotated[tuple[GuardClass, ...], As("class")]

    def __post_init__(self) -> None:
        """Refuse a name that stands twice."""
        check(len({entry.name for entry in self.classes}) == len(self.classes), "class: a name stands twice")


TOLERANCE = 1e-9  # what rounding of floats may move a density or scale number; nothing else is forgiven
SHORTEST_PULSE = 1e-13  # [s]
_JUST_ABOVE = 1 + 1e-6
FACTOR_ANYWAY = "scale.factor_anyway"  # key of the meaning of the step


def scale_numbers(
    emission: Emission, wavelength: float, beam_diameter: float | tuple[float, float]
) -> tuple[ScaleNeed, ...]:
    """Return the EN 207:2017 scale number that each applicable mode letter asks for [1]_ [2]_.

    Continuous emission: D. A pulse train: the letter of its pulse length, and D for the mean power. A single
    pulse: its letter alone. A pulse length on the edge of two letters asks for both, a wavelength on the edge of
    two bands for the stricter. The beam-diameter factor is always applied.

    Parameters
    ----------
    emission : Emission
        What reaches the eyewear at one setting; pulses from 1e-13 s, without a rate one of them. A pedestal counts in
        each pulse and in the mean power.
    wavelength : float
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    beam_diameter : float or tuple of float
        1/e diameter at the eyewear; both axes where the beam is elliptical. [m]

    Returns
    -------
    tuple of ScaleNeed
        The pulse letters first in the order I, R, M, D where the pulse is long, then D for the mean power.
        ``scale_number`` is None beyond the highest number of the standard.

    Raises
    ------
    InputError
        If a pulse is longer than its period.
    OutOfRangeError
        If a value is not finite and positive, or outside what the tables cover.

    References
    ----------
    .. [1] EN207-2017, table of scale numbers (``shared/eyewear/en207_2017.toml``).
    .. [2] DGUV203-042, sections 5.2 to 5.4.

    Examples
    --------
    >>> [(need.mode, need.scale_number) for need in scale_numbers(Emission("continuous", 1e3), 1070e-9, 7e-3)]
    [('D', 8)]
    """
    return tuple(one.told() for one in numbers_asked(emission, wavelength, beam_diameter))


class NumberAsked(NamedTuple):
    """What one mode letter asks for, as in `ScaleNeed`, with its steps still to tell."""

    mode: str
    scale_number: int | None
    density_value: float
    density_unit: str
    steps: Callable[[], list[Step]]

    def told(self) -> ScaleNeed:
        """Return the same with its steps."""
        return ScaleNeed(*self[:4], tuple(self.steps()))


def numbers_asked(
    emission: Emission, wavelength: float, beam_diameter: float | tuple[float, float]
) -> list[NumberAsked]:
    """Return what `scale_numbers` does, with the same arguments, without steps: of many settings few are told.

    Parameters
    ----------
    emission : Emission
        As of `scale_numbers`.
    wavelength : float
        Vacuum wavelength. [m]
    beam_diameter : float or tuple of float
        1/e diameter at the eyewear. [m]

    Returns
    -------
    list of NumberAsked
        One for each letter.

    Raises
    ------
    InputError, OutOfRangeError
        As of `scale_numbers`.
    """
    positive("wavelength", wavelength, "m")
    nanometre = round(wavelength * 1e9, 6)
    if not 180 <= nanometre <= 1e6:
        refuse(f"wavelength = {nanometre:g} nm is outside EN 207, which covers 180 nm to 1 mm", OutOfRangeError)
    axes = pair("beam diameter", positive("beam diameter", beam_diameter, "m"))
    area = float(positive("beam area", math.pi * axes[0] * axes[1] / 4, "m2"))
    beam = _Beam(area, axes)
    if emission.kind == "continuous":
        positive("power", emission.power, "W")
        return [_continuous(nanometre, emission.power, beam, "power")]
    length, rate, pedestal = emission.pulse_duration, emission.repetition_rate, emission.pedestal
    positive("pulse energy", emission.pulse_energy, "J")
    positive("pulse duration", length, "s")
    if length < SHORTEST_PULSE * (1 - TOLERANCE):
        refuse(f"pulse duration = {length:g} s: below 1e-13 s nothing here applies", OutOfRangeError)
    if rate:
        positive("repetition rate", rate, "Hz")
        if length * rate > 1 + TOLERANCE:
            refuse(f"pulse duration = {length:g} s is longer than the period at {rate:g} Hz")
    within("pedestal", pedestal, "W", 0.0, math.inf)
    energy = emission.pulse_energy + pedestal * length
    needs = [
        _continuous(nanometre, energy / length, beam, Message("scale.long_pulse"))
        if letter == "D"
        else _pulsed(nanometre, letter, energy, length, rate, beam)
        for letter in pulse_letters(length)
    ]
    mean_power = emission.pulse_energy * rate + pedestal
    if mean_power > 0.0 and all(need.mode != "D" for need in needs):
        needs.append(_continuous(nanometre, mean_power, beam, "mean power"))
    return needs


def pulse_letters(pulse_duration: float) -> tuple[str, ...]:
    """Return the EN 207 mode letters of a pulse length, in the order I, R, M, D; two on a shared edge.

    Parameters
    ----------
    pulse_duration : float
        Duration of one pulse. [s]

    Returns
    -------
    tuple of str
        One or two of "I", "R", "M", "D".
    """
    lasting = ((mode.letter, *mode.pulse_duration) for mode in load(En207).modes)
    letters = (letter for letter, low, high in lasting
               if low * (1 - TOLERANCE) <= pulse_duration <= high * (1 + TOLERANCE))  # fmt: skip
    return tuple(sorted(letters, key="IRMD".index))


def worst_rates(wavelength: float, slowest: float, fastest: float) -> tuple[float, ...]:
    """Return the repetition rates of a range among which the highest scale numbers lie.

    Pulses are counted whole, so what a filter must withstand jumps up just above some rates. For one pulse energy, or
    for one mean power, over the whole range, no other rate asks for more by more than one part in 1e5.

    Parameters
    ----------
    wavelength : float
        Vacuum wavelength. [m]
    slowest : float
        Lower end of the range. [Hz]
    fastest : float
        Upper end of the range. [Hz]

    Returns
    -------
    tuple of float
        Rising rates, both ends among them. [Hz]

    """
    rule, nanometre = load(En207).pulse_number, round(wavelength * 1e9, 6)
    rates = {slowest, fastest}
    if _at([rule], nanometre):
        time = _merge(nanometre).time
        jumps = [rule.repetition_rate_above]
        jumps += [max(1, math.ceil(slowest * span - TOLERANCE)) / span for span in (time, rule.counting_time)]
        rates |= {jump * _JUST_ABOVE for jump in jumps if slowest <= jump * _JUST_ABOVE <= fastest}
    return tuple(sorted(rates))


def beam_factor(wavelength_nm: float, beam_diameter_63: float) -> float:
    """Return the EN 207 beam-diameter factor F of mode D [1]_.

    Parameters
    ----------
    wavelength_nm : float
        Vacuum wavelength in nm. [nm]
    beam_diameter_63 : float
        1/e diameter at the eyewear. [m]

    Returns
    -------
    float
        F, from 1 to 100. [1]

    References
    ----------
    .. [1] DGUV203-042, section 5.2 (``shared/eyewear/en207_2017.toml``).
    """
    table = load(En207).beam_factor
    if not _at([table], wavelength_nm):
        return 1.0
    millimetre = round(beam_diameter_63 * 1e3, 9)
    rows = (row for row in table.rows if row.diameter_mm[0] <= millimetre <= row.diameter_mm[1])
    return max(row.coefficient * math.pow(millimetre, row.exponent) for row in rows)


@dataclass(frozen=True)
class _Beam:
    area: float
    axes: tuple[float, float]

    def spread(self, amount: float, unit: str, what: str, meaning: str) -> list[Step]:
        """Return a power or an energy, and what of it falls on each part of the area of the beam."""
        symbol, over = ("P", "E") if unit == "W" else ("Q", "H")
        text = "x ".join(f"{axis * 1e3:.5g} mm " for axis in dict.fromkeys(self.axes)).strip()
        put_in = Message("scale.over_area", amount=f"{amount:.5g} {unit}", diameter=text)
        density = amount / self.area
        return [
            Step(symbol, what, symbol, f"{amount:.5g} {unit}", amount, unit, "input", "own"),
            Step(over, meaning, f"{over} = {symbol} / A_63", put_in, density, f"{unit}/m2", "geometry", "own"),
        ]


def _continuous(nanometre: float, power: float, beam: _Beam, what: str) -> NumberAsked:
    standard, wide = load(En207), max(beam.axes)
    rule, irradiance, factor = standard.beam_factor, power / beam.area, beam_factor(nanometre, wide)

    def steps() -> list[Step]:
        source = f"{rule.locator}; figures from {standard.source.key}", rule.seen
        unmet = factor > 1 and not (power > rule.trigger_power or irradiance > rule.trigger_irradiance)
        condition = {"power": f"{rule.trigger_power:g} W", "density": f"{rule.trigger_irradiance:g} W/m2"}
        meaning = Message(FACTOR_ANYWAY if unmet else "scale.factor", **condition)
        put_in, withstand = f"{irradiance:.5g} W/m2 x {factor:.5g}", irradiance * factor
        return [
            *beam.spread(power, "W", what, Message("scale.irradiance")),
            Step("F", meaning, Message("scale.factor_formula"), f"d_63 = {wide * 1e3:.5g} mm", factor, "1", *source),
            Step("E'", Message("scale.withstand"), "E' = E F", put_in, withstand, "W/m2", *source),
        ]

    return _need(nanometre, "D", {"W/m2": irradiance * factor}, steps)


def _pulsed(nanometre: float, letter: str, energy: float, duration: float, rate: float, beam: _Beam) -> NumberAsked:
    standard = load(En207)
    rule, one = standard.pulse_number, energy / beam.area
    short = duration <= rule.pulse_duration_below * (1 + TOLERANCE) and bool(_at([rule], nanometre))
    counted = rate > rule.repetition_rate_above and short
    merge = _merge(nanometre) if counted else None
    together, groups = 1, 1.0
    if merge:
        together = max(1, math.ceil(rate * merge.time - TOLERANCE))
        groups = rule.counting_time / merge.time if together > 1 else rate * rule.counting_time
    number = max(1, math.ceil(groups - TOLERANCE))
    exposure = one * together * math.pow(number, rule.exponent)

    def steps() -> list[Step]:
        source, withstand = (rule.locator, rule.seen), Message("scale.withstand")
        found = beam.spread(energy, "J", Message("scale.energy"), Message("scale.exposure"))
        if not merge:
            return [*found, Step("H'", withstand, "H' = H", Message("scale.one_pulse"), exposure, "J/m2", *source)]
        time, joined = f"{rule.counting_time:g} s", f"{rate:.10g} Hz x {merge.time:.3g} s"
        rounded = Message("scale.rounded_up", number=f"{groups:.5g}")
        put_in = f"{together} x {one:.5g} J/m2 x {number}^0.25"
        return [
            *found,
            Step("n_i", Message("scale.summed"), Message("scale.summed_formula"), joined, float(together), "1",
                 f"T_i: {standard.source.key}", merge.seen),
            Step("N", Message("scale.groups", time=time), Message("scale.groups_formula", time=time), rounded,
                 float(number), "1", *source),
            Step("H'", withstand, "H' = n_i H N^(1/4)", put_in, exposure, "J/m2", *source),
        ]  # fmt: skip

    return _need(nanometre, letter, {"J/m2": exposure, "W/m2": exposure / duration}, steps)


Row = TypeVar("Row", Capacity, Merge, BeamFactor, PulseNumber)


def _at(rows: Iterable[Row], nanometre: float) -> list[Row]:
    """Return the rows of a table that hold at a wavelength, both of an edge [nm]."""
    return [row for row in rows if row.wavelength_nm[0] <= nanometre <= row.wavelength_nm[1]]


def _merge(nanometre: float) -> Merge:
    return max(_at(load(En207).merges, nanometre), key=lambda row: row.time)


def _need(nanometre: float, letter: str, density: dict[str, float], first: Callable[[], list[Step]]) -> NumberAsked:
    standard = load(En207)

    def exact(row: Capacity) -> float:
        return math.log10(density[row.unit]) - math.log10(row.coefficient) - row.offset

    for unit, value in density.items():
        positive("density at the eyewear", value, unit)
    row = max((one for one in _at(standard.capacities, nanometre) if letter in one.modes), key=exact)
    number = max(standard.lowest, math.ceil(exact(row) - TOLERANCE))
    beyond, value = number > standard.highest, density[row.unit]

    def steps() -> list[Step]:
        symbol, found = "E'" if row.unit == "W/m2" else "H'", first()
        if row.unit == "W/m2" and letter != "D":
            why = Message("scale.pulse_length")
            found.append(Step("E'", Message("scale.peak"), "E' = H' / t", why, value, "W/m2", "geometry", "own"))
        meaning = Message("scale.number_beyond" if beyond else "scale.number", mode=letter, highest=standard.highest)
        limit = f"{row.coefficient:g} x 10^(n{row.offset:+d}) {row.unit}"
        formula = Message("scale.number_formula", least=standard.lowest, symbol=symbol, limit=limit)
        exactly = Message("scale.rounded_up", number=f"{value:.5g} {row.unit}: n = {exact(row):.4g}")
        place = f"{standard.source.key}, mode {letter}, {row.wavelength_nm[0]:g} to {row.wavelength_nm[1]:g} nm"
        return [*found, Step("n", meaning, formula, exactly, float(number), "1", place, row.seen)]

    return NumberAsked(letter, None if beyond else number, value, row.unit, steps)
