"""The wavelengths of a tolerance that have to be worked out: where limits are lowest, and edges of markings."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise, product

from lasersafe.errors import InputError
from lasersafe.hazard.combine import groups
from lasersafe.hazard.lasting import body_area, wavelength_edges
from lasersafe.hazard.marking import parse_marking
from lasersafe.limits import hazard_limits, rule_sets

_DURATIONS = (1e-9, 1e-7, 1e-4, 0.25, 10.0, 100.0, 3e4)  # s: times at which the limits of two wavelengths are compared
_EDGE = 1e-9  # relative step to the other side of an edge


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
    inside = [at * side for at in wavelength_edges(rule_sets()) for side in (1.0 - _EDGE, 1.0, 1.0 + _EDGE)]
    tried = [low, *(at for at in inside if low < at < high), high]
    worst = {low, high}
    for name, tissue, duration in product(rule_sets(), ("eye", "skin"), _DURATIONS):
        lowest: dict[tuple[str, str], tuple[float, float]] = {}
        for at in tried:
            for one in hazard_limits(name, tissue, at, duration, exposed_area=body_area(tissue, at)):
                for kind in product((one.name,), groups(tissue, at)) if together else (("", ""),):
                    here = (float(one.radiant_exposure), at)
                    lowest[kind] = min(lowest.get(kind, here), here)
        worst |= {at for _, at in lowest.values()}
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
