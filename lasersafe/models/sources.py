"""Scanners, further wavelengths, modules of several beams, and extended sources."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Flag, Line, Peek
from lasersafe.models.messages import Finding
from lasersafe.models.values import Axes, Measured, SIValue, TwoAxes

_WAVELENGTH = Measured(
    "m", "180 nm", "1 mm", "1064 nm", "the limit tables of both rule sets cover no other light", worst="ends"
)
_POWER = Measured("W", "0 W", "1 MW", "30 mW", kind="continuous power", above_low=True, worst="high")
_SHARE = Measured("1", "0", "1", "0.02", above_low=True, worst="high")
_DIVERGENCE = TwoAxes("rad", "0 rad", "1 rad", "3 mrad", kind="divergence", above_low=True, worst="low")
_SPREAD = TwoAxes("rad", "0 rad", "3.14 rad", "30 deg", above_low=True, worst="low")
_SCAN_ANGLE = TwoAxes("rad", "0 rad", "2 rad", "20 deg", above_low=True, worst="ends")
_WIDTH = TwoAxes("m", "1 um", "100 m", "110 mm", worst="ends")
_SIZE = TwoAxes("m", "100 nm", "100 m", "10 mm", worst="ends")
_PLACE = Measured("m", "1 mm", "1 km", "160 mm", worst="ends")
_FREQUENCY = Measured("Hz", "0 Hz", "1 MHz", "100 Hz", above_low=True, worst="ends")
_REACTION = Measured("s", "100 ns", "100 s", "5 ms", "a cut-off that needs longer protects nobody", worst="high")
_PITCH = Measured("m", "1 um", "10 m", "6 mm", worst="ends")
_EVENNESS = Measured("1", "1", "1000", "1.5", "the brightest spot is never below the mean", worst="high")
_TRANSMITTANCE = Measured("1", "0", "1", "0.6", above_low=True, worst="high")
_NEAREST = Measured("m", "1 mm", "1 km", "100 mm")

Count = Annotated[int, Field(strict=True, ge=1, le=16)]
CriterionName = Literal["1/e", "1/e2", "FWHM"]


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
    frequency: Annotated[SIValue, _FREQUENCY]
    full_angle: Annotated[Axes | None, _SCAN_ANGLE] = None
    full_width: Annotated[Axes | None, _WIDTH] = None
    width_at: Annotated[SIValue | None, _PLACE] = None
    fans_out: Flag = False
    waveform: Literal["sine", "triangle"] = "sine"
    lines: Annotated[int, Field(strict=True, ge=2, le=100000)] | None = None
    monitored: Flag = False
    reaction_time: Annotated[SIValue | None, _REACTION] = None

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Ask for one way to give the size, for the place of a width, and for the time of a cut-off."""
        found: list[Finding] = []
        angle, width = "full_angle" in peek.data, "full_width" in peek.data
        if angle == width:
            word = "both are given" if angle else "missing"
            found.append((("full_angle",), f"{word}; write full_angle, as '20 deg', or full_width with width_at"))
        if width and "width_at" not in peek.data:
            found.append((("width_at",), "missing; say at which distance from the last optic full_width holds"))
        if "width_at" in peek.data and not width:
            found.append(
                (
                    ("full_width",),
                    "missing; width_at says where a width holds, but none is written: write both, or none",
                )
            )
        raster = peek.data.get("pattern") == "raster"
        if raster and "lines" not in peek.data:
            found.append((("lines",), "missing; say how many lines a frame of the raster has"))
        if "lines" in peek.data and not raster:
            found.append((("lines",), "only a raster has lines; leave it out, or write pattern = 'raster'"))
        if peek.data.get("monitored") is True and "reaction_time" not in peek.data:
            found.append((("reaction_time",), "missing; a cut-off counts only with the time that it needs, as '5 ms'"))
        if "reaction_time" in peek.data and peek.data.get("monitored") is not True:
            found.append(
                (("monitored",), "missing; a reaction time counts only with monitored = true: write both, or none")
            )
        return found


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
    wavelength: Annotated[SIValue, _WAVELENGTH]
    power: Annotated[SIValue | None, _POWER] = None
    share: Annotated[SIValue | None, _SHARE] = None
    divergence: Annotated[Axes | None, _DIVERGENCE] = None
    divergence_criterion: CriterionName | None = None

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Ask for power or share, and for the criterion of a divergence."""
        found: list[Finding] = []
        power, share = "power" in peek.data, "share" in peek.data
        if power == share:
            word = "both power and share are given" if power else "missing"
            found.append((("power",), f"{word}; write power, as '30 mW', or share of the main wavelength, as 0.02"))
        if ("divergence" in peek.data) != ("divergence_criterion" in peek.data):
            absent = "divergence" if "divergence" not in peek.data else "divergence_criterion"
            found.append(((absent,), "missing; a divergence needs its criterion, '1/e', '1/e2' or 'FWHM': write both"))
        return found


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
    def findings(cls, peek: Peek) -> list[Finding]:
        """Ask for the angle of a cone and the pitch of an array."""
        found: list[Finding] = []
        cone = peek.data.get("spread") == "cone"
        if cone and "divergence" not in peek.data:
            found.append((("divergence",), "missing; write the full 1/e angle of the cone, as '30 deg'"))
        if not cone and "divergence" in peek.data:
            found.append((("divergence",), "only spread = 'cone' has a divergence; leave it out, or write the spread"))
        columns, rows = peek.data.get("columns", 1), peek.data.get("rows", 1)
        array = isinstance(columns, int) and isinstance(rows, int) and columns * rows > 1
        if array and "pitch" not in peek.data:
            found.append((("pitch",), "missing; write the distance between neighbouring emitters, as '3 mm'"))
        shares = peek.data.get("shares", ())
        numbers = [s for s in shares if isinstance(s, (int, float))] if isinstance(shares, (list, tuple)) else []
        if numbers and isinstance(columns, int) and isinstance(rows, int) and len(numbers) != columns * rows:
            message = f"{len(numbers)} are given for {columns * rows} emitters; give one for each"
            found.append((("shares",), message))
        elif numbers and not abs(sum(numbers) - 1.0) <= 1e-6:
            found.append((("shares",), f"they add up to {sum(numbers):.6g}; they must add up to 1"))
        return found
