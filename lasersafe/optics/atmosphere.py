"""Loss on the way through air. Off by default: a longer path through clear air is the bound."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import ReferenceDataError
from lasersafe.optics.checks import FloatArray, finite, within
from lasersafe.reference import load_toml, shared_path


@dataclass(frozen=True)
class Kruse:
    """The constants of the Kruse form; lengths in m, ``rows`` of (visibility range, factor, power)."""

    contrast: float
    reference: float
    wavelength: tuple[float, float]
    rows: tuple[tuple[tuple[float, float], float, float], ...]


@lru_cache(maxsize=1)
def kruse_data() -> Kruse:
    """Return the constants of ``shared/atmosphere/kruse.toml``.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged.
    """
    content = load_toml(shared_path("atmosphere", "kruse.toml"))
    try:
        form = content["form"]
        strange = set(content) - {"source", "form", "row"} | set(form) - {"contrast", "reference_nm", "wavelength_nm"}
        for row in content["row"]:
            strange |= set(row) - {"visibility_km", "factor", "power", "seen"}
        if strange:
            message = f"data file kruse.toml: unknown key '{sorted(strange)[0]}'"
            raise ReferenceDataError(message)
        rows = []
        reached = 0.0
        for row in content["row"]:
            low, high = (float(end) * 1e3 for end in row["visibility_km"])
            if low != reached or not high > low:
                message = f"data file kruse.toml: the visibility ranges leave a gap or overlap at {low:g} m"
                raise ReferenceDataError(message)
            reached = high
            rows.append(((low, high), float(row["factor"]), float(row["power"])))
        low, high = (float(end) * 1e-9 for end in form["wavelength_nm"])
        return Kruse(float(form["contrast"]), float(form["reference_nm"]) * 1e-9, (low, high), tuple(rows))
    except (KeyError, TypeError, ValueError) as error:
        if isinstance(error, ReferenceDataError):
            raise
        message = f"data file kruse.toml is damaged: {error}"
        raise ReferenceDataError(message) from None


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
    data = kruse_data()
    farthest = data.rows[-1][0][1]
    range_ = float(within("visibility", visibility, "m", 1.0, farthest))
    light = float(within("wavelength", wavelength, "m", *data.wavelength))
    found = []
    for (low, high), factor, power in data.rows:
        if low <= range_ <= high:
            exponent = factor * (range_ / 1e3) ** power
            found.append(data.contrast / range_ * (light / data.reference) ** -exponent)
    return float(finite("attenuation", min(found), "1/m"))
