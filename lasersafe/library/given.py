"""What a caller hands in becomes SI numbers: plain numbers, text, quantities of any pint registry, arrays of them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import InputError
from lasersafe.optics.checks import FloatArray
from lasersafe.quantity import Kind, parse_quantity
from lasersafe.typed import shown

Given = Any  # float | str | ArrayLike | a pint quantity: pint's own types must not be needed to call a function

_PINT_NAMES = {
    "m": "meter", "m2": "meter**2", "s": "second", "W": "watt", "rad": "radian", "J": "joule", "Hz": "hertz",
    "W/m2": "watt/meter**2", "J/m2": "joule/meter**2", "1": "",
}  # fmt: skip
_WHAT = {
    "m": "a length", "m2": "an area", "s": "a time", "W": "a power", "rad": "an angle", "J": "an energy",
    "Hz": "a frequency", "W/m2": "an irradiance", "J/m2": "a radiant exposure", "1": "a ratio",
}  # fmt: skip
_EXAMPLES = {
    "m": "10 mm", "m2": "0.05 m2", "s": "10 s", "W": "1.5 kW", "rad": "3 mrad", "J": "1 mJ", "Hz": "20 kHz",
    "W/m2": "5 mW/cm2", "J/m2": "5 mJ/cm2", "1": "0.5",
}  # fmt: skip
_SLACK = 1e-9  # relative: what a conversion of units may lose at a bound


@dataclass(frozen=True)
class Allowed:
    """What a field takes, in words that ``parse_quantity`` reads."""

    unit: str
    low: str
    high: str
    example: str
    above_low: bool = False
    below_high: bool = False
    kind: Kind | None = None


FIELDS = {
    "wavelength": Allowed("m", "180 nm", "1 mm", "1070 nm"),
    "duration": Allowed("s", "100 fs", "30000 s", "10 s"),
    "source angle": Allowed("rad", "0 rad", "3.1415926535897932 rad", "1.5 mrad"),
    "exposed area": Allowed("m2", "0 m2", "100 m2", "0.05 m2"),
    "power": Allowed("W", "0 W", "1 MW", "1.5 kW", above_low=True, kind="continuous power"),
    "pulse energy": Allowed("J", "0 J", "1000 kJ", "1 mJ", above_low=True),
    "pulse duration": Allowed("s", "100 fs", "30000 s", "100 ns"),
    "repetition rate": Allowed("Hz", "0 Hz", "1000 GHz", "20 kHz", above_low=True),
    "beam diameter": Allowed("m", "100 nm", "1 m", "8.5 mm"),
    "focus diameter": Allowed("m", "100 nm", "100 mm", "45 um"),
    "core diameter": Allowed("m", "100 nm", "100 mm", "200 um"),
    "mode field diameter": Allowed("m", "100 nm", "1 mm", "6.2 um"),
    "divergence": Allowed("rad", "0 rad", "1 rad", "3 mrad", above_low=True, kind="divergence"),
    "focal length": Allowed("m", "0.1 mm", "1 km", "150 mm"),
    "numerical aperture": Allowed("1", "0", "1", "0.22", above_low=True, below_high=True),
    "reflectance": Allowed("1", "0", "1", "0.65", above_low=True),
    "view angle": Allowed("rad", "0 deg", "90 deg", "30 deg", below_high=True),
    "distance": Allowed("m", "0 m", "1000 km", "8 m"),
    "limiting aperture": Allowed("m", "100 um", "100 mm", "7 mm"),
}


def to_si(value: Given, unit: str, field: str = "value") -> FloatArray:
    """Return what was handed in as numbers in an SI unit.

    Parameters
    ----------
    value : number, str, pint quantity, or a sequence or array of them
        A plain number is taken to be in *unit* already. Text is one number with one unit, as ``"1.5 kW"``. A quantity
        may come from any pint registry; an angle and a ratio are told apart, so that neither passes for the other.
        [any]
    unit : str
        ``"m"``, ``"m2"``, ``"s"``, ``"W"``, ``"rad"``, ``"J"``, ``"Hz"``, ``"W/m2"``, ``"J/m2"``, or ``"1"`` for a
        ratio.
    field : str
        What the value is called in a message.

    Returns
    -------
    numpy.ndarray, shape (...)
        The shape of *value*; not checked for sign or NaN. [any]

    Raises
    ------
    InputError
        If it is no number, of another dimension, or in units that have an offset or a logarithm in them.

    Examples
    --------
    >>> to_si(["532 nm", "1.064 um"], "m", "wavelength")
    array([5.320e-07, 1.064e-06])
    """
    if unit not in _PINT_NAMES:
        message = f"unit = {shown(unit)}: write one of: {', '.join(_PINT_NAMES)}"
        raise InputError(message)
    return _numbers(value, unit, field, None)


def _numbers(value: Given, unit: str, field: str, kind: Kind | None) -> FloatArray:
    if isinstance(value, str):
        return np.asarray(parse_quantity(str(value), unit, field, kind).value)
    if hasattr(value, "magnitude") and hasattr(value, "to"):
        return _converted(value, unit, field)
    if hasattr(value, "typed") and hasattr(value, "unit"):  # a value of a case
        if value.unit != unit:
            what = f"this is {_WHAT.get(value.unit, value.unit)}, and {_WHAT[unit]} is needed"
            raise _refusal(field, repr(value.typed), what, unit)
        if getattr(value, "tolerance", None) is not None:
            what = "it has a tolerance, which is not taken here; hand in the cautious end of it as a plain number"
            raise _refusal(field, repr(value.typed), what, unit)
        own: Any = value
        return np.asarray(float(own.value if hasattr(own, "value") else own))
    if isinstance(value, (list, tuple)) and not all(type(one) in (float, int) for one in value):
        parts = [_numbers(one, unit, f"{field}[{number}]", kind) for number, one in enumerate(value)]
        if len({part.shape for part in parts}) > 1:
            raise _refusal(field, "a list", "its parts have different shapes", unit)
        return np.array(parts)
    if hasattr(value, "unit") or hasattr(value, "units"):
        what = f"a quantity of {type(value).__module__.partition('.')[0]}"
        raise _refusal(field, what, "of the libraries with units only pint is understood; hand in its SI number", unit)
    return _plain(value, unit, field, kind)


def _plain(value: Given, unit: str, field: str, kind: Kind | None) -> FloatArray:
    if value is None:
        raise _refusal(field, "None", f"give {_WHAT[unit]}", unit)
    if hasattr(value, "filled") and hasattr(value, "mask"):
        raise _refusal(field, "a masked array", "fill or leave out what is masked", unit)
    array = np.asarray(value)
    if array.dtype.kind in "iuf":
        return array.astype(np.float64)
    if array.dtype.kind in "OU" and array.ndim > 0:
        flat = [
            _numbers(one, unit, f"{field}[{number}]", kind) for number, one in enumerate(array.reshape(-1).tolist())
        ]
        return np.array([float(one) for one in flat]).reshape(array.shape)
    if array.dtype.kind == "O" and not isinstance(value, (dict, set)):
        try:
            return np.asarray(float(value))
        except (TypeError, ValueError, OverflowError):
            pass
    raise _refusal(field, shown(value), "this is no number", unit)


def _converted(value: Given, unit: str, field: str) -> FloatArray:
    """Return a pint quantity in an SI unit, by its own registry; pint itself is not needed here."""
    kind, name = type(value), _PINT_NAMES[unit]
    typed = shown_quantity(value)
    try:
        target = kind(1, name)
        same = value.dimensionality == target.dimensionality
        one = kind(1, value.units)
        turning = re.search(r"\brad", str(one.to_root_units().units)) is not None
        nothing = float(kind(0, value.units).to(name).magnitude) if same else 0.0
        factor = float(one.to(name).magnitude) if same else 1.0
    except Exception as error:  # whatever the registry of somebody else raises
        what = f"its unit cannot be worked with ({type(error).__name__}); hand in {_WHAT[unit]} in a plain unit"
        raise _refusal(field, typed, what, unit) from None
    if not same:
        raise _refusal(field, typed, f"this is {_dimension(value)}, and {_WHAT[unit]} is needed", unit)
    if turning and unit != "rad":
        raise _refusal(field, typed, f"there is an angle in its unit, and {_WHAT[unit]} is needed", unit)
    if unit == "rad" and not turning:
        raise _refusal(field, typed, "a ratio is not taken for an angle; multiply it by the unit rad", unit)
    if nothing != 0.0:
        what = "a unit with an offset or a logarithm in it; convert it to a plain unit first"
        raise _refusal(field, typed, what, unit)
    magnitude = value.magnitude
    if hasattr(magnitude, "filled") and hasattr(magnitude, "mask"):
        raise _refusal(field, typed, "a masked array; fill or leave out what is masked", unit)
    try:
        number = np.asarray(magnitude)
        if number.dtype.kind not in "iufO":
            raise TypeError
        return np.asarray(number.astype(np.float64) * factor)
    except (TypeError, ValueError):
        raise _refusal(field, typed, "its magnitude is no plain number", unit) from None


def _dimension(value: Given) -> str:
    """Return what a quantity measures, in words where there are any."""
    for unit, name in _PINT_NAMES.items():
        try:
            if value.dimensionality == type(value)(1, name).dimensionality:
                return _WHAT[unit]
        except Exception:  # whatever the registry of somebody else raises
            continue
    return f"a quantity of the dimension {value.dimensionality}"


def shown_quantity(value: Given) -> str:
    """Return a quantity as it is written in a message: short.

    Parameters
    ----------
    value : pint quantity
        What was handed in. [any]

    Returns
    -------
    str
        As ``5 milliwatt``.
    """
    text = " ".join(str(value).split())
    return text if len(text) <= 50 else text[:50] + "..."


def _refusal(field: str, typed: str, what: str, unit: str) -> InputError:
    number = "" if unit == "1" else f", or a plain number in {unit}"
    own = FIELDS.get(field.partition("[")[0])
    example = own.example if own is not None and own.unit == unit else _EXAMPLES[unit]
    return InputError(f"{field} = {typed}: {what}; as in '{example}'{number}")


@cache
def _bounds(field: str) -> tuple[float, float]:
    allowed = FIELDS[field]
    low = parse_quantity(allowed.low, allowed.unit, field).value
    return low, parse_quantity(allowed.high, allowed.unit, field).value


def given(field: str, value: Given) -> FloatArray:
    """Return an input as SI numbers, inside what its field takes.

    Parameters
    ----------
    field : str
        A key of ``FIELDS``.
    value : number, str, pint quantity, or a sequence or array of them
        What was handed in. [any]

    Returns
    -------
    numpy.ndarray, shape (...)
        The shape of *value*. [any]

    Raises
    ------
    InputError
        If it cannot be read, or any number is NaN, infinite or outside.
    """
    allowed = FIELDS[field]
    numbers = _numbers(value, allowed.unit, field, allowed.kind)
    low, high = _bounds(field)
    inside = (numbers >= low * (1.0 - _SLACK)) & (numbers <= high * (1.0 + _SLACK))  # False for NaN
    if allowed.above_low:
        inside &= numbers > low
    if allowed.below_high:
        inside &= numbers < high
    if inside.all():
        return numbers
    place = int(np.flatnonzero(~np.atleast_1d(inside).reshape(-1))[0])
    number = float(np.atleast_1d(numbers).reshape(-1)[place])
    where = "" if numbers.ndim == 0 else f"[{', '.join(str(int(i)) for i in np.unravel_index(place, numbers.shape))}]"
    unit = "" if allowed.unit == "1" else f" {allowed.unit}"
    start = f"above {allowed.low}" if allowed.above_low else f"{allowed.low} or more"
    end = f"below {allowed.high}" if allowed.below_high else f"at most {allowed.high}"
    advice = "correct this figure"
    if allowed.unit != "1" and not isinstance(value, str) and not hasattr(value, "magnitude"):
        advice = f"a plain number is taken in {allowed.unit}; with its unit it reads as '{allowed.example}'"
    message = f"{field}{where} = {number:.6g}{unit}: must be {start}, and {end}; {advice}"
    raise InputError(message)


def given_or_none(field: str, value: Given | None) -> FloatArray | None:
    """Return an input that may be left out, as `given` does, or None.

    Parameters
    ----------
    field : str
        A key of ``FIELDS``.
    value : number, str, pint quantity, a sequence or array of them, or None
        What was handed in. [any]

    Returns
    -------
    numpy.ndarray, shape (...), or None
        The shape of *value*. [any]
    """
    return None if value is None else given(field, value)


def given_density(field: str, value: Given) -> tuple[FloatArray, str]:
    """Return an exposure or a limit in SI, and in which unit: irradiance or radiant exposure.

    Parameters
    ----------
    field : str
        Its name in a message.
    value : number, str, pint quantity, or a sequence or array of them
        What was handed in. [any]

    Returns
    -------
    tuple of (numpy.ndarray of shape (...), str)
        Numbers above zero and finite, and ``"W/m2"``, ``"J/m2"`` or, of plain numbers, ``""``.

    Raises
    ------
    InputError
        If it cannot be read as either.
    """
    first: InputError | None = None
    for unit in ("W/m2", "J/m2"):
        try:
            numbers = _numbers(value, unit, field, None)
        except InputError as error:
            first = first or error
            continue
        inside = (numbers > 0.0) & np.isfinite(numbers)
        if not inside.all():
            bad = float(np.atleast_1d(numbers)[~np.atleast_1d(inside)].flat[0])
            message = f"{field} = {bad:.6g}: must be above 0 and finite; correct this figure"
            raise InputError(message)
        return numbers, "" if _is_plain(value) else unit
    message = f"{first}; a radiant exposure such as '5 mJ/cm2' is taken as well"
    raise InputError(message) from None


def _is_plain(value: Given) -> bool:
    if isinstance(value, (list, tuple)):
        return all(_is_plain(one) for one in value)
    return not isinstance(value, str) and not hasattr(value, "magnitude") and not hasattr(value, "typed")


def broadcast(**named: ArrayLike | None) -> tuple[int, ...]:
    """Return the shape that inputs have together.

    Parameters
    ----------
    **named : array_like, shape (...), or None
        The inputs by name. [any]

    Returns
    -------
    tuple of int
        The shape.

    Raises
    ------
    InputError
        If they do not fit together.
    """
    shapes = {name: np.shape(value) for name, value in named.items() if value is not None}
    try:
        return np.broadcast_shapes(*shapes.values())
    except ValueError:
        listed = ", ".join(f"{name.replace('_', ' ')} {shape}" for name, shape in shapes.items() if shape)
        message = f"shapes do not fit together: {listed}; give single numbers, or arrays of one shape"
        raise InputError(message) from None
