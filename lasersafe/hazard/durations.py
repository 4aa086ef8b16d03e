"""Exposure durations by wavelength, way and person (design.md, item 10)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.wording.message import Message

WORKING_DAY = 30_000.0
DELIBERATE = 100.0
ACCIDENTAL = 10.0
TURN_AWAY = 0.25
EDGE = 1e-9  # a wavelength this near to an edge counts as on it, where the stricter time holds


def exposure_duration(wavelength: float, way: str, *, turns_away: bool = False) -> tuple[float, Message]:
    """Return the exposure duration to assume [1]_ [2]_, and the reason in words.

    Parameters
    ----------
    wavelength : float
        Wavelength. [m]
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    turns_away : bool
        True only for a briefed person who is expected to turn away from visible light.

    Returns
    -------
    float
        Exposure duration. [s]
    Message
        The reason, for the sheet.

    References
    ----------
    .. [1] TROS-2, section 4.1 (time bases) and 5.1 (infrared).
    .. [2] DGUV203-036, annex 4 (the blink reflex is not to be relied on).
    """
    if wavelength <= 400e-9 * (1.0 + EDGE):
        return WORKING_DAY, Message("time.ultraviolet")
    if way == "scatter":
        return DELIBERATE, Message("time.lit_spot")
    if wavelength < 700e-9 * (1.0 - EDGE):
        if turns_away:
            return TURN_AWAY, Message("time.turns_away")
        return ACCIDENTAL, Message("time.no_blink")
    return ACCIDENTAL, Message("time.unintended")


def exposure_durations(wavelength: ArrayLike, way: str) -> NDArray[np.float64]:
    """Return the exposure durations of many wavelengths, for people who do not turn away.

    Parameters
    ----------
    wavelength : array_like, shape (...)
        Wavelength. [m]
    way : str
        ``direct``, ``mirror`` or ``scatter``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure duration. [s]
    """
    ultraviolet = np.asarray(wavelength) <= 400e-9 * (1.0 + EDGE)
    return np.where(ultraviolet, WORKING_DAY, DELIBERATE if way == "scatter" else ACCIDENTAL)
