"""How many times the limit a beam or a lit spot gives, by distance and by how far beside the beam."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, reduce

import numpy as np
from numpy.typing import NDArray

from lasersafe.optics.beam import BeamGeometry, diameters, fraction_through, mean_exposure, mean_exposure_of_circular
from lasersafe.records.fields import badness
from lasersafe.records.light import Criterion

FLOAT = NDArray[np.float64]
INDEX = NDArray[np.intp]
NEAREST = 1e-3  # m
POINT = 1e-7  # m: a focus that is described as a point
_RAYS = 36.0  # k^2: of 1e15 times the limit no more than 1 is left outside so many diameters
LEAST = 1e-4  # of the limit: light that gives less, all of it together, is none
CLOSEST = 0.01  # m: nearer to a lit spot its ratio is taken from here


# what bounds need of a beam, as numbers; see `lasersafe.scene.lights`
BEAM = (
    ("waist", float, 2), ("divergence", float, 2), ("waist_position", float, 2), ("linear", float), ("even", float),
    ("round", float),
    ("radius", float), ("blur", float), ("close_by", float), ("wider", float), ("loose", float),
)  # fmt: skip
_PUPIL = 5.5e-3  # m: radius of the widest limiting aperture
NO_BEAM = (POINT, POINT), (0.0, 0.0), (0.0, 0.0), 0.0, 0.0, 0.0, 0.0, _PUPIL, 0.0, 1.0, 0.0


@dataclass(eq=False)
class BeamProfile:
    """A beam against its limits: the ratio on the axis, and a bound beside it.

    Beside the beam no part of the aperture sees more than the irradiance at its inner edge, so the ratio is at most
    that of the peak times exp(-(2 (rho - a) / d)^2), with the aperture radius a and the longer diameter d.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    criteria : tuple of Criterion
        All comparisons that an exposure has to pass.
    wider : float
        How many times as wide tolerances let it be, which is worse beside it. [1]
    loose : float
        How far from where it is they let its focus be, to either side. [m]
    """

    beam: BeamGeometry
    criteria: tuple[Criterion, ...]
    wider: float = 1.0
    loose: float = 0.0

    @cached_property
    def strengths(self) -> dict[float, float]:
        """The highest amount over limit for each aperture; what is spread in the same way differs by it only."""
        found: dict[float, float] = {}
        for c in self.criteria:
            ratio = c.amount / c.limit if c.limit > 0.0 else math.inf
            found[c.limiting_aperture] = max(found.get(c.limiting_aperture, -math.inf), ratio, key=badness)
        return found

    def widths(self, distance: FLOAT) -> tuple[FLOAT, FLOAT]:
        """Return both 1/e diameters, a point focus as a small spot. [m]."""
        dx, dy = diameters(self.beam, distance)
        wide = np.maximum(dx, POINT)
        return wide, wide if self.beam.circular else np.maximum(dy, POINT)

    def on_axis(self, distance: FLOAT) -> FLOAT:
        """Return the ratio on the axis, for distances from the last optic [m] of shape (...)."""
        return self._axis_and_peak(np.maximum(distance, NEAREST))[0]

    def _axis_and_peak(self, distance: FLOAT, *, bound: bool = False) -> tuple[FLOAT, FLOAT, FLOAT]:
        """Return the ratio on the axis, that of the peak, and the longer diameter."""
        return self._of_widths(*self.widths(distance), bound=bound)

    def _of_widths(self, dx: FLOAT, dy: FLOAT, *, bound: bool = False) -> tuple[FLOAT, FLOAT, FLOAT]:
        axis, peak = np.zeros_like(dx), np.zeros_like(dx)
        gaussian, circular = self.beam.profile == "gaussian", self.beam.circular
        area = math.pi * dx * dy
        for aperture, strength in self.strengths.items():
            if gaussian and circular:
                mean = mean_exposure_of_circular(strength, dx, aperture)
            elif gaussian and bound:
                mean = _square_bound(strength, dx, dy, aperture)
            else:
                mean = mean_exposure(strength, dx, dy, aperture, self.beam.profile)
            axis = np.maximum(axis, mean)
            peak = np.maximum(peak, strength * 4.0 / area)
        return axis, peak, dx if circular else np.maximum(dx, dy)

    @cached_property
    def apertures(self) -> tuple[float, ...]:
        """The limiting apertures of all comparisons. [m]."""
        return tuple(sorted({c.limiting_aperture for c in self.criteria}))

    @cached_property
    def aperture_radius(self) -> float:
        """Radius of the largest limiting aperture. [m]."""
        return max(c.limiting_aperture for c in self.criteria) / 2.0

    @cached_property
    def row(self) -> tuple[object, ...]:
        """The beam in the order of `BEAM`."""
        beam, radius = self.beam, self.aperture_radius
        waist = tuple(max(one, POINT) for one in beam.waist_diameter)
        even = beam.profile != "gaussian"
        return (
            waist, beam.divergence, beam.waist_position, beam.propagation == "linear", even, beam.circular and not even,
            radius, radius, self.close_by, self.wider, self.loose,
        )  # fmt: skip

    @cached_property
    def beside_axis(self) -> float:
        """By how much a straight way can be longer than the axis because it starts or ends beside it. [m].

        Rays of an even beam that spreads by phi lengthen it besides, up to sqrt(1 + phi^2 / 4) times.
        """
        if self.beam.profile == "gaussian":
            return self.aperture_radius
        beam = self.beam
        starts = zip(beam.waist_diameter, beam.divergence, beam.waist_position, strict=True)
        widest = max(waist + angle * (abs(place) + self.loose) for waist, angle, place in starts)
        return float(self.aperture_radius + self.wider * widest / 2.0)

    def in_irradiance(self, power: float = 1.0, aperture: float = 1e-9) -> BeamProfile:
        """Return the beam with an irradiance [W/m2] for its ratio: over an aperture [m], or the peak."""
        one = Criterion("", "", "irradiance", "continuous", power, "W", 1.0, "W/m2", aperture, math.inf, "")
        return replace(self, criteria=(one,))

    def gain(self, width: float) -> float:
        """Return how many times a surface of a width [m] that gathers light can raise a ratio."""
        return max(1.0, (width / min(c.limiting_aperture for c in self.criteria)) ** 2)

    @cached_property
    def close_by(self) -> float:
        """Nearer than this the aim that points nearest to a place need not be the worst one for it. [m].

        Beyond it the irradiance E = exp(-4 (L^2 - s^2) / d(s)^2) / d(s)^2 at a place L away rises with s, its distance
        along the axis, as far as rays count, k diameters aside: 4 s > k^2 phi^2 (size of z0).
        """
        wide = zip(self.beam.divergence, self.beam.waist_position, strict=True)
        more = self.wider * self.wider
        return max(float(_RAYS * more * angle * angle * (abs(place) + self.loose) / 4.0) for angle, place in wide)

    def tail(self, distance: float, factor: float, least: float = LEAST) -> float:
        """Return how far from the axis rays have to be so that all of them together give less than a ratio. [m].

        The power outside so many widths is all put through the limiting aperture of each comparison.
        """
        ends = np.maximum(distance + np.array([-1.0, 1.0]) * self.loose, 0.0)
        widest = self.wider * max(float(one.max()) for one in self.widths(ends))
        if self.beam.profile != "gaussian":
            return widest / 2.0
        holes = (factor * c.amount / (math.pi * c.limiting_aperture**2 / 4.0) / c.limit for c in self.criteria)
        return widest / 2.0 * math.sqrt(max(math.log(max(max(holes, default=0.0), 1e-300) / least), 1.0))

    @cached_property
    def crest(self) -> tuple[float, float]:
        """The place of the last waist [m], and the highest ratio anywhere up to it; 0 and 0 without one."""
        from lasersafe.hazard.distances import worst_place

        last = max(self.beam.waist_position)
        if not last > NEAREST:
            return 0.0, 0.0
        return last, float(np.max(self.on_axis(np.array(worst_place(self.beam, NEAREST, self.apertures)))))

    def spread(self, distance: FLOAT, factor: float = 1.0) -> FLOAT:
        """Return how far beside the axis the ratio can still exceed 1, for distances [m] of shape (...). [m]."""
        ends = np.asarray(distance) - self.loose, np.asarray(distance) + self.loose
        waists = [np.clip(waist, *ends) for waist in self.beam.waist_position]
        places = (*ends, *waists) if self.loose else ends[:1]
        every = [self._axis_and_peak(np.maximum(one, NEAREST), bound=True) for one in places]
        axis, peak, widest = (reduce(np.maximum, part) for part in zip(*every, strict=True))
        with np.errstate(divide="ignore", invalid="ignore"):
            beside = np.sqrt(np.log(np.maximum(peak * factor, 1.0))) if self.beam.profile == "gaussian" else 1.0
        wide = self.wider * widest / 2.0
        return np.asarray(np.where(axis * factor > 1.0, self.aperture_radius + wide * beside, 0.0))


@dataclass(eq=False)
class ScatterProfile:
    """A lit spot against its limits, as a function of the distance from it.

    Parameters
    ----------
    ratio : callable
        Distances [m] of shape (...) to exposure over limit, brightest direction.
    lambert : bool
        Whether it falls with the cosine from the normal.
    wide : bool
        Whether its size is credited: seen aslant it looks smaller, so that its limit is up to 2 / (1 + cos) lower.
    nearest : float
        Nearer to it its ratio is taken from here. [m]
    spread : float
        No place gets more than one straight before all of it at this distance; 0 where that is not known. [m]
    """

    ratio: Callable[[FLOAT], FLOAT]
    lambert: bool = True
    wide: bool = False
    nearest: float = CLOSEST
    spread: float = 0.0

    @cached_property
    def at_one(self) -> float:
        """The ratio at 1 m; without credit for a size it falls with 1 / r^2."""
        return float(self.ratio(np.ones(1))[0])


def beam_over(column: Mapping[str, FLOAT], light: INDEX, low: FLOAT, high: FLOAT, aside: FLOAT) -> FLOAT:
    """Return at least the ratio of beams anywhere between two distances along them, so far beside or farther.

    Parameters
    ----------
    column : mapping of numpy.ndarray, each of shape (lights, ...)
        The beams, as `lasersafe.scene.lights.Lights` has them.
    light : numpy.ndarray of int, shape (rows,)
        Which of them is asked for.
    low, high : numpy.ndarray, shape (rows,)
        Along the beam, from the last optic. [m]
    aside : numpy.ndarray, shape (rows,)
        From the axis, at least. [m]

    Returns
    -------
    numpy.ndarray, shape (rows,)
        Exposure over limit: of the narrowest beam between the two on the axis, and of the widest beside it. [1]
    """
    loose = column["loose"][light]
    low = np.maximum(low - loose, NEAREST)
    high = np.maximum(high + loose, low)
    ends, place = (_widths(column, light, low), _widths(column, light, high)), column["waist_position"][light]
    least, most = np.minimum(*ends), np.maximum(*ends).max(axis=1) * column["wider"][light]
    inside = (low[:, None] < place) & (place < high[:, None])
    least = np.where(inside, np.minimum(least, column["waist"][light]), least)
    axis, peak = _axis_and_peak(column, light, *least.T)
    outside = np.maximum(aside - column["radius"][light], 0.0)
    with np.errstate(under="ignore", over="ignore"):
        found = np.minimum(axis, peak * np.exp(-np.square(2.0 * outside / most)))
    even = column["even"][light] > 0.0
    return np.where(even, np.where(outside <= most / 2.0, axis, 0.0), found)


def beam_from_here_on(column: Mapping[str, FLOAT], light: INDEX, distance: FLOAT) -> FLOAT:
    """Return the highest ratio of beams at paths or longer ones, for paths [m] of shape (rows,); see `beam_over`."""
    distance = np.maximum(distance - column["loose"][light], NEAREST)
    found = _axis_and_peak(column, light, *_widths(column, light, distance).T)[0]
    last, highest = column["crest"][light].T
    return np.asarray(np.where(distance < last, np.maximum(found, highest), found))


def _widths(column: Mapping[str, FLOAT], light: INDEX, distance: FLOAT) -> FLOAT:
    """Return both 1/e diameters of beams, a point focus as a small spot, of shape (rows, 2). [m]."""
    waist, spread = column["waist"][light], distance[:, None] - column["waist_position"][light]
    spread *= column["divergence"][light]
    wide = np.sqrt(waist * waist + spread * spread)
    linear = column["linear"][light] > 0.0
    return np.where(linear[:, None], waist + np.abs(spread), wide) if linear.any() else wide


def _axis_and_peak(column: Mapping[str, FLOAT], light: INDEX, dx: FLOAT, dy: FLOAT) -> tuple[FLOAT, FLOAT]:
    """Return at least the ratios on the axis, and those of the peak, of beams of two diameters [m] of shape (rows,)."""
    axis, strongest = np.zeros(len(dx)), column["strength"][light].max(axis=1)
    even, oblong = column["even"][light] > 0.0, dx != dy
    plain = ~(even | oblong)
    for number in range(column["strength"].shape[1]):
        strength, hole = column["strength"][light, number], column["hole"][light, number]
        some = ~(strength <= 0.0)  # NaN counts
        if not some.any():
            continue
        with np.errstate(over="ignore", under="ignore"):
            through = -np.expm1(-np.square(hole / dx))
        at = np.flatnonzero(some & oblong & ~even)
        if at.size:  # of a round aperture: what the square round it takes
            through[at] = _erf(hole[at] / dx[at]) * _erf(hole[at] / dy[at])
        at = np.flatnonzero(some & even)
        if at.size:
            through[at] = fraction_through(dx[at], dy[at], hole[at], "top-hat")
        mean = strength * through / (math.pi / 4.0 * np.square(hole))
        mean = np.where(plain | even, mean, np.minimum(mean, strength * 4.0 / (math.pi * dx * dy)))
        axis = np.where(some, np.maximum(axis, mean), axis)
    return axis, strongest * 4.0 / (math.pi * dx * dy)


_erf = np.vectorize(math.erf, otypes=[np.float64])


def _square_bound(amount: float, dx: FLOAT, dy: FLOAT, aperture: float) -> FLOAT:
    """Return at least the mean exposure of an oblong Gaussian over a round aperture: what the square round it takes."""
    area = math.pi * aperture**2 / 4.0
    through = _erf(aperture / dx) * _erf(aperture / dy)
    return np.asarray(np.minimum(amount * through / area, amount * 4.0 / (math.pi * dx * dy)))


@lru_cache(maxsize=2048)
def farthest_of(criteria: tuple[Criterion, ...], beam: BeamGeometry, factor: float = 1.0) -> float:
    """Return how far along the beam any of the comparisons is exceeded [m]."""
    from lasersafe.hazard.distances import direct_distance

    return max(float(direct_distance(c.amount * factor, c.limit, c.limiting_aperture, beam)) for c in criteria)
