"""What eyewear has to carry: optical density, damage class, the marking to ask for, and when none can be relied on.

The figures stand in ``shared/eyewear/``; formulas are named in the steps of each result.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError
from lasersafe.hazard.eyewear_scale import FACTOR_ANYWAY, TOLERANCE
from lasersafe.hazard.eyewear_tables import en207
from lasersafe.records.step import ScaleNeed
from lasersafe.wording.message import Message, joined, key_of, listed

KILOWATT_CLASS = 1000.0  # [W] mean power of a direct hit; a decision of this program, no source


@overload
def optical_density(exposure: float, limit: float) -> float: ...
@overload
def optical_density(exposure: ArrayLike, limit: ArrayLike) -> float | NDArray[np.float64]: ...
def optical_density(exposure: ArrayLike, limit: ArrayLike) -> float | NDArray[np.float64]:
    """Return the optical density that brings an exposure down to its limit, not rounded.

    Below zero where the exposure is already below the limit.

    Parameters
    ----------
    exposure : array_like, shape (...)
        Exposure without eyewear, averaged over the limiting aperture. [W/m2]
    limit : array_like, shape (...)
        Exposure limit in the unit of the exposure. [W/m2]

    Returns
    -------
    float or numpy.ndarray, shape (...)
        log10(exposure / limit). [1]

    Raises
    ------
    InputError
        If an exposure or a limit is zero, negative, NaN or infinite.

    References
    ----------
    .. [1] DGUV203-042, section 5.1.

    Examples
    --------
    >>> round(optical_density(25984.0, 50.0), 3)
    2.716
    """
    above, below = np.asarray(exposure, dtype=np.float64), np.asarray(limit, dtype=np.float64)
    for name, array in (("exposure", above), ("limit", below)):
        if not np.all(np.isfinite(array) & (array > 0)):
            message = f"{name} = {_worst(array):g}: an optical density needs a finite {name} above zero"
            raise InputError(message)
    density = np.log10(above) - np.log10(below)
    return float(density) if density.ndim == 0 else density


@overload
def round_up_density(density: float) -> float: ...
@overload
def round_up_density(density: ArrayLike) -> float | NDArray[np.float64]: ...
def round_up_density(density: ArrayLike) -> float | NDArray[np.float64]:
    """Return a density rounded up to 0.1, and 0 where none is needed.

    Parameters
    ----------
    density : array_like, shape (...)
        Optical density, not rounded. [1]

    Returns
    -------
    float or numpy.ndarray, shape (...)
        The next tenth; 5.0 stays 5.0, and so does what lies above it by no more than 1e-9. [1]

    Raises
    ------
    InputError
        If a density is NaN or infinite.

    References
    ----------
    .. [1] DGUV203-042, section 5.1.3: what is needed is rounded up.

    Examples
    --------
    >>> round_up_density(5.02)
    5.1
    """
    array = np.asarray(density, dtype=np.float64)
    if not np.all(np.isfinite(array)):
        message = f"optical density = {_worst(array):g}: must be a finite number"
        raise InputError(message)
    rounded = np.maximum(np.ceil((array - TOLERANCE) * 10.0) / 10.0, 0.0)
    return float(rounded) if rounded.ndim == 0 else rounded


def density_number(optical_density_exact: float) -> int:
    """Return the scale number that a density asks for: rounded up, at least 1.

    Parameters
    ----------
    optical_density_exact : float
        Optical density, not rounded. [1]

    Returns
    -------
    int
        The whole number.

    Raises
    ------
    InputError
        If the density is NaN or infinite.
    """
    if not math.isfinite(optical_density_exact):
        message = f"optical density = {optical_density_exact:g}: must be a finite number"
        raise InputError(message)
    return max(1, math.ceil(optical_density_exact - TOLERANCE))


def decide(optical_density_exact: float, scale_needs: Sequence[ScaleNeed]) -> str:
    """Return a sentence: which of optical density and damage class decides the marking.

    Parameters
    ----------
    optical_density_exact : float
        Optical density, not rounded. [1]
    scale_needs : sequence of ScaleNeed
        What each mode letter asks for.

    Returns
    -------
    str
        One sentence per mode letter.

    Raises
    ------
    InputError
        If the density is not finite or no need is given.
    """
    number = density_number(optical_density_exact)
    density = Message("need.so_number", density=f"{optical_density_exact:.2f}", number=number)
    sentences = []
    for need in _checked(scale_needs):
        if need.scale_number is None:
            key = "need.damage_beyond"
        elif need.scale_number == number:
            key = "need.both_decide"
        else:
            key = "need.damage_decides" if need.scale_number > number else "need.density_decides"
        asked = en207().highest if need.scale_number is None else need.scale_number
        sentences.append(Message(key, mode=need.mode, number=asked, density=density))
    return joined(sentences, " ")


def marking_to_ask(
    wavelength: float | tuple[float, float], scale_needs: Sequence[ScaleNeed], optical_density_exact: float
) -> str:
    """Return the marking to ask for, as ``1064 D LB6 + R LB7``.

    Parameters
    ----------
    wavelength : float or tuple of float
        Vacuum wavelength, or the lowest and highest that it may have. [m]
    scale_needs : sequence of ScaleNeed
        What each mode letter asks for.
    optical_density_exact : float
        Optical density, not rounded. [1]

    Returns
    -------
    str
        D first, each LB at least the density rounded up; or a line saying that no marking is high enough.

    Raises
    ------
    InputError
        If the density is not finite or no need is given.
    """
    number, highest = density_number(optical_density_exact), en207().highest
    parts, short = [], []
    for need in sorted(_checked(scale_needs), key=lambda need: "DIRM".index(need.mode)):
        asked = max(number, need.scale_number if need.scale_number is not None else highest + 1)
        parts.append(f"{need.mode} LB{asked}")
        if asked > highest:
            short.append(need.mode)
    nanometre = nanometre_text(wavelength) if isinstance(wavelength, float) else _span_text(*wavelength)
    if short:
        return Message("need.no_marking", wavelength=nanometre, modes=listed(short), number=highest)
    return f"{nanometre} {' + '.join(parts)}"


def no_reliance(
    power_at_eyewear: float | None, scale_needs: Sequence[ScaleNeed], optical_density_exact: float | None = None
) -> str:
    """Return why no eyewear can be relied on, or "" when none of the reasons holds.

    Parameters
    ----------
    power_at_eyewear : float or None
        Mean power of a direct hit; None for a single pulse. [W]
    scale_needs : sequence of ScaleNeed
        What each mode letter asks for.
    optical_density_exact : float, optional
        Optical density, not rounded. [1]

    Returns
    -------
    str
        Text that starts "no eyewear can be relied on here", or "".

    Raises
    ------
    InputError
        If the power or density is not finite, or the power is negative.
    """
    highest = en207().highest
    reasons = [
        Message("need.mode_beyond", mode=need.mode, number=highest)
        for need in _checked(scale_needs)
        if need.scale_number is None
    ]
    if optical_density_exact is not None and density_number(optical_density_exact) > highest:
        reasons.append(Message("need.density_beyond", density=f"{optical_density_exact:.2f}", number=highest))
    if power_at_eyewear is not None:
        if not (math.isfinite(power_at_eyewear) and power_at_eyewear >= 0):
            message = f"power at the eyewear = {power_at_eyewear:g} W: must be finite and not negative"
            raise InputError(message)
        if power_at_eyewear >= KILOWATT_CLASS * (1 - TOLERANCE):
            reasons.append(Message("need.kilowatt", power=f"{power_at_eyewear / 1e3:.3g} kW"))
    return Message("need.no_reliance", why=joined(reasons)) if reasons else ""


def eyewear_notes(wavelength: float, scale_needs: Sequence[ScaleNeed]) -> tuple[str, ...]:
    """Return the notes that belong beside every answer on eyewear.

    Parameters
    ----------
    wavelength : float
        Vacuum wavelength. [m]
    scale_needs : sequence of ScaleNeed
        What each mode letter asks for.

    Returns
    -------
    tuple of str
        Sentences: accidents only, where figures come from, what an unmarked filter is worth.

    Raises
    ------
    InputError
        If no need is given.
    """
    standard = en207()
    needs = _checked(scale_needs)
    notes = [
        Message("need.accident", time=f"{standard.test.duration:g} s", count=standard.test.pulses),
        Message("need.not_read"),
    ]
    weak = [need.mode for need in needs if need.steps and need.steps[-1].seen != "read"]
    if weak:
        notes.append(Message("need.weak", modes=listed(dict.fromkeys(weak)), wavelength=nanometre_text(wavelength)))
    if any(step.seen == "memory" for need in needs for step in need.steps):
        notes.append(Message("need.from_memory"))
    if any(key_of(step.meaning) == FACTOR_ANYWAY for need in needs for step in need.steps):
        rule = standard.beam_factor
        condition = {"power": f"{rule.trigger_power:g} W", "density": f"{rule.trigger_irradiance:g} W/m2"}
        notes.append(Message("need.factor_anyway", **condition))
    if any(need.mode != "D" for need in needs) and any(need.mode == "D" for need in needs):
        notes.append(Message("need.every_letter"))
    return (*notes, Message("need.density_only"), Message("need.unmarked"))


def nanometre_text(wavelength: float) -> str:
    """Return a wavelength in nm as on a marking, without the unit.

    Parameters
    ----------
    wavelength : float
        Vacuum wavelength. [m]

    Returns
    -------
    str
        As "1070", "10600" or "514.5".
    """
    return f"{wavelength * 1e9:.3f}".rstrip("0").rstrip(".")


def _span_text(low: float, high: float) -> str:
    """Return a range of wavelengths in nm as on a marking, rounded outward."""
    down, up = math.floor(low * 1e12 + 1e-3), math.ceil(high * 1e12 - 1e-3)  # pm, but for the last digits of a float
    return f"{nanometre_text(down * 1e-12)}-{nanometre_text(up * 1e-12)}"


def _checked(needs: Sequence[ScaleNeed]) -> Sequence[ScaleNeed]:
    if not needs:
        message = "scale needs: none given; work them out with scale_numbers first"
        raise InputError(message)
    return needs


def _worst(array: NDArray[np.float64]) -> float:
    bad = array[~np.isfinite(array)] if not np.all(np.isfinite(array)) else array
    return float(np.min(bad)) if bad.size else math.nan
