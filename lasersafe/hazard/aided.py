"""Viewing through binoculars, a camera finder or a magnifier: exposure and distances (ENOHD)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.data import As, Printed, Seen, Source, Span, check, check_cover, load
from lasersafe.errors import InputError
from lasersafe.hazard.exposure import Comparison
from lasersafe.optics.checks import FloatArray, positive
from lasersafe.optics.viewing import PUPIL, collecting_gain, imaged_aperture
from lasersafe.reference import shared_path
from lasersafe.wording.message import Message, word


@dataclass(frozen=True)
class Band:
    """How much glass passes between two wavelengths [m]."""

    wavelength: Annotated[Span, As("wavelength_nm", 1e-9)]
    transmission: Printed
    seen: Seen

    def __post_init__(self) -> None:
        """Refuse glass that adds light."""
        check(0.0 < self.transmission <= 1.0, "'transmission' must be above 0 and at most 1")


@dataclass(frozen=True)
class Aid:
    """An instrument: name, angular magnification, objective [m] and where the figures come from.

    ``glass`` False takes no credit for what glass stops: transmission 1 at every wavelength.
    """

    name: str
    magnification: Printed
    objective: Annotated[float, As("objective_mm", 1e-3, printed=True)]
    note: Annotated[str, As(required=True)] = ""
    seen: Annotated[Seen, As(required=True)] = "memory"
    glass: Annotated[bool, As(None)] = True

    def collects(self, aperture: ArrayLike) -> FloatArray:
        """Return the diameter [m] at the objective of what comes through limiting apertures [m] of shape (...)."""
        return imaged_aperture(aperture, self.objective, self.magnification)

    def gain(self, wavelength: float, aperture: float = PUPIL) -> float:
        """Return the collecting gain at a wavelength [m] into a limiting aperture [m], with the objective filled."""
        return float(collecting_gain(self.collects(aperture), aperture, self.passes(wavelength)))

    def passes(self, wavelength: ArrayLike) -> FloatArray:
        """Return the part of light that passes at wavelengths [m] of shape (...), 1 where no credit is taken."""
        return transmission(wavelength) if self.glass else np.asarray(1.0)

    def words(self, wavelength: float, aperture: float) -> str:
        """Return the instrument in words, with what it passes at a wavelength [m] into a limiting aperture [m]."""
        passed = float(self.passes(wavelength))
        used = f"{float(self.collects(aperture)) * 1e3:.3g} mm"
        return Message(
            "aid.words", aid=word(self.name), used=used, aperture=f"{aperture * 1e3:.3g} mm", passed=f"{passed:g}"
        )


# What a case that says only "aided" is compared with: the standard 7x50, and no credit for its glass.
UNDESCRIBED = Aid("7x50 without loss (the aid is not described)", 7.0, 50e-3, glass=False)


@dataclass(frozen=True)
class _Viewing:
    source: Source
    band: tuple[Band, ...]
    aid: tuple[Aid, ...]

    def __post_init__(self) -> None:
        edges = [one.wavelength for one in self.band]
        check_cover("bands", edges, (min(low for low, _ in edges), max(high for _, high in edges)))


@lru_cache(maxsize=1)
def viewing_data() -> tuple[tuple[Band, ...], tuple[Aid, ...], Source]:
    """Return the bands and instruments of ``shared/viewing/aids.toml`` and its source.

    Raises
    ------
    ReferenceDataError
        If the file is damaged.
    """
    content = load(_Viewing, shared_path("viewing", "aids.toml"))
    return content.band, content.aid, content.source


def transmission(wavelength: ArrayLike) -> FloatArray:
    """Return the part that the glass of an instrument passes; at an edge the larger neighbour [1]_.

    Parameters
    ----------
    wavelength : array_like, shape (...)
        Wavelength. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        0.9 visible, 0.7 near it, 0 where glass stops the light. [1]

    Raises
    ------
    OutOfRangeError
        If the wavelength is not positive and finite.

    References
    ----------
    .. [1] ANSI-Z136-1, appendix B, from memory (``shared/viewing/aids.toml``).

    Examples
    --------
    >>> transmission([532e-9, 1070e-9, 10.6e-6]).tolist()
    [0.9, 0.7, 0.0]
    """
    place = positive("wavelength", wavelength, "m")
    slack = 1e-12 * place
    found = np.zeros(place.shape)
    for band in viewing_data()[0]:
        inside = (band.wavelength[0] - slack <= place) & (place <= band.wavelength[1] + slack)
        found = np.maximum(found, np.where(inside, band.transmission, 0.0))
    return found


def aid(name: str) -> Aid:
    """Return an instrument of the data file by name.

    Parameters
    ----------
    name : str
        As in ``shared/viewing/aids.toml``.

    Returns
    -------
    Aid
        The instrument.

    Raises
    ------
    InputError
        If there is none of this name.
    """
    for one in viewing_data()[1]:
        if one.name == name:
            return one
    known = ", ".join(one.name for one in viewing_data()[1])
    message = f"viewing aid = {name!r} is not known here; write one of: {known}"
    raise InputError(message)


def through(compared: Iterable[Comparison], instrument: Aid, wavelength: ArrayLike) -> list[Comparison]:
    """Return what is compared behind an instrument: over a wider aperture, with a limit as much lower as it gathers.

    Parameters
    ----------
    compared : iterable of Comparison
        What the bare eye is compared with.
    instrument : Aid
        The instrument.
    wavelength : array_like, shape (...)
        Wavelength. [m]

    Returns
    -------
    list of Comparison
        As many; limits are infinite where the glass passes nothing.
    """
    found = []
    for one in compared:
        collected = instrument.collects(one.aperture)
        with np.errstate(divide="ignore"):
            gain = collecting_gain(collected, one.aperture, instrument.passes(wavelength))
            found.append(replace(one, limit=np.asarray(one.limit / gain), aperture=collected))
    return found
