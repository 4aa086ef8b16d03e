"""The optics that may be fitted to a laser, and the scanner that moves its beam."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, kinds_of
from lasersafe.models.measured import Measured, TwoAxes
from lasersafe.models.values import Axes, SIValue

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
MODE_FIELD = Measured("m", "100 nm", "100 mm", "6.2 um", worst="ends")
DIVERGENCE = TwoAxes("rad", "0 rad", "1 rad", "3 mrad", kind="divergence", above_low=True, worst="low")
FOCAL_LENGTH = Measured("m", "0.1 mm", "1 km", "150 mm", worst="ends")
REACH = Measured("m", "0 m", "1000 km", "150 mm", worst="ends")
PLACE = TwoAxes("m", "-1000 km", "1000 km", "0 m", worst="ends")
APERTURE = Measured("1", "0", "1", "0.22", above_low=True, below_high=True, worst="low")
SCAN_ANGLE = TwoAxes("rad", "0 rad", "2 rad", "20 deg", above_low=True, worst="ends")
SCAN_WIDTH = TwoAxes("m", "1 um", "100 m", "110 mm", worst="ends")
WIDTH_AT = Measured("m", "1 mm", "1 km", "160 mm", worst="ends")
FREQUENCY = Measured("Hz", "0 Hz", "1 MHz", "100 Hz", above_low=True, worst="ends")
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
        "frequency": "whole movements (there and back) in a second, as '100 Hz'; take the slowest that can be set",
    }

    pattern: Literal["line", "circle", "figure of eight", "raster", "wobble"]
    frequency: Annotated[SIValue, FREQUENCY]
    full_angle: Annotated[Axes | None, SCAN_ANGLE] = None
    full_width: Annotated[Axes | None, SCAN_WIDTH] = None
    width_at: Annotated[SIValue | None, WIDTH_AT] = None
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
            word = "both are given" if angle else "missing"
            yield "full_angle", f"{word}; write full_angle, as '20 deg', or full_width with width_at"
        if width and "width_at" not in peek:
            yield "width_at", "missing; say at which distance from the last optic full_width holds"
        if "width_at" in peek and not width:
            yield "full_width", "missing; width_at says where a width holds, but none is written: write both, or none"
        largest, least = peek.value("largest_angle"), peek.value("full_angle")
        if largest is not None and least is not None and not (least.x <= largest.x and least.y <= largest.y):
            yield "largest_angle", f"{largest.typed} is less than full_angle, {least.typed}; write the largest, or none"
        raster = peek.data.get("pattern") == "raster"
        if raster and "lines" not in peek:
            yield "lines", "missing; say how many lines a frame of the raster has"
        if "lines" in peek and not raster:
            yield "lines", "only a raster has lines; leave it out, or write pattern = 'raster'"
        monitored = peek.data.get("monitored") is True
        if monitored and "reaction_time" not in peek:
            yield "reaction_time", "missing; a cut-off counts only with the time that it needs, as '5 ms'"
        if "reaction_time" in peek and not monitored:
            yield "monitored", "missing; a reaction time counts only with monitored = true: write both, or none"


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
        scattered light. Left out: a point, which is the strict side.
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
    waist_at: Annotated[Axes | None, PLACE] = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for the waist of a beam that was measured away from the optic: it may be narrower on the way."""
        place = peek.value("measured_at")
        if place is not None and float(place) > 0.0 and "waist_at" not in peek:
            yield (
                "waist_at",
                "missing; the beam can be narrower before the place where it was measured: write the place of its "
                "narrowest point, '0 m' for the last optic",
            )


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
    mode_field_diameter: Annotated[SIValue, MODE_FIELD]


Setup = CollimatedSetup | LensSetup | MultimodeFibreSetup | SingleModeFibreSetup
SETUP_KINDS = kinds_of(Setup)
