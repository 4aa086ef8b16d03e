"""How many times the limit a beam or a lit spot gives, by distance and by how far beside the beam."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from lasersafe.optics.aperture import mean_exposure, mean_exposure_of_circular
from lasersafe.optics.propagation import BeamGeometry, diameters
from lasersafe.records.step import Criterion

FLOAT = NDArray[np.float64]
NEAREST = 1e-3  # m
_POINT = 1e-7  # m: a focus that is described as a point
_PER_DECADE = 128
_PARTS = 16  # of a step round a focus
_CURVED = 1.0003  # straight lines miss less than this where nothing bends within a step
_RAYS = 36.0  # k^2: of 1e15 times the limit no more than 1 is left outside so many diameters
LEAST = 1e-4  # of the limit: light that gives less, all of it together, is none
CLOSEST = 0.01  # m: nearer to a lit spot its ratio is taken from here


def _nodes(first: float, farthest: float) -> FLOAT:
    """Return equal steps of log distance from a place to beyond another: straight lines are never below a power law."""
    start, stop = math.log(first), math.log(1.5 * 10.0 ** math.ceil(math.log10(max(farthest, 1.0))))
    return np.linspace(start, stop, math.ceil((stop - start) / math.log(10.0) * _PER_DECADE) + 2)


def _raised(nodes: FLOAT, places: FLOAT, least: FLOAT) -> FLOAT:
    """Return the nodes of a table, raised until straight lines between them are at least so much at places [steps]."""
    left = np.minimum(places.astype(np.intp), nodes.size - 2)
    missing = np.zeros(nodes.size + 1)
    np.maximum.at(missing, left + 1, least - (nodes[left] + (nodes[left + 1] - nodes[left]) * (places - left)))
    return np.asarray((nodes + np.maximum(missing[:-1], missing[1:])) * _CURVED)


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
    """

    beam: BeamGeometry
    criteria: tuple[Criterion, ...]
    _tables: dict[int, tuple[FLOAT, ...]] = field(default_factory=dict)

    @cached_property
    def _strictest(self) -> dict[tuple[float, float], float]:
        """The lowest limit for each amount and aperture; what is spread in the same way differs by its limit only."""
        found: dict[tuple[float, float], float] = {}
        for c in self.criteria:
            key = (c.amount, c.limiting_aperture)
            if not found.get(key, math.inf) <= c.limit:
                found[key] = c.limit
        return found

    def widths(self, distance: FLOAT) -> tuple[FLOAT, FLOAT]:
        """Return both 1/e diameters, a point focus as a small spot. [m]."""
        dx, dy = diameters(self.beam, distance)
        wide = np.maximum(dx, _POINT)
        return wide, wide if self.beam.circular else np.maximum(dy, _POINT)

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
        for (amount, aperture), limit in self._strictest.items():
            if gaussian and circular:
                mean = mean_exposure_of_circular(amount, dx, aperture)
            elif gaussian and bound:
                mean = _square_bound(amount, dx, dy, aperture)
            else:
                mean = mean_exposure(amount, dx, dy, aperture, self.beam.profile)
            axis = np.maximum(axis, mean / limit)
            peak = np.maximum(peak, amount * 4.0 / area / limit)
        return axis, peak, dx if circular else np.maximum(dx, dy)

    @cached_property
    def apertures(self) -> tuple[float, ...]:
        """The limiting apertures of all comparisons. [m]."""
        return tuple(sorted({c.limiting_aperture for c in self.criteria}))

    @cached_property
    def aperture_radius(self) -> float:
        """Radius of the largest limiting aperture. [m]."""
        return max(c.limiting_aperture for c in self.criteria) / 2.0

    def gain(self, width: float) -> float:
        """Return how many times a surface of a width [m] that gathers light can raise a ratio."""
        return max(1.0, (width / min(c.limiting_aperture for c in self.criteria)) ** 2)

    def beside(self, distance: FLOAT, aside: FLOAT, *, bound: bool = False) -> FLOAT:
        """Return the ratio at a distance along the beam and a distance from its axis.

        Parameters
        ----------
        distance : numpy.ndarray, shape (...)
            Along the beam, from the last optic. [m]
        aside : numpy.ndarray, shape (...)
            From the axis. [m]
        bound : bool
            For an oblong beam, take a bound that costs less.

        Returns
        -------
        numpy.ndarray, shape (...)
            Exposure over limit, rounded upwards beside the axis. [1]
        """
        place = np.maximum(distance, NEAREST)
        return self._fade(*self._axis_and_peak(place, bound=bound), aside)

    def _fade(self, axis: FLOAT, peak: FLOAT, widest: FLOAT, aside: FLOAT) -> FLOAT:
        outside = np.maximum(aside - self.aperture_radius, 0.0)
        if self.beam.profile == "gaussian":
            with np.errstate(under="ignore"):
                return np.minimum(axis, peak * np.exp(-np.square(2.0 * outside / widest)))
        found: FLOAT = np.where(outside <= widest / 2.0, axis, 0.0)
        return found

    def over(self, low: FLOAT, high: FLOAT, aside: FLOAT) -> FLOAT:
        """Return at least the ratio anywhere between two distances along the beam, so far beside its axis or farther.

        Parameters
        ----------
        low, high : numpy.ndarray, shape (...)
            Along the beam, from the last optic. [m]
        aside : numpy.ndarray, shape (...)
            From the axis, at least. [m]

        Returns
        -------
        numpy.ndarray, shape (...)
            Exposure over limit: of the narrowest beam between the two on the axis, and of the widest beside it. [1]
        """
        low = np.maximum(low, NEAREST)
        high = np.maximum(high, low)
        ends = [self.widths(low), self.widths(high)]
        least, most = ([pick(*pair) for pair in zip(*ends, strict=True)] for pick in (np.minimum, np.maximum))
        for axis, position in enumerate(self.beam.waist_position):
            waist = max(self.beam.waist_diameter[axis], _POINT)
            least[axis] = np.where((low < position) & (position < high), np.minimum(least[axis], waist), least[axis])
        if self.beam.circular:
            least[1] = least[0]
        axis_ratio, peak, _ = self._of_widths(*least, bound=True)
        return self._fade(axis_ratio, peak, np.maximum(*most), aside)

    @cached_property
    def close_by(self) -> float:
        """Nearer than this the aim that points nearest to a place need not be the worst one for it. [m].

        Beyond it the irradiance E = exp(-4 (L^2 - s^2) / d(s)^2) / d(s)^2 at a place L away rises with s, its distance
        along the axis, as far as rays count, k diameters aside: 4 s > k^2 phi^2 (size of z0).
        """
        wide = zip(self.beam.divergence, self.beam.waist_position, strict=True)
        return max(float(_RAYS * angle * angle * abs(position) / 4.0) for angle, position in wide)

    def tail(self, distance: float, factor: float, least: float = LEAST) -> float:
        """Return how far from the axis rays have to be so that all of them together give less than a ratio. [m].

        The power outside so many widths is all put through the limiting aperture of each comparison.
        """
        widest = max(float(one) for one in self.widths(np.asarray(max(distance, 0.0))))
        if self.beam.profile != "gaussian":
            return widest / 2.0
        holes = (factor * c.amount / (math.pi * c.limiting_aperture**2 / 4.0) / c.limit for c in self.criteria)
        return widest / 2.0 * math.sqrt(max(math.log(max(max(holes, default=0.0), 1e-300) / least), 1.0))

    def table(self, farthest: float) -> tuple[FLOAT, ...]:
        """Return log distances, and there the ratio on the axis, the peak and the longer diameter."""
        nodes = _nodes(NEAREST, farthest)
        if nodes.size not in self._tables:
            grid, step = np.exp(nodes), float(nodes[1] - nodes[0])
            points = np.union1d(grid, self._between(grid))
            dx, dy = self.widths(points)
            x, y = np.minimum(dx[:-1], dx[1:]), np.minimum(dy[:-1], dy[1:])  # the least widths: each waist is a point
            close = np.flatnonzero(np.diff(np.log(points)) < 0.5 * step)
            axis, peak, _ = self._of_widths(x[close], y[close])
            widest = np.maximum(np.maximum(dx, dy)[close], np.maximum(dx, dy)[close + 1])
            ends = (np.log(points[side]) - nodes[0] for side in (close, close + 1))
            columns = self._axis_and_peak(grid)
            places = np.minimum(np.concatenate(list(ends)) / step, grid.size - 1.0)
            raised = (_raised(c, places, np.tile(b, 2)) for c, b in zip(columns, (axis, peak, widest), strict=True))
            self._tables[nodes.size] = nodes, *raised
        return self._tables[nodes.size]

    def _between(self, grid: FLOAT) -> FLOAT:
        """Return places between those of a grid [m], around foci."""
        beam, tried = self.beam, []
        for waist, angle, position in zip(beam.waist_diameter, beam.divergence, beam.waist_position, strict=True):
            near = grid[(grid >= position / 2.0) & (grid <= position * 2.0)]
            tried += [near * (grid[1] / grid[0]) ** part for part in np.arange(1, _PARTS) / _PARTS]
            sizes = {max(waist, _POINT), *(c.limiting_aperture for c in self.criteria)}
            around = np.array([0.0, *(size / angle * 2.0**k for size in sizes for k in range(-3, 4))])
            tried += [position + around, position - around]
        found = np.concatenate(tried)
        return np.asarray(found[(found > grid[0]) & (found < grid[-1])])

    @cached_property
    def crest(self) -> tuple[float, float]:
        """The place of the last waist [m], and the highest ratio anywhere up to it; 0 and 0 without one."""
        from lasersafe.hazard.zones import worst_place

        last = max(self.beam.waist_position)
        if not last > NEAREST:
            return 0.0, 0.0
        return last, float(np.max(self.on_axis(np.array(worst_place(self.beam, NEAREST, self.apertures)))))

    def from_here_on(self, distance: FLOAT, *, fast: bool = False) -> FLOAT:
        """Return the highest ratio at a path or a longer one, for paths [m] of shape (...) of which no end is known."""
        place = np.maximum(distance, NEAREST)
        found = self.beside_fast(distance, 0.0 * distance) if fast else self._axis_and_peak(place, bound=True)[0]
        last, highest = self.crest
        return np.asarray(np.where(distance < last, np.maximum(found, highest), found))

    def beside_fast(self, distance: FLOAT, aside: FLOAT) -> FLOAT:
        """Return what `beside` returns; of an oblong Gaussian beam from a table with steps of 1.8 % in distance."""
        if self.beam.circular or self.beam.profile != "gaussian":  # costs little
            return self.beside(distance, aside)
        nodes, axis, peak, widest = self.table(float(np.max(distance, initial=1.0)))
        place, wide = np.log(np.maximum(distance, NEAREST)), aside > self.aperture_radius
        found = np.interp(place, nodes, axis)
        far = place[wide]
        found[wide] = self._fade(found[wide], np.interp(far, nodes, peak), np.interp(far, nodes, widest), aside[wide])
        return found

    def spread(self, distance: FLOAT, factor: float = 1.0) -> FLOAT:
        """Return how far beside the axis the ratio can still exceed 1, for distances [m] of shape (...). [m]."""
        place = np.maximum(distance, NEAREST)
        axis, peak, widest = self._axis_and_peak(place, bound=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            beside = np.sqrt(np.log(np.maximum(peak * factor, 1.0))) if self.beam.profile == "gaussian" else 1.0
        found: FLOAT = np.where(axis * factor > 1.0, self.aperture_radius + widest / 2.0 * beside, 0.0)
        return found


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
    """

    ratio: Callable[[FLOAT], FLOAT]
    lambert: bool = True
    wide: bool = False
    _tables: dict[int, tuple[FLOAT, ...]] = field(default_factory=dict)

    @cached_property
    def _at_one(self) -> float:
        return float(self.ratio(np.ones(1))[0])

    def at(self, distance: FLOAT) -> FLOAT:
        """Return the ratio at distances [m] of shape (...); without credit for a size it falls with 1 / r^2."""
        return self.ratio(distance) if self.wide else self._at_one / np.square(distance)

    def fast(self, distance: FLOAT) -> FLOAT:
        """Return the ratio from a table."""
        nodes = _nodes(CLOSEST, float(np.max(distance, initial=1.0)))
        if nodes.size not in self._tables:
            self._tables[nodes.size] = nodes, np.asarray(self.ratio(np.exp(nodes)))
        nodes, found = self._tables[nodes.size]
        return np.interp(np.log(np.maximum(distance, CLOSEST)), nodes, found)


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
