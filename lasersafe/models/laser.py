"""One laser with its set-ups, further wavelengths and what it feeds; and what diffraction says of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, ModelWrapValidatorHandler, model_validator

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, doubles
from lasersafe.models.emission import Emission
from lasersafe.models.measured import Measured, TwoAxes
from lasersafe.models.setup import DIVERGENCE, SETUP_KINDS, CriterionName, Setup
from lasersafe.models.values import Axes, SIValue
from lasersafe.quantity import format_quantity

_NO_OTHER = "the limit tables of both rule sets cover no other light"
WAVELENGTH = Measured("m", "180 nm", "1 mm", "1070 nm", _NO_OTHER, worst="ends")
_POWER = Measured("W", "0 W", "1 MW", "30 mW", kind="continuous power", above_low=True, worst="high")
_SHARE = Measured("1", "0", "1", "0.02", above_low=True, worst="high")
_SPREAD = TwoAxes("rad", "0 rad", "3.14 rad", "30 deg", above_low=True, worst="low")
_SIZE = TwoAxes("m", "100 nm", "100 m", "10 mm", worst="ends")
_PITCH = Measured("m", "1 um", "10 m", "6 mm", worst="ends")
_EVENNESS = Measured("1", "1", "1000", "1.5", "the brightest spot is never below the mean", worst="high")
_TRANSMITTANCE = Measured("1", "0", "1", "0.6", above_low=True, worst="high")
_NEAREST = Measured("m", "1 mm", "1 km", "100 mm")

Count = Annotated[int, Field(strict=True, ge=1, le=16)]


class ExtraLine(CaseModel):
    """A further wavelength in the beam: ``[[laser.line]]``, as residual pump light or a pilot laser.

    Attributes
    ----------
    name
        Name of the wavelength, as 'residual pump 808 nm'; used once in this laser.
    wavelength
        Vacuum wavelength, as '808 nm'.
    power
        Highest continuous power of it, as '30 mW'. This or share is needed.
    share
        Its power over that of the main wavelength, as 0.02, with the same pulses. This or power is needed.
    divergence
        Full angle behind the last optic, where it differs from the main beam; with divergence_criterion.
    divergence_criterion
        Where the divergence was read: '1/e', '1/e2' or 'FWHM'.
    """

    name: Line
    wavelength: Annotated[SIValue, WAVELENGTH]
    power: Annotated[SIValue | None, _POWER] = None
    share: Annotated[SIValue | None, _SHARE] = None
    divergence: Annotated[Axes | None, DIVERGENCE] = None
    divergence_criterion: CriterionName | None = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for power or share, and for the criterion of a divergence."""
        power, share = "power" in peek, "share" in peek
        if power == share:
            word = "both power and share are given" if power else "missing"
            yield "power", f"{word}; write power, as '30 mW', or share of the main wavelength, as 0.02"
        if ("divergence" in peek) != ("divergence_criterion" in peek):
            absent = "divergence" if "divergence" not in peek else "divergence_criterion"
            yield absent, "missing; a divergence needs its criterion, '1/e', '1/e2' or 'FWHM': write both"


class Module(CaseModel):
    """Beams side by side: ``[laser.module]``. The emission of the laser is that of all beams together.

    Attributes
    ----------
    columns
        Beams in a row, as 4.
    rows
        Rows of beams.
    column_pitch
        Between the middles of neighbours in a row, '6 mm'.
    row_pitch
        Between the middles of neighbouring rows. Left out: as column_pitch.
    """

    columns: Count
    rows: Count = 1
    column_pitch: Annotated[SIValue, _PITCH]
    row_pitch: Annotated[SIValue | None, _PITCH] = None


class Extended(CaseModel):
    """A glowing area that people look at: ``[[extended]]``, as a diffuser, a fibre bundle or an array.

    Attributes
    ----------
    name
        Name of the source; used once in the case.
    laser
        Name of the laser that feeds it.
    size
        Size of the lit area, of an array that of one emitter, as '10 mm'; two if oblong. For a Gaussian its 1/e
        diameter.
    spread
        'lambert' (matt surface, opal glass), 'hemisphere' (the same everywhere), or 'cone' with a divergence.
    divergence
        Full 1/e angle of a 'cone', as '30 deg'; the narrowest that it can have.
    transmittance
        Share of the laser's light that leaves it: transmittance of a translucent object, reflectance of a surface.
        Left out: 1, the strict bound.
    columns
        Emitters of an array in a row.
    rows
        Rows of emitters.
    pitch
        Between the middles of neighbours, two where rows are spaced otherwise; for an array.
    shares
        Share of the power of each emitter, row by row, adding up to 1. Left out: all alike.
    peak_over_mean
        Brightest spot over mean radiance, measured, as 1.5. Left out: no credit is given for a source that is wider
        than the photochemical cone.
    nearest
        Nearest viewing distance to be searched from.
    """

    name: Line
    laser: Line
    size: Annotated[Axes, _SIZE]
    spread: Literal["lambert", "hemisphere", "cone"] = "lambert"
    divergence: Annotated[Axes | None, _SPREAD] = None
    transmittance: Annotated[SIValue, _TRANSMITTANCE] = SIValue(1.0, "1", "1")
    columns: Count = 1
    rows: Count = 1
    pitch: Annotated[Axes | None, _SIZE] = None
    shares: Annotated[tuple[Annotated[float, Field(ge=0.0, le=1.0)], ...], Field(max_length=4096)] = ()
    peak_over_mean: Annotated[SIValue | None, _EVENNESS] = None
    nearest: Annotated[SIValue, _NEAREST] = SIValue(0.1, "100 mm", "m")

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for the angle of a cone and the pitch of an array."""
        cone = peek.data.get("spread") == "cone"
        if cone and "divergence" not in peek:
            yield "divergence", "missing; write the full 1/e angle of the cone, as '30 deg'"
        if not cone and "divergence" in peek:
            yield "divergence", "only spread = 'cone' has a divergence; leave it out, or write the spread"
        columns, rows = peek.data.get("columns", 1), peek.data.get("rows", 1)
        emitters = columns * rows if isinstance(columns, int) and isinstance(rows, int) else None
        if emitters is not None and emitters > 1 and "pitch" not in peek:
            yield "pitch", "missing; write the distance between neighbouring emitters, as '3 mm'"
        shares = peek.data.get("shares", ())
        numbers = [s for s in shares if isinstance(s, (int, float))] if isinstance(shares, (list, tuple)) else []
        if numbers and emitters is not None and len(numbers) != emitters:
            yield "shares", f"{len(numbers)} are given for {emitters} emitters; give one for each"
        elif numbers and not abs(sum(numbers) - 1.0) <= 1e-6:
            yield "shares", f"they add up to {sum(numbers):.6g}; they must add up to 1"


_FIBRE = {"5 %": 1.7, "1/e2": math.sqrt(2.0), "1/e": 1.0}  # numerical aperture to half the 1/e angle
_TO_1_E = {"1/e": 1.0, "1/e2": 1.0 / math.sqrt(2.0), "FWHM": 1.0 / math.sqrt(math.log(2.0))}
_ROUNDING = 1e-9


class Laser(CaseModel):
    """One laser: ``[[laser]]``.

    Attributes
    ----------
    name
        Name of the laser; used once in the case. Left out: what it is like.
    like
        Kind of laser, as 'hand-held welder' or 'any laser': beam, optics and pulses that are left out are then taken
        as the strictest that such lasers usually have, and called assumed.
    class_label
        Laser class on the maker's label, as '4'.
    serial
        Serial number.
    wavelength
        Vacuum wavelength, 180 nm to 1 mm, as '1070 nm'.
    handheld
        true when a person guides the head or the work by hand.
    emission
        What leaves the laser: [laser.emission].
    setup
        The optics that may be fitted, one [[laser.setup]] each; the fitted one is marked. May be left out of a laser
        that says what it is like: then every usual lens, and none, is worked out as fitted.
    note
        Remark, printed on the sheet.
    line
        Further wavelengths that leave with the beam, as residual pump light: [[laser.line]].
    module
        Beams side by side in one module: [laser.module].
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "emission": "write a table [laser.emission] with kind = 'continuous', 'single pulse', 'pulse train', "
        "'pulse list' or 'mode table'",
        "setup": "write a table [[laser.setup]] with kind = 'collimated', 'lens', 'fibre multimode' or "
        "'fibre single mode', or say what the laser is like, as like = 'hand-held welder'",
    }

    name: Line = ""
    like: Line | None = None
    class_label: Line = "4"
    serial: Line = ""
    wavelength: Annotated[SIValue, WAVELENGTH]
    handheld: Flag = False
    emission: Emission = Field(discriminator="kind")
    setup: Annotated[tuple[Annotated[Setup, Field(discriminator="kind")], ...], Field(min_length=1, max_length=12)]
    note: Line = ""
    line: Annotated[tuple[ExtraLine, ...], Field(max_length=12)] = ()
    module: Module | None = None

    @property
    def setups(self) -> tuple[Setup, ...]:
        """All set-ups, as in the file."""
        return self.setup

    @property
    def fitted_setup(self) -> Setup:
        """The set-up that is fitted today."""
        return next(one for one in self.setup if one.fitted)

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse double names, anything but one fitted set-up, and beams that diffraction forbids."""
        tables = peek.tables("setup")
        yield from doubles("setup", tables)
        yield from doubles("line", peek.tables("line"))
        fitted = [i for i, table in tables if table.get("fitted") is True]
        for i in fitted[1:]:
            yield ("setup", i, "fitted"), "two set-ups are marked as fitted; mark one"
        if tables and not fitted and not (len(tables) == 1 and "fitted" not in tables[0][1]):
            yield "setup", "no set-up is marked; write fitted = true in the one that is fitted today"
        wavelength = peek.value("wavelength")
        for i, table in tables:
            kind = table.get("kind")
            if isinstance(kind, str) and kind in SETUP_KINDS:
                for field, text in _IMPOSSIBLE[kind](Peek(SETUP_KINDS[kind], table), wavelength):
                    yield ("setup", i, str(field)), text

    @model_validator(mode="wrap")
    @classmethod
    def _one_setup_is_fitted(cls, data: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        """Mark the only set-up as fitted."""
        if isinstance(data, Mapping) and isinstance(data.get("setup"), (list, tuple)) and len(data["setup"]) == 1:
            only = data["setup"][0]
            if isinstance(only, Mapping) and "fitted" not in only:
                data = {**data, "setup": [{**only, "fitted": True}]}
        return handler(data)


def _collimated(peek: Peek, wavelength: SIValue | None) -> Findings:
    if all(isinstance(peek.data.get(key), SIValue) for key in ("beam_diameter", "divergence")):
        return  # both assumed: a bound of many beams, which need not be one
    diameter, angle, scale = peek.value("beam_diameter"), peek.value("divergence"), _scale(peek)
    place, waist = peek.value("measured_at"), peek.value("waist_at")
    if diameter is None or angle is None or scale is None or place is None or (waist is None and "waist_at" in peek):
        return
    for axis in ("x", "y"):
        width, spread = getattr(diameter, axis), getattr(angle, axis)
        away = 0.0 if waist is None else abs(place - getattr(waist, axis))
        if not spread * away < width:
            yield (
                "beam_diameter",
                f"{width.typed} is less than the {format_quantity(spread * away, 'm')} that the divergence alone makes "
                "between waist_at and measured_at; check divergence and places",
            )
            return
        if wavelength is None:
            continue
        narrowest = math.sqrt((width - spread * away) * (width + spread * away))
        least = least_product(wavelength) / (narrowest * scale * scale)
        if not spread >= least * (1.0 - _ROUNDING):
            yield (
                "divergence",
                f"{spread.typed} is below the diffraction limit: light of {wavelength.typed} with a waist of "
                f"{format_quantity(narrowest, 'm')} ({peek.data['criterion']}) spreads by at least "
                f"{format_quantity(least, 'rad', rounding='up')} on this criterion; check criterion, unit and diameter",
            )
            return


def _lens(peek: Peek, wavelength: SIValue | None) -> Findings:
    diameter, focus, scale = peek.value("beam_diameter"), peek.value("focus_diameter"), _scale(peek)
    focal_length = peek.value("focal_length")
    if diameter is None or scale is None or focal_length is None or wavelength is None:
        return
    for axis in ("x", "y"):
        width = getattr(diameter, axis)
        if not width * scale <= math.pi * focal_length:
            yield (
                "beam_diameter",
                f"{width.typed} is too wide for a focal length of {focal_length.typed}: no lens makes a cone of more "
                "than 180 deg; check both units",
            )
            return
        least = least_product(wavelength) * focal_length / (width * scale * scale)
        if focus is not None and not getattr(focus, axis) >= least * (1.0 - _ROUNDING):
            yield (
                "focus_diameter",
                f"{getattr(focus, axis).typed} is below the diffraction limit: this lens focuses light of "
                f"{wavelength.typed} to no less than {format_quantity(least, 'm', rounding='up')}; check criterion, "
                "unit and focal length",
            )
            return


def _multimode(peek: Peek, wavelength: SIValue | None) -> Findings:
    aperture, core = peek.value("numerical_aperture"), peek.value("core_diameter")
    factor = _FIBRE.get(str(peek.data.get("numerical_aperture_criterion")))
    if aperture is None or core is None or factor is None or wavelength is None:
        return
    least = least_product(wavelength) * factor / (2.0 * core)
    if not aperture >= least * (1.0 - _ROUNDING):
        yield (
            "numerical_aperture",
            f"{aperture.typed} is below the diffraction limit: light of {wavelength.typed} from a core of {core.typed} "
            f"has at least {format_quantity(least, '1', rounding='up')}; use kind = 'fibre single mode' for a "
            "single-mode fibre",
        )


def _single_mode(peek: Peek, wavelength: SIValue | None) -> Findings:
    field = peek.value("mode_field_diameter")
    if field is not None and wavelength is not None and not field >= wavelength:
        text = f"{field.typed} is smaller than the wavelength of {wavelength.typed}, which no fibre guides; check it"
        yield "mode_field_diameter", text


_IMPOSSIBLE = dict(zip(SETUP_KINDS, (_collimated, _lens, _multimode, _single_mode), strict=True))


def least_product(wavelength: float) -> float:
    """Return the least waist diameter times full angle, both at 1/e: 2 lambda / pi."""
    return 2.0 * wavelength / math.pi


def _scale(peek: Peek) -> float | None:
    """Return what a width is multiplied with to hold at 1/e of the peak, or None when that cannot be known."""
    criterion, profile = peek.data.get("criterion"), peek.data.get("profile", "gaussian")
    if criterion not in tuple(_TO_1_E) or profile not in ("gaussian", "top-hat"):
        return None
    return 1.0 if profile == "top-hat" else _TO_1_E[criterion]
