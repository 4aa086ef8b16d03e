"""The distances of one laser with one set-up over the values of some of its inputs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import Context
from lasersafe.assessment.distances import exposure_ratios, variable_inputs, zone_distances
from lasersafe.errors import InputError
from lasersafe.studies.ranges import Span, read_span, split_vary
from lasersafe.studies.subject import Input, Subject

Floats = NDArray[np.float64]
MOST_POINTS = 100_000
MOST_HELD = 2_000
MOST_INPUTS = 6
WAYS = ("direct", "mirror", "scatter")
TISSUES = ("eye", "skin")
ZONES = tuple((way, tissue) for way in WAYS for tissue in TISSUES)


@dataclass(frozen=True)
class Varied:
    """An input and the values that it takes."""

    input: Input
    span: Span


@dataclass(frozen=True)
class Sweep:
    """A grid of points; the first varied input changes slowest.

    Parameters
    ----------
    subject : Subject
        What it is about.
    varied : tuple of Varied
        The axes of the grid.
    distances : mapping of (way, tissue) to numpy.ndarray, shape (n1, n2, ...)
        Beyond it the exposure is below the limit of every rule set. [m]
    decided : mapping of (way, tissue) to numpy.ndarray of int, shape (n1, n2, ...)
        Place in ``subject.context.rule_sets`` of the rule set that reaches farthest.
    density : numpy.ndarray, shape (n1, n2, ...), or None
        Optical density that the eye needs at ``place`` and beyond, not rounded, at least 0. [1]
    place : float or None
        [m]
    """

    subject: Subject
    varied: tuple[Varied, ...]
    distances: Mapping[tuple[str, str], Floats]
    decided: Mapping[tuple[str, str], NDArray[np.int8]]
    density: Floats | None
    place: float | None

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of values on each axis."""
        return tuple(one.span.values.size for one in self.varied)

    @property
    def start(self) -> dict[str, float]:
        """The first point: path of each varied input to its value. [SI]."""
        return {one.input.path: float(one.span.values[0]) for one in self.varied}

    @property
    def size(self) -> int:
        """Number of points."""
        return math.prod(self.shape)


def read_varied(subject: Subject, texts: Sequence[str]) -> tuple[Varied, ...]:
    """Return what the options ``--vary`` ask for.

    Parameters
    ----------
    subject : Subject
        What it is about.
    texts : sequence of str
        As typed.

    Raises
    ------
    InputError
        If one cannot be read, an input stands twice, or the grid has too many points.
    """
    found: list[Varied] = []
    for text in texts:
        path, values = split_vary(text)
        one = subject.input(path)
        if any(one.path == other.input.path for other in found):
            message = f"{one.path} stands behind --vary twice; write its values in one, as '1 W|2 W|5 W'"
            raise InputError(message)
        found.append(Varied(one, read_span(one.path, values, one.read)))
    if len(found) > MOST_INPUTS:
        message = f"{len(found)} inputs are varied; at most {MOST_INPUTS} can be"
        raise InputError(message)
    points = math.prod(one.span.values.size for one in found)
    if points > MOST_POINTS:
        counts = " x ".join(str(one.span.values.size) for one in found)
        message = f"{counts} = {points} points; at most {MOST_POINTS} are worked out in one sweep: ask for fewer values"
        raise InputError(message)
    return tuple(found)


def sweep(subject: Subject, varied: Sequence[Varied], place: float | None = None) -> Sweep:
    """Return the distances at every point of the grid.

    Parameters
    ----------
    subject : Subject
        What it is about.
    varied : sequence of Varied
        The axes of the grid.
    place : float, optional
        Where the optical density is asked for, along the way of the light. [m]

    Raises
    ------
    InputError
        If the case does not hold together at a corner of the grid.
    """
    for corner in itertools.product(*((one.span.values[0], one.span.values[-1]) for one in varied)):
        subject.changed({one.input.path: float(value) for one, value in zip(varied, corner, strict=True)})
    shape = tuple(one.span.values.size for one in varied)
    reaches = {zone: np.zeros(shape) for zone in ZONES}
    decided = {zone: np.zeros(shape, dtype=np.int8) for zone in ZONES}
    ratio = None if place is None else np.zeros(shape)
    names = subject.context.rule_sets
    for where, contexts, changes in _parts(subject, varied):
        for zone in ZONES:
            found = reach_by_rule_set(contexts, zone, changes)
            by_rule = [found[name] for name in names]
            reaches[zone][where] = reduce(np.maximum, by_rule)
            decided[zone][where] = np.argmax(np.stack(np.broadcast_arrays(*by_rule)), axis=0)
        if ratio is not None:
            assert place is not None
            ratio[where] = eye_ratio(contexts, place, changes)
    density = None if ratio is None else np.log10(np.maximum(ratio, 1.0))
    return Sweep(subject, tuple(varied), reaches, decided, density, place)


def _parts(
    subject: Subject, varied: Sequence[Varied]
) -> Iterator[tuple[tuple[int | slice, ...], tuple[Context, ...], dict[str, Floats]]]:
    """Yield the grid in parts: what the arrays do not take is held at one value after the other."""
    starts = {one.input.path: float(one.span.values[0]) for one in varied}
    first = subject.changed(starts)
    held = [k for k, one in enumerate(varied) if one.input.ends or not takes_arrays(first, one.input.name)]
    inner = [k for k in range(len(varied)) if k not in held]
    parts = math.prod(varied[k].span.values.size for k in held)
    if parts > MOST_HELD:
        what = ", ".join(varied[k].input.path for k in held)
        message = f"{what}: {parts} points that are worked out one by one; at most {MOST_HELD} are, ask for fewer"
        raise InputError(message)
    changes: dict[str, Floats] = {}
    for turn, k in enumerate(inner):
        shape = [1] * len(inner)
        shape[turn] = -1
        changes |= varied[k].input.arrays(varied[k].span.values.reshape(shape))
    for places in itertools.product(*(range(varied[k].span.values.size) for k in held)):
        at = dict(zip(held, places, strict=True))
        values = starts | {varied[k].input.path: float(varied[k].span.values[n]) for k, n in at.items()}
        where = tuple(at.get(k, slice(None)) for k in range(len(varied)))
        yield where, subject.changed(values), changes


def takes_arrays(contexts: Sequence[Context], name: str) -> bool:
    """Return whether an input can be replaced by an array, at every corner of the tolerances."""
    return all(name in variable_inputs(context) for context in contexts)


def reach_by_rule_set(
    contexts: Sequence[Context], zone: tuple[str, str], changes: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Return how far one zone reaches under each rule set, the farthest of all corners.

    Parameters
    ----------
    contexts : sequence of Context
        One laser with one set-up, at each corner of its tolerances.
    zone : tuple of str
        Way and tissue.
    changes : mapping of str to numpy.ndarray
        What is changed. [SI]

    Returns
    -------
    dict of str to numpy.ndarray, shape (...)
        [m]
    """
    return {
        name: reduce(np.maximum, (zone_distances(one, *zone, changes, (name,)) for one in contexts))
        for name in contexts[0].rule_sets
    }


def eye_ratio(contexts: Sequence[Context], place: float, changes: Mapping[str, Floats]) -> Floats:
    """Return exposure over limit of the eye at or beyond a place, the worst of all ways.

    Parameters
    ----------
    contexts : sequence of Context
        One laser with one set-up, at each corner of its tolerances.
    place : float
        From the last optic, for scatter from the lit surface. [m]
    changes : mapping of str to numpy.ndarray
        What is changed. [SI]

    Returns
    -------
    numpy.ndarray, shape (...)
        Of several wavelengths, the sum of those that act together. [1]
    """
    every = (exposure_ratios(one, way, "eye", place, changes) for one in contexts for way in WAYS)
    return np.asarray(reduce(np.maximum, every))
