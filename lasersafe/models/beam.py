"""The laser: its emission, and the optics that may be fitted to it."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from lasersafe.models.base import CaseModel, Flag, Line, Peek
from lasersafe.models.bursts import DUTY, PEDESTAL, Burst, burst_findings, duty_findings
from lasersafe.models.messages import Finding
from lasersafe.models.sources import Scan
from lasersafe.models.values import Axes, Knob, Measured, SIValue, Turnable, TwoAxes
from lasersafe.quantity import format_quantity

_FROM_DATA_SHEET = (
    "it is never guessed: take it from the data sheet, or have it measured; behind a lens use kind = 'lens', where it "
    "follows from beam diameter and focal length; write the full angle, as '3 mrad'"
)
_CRITERION = (
    "where on the profile the diameters and the divergence were read: '1/e', '1/e2' or 'FWHM'; it is never guessed, "
    "the data sheet names it (most give 1/e2, German safety papers 1/e, called d63)"
)

WAVELENGTH = Measured(
    "m", "180 nm", "1 mm", "1070 nm", "the limit tables of both rule sets cover no other light", worst="ends"
)
POWER = Turnable("W", "0 W", "1 MW", "1.5 kW", kind="continuous power", above_low=True, worst="high")
ENERGY = Turnable("J", "0 J", "1000 kJ", "1 mJ", above_low=True, worst="high")
PULSE = Turnable(
    "s", "100 fs", "30000 s", "100 ns", "the limit tables of both rule sets cover no other duration", worst="range"
)
RATE = Turnable("Hz", "0 Hz", "1000 GHz", "20 kHz", above_low=True, worst="range")
DIAMETER = TwoAxes("m", "100 nm", "100 m", "10 mm", worst="low")
WIDTH = Measured("m", "100 nm", "100 mm", "50 um", worst="low")
MODE_FIELD = Measured("m", "100 nm", "100 mm", "6.2 um", worst="ends")
DIVERGENCE = TwoAxes("rad", "0 rad", "1 rad", "3 mrad", kind="divergence", above_low=True, worst="low")
FOCAL_LENGTH = Measured("m", "0.1 mm", "1 km", "150 mm", worst="ends")
REACH = Measured("m", "0 m", "1000 km", "150 mm", worst="ends")
PLACE = TwoAxes("m", "-1000 km", "1000 km", "0 m", worst="ends")
APERTURE = Measured("1", "0", "1", "0.22", above_low=True, below_high=True, worst="low")

CriterionName = Literal["1/e", "1/e2", "FWHM"]
ProfileName = Literal["gaussian", "top-hat"]


class ContinuousEmission(CaseModel):
    """Light without pulses: ``kind = "continuous"``.

    Attributes
    ----------
    kind
        'continuous': no pulses, or on for longer than 0.25 s at a time.
    power
        Highest power that can leave the last optic, as '1.5 kW'; a range where it can be turned.
    """

    kind: Literal["continuous"]
    power: Annotated[Knob, POWER]


class SinglePulseEmission(CaseModel):
    """One pulse, not repeated while a person can be exposed: ``kind = "single pulse"``.

    Attributes
    ----------
    kind
        'single pulse': one pulse, not repeated during an exposure.
    pulse_energy
        Energy of the pulse, as '40 mJ'; may be a range.
    pulse_duration
        Duration of the pulse at half its height, as '10 ns'; may be a range.
    """

    kind: Literal["single pulse"]
    pulse_energy: Annotated[Knob, ENERGY]
    pulse_duration: Annotated[Knob, PULSE]


class PulseTrainEmission(CaseModel):
    """Regular pulses: ``kind = "pulse train"``.

    Attributes
    ----------
    kind
        'pulse train': regular pulses.
    pulse_duration
        Duration of one pulse at half its height, as '100 ns'; a range such as ['10 ns', '200 ns'] where it can be
        turned: the worst point of the range is then found. This or duty is needed.
    repetition_rate
        Pulses per second, as '20 kHz'; with a burst, bursts per second; may be a range.
    pulse_energy
        Highest energy of one pulse, as '1 mJ'. This or mean_power is needed. When both are given and a setting is a
        range, both are upper bounds; for fixed settings they must agree within 1 %.
    mean_power
        Highest mean power, as '50 W'. This or pulse_energy is needed.
    duty
        Share of the time that the beam is on, as '20 %', in place of pulse_duration: the pulse then lasts duty /
        repetition_rate; may be a range.
    burst
        Several pulses close together in place of one: a table with pulses and spacing.
    pedestal_power
        Continuous power under and between the pulses, as '50 mW', which comes on top of mean_power and of the
        energies.
    """

    kind: Literal["pulse train"]
    pulse_duration: Annotated[Knob | None, PULSE] = None
    repetition_rate: Annotated[Knob, RATE]
    pulse_energy: Annotated[Knob | None, ENERGY] = None
    mean_power: Annotated[Knob | None, POWER] = None
    duty: Annotated[Knob | None, DUTY] = None
    burst: Burst | None = None
    pedestal_power: Annotated[SIValue | None, PEDESTAL] = None

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse a train without energy, pulses longer than their period, and figures that contradict each other."""
        found: list[Finding] = []
        if "pulse_energy" not in peek.data and "mean_power" not in peek.data:
            found.append((("pulse_energy",), "missing; write pulse_energy, as '1 mJ', or mean_power, as '50 W'"))
        for field, other in (("pulse_duration", "duty"), ("duty", "pulse_duration")):
            if field in peek.data and other in peek.data and field == "duty":
                found.append(((field,), "is given beside pulse_duration; one follows from the other, leave one out"))
        if "pulse_duration" not in peek.data and "duty" not in peek.data:
            found.append((("pulse_duration",), "missing; write pulse_duration, as '100 ns', or duty, as '20 %'"))
        if "burst" in peek.data:
            found += burst_findings(peek)
        if "pulse_duration" not in peek.data:
            found += duty_findings(peek)
        duration, rate = peek.value("pulse_duration"), peek.value("repetition_rate")
        if duration is not None and rate is not None and duration.low * rate.low > 1.0:
            period = format_quantity(1.0 / rate.low, "s")
            message = (
                f"{duration.low.typed} is longer than the period of {period} at {rate.low.typed}, a duty above 1; "
                "check both units"
            )
            found.append((("pulse_duration",), message))
        energy, power = peek.value("pulse_energy"), peek.value("mean_power")
        if energy is None or power is None or rate is None or energy.turnable or power.turnable or rate.turnable:
            return found
        if "burst" in peek.data:
            return found
        product = energy.low * rate.low
        if not abs(product - power.low) <= 0.01 * power.low:
            message = (
                f"{power.typed} does not agree with {energy.typed} at {rate.typed}, which make "
                f"{format_quantity(product, 'W')}; correct one of the three, or leave one out"
            )
            found.append((("mean_power",), message))
        return found


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
    def findings(cls, peek: Peek) -> list[Finding]:
        """Ask for the waist of a beam that was measured away from the optic: it may be narrower on the way."""
        place = peek.value("measured_at")
        if place is not None and float(place) > 0.0 and "waist_at" not in peek.data:
            message = (
                "missing; the beam can be narrower before the place where it was measured: write the place of its "
                "narrowest point, '0 m' for the last optic"
            )
            return [(("waist_at",), message)]
        return []


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
SETUP_KINDS: dict[str, type[SetupBase]] = {
    "collimated": CollimatedSetup,
    "lens": LensSetup,
    "fibre multimode": MultimodeFibreSetup,
    "fibre single mode": SingleModeFibreSetup,
}
