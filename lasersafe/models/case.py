"""A case: everything that one TOML file says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, PrivateAttr

from lasersafe.models.base import CaseModel, Day, Line, Peek, Text
from lasersafe.models.laser import Laser
from lasersafe.models.messages import Finding, Place, doubles, not_known
from lasersafe.models.record import Area, MeasuredReading, record_findings
from lasersafe.models.scene import Scene
from lasersafe.models.scene_check import scene_references
from lasersafe.models.sign_off import SignOffRule
from lasersafe.models.site import Barrier, Control, InCharge, OtherHazards, Person, Settings, StrikeOut, Surface
from lasersafe.models.sources import Extended
from lasersafe.reference import shared_path
from lasersafe.typed import shown

MOST_PAIRS = 1500  # persons times set-ups, some seconds
MOST_PAIRS_ON_PLAN = 500
MOST_LISTED, MOST_LISTED_TIMES_EMITTERS = 40, 100  # pulses before an extended source, some seconds
MOST_ALIKE = 5  # strike-outs with one reason
MOST_VIEWS, MOST_LISTED_VIEWS = 100, 300  # extended sources times persons; times pulses and emitters, some seconds


class Case(CaseModel):
    """One assessment to be made: the case file.

    Attributes
    ----------
    title
        Title of the sheet.
    place
        Where it takes place.
    dates
        When it takes place, in words.
    review_by
        Day by which the assessment is looked at again, as 2026-11-14.
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
        The people who answer for the work: [in_charge].
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
        "in_charge": "write a table [in_charge] with assessor, laser_safety_officer, operator and venue",
        "person": "write at least one table [[person]]: the operator, and the closest spectators",
    }

    title: Line
    place: Line
    dates: Line
    review_by: Day
    rule_set: Literal["ICNIRP-2013", "EU-2006/25/EC"] = "ICNIRP-2013"
    paper: Literal["A4", "Letter"] = "A4"
    language: Line = "en"
    units: Literal["metric", "metric and feet"] = "metric"
    notes: Text = ""
    in_charge: InCharge
    settings: Settings = Settings.model_construct()
    other_hazards: OtherHazards = OtherHazards.model_construct()
    laser: Annotated[tuple[Laser, ...], Field(min_length=1, max_length=12)]
    person: Annotated[tuple[Person, ...], Field(min_length=1, max_length=60)]
    surface: Annotated[tuple[Surface, ...], Field(max_length=60)] = ()
    barrier: Annotated[tuple[Barrier, ...], Field(max_length=30)] = ()
    control: Annotated[tuple[Control, ...], Field(max_length=100)] = ()
    strike_out: Annotated[tuple[StrikeOut, ...], Field(max_length=200)] = ()
    area: Area = Area.model_construct()
    reading: Annotated[tuple[MeasuredReading, ...], Field(max_length=300)] = ()

    sign_off: SignOffRule = SignOffRule.model_construct()
    extended: Annotated[tuple[Extended, ...], Field(max_length=30)] = ()
    spectator_rules: Annotated[tuple[Line, ...], Field(max_length=10)] = ()
    scene: Scene | None = None

    _lines: dict[Place, int] = PrivateAttr(default_factory=dict)
    _at_corner: bool = PrivateAttr(default=False)  # values moved to a corner of their tolerances
    _text: str = PrivateAttr(default="")  # of the case file, where it was kept

    def __repr__(self) -> str:
        """Say which case it is; all of it would fill the screen."""
        counts = [(len(self.laser), "laser"), (len(self.person), "person"), (len(self.barrier), "barrier")]
        parts = ", ".join(f"{count} {noun if count == 1 else noun + 's'}" for count, noun in counts)
        return f"Case {self.title!r}: {parts}; assess(case) works it out"

    def _repr_html_(self) -> str:
        """Return what a notebook shows."""
        from lasersafe.library.html import case_html

        return case_html(self)

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

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse double names and references to what is not in the case."""
        found: list[Finding] = []
        for field in ("laser", "person", "surface", "barrier", "extended"):
            found += doubles(field, peek.tables(field))
        setups = {
            name: _names(Peek(Laser, table).tables("setup"))
            for _, table in peek.tables("laser")
            if (name := _name(table)) is not None
        }
        persons = _names(peek.tables("person"))
        for field in ("person", "surface", "barrier", "strike_out", "extended"):
            for i, table in peek.tables(field):
                found += [((field, i, key), text) for key, text in _references(table, setups)]
        for i, table in peek.tables("person"):
            for j, visit in Peek(Person, table).tables("visits"):
                laser = visit.get("laser")
                if isinstance(laser, str) and laser.strip() and laser.strip() not in setups:
                    message = not_known(laser.strip(), "a laser of this case", list(setups))
                    found.append((("person", i, "visits", j, "laser"), message))
        for i, table in peek.tables("barrier"):
            names = table.get("protects")
            for name in names if isinstance(names, list) else ():
                if isinstance(name, str) and name.strip() and name.strip() not in persons:
                    found.append(
                        (("barrier", i, "protects"), not_known(name.strip(), "a person of this case", persons))
                    )
        for i, table in peek.tables("strike_out"):
            person = table.get("person")
            if isinstance(person, str) and person.strip() and person.strip() not in persons:
                found.append((("strike_out", i, "person"), not_known(person.strip(), "a person of this case", persons)))
        scene = peek.data.get("scene")
        if isinstance(scene, Mapping):
            others = {field: _names(peek.tables(field)) for field in ("person", "surface", "barrier")}
            found += scene_references(Peek(Scene, scene), setups, others)
        found += _size_findings(peek, setups) + _list_findings(peek) + _reason_findings(peek)
        return found + _rule_findings(peek) + record_findings(peek)


def _size_findings(peek: Peek, setups: Mapping[str, list[str]]) -> list[Finding]:
    """Refuse more persons times set-ups than can be worked out in one sitting."""
    persons, count = len(peek.tables("person")), sum(len(names) for names in setups.values())
    most = MOST_PAIRS_ON_PLAN if "scene" in peek.data else MOST_PAIRS
    if persons * count <= most:
        return []
    message = (
        f"{persons} persons and {count} set-ups make {persons * count} pairs to be worked out; at most {most} are "
        "taken: put people who stand together into one [[person]], or make two cases of it"
    )
    return [(("person",), message)]


def _reason_findings(peek: Peek) -> list[Finding]:
    """Refuse one text as the reason of many strike-outs: what holds for all of them was looked at for none."""
    found: list[Finding] = []
    users: dict[str, list[int]] = {}
    for i, table in peek.tables("strike_out"):
        reason = table.get("reason")
        if isinstance(reason, str) and reason.strip():
            users.setdefault(" ".join(reason.casefold().split()), []).append(i)
    for indices in users.values():
        if len(indices) > MOST_ALIKE:
            same = ", ".join(f"strike_out[{i + 1}]" for i in indices[:MOST_ALIKE])
            message = (
                f"the same text as {same}; one text stands for at most {MOST_ALIKE} strike-outs: say for each what "
                "keeps the light away"
            )
            found.append((("strike_out", indices[MOST_ALIKE], "reason"), message))
    return found


def _list_findings(peek: Peek) -> list[Finding]:
    """Refuse more pulses of a list before an extended source than can be worked out in one sitting."""
    lists = {}
    for _, table in peek.tables("laser"):
        emission = table.get("emission")
        if isinstance(emission, Mapping) and isinstance(emission.get("pulses"), (list, tuple)):
            lists[_name(table)] = len(emission["pulses"])
    found: list[Finding] = []
    persons, sources = len(peek.tables("person")), len(peek.tables("extended"))
    if persons * sources > MOST_VIEWS:
        message = (
            f"{sources} extended sources and {persons} persons make {persons * sources} views to be worked out; at "
            f"most {MOST_VIEWS} are taken: put people who stand together into one [[person]], or make two cases of it"
        )
        found.append((("extended",), message))
    for i, table in peek.tables("extended"):
        laser, columns, rows = table.get("laser"), table.get("columns", 1), table.get("rows", 1)
        if not isinstance(laser, str) or not isinstance(columns, int) or not isinstance(rows, int):
            continue
        pulses, emitters = lists.get(laser.strip(), 0), columns * rows
        if pulses > MOST_LISTED or (pulses > 1 and pulses * emitters > MOST_LISTED_TIMES_EMITTERS):
            message = (
                f"{shown(laser)} gives {pulses} pulses one by one, before {emitters} emitters; at most {MOST_LISTED} "
                f"pulses, and {MOST_LISTED_TIMES_EMITTERS} pulses times emitters, are worked out before an extended "
                "source: write the pulses as a train or in bursts, or the array as one source"
            )
            found.append((("extended", i, "laser"), message))
        elif pulses > 1 and pulses * emitters * persons > MOST_LISTED_VIEWS:
            message = (
                f"{shown(laser)} gives {pulses} pulses one by one, before {emitters} emitters, to {persons} persons; "
                f"at most {MOST_LISTED_VIEWS} of their product are worked out: write the pulses as a train or in "
                "bursts, or put people who stand together into one [[person]]"
            )
            found.append((("extended", i, "laser"), message))
    return found


def _rule_findings(peek: Peek) -> list[Finding]:
    chosen = peek.data.get("spectator_rules", ())
    known = sorted(path.stem for path in shared_path("spectator_rules").glob("*.toml"))
    found: list[Finding] = []
    for i, word in enumerate(chosen if isinstance(chosen, (list, tuple)) else ()):
        if isinstance(word, str) and word.strip() and word.strip() not in known:
            found.append((("spectator_rules", i), not_known(word.strip(), "a pack of the data files", known)))
    if chosen and "scene" not in peek.data:
        found.append((("spectator_rules",), "rules for spectators are checked on a plan; write [scene] as well"))
    return found


def _name(table: Mapping[str, Any]) -> str | None:
    name = table.get("name")
    return name.strip() if isinstance(name, str) and name.strip() else None


def _names(tables: list[tuple[int, Mapping[str, Any]]]) -> list[str]:
    return [name for _, table in tables if (name := _name(table)) is not None]


def _references(table: Mapping[str, Any], setups: Mapping[str, list[str]]) -> list[tuple[str, str]]:
    """Return (key, message) for a laser or set-up that the case does not have."""
    laser, setup = table.get("laser"), table.get("setup")
    known = list(setups)
    if isinstance(laser, str) and laser.strip():
        if laser.strip() not in setups:
            return [("laser", not_known(laser.strip(), "a laser of this case", known))]
        known = [laser.strip()]
    if not isinstance(setup, str) or not setup.strip():
        return []
    having = [name for name in known if setup.strip() in setups[name]]
    if not having:
        listed = [one for name in known for one in setups[name]]
        return [("setup", not_known(setup.strip(), "a set-up of this case", listed))]
    if len(having) > 1:
        return [("laser", f"missing; the set-up {shown(setup.strip())} exists on several lasers: say on which one")]
    return []
