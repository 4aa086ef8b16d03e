"""Further wavelengths, modules of several beams, and extended sources."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Findings, Line, Peek
from lasersafe.models.measured import Measured, TwoAxes
from lasersafe.models.setup import DIVERGENCE, CriterionName
from lasersafe.models.values import Axes, SIValue

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
