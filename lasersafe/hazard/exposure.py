"""What lasers emit, and where it meets the limits: the comparisons that one exposure, or a million, has to pass.

Each rule set, hazard and pulse rule has its own limit *and* its own limiting aperture, so none can be
dropped before the beam is known. An exposure passes when every comparison passes. What does not vary stays a single
number, so that its limit is looked up once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache, reduce
from operator import mul
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError, OutOfRangeError, refuse
from lasersafe.limits import ExposureLimit, angle_max, hazard_limits, pulse_list_limit, pulse_train_limit, rule_sets
from lasersafe.limits.exposure import alike
from lasersafe.limits.grid import DURATIONS, grid_of
from lasersafe.limits.patterns import RegularTrains, regular_trains
from lasersafe.limits.tables import PulseTrainLimit, TrainRow, load_rule_set
from lasersafe.optics.beam import FloatArray, Many, unique
from lasersafe.optics.viewing import limited_angle
from lasersafe.records import Criterion
from lasersafe.wording import Message

Floats = NDArray[np.float64]
WHOLE_BODY = 0.2  # m2: more than the largest area class of the skin rule, 0.1 m2


@dataclass(frozen=True)
class Emission(Many):
    """What a laser emits at one setting, or at many as arrays that broadcast together, in SI units.

    Parameters
    ----------
    kind : str
        ``continuous``, ``single pulse`` or ``pulse train``.
    power : float, or numpy.ndarray of shape (...)
        Mean power; 0 for a single pulse. [W]
    pulse_energy : float, or numpy.ndarray of shape (...)
        Energy of one pulse; 0 for continuous emission. [J]
    pulse_duration : float, or numpy.ndarray of shape (...)
        Duration of one pulse; 0 for continuous emission. [s]
    repetition_rate : float, or numpy.ndarray of shape (...)
        Pulses per second; 0 unless a train. Of a pattern, as many as there are on average. [Hz]
    burst : tuple of (number, spacing)
        Pulses in a burst and time between their starts [s], bursts in a group and their spacing, and so on.
    pulses : tuple of (start, duration, energy)
        Pulses one by one [s, s, J]; ``pulse_energy`` is then the largest.
    period : float, optional
        Time after which the list of pulses begins again; None: it comes once. [s]
    pedestal : float
        Power between and under the pulses. [W]
    name : str
        Name of the mode in the maker's table.
    """

    kind: str
    power: Any = 0.0
    pulse_energy: Any = 0.0
    pulse_duration: Any = 0.0
    repetition_rate: Any = 0.0
    burst: tuple[tuple[Any, Any], ...] = ()
    pulses: tuple[tuple[float, float, float], ...] = ()
    period: float | None = None
    pedestal: float = 0.0
    name: str = ""

    @property
    def single(self) -> bool:
        """Whether it is one setting, not arrays."""
        numbers = (self.power, self.pulse_energy, self.pulse_duration, self.repetition_rate)
        return not any(isinstance(one, np.ndarray) for one in numbers)

    @property
    def amount(self) -> Any:
        """What is compared: power, or energy per pulse. [W or J]."""
        return self.power if self.kind == "continuous" else self.pulse_energy

    def scaled(self, factor: float) -> Emission:
        """Return the emission after a reflection or filter that lets *factor* through."""
        return replace(
            self, power=self.power * factor, pulse_energy=self.pulse_energy * factor, pedestal=self.pedestal * factor,
            pulses=tuple((start, length, energy * factor) for start, length, energy in self.pulses),
        )  # fmt: skip


@dataclass(frozen=True)
class Received(Many):
    """Light that a tissue receives, as one rule set judges it; or many of them as arrays that broadcast together.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        What reaches the place, before it is averaged over an aperture.
    wavelength : float, or numpy.ndarray of shape (...)
        Wavelength. [m]
    duration : float, or numpy.ndarray of shape (...)
        Exposure duration. [s]
    """

    rule_set: str
    tissue: str
    emission: Emission
    wavelength: Any
    duration: Any

    @property
    def single(self) -> bool:
        """Whether it is one exposure, not arrays."""
        return self.emission.single and isinstance(self.wavelength, float) and isinstance(self.duration, float)


def continuous(power: Any) -> Emission:
    """Return continuous emission.

    Parameters
    ----------
    power : float, or numpy.ndarray of shape (...)
        What leaves the laser. [W]
    """
    return Emission("continuous", power=power)


def single_pulse(pulse_energy: Any, pulse_duration: Any) -> Emission:
    """Return one pulse.

    Parameters
    ----------
    pulse_energy : float, or numpy.ndarray of shape (...)
        Energy of the pulse. [J]
    pulse_duration : float, or numpy.ndarray of shape (...)
        Its duration. [s]
    """
    return Emission("single pulse", pulse_energy=pulse_energy, pulse_duration=pulse_duration)


def pulse_train(pulse_energy: Any, pulse_duration: Any, repetition_rate: Any, pedestal: float = 0.0) -> Emission:
    """Return a regular train of pulses, on a pedestal, or many as arrays that broadcast together.

    Parameters
    ----------
    pulse_energy : float, or numpy.ndarray of shape (...)
        Energy of one pulse. [J]
    pulse_duration : float, or numpy.ndarray of shape (...)
        Duration of one pulse. [s]
    repetition_rate : float, or numpy.ndarray of shape (...)
        Pulses per second. [Hz]
    pedestal : float
        Power under and between the pulses. [W]
    """
    mean = pulse_energy * repetition_rate + pedestal
    return Emission("pulse train", mean, pulse_energy, pulse_duration, repetition_rate, pedestal=pedestal)


def pulse_pattern(
    pulses: tuple[tuple[float, float, float], ...], period: float | None = None, pedestal: float = 0.0
) -> Emission:
    """Return pulses given one by one, once or repeated, on a pedestal.

    Parameters
    ----------
    pulses : tuple of (start, duration, energy)
        In the order of time; each [s, s, J].
    period : float, optional
        Time after which the list begins again. [s]
    pedestal : float
        Power under and between the pulses. [W]

    Returns
    -------
    Emission
        With the largest pulse as its pulse.
    """
    largest = max(pulses, key=lambda pulse: pulse[2])
    total = sum(energy for _, _, energy in pulses)
    mean = 0.0 if period is None else total / period
    rate = 0.0 if period is None else len(pulses) / period
    return Emission(
        "pulse train", mean + pedestal, largest[2], largest[1], rate, pulses=pulses, period=period, pedestal=pedestal
    )


def credited_angles(light: Received, first: ArrayLike, second: ArrayLike) -> FloatArray:
    """Return the angles that a source of two axes is credited with; the lowest of their limits counts [1]_.

    Each axis is limited to alpha_min and alpha_max before the mean is taken: of a train, alpha_max of a pulse and that
    of the longest window, since its factor goes with the angle, and so does the limit of each window. A size that earns
    credit is the smallest that the source may have, and C_P of pulses longer than T_i falls where it is larger: such a
    train has no more than just beyond that angle.

    Parameters
    ----------
    light : Received
        What the source sends, and how long it lasts.
    first, second : array_like, shape (...)
        Angles of both axes. [rad]

    Returns
    -------
    numpy.ndarray, shape (1 to 3, ...)
        Angles. [rad]

    References
    ----------
    .. [1] ICNIRP2013 and EU2006-25: alpha_min, alpha_max; oblong sources.
    """
    emission, rule_set = light.emission, light.rule_set
    shortest = min((length for _, length, _ in emission.pulses), default=emission.pulse_duration)
    own = angle_max(rule_set, light.duration if emission.kind == "continuous" else shortest)
    largest = angle_max(rule_set, DURATIONS[1])
    two = emission.kind == "pulse train" and (own < largest).any()
    caps = (own, np.maximum(own, largest)) if two else (own,)
    angles = [limited_angle(first, second, ALPHA_MIN, cap) for cap in caps]
    rules, last = load_rule_set(rule_set), angles[-1]
    longest = max((length for _, length, _ in emission.pulses), default=emission.pulse_duration)
    if emission.kind == "pulse train" and light.tissue == "eye" and np.any(longest > rules.shortest_joined):
        angles += [np.where(last > ALPHA_MIN, np.maximum(last, fall), last) for fall in rules.factor_falls]
    return np.stack(angles)


def trains_at(
    rule_set: str, tissue: str, wavelength: float, duration: float, source_angle: float = 1.5e-3
) -> RegularTrains:
    """Return the limits of regular trains at one wavelength and exposure; of the skin for a large area.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    source_angle : float, optional
        Angle that the source subtends. [rad]

    Returns
    -------
    RegularTrains
        The limits of any number of trains.
    """
    return regular_trains(rule_set, tissue, wavelength, duration, body_area(tissue, wavelength), source_angle)


def body_area(tissue: str, wavelength: ArrayLike) -> float | None:
    """Return the exposed skin area to assume, or None where no limit depends on it at any duration.

    Parameters
    ----------
    tissue : str
        ``eye`` or ``skin``.
    wavelength : array_like, shape (...)
        Wavelength. [m]

    Returns
    -------
    float or None
        A large area; from which time on it counts is said by the tables. [m2]

    References
    ----------
    .. [1] ICNIRP2013, limits for the skin, large exposed area.
    """
    if tissue != "skin":
        return None
    rules = [rule for name in rule_sets() if (rule := load_rule_set(name).area) is not None]
    first = min((rule.wavelength[0] * 1e-9 for rule in rules), default=np.inf)
    far = np.size(wavelength) > 0 and np.max(wavelength) >= first * (1.0 - 1e-9)
    return WHOLE_BODY if far else None


ALPHA_MIN = 1.5e-3
_MANY = 256  # trains from which on the quick way pays
_FEW = 4096  # so many source angles tell whether equal ones are looked for
_SHORTEST = 1e-3  # s; light that lasts is not looked at in shorter parts
_ANGLES = (1.5e-3, 20e-3)  # rad
_TIMES = 9


@dataclass(frozen=True)
class Comparison(Many):
    """One comparison of one case or of many.

    Parameters
    ----------
    rule_set, hazard, rule : str
        Where the limit stands.
    amount : array_like, shape (...)
        Power or energy per pulse. [W or J]
    limit : numpy.ndarray, shape (...)
        Infinite where the comparison does not apply. [W/m2 or J/m2]
    aperture : numpy.ndarray, shape (...)
        Limiting aperture. [m]
    time : array_like, shape (...)
        For which the limit holds. [s]
    row : ExposureLimit or TrainRow, optional
        Where the limit stands, how it was read, and of a train the numbers behind it.
    """

    rule_set: str
    hazard: str
    rule: str
    amount: Any
    limit: Floats
    aperture: Floats
    time: ArrayLike = 0.0
    row: ExposureLimit | TrainRow | None = None

    @property
    def source(self) -> str:
        """Where the limit of one case stands."""
        return "" if self.row is None else str(self.row.source)


def _plain_limits(light: Received, source_angle: ArrayLike) -> Iterator[tuple[ExposureLimit, FloatArray, FloatArray]]:
    """Yield the limit of every hazard for one pulse, or for light that lasts; of the skin for a large area.

    Behind an edge of the tables the limit of light that lasts can be higher than before it, or holds over a wider
    aperture: the first part of the exposure, or of a long pulse of even power, then has a comparison of its own, so
    that longer is never better.

    Parameters
    ----------
    light : Received
        One pulse, or continuous light.
    source_angle : array_like, shape (...)
        Angular subtense of the source. [rad]

    Yields
    ------
    tuple of ExposureLimit, numpy.ndarray and numpy.ndarray
        Row, limit [W/m2, or J/m2 of a pulse] and time [s]. Limits are infinite where the comparison does not apply;
        how many there are does not depend on the angle.
    """
    rule_set, tissue, wavelength = light.rule_set, light.tissue, light.wavelength
    pulsed = light.emission.kind == "single pulse"
    time = light.emission.pulse_duration if pulsed else light.duration
    area = body_area(tissue, wavelength)
    rows = hazard_limits(rule_set, tissue, wavelength, time, source_angle, exposed_area=area)
    lasts = np.asarray(time, dtype=np.float64)
    yield from ((row, row.radiant_exposure if pulsed else row.irradiance, lasts) for row in rows)
    for after, until, shortest, longest in _steps(rule_set, tissue):
        colour = np.asarray(wavelength, dtype=np.float64)
        here = (lasts > after * (1.0 + 1e-9)) & (lasts <= until) & (colour >= shortest) & (colour <= longest)
        if not here.any():
            continue
        first = after if lasts.ndim == 0 else np.minimum(lasts, after)
        now = {row.name: row for row in rows}
        for row in hazard_limits(rule_set, tissue, wavelength, first, source_angle, exposed_area=area):
            lower = here & (row.name not in now or _allowed(row) < _allowed(now[row.name]) * (1.0 - 1e-12))
            yield row, np.where(lower, row.irradiance * (lasts if pulsed else 1.0), np.inf), np.asarray(first)


def _allowed(row: ExposureLimit) -> FloatArray:
    """Return what a beam narrower than every aperture may have; a wider aperture never takes in less."""
    there = np.isfinite(row.irradiance)
    return np.asarray(np.where(there, row.irradiance * np.square(row.limiting_aperture), np.inf))


@lru_cache(maxsize=16)
def _steps(rule_set: str, tissue: str) -> tuple[tuple[float, float, float, float], ...]:
    """Return the edges of the tables in time [s] behind which some limit is higher, until when, at which light [m]."""
    grid = grid_of(rule_set, tissue)
    edges = np.array([edge for edge in grid.durations.inner if edge >= _SHORTEST])
    ends = unique(np.concatenate([[180.0], grid.wavelengths.inner, [1e6]])) * 1e-9
    light = np.sort(np.concatenate([ends, np.sqrt(ends[:-1] * ends[1:])]))
    times = np.column_stack([edges, np.geomspace(edges * (1.0 + 1e-6), 2.9e4, _TIMES, axis=1)])
    higher = np.zeros((light.size, *times.shape), dtype=np.bool_)
    for angle in _ANGLES:
        area = body_area(tissue, light)
        for row in hazard_limits(rule_set, tissue, light[:, None], times.reshape(1, -1), angle, exposed_area=area):
            allowed = _allowed(row).reshape(higher.shape)
            ended = np.isinf(allowed) & np.isfinite(allowed[:, :, 1:2])  # behind a later edge, which says so itself
            higher |= (allowed > allowed[:, :, :1] * (1.0 + 1e-9)) & ~ended
    found = []
    for number in np.flatnonzero(higher.any(axis=(0, 2))).tolist():
        last = int(np.flatnonzero(higher[:, number].any(axis=0))[-1])
        lit = np.flatnonzero(higher[:, number].any(axis=1))
        until = float(times[number, last + 1]) if last < _TIMES else np.inf
        shortest, longest = light[max(lit[0] - 1, 0)], light[min(lit[-1] + 1, light.size - 1)]
        shortest, longest = float(shortest) * (1.0 - 1e-9), float(longest) * (1.0 + 1e-9)
        found.append((float(edges[number]), until, shortest, longest))
    return tuple(found)


def train_limit(light: Received, source_angle: ArrayLike = ALPHA_MIN) -> PulseTrainLimit:
    """Return the limit for the largest pulse of a train, of bursts or of a list, with or without a pedestal.

    Parameters
    ----------
    light : Received
        Pulses of any pattern.
    source_angle : array_like, shape (...)
        Angular subtense of the source. [rad]

    Returns
    -------
    PulseTrainLimit
        Arrays of the shape of what varies.
    """
    emission, wavelength, duration = light.emission, light.wavelength, light.duration
    area = body_area(light.tissue, wavelength)
    if emission.pulses:
        start, length, energy = (np.array(column) for column in zip(*emission.pulses, strict=True))
        return pulse_list_limit(
            light.rule_set, light.tissue, float(np.asarray(wavelength)), start, length, energy,
            float(np.asarray(duration)), source_angle, exposed_area=area, period=emission.period,
            pedestal=emission.pedestal,
        )  # fmt: skip
    size = reduce(mul, (number for number, _ in emission.burst), 1.0)
    return pulse_train_limit(
        light.rule_set, light.tissue, wavelength, emission.pulse_duration, emission.repetition_rate / size, duration,
        source_angle, exposed_area=area, bursts=emission.burst,
        pedestal=emission.pedestal / emission.pulse_energy if emission.pedestal else 0.0,
    )  # fmt: skip


def compare(light: Received, source_angle: ArrayLike = ALPHA_MIN) -> tuple[Comparison, ...]:
    """Return every comparison that an exposure has to pass.

    Parameters
    ----------
    light : Received
        One exposure, or many.
    source_angle : array_like, shape (...)
        Angular subtense of the source. [rad]

    Returns
    -------
    tuple of Comparison
        At least one; of the skin for a large area. Of many regular trains on one limiting aperture only the one that
        decides, worked out at once.

    Raises
    ------
    OutOfRangeError
        If the rule set has no limit at a point.
    """
    if light.single and isinstance(source_angle, float):
        return _of_one(light, source_angle)
    amount, (light, at) = light.emission.amount, without_amount(light, isinstance(source_angle, float))
    found = (_of_one if light.single and isinstance(source_angle, float) else _compare)(light, source_angle)

    def spread(values: ArrayLike) -> Floats:
        each = np.asarray(_number(values))
        return each if at is None or not each.ndim else each.take(at)

    return tuple(
        replace(one, amount=amount, limit=spread(one.limit), aperture=spread(one.aperture), time=spread(one.time))
        for one in found
    )


def without_amount(light: Received, alone: bool) -> tuple[Received, NDArray[np.integer[Any]] | None]:
    """Return what its limits depend on, as single numbers where that is the same for all.

    Parameters
    ----------
    light : Received
        One exposure, or many.
    alone : bool
        Whether the limits depend on nothing else; else wavelengths are put together only where all are alike.

    Returns
    -------
    Received
        A power and an energy of 1, where no limit depends on the amount.
    numpy.ndarray of int, shape (n,), or None
        Which of its wavelengths stands for each; None: they are the given ones, or one for all.
    """
    unit = light.emission
    if not (unit.pedestal or unit.pulses):
        pulse, rate = _number(unit.pulse_duration), _number(unit.repetition_rate)
        unit = replace(unit, power=1.0, pulse_energy=1.0, pulse_duration=pulse, repetition_rate=rate)
    light = replace(light, emission=unit, duration=_number(light.duration))
    alone = alone and unit.single and isinstance(light.duration, float)
    given = np.asarray(light.wavelength, dtype=np.float64)
    own, at = alike(light.rule_set, light.tissue, given)
    if at is not None and (own.size == 1 or not alone):
        own, at = own if own.size == 1 else given, None
    return replace(light, wavelength=_number(own)), at


def _number(values: Any) -> Any:
    """Return the one number that all values are, else the values."""
    array = np.asarray(values, dtype=np.float64)
    return float(array.flat[0]) if array.size and array.min() == array.max() else values


def _compare(light: Received, source_angle: ArrayLike) -> tuple[Comparison, ...]:
    emission, wavelength, duration = light.emission, light.wavelength, light.duration
    quick = _at_once(light, source_angle)
    if quick is not None:
        return (quick,)
    rows: list[tuple[Any, ...]]
    if emission.kind == "pulse train":
        train = train_limit(light, source_angle)
        rows = [(one.hazard, one.rule, one.per_pulse, one.limiting_aperture, duration, one) for one in train.rows]
    else:
        plain = _plain_limits(light, source_angle)
        rows = [(row.name, emission.kind, limit, row.limiting_aperture, lasts, row) for row, limit, lasts in plain]
    found = []
    for hazard, rule, limit, aperture, *rest in rows:
        there = np.isfinite(limit)
        if there.any():
            hole = np.asarray(aperture) if there.all() else np.where(there, aperture, 1.0)
            found.append(Comparison(light.rule_set, hazard, rule, emission.amount, np.asarray(limit), hole, *rest))
    covered = reduce(np.logical_or, (np.isfinite(c.limit) for c in found), np.array(False))
    if not covered.all():
        where = "for some of these wavelengths and durations"
        if np.ndim(wavelength) == np.ndim(duration) == 0:
            where = f"at {float(np.asarray(wavelength)) * 1e9:.6g} nm for {float(np.asarray(duration)):g} s"
        refuse(f"{light.rule_set} has no {light.tissue} limit {where}", OutOfRangeError)
    return tuple(found)


def _at_once(light: Received, source_angle: ArrayLike) -> Comparison | None:
    """Return the strictest limit of a great many regular trains, where all comparisons have one limiting aperture."""
    emission, wavelength, duration = light.emission, light.wavelength, light.duration
    if emission.kind != "pulse train" or emission.single or emission.burst or emission.pedestal:
        return None
    single = np.ndim(wavelength) == np.ndim(duration) == np.ndim(source_angle) == 0
    trains = np.broadcast(emission.pulse_duration, emission.repetition_rate)
    if not single or float(np.asarray(source_angle)) != ALPHA_MIN or trains.size < _MANY:
        return None
    limits = trains_at(light.rule_set, light.tissue, float(np.asarray(wavelength)), float(np.asarray(duration)))
    if len(limits.apertures) != 1 or len(limits.hazards) != 1:
        return None
    try:
        limit = limits.per_pulse(emission.pulse_duration, emission.repetition_rate)
    except InputError:  # said in more detail by what follows
        return None
    (hole,), (name,) = limits.apertures, limits.hazards
    return Comparison(light.rule_set, name, "train", emission.amount, limit, np.asarray(hole))


_of_one = lru_cache(maxsize=4096)(_compare)


def compare_source(light: Received, first: ArrayLike, second: ArrayLike) -> list[Comparison]:
    """Return every comparison for sources that subtend two angles [1]_.

    Each angle is limited to alpha_min and alpha_max(t) before the mean is taken; of a train, whose factor goes with the
    angle, alpha_max of a pulse and that of the longest window, and the lower of both limits is taken.

    Parameters
    ----------
    light : Received
        What feeds the source.
    first, second : array_like, shape (...)
        Angles of both axes. [rad]

    Returns
    -------
    list of Comparison
        Limits of shape (...).

    References
    ----------
    .. [1] ICNIRP2013 and EU2006-25: alpha_min, alpha_max, C_E; oblong sources.
    """
    one, two = np.broadcast_arrays(np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64))
    angles = credited_angles(light, one, two)
    if not light.single or unique(angles.reshape(-1)[:_FEW]).size > _FEW // 2:
        every = compare(light, angles)
        return [replace(c, limit=c.limit.min(axis=0), aperture=np.asarray(c.aperture).min(axis=0)) for c in every]
    different = unique(angles)  # equal angles are looked up once
    every = compare(light, float(different[0]) if different.size == 1 else different)
    place = np.searchsorted(different, angles)

    def lowest(values: Floats) -> Floats:
        return np.asarray(np.broadcast_to(values, different.shape)[place].min(axis=0))

    return [replace(c, limit=lowest(c.limit), aperture=lowest(c.aperture)) for c in every]


@lru_cache(maxsize=4096)
def criteria(light: Received, source_angle: float = ALPHA_MIN) -> tuple[Criterion, ...]:
    """Return every comparison of one case as records for the sheet; errors as of `compare`.

    Parameters
    ----------
    light : Received
        One exposure.
    source_angle : float
        Angular subtense of the source. [rad]

    Returns
    -------
    tuple of Criterion
        At least one.
    """
    unit, limit_unit = ("W", "W/m2") if light.emission.kind == "continuous" else ("J", "J/m2")
    found = []
    for c in compare(light, source_angle):
        row, note = c.row, ""
        if isinstance(row, TrainRow):
            note = Message(
                "step.window_train" if row.rule == "train" else "step.window_pulses",
                time=f"{float(row.averaging_time):.6g} s", count=f"{float(row.pulses):.6g}",
                joined=f"{float(row.pulses_joined):.6g}", factor=f"{float(row.pulse_factor):.4g}",
            )  # fmt: skip
        time, seen = float(np.asarray(c.time)), "" if row is None else str(row.seen)
        limited = float(c.limit), limit_unit, float(c.aperture), time, c.source, seen, note
        found.append(Criterion(light.rule_set, light.tissue, c.hazard, c.rule, c.amount, unit, *limited))
    return tuple(found)


def strictest_by_aperture(compared: Iterable[Comparison]) -> list[Comparison]:
    """Return one comparison for each limiting aperture and amount: through the same hole the lowest limit decides.

    Parameters
    ----------
    compared : iterable of Comparison
        What is compared; its hazard is that of one of those put together.

    Returns
    -------
    list of Comparison
        No more than were given.
    """
    groups: dict[tuple[int, float], Comparison] = {}
    others: list[Comparison] = []
    for one in compared:
        aperture = float(one.aperture.flat[0])
        if one.aperture.ndim and not (one.aperture == aperture).all():
            others.append(one)
            continue
        key = (id(one.amount), aperture)
        limit = np.minimum(groups[key].limit, one.limit) if key in groups else one.limit
        groups[key] = replace(one, limit=limit, aperture=np.asarray(aperture))
    return [*groups.values(), *others]
