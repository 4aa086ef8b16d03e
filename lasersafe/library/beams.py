"""Beams from numbers as people have them: floats in SI units, texts and quantities of any registry."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import wraps
from typing import Any, ParamSpec, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import InputError, refuse
from lasersafe.limits import rule_sets
from lasersafe.optics import beam as optics
from lasersafe.optics.beam import FloatArray
from lasersafe.quantity import MEASURED, Allowed, Kind, choice, format_quantity, parse_quantity, shown

Given = Any  # float | str | ArrayLike | a pint quantity: pint's own types must not be needed to call a function

_PINT_NAMES = {
    "m": "meter", "m2": "meter**2", "s": "second", "W": "watt", "rad": "radian", "J": "joule", "Hz": "hertz",
    "W/m2": "watt/meter**2", "J/m2": "joule/meter**2", "1": "",
}  # fmt: skip
_WHAT = {unit: what for unit, (what, _) in MEASURED.items()}
_WORDS = {"tissue": ("eye", "skin"), "propagation": optics.PROPAGATIONS}
P = ParamSpec("P")
R = TypeVar("R")
_SLACK = 1e-9  # relative: what a conversion of units may lose at a bound


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
    choice("unit", unit, _PINT_NAMES)
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
    if value is None:
        raise _refusal(field, "None", f"give {_WHAT[unit]}", unit)
    if hasattr(value, "filled") and hasattr(value, "mask"):
        raise _refusal(field, "a masked array", "fill or leave out what is masked", unit)
    array = np.asarray(value)
    if array.dtype.kind in "iuf":
        return array.astype(np.float64)
    if array.dtype.kind in "OU" and array.ndim > 0:
        each = enumerate(array.reshape(-1).tolist())
        flat = [float(_numbers(one, unit, f"{field}[{number}]", kind)) for number, one in each]
        return np.array(flat).reshape(array.shape)
    if array.dtype.kind == "O" and not isinstance(value, (dict, set)):
        with suppress(TypeError, ValueError, OverflowError):
            return np.asarray(float(value))
    raise _refusal(field, shown(value), "this is no number", unit)


def _converted(value: Given, unit: str, field: str) -> FloatArray:
    """Return a pint quantity in an SI unit, by its own registry; pint itself is not needed here."""
    kind, name, typed = type(value), _PINT_NAMES[unit], shown_quantity(value)
    try:
        same = value.dimensionality == kind(1, name).dimensionality
        turning = _turning(value)
        nothing, factor = (float(kind(one, value.units).to(name).magnitude) for one in (0, 1)) if same else (0.0, 1.0)
    except Exception as error:  # whatever the registry of somebody else raises
        what = f"its unit cannot be worked with ({type(error).__name__}); hand in {_WHAT[unit]} in a plain unit"
        raise _refusal(field, typed, what, unit) from None
    magnitude, what = value.magnitude, "its magnitude is no plain number"
    if not same:
        found = _WHAT.get(unit_of(value) or "", f"a quantity of the dimension {value.dimensionality}")
        what = f"this is {found}, and {_WHAT[unit]} is needed"
    elif turning and unit != "rad":
        what = f"there is an angle in its unit, and {_WHAT[unit]} is needed"
    elif unit == "rad" and not turning:
        what = "a ratio is not taken for an angle; multiply it by the unit rad"
    elif nothing != 0.0:
        what = "a unit with an offset or a logarithm in it; convert it to a plain unit first"
    elif hasattr(magnitude, "filled") and hasattr(magnitude, "mask"):
        what = "a masked array; fill or leave out what is masked"
    elif (number := np.asarray(magnitude)).dtype.kind in "iufO":
        with suppress(TypeError, ValueError):
            return np.asarray(number.astype(np.float64) * factor)
    raise _refusal(field, typed, what, unit)


def unit_of(value: Given) -> str | None:
    """Return the SI unit of what a quantity measures, None where no field measures it.

    Parameters
    ----------
    value : pint quantity
        What was handed in. [any]

    Returns
    -------
    str or None
        As ``W``; of an angle ``rad``, of a ratio ``1``.
    """
    for unit, name in _PINT_NAMES.items():
        try:
            same = value.dimensionality == type(value)(1, name).dimensionality
        except Exception:  # whatever the registry of somebody else raises
            continue
        if same and (unit not in ("rad", "1") or (unit == "rad") == _turning(value)):
            return unit
    return None


def _turning(value: Given) -> bool:
    return re.search(r"\brad", str(type(value)(1, value.units).to_root_units().units)) is not None


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
    example = own.example if own is not None and own.unit == unit else MEASURED[unit][1]
    return InputError(f"{field} = {typed}: {what}; as in '{example}'{number}")


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
    low, high = allowed.bounds
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
    refuse(f"{field}{where} = {number:.6g}{unit}: must be {start}, and {end}; {advice}")


def taken(**named: Given) -> list[Any]:
    """Return inputs as `given` does, and a beam as it is.

    Parameters
    ----------
    **named : number, str, pint quantity, or a sequence or array of them
        By the keys of ``FIELDS`` with lines for spaces; ``_y`` behind one is the same on the other axis. Of a beam
        only the shape counts. [any]

    Returns
    -------
    list of numpy.ndarray of shape (...), or Beam
        In the same order; they broadcast together. [any]

    Raises
    ------
    InputError
        If one cannot be used, or they do not fit together.
    """
    if "beam" in named and not isinstance(named["beam"], Beam):
        made = "make one with collimated_beam, lens_beam or fibre_beam"
        refuse(f"beam = {shown(named['beam'])}: this is no beam; {made}")
    found = {name: one if name == "beam" else given(_field(name), one) for name, one in named.items()}
    broadcast(**found)
    return [*found.values()]


def _field(name: str) -> str:
    return name.removesuffix("_y").replace("_", " ")


def checked(function: Callable[P, R]) -> Callable[P, R]:
    """Hand a function its numbers as `taken` gives them, once the words beside them are known.

    Parameters
    ----------
    function : callable
        With parameters that are called as in ``FIELDS``, or as what a word stands for.

    Returns
    -------
    callable
        The same function for people.
    """
    signature = inspect.signature(function)
    spared = {name for name, one in signature.parameters.items() if one.default is None}  # may be left out

    @wraps(function)
    def call(*args: P.args, **named: P.kwargs) -> R:
        bound = signature.bind(*args, **named)
        bound.apply_defaults()
        told = {name: one for name, one in bound.arguments.items() if one is not None or name not in spared}
        for name, known in ({"rule_set": rule_sets()} | _WORDS).items():
            if name in told:
                choice(name, told[name], known)
        numbers = {name: one for name, one in told.items() if name == "beam" or _field(name) in FIELDS}
        bound.arguments |= zip(numbers, taken(**numbers), strict=True)
        return function(*bound.args, **bound.kwargs)

    return call


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
            refuse(f"{field} = {bad:.6g}: must be above 0 and finite; correct this figure")
        return numbers, "" if _is_plain(value) else unit
    refuse(f"{first}; a radiant exposure such as '5 mJ/cm2' is taken as well")


def _is_plain(value: Given) -> bool:
    if isinstance(value, (list, tuple)):
        return all(_is_plain(one) for one in value)
    return not isinstance(value, str) and not hasattr(value, "magnitude") and not hasattr(value, "typed")


def broadcast(**named: Beam | ArrayLike) -> None:
    """Refuse inputs whose shapes do not fit together.

    Parameters
    ----------
    **named : Beam or array_like of shape (...)
        The inputs by name. [any]

    Raises
    ------
    InputError
        If they do not fit together.
    """
    shapes = {name: np.shape(value) for name, value in named.items()}
    try:
        np.broadcast_shapes(*shapes.values())
    except ValueError:
        listed = ", ".join(f"{name.replace('_', ' ')} {shape}" for name, shape in shapes.items() if shape)
        refuse(f"shapes do not fit together: {listed}; give single numbers, or arrays of one shape")


@dataclass(frozen=True, eq=False, repr=False)
class Beam:
    """Beams, circular or oblong; all diameters and angles are full ones at 1/e of the peak, whatever was typed.

    Attributes
    ----------
    waist_diameter : numpy.ndarray, shape (...)
        Diameter at the waist; 0 for a point focus. [m]
    divergence : numpy.ndarray, shape (...)
        Angle far from the waist. [rad]
    waist_position : numpy.ndarray, shape (...)
        Place of the waist, from the last optic. [m]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.
    waist_diameter_y, divergence_y : numpy.ndarray, shape (...), or None
        The same on the other axis of an oblong beam. [m, rad]
    free : bool
        Whether it leaves the laser without an optic, so that diffraction bounds its divergence.
    """

    waist_diameter: FloatArray
    divergence: FloatArray
    waist_position: FloatArray
    profile: str = "gaussian"
    propagation: str = "hyperbolic"
    waist_diameter_y: FloatArray | None = None
    divergence_y: FloatArray | None = None
    free: bool = False

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape that its arrays have together."""
        beams = self.axes()
        return np.broadcast_shapes(
            *(one.shape for one in (*beams.waist_diameter, *beams.divergence, *beams.waist_position))
        )

    def axes(self) -> optics.BeamGeometry:
        """Return both axes, as the functions of ``hazard`` take them."""
        waist = self.waist_diameter if self.waist_diameter_y is None else self.waist_diameter_y
        angle = self.divergence if self.divergence_y is None else self.divergence_y
        return optics.BeamGeometry(
            (self.waist_diameter, waist), (self.divergence, angle), (self.waist_position, self.waist_position),
            self.profile, self.propagation,
        )  # fmt: skip

    def diameters(self, distance: Given) -> tuple[FloatArray, FloatArray]:
        """Return the full 1/e diameters [m] in x and y at a distance from the last optic.

        Parameters
        ----------
        distance : number, str, pint quantity, or an array of them
            From the last optic. [m]
        """
        return optics.diameters(self.axes(), taken(beam=self, distance=distance)[1])

    def diameter(self, distance: Given) -> FloatArray:
        """Return the full 1/e diameter [m] of a circular beam at a distance from the last optic.

        Parameters
        ----------
        distance : number, str, pint quantity, or an array of them
            From the last optic. [m]
        """
        if self.waist_diameter_y is not None or self.divergence_y is not None:
            refuse("diameter: this beam is oblong and has two; diameters(distance) gives both")
        return self.diameters(distance)[0]

    def __repr__(self) -> str:
        waist, angle = _span(self.waist_diameter, "m"), _span(self.divergence, "rad")
        if self.waist_diameter_y is not None:
            waist += f" x {_span(self.waist_diameter_y, 'm')}"
        if self.divergence_y is not None:
            angle += f" x {_span(self.divergence_y, 'rad')}"
        return (
            f"Beam: waist {waist} at {_span(self.waist_position, 'm')} from the last optic, "
            f"full angle {angle} (both at 1/e); {self.profile}, {self.propagation}"
        )


def _span(values: FloatArray, unit: str) -> str:
    if not np.size(values):
        return "of none"
    low, high = float(np.min(values)), float(np.max(values))
    text = format_quantity(low, unit, 4)
    return text if low == high else f"{text} to {format_quantity(high, unit, 4)}"


def _made(found: optics.BeamGeometry, *, free: bool = False) -> Beam:
    """Return beams as they are handed out: of round ones one axis."""
    waist, angle, (place, _) = found.waist_diameter, found.divergence, found.waist_position
    other, turned = (None if y is x or np.array_equal(x, y) else y for x, y in (waist, angle))
    first = np.asarray(waist[0]), np.asarray(angle[0]), np.asarray(place)
    return Beam(*first, found.profile, found.propagation, other, turned, free)


@checked
def collimated_beam(
    beam_diameter: Given, divergence: Given, criterion: str, *, beam_diameter_y: Given | None = None,
    divergence_y: Given | None = None, profile: str = "gaussian", propagation: str = "hyperbolic",
) -> Beam:  # fmt: skip
    """Return a beam without a lens, its waist at the last optic [1]_.

    Parameters
    ----------
    beam_diameter : number, str, pint quantity, or an array of them, shape (...)
        Full diameter at the last optic. [m]
    divergence : number, str, pint quantity, or an array of them, shape (...)
        Full angle, from the data sheet. [rad]
    criterion : str
        What all were read at: ``"1/e"``, ``"1/e2"`` or ``"FWHM"``.
    beam_diameter_y : number, str, pint quantity, or an array of them, shape (...), optional
        Diameter on the other axis of an oblong beam. [m]
    divergence_y : number, str, pint quantity, or an array of them, shape (...), optional
        Full angle on the other axis. [rad]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    propagation : str
        ``"hyperbolic"``, or ``"linear"`` as published tables use it.

    Returns
    -------
    Beam
        Of the shape of the inputs together.

    Raises
    ------
    InputError
        If an input cannot be used.

    References
    ----------
    .. [1] ISO11146-1, clause on the propagation of the beam width.

    Examples
    --------
    >>> collimated_beam("4 mm", "3 mrad", "1/e2")
    Beam: waist 2.828 mm at 0 m from the last optic, full angle 2.121 mrad (both at 1/e); gaussian, hyperbolic
    """
    pairs = (beam_diameter, beam_diameter_y), (divergence, divergence_y)
    width, spread = ((x, x if y is None else y) for x, y in pairs)
    return _made(optics.collimated(width, spread, criterion, profile, propagation=propagation), free=True)


@checked
def lens_beam(
    beam_diameter: Given, focal_length: Given, criterion: str, *, beam_diameter_y: Given | None = None,
    focus_diameter: Given | None = None, profile: str = "gaussian", propagation: str = "hyperbolic",
) -> Beam:  # fmt: skip
    """Return the beam behind a lens that is lit by a collimated beam [1]_.

    Parameters
    ----------
    beam_diameter : number, str, pint quantity, or an array of them, shape (...)
        Full diameter at the lens. [m]
    focal_length : number, str, pint quantity, or an array of them, shape (...)
        Focal length of a collecting lens. [m]
    criterion : str
        What the diameters were read at: ``"1/e"``, ``"1/e2"`` or ``"FWHM"``.
    beam_diameter_y : number, str, pint quantity, or an array of them, shape (...), optional
        Diameter at the lens on the other axis of an oblong beam. [m]
    focus_diameter : number, str, pint quantity, or an array of them, shape (...), optional
        Full diameter in the focus, the smaller one of an oblong focus. Left out, the focus is a point, which gives the
        farther distance. [m]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    Beam
        From the lens; its waist lies at the focal length.

    Raises
    ------
    InputError
        If an input cannot be used.

    References
    ----------
    .. [1] DGUV203-093, section 4.3: full angle d63 / f; OSHA-OTM, lens-on-laser formula.
    """
    axes = (beam_diameter, beam_diameter if beam_diameter_y is None else beam_diameter_y)
    found = optics.through_lens(
        axes, focal_length, criterion, profile, focus_diameter=focus_diameter, propagation=propagation
    )
    if not all((angle <= np.pi).all() for angle in found.divergence):
        refuse("focal length: so short for this beam diameter that there is no such lens; check both units")
    return _made(found)


@checked
def fibre_beam(
    numerical_aperture: Given, criterion: str, *, core_diameter: Given | None = None, propagation: str = "hyperbolic"
) -> Beam:
    """Return the beam from the bare end of a multimode fibre [1]_.

    Parameters
    ----------
    numerical_aperture : number, str, pint quantity, or an array of them, shape (...)
        Numerical aperture, between 0 and 1. [1]
    criterion : str
        Where on the far field it was read: ``"5 %"`` of the peak, ``"1/e2"`` or ``"1/e"``.
    core_diameter : number, str, pint quantity, or an array of them, shape (...), optional
        Diameter of the core. Left out, the end is a point, which gives the farther distance. [m]
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    Beam
        From the fibre end.

    Raises
    ------
    InputError
        If an input cannot be used.

    References
    ----------
    .. [1] KOLESAR2000, d63 = 2 r NA / 1.7 for the 5 % criterion.
    """
    core = core_diameter
    return _made(optics.fibre_multimode(numerical_aperture, criterion, core_diameter=core, propagation=propagation))


@checked
def beam_exposure(
    beam: Beam, distance: Given, limiting_aperture: Given, *, power: Given | None = None,
    pulse_energy: Given | None = None,
) -> FloatArray:  # fmt: skip
    """Return the exposure along a beam, averaged over a limiting aperture [1]_.

    Parameters
    ----------
    beam : Beam
        The beam.
    distance : number, str, pint quantity, or an array of them, shape (...)
        From the last optic. [m]
    limiting_aperture : number, str, pint quantity, or an array of them, shape (...)
        Diameter over which the exposure is averaged; it belongs to the limit. [m]
    power : number, str, pint quantity, or an array of them, shape (...), optional
        Power of the beam; this or the pulse energy. [W]
    pulse_energy : number, str, pint quantity, or an array of them, shape (...), optional
        Energy of one pulse. [J]

    Returns
    -------
    numpy.ndarray, shape (...)
        Irradiance, or radiant exposure of one pulse. [W/m2 or J/m2]

    Raises
    ------
    InputError
        If an input cannot be used.

    References
    ----------
    .. [1] KOLESAR2000, fraction through a centred aperture.

    Examples
    --------
    >>> beam_exposure(lens_beam("8.5 mm", "150 mm", "1/e"), ["8 m", "50 m"], "7 mm", power="1.5 kW").round(0)
    array([9651.,  239.])
    """
    if (power is None) == (pulse_energy is None):
        refuse("power, pulse energy: give one of them, for an irradiance or for a radiant exposure")
    dx, dy = optics.diameters(beam.axes(), distance)
    if not ((dx > 0.0) & (dy > 0.0)).all():
        refuse("distance: at a point focus there is no finite exposure; give a focus diameter, or another distance")
    amount: Given = pulse_energy if power is None else power
    return optics.mean_exposure(amount, dx, dy, limiting_aperture, beam.profile)
