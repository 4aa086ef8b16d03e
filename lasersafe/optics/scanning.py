"""How long a moving spot can stay on an aperture: line, circle, figure of eight, raster and wobble.

Every answer is an upper bound for one period of the pattern, taken where the spot is slowest: at the turning points.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import refuse
from lasersafe.optics.beam import Pair, pair
from lasersafe.optics.checks import FloatArray, choice, finite, positive, within

PATTERNS = ("line", "circle", "figure of eight", "raster", "wobble")
WAVEFORMS = ("sine", "triangle")


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

    Raises
    ------
    InputError
        If a word is not known, or a raster has no line or a pitch of 0.
    OutOfRangeError
        If a number is not positive and finite, or an angle is above pi.

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

    def __post_init__(self) -> None:
        choice("pattern", self.kind, PATTERNS)
        choice("waveform", self.waveform, WAVEFORMS)
        object.__setattr__(self, "width", pair("width", self.width))
        positive("width", self.width, "")
        positive("frequency", self.frequency, "Hz")
        if self.reference is None:
            within("width", self.width, "rad", 0.0, math.pi)
        else:
            positive("reference", self.reference, "m")
        if self.kind == "raster" and (self.lines < 1 or not self.pitch > 0.0):
            refuse(f"raster of {self.lines} lines with a pitch of {self.pitch:g}: give a line or more and a pitch")
        finite("pitch", self.pitch, "")

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


def dwell(pattern: ScanPattern, distance: ArrayLike, sweep: ArrayLike) -> FloatArray:
    """Return for how long of each period the spot can lie within *sweep* at the slowest place [1]_.

    A sweep that is half as wide as the pattern, or wider, gets the whole period: no credit is given for such a scan.

    Parameters
    ----------
    pattern : ScanPattern
        The pattern.
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
    >>> dwell(line, [1.0, 10.0], 8e-3).round(6).tolist()
    [0.0004, 4e-05]
    """
    length = within("sweep", sweep, "m", 0.0, math.inf)
    scale = pattern.stretch(distance)
    frequency = pattern.frequency
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        wide = max(pattern.width) if pattern.kind in ("circle", "figure of eight", "wobble") else pattern.width[0]
        part = np.where(scale > 0.0, length / (0.5 * wide * scale), math.inf)
        moving = part < 1.0
        inside = np.where(moving, part, 0.0)
        if pattern.kind == "circle" and pattern.width[0] == pattern.width[1]:
            time = np.arcsin(0.5 * inside) / (math.pi * frequency)
        elif pattern.kind in ("line", "raster") and pattern.waveform == "triangle":
            time = inside / (2.0 * frequency)
        else:
            time = np.arccos(1.0 - inside) / (math.pi * frequency)
        time = time * _lines_reached(pattern, length, scale)
    return np.asarray(np.where(moving, np.minimum(time, pattern.period), pattern.period))


def most_passes(pattern: ScanPattern, distance: ArrayLike, sweep: ArrayLike) -> FloatArray:
    """Return how many separate times in each period the spot can pass within *sweep*, at any place [1]_.

    A line passes there and back, except where it turns; an ellipse and a figure of eight lie in a strip along their
    longer axis, which they pass two and four times.

    Parameters
    ----------
    pattern : ScanPattern
        The pattern.
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
    >>> float(most_passes(ScanPattern("line", (0.4, 0.4), 50.0), 10.0, 8e-3))
    2.0
    """
    length = within("sweep", sweep, "m", 0.0, math.inf)
    each = {"figure of eight": 4.0, "circle": 1.0 if pattern.width[0] == pattern.width[1] else 2.0}.get(
        pattern.kind, 2.0
    )
    return np.asarray(each * _lines_reached(pattern, length, pattern.stretch(distance)))


def _lines_reached(pattern: ScanPattern, length: FloatArray, scale: FloatArray) -> FloatArray:
    """Return how many lines of a raster a sweep reaches; 1 of any other pattern."""
    if pattern.kind != "raster":
        return np.ones(np.broadcast_shapes(length.shape, scale.shape))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        reached = np.where(scale > 0.0, np.floor(length / (pattern.pitch * scale)) + 1.0, math.inf)
    return np.asarray(np.minimum(reached, float(pattern.lines)))


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
