"""What an eye sees: extended sources, scanned spots, and air, instruments and cameras before it. No thresholds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.data import As, Printed, Seen, Source, Span, check_cover, load
from lasersafe.optics import beam as optics
from lasersafe.optics.beam import FloatArray, Pair, finite, mean_exposure, positive, within


@dataclass(frozen=True)
class _Haze:
    visibility: Annotated[Span, As("visibility_km", 1e3)]
    factor: Printed
    power: Printed
    seen: Seen


@dataclass(frozen=True)
class Kruse:
    """The constants of the Kruse form; lengths in m."""

    file: ClassVar = "atmosphere/kruse.toml"
    source: Source
    contrast: Annotated[float, As("form.contrast", printed=True)]
    reference: Annotated[float, As("form.reference_nm", 1e-9, printed=True)]
    wavelength: Annotated[Span, As("form.wavelength_nm", 1e-9)]
    rows: Annotated[tuple[_Haze, ...], As("row")]

    def __post_init__(self) -> None:
        """Refuse visibilities that leave a gap or overlap."""
        check_cover("visibility", (row.visibility for row in self.rows), (0.0, self.rows[-1].visibility[1]))


def transmitted(attenuation: ArrayLike, distance: ArrayLike) -> FloatArray:
    """Return the part of a beam that is left after a way through air, by Beer and Lambert [1]_.

    Parameters
    ----------
    attenuation : array_like, shape (...)
        Attenuation coefficient; 0 for no loss. [m-1]
    distance : array_like, shape (...)
        Length of the way. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        exp(-mu z). [1]

    Raises
    ------
    OutOfRangeError
        If a number is negative or not finite.

    References
    ----------
    .. [1] Elementary: law of Beer and Lambert.

    Examples
    --------
    >>> round(float(transmitted(1e-5, 10e3)), 4)
    0.9048
    """
    loss = within("attenuation", attenuation, "1/m", 0.0, math.inf)
    way = within("distance", distance, "m", 0.0, math.inf)
    with np.errstate(under="ignore", over="ignore"):
        return np.asarray(np.exp(-(loss * way)))


def kruse_attenuation(visibility: float, wavelength: float) -> float:
    """Return the attenuation coefficient of air from the visibility; at an edge of the rows the smaller [1]_.

    Parameters
    ----------
    visibility : float
        Visual range, up to 1000 km. [m]
    wavelength : float
        Wavelength, 400 nm to 2.5 um. [m]

    Returns
    -------
    float
        3.912 / V (wavelength / 550 nm)^-q, where q depends on V. Bands in which vapour absorbs lose more. [m-1]

    Raises
    ------
    OutOfRangeError
        If a number is outside the rows.

    References
    ----------
    .. [1] KRUSE1962, from memory (``shared/atmosphere/kruse.toml``).

    Examples
    --------
    >>> round(kruse_attenuation(10e3, 1064e-9) * 1e4, 3)
    1.659
    """
    data = load(Kruse)
    farthest = data.rows[-1].visibility[1]
    range_ = float(within("visibility", visibility, "m", 1.0, farthest))
    light = float(within("wavelength", wavelength, "m", *data.wavelength))
    found = []
    for row in data.rows:
        if row.visibility[0] <= range_ <= row.visibility[1]:
            exponent = row.factor * (range_ / 1e3) ** row.power
            found.append(data.contrast / range_ * (light / data.reference) ** -exponent)
    return float(finite("attenuation", min(found), "1/m"))


PUPIL = 7e-3  # m; the dilated pupil of the limits


def collecting_gain(objective: ArrayLike, pupil: ArrayLike = PUPIL, transmission: ArrayLike = 1.0) -> FloatArray:
    """Return how much more light enters the eye through an instrument whose objective is filled [1]_ [2]_.

    Parameters
    ----------
    objective : array_like, shape (...)
        Diameter of the objective. [m]
    pupil : array_like, shape (...)
        Diameter of the pupil of the eye, or of another limiting aperture. [m]
    transmission : array_like, shape (...)
        Part that the glass passes, 0 to 1. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        tau (D / pupil)^2; can be below 1. An exit pupil wider than the pupil would lose light: nothing is lost, which
        is the bound. [1]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] ANSI-Z136-1, appendix B, from memory.
    .. [2] BINOCULAR, 7x50 at a pupil of 7 mm.

    Examples
    --------
    >>> round(float(collecting_gain(50e-3)), 2)
    51.02
    """
    widening = positive("objective", objective, "m") / positive("pupil", pupil, "m")
    part = within("transmission", transmission, "", 0.0, 1.0)
    with np.errstate(over="ignore"):
        return finite("collecting gain", part * np.square(widening), "")


@dataclass(frozen=True)
class ExtendedSource:
    """A glowing area, or an array of small ones, as it is seen from its normal.

    Parameters
    ----------
    size : tuple of float, (x, y)
        Extent of one emitter: a diffuser, a spot, a fibre end. [m]
    spread : str
        ``"lambert"``, ``"hemisphere"`` (the same everywhere) or ``"cone"`` (a Gaussian of *divergence*).
    divergence : tuple of float, (x, y)
        Full 1/e angle of each emitter, for ``"cone"``. [rad]
    count : tuple of int, (x, y)
        Emitters of an array in each direction.
    pitch : tuple of float, (x, y)
        Between the middles of neighbours. [m]
    weights : tuple of float
        Share of each emitter, row by row; empty for equal ones. They add up to 1.
    peak_over_mean : float, optional
        Brightest spot of an emitter over its mean radiance, measured; None when it is not known.
    transmittance : float
        Share of the light that leaves a translucent object. [1]
    """

    size: Pair
    spread: str = "lambert"
    divergence: Pair = (0.0, 0.0)
    count: tuple[int, int] = (1, 1)
    pitch: Pair = (0.0, 0.0)
    weights: tuple[float, ...] = ()
    peak_over_mean: float | None = None
    transmittance: float = 1.0

    @property
    def shares(self) -> FloatArray:
        """Share of the power of each emitter, shape (rows, columns)."""
        total = self.count[0] * self.count[1]
        flat = np.array(self.weights) if self.weights else np.full(total, 1.0 / total)
        return flat.reshape(self.count[1], self.count[0])

    def exposure_per_amount(self, distance: ArrayLike, aperture: ArrayLike) -> FloatArray:
        """Return exposure over emitted power or energy at a distance, averaged over an aperture on the normal [1]_.

        All emitters are taken on the axis, which is the careful side.

        Parameters
        ----------
        distance : array_like, shape (...)
            From the source. [m]
        aperture : array_like, shape (...)
            Diameter of the limiting aperture. [m]

        Returns
        -------
        numpy.ndarray, shape (...)
            After the transmittance of the source. [1/m2]

        References
        ----------
        .. [1] Own: docs/method.md, "Extended sources"; Lambert's law for the wide spreads.
        """
        way = positive("distance", distance, "m")
        hole = positive("aperture", aperture, "m")
        if self.spread == "cone":
            dx, dy = (np.hypot(size, angle * way) for size, angle in zip(self.size, self.divergence, strict=True))
            return np.asarray(self.transmittance * mean_exposure(1.0, dx, dy, hole))
        solid = math.pi if self.spread == "lambert" else 2.0 * math.pi
        whole = 4.0 / (math.pi * np.square(hole))  # no aperture takes in more than everything
        return np.asarray(self.transmittance * np.minimum(1.0 / (solid * np.square(way)), whole))

    def mean_radiance(self, power: float) -> float:
        """Return the radiance of the brightest spot, with the source's own peak over mean, 1 when unknown.

        Parameters
        ----------
        power : float
            Power before its transmittance. [W]

        Returns
        -------
        float
            On the normal; infinity for a point. [W/m2/sr]
        """
        area = math.pi / 4.0 * self.size[0] * self.size[1]
        if not area > 0.0:
            return math.inf
        share = float(self.shares.max()) * self.transmittance * power * (self.peak_over_mean or 1.0)
        if self.spread == "cone":
            return share / area * 4.0 / (math.pi * self.divergence[0] * self.divergence[1])
        return share / area / (math.pi if self.spread == "lambert" else 2.0 * math.pi)


def limited_angle(first: ArrayLike, second: ArrayLike, smallest: ArrayLike, largest: ArrayLike) -> FloatArray:
    """Return the source angle of an oblong source: the mean of both angles, each limited first [1]_.

    Parameters
    ----------
    first, second : array_like, shape (...)
        Angles of the two axes. [rad]
    smallest, largest : array_like, shape (...)
        alpha_min and alpha_max. [rad]

    Returns
    -------
    numpy.ndarray, shape (...)
        Angular subtense. [rad]

    References
    ----------
    .. [1] ICNIRP2013, angular subtense of an oblong source.

    Examples
    --------
    >>> float(limited_angle(0.2, 0.0005, 1.5e-3, 0.1).round(5))
    0.05075
    """
    return np.asarray((np.clip(first, smallest, largest) + np.clip(second, smallest, largest)) / 2.0)


def parts(source: ExtendedSource, distance: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the brightest rectangular part of an array of each size: indices, shares, and both angles.

    A rectangle is enough: of all parts with the same outline it holds the most power. Of the rectangles of one size,
    which all have the same limit, the one with the most power is enough.

    Parameters
    ----------
    source : ExtendedSource
        The array.
    distance : array_like, shape () or (..., 1)
        From the array. [m]

    Returns
    -------
    tuple of numpy.ndarray
        Indices (n, 4) as first and last column, first and last row; shares (n,) [1]; angles in x and y (..., n) [rad].
    """
    shares = source.shares
    sums = np.zeros((shares.shape[0] + 1, shares.shape[1] + 1))
    sums[1:, 1:] = shares.cumsum(axis=0).cumsum(axis=1)
    left, right = np.triu_indices(source.count[0])
    low, high = np.triu_indices(source.count[1])
    i = np.repeat(np.arange(left.size), low.size)
    j = np.tile(np.arange(low.size), left.size)
    a, b, c, d = left[i], right[i], low[j], high[j]
    share = sums[d + 1, b + 1] - sums[c, b + 1] - sums[d + 1, a] + sums[c, a]
    kind = (b - a) * source.count[1] + (d - c)
    order = np.lexsort((c, a, -np.round(share, 13), kind))  # rounded, so that of equal parts the first is named
    starts = np.flatnonzero(np.diff(kind[order], prepend=-1))
    share = np.maximum.reduceat(share[order], starts)
    a, b, c, d = (one[order[starts]] for one in (a, b, c, d))
    wide = source.size[0] + (b - a) * source.pitch[0]
    tall = source.size[1] + (d - c) * source.pitch[1]
    angles = (2.0 * np.arctan2(length, 2.0 * np.asarray(distance)) for length in (wide, tall))
    first, second = angles
    return np.stack([a, b, c, d], axis=1), np.minimum(share, 1.0), first, second


_SEPARATE = 1.5e-3  # rad; sources nearer to each other than alpha_min are one


@dataclass(frozen=True)
class SideBySide:
    """Beams of a module that leave it next to each other, seen from one place."""

    separation: float  # angle between neighbours as seen from there [rad]
    sources: str  # "one source" or "several sources"
    joined: float  # fraction of the total that enters the aperture if all came through one point [1]
    offset: float  # fraction that enters when every beam keeps its place, at the worst place of the aperture [1]


def side_by_side(
    beam: optics.BeamGeometry, count: tuple[int, int], pitch: Pair, distance: float, aperture: float = 7e-3
) -> SideBySide:
    """Return how the beams of a combined module meet an aperture [1]_.

    The bound, all beams as one point source, decides; the offset figure shows how far that bound is from the beams as
    they lie. Parallel beams keep one image on the retina however far apart they are, so no extended-source credit is
    given for a module of collimated beams.

    Parameters
    ----------
    beam : BeamGeometry
        One of the beams.
    count : tuple of int, (x, y)
        Beams in each direction.
    pitch : tuple of float, (x, y)
        Distance between the middles of neighbours. [m]
    distance : float
        From the module. [m]
    aperture : float
        Diameter of the limiting aperture. [m]

    Returns
    -------
    SideBySide
        With both fractions.

    References
    ----------
    .. [1] ICNIRP2013, source angle; sources that lie within alpha_min of each other count as one.
    """
    dx, dy = (float(d) for d in optics.diameters(beam, distance))
    joined = float(mean_exposure(1.0, dx, dy, aperture, beam.profile)) * math.pi * aperture**2 / 4.0
    # Places in half pitches: the pupil is tried before each beam and between neighbours, up to the middle by symmetry.
    x, y = (np.arange(1 - n, n, 2) for n in count)
    across, along = (np.abs(one - np.arange(n)[:, np.newaxis]) for one, n in ((x, count[0]), (y, count[1])))
    away = np.hypot(*(np.meshgrid(*(np.arange(2 * n) * p / 2.0 for n, p in zip(count, pitch, strict=True)))))
    fraction = offset_fraction(max(dx, dy), aperture, away)
    offset = max(float(fraction[np.ix_(own_y, own_x)].mean()) for own_x in across for own_y in along)
    steps = [p for n, p in zip(count, pitch, strict=True) if n > 1]
    separation = min(steps) / distance if steps else 0.0
    words = "several sources" if separation > _SEPARATE else "one source"
    return SideBySide(separation, words, joined, min(offset, joined))


def offset_fraction(diameter: float, aperture: float, offset: ArrayLike) -> FloatArray:
    """Return the part of a Gaussian beam that passes an aperture beside its axis.

    Parameters
    ----------
    diameter : float
        Full 1/e diameter, 0 in a point focus. [m]
    aperture : float
        Diameter of the aperture. [m]
    offset : array_like, shape (...)
        From the axis of the beam to the middle of the aperture. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        From 0 to 1, by quadrature over the aperture. [1]
    """
    diameter = float(optics.thin(diameter, aperture))
    away = np.asarray(offset, dtype=np.float64)[..., np.newaxis]
    nodes, weights = np.polynomial.legendre.leggauss(96)
    edge = 0.5 * aperture
    low = np.clip(away - 4.0 * diameter, -edge, edge)
    high = np.clip(away + 4.0 * diameter, -edge, edge)
    u = 0.5 * (high - low) * nodes + 0.5 * (high + low)
    weight = 0.5 * (high - low) * weights
    erf = np.vectorize(math.erf, otypes=[np.float64])
    chord = erf(2.0 * np.sqrt(np.maximum(edge**2 - u**2, 0.0)) / diameter)
    profile = np.exp(-np.square(2.0 * (u - away) / diameter)) * 2.0 / (diameter * math.sqrt(math.pi))
    return np.asarray(np.minimum((profile * chord * weight).sum(axis=-1), 1.0))


@dataclass(frozen=True)
class ScanPattern:
    """A pattern that a scanner repeats [1]_.

    Parameters
    ----------
    kind : str
        ``"line"``, ``"circle"``, ``"figure of eight"``, ``"raster"`` or ``"wobble"``. A wobble is taken as a line swing
        of its full width, which rests longer at its ends than a circle; movement of the hand is not credited.
    width : tuple of float, (x, y)
        Full width from edge to edge: optical angle [rad], or length at *reference* [m]. A line has the first one only;
        of a raster the first is the fast axis.
    frequency : float
        Whole periods (there and back) in a second; of a raster those of the fast axis. [Hz]
    waveform : str
        ``"sine"`` or ``"triangle"`` (even speed, turned at once), for line and raster.
    reference : float, optional
        Distance from the last optic at which *width* is a length; None where it is an angle. [m]
    fans_out : bool
        True when the beams of a pattern given as a length leave one point at the last optic; False where they may be
        parallel behind the reference, which is the strict side.
    lines : int
        Periods of the fast axis in one frame of a raster, each a line on. [1]
    pitch : float
        Step of the slow axis from line to line, like *width*. [rad or m]

    References
    ----------
    .. [1] Own: docs/method.md, "Scanned beams".
    """

    kind: str
    width: Pair
    frequency: float
    waveform: str = "sine"
    reference: float | None = None
    fans_out: bool = False
    lines: int = 1
    pitch: float = 0.0

    @property
    def period(self) -> float:
        """Time after which the pattern begins again. [s]."""
        return (self.lines if self.kind == "raster" else 1) / self.frequency

    def stretch(self, distance: ArrayLike) -> FloatArray:
        """Return what *width* and *pitch* are multiplied with to be lengths at a distance, never too much.

        Parameters
        ----------
        distance : array_like, shape (...)
            From the last optic. [m]

        Returns
        -------
        numpy.ndarray, shape (...)
            Metres per radian, or a ratio for a pattern given as a length. [m or 1]
        """
        way = within("distance", distance, "m", 0.0, math.inf)
        if self.reference is None:
            return way
        ratio = way / self.reference
        return ratio if self.fans_out else np.minimum(ratio, 1.0)

    def dwell(self, distance: ArrayLike, sweep: ArrayLike) -> FloatArray:
        """Return for how long of each period the spot can lie within *sweep* at the slowest place [1]_.

        A sweep at least half as wide as the pattern gets the whole period: no credit is given for such a scan.

        Parameters
        ----------
        distance : array_like, shape (...)
            From the last optic. [m]
        sweep : array_like, shape (...)
            Width over which the spot can touch the aperture, as the sum of both diameters. [m]

        Returns
        -------
        numpy.ndarray, shape (...)
            Time within one period, at most the period itself. [s]

        Raises
        ------
        OutOfRangeError
            If a distance or width cannot be used.

        References
        ----------
        .. [1] Own: docs/method.md, "Scanned beams"; for even speed it is sweep / speed, twice that at an edge.

        Examples
        --------
        >>> line = ScanPattern("line", (0.4, 0.4), 50.0, "triangle")
        >>> line.dwell([1.0, 10.0], 8e-3).round(6).tolist()
        [0.0004, 4e-05]
        """
        length = within("sweep", sweep, "m", 0.0, math.inf)
        scale = self.stretch(distance)
        frequency = self.frequency
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            wide = max(self.width) if self.kind in ("circle", "figure of eight", "wobble") else self.width[0]
            part = np.where(scale > 0.0, length / (0.5 * wide * scale), math.inf)
            moving = part < 1.0
            inside = np.where(moving, part, 0.0)
            if self.kind == "circle" and self.width[0] == self.width[1]:
                time = np.arcsin(0.5 * inside) / (math.pi * frequency)
            elif self.kind in ("line", "raster") and self.waveform == "triangle":
                time = inside / (2.0 * frequency)
            else:
                time = np.arccos(1.0 - inside) / (math.pi * frequency)
            time = time * self._lines_reached(length, scale)
        return np.asarray(np.where(moving, np.minimum(time, self.period), self.period))

    def most_passes(self, distance: ArrayLike, sweep: ArrayLike) -> FloatArray:
        """Return how many separate times in each period the spot can pass within *sweep*, at any place [1]_.

        A line passes there and back, except where it turns; an ellipse and a figure of eight lie in a strip along their
        longer axis, which they pass two and four times.

        Parameters
        ----------
        distance : array_like, shape (...)
            From the last optic. [m]
        sweep : array_like, shape (...)
            Width over which the spot can touch the aperture. [m]

        Returns
        -------
        numpy.ndarray, shape (...)
            Whole number, 1 or more. [1]

        References
        ----------
        .. [1] Own: docs/method.md, "Scanned beams".

        Examples
        --------
        >>> float(ScanPattern("line", (0.4, 0.4), 50.0).most_passes(10.0, 8e-3))
        2.0
        """
        length = within("sweep", sweep, "m", 0.0, math.inf)
        each = {"figure of eight": 4.0, "circle": 1.0 if self.width[0] == self.width[1] else 2.0}.get(self.kind, 2.0)
        return np.asarray(each * self._lines_reached(length, self.stretch(distance)))

    def _lines_reached(self, length: FloatArray, scale: FloatArray) -> FloatArray:
        """Return how many lines of a raster a sweep reaches; 1 of any other self."""
        if self.kind != "raster":
            return np.ones(np.broadcast_shapes(length.shape, scale.shape))
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            reached = np.where(scale > 0.0, np.floor(length / (self.pitch * scale)) + 1.0, math.inf)
        return np.asarray(np.minimum(reached, float(self.lines)))


def sweep_widths(dx: ArrayLike, dy: ArrayLike, aperture: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the shortest and the longest way of a spot over an aperture [1]_.

    Parameters
    ----------
    dx, dy : array_like, shape (...)
        1/e diameters of the spot. [m]
    aperture : array_like, shape (...)
        Diameter of the aperture. [m]

    Returns
    -------
    tuple of numpy.ndarray, each of shape (...)
        max(d, D) and d + D, with the longer axis of the spot. [m]

    References
    ----------
    .. [1] Own: a sweep lasts between max(d, D) / v and (d + D) / v.
    """
    longer = np.maximum(within("dx", dx, "m", 0.0, math.inf), within("dy", dy, "m", 0.0, math.inf))
    hole = positive("aperture", aperture, "m")
    return np.maximum(longer, hole), np.asarray(longer + hole)
