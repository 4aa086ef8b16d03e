"""Where a ratio falls to 1 for the last time: one search, for one case or for many."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import OutOfRangeError
from lasersafe.optics.checks import positive

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Ratio = Callable[[Floats, Places], Floats]  # places [m] and the number of the case of each, both of shape (n,)
_NARROW = 2e-14  # relative width at which a bracket is done
_STEPS = 200
_GRID = 400
_SECTIONS = 32


def farthest_crossing(ratio: Callable[[Floats], Floats], near: float, far: float, *, points: int = _GRID) -> float:
    """Return the farthest place at which one ratio falls through 1, the worst of a logarithmic grid narrowed down.

    Parameters
    ----------
    ratio : callable
        Takes places of shape (n,) [m], returns ratios of the same shape.
    near, far : float
        Ends of the search. [m]
    points : int
        Places of the grid.

    Returns
    -------
    float
        0 where no place of the grid is above 1. [m]

    Raises
    ------
    OutOfRangeError
        If the ends are not in order, a ratio is no number, or the ratio is above 1 at the far end.
    """
    first, last = float(positive("near", near, "m")), float(positive("far", far, "m"))
    if not first < last:
        message = "near must be below far; correct the ends of the search"
        raise OutOfRangeError(message)
    nodes = np.geomspace(first, last, points)
    nodes[0], nodes[-1] = first, last
    over = _over(np.asarray(ratio(nodes)), nodes)
    if not over.any():
        return 0.0
    while True:  # a call costs more than a place: many places at once
        near, end = nodes[np.flatnonzero(over)[-1] + np.arange(2)].tolist()
        middle = 0.5 * (near + end)
        if end - near <= _NARROW * end or not near < middle < end:
            return float(end)
        nodes = np.linspace(near, end, _SECTIONS + 1)
        nodes[-1] = end
        over = np.concatenate([[True], np.asarray(ratio(nodes[1:-1])) > 1.0, [False]])


def _over(values: Floats, nodes: Floats) -> NDArray[np.bool_]:
    """Return where ratios are above 1; refuse what is no number, and a last node where they are."""
    if not (values >= 0.0).all():
        message = "ratio of exposure to limit is not a number or negative; correct the exposure or the limit"
        raise OutOfRangeError(message)
    over = values > 1.0
    if over[-1].any():
        place = float(np.atleast_1d(nodes[-1])[np.atleast_1d(over[-1])][0])
        message = f"distance: the limit is still exceeded at {place:.6g} m, the end of the search"
        raise OutOfRangeError(message)
    return np.asarray(over)


def last_crossing(ratio: Ratio, nodes: Floats, at: Places) -> Floats:
    """Return where each case falls through 1 for the last time between its nodes.

    Parameters
    ----------
    ratio : callable
        Takes places and the numbers of their cases, both of shape (n,).
    nodes : numpy.ndarray, shape (k, n)
        Places at which the ratio is read, of each case in order. [m]
    at : numpy.ndarray of int, shape (n,)
        Numbers of the cases.

    Returns
    -------
    numpy.ndarray, shape (n,)
        0 where no node is above 1. [m]

    Raises
    ------
    OutOfRangeError
        If a ratio is no number or negative, or is above 1 at the last node.
    """
    columns = np.broadcast_to(at, nodes.shape)
    values = np.broadcast_to(ratio(nodes.reshape(-1), columns.reshape(-1)), (nodes.size,)).reshape(nodes.shape)
    over = _over(values, nodes)
    rows = np.flatnonzero(over.any(axis=0))
    last = nodes.shape[0] - 1 - np.argmax(over[::-1, rows], axis=0)
    found = np.zeros(nodes.shape[1])
    found[rows] = last_fall(ratio, nodes[last, rows], nodes[last + 1, rows], np.zeros(rows.size), at[rows])
    return found


def last_fall(ratio: Ratio, above: Floats, below: Floats, offset: Floats, at: Places) -> Floats:
    """Narrow brackets in which a ratio falls through 1, by the rule of false position with halving.

    The ratio is read on logarithmic scales, places with an *offset* added: far out it is a straight line there. An end
    that has stayed twice counts half, so that both ends close in.

    Parameters
    ----------
    ratio : callable
        Takes places [m] and the number of the case of each, both of shape (n,), returns the ratios there.
    above, below : numpy.ndarray, shape (n,)
        An end where the ratio is above 1, and one where it is not. [m]
    offset : numpy.ndarray, shape (n,)
        Added to a place before its logarithm is taken. [m]
    at : numpy.ndarray, shape (n,)
        Number of the case of each bracket. [1]

    Returns
    -------
    numpy.ndarray, shape (n,)
        The end where the ratio is not above 1. [m]

    Raises
    ------
    OutOfRangeError
        If the ratio is above 1 at the far end.
    """
    if not at.size:
        return below
    rows = np.arange(at.size)
    with np.errstate(divide="ignore"):
        high, low = np.log(ratio(above, at)), np.log(ratio(below, at))
    if (low > 0.0).any():
        message = f"distance: the limit is still exceeded at {below[low > 0.0][0]:.6g} m; correct the beam or the limit"
        raise OutOfRangeError(message)
    below = np.where(high > 0.0, below, above)  # the bracket was exact
    result = below.copy()
    kept = np.zeros(at.size)
    for step in range(_STEPS):
        with np.errstate(invalid="ignore", divide="ignore"):
            part = high / (high - low)
        part = np.where(np.isfinite(part) & (step % 8 != 7), part, 0.5)
        start, end = above + offset, below + offset
        with np.errstate(invalid="ignore", divide="ignore"):  # an end at the last optic, no offset: halved below
            place = start * (end / start) ** np.clip(part, 0.0, 1.0) - offset
        middle = 0.5 * (above + below)
        place = np.where((place > above) & (place < below), place, middle)
        place = np.clip(place, above + 0.25 * _NARROW * above, np.maximum(below - 0.25 * _NARROW * below, above))
        place = np.where((place > above) & (place < below), place, middle)
        with np.errstate(divide="ignore"):
            value = np.log(ratio(place, at))
        over = value > 0.0
        low = np.where(over & (kept > 0.0), low * 0.5, low)
        high = np.where(~over & (kept < 0.0), high * 0.5, high)
        kept = np.where(over, 1.0, -1.0)
        above, high = np.where(over, place, above), np.where(over, value, high)
        below, low = np.where(over, below, place), np.where(over, low, value)
        middle = 0.5 * (above + below)
        done = (below - above <= _NARROW * below) | (middle <= above) | (middle >= below)
        result[rows[done]] = below[done]
        if done.all():
            return result
        more = ~done
        above, below, offset, high, low, kept = (part[more] for part in (above, below, offset, high, low, kept))
        at, rows = at[more], rows[more]
    result[rows] = below
    return result
