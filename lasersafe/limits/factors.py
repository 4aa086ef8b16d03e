"""The correction factors of an edition by themselves."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.limits.grid import EDGE, Floats
from lasersafe.limits.records import SpectralRow
from lasersafe.limits.tables import load_rule_set, nearest


def spectral_value(row: SpectralRow, value: Floats | np.float64) -> Floats:
    """Return the value that a printed row gives at wavelengths [nm] or angles [mrad]."""
    return np.asarray(row.constant + row.coefficient * 10.0 ** (row.slope * (value - row.origin)))


def correction_factor(rule_set: str, name: str, wavelength: ArrayLike) -> Floats:
    """Return a factor that depends on the wavelength: C_A, C_B, C_C, C_2, or the time T_1.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    name : str
        The symbol as printed, with an underscore.
    wavelength : array_like, shape (...)
        Vacuum wavelength. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        The factor, or T_1 in seconds; the lower value at an edge shared by two rows, NaN where the table has no row.

    Raises
    ------
    InputError
        If the edition has no such factor.

    Examples
    --------
    >>> correction_factor("ICNIRP-2013", "C_A", [532e-9, 850e-9, 1064e-9]).round(3)
    array([1.   , 1.995, 5.   ])
    """
    factors = load_rule_set(rule_set).factors
    if name not in factors:
        raise nearest(name, "factor", factors)
    lam = np.asarray(wavelength, dtype=np.float64) * 1e9
    return _pick(factors[name].rows, lam)


def _pick(rows: tuple[SpectralRow, ...], value: Floats) -> Floats:
    result = np.full(value.shape, np.nan)
    for row in rows:
        here = (value >= row.range[0] * (1 - EDGE)) & (value <= row.range[1] * (1 + EDGE))
        with np.errstate(over="ignore"):
            result = np.where(here, np.fmin(result, spectral_value(row, np.where(here, value, row.origin))), result)
    return result


def time_t2(rule_set: str, source_angle: ArrayLike) -> Floats:
    """Return T_2, the time from which a longer stare heats the retina no further.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    source_angle : array_like, shape (...)
        Angle that the source subtends. [rad]

    Returns
    -------
    numpy.ndarray, shape (...)
        T_2, 10 to 100. [s]

    Examples
    --------
    >>> float(time_t2("ICNIRP-2013", 50e-3).round(2))
    31.07
    """
    return _pick(load_rule_set(rule_set).angle_factors["T_2"].rows, np.asarray(source_angle, dtype=np.float64) * 1e3)


def angle_max(rule_set: str, duration: ArrayLike) -> Floats:
    """Return alpha_max, the source angle from which the limit grows with the square of the angle.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]

    Returns
    -------
    numpy.ndarray, shape (...)
        alpha_max. [rad]

    Examples
    --------
    >>> angle_max("ICNIRP-2013", [1e-6, 0.01, 10.0])
    array([0.005, 0.02 , 0.1  ])
    """
    time = np.asarray(duration, dtype=np.float64)
    result = np.full(time.shape, np.nan)
    for row in load_rule_set(rule_set).time_factors["alpha_max"].rows:
        result = np.where(time >= row.duration[0] * (1 - EDGE), row.value * time**row.power, result)
    return result * 1e-3


def source_factor(rule_set: str, duration: ArrayLike, source_angle: ArrayLike) -> Floats:
    """Return C_E, which goes with the power of the whole source.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]
    source_angle : array_like, shape (...)
        Angle that the source subtends. [rad]

    Returns
    -------
    numpy.ndarray, shape (...)
        1 up to alpha_min, alpha/alpha_min up to alpha_max, alpha**2/(alpha_min alpha_max) above. [1]

    Examples
    --------
    >>> source_factor("ICNIRP-2013", 10.0, [1e-3, 15e-3, 0.2]).round(2)
    array([  1.  ,  10.  , 266.67])
    """
    alpha = np.asarray(source_angle, dtype=np.float64)
    least = load_rule_set(rule_set).time_factors["alpha_min"].rows[0].value * 1e-3
    result: Floats = np.maximum(alpha, least) / least * np.maximum(alpha / angle_max(rule_set, duration), 1.0)
    return result
