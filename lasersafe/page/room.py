"""The page for a producer: who may stand where in a room, what is not known of it, and what would help."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import shapely
import tomli_w

from lasersafe.ask import SolveQuestion
from lasersafe.assessment import assess
from lasersafe.assessment.barriers import barrier_results
from lasersafe.assessment.scene_zones import KINDS, cut, zones_over
from lasersafe.assessment.stages import stages_of
from lasersafe.drawing.plan import stands
from lasersafe.drawing.room import joined
from lasersafe.errors import CalcError, CaseError, Fault
from lasersafe.models import parse_case
from lasersafe.page.answers import people_of, rows_of, sentence
from lasersafe.page.forms import THINGS, FormError, Texts, kinds, things
from lasersafe.page.reader import Reader
from lasersafe.records import badness
from lasersafe.wording import load_wording, localise

if TYPE_CHECKING:
    from lasersafe.records.scene import Polygon
    from lasersafe.results import Assessment

UNITS = 100.0  # of the drawing of the page, per metre
_PAIR = re.compile(r'\[\n\s+("[-0-9. a-z]*"),\n\s+("[-0-9. a-z]*"),\n\s*\]')  # of numbers, on lines of their own
_FULL = 0.999  # of the room: what is left is less than can be drawn
_LINE = 0.005  # [m] of detail that a tone may lose; it is added first, so that no place gets lighter


def case_text(room: Reader, say: Texts) -> str:
    """Return the case file of a room, with remarks on what is assumed."""
    remarks = [f"# {say('room.case_remark')}", f"# {say('room.case_unsigned')}"]
    remarks += [f"# - {say('room.of', field=_label(field, say), name=name)}" for field, name in room.assumed]
    return "\n".join([*remarks, "", _PAIR.sub(r"[\1, \2]", tomli_w.dumps(room.data))])


_KINDS = {"aim": "laser", "target": "laser", "barrier": "screen", "surface": "mirror"}  # tables of a case that differ
_FIELDS = {"setup": "lens", "focal_length": "lens", "criterion": "beam_diameter"}


def faults_by_field(faults: Iterable[Fault], form: Mapping[str, str], say: Texts) -> dict[str, str]:
    """Return the faults of a case by the fields of the form that they came from; the title stands for the whole."""
    found = {}
    for one in faults:
        parts, field = re.findall(r"(\w+)(?:\[(\d+)\])?", one.field), "title"
        for word, number in parts:
            kind = _KINDS.get(word, word)
            mine = [name for other, name in things(form) if other == kind]
            if number and int(number) <= len(mine):
                key = _FIELDS.get(parts[-1][0], parts[-1][0])
                field = f"{mine[int(number) - 1]}.{key if key in THINGS[kind][0] else 'name'}"
        found[field] = say("fault.case", message=one.message)
    return found


class AskedRoom:
    """A room as it was typed, with its case, and what is asked of it.

    Parameters
    ----------
    form : dict of str
        As typed; untrusted.
    language : str
        Language of the page.

    Raises
    ------
    FormError
        If the form has faults.
    """

    def __init__(self, form: dict[str, str], language: str) -> None:
        self.form, self.say, self.wording = form, Texts(language), load_wording(language)
        reader = Reader(form, self.say)
        room = reader.room()
        if room is None:
            raise FormError(reader.fields.faults)
        self.room = room
        self.floor = shapely.box(0.0, 0.0, room.wide, room.deep)
        try:
            self.case = parse_case(case_text(room, self.say))
        except CaseError as error:
            raise FormError(faults_by_field(error.faults, form, self.say)) from None

    def answer(self) -> dict[str, Any]:
        """Return what the page shows: ``tones`` with the parts of the room, ``rows``, ``people`` and the rest of it."""
        say, room = self.say, self.room
        assessment = assess(self.case, say.language, wanted="drawn")
        shown = localise(assessment, self.wording)
        parts = stands(assessment)  # where nobody stands, and where only with the eyewear named, as on the sheet
        dark = self._inside([*parts["nobody"], *parts["eyewear"]])
        nobody = self._inside(parts["nobody"]).intersection(dark)
        white = max(1.0 - dark.area / self.floor.area, 0.0)
        inside = shapely.box(_LINE * 2, _LINE * 2, room.wide - _LINE * 2, room.deep - _LINE * 2)  # without the walls
        edges = {"guests": dark, "crew": nobody}  # lines between a tone and what is lighter
        people, size = people_of(shown, say), max(room.wide, room.deep)
        ids, sides = {name: field for field, name in room.persons}, dict[str, float]()
        assert assessment.scene is not None
        for line in assessment.scene.lines:  # the farthest of each side; beyond the size of the room it has no place
            sides[line.side] = max(sides.get(line.side, 0.0), badness(line.distance))
        words = {
            side: say.quantity(far, "m") if 0.0 < far <= size else say("room.outside" if far > size else "room.no_line")
            for side, far in sides.items()
        }
        return {
            "faults": {},
            "tones": {"nobody": self._path(nobody), "eyewear": self._path(dark.difference(nobody))},
            "lines": {who: self._path(area.boundary.intersection(inside)) for who, area in edges.items()},
            "too_small": white < 1.0 - _FULL,
            "white": say.number(f"{math.floor(white * 100):d} %"),
            "passed": shown.decision.passed,
            "rows": rows_of(shown, say),
            "sides": [{"side": say(f"sides.{side}"), "distance": far} for side, far in words.items()],
            "people": people,
            "open_people": [ids[one["person"]] for one in people if one["open"]],
            "cameras": self._cameras(shown),
            "assumed": self._assumed(),
            "caution": self.wording.caution_short,
        }

    def _inside(self, parts: Sequence[Polygon]) -> Any:
        """Return the part of the room that some areas take up, never less."""
        return joined(parts).buffer(_LINE).simplify(_LINE).intersection(self.floor)

    def _path(self, shape: Any) -> str:
        """Return an area or lines as the path of an SVG element, in the units of the drawing; y points down there."""
        parts = []
        for one in getattr(shape, "geoms", [shape]):
            if one.is_empty:
                continue
            rings, end = ([one], "") if one.geom_type == "LineString" else ([], "")
            if one.geom_type == "Polygon":
                rings, end = [one.exterior, *one.interiors], "Z"
            for ring in rings:
                points = (f"{x * UNITS:.1f} {(self.room.deep - y) * UNITS:.1f}" for x, y in ring.coords)
                parts.append(f"M{'L'.join(points)}{end}")
        return "".join(parts)

    def tones(self) -> dict[str, Any]:
        """Return where no light above a limit is proven to be absent: what `answer` has as dark, without words."""
        stages = stages_of(self.case)
        ways = [(s, one, way) for s in stages for one in s.fitted for _, way, tissue in KINDS if tissue == "eye"]
        lights = ((s, one, source) for s, one, way in ways for source in s.sources(one, way, "eye"))
        if any(cut(*light).area.covers(self.floor) for light in lights):  # one light is above a limit everywhere
            return {"open": self._path(self.floor)}
        # what lies behind a target is part of the zone of its beam
        parts = [part for one in zones_over(stages) for part in one.polygons]
        return {"open": self._path(self._inside(parts))}

    # --- what stands beside the plan ----------------------------------------------------------------------------------

    def _cameras(self, assessment: Assessment) -> list[dict[str, Any]]:
        """Return what may fall on each sensor, and what is known of the harm that it does."""
        assert assessment.scene is not None
        found = []
        for camera in assessment.scene.cameras:
            mine = [line for line in assessment.scene.camera_lines if line.camera == camera.name]
            said = [line.words for line in mine], [one for line in mine for one in line.advice]
            spoken = (dict.fromkeys(sentence(self.wording.say(one), self.say) for one in each) for each in said)
            found.append({"name": camera.name} | dict(zip(("words", "advice"), map(list, spoken), strict=True)))
        return found

    def _assumed(self) -> list[dict[str, str]]:
        """Return what was assumed: the field where it can be stated, and what stands for it."""
        found, say = list[tuple[str, str, str]](), self.say
        for one in self.case.assumed:
            key, (field, name) = str(one.place[-1]), self.room.lasers[int(one.place[1])]
            usual = say("room.usual", usual=say.number(one.usual)) if one.usual else ""
            words = say("room.taken", value=say.number(one.value))
            found.append((f"{field}.{_FIELDS.get(key, key)}", name, f"{words}{usual}"))
        stated, more = {field for field, *_ in found}, self.room.assumed
        found += [(f, name, say(f"strict.{f.rpartition('.')[2]}")) for f, name in more if f not in stated]
        return [{"field": f, "label": _label(f, say), "name": name, "value": value} for f, name, value in found]

    # --- what would help, and the case for the officer ----------------------------------------------------------------

    def help(self) -> dict[str, Any]:
        """Return what would help, with its figure: less power, each usual lens, a barrier half way to the guests."""
        say, people = self.say, self.room.data["person"]
        guests = [t for t in people if t["role"] in ("spectator", "passer-by")] or people
        near = min(float(t["distance"].split()[0]) for t in guests)
        found = []
        for number, (field, name) in enumerate(self.room.lasers):
            stated = self.form.get(f"{field}.lens", "").strip()
            lenses = (*kinds().get(str(self.form.get(f"{field}.like")), {"lenses": []})["lenses"], "none")
            read = [(lens, Reader({**self.form, f"{field}.lens": lens}, say).room()) for lens in lenses]
            each = [(self._lens(lens), one) for lens, one in read if one is not None]
            rooms = [(self._lens(stated), self.room)] if stated else each
            words = [self._less_power(one, lens, number, near) for lens, one in rooms]
            for lens, one in each:  # how far the beam reaches
                setups = [setup for stage in stages_of(parse_case(case_text(one, say))) for setup in stage.setups]
                mine = [setup for setup in setups if setup.laser == name and setup.fitted]
                far = max(badness(setup.zone("direct", "eye").distance) for setup in mine)
                reach = say.quantity(far, "m") if math.isfinite(far) else "∞"
                words.append(say("help.reach", what=lens, distance=reach))
            found.append({"name": name, "words": [*words, *self._barrier(number, near)]})
        return {"faults": {}, "help": found, "near": say.number(f"{near:g} m")}

    def _lens(self, lens: str) -> str:
        """Return a lens, or that there is none, in words."""
        none = lens in ("none", self.say("room.no_lens"))
        return self.say("help.no_lens") if none else self.say("help.lens", lens=self.say.number(lens))

    def _less_power(self, room: Reader, what: str, number: int, near: float) -> str:
        """Return up to which power people at a distance need nothing, as the command ``solve`` finds it."""
        from lasersafe.studies.solving import run_solve

        laser, say = room.data["laser"][number], self.say
        wanted = "laser.mean_power" if "mean_power" in laser["emission"] else "laser.power"
        values = {"near": say.number(f"{near:g} m"), "what": what}
        try:
            question = SolveQuestion(wanted=wanted, at=f"{max(near, 0.001)} m", laser=laser["name"])
            data, _ = run_solve(case_text(room, say), question, whole=False)
        except CalcError:
            return say("help.not_searched", **values)
        if data["answer_W"] is None:
            return say("help.no_power", **values)
        return say("help.power", **values, power=say.quantity(data["answer_W"], "W", rounding="down"))

    def _barrier(self, number: int, near: float) -> list[str]:
        """Return what a barrier has to withstand half way to the guests."""
        say, data = self.say, {**self.room.data}
        name, away = say("help.new_barrier"), f"{max(near / 2, 0.001):.3g} m"
        there = {"name": name, "distance": away, "laser": self.room.lasers[number][1]}
        data["barrier"] = [*data.get("barrier", []), there]
        stages = stages_of(parse_case(tomli_w.dumps(data)))
        results = (one for stage in stages for one in barrier_results(stage.contexts))
        loads = [badness(one.irradiance) for one in results if one.barrier == name and one.fitted]
        if not loads or not math.isfinite(max(loads)):
            return []
        values = {"near": say.number(away), "load": say.quantity(max(loads), "W/m2")}
        return [say("help.barrier", **values)]

    def file(self) -> dict[str, Any]:
        """Return the case file, for the officer."""
        return {"faults": {}, "content": case_text(self.room, self.say).encode()}


def _label(field: str, say: Texts) -> str:
    """Return the label of a field of the form."""
    thing, _, key = field.rpartition(".")
    kind = thing.rstrip("0123456789")
    return say(f"{kind if kind in THINGS else 'room'}.{key}" if thing else f"room.{key}")
