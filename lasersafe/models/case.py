"""A case: everything that one TOML file says."""

from __future__ import annotations

from itertools import product
from typing import Annotated, ClassVar, Literal

from pydantic import Field, PrivateAttr

from lasersafe.models.base import CaseModel, Day, Findings, Line, Peek, Place, Text
from lasersafe.models.kinds import Assumed
from lasersafe.models.laser import Extended, Laser
from lasersafe.models.record import Area, InCharge, MeasuredReading, OtherHazards, Settings, SignOffRule
from lasersafe.models.references import cross_findings
from lasersafe.models.scene import Scene
from lasersafe.models.setup import Setup
from lasersafe.models.site import Barrier, Control, Person, StrikeOut, Surface


class Case(CaseModel):
    """One assessment to be made: the case file.

    Attributes
    ----------
    title
        Title of the sheet. Left out: the names of the lasers.
    place
        Where it takes place; needed before anybody signs.
    dates
        When it takes place, in words; needed before anybody signs.
    review_by
        Day by which the assessment is looked at again, as 2026-11-14; needed before anybody signs.
    rule_set
        Exposure limits to go by: 'ICNIRP-2013' or 'EU-2006/25/EC'. The other one is worked out as well, and the
        stricter result decides.
    paper
        Paper of the sheet: 'A4' or 'Letter'.
    language
        Language of the sheet: a folder of templates/wording, as 'de'.
    units
        'metric', or 'metric and feet' to print feet beside distances.
    notes
        Anything else that the sheet has to say.
    in_charge
        The people who answer for the work: [in_charge]; needed before anybody signs.
    settings
        How to calculate: [settings].
    other_hazards
        What the process brings besides the beam: [other_hazards].
    laser
        The lasers, one [[laser]] each.
    person
        People and groups, one [[person]] each.
    surface
        What the beam can meet, one [[surface]] each.
    barrier
        What stops the beam, one [[barrier]] each.
    control
        Controls that are in place, one [[control]] each.
    strike_out
        Ways for light that are ruled out with a reason, one [[strike_out]] each.
    area
        The laser controlled area and what keeps it: [area].
    reading
        Readings of the acceptance test, one [[reading]] each.
    sign_off
        Who has to sign, and how: [sign_off].
    extended
        Diffusers, fibre bundles and arrays that people look at, one [[extended]] each.
    spectator_rules
        Packs of regional rules for spectators that the plan is checked against, as ['germany_shows']; they need
        [scene]. Left out: none.
    scene
        Where everything stands: [scene]. Left out: distances only.
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "laser": "write at least one table [[laser]]; a starter case shows how",
        "person": "write at least one table [[person]]: the operator, and the closest spectators",
    }

    title: Line = ""
    place: Line = ""
    dates: Line = ""
    review_by: Day | None = None
    rule_set: Literal["ICNIRP-2013", "EU-2006/25/EC"] = "ICNIRP-2013"
    paper: Literal["A4", "Letter"] = "A4"
    language: Line = "en"
    units: Literal["metric", "metric and feet"] = "metric"
    notes: Text = ""
    in_charge: InCharge = InCharge.model_construct()
    settings: Settings = Settings.model_construct()
    other_hazards: OtherHazards = OtherHazards.model_construct()
    laser: Annotated[tuple[Laser, ...], Field(min_length=1, max_length=12)]
    person: Annotated[tuple[Person, ...], Field(min_length=1, max_length=200)]
    surface: Annotated[tuple[Surface, ...], Field(max_length=200)] = ()
    barrier: Annotated[tuple[Barrier, ...], Field(max_length=100)] = ()
    control: Annotated[tuple[Control, ...], Field(max_length=100)] = ()
    strike_out: Annotated[tuple[StrikeOut, ...], Field(max_length=200)] = ()
    area: Area = Area.model_construct()
    reading: Annotated[tuple[MeasuredReading, ...], Field(max_length=300)] = ()

    sign_off: SignOffRule = SignOffRule.model_construct()
    extended: Annotated[tuple[Extended, ...], Field(max_length=30)] = ()
    spectator_rules: Annotated[tuple[Line, ...], Field(max_length=10)] = ()
    scene: Scene | None = None

    _lines: dict[Place, int] = PrivateAttr(default_factory=dict)
    _marked: tuple[Place, ...] = PrivateAttr(default=())  # what a remark calls a figure of a starter case
    _assumed: tuple[Assumed, ...] = PrivateAttr(default=())
    _others: dict[int, tuple[Setup, ...]] = PrivateAttr(default_factory=dict)  # what may be fitted, of unknown optics
    _at_corner: bool = PrivateAttr(default=False)  # values moved to a corner of their tolerances
    _text: str = PrivateAttr(default="")  # of the case file, where it was kept

    def __repr__(self) -> str:
        """Say which case it is; all of it would fill the screen."""
        counts = [(len(self.laser), "laser"), (len(self.person), "person"), (len(self.barrier), "barrier")]
        parts = ", ".join(f"{count} {noun if count == 1 else noun + 's'}" for count, noun in counts)
        return f"Case {self.title!r}: {parts}; assess(case) works it out"

    @property
    def lasers(self) -> tuple[Laser, ...]:
        """All lasers, as in the file."""
        return self.laser

    @property
    def persons(self) -> tuple[Person, ...]:
        """All people and groups, as in the file."""
        return self.person

    @property
    def surfaces(self) -> tuple[Surface, ...]:
        """All surfaces, as in the file."""
        return self.surface

    @property
    def barriers(self) -> tuple[Barrier, ...]:
        """All barriers, as in the file."""
        return self.barrier

    @property
    def controls(self) -> tuple[Control, ...]:
        """All controls in place, as in the file."""
        return self.control

    @property
    def strike_outs(self) -> tuple[StrikeOut, ...]:
        """All ways that are struck out, as in the file."""
        return self.strike_out

    @property
    def adds_lasers(self) -> bool:
        """Whether several lasers can be on at once, so that their light adds."""
        return self.scene is None or not self.scene.one_at_a_time

    @property
    def assumed(self) -> tuple[Assumed, ...]:
        """What of the beams is not stated, and taken at its strictest."""
        return self._assumed

    @property
    def unstated(self) -> tuple[str, ...]:
        """Fields that have to be stated before anybody signs."""
        names = [name for name in ("place", "dates", "review_by") if not getattr(self, name)]
        return (*names, *(name for name in InCharge.model_fields if not getattr(self.in_charge, name)))

    def with_each_optics(self) -> tuple[Case, ...]:
        """Return the case with each of the optics fitted that may be; itself where they are known."""
        found = []
        for fitted in product(*self._others.values()):
            new = dict(zip(self._others, fitted, strict=True))
            lasers = (
                one.model_copy(update={"setup": (new[i],)}) if i in new else one for i, one in enumerate(self.laser)
            )
            found.append(self.model_copy(update={"laser": tuple(lasers)}))
        return tuple(found) if self._others else (self,)

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse what does not fit together between the tables."""
        yield from cross_findings(peek)
