"""What adds: several wavelengths, several beams, the ultraviolet doses of a day; and how long an exposure lasts."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, reduce
from itertools import pairwise, product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError
from lasersafe.hazard import exposure as comparisons
from lasersafe.hazard.distances import Places, exposure_at, farthest, highest_ratio, last_fall
from lasersafe.hazard.exposure import Comparison, Emission, Floats, Received, body_area, credited_angles, criteria
from lasersafe.hazard.marking import parse_marking
from lasersafe.limits import hazard_limits, rule_sets
from lasersafe.limits.exposure import wavelength_edges
from lasersafe.optics.beam import BeamGeometry, Many, taken
from lasersafe.optics.reflection import LitSpot, scatter_intensity
from lasersafe.records import Criterion, badness
from lasersafe.wording import Message

WORKING_DAY = 30_000.0
DELIBERATE = 100.0
ACCIDENTAL = 10.0
TURN_AWAY = 0.25
EDGE = 1e-9  # a wavelength this near to an edge counts as on it, where the stricter time holds
LONGEST_DAY = 3e4  # [s]
BANDS = ((180e-9, 315e-9, "180-315 nm"), (315e-9, 400e-9, "315-400 nm"))


@lru_cache(maxsize=256)
def exposure_duration(wavelength: float, way: str, *, turns_away: bool = False) -> tuple[float, Message]:
    """Return the exposure duration to assume [1]_ [2]_, and the reason in words.

    Parameters
    ----------
    wavelength : float
        Wavelength. [m]
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    turns_away : bool
        True only for a briefed person who is expected to turn away from visible light.

    Returns
    -------
    float
        Exposure duration. [s]
    Message
        The reason, for the sheet.

    References
    ----------
    .. [1] TROS-2, section 4.1 (time bases) and 5.1 (infrared).
    .. [2] DGUV203-036, annex 4 (the blink reflex is not to be relied on).
    """
    time = float(exposure_durations(wavelength, way))
    if time == WORKING_DAY:
        return time, Message("time.ultraviolet")
    if way == "scatter":
        return time, Message("time.lit_spot")
    if not wavelength < 700e-9 * (1.0 - EDGE):
        return time, Message("time.unintended")
    return (TURN_AWAY, Message("time.turns_away")) if turns_away else (time, Message("time.no_blink"))


def is_ultraviolet(wavelength: ArrayLike) -> NDArray[np.bool_]:
    """Return whether light is ultraviolet, 400 nm included.

    Parameters
    ----------
    wavelength : array_like, shape (...)
        Wavelength. [m]

    Returns
    -------
    numpy.ndarray of bool, shape (...)
        True up to 400 nm.
    """
    return np.asarray(np.asarray(wavelength) <= BANDS[-1][1] * (1.0 + EDGE))


def exposure_durations(wavelength: ArrayLike, way: str) -> NDArray[np.float64]:
    """Return the exposure durations of many wavelengths, for people who do not turn away.

    Parameters
    ----------
    wavelength : array_like, shape (...)
        Wavelength. [m]
    way : str
        ``direct``, ``mirror`` or ``scatter``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure duration; one number where it is the same for all. [s]
    """
    ultraviolet = is_ultraviolet(wavelength)
    if ultraviolet.size and ultraviolet.all() == ultraviolet.any():
        ultraviolet = ultraviolet.reshape(-1)[0]
    return np.where(ultraviolet, WORKING_DAY, DELIBERATE if way == "scatter" else ACCIDENTAL)


@dataclass(frozen=True)
class Visit:
    """One exposure of the day: wavelength [m], mean power that is on in it [W], time [s], and a name."""

    wavelength: float
    power: float
    time: float
    name: str
    key: object = None


@dataclass(frozen=True)
class DayDose:
    """The doses of one band on one tissue under one rule set."""

    band: str
    ratio: float
    doses: tuple[tuple[str, float, float, float], ...]  # visit, dose and limit [J/m2], ratio
    criterion: Criterion  # the limit of the whole day


def day_doses(
    rule_set: str, tissue: str, visits: Sequence[Visit], exposure: Callable[[Visit, Criterion], float]
) -> tuple[DayDose, ...]:
    """Return the summed doses of a day for each band in which there is a visit; an edge belongs to both sides [1]_.

    The limit of every visit is taken for the time of all visits of its band together, so that it makes no difference
    how the day is cut into visits.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    visits : sequence of Visit
        All exposures of the day; those that are not ultraviolet are left out.
    exposure : callable
        Irradiance that a visit and a comparison see, over the limiting aperture of the comparison.

    Returns
    -------
    tuple of DayDose
        The hazard that decides, for each band.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_ultraviolet_photochemical.toml``).
    """
    found = []
    for low, high, band in BANDS:
        own = [v for v in visits if low * (1.0 - EDGE) <= v.wavelength <= high * (1.0 + EDGE)]
        if not own:
            continue
        time = min(sum(v.time for v in own), LONGEST_DAY)
        by_hazard: dict[str, list[tuple[str, float, float, float]]] = {}
        criteria_of: dict[str, Criterion] = {}
        for visit in own:
            for limit in hazard_limits(rule_set, tissue, visit.wavelength, time):
                if limit.name == "ultraviolet peak":
                    continue
                dose_limit = float(limit.radiant_exposure)
                criterion = Criterion(
                    rule_set, tissue, limit.name, "dose of the day", visit.power, "W", dose_limit / time, "W/m2",
                    float(limit.limiting_aperture), time, str(limit.source), str(limit.seen),
                )  # fmt: skip
                dose = exposure(visit, criterion) * visit.time
                by_hazard.setdefault(limit.name, []).append((visit.name, dose, dose_limit, dose / dose_limit))
                criteria_of[limit.name] = criterion
        sums = {name: sum(one[3] for one in doses) for name, doses in by_hazard.items()}
        name = max(sums, key=lambda key: badness(sums[key]))
        found.append(DayDose(band, sums[name], tuple(by_hazard[name]), criteria_of[name]))
    return tuple(found)


_BESIDE = 3e-9  # relative step to the other side of an edge
_DURATIONS = (1e-6, 10.0, 3e4)  # s: between them every hazard applies
_NEAREST = 1e-3  # m
ADDITION_SOURCE = "BGI832, page 23: table of wavelengths that add (IR-B and IR-C with itself from memory)"


@dataclass(frozen=True)
class Member(Many):
    """One wavelength of a sum: its comparisons in the group, and its beams."""

    compared: list[Comparison]
    beams: BeamGeometry


@dataclass(frozen=True)
class Line:
    """One wavelength of a laser: what it emits and how it spreads."""

    name: str
    wavelength: float  # [m]
    emission: Emission
    beam: BeamGeometry
    others: tuple[Emission, ...] = ()  # further settings, each of which can be the worst; the highest fraction counts


@dataclass(frozen=True)
class Share:
    """What one line adds to a sum: its worst comparison in the group."""

    line: str
    fraction: float  # of its limit [1]
    exposure: float
    criterion: Criterion
    light: Received  # the setting, and how long it is received
    angle: float  # angular subtense that is credited [rad]


@dataclass(frozen=True)
class Sum:
    """The sum of one group at one place."""

    group: str
    rule_set: str
    total: float
    shares: tuple[Share, ...]  # highest first


def group_of(tissue: str, hazard: str, wavelength: float) -> str:
    """Return the group in which a hazard adds [1]_.

    Parameters
    ----------
    tissue : str
        ``eye`` or ``skin``.
    hazard : str
        Name of the hazard.
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    str
        ``retina thermal``, ``retina photochemical``, ``cornea and lens``, ``ultraviolet B and C`` or ``skin``.

    References
    ----------
    .. [1] BGI832, page 23: UV-C and UV-B with themselves; UV-A with IR-B and IR-C, of the skin with all above; visible
       and IR-A with themselves, of the skin with IR-B and IR-C. The corneal limit of 1200 to 1400 nm is counted with
       the cornea here, which is the strict side.

    Examples
    --------
    >>> group_of("eye", "retina thermal", 532e-9), group_of("skin", "skin thermal", 1064e-9)
    ('retina thermal', 'skin')
    """
    if wavelength < 315e-9 * (1 - 1e-9):
        return "ultraviolet B and C"
    if tissue == "skin":
        return "skin"
    inside = wavelength > 315e-9 * (1 + 1e-9) and hazard.startswith("retina")
    return hazard if inside else "cornea and lens"


@lru_cache(maxsize=1024)
def groups(tissue: str, wavelength: float) -> frozenset[str]:
    """Return every group in which light of a wavelength can add; on an edge those of both sides.

    Parameters
    ----------
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    frozenset of str
        As :func:`group_of`, of every hazard that a rule set has there at any duration.

    Examples
    --------
    >>> sorted(groups("eye", 1390e-9)), sorted(groups("eye", 1550e-9))
    (['cornea and lens', 'retina thermal'], ['cornea and lens'])
    """
    around = (wavelength * step for step in (1.0 - _BESIDE, 1.0, 1.0 + _BESIDE))
    return frozenset(
        group_of(tissue, one.name, at)
        for at in around
        if 180e-9 <= at <= 1e-3
        for name in rule_sets()
        for duration in _DURATIONS
        for one in hazard_limits(name, tissue, at, duration)
    )


def sums_at(
    rule_set: str, tissue: str, lines: Sequence[Line], duration: float, exposure_of: Callable[[Line, Criterion], float],
    axes: tuple[float, float] = (0.0, 0.0),
) -> tuple[Sum, ...]:  # fmt: skip
    """Return the sum of every group at one place, highest first.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    lines : sequence of Line
        All lines that reach the place together.
    duration : float
        Exposure duration, the longest of any line. [s]
    exposure_of : callable
        Takes a line and a comparison, returns the exposure that it sees. [W/m2 or J/m2]

    axes : tuple of float
        Angles of both axes of the source as they are seen, not yet limited; of a point 0. [rad]

    Returns
    -------
    tuple of Sum
        One for each group.
    """
    groups: dict[str, list[Share]] = {}
    for line in lines:
        own: dict[str, list[Share]] = {}
        for emission in (line.emission, *line.others):
            light = Received(rule_set, tissue, emission, line.wavelength, duration)
            for angle in dict.fromkeys(credited_angles(light, *axes).tolist()):
                for c in criteria(light, angle):
                    exposure = exposure_of(line, c)
                    share = Share(line.name, exposure / c.limit, exposure, c, light, angle)
                    for at in (line.wavelength, max(line.wavelength * (1.0 - _BESIDE), 180e-9)):  # both, of 315 nm
                        own.setdefault(group_of(tissue, c.hazard, at), []).append(share)
        for group, shares in own.items():
            groups.setdefault(group, []).append(max(shares, key=lambda s: badness(s.fraction)))
    found = []
    for group, shares in groups.items():
        ranked = tuple(sorted(shares, key=lambda s: -badness(s.fraction)))
        found.append(Sum(group, rule_set, math.fsum(s.fraction for s in shares), ranked))
    return tuple(sorted(found, key=lambda s: -badness(s.total)))


def sums_beyond(
    rule_set: str, tissue: str, lines: Sequence[Line], duration: float, distance: float, sent: float | LitSpot = 1.0
) -> tuple[Sum, ...]:
    """Return the sums at a distance: in the beams, or of the light that a lit spot scatters.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    lines : sequence of Line
        All lines that reach the place together.
    duration : float
        Exposure duration, the longest of any line. [s]
    distance : float
        From the last optic, or from the lit spot. [m]
    sent : float or LitSpot
        Reflectance on the way, the same for all lines [1]; or what scatters them, whose size counts for the eye alone.

    Returns
    -------
    tuple of Sum
        One for each group, highest first.
    """
    if isinstance(sent, float):
        return sums_at(rule_set, tissue, lines, duration, lambda line, c: exposure_at(line.beam, distance, c, sent))
    spot = sent if tissue == "eye" else replace(sent, diameter=0.0)

    def exposure(_line: Line, c: Criterion) -> float:
        return float(scatter_intensity(c.amount, spot.reflectance, spot.view_angle, spot.model)) / distance**2

    first, second = map(float, spot.angles(np.asarray(distance)))
    return sums_at(rule_set, tissue, lines, duration, exposure, (first, second))


def summed_farthest(members: Sequence[Member], factor: ArrayLike, size: int) -> Floats:
    """Return how far the sum of one group is above 1; of a single wavelength, its own distance.

    Parameters
    ----------
    members : sequence of Member
        The wavelengths that add.
    factor : array_like, shape () or (size,)
        Reflectance on the way. [1]
    size : int
        Number of cases; all arrays have this length or are single numbers.

    Returns
    -------
    numpy.ndarray, shape (size,)
        Distance from the last optic. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.
    """
    times = np.asarray(factor, dtype=np.float64)
    groups = [Member(comparisons.strictest_by_aperture(one.compared), one.beams) for one in members]
    single, far = np.zeros(size), np.zeros(size)
    for group in groups:
        shared = [replace(one, limit=np.asarray(one.limit / len(groups))) for one in group.compared]
        single = np.maximum(single, farthest(group.compared, group.beams, times))
        far = np.maximum(far, farthest(shared, group.beams, times))  # beyond it no fraction is above 1 / n
    found = single.copy()
    every = np.flatnonzero(far > single)
    if len(groups) == 1 or not every.size:
        return found

    def ratio(place: Floats, at: Places) -> Floats:
        """Return the sum of the highest fraction that each wavelength has at or beyond its place: it only falls."""
        own = (one.taken(at) for one in groups)
        return reduce(np.add, (highest_ratio(one.compared, one.beams, place, taken(times, at)) for one in own))

    near = np.maximum(single, _NEAREST)[every]
    end = np.maximum(far[every], near) * (1.0 + 1e-9) + 1e-9
    above = ratio(near, every) > 1.0
    at = every[above]
    found[at] = np.maximum(single[at], last_fall(ratio, near[above], end[above], np.zeros(at.size), at))
    return found


# s: times at which the limits of two wavelengths are compared
_COMPARED_AT = (1e-9, 1e-7, 1e-4, 0.25, 10.0, 100.0, 3e4)


def worst_wavelengths(low: float, high: float, together: bool = False) -> tuple[float, ...]:
    """Return the wavelengths of a range at which some limit of some rule set is lowest, and both ends.

    Between two edges of the tables every limit runs one way in wavelength, so ends and both sides of each edge are
    enough.

    Parameters
    ----------
    low, high : float
        Ends of the range. [m]
    together : bool
        Of light that can add to other light it is the lowest of every hazard in every group that adds.

    Returns
    -------
    tuple of float
        Rising. [m]
    """
    edges = wavelength_edges(rule_sets())
    inside = [at * side for at in edges for side in (1.0 - EDGE, 1.0, 1.0 + EDGE)]
    tried = [low, *(at for at in inside if low < at < high), high]
    worst = {low, high}
    for name, tissue, duration in product(rule_sets(), ("eye", "skin"), _COMPARED_AT):
        lowest: dict[tuple[str, str], tuple[float, bool, float]] = {}
        for at in tried:  # of equals the edge itself, where the stricter T_i of both sides holds as well
            for one in hazard_limits(name, tissue, at, duration, exposed_area=body_area(tissue, at)):
                for kind in product((one.name,), groups(tissue, at)) if together else (("", ""),):
                    here = (float(one.radiant_exposure), at not in edges, at)
                    lowest[kind] = min(lowest.get(kind, here), here)
        worst |= {at for *_, at in lowest.values()}
    return tuple(sorted(worst))


def marking_edges(markings: Iterable[str]) -> tuple[float, ...]:
    """Return the wavelengths at which a statement of a readable marking begins or ends, rising.

    Parameters
    ----------
    markings : iterable of str
        As printed; "" is left out.

    Returns
    -------
    tuple of float
        Wavelengths. [m]
    """
    found = set()
    for marking in {one for one in markings if one}:
        try:
            read = parse_marking(marking)
        except InputError:  # a fault of its own
            continue
        found |= {edge * 1e-9 for statement in read.statements for edge in (statement.low_nm, statement.high_nm)}
    return tuple(sorted(found))


def between_marks(low: float, high: float, marked: Iterable[float]) -> tuple[float, ...]:
    """Return each edge of a marking inside a range and a wavelength on both sides of it, where it may say nothing.

    Parameters
    ----------
    low, high : float
        Ends of the range. [m]
    marked : iterable of float
        The edges, rising. [m]

    Returns
    -------
    tuple of float
        Wavelengths, none where no edge is inside. [m]
    """
    inside = [edge for edge in marked if low < edge < high]
    middles = [(one + other) / 2.0 for one, other in pairwise([low, *inside, high])]
    return (*inside, *middles) if inside else ()
