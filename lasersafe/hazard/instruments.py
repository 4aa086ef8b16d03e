"""Instruments held to the eye, which gather light (ENOHD), and cameras, for which there is advice and no verdict."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Annotated, ClassVar, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.data import As, Printed, Seen, Source, Span, check, check_cover, load
from lasersafe.hazard.exposure import Comparison, Emission, Floats
from lasersafe.limits.tables import inside
from lasersafe.optics import viewing
from lasersafe.optics.beam import BeamGeometry, diameters, finite, fraction_through, positive, within
from lasersafe.optics.reflection import POINT, LitSpot
from lasersafe.records import Step
from lasersafe.records.scene import CameraLine
from lasersafe.wording import Message, joined, word


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

    def collects(self, aperture: ArrayLike) -> Floats:
        """Return the diameter [m] at the objective of what comes through limiting apertures [m] of shape (...).

        The exit pupil is the objective made smaller by the magnification: M D_a, at most the objective; for a pupil of
        7 mm or more the objective, whatever its exit pupil loses (ANSI-Z136-1, appendix B, from memory).
        """
        hole = positive("aperture", aperture, "m")
        return np.where(hole >= viewing.PUPIL, self.objective, np.minimum(hole * self.magnification, self.objective))

    def gain(self, wavelength: float, aperture: float = viewing.PUPIL) -> float:
        """Return the collecting gain at a wavelength [m] into a limiting aperture [m], with the objective filled."""
        return float(viewing.collecting_gain(self.collects(aperture), aperture, self.passes(wavelength)))

    def passes(self, wavelength: ArrayLike) -> Floats:
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
class Viewing:
    """Bands of glass and instruments, with their source."""

    file: ClassVar = "viewing/aids.toml"
    source: Source
    band: tuple[Band, ...]
    aid: tuple[Aid, ...]

    def __post_init__(self) -> None:
        edges = [one.wavelength for one in self.band]
        check_cover("bands", edges, (min(low for low, _ in edges), max(high for _, high in edges)))


def transmission(wavelength: ArrayLike) -> Floats:
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
    passed = [np.where(inside(band.wavelength, place), band.transmission, 0.0) for band in load(Viewing).band]
    return np.asarray(np.max(passed, axis=0))


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
    """
    return next(one for one in load(Viewing).aid if one.name == name)


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
        wider = instrument.collects(one.aperture)
        with np.errstate(divide="ignore"):
            gain = viewing.collecting_gain(wider, one.aperture, instrument.passes(wavelength))
            found.append(replace(one, limit=np.asarray(one.limit / gain), aperture=wider))
    return found


MODES = ("continuous", "nanosecond pulse")
SAME = 0.01  # a threshold stands for wavelengths this close to its own, relative
# What helps against each way, as keys of the wording: geometry first.
ADVICE = {
    "direct": ("keep the lens out of the beam", "remote or expendable camera", "shutter shut during alignment"),
    "mirror": ("mask mirrors in the frame", "remote or expendable camera", "shutter shut during alignment"),
    "scatter": ("line filter on the lens", "smaller aperture", "defocus or move the spot", "remote camera head"),
}


class Sent(NamedTuple):
    """How a beam comes to a lens: its way, the reflectance of the mirrors on it, and what comes beside its axis.

    ``share`` is what comes where the lens is of the light of a lens on the axis: tolerances make it more. [1]
    ``aside`` is how far beside the axis the lens is. [m]
    """

    way: str = "direct"  # direct | mirror
    reflectance: float = 1.0
    share: float = 1.0
    aside: float = 0.0


_STRAIGHT = Sent()


@dataclass(frozen=True)
class Camera:
    """A camera: lens, filter and sensor, SI units; ``transmission`` of lens and filter at the laser's wavelength."""

    name: str
    focal_length: float
    f_number: float
    transmission: float = 1.0
    pixel: float = 0.0

    @property
    def pupil(self) -> float:
        """Diameter of the entrance pupil, f / N. [m]."""
        return self.focal_length / self.f_number

    def image(self, wavelength: float, angle: float = 0.0) -> tuple[float, bool]:
        """Return the diameter [m] of the image of a source of an angle [rad], and whether the source is resolved.

        The largest of the Airy disc 2.44 lambda N, f alpha and a pixel, whose width is 0 where it is not known.
        """
        least = max(2.44 * wavelength * self.f_number, self.pixel)
        return max(self.focal_length * angle, least), self.focal_length * angle > least

    def exposure(self, entering: float, diameter: float) -> float:
        """Return the mean exposure [W/m2 or J/m2] of an image that holds all that enters the lens [W or J].

        The middle of a perfect Airy disc is up to 3.7 times as bright.
        """
        within("amount", entering, "W or J", 0.0, math.inf)
        return float(finite("exposure in the image", self.transmission * entering / (math.pi / 4.0 * diameter**2), ""))

    def lit_by_beam(
        self, light: Emission, wavelength: float, beam: BeamGeometry, place: float, sent: Sent = _STRAIGHT
    ) -> CameraLine:
        """Return what a beam that enters the lens, directly or by a mirror, does in its focus [1]_.

        The beam is centred on the lens and imaged as sharply as the lens can, which is the bound.

        Parameters
        ----------
        light : Emission
            The setting.
        wavelength : float
            Wavelength. [m]
        beam : BeamGeometry
            The beam. [1]
        place : float
            From the last optic to the lens, along the beam. [m]
        sent : Sent
            How it comes there.

        Returns
        -------
        CameraLine
            Advice.

        Raises
        ------
        OutOfRangeError
            If a number cannot be used.

        References
        ----------
        .. [1] Elementary: fraction of the beam in the entrance pupil, over the area of the Airy disc.
        """
        dx, dy = diameters(beam, place)
        part = float(fraction_through(dx, dy, self.pupil, beam.profile))
        spot, _ = self.image(wavelength)
        exposure = self.exposure(light.amount * sent.reflectance * sent.share * part, spot)
        factors = " · ".join(f"{factor:.5g}" for factor in (light.amount, *sent[1:3], part, self.transmission))
        put_in = f"{factors} / (π · ({spot * 1e6:.5g} µm)² / 4)"
        hole, x, y = (f"{float(one) * 1e3:.5g}" for one in (self.pupil, dx, dy))
        sum_of = Message("step.part_numbers", numbers=put_in, hole=hole, x=x, y=y, place=f"{place:.5g} m")
        share, wide = Message("camera.share"), float(max(dx, dy))
        aside = sent.aside if beam.profile == "gaussian" else 0.0  # an even beam is as strong everywhere in it
        if aside > self.pupil / 2.0 and float(dx * dy) * part > 0.0:  # at a focus that is a point there is no d
            edge = math.exp(-((2.0 * aside - self.pupil) ** 2) / wide**2) * self.pupil**2 / float(dx * dy) / part
            words = {"rest": f"{sent.share / max(edge, 1e-300):.5g}", "aside": f"{aside * 1e3:.5g} mm"}
            share = Message("camera.share_beside", d=f"{wide * 1e3:.5g} mm", hole=f"{self.pupil * 1e3:.5g} mm", **words)
        told = joined([sum_of, share])
        return self._line(light, wavelength, _Image(sent.way, place, exposure, spot, "ρ k F τ / (π s² / 4)", told))

    def lit_by_spot(self, light: Emission, wavelength: float, distance: float, spot: LitSpot = POINT) -> CameraLine:
        """Return what the image of a scattering spot does on the sensor, resolved or not [1]_.

        A resolved spot is as bright at any distance; one that is not resolved falls off with the square of it.

        Parameters
        ----------
        light : Emission
            The setting, on the surface.
        wavelength : float
            Wavelength. [m]
        distance : float
            From the spot to the lens. [m]
        spot : LitSpot
            What scatters; without a size where that is not known, which is the bound.

        Returns
        -------
        CameraLine
            Advice.

        Raises
        ------
        InputError
            If the model is not known.
        OutOfRangeError
            If a number cannot be used.

        References
        ----------
        .. [1] MCCLUNEY1994, irradiance of an image by the radiance of its object.
        """
        width = float(spot.diameter)
        at_lens = float(spot.exposure(light.amount, distance))
        entering = min(at_lens * math.pi / 4.0 * self.pupil**2, light.amount)
        angle = 2.0 * math.atan2(width * math.cos(spot.view_angle), 2.0 * distance)
        size, resolved = self.image(wavelength, angle)
        exposure = self.exposure(entering, size)
        passed, stop = f"{self.transmission:.5g}", f"{self.f_number:.5g}"
        drawn, wide = f"({size * 1e6:.5g} µm)²", f"({width * 1e3:.5g} mm)²"
        how = "τ / (π s² / 4)", f"{light.amount:.5g} · {passed} / (π · {drawn} / 4)"
        if entering < light.amount:
            flat = spot.model == "lambert"
            sent = f"{spot.reflectance:.5g} · {light.amount:.5g} · {math.cos(spot.view_angle) if flat else 0.5:.5g}"
            lens = f"({self.focal_length * 1e3:.5g} mm / {stop})² · {passed} / {drawn}"
            shape = f"ρ {'cos θ' if flat else '0.5'} / (π r²) · (f / N)² τ / s²"
            how = shape, f"{sent} / (π · ({distance:.5g} m)²) · {lens}"
        if resolved:  # pi tau L / (4 N^2); the middle of a Gaussian spot is as bright as its power over its 1/e area
            on_surface = light.amount / (math.pi / 4.0 * width * width)
            bright = on_surface * spot.reflectance * self.transmission / (4.0 * self.f_number**2)
            if bright > exposure:
                lit = f"{light.amount:.5g} · {spot.reflectance:.5g} · {passed} / (π · {wide} · {stop}²)"
                exposure, how = bright, ("ρ τ / (π d² N²)", lit)
        return self._line(light, wavelength, _Image("scatter", distance, exposure, size, *how, resolved, angle))

    def _line(self, light: Emission, wavelength: float, image: _Image) -> CameraLine:
        """Return what is in the image beside the lowest threshold that is known for such light."""
        pulse = None if light.kind == "continuous" else light.pulse_duration
        threshold, lowest, source = known_threshold(wavelength, pulse), None, ""
        symbol, amount, unit = ("E", "Φ", "W/m2") if pulse is None else ("H", "Q", "J/m2")
        kind = Message("camera.resolved" if image.resolved else "camera.smallest")
        load, size = f"{image.exposure:.2g} {unit}", f"{image.spot * 1e6:.2g} um"
        words = [Message("camera.in_image", load=load, image=kind, size=size)]
        if threshold is None:
            shining = Message("camera.continuous") if pulse is None else Message("camera.pulses", time=f"{pulse:.3g} s")
            words.append(Message("camera.unknown", light=shining, wave=f"{wavelength * 1e9:.4g} nm"))
        else:
            lowest, source = threshold.value, threshold.source
            facts = {"effect": threshold.effect, "sensor": threshold.sensor, "source": source}
            words.append(Message("camera.lowest", load=f"{lowest:.3g} {unit}", **facts))
            words += [Message("camera.of_one_pulse")] if pulse is not None and light.repetition_rate else []
        seen, size_formula, size_of = (Message("source.cameras"), "own"), "s", f"{image.spot:.5g}"
        if image.resolved:
            size_formula, size_of = "s = f α", f"{self.focal_length * 1e3:.5g} mm · {image.angle:.5g}"
        elif image.spot > self.pixel:
            size_formula, size_of = "s = 2.44 λ N", f"2.44 · {wavelength * 1e9:.5g} nm · {self.f_number:.5g}"
        steps = (
            Step("s", Message("step.image_size"), size_formula, size_of, image.spot, "m", *seen),
            Step(symbol, Message("step.in_image"), f"{symbol} = {amount} {image.formula}", image.put_in, image.exposure,
                 unit, *seen),
        )  # fmt: skip
        return CameraLine(
            camera=self.name, way=image.way, distance=image.distance, exposure=image.exposure, spot=image.spot,
            resolved=image.resolved, unit=unit, steps=steps, words=joined(words), advice=ADVICE[image.way],
            threshold=lowest, threshold_source=source, ratio=None if lowest is None else image.exposure / lowest,
        )  # fmt: skip


@dataclass(frozen=True)
class SensorThreshold:
    """One published threshold, SI units: value in W/m2 or J/m2, pulse durations it stands for."""

    sensor: str
    effect: str
    wavelength: Annotated[float, As("wavelength_nm", 1e-9)]
    mode: Literal["continuous", "nanosecond pulse"]
    value: Annotated[float, As(scale=1e4, printed=True)]
    printed_unit: Annotated[Literal["W/cm2", "J/cm2"], As("unit")]
    source: str
    seen: Seen
    note: str
    pulse_duration: Annotated[Span, As("pulse_ns", 1e-9)] | None = None

    def __post_init__(self) -> None:
        """Refuse pulses without a duration, and a unit that does not fit."""
        pulsed = self.mode == "nanosecond pulse"
        check(pulsed == (self.pulse_duration is not None), "pulses have 'pulse_ns', continuous light has not")
        fits = self.printed_unit == ("J/cm2" if pulsed else "W/cm2") and self.value > 0.0
        check(fits, "'unit' must be W/cm2 for continuous light, J/cm2 for pulses, and 'value' above 0")


@dataclass(frozen=True)
class _Thresholds:
    file: ClassVar = "cameras/thresholds.toml"
    source: Source
    threshold: tuple[SensorThreshold, ...]


def known_threshold(wavelength: float, pulse_duration: float | None) -> SensorThreshold | None:
    """Return the lowest published threshold for this light, or None where none is known [1]_ [2]_.

    Parameters
    ----------
    wavelength : float
        Wavelength. [m]
    pulse_duration : float or None
        Duration of one pulse; None for continuous light. [s]

    Returns
    -------
    SensorThreshold or None
        Only of the same wavelength, within 1 %, and mode.

    References
    ----------
    .. [1] SENSOR-LFW18, summary of measured thresholds.
    .. [2] SENSOR-MDPI25, front-lit CMOS.

    Examples
    --------
    >>> known_threshold(450e-9, None) is None, known_threshold(532e-9, 10e-9).effect
    (True, 'point damage')
    """
    fitting = []
    for one in load(_Thresholds).threshold:
        pulse, span = pulse_duration, one.pulse_duration
        near = abs(one.wavelength - wavelength) <= SAME * one.wavelength
        if near and (span is None if pulse is None else span is not None and span[0] <= pulse <= span[1]):
            fitting.append(one)
    return min(fitting, key=lambda one: one.value, default=None)


class _Image(NamedTuple):
    way: str
    distance: float
    exposure: float
    spot: float
    formula: str
    put_in: str
    resolved: bool = False
    angle: float = 0.0  # of what is seen [rad]
