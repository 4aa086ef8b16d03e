"""Loss on the way through air. Off by default: a longer path through clear air is the bound."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.data import As, Printed, Seen, Source, Span, check_cover, load, shared_path
from lasersafe.optics.checks import FloatArray, finite, within


@dataclass(frozen=True)
class _Haze:
    visibility: Annotated[Span, As("visibility_km", 1e3)]
    factor: Printed
    power: Printed
    seen: Seen


@dataclass(frozen=True)
class Kruse:
    """The constants of the Kruse form; lengths in m."""

    source: Source
    contrast: Annotated[float, As("form.contrast", printed=True)]
    reference: Annotated[float, As("form.reference_nm", 1e-9, printed=True)]
    wavelength: Annotated[Span, As("form.wavelength_nm", 1e-9)]
    rows: Annotated[tuple[_Haze, ...], As("row")]

    def __post_init__(self) -> None:
        """Refuse visibilities that leave a gap or overlap."""
        check_cover("visibility", (row.visibility for row in self.rows), (0.0, self.rows[-1].visibility[1]))


@lru_cache(maxsize=1)
def kruse_data() -> Kruse:
    """Return the constants of ``shared/atmosphere/kruse.toml``.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged.
    """
    return load(Kruse, shared_path("atmosphere", "kruse.toml"))


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
    farthest = data.rows[-1].visibility[1]
    range_ = float(within("visibility", visibility, "m", 1.0, farthest))
    light = float(within("wavelength", wavelength, "m", *data.wavelength))
    found = []
    for row in data.rows:
        if row.visibility[0] <= range_ <= row.visibility[1]:
            exponent = row.factor * (range_ / 1e3) ** row.power
            found.append(data.contrast / range_ * (light / data.reference) ** -exponent)
    return float(finite("attenuation", min(found), "1/m"))
