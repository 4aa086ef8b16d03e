"""One laser with its set-ups, and what diffraction says of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Self

from pydantic import Field, ModelWrapValidatorHandler, model_validator

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, doubles
from lasersafe.models.emission import Emission
from lasersafe.models.setup import SETUP_KINDS, Setup
from lasersafe.models.sources import WAVELENGTH, ExtraLine, Module
from lasersafe.models.values import SIValue
from lasersafe.quantity import format_quantity

_FIBRE = {"5 %": 1.7, "1/e2": math.sqrt(2.0), "1/e": 1.0}  # numerical aperture to half the 1/e angle
_TO_1_E = {"1/e": 1.0, "1/e2": 1.0 / math.sqrt(2.0), "FWHM": 1.0 / math.sqrt(math.log(2.0))}
_ROUNDING = 1e-9


class Laser(CaseModel):
    """One laser: ``[[laser]]``.

    Attributes
    ----------
    name
        Name of the laser; used once in the case.
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
        The optics that may be fitted, one [[laser.setup]] each; the fitted one is marked.
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
        "'fibre single mode'",
    }

    name: Line
    class_label: Line
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
        least = _least_product(wavelength) / (narrowest * scale * scale)
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
        least = _least_product(wavelength) * focal_length / (width * scale * scale)
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
    least = _least_product(wavelength) * factor / (2.0 * core)
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


def _least_product(wavelength: float) -> float:
    """Return the least waist diameter times full angle, both at 1/e: 2 lambda / pi."""
    return 2.0 * wavelength / math.pi


def _scale(peek: Peek) -> float | None:
    """Return what a width is multiplied with to hold at 1/e of the peak, or None when that cannot be known."""
    criterion, profile = peek.data.get("criterion"), peek.data.get("profile", "gaussian")
    if criterion not in tuple(_TO_1_E) or profile not in ("gaussian", "top-hat"):
        return None
    return 1.0 if profile == "top-hat" else _TO_1_E[criterion]
