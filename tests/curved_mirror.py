"""What a mirror of one curvature makes of a beam, exactly: the second method for bounds over curvatures and places."""

from __future__ import annotations

import math
from dataclasses import replace

from lasersafe.optics.beam import BeamGeometry, diameters


def focal_lengths(radius: float | tuple[float, float], incidence: float = 0.0) -> tuple[float, float]:
    """Return the focal lengths in and across the plane of incidence; R above 0 convex, infinite flat (SIEGMAN1986)."""
    first, second = radius if isinstance(radius, tuple) else (radius, radius)
    return -first / 2.0 * math.cos(incidence), -second / 2.0 / math.cos(incidence)


def _axis(beam: BeamGeometry, axis: int, distance: float, width: float, focal: float) -> tuple[float, float, float]:
    """Return waist diameter, divergence and waist position on one axis behind the surface, by second moments."""
    angle, waist = beam.divergence[axis], beam.waist_diameter[axis]
    away = distance - beam.waist_position[axis]
    if math.isinf(focal):
        return waist, angle, -away
    if beam.propagation == "linear":  # only for surfaces that spread a beam that spreads already
        return width, min(angle + width / abs(focal), math.pi), 0.0
    if width == 0.0:  # the surface lies in a point focus, where its curvature does nothing
        return waist, angle, 0.0
    own = waist * angle / width  # the part of the divergence that no surface can take away
    slope = angle * (angle * away / width) - width / focal
    spread = math.hypot(own, slope)
    position, narrowest = -(slope / spread) * (width / spread), waist * (angle / spread)
    if spread > math.pi:  # keep the width at the surface
        position, spread = position * spread / math.pi, math.pi
    return narrowest, spread, position


def reflect(
    beam: BeamGeometry, distance: float, radius: float | tuple[float, float], incidence: float = 0.0
) -> BeamGeometry:
    """Return the beam behind a curved mirror at a distance from the last optic; its distances start at the mirror."""
    focal = focal_lengths(radius, incidence)
    curved = [axis for axis in (0, 1) if math.isfinite(focal[axis])]
    spreading = all(focal[axis] < 0.0 and distance >= beam.waist_position[axis] for axis in curved)
    if beam.propagation == "linear" and not spreading:
        beam = replace(beam, propagation="hyperbolic")
    widths = [float(width) for width in diameters(beam, distance)]
    x, y = (_axis(beam, axis, distance, widths[axis], focal[axis]) for axis in (0, 1))
    waist, angle, position = zip(x, y, strict=True)
    return BeamGeometry(waist, angle, position, beam.profile, beam.propagation)


def of_shape(beam: BeamGeometry, distance: float, shape: str, radius: float) -> BeamGeometry:
    """Return the beam behind an object of a shape, as "concave cylinder", which is bent on the axis x."""
    size = -radius if shape.startswith("concave") else radius
    return reflect(beam, distance, (size, size if shape.endswith("sphere") else math.inf))
