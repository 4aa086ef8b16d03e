"""What a surface sends back: mirror images of flat and curved surfaces, scatter and the size of a spot as a source."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.optics.beam import BeamGeometry, FloatArray, Many, diameters, finite, positive, within
from lasersafe.quantity import choice
from lasersafe.wording import Message, word

_WIDEST = 1e15  # m, far beyond any use
SCATTER_MODELS = ("lambert", "hemisphere")


def scatter_intensity(
    amount: ArrayLike, reflectance: ArrayLike, view_angle: ArrayLike, model: str = "lambert"
) -> FloatArray:
    """Return what a small scattering spot sends into a direction, per solid angle [1]_ [2]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy that falls on the surface. [W or J]
    reflectance : array_like, shape (...)
        Part scattered, 0 to 1. [1]
    view_angle : array_like, shape (...)
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]
    model : str
        ``"lambert"``: rho Phi cos(theta) / pi, or ``"hemisphere"`` (even in every direction): rho Phi / (2 pi).

    Returns
    -------
    numpy.ndarray, shape (...)
        Radiant intensity; over the square of the distance it is the exposure. [W/sr or J/sr]

    Raises
    ------
    InputError
        If the model is not known.
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] OSHA-OTM, diffuse reflection formula, for ``"lambert"``.
    .. [2] DGUV203-093, section 4.3, whose figures for isotropic scatter follow ``"hemisphere"``.
    """
    choice("model", model, SCATTER_MODELS)
    whole, part = within("amount", amount, "W or J", 0.0, math.inf), within("reflectance", reflectance, "", 0.0, 1.0)
    scattered = np.asarray(whole * part)
    angle = within("view_angle", view_angle, "rad", 0.0, math.pi / 2.0)
    if model == "hemisphere":
        return np.asarray(scattered / (2.0 * math.pi) * np.ones_like(angle))
    return np.asarray(scattered * np.cos(angle) / math.pi)


def scatter_exposure(
    amount: ArrayLike, reflectance: ArrayLike, distance: ArrayLike, view_angle: ArrayLike = 0.0, model: str = "lambert"
) -> FloatArray:
    """Return the exposure from a small scattering spot, facing it [1]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy that falls on the surface. [W or J]
    reflectance : array_like, shape (...)
        Part scattered, 0 to 1. [1]
    distance : array_like, shape (...)
        From the spot. [m]
    view_angle : array_like, shape (...)
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]
    model : str
        ``"lambert"`` or ``"hemisphere"``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Irradiance or radiant exposure. [W/m2 or J/m2]

    Raises
    ------
    InputError
        If the model is not known.
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] OSHA-OTM, diffuse reflection formula.
    """
    intensity = scatter_intensity(amount, reflectance, view_angle, model)
    way = positive("distance", distance, "m")
    with np.errstate(over="ignore", divide="ignore", under="ignore"):
        return finite("exposure", intensity / way / way, "W/m2 or J/m2")


def source_angles(
    spot_x: ArrayLike, spot_y: ArrayLike, distance: ArrayLike, view_angle: ArrayLike = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Return the two angles that a spot subtends, the longer axis foreshortened by the view [1]_.

    Which axis is foreshortened is not known; the longer one gives the smaller angle and so the stricter limit.

    Parameters
    ----------
    spot_x, spot_y : array_like, shape (...)
        Diameters of the spot on the surface. [m]
    distance : array_like, shape (...)
        From the spot to the eye. [m]
    view_angle : array_like, shape (...)
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]

    Returns
    -------
    tuple of numpy.ndarray, each of shape (...)
        Angle of the longer axis after foreshortening, angle of the shorter axis. [rad]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] ICNIRP2013, angular subtense of an oblong source: the mean of the two axes, each limited first.
    """
    x, y = within("spot_x", spot_x, "m", 0.0, math.inf), within("spot_y", spot_y, "m", 0.0, math.inf)
    way = positive("distance", distance, "m")
    slant = np.cos(within("view_angle", view_angle, "rad", 0.0, math.pi / 2.0))
    first = 2.0 * np.arctan2(np.maximum(x, y) * slant, 2.0 * way)
    second = 2.0 * np.arctan2(np.minimum(x, y), 2.0 * way)
    return np.asarray(first), np.asarray(second)


@dataclass(frozen=True)
class LitSpot(Many):
    """A spot that scatters, or many as arrays that broadcast together.

    Parameters
    ----------
    reflectance : array_like, shape (...)
        Diffuse reflectance of the surface; 1 is the bound. [1]
    view_angle : array_like, shape (...)
        From the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    diameter : array_like, shape (...)
        1/e diameter of the spot; 0 gives no credit for an extended source. [m]
    """

    reflectance: Any = 1.0
    view_angle: Any = 0.0
    model: str = "lambert"
    diameter: Any = 0.0

    def spread(self, shape: tuple[int, ...]) -> LitSpot:
        """Return as many spots as a shape asks for, as flat arrays."""
        within("spot_diameter", self.diameter, "m", 0.0, _WIDEST)
        numbers = (self.reflectance, self.view_angle, self.diameter)
        part, angle, width = (np.broadcast_to(np.asarray(one, np.float64), shape).reshape(-1) for one in numbers)
        return LitSpot(part, angle, self.model, width)

    def exposure(self, amount: FloatArray | float, distance: FloatArray | float) -> FloatArray:
        """Return what it gives of an amount [W or J] at a distance [m]. [W/m2 or J/m2]."""
        return scatter_exposure(amount, self.reflectance, distance, self.view_angle, self.model)

    def angles(self, distance: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the angles that it subtends at a distance [m]. [rad]."""
        return source_angles(self.diameter, self.diameter, distance, self.view_angle)


POINT = LitSpot()  # a full scatterer that earns no credit for its size


TAKEN_AS_FLAT, STATED = "shape.taken_as_flat", "shape.stated"  # keys of what is said then


def started_at(beam: BeamGeometry, away: float) -> BeamGeometry:
    """Return a beam whose distances start so far behind where they did, as behind a flat mirror there.

    Parameters
    ----------
    beam : BeamGeometry
        The beam. [1]
    away : float
        From the old to the new start; below 0 in front of it. [m]
    """
    x, y = beam.waist_position
    return replace(beam, waist_position=(x - away, y - away))


Axis = tuple[float, float, float, float, float]
# on both axes of what a curved mirror makes of a beam: the least and the largest width W on it [m], the least and the
# largest slope S towards a focus, and the least divergence P that no mirror takes away [rad]: at a distance s the width
# is hypot(W - S s, P s)
Ends = tuple[Axis, Axis]


def reflect_within(
    beam: BeamGeometry, distances: tuple[float, float], pulls: Sequence[tuple[float, float]]
) -> tuple[BeamGeometry, Ends, BeamGeometry]:
    """Return beams that bound all that a curved mirror makes at any of its distances and tilts, from a place on [1]_.

    Parameters
    ----------
    beam : BeamGeometry
        The beam that falls on the mirror, no point focus in it. [1]
    distances : tuple of float
        The least and the largest from the last optic to the mirror. [m]
    pulls : sequence of tuple of float
        On each axis the ends of 1 / f, with f = -R / 2 cos(theta) in the plane of incidence, -R / (2 cos(theta))
        across it, and R above 0 convex. [1/m]

    Returns
    -------
    tuple of (BeamGeometry, tuple of tuple of float, BeamGeometry)
        From the mirror on: of the first the product of its widths is nowhere at or beyond a distance narrower in any of
        them; the last is nowhere narrower on any axis, and has no more of waist times divergence, for `tightest`. The
        second is what bounds each width from one distance to another: `Ends`.

    References
    ----------
    .. [1] Own: intervals of the second moments behind a curved mirror (SIEGMAN1986, ABCD matrix); each axis as narrow
       and as little spread as any, the later waist as far away as any, and the earlier one as near to it as any.
    """
    (x, ends_x, wide_x), (y, ends_y, wide_y) = (
        _axis_within(beam, axis, distances, own) for axis, own in enumerate(pulls)
    )
    late, early = (x, y) if x[3] >= y[3] else (y, x)
    before = late[3] - max(late[2] - early[3], 0.0)
    places = (late[3], before) if late is x else (before, late[3])
    least = BeamGeometry((x[0], y[0]), (x[1], y[1]), places, beam.profile, "hyperbolic")
    waist, angle, place = zip(wide_x, wide_y, strict=True)
    return least, (ends_x, ends_y), BeamGeometry(waist, angle, place, beam.profile, "hyperbolic")


def _axis_within(
    beam: BeamGeometry, axis: int, distances: tuple[float, float], pulls: tuple[float, float]
) -> tuple[tuple[float, float, float, float], Axis, tuple[float, float, float]]:
    """Return least waist and divergence on one axis, and between which places the waist is; `Ends`; the widest beam."""
    waist, angle = beam.waist_diameter[axis], beam.divergence[axis]
    near, far = (end - beam.waist_position[axis] for end in distances)
    least, most = (math.hypot(waist, angle * away) for away in (max(near, -far, 0.0), max(-near, far)))
    own = waist * angle / most, waist * angle / least
    first, last = (angle * (angle * away / math.hypot(waist, angle * away)) for away in (near, far))
    drawn = [width * pull for width in (least, most) for pull in pulls]
    slopes = low, high = min(drawn) - last, max(drawn) - first  # towards the focus
    slow = 0.0 if low <= 0.0 <= high else min(map(abs, slopes))
    spread = math.hypot(own[0], slow), math.hypot(own[1], max(map(abs, slopes)))
    turns = [*own, *(abs(one) for one in slopes if own[0] <= abs(one) <= own[1])]
    tried = [(slope, part) for slope in slopes for part in turns]
    tried += [(side * part, part) for part in own for side in (-1.0, 1.0) if low <= side * part <= high]
    over = [1.0, max(1.0, spread[1] / math.pi)]  # an angle above pi ends at pi
    places = [s / (part**2 + s**2) * width * more for s, part in tried for width in (least, most) for more in over]
    narrow, steep = waist * angle / spread[1], min(spread[1], math.pi)
    ends = least, most, min(max(low, -math.pi), math.pi), max(high, -math.pi), own[0]
    return (narrow, min(spread[0], math.pi), min(places), max(places)), ends, (narrow, steep, -most / steep)


def tightest(beam: BeamGeometry, distance: float) -> BeamGeometry:
    """Return a beam that is nowhere wider than what a surface of any curvature can make of a beam [1]_.

    A flat mirror is a bound for a convex one where the beam spreads already. It is none for a concave one there, nor
    for a convex one in front of a focus. A surface that puts the focus at a distance z leaves there the width that
    waist and divergence of the beam force on it, w0 phi z / a with the width a on the surface, and no surface less.

    Parameters
    ----------
    beam : BeamGeometry
        The beam that falls on the surface; a point focus has none of that width. [1]
    distance : float
        From the last optic to the surface. [m]

    Returns
    -------
    BeamGeometry
        From the surface on: a point that spreads by w0 phi / a on each axis.

    Raises
    ------
    OutOfRangeError
        If the distance cannot be used, or a waist is 0.

    References
    ----------
    .. [1] Own: the smallest width over all focal lengths that second moments allow (SIEGMAN1986, ABCD matrix).
    """
    widths = (float(width) for width in diameters(beam, distance))
    x, y = (
        min(waist * angle / width, math.pi)
        for waist, angle, width in zip(beam.waist_diameter, beam.divergence, widths, strict=True)
    )
    return BeamGeometry((0.0, 0.0), (x, y), (0.0, 0.0), beam.profile, "hyperbolic")


def with_real_focus(beam: BeamGeometry, wavelength: float) -> BeamGeometry:
    """Return the beam with a point focus replaced by the smallest one that diffraction allows [1]_.

    Parameters
    ----------
    beam : BeamGeometry
        The beam. [1]
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    BeamGeometry
        Waists of 0 become 2 lambda / (pi phi).

    Raises
    ------
    OutOfRangeError
        If the wavelength is not positive and finite.

    References
    ----------
    .. [1] ISO11146-1, beam propagation ratio, which is 1 for the Gaussian and more for any other beam.
    """
    light = float(positive("wavelength", wavelength, "m"))
    x, y = (
        2.0 * light / (math.pi * angle) if waist == 0.0 else waist
        for waist, angle in zip(beam.waist_diameter, beam.divergence, strict=True)
    )
    return replace(beam, waist_diameter=(x, y))


def reflect_shape(
    beam: BeamGeometry, distance: float, shape: str, wavelength: float, curved_axis: int = 0
) -> tuple[BeamGeometry, str]:
    """Return the worst beam behind an object whose radius of curvature is not known, and why [1]_.

    It is flat where the curvature would only spread the beam more, else at every place the radius that is the worst
    there; of a hollow surface in front of a focus a point focus where a flat one has it, for which every place in front
    of it counts as that focus.

    Parameters
    ----------
    beam : BeamGeometry
        The beam that falls on the object. [1]
    distance : float
        From the last optic to the object. [m]
    shape : str
        ``convex sphere``, ``concave sphere``, ``convex cylinder`` or ``concave cylinder``.
    wavelength : float
        Wavelength, for the smallest focus possible. [m]
    curved_axis : int
        Axis of the beam in which a cylinder is curved: 0 for x, 1 for y.

    Returns
    -------
    tuple of BeamGeometry and str
        The beam from the object on, and the assumption in words.

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] Own: the bounds follow from second moments behind a curved mirror (SIEGMAN1986, ABCD matrix).

    Examples
    --------
    >>> beam = BeamGeometry((5e-3, 5e-3), (1e-3, 1e-3))
    >>> reflect_shape(beam, 1.0, "convex sphere", 1070e-9)[1]
    'convex sphere of unknown radius, taken as flat: its curvature only spreads this beam more'
    """
    real, hollow = with_real_focus(beam, wavelength), shape.startswith("concave")
    curved = [shape.endswith("sphere") or axis == curved_axis for axis in (0, 1)]  # a cylinder in one
    spreads, flat = [bool(distance >= waist) for waist in beam.waist_position], started_at(real, distance)
    if not hollow and all(spread or not bent for spread, bent in zip(spreads, curved, strict=True)):
        return flat, Message(TAKEN_AS_FLAT, shape=word(shape))
    bound = tightest(real, distance)
    pointed = replace(flat, waist_diameter=(0.0, 0.0))  # a hollow one pulls a focus nearer: any focus up to the flat's
    hollow_or_not = ((bound if spread == hollow else pointed if hollow else flat) for spread in spreads)
    x, y = (free if bent else flat for free, bent in zip(hollow_or_not, curved, strict=True))
    found = replace(
        flat, waist_diameter=(x.waist_diameter[0], y.waist_diameter[1]), divergence=(x.divergence[0], y.divergence[1]),
        waist_position=(x.waist_position[0], y.waist_position[1]), propagation="hyperbolic",
    )  # fmt: skip
    return found, Message("shape.worst", shape=word(shape))
