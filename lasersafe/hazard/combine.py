"""Several wavelengths and several beams: which fractions of a limit add, and how far their sum exceeds 1.

Fractions add for the same tissue and the same mechanism. A group is a set of hazards that all add with each other.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, reduce
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.crossing import Places, last_fall
from lasersafe.hazard.emission import Emission, Floats, source_caps, taken
from lasersafe.hazard.exposure import ALPHA_MIN, Comparison, criteria, strictest_by_aperture
from lasersafe.hazard.zones import exposure_at, farthest, highest_ratio
from lasersafe.limits import hazard_limits, rule_sets
from lasersafe.optics.extended import limited_angle
from lasersafe.optics.geometry import BeamGeometry
from lasersafe.optics.reflection import scatter_intensity, source_angles
from lasersafe.records.fields import badness
from lasersafe.records.step import Criterion

_BESIDE = 3e-9  # relative step to the other side of an edge
_DURATIONS = (1e-6, 10.0, 3e4)  # s: between them every hazard applies
_NEAREST = 1e-3  # m
ADDITION_SOURCE = "BGI832, page 23: table of wavelengths that add (IR-B and IR-C with itself from memory)"


class Member(NamedTuple):
    """One wavelength of a sum: its comparisons in the group, and its beams."""

    compared: list[Comparison]
    beams: BeamGeometry

    def taken(self, at: Places) -> Member:
        """Return the member of the cases with these numbers."""
        return Member([one.taken(at) for one in self.compared], self.beams.taken(at))


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
    wavelength: float
    fraction: float  # of its limit [1]
    exposure: float
    criterion: Criterion
    emission: Emission  # the setting
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

    Raises
    ------
    OutOfRangeError
        If the wavelength is outside 180 nm to 1 mm.

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
    if not 180e-9 * (1 - 1e-9) <= wavelength <= 1e-3 * (1 + 1e-9):
        message = f"wavelength = {wavelength * 1e9:.6g} nm: the table of additions covers 180 nm to 1 mm"
        raise OutOfRangeError(message)
    if wavelength <= 315e-9 * (1 + 1e-9):
        return (
            "ultraviolet B and C"
            if wavelength < 315e-9 * (1 - 1e-9)
            else "skin"
            if tissue == "skin"
            else ("cornea and lens")
        )
    if tissue == "skin":
        return "skin"
    return hazard if hazard.startswith("retina") else "cornea and lens"


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
    rule_set: str,
    tissue: str,
    lines: Sequence[Line],
    duration: float,
    exposure_of: Callable[[Line, Criterion], float],
    axes: tuple[float, float] = (0.0, 0.0),
) -> tuple[Sum, ...]:
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
            caps = source_caps(rule_set, emission.kind, emission.shortest_pulse, duration)
            for angle in dict.fromkeys(float(limited_angle(*axes, ALPHA_MIN, cap)) for cap in caps):
                for c in criteria(rule_set, tissue, emission, line.wavelength, duration, angle):
                    exposure = exposure_of(line, c)
                    share = Share(line.name, line.wavelength, exposure / c.limit, exposure, c, emission, angle)
                    own.setdefault(group_of(tissue, c.hazard, line.wavelength), []).append(share)
        for group, shares in own.items():
            groups.setdefault(group, []).append(max(shares, key=lambda s: badness(s.fraction)))
    found = [
        Sum(
            group,
            rule_set,
            math.fsum(s.fraction for s in shares),
            tuple(sorted(shares, key=lambda s: -badness(s.fraction))),
        )
        for group, shares in groups.items()
    ]
    return tuple(sorted(found, key=lambda s: -badness(s.total)))


def beam_sums(
    rule_set: str, tissue: str, lines: Sequence[Line], duration: float, distance: float, factor: float = 1.0
) -> tuple[Sum, ...]:
    """Return the sums in the beams at a distance from the last optic; *factor* is a reflectance on the way [1].

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
        From the last optic. [m]
    factor : float
        Reflectance on the way, the same for all lines. [1]

    Returns
    -------
    tuple of Sum
        One for each group, highest first.
    """
    return sums_at(rule_set, tissue, lines, duration, lambda line, c: exposure_at(line.beam, distance, c, factor))


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
    groups = [Member(strictest_by_aperture(compared), beams) for compared, beams in members]
    single, far = np.zeros(size), np.zeros(size)
    for compared, beams in groups:
        shared = [replace(one, limit=np.asarray(one.limit / len(groups))) for one in compared]
        single = np.maximum(single, farthest(compared, beams, times))
        far = np.maximum(far, farthest(shared, beams, times))  # beyond it no fraction is above 1 / n
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


def scatter_sums(
    rule_set: str,
    tissue: str,
    lines: Sequence[Line],
    duration: float,
    *,
    reflectance: float,
    view_angle: float,
    model: str,
    distance: float,
    spot_diameter: float = 0.0,
) -> tuple[Sum, ...]:
    """Return the sums for light that a lit spot scatters, at a distance from it.

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
    reflectance : float
        Of the surface, for all lines. [1]
    view_angle : float
        From the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    distance : float
        From the surface. [m]
    spot_diameter : float
        1/e diameter of the lit spot; 0 gives no credit for an extended source. [m]

    Returns
    -------
    tuple of Sum
        One for each group, highest first.
    """

    def exposure(_line: Line, c: Criterion) -> float:
        return float(scatter_intensity(c.amount, reflectance, view_angle, model)) / distance**2

    spot = spot_diameter if tissue == "eye" else 0.0
    first, second = map(float, source_angles(spot, spot, distance, view_angle))
    return sums_at(rule_set, tissue, lines, duration, exposure, (first, second))
