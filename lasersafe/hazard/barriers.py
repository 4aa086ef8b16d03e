"""What light falls on: what materials send back, when they may burn; what barriers and view windows hold."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, ClassVar, Literal

from lasersafe.data import As, Printed, Seen, Source, check, fail, load
from lasersafe.hazard.distances import PEAK_APERTURE, direct_distance, scatter_distance
from lasersafe.hazard.eyewear_scale import En12254, Iec60825Part4
from lasersafe.hazard.marking import round_up_density
from lasersafe.optics.beam import BeamGeometry, within
from lasersafe.optics.reflection import LitSpot
from lasersafe.quantity import format_quantity
from lasersafe.records import Step
from lasersafe.wording import Message, joined

FILES = ("metals.toml", "non_metals.toml")
LONG_WAVE = 2.6e-6  # m; from here brushed and painted metal counts as a mirror (trade practice, Rayleigh rule)
SAME = 0.02  # a row stands for wavelengths this close to it, relative


@dataclass(frozen=True)
class Reflectance:
    """What a surface sends back: value used, whether as a mirror, and where both come from."""

    value: float
    mirror: bool
    words: str
    source: str
    seen: str


NOT_KNOWN = Reflectance(1.0, True, "not known: all of it, as a mirror", "strict bound", "memory")


@dataclass(frozen=True)
class Row:
    """Reflectance at one wavelength [m] as printed, one value or a range."""

    wavelength: Annotated[float, As("wavelength_nm", 1e-9)]
    source: str
    seen: Seen
    value: Printed | None = None
    low: Printed | None = None
    high: Printed | None = None

    def __post_init__(self) -> None:
        if self.low is not None and self.high is not None:
            check(self.value is None, "write 'value', or 'low' and 'high'")
            check(self.low < self.high, "'low' must be below 'high'")
        else:
            check(self.low == self.high and self.value is not None, "write 'value', or 'low' and 'high'")
        check(self.upper <= 1.0, "a reflectance lies from 0 to 1")

    @property
    def upper(self) -> float:
        """The upper end."""
        return (self.value or 0.0) if self.high is None else self.high


@dataclass(frozen=True)
class Material:
    """A material of the data files; ``rough`` ones scatter at long wavelengths too."""

    key: str
    name: str
    metal: bool
    rows: Annotated[tuple[Row, ...], As("row")]  # by wavelength, rising
    plus: Printed | None = None
    rough: bool | None = None

    def __post_init__(self) -> None:
        check((self.plus is not None) == self.metal != (self.rough is not None), "metals have 'plus', others 'rough'")
        check(all(one.wavelength < other.wavelength for one, other in pairwise(self.rows)), "its rows do not rise")

    def used(self, row: Row) -> float:
        """Return the reflectance that counts for a row: its upper end, of a metal with what roughness adds."""
        return min(1.0, row.upper + (self.plus or 0.0))


@dataclass(frozen=True)
class _Materials:
    source: Source
    material: tuple[Material, ...]


@lru_cache(maxsize=1)
def materials() -> dict[str, Material]:
    """Return the materials of ``shared/reflectance/`` by key.

    Raises
    ------
    ReferenceDataError
        If a file is damaged.
    """
    found: dict[str, Material] = {}
    for name in FILES:
        for one in load(_Materials, f"reflectance/{name}").material:
            if one.key in found:
                fail(f"data file {name}", f"the key '{one.key}' is used twice")
            found[one.key] = one
    return found


def material_reflectance(key: str, finish: str, wavelength: float) -> Reflectance:
    """Return the reflectance of a material to be used at a wavelength [1]_ [2]_.

    Parameters
    ----------
    key : str
        Key of ``shared/reflectance/``.
    finish : str
        ``"mirror"``, ``"matt"`` or ``"unknown"``, which counts as a mirror.
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    Reflectance
        The upper end at a row within 2 %, the larger neighbour between rows, 1 outside them; a matt surface that is
        not rough counts as a mirror from 2.6 um on.

    References
    ----------
    .. [1] NK-DATABASE, clean metals at normal incidence, derived from n and k.
    .. [2] TRADE-REFLECTANCE, from memory.

    Examples
    --------
    >>> material_reflectance("copper", "mirror", 1064e-9).value
    0.99
    >>> material_reflectance("copper", "matt", 800e-9).words
    'copper: 0.97 + 0.02 (larger neighbour, 1070 nm)'
    """
    material = materials()[key]
    mirror = finish != "matt" or (wavelength >= LONG_WAVE and not material.rough)
    rows = material.rows
    close = [row for row in rows if abs(row.wavelength - wavelength) <= SAME * row.wavelength]
    if close:
        chosen, how = max(close, key=material.used), "at"
    elif rows[0].wavelength < wavelength < rows[-1].wavelength:
        below = max(i for i, row in enumerate(rows) if row.wavelength < wavelength)
        chosen, how = max(rows[below : below + 2], key=material.used), "larger neighbour,"
    else:
        words = f"{material.name}: no value at {wavelength * 1e9:.6g} nm, so all of it"
        return Reflectance(1.0, True, words, NOT_KNOWN.source, NOT_KNOWN.seen)
    more = f" + {material.plus:g}" if material.plus else ""
    printed = f"{chosen.value:g}{more}" if chosen.high is None else f"{chosen.low:g} to {chosen.high:g}"
    words = f"{material.name}: {printed} ({how} {chosen.wavelength * 1e9:.6g} nm)"
    return Reflectance(material.used(chosen), mirror, words, chosen.source, chosen.seen)


@dataclass(frozen=True)
class IgnitionThreshold:
    """Irradiance [W/m2], and power [W] where there is one, above which something may burn; source and mark."""

    name: str
    irradiance: Annotated[float, As("irradiance_w_cm2", 1e4, printed=True)]
    source: str
    seen: Literal["read", "part", "memory", "own"]
    note: str
    power: Annotated[float, As("power_w", printed=True)] | None = None

    def __post_init__(self) -> None:
        """Refuse a threshold of nothing."""
        check(self.irradiance > 0.0, "the irradiance must be above 0")


@dataclass(frozen=True)
class _Screening:
    file: ClassVar = "ignition/screening.toml"
    source: Source
    threshold: tuple[IgnitionThreshold, ...]


def screening_thresholds() -> tuple[IgnitionThreshold, ...]:
    """Return the screening values of ``shared/ignition/screening.toml``.

    Raises
    ------
    ReferenceDataError
        If the file is damaged.
    """
    return load(_Screening).threshold


TOLERANCE = 1e-9


@dataclass(frozen=True)
class BarrierVerdict:
    """Whether a barrier holds, in one sentence, with notes and steps; ``holds`` is False when anything is unknown.

    Of a view window, also the optical density that is needed.
    """

    holds: bool
    verdict: Message
    notes: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    needed_density: float = 0.0


@dataclass(frozen=True)
class Load:
    """What falls on a barrier or window.

    Parameters
    ----------
    irradiance : float
        Its peak, not averaged over an aperture. [W/m2]
    mean_power : float, optional
        Of the beam, for the scope of EN 12254. [W]
    pulse_energy : float, optional
        Energy of one pulse; None for continuous emission. [J]
    pulse : float, optional
        Peak radiant exposure of one pulse; needed with pulses. [J/m2]
    """

    irradiance: float
    mean_power: float | None = None
    pulse_energy: float | None = None
    pulse: float | None = None


@dataclass(frozen=True)
class Rating:
    """What a barrier or window withstands, as its maker states it.

    Parameters
    ----------
    irradiance : float or None
        None when unrated. [W/m2]
    time : float, optional
        For which it is stated; a case has it with every rating. [s]
    pulse : float, optional
        Radiant exposure of one pulse; None when not rated for pulses. [J/m2]
    en12254_class : str
        As marked, as "AB5"; "" when there is none.
    observed : bool
        Whether somebody watches it while the laser is on.
    """

    irradiance: float | None
    time: float | None = None
    pulse: float | None = None
    en12254_class: str = ""
    observed: bool = False


def judge_barrier(falls: Load, rating: Rating, required_time: float) -> BarrierVerdict:
    """Judge a barrier: it holds only when irradiance and time are both within what its maker states [1]_ [2]_.

    A number that is missing, not finite or not positive never lets a barrier hold.

    Parameters
    ----------
    falls : Load
        What falls on it.
    rating : Rating
        What it withstands.
    required_time : float
        Time until the beam is surely off; see `needed_time`. [s]

    Returns
    -------
    BarrierVerdict
        The verdict with its notes and steps.

    References
    ----------
    .. [1] EN12254, scope (``shared/eyewear/en12254.toml``).
    .. [2] IEC60825-4 (``shared/eyewear/iec60825_4.toml``).

    Examples
    --------
    >>> judge_barrier(Load(4.8e4), Rating(1e5, 60.0), 10.0).verdict
    'holds: 48000 W/m2 is within the rated 100000 W/m2 for 60 s, and 10 s are needed'
    """
    notes: list[str] = []
    marked, energy = rating.en12254_class.strip(), falls.pulse_energy
    outside = en12254_outside(falls.mean_power, energy, rating.observed)
    if marked and outside:
        notes.append(Message("barrier.no_evidence", name=marked, why=joined(outside)))
    elif marked:
        notes.append(Message("barrier.no_table", name=marked))
    elif outside:
        notes.append(Message("barrier.outside", why=joined(outside)))
    if energy is not None:
        notes.append(Message("barrier.density_only"))
    holds, why = _compare(falls.irradiance, rating.irradiance, rating.time, required_time)
    if marked and outside and holds:
        holds, why = False, Message("barrier.out_of_scope")
    if energy is not None and holds:
        pulse = math.inf if falls.pulse is None else falls.pulse
        if rating.pulse is None:
            holds, why = False, Message("barrier.no_pulses")
        elif not math.isfinite(pulse) or not pulse <= rating.pulse:
            holds, why = False, Message("barrier.pulse", **load_and_rating(pulse, rating.pulse, "J/m2"))
    pairs = (
        ("E / E_R", "barrier.part_used", "barrier.part_formula", falls.irradiance, rating.irradiance, ".5g", "W/m2"),
        ("H / H_R", "barrier.pulse_load", "barrier.pulse_formula", falls.pulse, rating.pulse, ".4g", "J/m2"),
    )
    steps = []
    for symbol, text, formula, have, rated, form, unit in pairs:
        if have is not None and rated is not None and math.isfinite(have) and math.isfinite(rated) and rated > 0.0:
            numbers = f"{have:{form}} {unit} / {rated:{form}} {unit}"
            facts = (Message(text), Message(formula), numbers, have / rated, "1", Message("source.maker"), "own")
            steps.append(Step(symbol, *facts))
    verdict = Message("barrier.holds" if holds else "barrier.fails", why=why)
    return BarrierVerdict(holds, verdict, tuple(notes), tuple(steps))


def en12254_outside(mean_power: float | None, pulse_energy: float | None, observed: bool) -> tuple[str, ...]:
    """Return why a beam lies outside the scope of EN 12254; an empty tuple when it lies inside [1]_.

    Parameters
    ----------
    mean_power : float or None
        Mean power; None for a single pulse, which has none. [W]
    pulse_energy : float or None
        Energy of one pulse; None for continuous emission. [J]
    observed : bool
        Whether somebody watches the screen.

    Returns
    -------
    tuple of str
        The reasons.

    References
    ----------
    .. [1] EN12254, scope (``shared/eyewear/en12254.toml``).
    """
    scope, reasons = load(En12254), []
    pairs = (("power", mean_power, scope.mean_power, "W"), ("energy", pulse_energy, scope.pulse_energy, "J"))
    for what, value, most, unit in pairs:
        if value is not None and not 0 <= value <= most * (1 + TOLERANCE):
            facts = {"limit": f"{most:g} {unit}", "value": f"{value:.4g} {unit}"}
            reasons.append(Message(f"barrier.scope_{what}", **facts))
    if scope.observed and not observed:
        reasons.append(Message("barrier.scope_watch"))
    return tuple(reasons)


def needed_time(observed: bool) -> float:
    """Return how long a guard has to withstand the exposure: class T3 of IEC 60825-4 when watched, else T1 [1]_.

    Parameters
    ----------
    observed : bool
        Whether somebody watches it all the time.

    Returns
    -------
    float
        The time. [s]

    References
    ----------
    .. [1] IEC60825-4, from memory (``shared/eyewear/iec60825_4.toml``).
    """
    times = {entry.name: entry.time for entry in load(Iec60825Part4).classes}
    return times["T3" if observed else "T1"]


def barrier_distance(power: float, rating: float, light: BeamGeometry | LitSpot) -> float:
    """Return how far from the last optic, or from a lit spot, a barrier has to stand so that its rating is kept [1]_.

    The farthest place where the peak irradiance is above the rating; the peak, since a barrier is pierced at its
    hottest point.

    Parameters
    ----------
    power : float
        Power that reaches the barrier, or falls on the spot. [W]
    rating : float
        Power density that the barrier withstands. [W/m2]
    light : BeamGeometry or LitSpot
        The beam, or the worst scatterer.

    Returns
    -------
    float
        Distance; 0.0 where the rating is nowhere exceeded. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the distance is too large to compute.

    References
    ----------
    .. [1] Own: the range equation with the rating in place of a limit.
    """
    if power == 0.0:
        return 0.0
    if isinstance(light, LitSpot):
        far = scatter_distance(power, rating, light.reflectance, light.view_angle, light.model)
    else:
        far = direct_distance(power, rating, PEAK_APERTURE, light)
    return float(far) * (1.0 + TOLERANCE)


def load_and_rating(load: float, rating: float, unit: str) -> dict[str, str]:
    """Return a load in words, rounded up to as many digits as leave it on its side of the rating, and the rating.

    Parameters
    ----------
    load : float
        What falls on a barrier. [W/m2 or J/m2]
    rating : float
        What it withstands. [W/m2 or J/m2]
    unit : str
        Unit of both.
    """
    each = (format_quantity(rating, "1", digits) for digits in range(3, 7))  # as in tables, where it has no more
    rated = next((text for text in each if abs(float(text) - rating) <= 1e-6 * rating), f"{rating:.6g}")
    if not math.isfinite(load):
        return {"load": f"{load:g} {unit}", "rating": f"{rated} {unit}"}
    texts = (format_quantity(load, "1", digits, "up") for digits in range(3, 18))
    said = next(text for text in texts if not load <= rating or float(text) <= rating)
    return {"load": f"{said} {unit}", "rating": f"{rated} {unit}"}


def _compare(
    irradiance: float, rating: float | None, rated_time: float | None, required_time: float
) -> tuple[bool, Message]:
    if rating is None or rated_time is None:  # each is stated with the other
        return False, Message("barrier.unrated")
    known = all(math.isfinite(number) for number in (irradiance, rating, rated_time, required_time))
    if not (known and irradiance >= 0 and rating > 0 and rated_time > 0 and required_time > 0):
        return False, Message("barrier.unusable")
    facts = load_and_rating(irradiance, rating, "W/m2")
    facts |= {"time": f"{rated_time:g} s", "needed": f"{required_time:g} s"}
    if not irradiance <= rating:
        key = "barrier.times" if irradiance / rating >= 1.05 else "barrier.above"
        return False, Message(key, ratio=format_quantity(irradiance / rating, "1", 3, "up"), **facts)
    lasts = rated_time >= required_time
    return lasts, Message("barrier.within" if lasts else "barrier.too_short", **facts)


def judge_window(
    ratio: float, optical_density: float, load: Load, rating: Rating, required_time: float
) -> BarrierVerdict:
    """Judge a view window: it holds only when both its density and its resistance are enough [1]_.

    Parameters
    ----------
    ratio : float
        Exposure that would meet the eye without the window, over its limit. [1]
    optical_density : float
        Density at this wavelength as its maker states it. [1]
    load : Load
        What falls on the window.
    rating : Rating
        What it withstands.
    required_time : float
        Time until the beam is surely off. [s]

    Returns
    -------
    BarrierVerdict
        The verdict; False when anything is unknown.

    Raises
    ------
    OutOfRangeError
        If the ratio is negative or not finite.

    References
    ----------
    .. [1] IEC60825-4, a window is part of the guard and has to last as long.

    Examples
    --------
    >>> judge_window(1e4, 6.0, Load(4e4), Rating(None), 10.0).verdict
    'does not hold: density 6 is enough (4 needed), but it is not rated, so nothing is known about what it withstands'
    """
    times = float(within("exposure over limit", ratio, "", 0.0, math.inf))
    needed = float(round_up_density(math.log10(times))) if times > 0.0 else 0.0
    damage = judge_barrier(load, rating, required_time)
    dense = times * 10.0**-optical_density <= 1.0
    key = "window.too_low" if not dense else "window.holds" if damage.holds else "window.damaged"
    why = Message(key, density=f"{optical_density:g}", needed=f"{needed:g}", why=damage.verdict.values["why"])
    holds = dense and damage.holds
    verdict = Message("barrier.holds" if holds else "barrier.fails", why=why)
    return BarrierVerdict(holds, verdict, needed_density=needed)
