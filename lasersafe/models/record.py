"""Who answers for the work, how to calculate, the controlled area of the day, and what was measured in it."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.errors import QuantityError
from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, Text
from lasersafe.models.measured import Measured
from lasersafe.models.site import RATIO, Way
from lasersafe.models.values import SIValue
from lasersafe.quantity import parse_quantity
from lasersafe.typed import shown

ALLOWED_UNITS = {
    "power": ("W",),
    "pulse energy": ("J",),
    "irradiance": ("W/m2",),
    "behind eyewear": ("W/m2", "J/m2"),
}
_WIDEST = {"W": "1 MW", "J": "1e6 J", "W/m2": "1e6 MW/m2", "J/m2": "1e12 J/m2"}
SignRole = Literal["assessor", "laser_safety_officer", "operator", "venue"]


class Reading(Measured):
    """A power, an energy or a density: which of them shows by its unit."""

    def number(self, text: object, field: str) -> SIValue:
        """Return the entry in the one of the units that fits it."""
        if isinstance(text, SIValue):
            text = text.typed
        for unit, high in _WIDEST.items():
            try:
                parse_quantity(text, unit, field)
            except QuantityError:
                continue
            return replace(_PLAIN, unit=unit, low=f"0 {unit}", high=high).number(text, field)
        message = f"{field} = {shown(text)}: write a reading with its unit, as '12 mW', '3 mJ', '40 W/m2' or '2 J/m2'"
        raise QuantityError(message)


_PLAIN = Measured("W", "0 W", "1 MW", "12 mW")
READING = Reading("W", "0 W", "1 MW", "12 mW")


class InCharge(CaseModel):
    """The people who answer for the work: ``[in_charge]``.

    Attributes
    ----------
    assessor
        Who made this assessment.
    laser_safety_officer
        Who signs or refuses the area.
    operator
        Who runs the laser.
    venue
        Who answers for the place.
    """

    assessor: Line = ""
    laser_safety_officer: Line = ""
    operator: Line = ""
    venue: Line = ""


class OtherHazards(CaseModel):
    """What the process brings besides the beam: ``[other_hazards]``.

    Attributes
    ----------
    process
        true when the beam works on material (fume, fire, glow, noise), false when it does not, and nothing of such
        hazards is printed. Left out: true where a work distance or a material is stated.
    work_material
        The material that is worked on.
    process_gas
        Assist or shielding gas, as 'argon' or 'oxygen'.
    keys
        Further hazards by their key in the wording file other_hazards.toml, as 'high voltage'.
    """

    process: Flag | None = None
    work_material: Line = ""
    process_gas: Line = ""
    keys: Annotated[tuple[Line, ...], Field(max_length=40)] = ()


class Settings(CaseModel):
    """How to calculate: ``[settings]``.

    Attributes
    ----------
    scatter_model
        'lambert' (brightest along the normal, the farther one) or 'hemisphere' (the same everywhere).
    propagation
        'hyperbolic' (as ISO 11146, the farther one) or 'linear' (as in some printed tables).
    surfaces_complete
        true when nothing but the surfaces listed can come into the beam; otherwise a full mirror and a perfect
        scatterer at the work are assumed beside them. Of a list without mirrors the brightest is one.
    decide_by
        Where inputs carry tolerances: 'worst corner' (every input at its worse end at once) or 'as typed', which
        needs decide_by_reason.
    decide_by_reason
        Why not the worst corner; printed in the decision.
    """

    scatter_model: Literal["lambert", "hemisphere"] = "lambert"
    propagation: Literal["hyperbolic", "linear"] = "hyperbolic"
    surfaces_complete: Flag = False
    decide_by: Literal["worst corner", "as typed"] = "worst corner"
    decide_by_reason: Line = ""

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for the reason of what is not the strict choice."""
        if peek.data.get("decide_by") == "as typed" and "decide_by_reason" not in peek:
            yield "decide_by_reason", "missing; say why the worst corner does not decide, it is printed"


class SignOffRule(CaseModel):
    """The rule for the signatures of a case: ``[sign_off]``.

    Attributes
    ----------
    required_roles
        Roles that must all have signed before the sheet stops saying DRAFT: 'assessor', 'laser_safety_officer',
        'operator', 'venue'. The laser safety officer is always among them.
    one_person_two_roles
        true when one person may sign in more than one of these roles.
    printed_for_signature
        true when people sign the paper in ink: the sheet says 'printed for signature' in place of DRAFT.
    """

    required_roles: Annotated[tuple[SignRole, ...], Field(min_length=1, max_length=4)] = (
        "assessor",
        "laser_safety_officer",
        "operator",
        "venue",
    )
    one_person_two_roles: Flag = False
    printed_for_signature: Flag = False

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse a role that stands twice, and a rule without the laser safety officer."""
        roles = peek.data.get("required_roles")
        if not isinstance(roles, (list, tuple)) or not roles:
            return
        names = [role for role in roles if isinstance(role, str)]
        if len(names) != len(set(names)):
            yield "required_roles", "a role stands here twice; name each role once"
        if "laser_safety_officer" not in names:
            yield (
                "required_roles",
                "'laser_safety_officer' is missing; no sheet is released without that role: write it too",
            )


class Area(CaseModel):
    """The laser controlled area and what keeps it: ``[area]``. What is left out is printed as a line to fill in.

    Attributes
    ----------
    name
        What the controlled area is called, as 'booth and two metres around'.
    boundary
        Where it ends, and what marks the border.
    interlock
        What is in the safety circuit of the laser, as 'booth door'.
    enable_switch
        What has to be held or pressed for a beam.
    emission_indicator
        What shows that the beam is on, and from where.
    emergency_stops
        Where the emergency stops are.
    watch_keeper
        Who does nothing but watch beam and people.
    stop_words
        The words at which everybody stops, as 'Laser stop'.
    briefing
        When and by whom everybody in the area is briefed.
    access_list
        Who may enter, by name.
    alignment_slot
        When the beam is aligned, before people come in.
    fire_watch
        Who watches for fire, and until how long after the last shot.
    contact
        Whom to call, with the number; printed on the door sign.
    eye_clinic
        Eye clinic or ophthalmologist on call, with the number.
    running_times
        When the beam can be on, for a notice to an authority.
    beam_directions
        Where beams point, as 'azimuth 120 deg, elevation -90 deg'; for a notice.
    coordinates
        Place on the map, as '52.2710 N, 10.5260 E, 74 m above sea level'; for a notice.
    """

    name: Line = ""
    boundary: Line = ""
    interlock: Line = ""
    enable_switch: Line = ""
    emission_indicator: Line = ""
    emergency_stops: Line = ""
    watch_keeper: Line = ""
    stop_words: Line = ""
    briefing: Line = ""
    access_list: Annotated[tuple[Line, ...], Field(max_length=100)] = ()
    alignment_slot: Line = ""
    fire_watch: Line = ""
    contact: Line = ""
    eye_clinic: Line = ""
    running_times: Line = ""
    beam_directions: Line = ""
    coordinates: Line = ""


class MeasuredReading(CaseModel):
    """One reading of the acceptance test: ``[[reading]]``.

    Attributes
    ----------
    what
        'power' or 'pulse energy' through a 7 mm aperture at a person's place, 'irradiance' at a barrier, or 'behind
        eyewear' for what is behind the window of a person's eyewear.
    where
        Name of the person or barrier of this case at whose place it was taken.
    way
        'direct', 'mirror' or 'scatter': the way that the light came.
    laser
        Name of the laser; needed where several can light the place.
    value
        The reading, as '12 mW' or '40 W/m2'.
    instrument
        Instrument with its serial number.
    uncertainty
        Expanded uncertainty of the instrument (k = 2) as a share, as '5 %'.
    note
        Remark, printed beside the reading.
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "uncertainty": "the instrument's expanded uncertainty (k = 2) as a share, as '5 %'; it is in its certificate",
    }

    what: Literal["power", "pulse energy", "irradiance", "behind eyewear"]
    where: Line
    way: Way = "direct"
    laser: Line | None = None
    value: Annotated[SIValue, READING]
    instrument: Line
    uncertainty: Annotated[SIValue, RATIO]
    note: Text = ""

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse a unit that does not fit what was read."""
        value, what = peek.value("value"), peek.data.get("what")
        units = ALLOWED_UNITS.get(what) if isinstance(what, str) else None
        if isinstance(value, SIValue) and units and value.unit not in units:
            yield "value", f"{shown(value.typed)}: {what} is read in {' or '.join(units)}; write it so"
