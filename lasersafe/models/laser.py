"""A laser and what may be fitted to it: emission, lines, set-ups, scans, extended sources."""

from __future__ import annotations

import math
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, doubles, kinds_of, needs, wrong
from lasersafe.models.emission import Emission
from lasersafe.models.values import Axes, Measured, SIValue, TwoAxes
from lasersafe.quantity import FIBRE_FACTOR, OVER_1_E, format_quantity

_FROM_DATA_SHEET = (
    "it is never guessed: take it from the data sheet, or have it measured; behind a lens use kind = 'lens', where it "
    "follows from beam diameter and focal length; write the full angle, as '3 mrad'"
)
_CRITERION = (
    "where on the profile the diameters and the divergence were read: '1/e', '1/e2' or 'FWHM'; it is never guessed, "
    "the data sheet names it (most give 1/e2, German safety papers 1/e, called d63)"
)

DIAMETER = TwoAxes("m", "100 nm", "100 m", "10 mm", worst="low")
WIDTH = Measured("m", "100 nm", "100 mm", "50 um", worst="low")
DIVERGENCE = TwoAxes("rad", "0 rad", "1 rad", "3 mrad", kind="divergence", above_low=True, worst="low")
FOCAL_LENGTH = Measured("m", "0.1 mm", "1 km", "150 mm", worst="ends")
REACH = Measured("m", "0 m", "1000 km", "150 mm", worst="ends")
APERTURE = Measured("1", "0", "1", "0.22", above_low=True, below_high=True, worst="low")
SCAN_ANGLE = TwoAxes("rad", "0 rad", "2 rad", "20 deg", above_low=True, worst="ends")
REACTION = Measured("s", "100 ns", "100 s", "5 ms", "a cut-off that needs longer protects nobody", worst="high")

CriterionName = Literal["1/e", "1/e2", "FWHM"]
ProfileName = Literal["gaussian", "top-hat"]


class Scan(CaseModel):
    """A scanner: ``[laser.setup.scan]``. A stopped scanner is always worked out as well.

    Attributes
    ----------
    pattern
        'line', 'circle', 'figure of eight', 'raster' or 'wobble' (a welding head; hand movement is not counted).
    frequency
        Whole movements (there and back) in a second, of a raster those of the fast axis, as '100 Hz'; the slowest
        that can be set.
    full_angle
        Optical angle of the beam from edge to edge, as '20 deg' (twice the mirror angle); the smallest that can be
        set. Two for x and y, the fast axis first. This or full_width is needed.
    full_width
        Width of the pattern from edge to edge at width_at, as '4 mm'; the smallest that can be set.
    width_at
        Distance from the last optic at which full_width holds; behind a lens its focal length.
    largest_angle
        Largest optical angle from edge to edge that can be set, as '40 deg': the beam is anywhere in this field, also
        when it stops. Left out: that of full_angle or full_width.
    fans_out
        true when the beams of a full_width leave from one point of the last optic and so move apart; left out: they
        may be parallel behind width_at, as after a telecentric lens, the strict side.
    waveform
        Movement of a line or of the fast axis: 'sine' (rests longest at its ends) or 'triangle'.
    lines
        Lines of one frame of a raster, one for each whole movement of the fast axis.
    monitored
        true when a safety circuit watches the movement and cuts the laser off (scan-fail cut-off). Without it the
        movement earns no credit.
    reaction_time
        From the failure of the movement to the last light, as '5 ms'; needed with monitored.
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "frequency": "whole movements (there and back) in a second, as '100 Hz'; take the slowest that can be set"
    }

    pattern: Literal["line", "circle", "figure of eight", "raster", "wobble"]
    frequency: Annotated[SIValue, Measured("Hz", "0 Hz", "1 MHz", "100 Hz", above_low=True, worst="ends")]
    full_angle: Annotated[Axes | None, SCAN_ANGLE] = None
    full_width: Annotated[Axes | None, TwoAxes("m", "1 um", "100 m", "110 mm", worst="ends")] = None
    width_at: Annotated[SIValue | None, Measured("m", "1 mm", "1 km", "160 mm", worst="ends")] = None
    largest_angle: Annotated[Axes | None, SCAN_ANGLE] = None
    fans_out: Flag = False
    waveform: Literal["sine", "triangle"] = "sine"
    lines: Annotated[int, Field(strict=True, ge=2, le=100000)] | None = None
    monitored: Flag = False
    reaction_time: Annotated[SIValue | None, REACTION] = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for one way to give the size, for the place of a width, and for the time of a cut-off."""
        angle, width = "full_angle" in peek, "full_width" in peek
        if angle == width:
            yield wrong("full_angle", f"misfit.size_{'twice' if angle else 'missing'}")
        yield from needs(peek, "full_width", "width_at", "misfit.no_width_at", "misfit.no_width")
        largest, least = peek.value("largest_angle"), peek.value("full_angle")
        if largest is not None and least is not None and not (least.x <= largest.x and least.y <= largest.y):
            yield wrong("largest_angle", "misfit.largest_angle", largest=largest.typed, least=least.typed)
        raster = peek.data.get("pattern") == "raster"
        yield from needs(peek, raster, "lines", "misfit.no_lines", "misfit.only_raster")
        monitored = peek.data.get("monitored") is True
        yield from needs(peek, monitored, "reaction_time", "misfit.no_reaction")
        if "reaction_time" in peek and not monitored:
            yield wrong("monitored", "misfit.not_monitored")


class SetupBase(CaseModel):
    """What all set-ups have in common.

    Attributes
    ----------
    name
        Name of the set-up, as people call it; used once in this laser.
    fitted
        true on the one set-up that is fitted today; the only set-up of a laser is fitted without saying.
    work_distance
        From the last optic to the work, as '150 mm'.
    spot_diameter
        Diameter of the lit spot on the work, on the criterion of this set-up; a wide spot is an extended source for
        scattered light. Left out: as wide as the beam is at the work; of a lens a point, which is the strict side.
    note
        Remark, printed on the sheet.
    scan
        A scanner that moves the beam: [laser.setup.scan].
    """

    name: Line
    fitted: Flag = False
    work_distance: Annotated[SIValue | None, REACH] = None
    spot_diameter: Annotated[Axes | None, DIAMETER] = None
    note: Line = ""
    scan: Scan | None = None

    @property
    def circular(self) -> bool:
        """Whether no width or angle was typed for each axis by itself."""
        return all(value.circular for _, value in self if isinstance(value, Axes))


class CollimatedSetup(SetupBase):
    """A free beam: ``kind = "collimated"``.

    Attributes
    ----------
    kind
        'collimated': a beam that goes on without a focus.
    beam_diameter
        Full diameter, as '6 mm'; two for an elliptical beam, as ['3 mm', '5 mm'].
    divergence
        Full angle by which the beam widens, as '3 mrad', on the same criterion; two if elliptical.
    criterion
        Where on the profile the diameters and the divergence were read: '1/e', '1/e2' or 'FWHM'; it is never
        guessed, the data sheet names it (most give 1/e2, German safety papers 1/e, called d63).
    profile
        Shape of the beam: 'gaussian' or 'top-hat'.
    measured_at
        Distance from the last optic at which beam_diameter holds.
    waist_at
        Place of the narrowest point, from the last optic, negative inside the laser. Needed where measured_at is
        not 0; left out otherwise: at the last optic.
    """

    how_to_get: ClassVar[dict[str, str]] = {"divergence": _FROM_DATA_SHEET, "criterion": _CRITERION}

    kind: Literal["collimated"]
    beam_diameter: Annotated[Axes, DIAMETER]
    divergence: Annotated[Axes, DIVERGENCE]
    criterion: CriterionName
    profile: ProfileName = "gaussian"
    measured_at: Annotated[SIValue, REACH] = SIValue(0.0, "0 m", "m")
    waist_at: Annotated[Axes | None, TwoAxes("m", "-1000 km", "1000 km", "0 m", worst="ends")] = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for the waist of a beam that was measured away from the optic: it may be narrower on the way."""
        place = peek.value("measured_at")
        yield from needs(peek, place is not None and float(place) > 0.0, "waist_at", "misfit.no_waist")

    @classmethod
    def impossible(cls, peek: Peek, wavelength: SIValue | None) -> Findings:
        """Refuse a beam that its divergence alone makes wider, or that diffraction forbids."""
        if all(isinstance(peek.data.get(key), SIValue) for key in ("beam_diameter", "divergence")):
            return  # both assumed: a bound of many beams, which need not be one
        diameter, angle, scale = peek.value("beam_diameter"), peek.value("divergence"), _scale(peek)
        place, waist = peek.value("measured_at"), peek.value("waist_at")
        if scale is None or None in (diameter, angle, place) or (waist is None and "waist_at" in peek):
            return
        for axis in ("x", "y"):
            width, spread = getattr(diameter, axis), getattr(angle, axis)
            away = 0.0 if waist is None else abs(place - getattr(waist, axis))
            if not spread * away < width:
                yield wrong(
                    "beam_diameter", "misfit.narrow", width=width.typed, least=format_quantity(spread * away, "m")
                )
                return
            if wavelength is None:
                continue
            narrowest = math.sqrt((width - spread * away) * (width + spread * away))
            least = least_product(wavelength) / (narrowest * scale * scale)
            if not spread >= least * (1.0 - _ROUNDING):
                yield wrong(
                    "divergence", "misfit.diffraction", angle=spread, wavelength=wavelength,
                    waist=format_quantity(narrowest, "m"), criterion=peek.data["criterion"],
                    least=format_quantity(least, "rad", rounding="up"),
                )  # fmt: skip
                return


class LensSetup(SetupBase):
    """A lens that is lit by a collimated beam: ``kind = "lens"``.

    Attributes
    ----------
    kind
        'lens': a lens or focusing head; the beam spreads behind its focus.
    beam_diameter
        Full diameter at the lens, as '8.5 mm'; two for an elliptical beam.
    criterion
        Where on the profile the diameters and the divergence were read: '1/e', '1/e2' or 'FWHM'; it is never
        guessed, the data sheet names it (most give 1/e2, German safety papers 1/e, called d63).
    profile
        Shape of the beam: 'gaussian' or 'top-hat'.
    focal_length
        Focal length of the lens, as '150 mm'; behind the focus the full angle is beam diameter over focal length.
    focus_diameter
        Diameter of the focus, on the same criterion. Left out: a point, which gives the longer distance.
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "criterion": _CRITERION,
        "focal_length": "it is engraved on the lens or named in the data sheet of the head, as '150 mm'",
    }

    kind: Literal["lens"]
    beam_diameter: Annotated[Axes, DIAMETER]
    criterion: CriterionName
    profile: ProfileName = "gaussian"
    focal_length: Annotated[SIValue, FOCAL_LENGTH]
    focus_diameter: Annotated[Axes | None, DIAMETER] = None

    @classmethod
    def impossible(cls, peek: Peek, wavelength: SIValue | None) -> Findings:
        """Refuse a lens that there is not, and a focus that diffraction forbids."""
        diameter, focus, scale = peek.value("beam_diameter"), peek.value("focus_diameter"), _scale(peek)
        focal_length = peek.value("focal_length")
        if diameter is None or scale is None or focal_length is None or wavelength is None:
            return
        for axis in ("x", "y"):
            width = getattr(diameter, axis)
            if not width * scale <= math.pi * focal_length:
                yield wrong("beam_diameter", "misfit.wide_lens", width=width.typed, focal_length=focal_length.typed)
                return
            least = least_product(wavelength) * focal_length / (width * scale * scale)
            if focus is not None and not getattr(focus, axis) >= least * (1.0 - _ROUNDING):
                at_least = format_quantity(least, "m", rounding="up")
                yield wrong(
                    "focus_diameter", "misfit.small_focus", focus=getattr(focus, axis), wavelength=wavelength,
                    least=at_least,
                )  # fmt: skip
                return


class MultimodeFibreSetup(SetupBase):
    """The bare end of a multimode fibre: ``kind = "fibre multimode"``.

    Attributes
    ----------
    kind
        'fibre multimode': the bare end of a multimode fibre.
    numerical_aperture
        Numerical aperture of the beam that leaves the fibre, as 0.22, between 0 and 1. The smaller, the farther the
        hazard reaches.
    numerical_aperture_criterion
        Where the numerical aperture was read: '5 %' of the peak (usual for fibres), '1/e2' or '1/e'; it is never
        guessed, the data sheet names it.
    core_diameter
        Diameter of the core, as '50 um'.
    """

    kind: Literal["fibre multimode"]
    numerical_aperture: Annotated[SIValue, APERTURE]
    numerical_aperture_criterion: Literal["5 %", "1/e2", "1/e"]
    core_diameter: Annotated[SIValue, WIDTH]

    @classmethod
    def impossible(cls, peek: Peek, wavelength: SIValue | None) -> Findings:
        """Refuse an aperture that diffraction makes larger."""
        aperture, core = peek.value("numerical_aperture"), peek.value("core_diameter")
        factor = FIBRE_FACTOR.get(str(peek.data.get("numerical_aperture_criterion")))
        if aperture is None or core is None or factor is None or wavelength is None:
            return
        least = least_product(wavelength) * factor / (2.0 * core)
        if not aperture >= least * (1.0 - _ROUNDING):
            at_least = format_quantity(least, "1", rounding="up")
            yield wrong(
                "numerical_aperture", "misfit.small_aperture", aperture=aperture, wavelength=wavelength, core=core,
                least=at_least,
            )  # fmt: skip


class SingleModeFibreSetup(SetupBase):
    """The bare end of a single-mode fibre: ``kind = "fibre single mode"``.

    Attributes
    ----------
    kind
        'fibre single mode': the bare end of a single-mode fibre.
    mode_field_diameter
        Mode field diameter (1/e2) at this wavelength, as '6.2 um'.
    """

    kind: Literal["fibre single mode"]
    mode_field_diameter: Annotated[SIValue, Measured("m", "100 nm", "100 mm", "6.2 um", worst="ends")]

    @classmethod
    def impossible(cls, peek: Peek, wavelength: SIValue | None) -> Findings:
        """Refuse a mode that is narrower than its wavelength."""
        field = peek.value("mode_field_diameter")
        if field is not None and wavelength is not None and not field >= wavelength:
            yield wrong("mode_field_diameter", "misfit.small_field", field=field.typed, wavelength=wavelength.typed)


Setup = CollimatedSetup | LensSetup | MultimodeFibreSetup | SingleModeFibreSetup
SETUP_KINDS = kinds_of(Setup)


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
            yield wrong("power", f"misfit.power_{'twice' if power else 'missing'}")
        yield from needs(peek, "divergence", "divergence_criterion", "misfit.no_criterion", "misfit.no_criterion")


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
        yield from needs(peek, cone, "divergence", "misfit.no_cone", "misfit.only_cone")
        columns, rows = peek.data.get("columns", 1), peek.data.get("rows", 1)
        emitters = columns * rows if isinstance(columns, int) and isinstance(rows, int) else None
        yield from needs(peek, emitters is not None and emitters > 1, "pitch", "misfit.no_pitch")
        shares = peek.data.get("shares", ())
        numbers = [s for s in shares if isinstance(s, (int, float))] if isinstance(shares, (list, tuple)) else []
        if numbers and emitters is not None and len(numbers) != emitters:
            yield wrong("shares", "misfit.shares", count=len(numbers), emitters=emitters)
        elif numbers and not abs(sum(numbers) - 1.0) <= 1e-6:
            yield wrong("shares", "misfit.share_sum", total=sum(numbers))


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
    fibre
        false when no fibre carries the light outside the housing of the laser, so that none can break. Left out: one
        may, from 300 nm to 2.4 um; true says so of other wavelengths too.
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
    fibre: Flag | None = None
    emission: Emission = Field(discriminator="kind")
    setup: Annotated[tuple[Annotated[Setup, Field(discriminator="kind")], ...], Field(min_length=1, max_length=12)]
    note: Line = ""
    line: Annotated[tuple[ExtraLine, ...], Field(max_length=12)] = ()
    module: Module | None = None

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
        unread = any(not isinstance(table.get("fitted", True), bool) for _, table in tables)  # a fault of its own
        for i in fitted[1:]:
            yield wrong(("setup", i, "fitted"), "misfit.two_fitted")
        if tables and not fitted and not unread:
            yield wrong("setup", "misfit.none_fitted")
        wavelength = peek.value("wavelength")
        for i, table in tables:
            kind = table.get("kind")
            model = SETUP_KINDS.get(kind) if isinstance(kind, str) else None
            if model in (MultimodeFibreSetup, SingleModeFibreSetup) and peek.data.get("fibre") is False:
                yield wrong("fibre", "misfit.no_fibre", kind=kind)
            for field, text in () if model is None else model.impossible(Peek(model, table), wavelength):
                yield ("setup", i, field), text


def least_product(wavelength: float) -> float:
    """Return the least waist diameter times full angle, both at 1/e: 2 lambda / pi."""
    return 2.0 * wavelength / math.pi


def _scale(peek: Peek) -> float | None:
    """Return what a width is multiplied with to hold at 1/e of the peak, or None when that cannot be known."""
    criterion, profile = peek.data.get("criterion"), peek.data.get("profile", "gaussian")
    if criterion not in tuple(OVER_1_E) or profile not in ("gaussian", "top-hat"):
        return None
    return 1.0 if profile == "top-hat" else 1.0 / OVER_1_E[criterion]
