"""Refuse numbers that the formulas of ``optics`` and ``hazard`` cannot use; nothing is clipped or masked."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError, refuse

FloatArray = NDArray[np.float64]
_MOST, _LEAST = float(np.finfo(np.float64).max), math.ulp(0.0)


def floats(name: str, value: ArrayLike) -> FloatArray:
    """Return *value* as an array of floats.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape (...)
        What was given. [any]

    Returns
    -------
    numpy.ndarray, shape (...)
        The same numbers. [any]

    Raises
    ------
    InputError
        If it is not numbers.
    """
    try:
        return np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        refuse(f"{name} = {value!r} is not a number; give plain numbers in SI units")


def _checked(name: str, value: ArrayLike, unit: str, low: float, high: float, allowed: str = "") -> FloatArray:
    """Return *value* as floats, or refuse the first that is not from *low* to *high*, NaN too."""
    most = min(high, _MOST)
    if type(value) is float and low <= value <= most:
        return np.asarray(value)
    numbers = floats(name, value)
    if numbers.size and not (numbers.min() >= low and numbers.max() <= most):
        first = float(np.atleast_1d(numbers)[~np.atleast_1d((numbers >= low) & (numbers <= most))].flat[0])
        allowed = allowed or (f"{low:.6g} or more and finite" if math.isinf(high) else f"from {low:.6g} to {high:.6g}")
        refuse(f"{name} = {first:.6g} {unit}".rstrip() + f": must be {allowed}; correct this figure", OutOfRangeError)
    return numbers


def finite(name: str, value: ArrayLike, unit: str) -> FloatArray:
    """Return *value* as floats, or refuse it where it is NaN or infinite.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape (...)
        What was given. [any]
    unit : str
        Unit of *value*, for the message.

    Returns
    -------
    numpy.ndarray, shape (...)
        The same numbers. [any]

    Raises
    ------
    OutOfRangeError
        If any number is NaN or infinite.
    """
    return _checked(name, value, unit, -_MOST, _MOST, "a finite number")


def positive(name: str, value: ArrayLike, unit: str, most: float = _MOST) -> FloatArray:
    """Return *value* as floats, or refuse it where it is not above zero and finite.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape (...)
        What was given. [any]
    unit : str
        Unit of *value*, for the message.
    most : float, optional
        Largest number allowed. [any]

    Returns
    -------
    numpy.ndarray, shape (...)
        The same numbers. [any]

    Raises
    ------
    OutOfRangeError
        If any number is NaN, infinite, zero or negative, or above the largest.
    """
    allowed = "above 0 and finite" + ("" if most == _MOST else f", at most {most:.6g}")
    return _checked(name, value, unit, _LEAST, most, allowed)


def within(name: str, value: ArrayLike, unit: str, low: float, high: float) -> FloatArray:
    """Return *value* as floats, or refuse it where it is outside *low* to *high* (both allowed).

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape (...)
        What was given. [any]
    unit : str
        Unit of *value*, for the message.
    low, high : float
        Smallest and largest number allowed; *high* may be infinity, which itself is never allowed. [any]

    Returns
    -------
    numpy.ndarray, shape (...)
        The same numbers. [any]

    Raises
    ------
    OutOfRangeError
        If any number is NaN, infinite or outside.
    """
    return _checked(name, value, unit, low, high)


def choice(name: str, value: str, allowed: tuple[str, ...]) -> str:
    """Return *value*, or refuse it where it is not one of *allowed*.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : str
        What was given. [any]
    allowed : tuple of str
        The words that are known.

    Returns
    -------
    str
        The same word.

    Raises
    ------
    InputError
        If the word is not one of them.
    """
    if value not in allowed:
        refuse(f"{name} = {value!r} is not known here; write one of: " + ", ".join(allowed))
    return value


class Many:
    """Base of records of numbers: of one case, or of many as arrays of shape (n,) that broadcast together."""

    def taken(self, at: NDArray[np.intp]) -> Self:
        """Return the cases with these numbers."""
        return replace(self, **{name: taken(value, at) for name, value in vars(self).items()})  # type: ignore[type-var]


def taken(value: Any, at: NDArray[np.intp]) -> Any:
    """Return the cases with some numbers.

    Parameters
    ----------
    value : Many, numpy.ndarray of shape () or (n,), a tuple or list of them, or what all cases share
        Values of cases.
    at : numpy.ndarray of int, shape (m,)
        Numbers of the cases.

    Returns
    -------
    Many, numpy.ndarray of shape () or (m,), tuple or list
        The same of these cases; what was one array in two places still is.
    """
    if isinstance(value, np.ndarray):
        return value[at] if value.ndim else value
    if isinstance(value, (tuple, list)):
        found = {id(one): taken(one, at) for one in value}
        return type(value)(found[id(one)] for one in value)
    return value.taken(at) if isinstance(value, Many) else value


def unique(values: FloatArray) -> FloatArray:
    """Return values in order without doubles; `numpy.unique` would load `numpy.ma`, which every command would pay for.

    Parameters
    ----------
    values : numpy.ndarray, shape (...)
        Any numbers. [any]

    Returns
    -------
    numpy.ndarray, shape (n,)
        Ascending. [any]
    """
    ordered = np.sort(values, axis=None)
    keep = np.ones(ordered.size, dtype=bool)
    keep[1:] = ordered[1:] != ordered[:-1]
    return np.asarray(ordered[keep])
