"""Refuse numbers that the formulas of ``optics`` and ``hazard`` cannot use; nothing is clipped or masked."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError, OutOfRangeError

FloatArray = NDArray[np.float64]


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
        message = f"{name} = {value!r} is not a number; give plain numbers in SI units"
        raise InputError(message) from None


def _refuse(name: str, numbers: FloatArray, inside: NDArray[np.bool_], unit: str, allowed: str) -> None:
    first = float(np.atleast_1d(numbers)[~np.atleast_1d(inside)].flat[0])
    message = f"{name} = {first:.6g} {unit}".rstrip() + f": must be {allowed}; correct this figure"
    raise OutOfRangeError(message)


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
    if type(value) is float and math.isfinite(value):
        return np.asarray(value)
    numbers = floats(name, value)
    inside = np.isfinite(numbers)
    if not inside.all():
        _refuse(name, numbers, inside, unit, "a finite number")
    return numbers


def positive(name: str, value: ArrayLike, unit: str) -> FloatArray:
    """Return *value* as floats, or refuse it where it is not above zero and finite.

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
        If any number is NaN, infinite, zero or negative.
    """
    if type(value) is float and 0.0 < value < math.inf:
        return np.asarray(value)
    numbers = floats(name, value)
    inside = (numbers > 0.0) & (numbers < math.inf)
    if not inside.all():
        _refuse(name, numbers, inside, unit, "above 0 and finite")
    return numbers


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
    if type(value) is float and low <= value <= high and math.isfinite(value):
        return np.asarray(value)
    numbers = floats(name, value)
    inside = (numbers >= low) & (numbers <= high) & np.isfinite(numbers)
    if not inside.all():
        allowed = f"{low:.6g} or more and finite" if math.isinf(high) else f"from {low:.6g} to {high:.6g}"
        _refuse(name, numbers, inside, unit, allowed)
    return numbers


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
        message = f"{name} = {value!r} is not known here; write one of: " + ", ".join(allowed)
        raise InputError(message)
    return value


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
