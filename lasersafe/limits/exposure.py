"""Exposure limits at points of wavelength, duration and source angle."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError
from lasersafe.limits.evaluate import Points, evaluate
from lasersafe.limits.grid import EDGE, Floats, Grid, grid_of, hazards_of
from lasersafe.limits.layout import DURATIONS, WAVELENGTHS
from lasersafe.limits.records import AreaRule
from lasersafe.limits.tables import load_rule_set

Texts = NDArray[np.str_]
_LOWEST_ANGLE, _HIGHEST_ANGLE = 0.0, np.pi


@dataclass(frozen=True)
class ExposureLimit:
    """The strictest exposure limit at each point.

    Attributes
    ----------
    rule_set, tissue : str
        What was asked for.
    radiant_exposure : numpy.ndarray, shape (...)
        Limit as a dose over the duration; ``inf`` where the hazard does not apply. [J/m2]
    irradiance : numpy.ndarray, shape (...)
        The same limit divided by the duration. [W/m2]
    limiting_aperture : numpy.ndarray, shape (...)
        Diameter over which the exposure is averaged. [m]
    grid, piece, area_row
        The tables, and which of their rows decided, for `lasersafe.limits.explain`.
    duration : numpy.ndarray
        As given. [s]
    """

    rule_set: str
    tissue: str
    radiant_exposure: Floats
    irradiance: Floats
    limiting_aperture: Floats
    grid: Grid = field(repr=False)
    piece: NDArray[np.int16] = field(repr=False)
    duration: Floats = field(repr=False)
    area_row: NDArray[np.int8] | None = field(repr=False, default=None)

    def _take(self, kind: str) -> NDArray[np.object_]:
        texts = np.asarray(self.grid.texts[kind][self.piece], dtype=object)
        if self.area_row is not None:
            texts = texts.copy()
            rule = self.grid.rule_set.area
            for number, (_, _, _, source) in enumerate(rule.rows if rule else ()):
                texts[self.area_row == number] = str(source) if kind == "source" else source.seen
        return texts

    @property
    def hazard(self) -> Texts:
        """Name of the hazard that decides at each point, "" where none applies; shape (...)."""
        names: Texts = np.asarray(self.grid.texts["hazard"][self.piece])
        return names

    @property
    def source(self) -> NDArray[np.object_]:
        """Document, table and row of the deciding limit at each point, as text; shape (...)."""
        return self._take("source")

    @property
    def seen(self) -> NDArray[np.object_]:
        """How the deciding row was obtained: "read", "part", "memory" or "common practice"; shape (...)."""
        return self._take("seen")

    @property
    def acceptance_angle(self) -> Floats:
        """Cone [rad] inside which the photochemical exposure counts, NaN where another hazard decides; shape (...)."""
        cone = np.array([piece is not None and piece.cone for piece in self.grid.pieces])[self.piece]
        angle: Floats = np.where(cone, cone_angle(self.rule_set, self.duration), np.nan)
        return angle


@dataclass(frozen=True)
class HazardLimit(ExposureLimit):
    """The exposure limit of one hazard at each point; ``inf`` where the hazard does not apply.

    Attributes
    ----------
    name : str
        The hazard.
    """

    name: str = ""


def cone_angle(rule_set: str, duration: ArrayLike) -> Floats:
    """Return the acceptance angle for the photochemical limit of the retina.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]

    Returns
    -------
    numpy.ndarray, shape (...)
        Full angle of the cone. [rad]
    """
    time = np.asarray(duration, dtype=np.float64)
    rows = load_rule_set(rule_set).time_factors["gamma"].rows
    angle = np.full(time.shape, rows[0].value)
    for row in rows[1:]:
        angle = np.where(time >= row.duration[0] * (1.0 - EDGE), row.value * time**row.power, angle)
    return angle * 1e-3


def _refuse(value: float, what: str, unit: str, covers: str, rule_set: str) -> OutOfRangeError:
    return OutOfRangeError(f"{what} = {value:g} {unit} is outside {rule_set}, which covers {covers}")


def _first_bad(values: Floats, low: float, high: float) -> float | None:
    if values.size == 0:
        return None
    if bool(values.min() >= low) and bool(values.max() <= high):  # False for NaN
        return None
    inside = (values >= low) & (values <= high)
    return float(values[~inside].flat[0])


def check_points(
    rule_set: str, wavelength: Floats, duration: Floats, source_angle: Floats, field: str = "duration"
) -> None:
    """Refuse points that the edition does not cover.

    Raises
    ------
    OutOfRangeError
        If a wavelength, duration or angle is not finite or lies outside 180 nm to 1 mm, 1e-13 s to 3e4 s, 0 to pi rad.
    """
    bad = _first_bad(wavelength, WAVELENGTHS[0] * 1e-9 * (1 - EDGE), WAVELENGTHS[1] * 1e-9 * (1 + EDGE))
    if bad is not None:
        raise _refuse(bad * 1e9, "wavelength", "nm", "180 nm to 1e6 nm", rule_set)
    bad = _first_bad(duration, DURATIONS[0] * (1 - EDGE), DURATIONS[1] * (1 + EDGE))
    if bad is not None:
        raise _refuse(bad, field, "s", "1e-13 s to 3e4 s", rule_set)
    bad = _first_bad(source_angle, _LOWEST_ANGLE, _HIGHEST_ANGLE * (1 + EDGE))
    if bad is not None:
        raise _refuse(bad, "source angle", "rad", "0 rad to pi rad", rule_set)


def check_area(rule_set: str, exposed_area: ArrayLike) -> Floats:
    """Return the exposed area [m2] as an array, refused where it is negative or not finite."""
    area = np.asarray(exposed_area, dtype=np.float64)
    bad = _first_bad(area, 0.0, float(np.finfo(np.float64).max))
    if bad is not None:
        raise _refuse(bad, "exposed area", "m2", "0 m2 and more", rule_set)
    return area


def _prepare(
    rule_set: str, wavelength: ArrayLike, duration: ArrayLike, source_angle: ArrayLike, exposed_area: ArrayLike | None
) -> tuple[Floats, Floats, Floats, Floats | None, tuple[int, ...]]:
    lam, time, angle = (np.asarray(values, dtype=np.float64) for values in (wavelength, duration, source_angle))
    shapes = [lam.shape, time.shape, angle.shape]
    if exposed_area is None:
        return lam, time, angle, None, np.broadcast_shapes(*shapes)
    area = check_area(rule_set, exposed_area)
    return lam, time, angle, area, np.broadcast_shapes(*shapes, area.shape)


def flat(values: Floats, shape: tuple[int, ...]) -> Floats:
    """Return the values in one dimension: all points of *shape*, or a single value that holds for all."""
    if values.size == 1:
        return values.reshape(1)
    return values.reshape(-1) if values.shape == shape else np.broadcast_to(values, shape).reshape(-1)


def solve(
    grid: Grid, wavelength: Floats, duration: Floats, source_angle: Floats, area: Floats | None, shape: tuple[int, ...]
) -> tuple[Points, NDArray[np.int8] | None]:
    """Return the strictest limits in *shape*, and which row of the large-area rule decided (-1: none)."""
    size = int(np.prod(shape))
    name = grid.rule_set.name
    found = evaluate(
        grid,
        flat(wavelength, shape),
        flat(duration, shape),
        flat(source_angle, shape),
        size,
        lambda *block: check_points(name, *block),
    )
    points = Points(
        found.radiant_exposure.reshape(shape),
        found.irradiance.reshape(shape),
        found.aperture.reshape(shape),
        found.piece.reshape(shape),
    )
    rule = grid.rule_set.area
    if area is None or rule is None or rule.hazard not in grid.hazards:
        return points, None
    return _large_area(rule, points, wavelength, duration, area)


def _large_area(
    rule: AreaRule, points: Points, wavelength: Floats, duration: Floats, area: Floats
) -> tuple[Points, NDArray[np.int8] | None]:
    reached = (wavelength >= rule.wavelength[0] * 1e-9 * (1 - EDGE)) & (duration >= rule.duration[0] * (1 - EDGE))
    if not reached.any():
        return points, None
    lowered, decides = points.irradiance.copy(), np.full(points.irradiance.shape, -1, dtype=np.int8)
    for number, ((low, high), coefficient, power, _) in enumerate(rule.rows):
        here = reached & (area >= low * (1 - EDGE)) & (area <= high * (1 + EDGE))
        value = coefficient * np.where(here, area, 1.0) ** power
        here = here & (value < lowered)
        lowered, decides = np.where(here, value, lowered), np.where(here, np.int8(number), decides)
    dose = np.where(decides >= 0, lowered * duration, points.radiant_exposure)
    return Points(dose, lowered, points.aperture, points.piece), decides


def exposure_limit(
    rule_set: str,
    tissue: str,
    wavelength: ArrayLike,
    duration: ArrayLike,
    source_angle: ArrayLike = 1.5e-3,
    *,
    exposed_area: ArrayLike | None = None,
) -> ExposureLimit:
    """Return the exposure limit of an edition, the strictest of all hazards [1]_ [2]_.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : array_like, shape (...)
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    duration : array_like, shape (...)
        Exposure duration, or that of a single pulse, 1e-13 to 3e4. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye, 0 to pi; the limit goes with the power of the whole source. [rad]
    exposed_area : array_like, shape (...), optional
        Area of skin that is exposed; from 0.01 m2 ICNIRP-2013 lowers the limit above 1400 nm and 10 s. [m2]

    Returns
    -------
    ExposureLimit
        Arrays that have the broadcast shape of the inputs.

    Raises
    ------
    InputError
        If the rule set or the tissue is not known.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_*.toml``).
    .. [2] EU2006-25, Annex II, Tables 2.2 to 2.6 (``shared/limits/eu200625_*.toml``).

    Examples
    --------
    >>> limit = exposure_limit("ICNIRP-2013", "eye", [532e-9, 1064e-9, 10.6e-6], 0.25)
    >>> limit.radiant_exposure.round(2)
    array([   6.36,   31.82, 3959.8 ])
    >>> limit.hazard
    array(['retina thermal', 'retina thermal', 'cornea thermal'], dtype='<U25')
    """
    grid = grid_of(rule_set, tissue)
    lam, time, angle, area, shape = _prepare(rule_set, wavelength, duration, source_angle, exposed_area)
    points, by_area = solve(grid, lam, time, angle, area, shape)
    return ExposureLimit(
        rule_set, tissue, points.radiant_exposure, points.irradiance, points.aperture, grid, points.piece, time, by_area
    )


def hazard_limits(
    rule_set: str,
    tissue: str,
    wavelength: ArrayLike,
    duration: ArrayLike,
    source_angle: ArrayLike = 1.5e-3,
    *,
    exposed_area: ArrayLike | None = None,
) -> tuple[HazardLimit, ...]:
    """Return the exposure limit of each hazard by itself [1]_ [2]_.

    Hazards have different limiting apertures, so an exposure is compared with each of them over its own aperture.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : array_like, shape (...)
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    duration : array_like, shape (...)
        Exposure duration, or that of a single pulse, 1e-13 to 3e4. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye, 0 to pi. [rad]
    exposed_area : array_like, shape (...), optional
        Area of skin that is exposed. [m2]

    Returns
    -------
    tuple of HazardLimit
        One for each hazard that applies to at least one point; ``inf`` at the points where it does not.

    Raises
    ------
    InputError
        If the rule set or the tissue is not known.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_*.toml``).
    .. [2] EU2006-25, Annex II, Tables 2.2 to 2.6 (``shared/limits/eu200625_*.toml``).

    Examples
    --------
    >>> [(limit.name, float(limit.irradiance)) for limit in hazard_limits("ICNIRP-2013", "eye", 450e-9, 100.0)]
    [('retina thermal', 10.0), ('retina photochemical', 1.0)]
    """
    given = (wavelength, duration, source_angle, 0.0 if exposed_area is None else exposed_area)
    if all(isinstance(value, float) for value in given):
        return _at_one_point(rule_set, tissue, *given[:3], exposed_area)  # type: ignore[arg-type]
    return _by_hazard(rule_set, tissue, wavelength, duration, source_angle, exposed_area)


def _by_hazard(
    rule_set: str,
    tissue: str,
    wavelength: ArrayLike,
    duration: ArrayLike,
    source_angle: ArrayLike,
    exposed_area: ArrayLike | None,
) -> tuple[HazardLimit, ...]:
    lam, time, angle, area, shape = _prepare(rule_set, wavelength, duration, source_angle, exposed_area)
    names = hazards_of(rule_set, tissue)
    if not lam.size:
        return ()
    check_points(rule_set, lam, time, angle)
    limits = []
    lowest, highest = float(lam.min()) * 1e9, float(lam.max()) * 1e9
    for name in names:
        grid = grid_of(rule_set, tissue, name)
        if not grid.covers(lowest, highest):
            continue
        points, by_area = solve(grid, lam, time, angle, area, shape)
        if np.isfinite(points.radiant_exposure).any():
            limits.append(
                HazardLimit(
                    rule_set,
                    tissue,
                    points.radiant_exposure,
                    points.irradiance,
                    points.aperture,
                    grid,
                    points.piece,
                    time,
                    by_area,
                    name,
                )
            )
    return tuple(limits)


@lru_cache(maxsize=4096)
def _at_one_point(
    rule_set: str, tissue: str, wavelength: float, duration: float, source_angle: float, exposed_area: float | None
) -> tuple[HazardLimit, ...]:
    """Return the limits at one point; one assessment asks for the same point many times. The arrays cannot be set."""
    limits = _by_hazard(rule_set, tissue, wavelength, duration, source_angle, exposed_area)
    for limit in limits:
        for array in (limit.radiant_exposure, limit.irradiance, limit.limiting_aperture, limit.piece, limit.area_row):
            if array is not None:
                array.setflags(write=False)
    return limits
