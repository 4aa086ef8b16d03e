"""The page for a producer: who may stand where in a room, what is not known of it, and what would help."""

from __future__ import annotations

import math
import re
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely
import tomli_w

from lasersafe.assessment import assess
from lasersafe.assessment.barriers import barrier_results
from lasersafe.assessment.scene_zones import KINDS, cut, zones_over
from lasersafe.assessment.stages import stages_of
from lasersafe.drawing.plan import stands
from lasersafe.drawing.room import joined
from lasersafe.errors import CalcError, CaseError, Fault
from lasersafe.models import Case, parse_case
from lasersafe.page.answers import people_of, rows_of, sentence
from lasersafe.page.forms import THINGS, FormError, Texts, kinds, things
from lasersafe.page.reader import Reader, Room
from lasersafe.records.fields import badness
from lasersafe.wording import load_wording, localise

if TYPE_CHECKING:
    from lasersafe.records.scene import Polygon, SceneResult
    from lasersafe.results import Assessment

UNITS = 100.0  # of the drawing of the page, per metre
_PAIR = re.compile(r'\[\n\s+("[-0-9. a-z]*"),\n\s+("[-0-9. a-z]*"),\n\s*\]')  # of numbers, on lines of their own
_FULL = 0.999  # of the room: what is left is less than can be drawn
_LINE = 0.005  # [m] of detail that a tone may lose; it is added first, so that no place gets lighter


def case_text(room: Room, say: Texts) -> str:
    """Return the case file of a room, with remarks on what is assumed."""
    remarks = [f"# {say('room.case_remark')}", f"# {say('room.case_unsigned')}"]
    remarks += [f"# - {say('room.of', field=_label(field, say), name=name)}" for field, name in room.assumed]
    return "\n".join([*remarks, "", _PAIR.sub(r"[\1, \2]", tomli_w.dumps(room.data))])


_KINDS = {"aim": "laser", "target": "laser", "barrier": "screen", "surface": "mirror"}  # tables of a case that differ
_FIELDS = {"setup": "lens", "focal_length": "lens", "criterion": "beam_diameter"}


def _read(form: Mapping[str, str], say: Texts) -> tuple[Room, Case]:
    """Return the room and its case.

    Raises
    ------
    FormError
        If there are faults.
    """
    reader = Reader(form, say)
    room = reader.room()
    if room is None:
        raise FormError(reader.fields.faults)
    try:
        return room, parse_case(case_text(room, say))
    except CaseError as error:
        raise FormError(faults_by_field(error.faults, form, say)) from None


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


def room_answer(form: dict[str, str], language: str) -> dict[str, Any]:
    """Return what the page shows of a room.

    Parameters
    ----------
    form : dict of str
        As typed; untrusted.
    language : str
        Language of the page.

    Returns
    -------
    dict
        ``tones`` with the parts of the room, ``rows``, ``people``, ``cameras``, ``assumed``.

    Raises
    ------
    FormError
        If the form has faults.
    """
    say = Texts(language)
    room, case = _read(form, say)
    assessment = assess(case, language, wanted="drawn")
    wording, shown = load_wording(language), localise(assessment, load_wording(language))
    scene = assessment.scene
    assert scene is not None
    parts = stands(assessment)  # where nobody stands, and where only with the eyewear named, as on the sheet
    dark = _inside([*parts["nobody"], *parts["eyewear"]], room)
    nobody = _inside(parts["nobody"], room).intersection(dark)
    tones = {"nobody": nobody, "eyewear": dark.difference(nobody)}
    white = max(1.0 - dark.area / (room.wide * room.deep), 0.0)
    people = people_of(shown, say)
    ids = {name: field for field, name, _ in room.persons}
    return {
        "faults": {},
        "tones": {name: path_of(area, room.deep) for name, area in tones.items()},
        "lines": {"guests": path_of(_edge(dark, room), room.deep), "crew": path_of(_edge(nobody, room), room.deep)},
        "too_small": white < 1.0 - _FULL,
        "white": say.number(f"{math.floor(white * 100):d} %"),
        "passed": shown.decision.passed,
        "rows": rows_of(shown, say),
        "sides": _sides(scene, max(room.wide, room.deep), say),
        "people": people,
        "open_people": [ids[one["person"]] for one in people if one["open"]],
        "cameras": _cameras(shown, say),
        "assumed": _assumed(case, room, say),
        "caution": wording.caution_short,
    }


# --- three tones ------------------------------------------------------------------------------------------------------


def _inside(parts: Sequence[Polygon], room: Room) -> Any:
    """Return the part of the room that some areas take up, never less."""
    return joined(parts).buffer(_LINE).simplify(_LINE).intersection(shapely.box(0.0, 0.0, room.wide, room.deep))


def room_tones(form: dict[str, str], language: str) -> dict[str, Any]:
    """Return where no light above a limit is proven to be absent: what the full answer has as dark, without its words.

    Parameters
    ----------
    form : dict of str
        As typed; untrusted.
    language : str
        Language of the page.

    Returns
    -------
    dict
        ``open``, the path of an area.

    Raises
    ------
    FormError
        If the form has faults.
    """
    room, case = _read(form, Texts(language))
    stages, floor = stages_of(case), shapely.box(0.0, 0.0, room.wide, room.deep)
    placed = [(s, one) for s in stages for one in s.contexts if one.setup.fitted and s.poses(one, "running")]
    ways = [(s, one, way) for s, one in placed for _, way, tissue in KINDS if tissue == "eye"]
    lights = ((s, one, source) for s, one, way in ways for source in s.sources(one, way, "eye"))
    if any(cut(*light).area.covers(floor) for light in lights):  # one light is above a limit everywhere
        return {"open": path_of(floor, room.deep)}
    # what lies behind a target is part of the zone of its beam
    parts = [part for one in zones_over(stages) if one.fitted for part in one.polygons]
    return {"open": path_of(_inside(parts, room), room.deep)}


def _edge(area: Any, room: Room) -> Any:
    """Return the line between a tone and what is lighter, without the walls of the room."""
    inside = shapely.box(_LINE * 2, _LINE * 2, room.wide - _LINE * 2, room.deep - _LINE * 2)
    return area.boundary.intersection(inside)


def path_of(shape: Any, deep: float) -> str:
    """Return an area or lines as the path of an SVG element, in the units of the drawing; y points down there."""
    parts = []
    for one in getattr(shape, "geoms", [shape]):
        if one.is_empty:
            continue
        rings, end = ([one], "") if one.geom_type == "LineString" else ([], "")
        if one.geom_type == "Polygon":
            rings, end = [one.exterior, *one.interiors], "Z"
        for ring in rings:
            points = (f"{x * UNITS:.1f} {(deep - y) * UNITS:.1f}" for x, y in ring.coords)
            parts.append(f"M{'L'.join(points)}{end}")
    return "".join(parts)


# --- what stands beside the plan --------------------------------------------------------------------------------------


def _sides(scene: SceneResult, size: float, say: Texts) -> list[dict[str, str]]:
    """Return the farthest line of each side; one beyond the size of the room [m] has no place in it."""
    found: dict[str, float] = {}
    for line in scene.lines:
        found[line.side] = max(found.get(line.side, 0.0), badness(line.distance))

    def words(far: float) -> str:
        return say.quantity(far, "m") if 0.0 < far <= size else say("room.outside" if far > size else "room.no_line")

    return [{"side": say(f"sides.{side}"), "distance": words(far)} for side, far in found.items()]


def _cameras(assessment: Assessment, say: Texts) -> list[dict[str, Any]]:
    """Return what may fall on each sensor, and what is known of the harm that it does."""
    assert assessment.scene is not None
    spoken = load_wording(say.language).say
    found = []
    for camera in assessment.scene.cameras:
        mine = [line for line in assessment.scene.camera_lines if line.camera == camera.name]
        words = list(dict.fromkeys(sentence(spoken(line.words), say) for line in mine))
        advice = list(dict.fromkeys(sentence(spoken(one), say) for line in mine for one in line.advice))
        found.append({"name": camera.name, "words": words, "advice": advice})
    return found


def _label(field: str, say: Texts) -> str:
    """Return the label of a field of the form."""
    thing, _, key = field.rpartition(".")
    kind = thing.rstrip("0123456789")
    return say(f"{kind if kind in THINGS else 'room'}.{key}" if thing else f"room.{key}")


def _assumed(case: Case, room: Room, say: Texts) -> list[dict[str, str]]:
    """Return what was assumed: the field where it can be stated, and what stands for it."""
    found = []
    for one in case.assumed:
        key = str(one.place[-1])
        field = f"{room.lasers[int(one.place[1])][0]}.{_FIELDS.get(key, key)}"
        name = room.lasers[int(one.place[1])][1]
        usual = say("room.usual", usual=say.number(one.usual)) if one.usual else ""
        words = say("room.taken", value=say.number(one.value))
        found.append({"field": field, "label": _label(field, say), "name": name, "value": f"{words}{usual}"})
    stated = {one["field"] for one in found}
    for field, name in room.assumed:
        if field not in stated:
            key = f"strict.{field.rpartition('.')[2]}"
            found.append({"field": field, "label": _label(field, say), "name": name, "value": say(key)})
    return found


# --- what would help, and the case for the officer --------------------------------------------------------------------


def room_help(form: dict[str, str], language: str) -> dict[str, Any]:
    """Return what would help, with its figure: less power, each usual lens, a barrier half way to the guests."""
    say = Texts(language)
    room, _ = _read(form, say)
    guests = [t for t in room.data["person"] if t["role"] in ("spectator", "passer-by")] or room.data["person"]
    near = min(float(t["distance"].split()[0]) for t in guests)
    found = []
    for number, (field, name) in enumerate(room.lasers):
        stated = form.get(f"{field}.lens", "").strip()
        lenses = (*kinds().get(str(form.get(f"{field}.like")), {"lenses": []})["lenses"], "none")
        read = [(lens, Reader({**form, f"{field}.lens": lens}, say).room()) for lens in lenses]
        each = [(lens, one) for lens, one in read if one is not None]
        rooms = [(stated, room)] if stated else each
        words = [_less_power(one, _lens_words(lens, say), number, near, say) for lens, one in rooms]
        words += [_reach(one, name, _lens_words(lens, say), say) for lens, one in each]
        found.append({"name": name, "words": [*words, *_barrier(room, number, near, say)]})
    return {"faults": {}, "help": found, "near": say.number(f"{near:g} m")}


def _less_power(room: Room, what: str, number: int, near: float, say: Texts) -> str:
    """Return up to which power people at a distance need nothing, as the command ``solve`` finds it."""
    from lasersafe.ask import SolveQuestion
    from lasersafe.studies.solving import run_solve

    laser = room.data["laser"][number]
    wanted = "laser.mean_power" if "mean_power" in laser["emission"] else "laser.power"
    values = {"near": say.number(f"{near:g} m"), "what": what}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.toml"
        path.write_text(case_text(room, say), encoding="utf-8")
        try:
            question = SolveQuestion(wanted=wanted, at=f"{max(near, 0.001)} m", laser=laser["name"])
            data, _ = run_solve(path, question, whole=False)
        except CalcError:
            return say("help.not_searched", **values)
    if data["answer_W"] is None:
        return say("help.no_power", **values)
    return say("help.power", **values, power=say.quantity(data["answer_W"], "W", rounding="down"))


def _lens_words(lens: str, say: Texts) -> str:
    """Return a lens, or that there is none, in words."""
    return say("help.no_lens") if lens in ("none", say("room.no_lens")) else say("help.lens", lens=say.number(lens))


def _reach(room: Room, name: str, lens: str, say: Texts) -> str:
    """Return how far the beam of a laser reaches with a lens."""
    setups = [one for stage in stages_of(parse_case(case_text(room, say))) for one in stage.setups]
    far = max(badness(one.zone("direct", "eye").distance) for one in setups if one.laser == name and one.fitted)
    words = say.quantity(far, "m") if math.isfinite(far) else "∞"
    return say("help.reach", what=lens, distance=words)


def _barrier(room: Room, number: int, near: float, say: Texts) -> list[str]:
    """Return what a barrier has to withstand half way to the guests."""
    data = {**room.data}
    name = say("help.new_barrier")
    there = {"name": name, "distance": f"{max(near / 2, 0.001):g} m", "laser": room.lasers[number][1]}
    data["barrier"] = [*data.get("barrier", []), there]
    results = (one for stage in stages_of(parse_case(tomli_w.dumps(data))) for one in barrier_results(stage.contexts))
    loads = [badness(one.irradiance) for one in results if one.barrier == name and one.fitted]
    if not loads or not math.isfinite(max(loads)):
        return []
    values = {"near": say.number(f"{near / 2:.3g} m"), "load": say.quantity(max(loads), "W/m2")}
    return [say("help.barrier", **values)]


def room_case(form: dict[str, str], language: str) -> dict[str, Any]:
    """Return the case file of a room, for the officer."""
    say = Texts(language)
    return {"faults": {}, "content": case_text(_read(form, say)[0], say).encode()}
