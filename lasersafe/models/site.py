"""What a case says beside its lasers: people, surfaces, barriers, controls, readings, and who signs."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, ClassVar, Literal, get_args

from pydantic import Field

from lasersafe.data import listed_in
from lasersafe.errors import QuantityError
from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, Text, needs, not_known, wrong
from lasersafe.models.values import Measured, SIValue
from lasersafe.quantity import parse_quantity, refused, shown
from lasersafe.wording import Message, Way

DISTANCE = Measured("m", "1 mm", "1000 km", "12 m", "nearer than 1 mm is inside the optics", worst="low")
PLACED = Measured("m", "1 mm", "1000 km", "2 m", "nearer than 1 mm is inside the optics", worst="ends")
_LONGER = "the limit tables end at 30 000 s, which stands for any longer shift: '30000 s'"
MATERIALS = "reflectance/metals.toml", "reflectance/non_metals.toml"
RATED_TIME = Measured("s", "1 ms", "30000 s", "60 s", worst="low")
RATIO = Measured("1", "0", "1", "0.6", worst="high")
ANGLE = Measured("rad", "0 deg", "90 deg", "30 deg", below_high=True, worst="low")
PULSE_RATING = Measured("J/m2", "0 J/m2", "1e9 J/cm2", "0.5 J/cm2", above_low=True, worst="low")
RATING = Measured("W/m2", "0 W/m2", "1e5 MW/m2", "10 W/cm2", kind="power density", above_low=True, worst="low")

AnyWay = Literal[
    "direct", "missing the target", "through the target", "transmitted", "mirror", "convex mirror", "concave mirror",
    "scatter", "mirror then scatter", "fibre broken", "optic lost", "aided viewing", "every way",
]  # fmt: skip
Role = Literal[
    "operator", "assistant", "crew", "performer", "spectator", "passer-by", "laser safety officer", "security"
]
_NO_LONGER = "longer than a working day of 30 000 s makes no difference"


class Visit(CaseModel):
    """One exposure to ultraviolet light: ``[[person.visits]]``.

    Attributes
    ----------
    way
        'direct', 'mirror' or 'scatter'.
    time
        How long this visit lasts, as '600 s'.
    laser
        Name of the laser. Left out: every ultraviolet laser that concerns this person.
    note
        What the person does there; printed beside the dose.
    """

    way: Way
    time: Annotated[SIValue, Measured("s", "1 ms", "30000 s", "600 s", _NO_LONGER, worst="high")]
    laser: Line | None = None
    note: Line = ""


class Person(CaseModel):
    """A person, or a group that stands together: ``[[person]]``.

    Attributes
    ----------
    name
        Name of the person or group; used once in the case. Left out: the role.
    role
        'operator', 'assistant', 'crew' (cameras, sound, light), 'performer', 'spectator', 'passer-by', 'laser
        safety officer' or 'security'.
    distance
        Closest distance from the last optic that this person can come to, as '12 m'.
    distance_from_work
        Closest distance from the place where the beam meets the work; it counts for reflected and scattered light.
        Left out: taken from distance and work_distance on the strict side.
    time
        How long the person can be exposed, as '10 s', where the usual time does not fit; time_reason is then
        needed.
    time_reason
        Why this time; printed beside it.
    briefed
        true for a person who knows what the beam does and is expected to turn away from visible light.
    aided
        true when binoculars, a telescope or a viewfinder may be used.
    viewing_aid
        Which instrument, as 'binoculars 7x50'; counts with aided = true. Left out: one of 7x50 that loses no light
        at any wavelength, the strict bound.
    deliberate_viewing
        true when the person looks towards the source on purpose.
    in_beam_possible
        false only when something solid keeps the direct beam away from this person.
    eyewear
        Marking on the eyewear that is worn, as '1064 D LB6'; left out: none is worn.
    laser
        Name of the laser that this concerns. Left out: every laser of the case.
    setup
        Name of the set-up that this concerns. Left out: every one.
    visits
        All exposures to ultraviolet light over the day, one [[person.visits]] each; their doses add. Left out: the
        whole working day on every way.
    """

    name: Line = ""
    role: Role
    distance: Annotated[SIValue, DISTANCE]
    distance_from_work: Annotated[SIValue | None, DISTANCE] = None
    time: Annotated[SIValue | None, Measured("s", "100 fs", "30000 s", "10 s", _LONGER, worst="high")] = None
    time_reason: Line = ""
    briefed: Flag = False
    aided: Flag = False
    viewing_aid: Line | None = None
    deliberate_viewing: Flag = False
    in_beam_possible: Flag = True
    eyewear: Line = ""
    laser: Line | None = None
    setup: Line | None = None
    visits: Annotated[tuple[Visit, ...], Field(max_length=60)] = ()

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for the reason of a time that was typed, and refuse an instrument that is not known."""
        aid = peek.text("viewing_aid")
        if aid is not None:
            known = listed_in("aid", "name", "viewing/aids.toml")
            if aid not in known:
                yield "viewing_aid", not_known(aid, "an instrument of the data files", known)
            if peek.data.get("aided") is not True:
                given = shown(peek.data["aided"]) if "aided" in peek else Message("misfit.absent")
                yield wrong("aided", "misfit.no_aid", given=given)
        if "time" in peek and "visits" in peek:
            yield wrong("visits", "misfit.visits_and_time")
        else:
            yield from needs(peek, "time", "time_reason", "misfit.no_time_reason", "misfit.no_time")


class Thing(CaseModel):
    """What a beam can meet.

    Attributes
    ----------
    name
        Its name; used once in the case.
    laser
        Name of the laser that this concerns. Left out: every laser of the case.
    material
        What it is made of, as 'stainless steel sheet, rolled'.
    finish
        'mirror', 'matt' or 'unknown'; unknown is treated as a mirror. What looks matt can be a mirror in the far
        infrared.
    reflectance
        Share of the power that comes back, 0 to 1, at this wavelength. Left out: 1, the strict bound.
    reflectance_source
        Where the reflectance was taken from; printed beside it.
    material_key
        Material of the data files, as 'copper' or 'white matt paint', whose clean, cold reflectance is used;
        written instead of reflectance.
    transmittance
        Share of the power that passes through it uncut and goes on as a beam, 0 to 1; only of what is flat on both
        sides, since anything else can focus. Left out: 0.
    """

    name: Line
    laser: Line | None = None
    material: Line
    finish: Literal["mirror", "matt", "unknown"] = "unknown"
    reflectance: Annotated[SIValue, RATIO] = SIValue(1.0, "1", "1")
    reflectance_source: Line = ""
    material_key: Line | None = None
    transmittance: Annotated[SIValue, RATIO] = SIValue(0.0, "0", "1")

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse an unknown material, a material beside a typed reflectance, and light through what is bent."""
        key = peek.text("material_key")
        known = listed_in("material", "key", *MATERIALS) if key is not None else ()
        if key is not None and "reflectance" in peek:
            yield wrong("material_key", "misfit.reflectance_twice")
        elif key is not None and key not in known:
            yield "material_key", not_known(key, "a material of the data files", known)
        if peek.value("transmittance") and "shape" in cls.model_fields and peek.data.get("shape") != "flat":
            yield wrong("transmittance", "misfit.only_flat", given=shown(peek.data["transmittance"]))


class Surface(Thing):
    """Something that the beam can meet: ``[[surface]]``.

    Attributes
    ----------
    distance
        Distance from the last optic, as '150 mm'. Within 50 mm or a fifth of the work distance of the work,
        distance_from_work counts for it, less how far off it is.
    view_angle
        Angle between the line of sight and the normal of the surface, for scattered light. Left out: 0, the
        brightest direction.
    """

    distance: Annotated[SIValue, PLACED]
    view_angle: Annotated[SIValue, ANGLE] = SIValue(0.0, "0 deg", "rad")


class Barrier(CaseModel):
    """A screen, curtain, wall or beam stop: ``[[barrier]]``.

    Attributes
    ----------
    name
        Name of the barrier; used once in the case.
    distance
        Closest distance from the last optic, as '2 m'.
    rating
        Power density that it withstands, as '10 W/cm2'. Left out: not rated for lasers.
    rated_time
        For how long it withstands the rating, as '60 s'.
    en12254_class
        Marking by EN 12254, as '1064 D AB5'.
    observed
        true when somebody watches it and can stop the laser.
    pulse_rating
        Radiant exposure of one pulse that it withstands, as '0.5 J/cm2'. Left out: it does not hold against pulses.
    protects
        Names of the persons that stand behind it on every path of reflected and scattered light; the direct beam is
        judged by distance.
    must_stop
        What it has to stop: 'direct', 'mirror', 'scatter'.
    laser
        Name of the laser that this concerns. Left out: every laser of the case.
    """

    name: Line
    distance: Annotated[SIValue, PLACED]
    rating: Annotated[SIValue | None, RATING] = None
    rated_time: Annotated[SIValue | None, RATED_TIME] = None
    en12254_class: Line = ""
    observed: Flag = False
    pulse_rating: Annotated[SIValue | None, PULSE_RATING] = None
    protects: tuple[Line, ...] = Field(default=(), max_length=100)
    must_stop: Annotated[tuple[Way, ...], Field(min_length=1, max_length=3)] = ("direct", "mirror", "scatter")
    laser: Line | None = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for the time of a rating."""
        yield from needs(peek, "rating", "rated_time", "misfit.no_test_time")


class Control(CaseModel):
    """A control that is in place: ``[[control]]``.

    Attributes
    ----------
    kind
        'substitute', 'technical', 'organisational' or 'personal', in this order of preference.
    text
        What is done, in a sentence. May be left out where key is given: then the wording speaks.
    key
        Key of a control in the wording file controls.toml, as 'enclose'.
    answers
        What it is an answer to: 'direct', 'mirror', 'scatter' and names of persons. Left out: the ways of the key;
        without a key it is printed, and answers nothing.
    laser
        Name of the laser that this concerns. Left out: every laser of the case.
    """

    kind: Literal["substitute", "technical", "organisational", "personal"]
    text: Text = ""
    key: Line = ""
    answers: Annotated[tuple[Line, ...], Field(max_length=60)] = ()
    laser: Line | None = None


class StrikeOut(CaseModel):
    """A way for light to reach a person that the assessor rules out: ``[[strike_out]]``.

    Attributes
    ----------
    way
        'direct', 'mirror', 'scatter' or 'transmitted'; with a scene also 'missing the target', 'through the target',
        'convex mirror', 'concave mirror', 'mirror then scatter', 'fibre broken', 'optic lost', 'aided viewing' or, of
        one mode, 'every way'. 'direct' holds for a missed and a cut target too.
    person
        Name of the person or group.
    reason
        What keeps the light away; printed on the sheet. At least 12 characters, and at most five strike-outs may
        share one.
    laser
        Name of the laser that this concerns. Left out: every laser of the case.
    setup
        Name of the set-up that this concerns. Left out: every one.
    mode
        With a scene: 'running', 'alignment', 'service' or 'fault'. Left out: every one.
    """

    how_to_get: ClassVar[dict[str, str]] = {"reason": "nothing is struck out without a reason; it is printed"}
    shortest_reason: ClassVar[int] = 12  # characters; fewer say nothing that could be checked

    way: AnyWay
    person: Line
    reason: Text
    laser: Line | None = None
    setup: Line | None = None
    mode: Literal["running", "alignment", "service", "fault"] | None = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse to strike out every way without naming the mode, and a reason that says nothing."""
        if peek.text("way") == "every way" and "mode" not in peek:
            yield wrong("way", "misfit.every_way")
        reason = peek.text("reason")
        length = len(" ".join((reason or "").split()))
        if reason is not None and not (any(map(str.isalpha, reason)) and length >= cls.shortest_reason):
            yield wrong("reason", "misfit.empty_reason", reason=shown(reason), least=cls.shortest_reason)


ALLOWED_UNITS = {"power": ("W",), "pulse energy": ("J",), "irradiance": ("W/m2",), "behind eyewear": ("W/m2", "J/m2")}
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
        raise refused(field, text, Message("typed.reading"))


_PLAIN = Measured("W", "0 W", "1 MW", "12 mW")


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
        true when nothing but the surfaces listed can come into the beam; otherwise a full mirror is assumed beside
        them, and a perfect scatterer at the work where none is listed there. Of a list without mirrors the
        brightest is one.
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
        as_typed = peek.data.get("decide_by") == "as typed"
        yield from needs(peek, as_typed, "decide_by_reason", "misfit.no_corner_reason")


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

    required_roles: Annotated[tuple[SignRole, ...], Field(min_length=1, max_length=4)] = get_args(SignRole)
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
            yield wrong("required_roles", "misfit.role_twice")
        if "laser_safety_officer" not in names:
            yield wrong("required_roles", "misfit.no_officer")


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
        "uncertainty": "the instrument's expanded uncertainty (k = 2) as a share, as '5 %'; it is in its certificate"
    }

    what: Literal["power", "pulse energy", "irradiance", "behind eyewear"]
    where: Line
    way: Way = "direct"
    laser: Line | None = None
    value: Annotated[SIValue, Reading("W", "0 W", "1 MW", "12 mW")]
    instrument: Line
    uncertainty: Annotated[SIValue, RATIO]
    note: Text = ""

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse a unit that does not fit what was read."""
        value, what = peek.value("value"), peek.data.get("what")
        units = ALLOWED_UNITS.get(what) if isinstance(what, str) else None
        if isinstance(value, SIValue) and units and value.unit not in units:
            yield wrong("value", "misfit.unit", value=shown(value.typed), what=what, units=", ".join(units))
