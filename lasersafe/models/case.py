"""A case: everything that one TOML file says, and what does not fit together between its tables."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import product
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, PrivateAttr

from lasersafe.data import shared_path
from lasersafe.models import site
from lasersafe.models.base import CaseModel, Day, Findings, Line, Peek, Place, Text, doubles, not_known, word_of, wrong
from lasersafe.models.kinds import Assumed, laser_kinds
from lasersafe.models.laser import Extended, Laser, Setup
from lasersafe.models.scene import Scene
from lasersafe.models.values import SIValue
from lasersafe.quantity import shown
from lasersafe.wording import WAYS, Message, joined, languages, load_wording

MOST_PAIRS = 1500  # persons times set-ups, some seconds
MOST_PAIRS_ON_PLAN = 500
MOST_LISTED, MOST_LISTED_TIMES_EMITTERS = 40, 100  # pulses before an extended source, some seconds
MOST_ALIKE = 5  # strike-outs with one reason
MOST_VIEWS, MOST_LISTED_VIEWS = 100, 300  # extended sources times persons; times pulses and emitters, some seconds

Table = Mapping[str, Any]
Tables = Mapping[str, Table]  # by their names


def _references(peek: Peek, tables: Mapping[str, Tables]) -> Iterator[tuple[Place, str, str, Collection[str]]]:
    """Yield place, word, what it has to be, and the words that are known, for each word that refers to something."""
    scene = peek.data.get("scene")
    placed = _by_name(Peek(Scene, scene).tables("barrier")) if isinstance(scene, Mapping) else {}
    language = peek.text("language")
    spoken = language if language in languages() else "en"
    packs = sorted(path.stem for path in shared_path("spectator_rules").glob("*.toml"))
    hazards = [one.key for one in load_wording(spoken).other_hazards] if "other_hazards" in peek else []
    persons, a_person, a_laser = tables["person"], "a person of this case", "a laser of this case"
    for path, what, known in (
        ("language", "a language with wording", languages()),
        ("other_hazards.keys.*", "a hazard of the wording", hazards),
        ("spectator_rules.*", "a pack of the data files", packs),
        ("laser.*.like", "a kind of laser of the data files", laser_kinds()),
        ("person.*.visits.*.laser", a_laser, tables["laser"]),
        ("barrier.*.protects.*", a_person, persons),
        ("strike_out.*.person", a_person, persons),
        ("control.*.laser", a_laser, tables["laser"]),
        ("control.*.answers.*", "a way or a person of this case", (*WAYS, *persons)),
        ("scene.target.*.laser", a_laser, tables["laser"]),
        ("scene.target.*.stop", "a barrier with a place in the scene", placed),
        ("scene.person.*.name", a_person, persons),
        ("scene.surface.*.name", "a surface of this case", tables["surface"]),
    ):
        for place, word in _words(peek.data, path.split("."), ()):
            yield place, word, what, known


def _words(value: Any, path: Sequence[str], place: Place) -> Iterator[tuple[Place, str]]:
    """Yield the texts at a path, in which ``*`` stands for every entry of a list."""
    if not path:
        if isinstance(value, str) and value.strip():
            yield place, value.strip()
    elif path[0] == "*":
        for i, one in enumerate(value if isinstance(value, (list, tuple)) else ()):
            yield from _words(one, path[1:], (*place, i))
    elif isinstance(value, Mapping):
        yield from _words(value.get(path[0]), path[1:], (*place, path[0]))


def _by_name(tables: list[tuple[int, Table]]) -> dict[str, Table]:
    return {name: table for _, table in tables if (name := word_of(table, "name")) is not None}


def _laser_and_setup(table: Table, setups: Mapping[str, list[str]], place: Place) -> Findings:
    """Refuse a laser or a set-up that the case does not have."""
    laser, setup = word_of(table, "laser"), word_of(table, "setup")
    if laser is not None and laser not in setups:
        yield (*place, "laser"), not_known(laser, "a laser of this case", setups)
    elif setup is not None:
        among = [laser] if laser else list(setups)
        having = [name for name in among if setup in setups[name]]
        if not having:
            listed = [one for name in among for one in setups[name]]
            what = Message("misread.setup_of", owner=f"'{laser}'") if laser else "a set-up of this case"
            yield (*place, "setup"), not_known(setup, what, listed)
        elif len(having) > 1:
            yield wrong((*place, "laser"), "misfit.which_laser", setup=shown(setup))


def _placed(scene: Peek, tables: Mapping[str, Tables], setups: Mapping[str, list[str]]) -> Findings:
    """Refuse lasers not placed while they run with what is fitted, and barriers not known or rated twice."""
    aims = scene.tables("aim")
    for i, aim in aims:
        if word_of(aim, "laser") is not None:
            yield from _laser_and_setup(aim, setups, ("scene", "aim", i))
    for name, table in tables["laser"].items():
        own = [(i, aim) for i, aim in aims if word_of(aim, "laser") == name]
        each = [one for _, one in Peek(Laser, table).tables("setup")]
        fitted = [word_of(one, "name") for one in each if len(each) == 1 or one.get("fitted") is True]
        known = [aim for _, aim in own if word_of(aim, "mode") in (None, "running")]
        if aims and not any(word_of(aim, "setup") in (None, *fitted) for aim in known):
            yield wrong(("scene", "aim", *(i for i, _ in own[:1])), "misfit.not_running", laser=shown(name))
    barriers = tables["barrier"]
    for i, table in scene.tables("barrier"):
        wall = word_of(table, "name")
        if wall in barriers and "rating" in table:
            yield wrong(("scene", "barrier", i, "rating"), "misfit.second_rating", name=wall)
        elif wall is not None and wall not in barriers and table.get("kind", "barrier") == "barrier":
            text = joined((not_known(wall, "a barrier of this case", barriers), Message("misread.wall")))
            yield ("scene", "barrier", i, "name"), text


def _controls_and_reasons(peek: Peek) -> Findings:
    """Refuse a control that the wording does not have so, or without a text, and one reason of many strike-outs.

    What holds for all of these was looked at for none.
    """
    known = {entry.key: entry.kind for entry in load_wording("en").controls} if "control" in peek else {}
    for i, table in peek.tables("control"):
        key, kind = word_of(table, "key"), word_of(table, "kind")
        if key is None and word_of(table, "text") is None:
            yield wrong(("control", i, "text"), "misfit.no_control_text")
        elif key is not None and key not in known:
            yield ("control", i, "key"), not_known(key, "a control of the wording", known)
        elif key is not None and kind not in (None, known[key]):
            facts = {"given": shown(kind), "key": shown(key), "kind": shown(known[key])}
            yield wrong(("control", i, "kind"), "misfit.control_kind", **facts)
    users: dict[str, list[int]] = {}
    for i, table in peek.tables("strike_out"):
        if (reason := word_of(table, "reason")) is not None:
            users.setdefault(" ".join(reason.casefold().split()), []).append(i)
    for indices in users.values():
        if len(indices) > MOST_ALIKE:
            same = ", ".join(f"strike_out[{i + 1}]" for i in indices[:MOST_ALIKE])
            yield wrong(("strike_out", indices[MOST_ALIKE], "reason"), "misfit.same_reason", same=same, most=MOST_ALIKE)


def _reading(table: Table, tables: Mapping[str, Tables]) -> Findings:
    what, where, laser = word_of(table, "what"), word_of(table, "where"), word_of(table, "laser")
    if where is None or what not in site.ALLOWED_UNITS:
        return
    kind_of_place, lasers = "barrier" if what == "irradiance" else "person", tables["laser"]
    places = tables[kind_of_place]
    if where not in places:
        yield "where", not_known(where, f"a {kind_of_place} of this case", places)
        return
    place, way = places[where], word_of(table, "way") or "direct"
    stops = place.get("must_stop", WAYS)
    if what == "irradiance" and isinstance(stops, (list, tuple)) and way not in stops:
        yield wrong("way", "misfit.way_let_through", way=shown(way))
    if what == "behind eyewear" and not word_of(place, "eyewear"):
        yield wrong("where", "misfit.no_eyewear", where=shown(where))
    if laser is not None and laser not in lasers:
        yield "laser", not_known(laser, "a laser of this case", lasers)
        return
    only = word_of(place, "laser")
    if laser is not None and only not in (None, laser):
        yield wrong("laser", "misfit.other_laser", where=shown(where), laser=shown(only))
    chosen = laser or only or (next(iter(lasers)) if len(lasers) == 1 else None)
    if chosen is None:
        yield wrong("laser", "misfit.several_lasers", where=shown(where))
        return
    emission = lasers.get(chosen, {}).get("emission")
    kind = emission.get("kind") if isinstance(emission, Mapping) else None
    if what == "pulse energy" and kind == "continuous":
        yield wrong("what", "misfit.no_pulses", what=shown(what), laser=shown(chosen))
    if what in ("power", "irradiance") and kind == "single pulse":
        yield wrong("what", "misfit.single_pulses", what=shown(what), laser=shown(chosen))


def _sizes(peek: Peek, setups: int) -> Findings:
    """Refuse more than can be worked out in one sitting, and rules for spectators without a plan."""
    if peek.data.get("spectator_rules") and "scene" not in peek:
        yield wrong("spectator_rules", "misfit.no_plan")
    persons, sources = len(peek.tables("person")), len(peek.tables("extended"))
    most = MOST_PAIRS_ON_PLAN if "scene" in peek else MOST_PAIRS
    if persons * setups > most:
        yield wrong("person", "misfit.many_pairs", persons=persons, setups=setups, pairs=persons * setups, most=most)
    if persons * sources > MOST_VIEWS:
        yield wrong(
            "extended", "misfit.many_views", sources=sources, persons=persons, views=persons * sources, most=MOST_VIEWS
        )
    lists = {}
    for _, table in peek.tables("laser"):
        emission = table.get("emission")
        if isinstance(emission, Mapping) and isinstance(emission.get("pulses"), (list, tuple)):
            lists[word_of(table, "name")] = len(emission["pulses"])
    for i, table in peek.tables("extended"):
        laser, columns, rows = word_of(table, "laser"), table.get("columns", 1), table.get("rows", 1)
        if laser is None or not isinstance(columns, int) or not isinstance(rows, int):
            continue
        pulses, emitters = lists.get(laser, 0), columns * rows
        given = Message("misfit.pulses_of", laser=shown(table["laser"]), pulses=pulses, emitters=emitters)
        if pulses > MOST_LISTED or (pulses > 1 and pulses * emitters > MOST_LISTED_TIMES_EMITTERS):
            yield wrong(
                ("extended", i, "laser"), "misfit.many_pulses", given=given, most=MOST_LISTED,
                product=MOST_LISTED_TIMES_EMITTERS,
            )  # fmt: skip
        elif pulses > 1 and pulses * emitters * persons > MOST_LISTED_VIEWS:
            yield wrong(
                ("extended", i, "laser"), "misfit.many_seen", given=given, persons=persons, most=MOST_LISTED_VIEWS
            )


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
    in_charge: site.InCharge = site.InCharge.model_construct()
    settings: site.Settings = site.Settings.model_construct()
    other_hazards: site.OtherHazards = site.OtherHazards.model_construct()
    laser: Annotated[tuple[Laser, ...], Field(min_length=1, max_length=12)]
    person: Annotated[tuple[site.Person, ...], Field(min_length=1, max_length=200)]
    surface: Annotated[tuple[site.Surface, ...], Field(max_length=200)] = ()
    barrier: Annotated[tuple[site.Barrier, ...], Field(max_length=100)] = ()
    control: Annotated[tuple[site.Control, ...], Field(max_length=100)] = ()
    strike_out: Annotated[tuple[site.StrikeOut, ...], Field(max_length=200)] = ()
    area: site.Area = site.Area.model_construct()
    reading: Annotated[tuple[site.MeasuredReading, ...], Field(max_length=300)] = ()

    sign_off: site.SignOffRule = site.SignOffRule.model_construct()
    extended: Annotated[tuple[Extended, ...], Field(max_length=30)] = ()
    spectator_rules: Annotated[tuple[Line, ...], Field(max_length=10)] = ()
    scene: Scene | None = None

    _lines: dict[Place, int] = PrivateAttr(default_factory=dict)
    _marked: tuple[Place, ...] = PrivateAttr(default=())  # what a remark calls a figure of a starter case
    _assumed: tuple[Assumed, ...] = PrivateAttr(default=())
    _others: dict[int, tuple[Setup, ...]] = PrivateAttr(default_factory=dict)  # what may be fitted, of unknown optics
    _at_corner: bool = PrivateAttr(default=False)  # values moved to a corner of their tolerances
    # at a corner, of the beam of a laser and set-up: how many times as wide it may be, how far off its focus [m]
    _may_differ: dict[tuple[str, str], tuple[float, float]] = PrivateAttr(default_factory=dict)
    _may_lie: float = PrivateAttr(default=0.0)  # over how much the work or a surface may, at most, by tolerances [m]
    _text: str = PrivateAttr(default="")  # of the case file, where it was kept

    def __repr__(self) -> str:
        """Say which case it is; all of it would fill the screen."""
        counts = [(len(self.laser), "laser"), (len(self.person), "person"), (len(self.barrier), "barrier")]
        parts = ", ".join(f"{count} {noun if count == 1 else noun + 's'}" for count, noun in counts)
        return f"Case {self.title!r}: {parts}; assess(case) works it out"

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
        return (*names, *(name for name in site.InCharge.model_fields if not getattr(self.in_charge, name)))

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
        """Refuse double names, references to what is not in the case, and more than is worked out in one sitting."""
        tables = {field: _by_name(peek.tables(field)) for field in ("laser", "person", "surface", "barrier")}
        setups = {name: [*_by_name(Peek(Laser, table).tables("setup"))] for name, table in tables["laser"].items()}
        for field in ("laser", "person", "surface", "barrier", "extended"):
            yield from doubles(field, peek.tables(field))
        for place, word, what, known in _references(peek, tables):
            if word not in known:
                yield place, not_known(word, what, known)
        for field in ("person", "surface", "barrier", "strike_out", "extended"):
            for i, table in peek.tables(field):
                yield from _laser_and_setup(table, setups, (field, i))
        if isinstance(peek.data.get("scene"), Mapping):
            yield from _placed(Peek(Scene, peek.data["scene"]), tables, setups)
        for i, table in peek.tables("laser"):
            kind, wavelength = laser_kinds().get(str(table.get("like"))), Peek(Laser, table).value("wavelength")
            if kind is not None and isinstance(wavelength, SIValue):
                low, high = kind.wavelengths_nm
                if not low * (1.0 - 1e-9) <= wavelength * 1e9 <= high * (1.0 + 1e-9):
                    facts = {"kind": shown(kind.key), "low": low, "high": high, "wavelength": shown(wavelength.typed)}
                    yield wrong(("laser", i, "like"), "misfit.not_like", **facts)
        seen: dict[tuple[object, ...], int] = {}
        for i, table in peek.tables("reading"):
            for key, text in _reading(table, tables):
                yield ("reading", i, str(key)), text
            same = tuple(word_of(table, key) for key in ("what", "where", "way", "laser"))
            if same in seen and all(same[:2]):
                yield wrong(("reading", i, "where"), "misfit.same_reading", where=shown(same[1]), before=seen[same] + 1)
            seen.setdefault(same, i)
        yield from _controls_and_reasons(peek)
        yield from _sizes(peek, sum(map(len, setups.values())))
