"""Rooms of the page: the case that they make, answers in between that are never lighter, posts of any kind."""

from __future__ import annotations

import itertools
import json
import random
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import shapely
import tomli_w
from starlette.testclient import TestClient

from lasersafe.assessment import assess
from lasersafe.errors import Fault
from lasersafe.models import parse_case
from lasersafe.page.answers import glasses_answer
from lasersafe.page.app import Site
from lasersafe.page.forms import EXAMPLE, LANGUAGES, PLACES, THINGS, Texts, changed, drawn, kinds, things
from lasersafe.page.reader import Reader
from lasersafe.page.room import AskedRoom, case_text, faults_by_field
from lasersafe.page.worker import Worker
from lasersafe.quantity import format_quantity
from tests.behaviour.command import run
from tests.behaviour.test_page import BEAM, HOME, PORT, TOKEN, stands_in, text_of

# A booth of rated screens around a fixed laser of which all is stated: the rest of the room is white.
BOOTH = EXAMPLE | {
    "person1.x": "8.4", "person1.y": "6.1", "meets": "listed",
    "laser1.lens": "40 mm", "laser1.work": "matt", "laser1.work_distance": "40 mm",
    "laser1.turn": "10 deg", "laser1.tilt_low": "-10 deg", "laser1.tilt_high": "0 deg",
}  # fmt: skip
_CORNERS = [("8", "5.5"), ("11", "5.5"), ("11", "8"), ("8", "8"), ("8", "5.5")]
for _number, ((_x1, _y1), (_x2, _y2)) in enumerate(itertools.pairwise(_CORNERS), 1):
    _screen = {
        "x1": _x1,
        "y1": _y1,
        "x2": _x2,
        "y2": _y2,
        "top": "3 m",
        "rating": "1000 MW/m2",
        "rated_time": "30000 s",
    }
    BOOTH |= {f"screen{_number}.{key}": value for key, value in _screen.items()}


@pytest.fixture(scope="module")
def site() -> Iterator[TestClient]:
    with TestClient(Site(PORT, TOKEN).guarded, base_url=HOME, raise_server_exceptions=False) as client:
        client.get(f"/?token={TOKEN}")
        yield client


def area(path: str) -> Any:
    """Return the area of the path of an SVG element, in its units, from the lines and arcs that the page writes."""
    arc = re.fullmatch(r"M(\S+) (\S+)a(\S+) \S+ 0 1 0 \S+ 0a.*Z", path)
    if arc:
        x, y, r = map(float, arc.groups())
        return shapely.Point(x + r, y).buffer(r, quad_segs=256)
    rings = [[tuple(map(float, p.split())) for p in part.split("L")] for part in re.findall(r"M([^MZ]+)Z", path)]
    found = shapely.Polygon()
    for ring in rings:  # even-odd, as the page draws it
        found = found.symmetric_difference(shapely.Polygon(ring).buffer(0))
    return found


def dark(answer: dict[str, Any]) -> Any:
    """Return all that is not white in an answer, full or in between."""
    if "open" in answer:
        return area(answer["open"])
    return area(answer["tones"]["nobody"]).union(area(answer["tones"]["eyewear"]))


STATED = {
    "lens": "100 mm", "turn": "20 deg", "tilt_low": "-20 deg", "tilt_high": "0 deg", "work": "matt",
    "work_distance": "100 mm",
}  # fmt: skip


def random_room(draw: random.Random) -> dict[str, str]:
    """Return a form as a producer may fill it in, with most fields left out."""
    form = {
        "width": str(draw.randint(6, 40)),
        "depth": str(draw.randint(5, 30)),
        "meets": draw.choice(["unknown", "listed"]),
    }
    wide, deep = int(form["width"]), int(form["depth"])

    def place(name: str, *keys: str) -> None:
        for key in keys:
            form[f"{name}.{key}"] = f"{draw.uniform(0, wide if 'x' in key else deep):.2f}"

    for number in range(1, draw.choice([2, 2, 2, 3])):
        name = f"laser{number}"
        form[f"{name}.like"] = draw.choice(sorted(set(kinds()) - {"any laser"}))
        form[f"{name}.power"] = draw.choice(["1 mW", "20 mW", "1 W", "30 W", "1.5 kW"])
        form[f"{name}.height"] = "1.1 m"
        place(name, "x", "y", "aim_x", "aim_y")
        for key, text in STATED.items():
            if draw.random() < 0.6:
                form[f"{name}.{key}"] = text
        if f"{name}.lens" not in form:
            form.pop(f"{name}.work_distance", "")
    for number in range(1, draw.randint(2, 4)):
        name = f"person{number}"
        form |= {
            f"{name}.role": draw.choice(["spectator", "crew", "operator"]),
            f"{name}.wide": "1",
            f"{name}.deep": "1",
        }
        place(name, "x", "y")
    for number in range(1, draw.randint(1, 4)):
        name = f"screen{number}"
        place(name, "x1", "y1", "x2", "y2")
        form |= {f"{name}.top": "2.4 m", f"{name}.rating": "10 MW/m2", f"{name}.rated_time": "30000 s"}
    if draw.random() < 0.5:
        place("camera1", "x", "y")
        form |= {"camera1.height": "1.5 m", "camera1.focal_length": "50 mm", "camera1.f_number": "2.8"}
    return form


# ---------------------------------------------------------------------------------------------------------------------
# What the page says of a room


def test_the_example_protects_nobody_and_says_what_it_assumes(site: TestClient) -> None:
    page = site.post("/room", data=EXAMPLE).text
    said = text_of(page)
    assert "This hall is too small: no place in it needs no protection." in said
    assert "DO NOT RUN AS PLANNED" in said
    assert "No limit exists for sensors" in said
    for field in ("laser1.lens", "laser1.divergence", "laser1.turn", "meets", "camera1.f_number"):
        assert f'<a href="#{field}">' in page
        assert f'id="{field}"' in page


def test_rated_screens_on_all_sides_leave_the_rest_of_the_room_white(site: TestClient) -> None:
    answer = AskedRoom(BOOTH, "en").answer()
    booth = shapely.box(800.0, 100.0, 1100.0, 350.0)
    assert dark(answer).difference(booth.buffer(20.0)).area < 1.0
    assert not answer["too_small"]
    unrated = AskedRoom({key: text for key, text in BOOTH.items() if not key.endswith("rating")}, "en").answer()
    assert unrated["too_small"]
    assert {"screen1.rating", "screen4.rating"} <= {one["field"] for one in unrated["assumed"]}


def test_what_would_help_has_figures_that_the_command_line_gives(site: TestClient, tmp_path: Path) -> None:
    said = text_of(site.post("/room/help", data=BOOTH).text)
    path = tmp_path / "case.toml"
    path.write_bytes(site.post("/room/case", data=BOOTH).content)
    near = re.search(r"What would help people at ([0-9.]+ m)", said)
    power = re.search(r"with at most ([0-9.]+ \w+) this laser alone reaches nobody", said)
    assert near is not None
    assert power is not None
    told = run("solve", path, "--for", "laser.power", "--at", near[1], "--json").data
    assert format_quantity(told["answer_W"], "W", 3, "down") == power[1]
    half = float(near[1].split()[0]) / 2
    assert re.search(rf"A barrier {half:.3g} m from the laser has to withstand [0-9.]+ \w+/m2", said)
    assert "The beam with a lens of 100 mm is above the limit up to" in said
    assert "or farther, from it and from all that it lights" in said  # scatter starts there
    assert "A power named here holds for one laser alone" in said


def case_of(reader: Reader) -> tuple[object, ...]:
    """Return the case of a form, with what is assumed and what its fields are about; nothing where there are faults."""
    room = reader.room()
    return () if room is None else (room.data, room.wide, room.deep, room.lasers, room.persons, room.assumed)


def test_what_would_help_has_the_distances_and_loads_of_the_whole_answer(site: TestClient) -> None:
    form = BOOTH | {"laser1.lens": ""} | {"laser1.work_distance": ""}
    words = AskedRoom(form, "en").help()["help"][0]["words"]
    for lens in ("20 mm", "40 mm", "100 mm"):
        room = Reader({**form, "laser1.lens": lens}, Texts("en")).room()
        assert room is not None
        found = assess(parse_case(case_text(room, Texts("en"))), wanted="drawn")
        far = max(one.zone("direct", "eye").distance for one in found.setups)
        assert f"The beam with a lens of {lens} is above the limit up to {format_quantity(far, 'm', 3, 'up')}." in words
    room = Reader(form, Texts("en")).room()
    assert room is not None
    near = min(float(one["distance"].split()[0]) for one in room.data["person"] if one["role"] == "spectator")
    there = {"name": "half way", "distance": f"{near / 2:.3g} m", "laser": "Blue diode"}
    data = {**room.data, "barrier": [*room.data["barrier"], there]}
    barriers = assess(parse_case(tomli_w.dumps(data)), wanted="short").barriers
    loads = [one.irradiance for one in barriers if one.barrier == "half way"]
    assert f"withstand {format_quantity(max(loads), 'W/m2', 3, 'up')}, for as long" in words[-1]


def test_the_same_room_is_worked_out_once(site: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    ask = Worker.ask

    async def counted(worker: Worker, job: dict[str, Any]) -> dict[str, Any]:
        asked.append(job["do"])
        return await ask(worker, job)

    monkeypatch.setattr(Worker, "ask", counted)
    form = BOOTH | {"laser1.power": "4.7 W"}
    site.post("/room/live", data=form)
    page = site.post("/room", data=form).text
    site.post("/room/help", data=form)
    german = site.post("/room", data=form, headers={"accept-language": "de"}).text
    assert asked == ["room", "help", "room"]
    assert "to change" in page
    assert "Schlimmste" in german


@pytest.mark.parametrize("form", [EXAMPLE, BOOTH], ids=["example", "booth"])
def test_the_case_of_a_room_gives_the_numbers_of_the_page(
    site: TestClient, form: dict[str, str], tmp_path: Path
) -> None:
    same_numbers(site, form, tmp_path)


def same_numbers(site: TestClient, form: dict[str, str], folder: Path) -> None:
    said = text_of(site.post("/room", data=form).text)
    saved = site.post("/room/case", data=form)
    assert saved.headers["content-disposition"] == 'attachment; filename="case.toml"'
    path = folder / "case.toml"
    path.write_bytes(saved.content)
    told = run("assess", path)
    assert told.code in (0, 1)
    stands_in(said, told.out)
    for row in run("spectators", path, "--json").data["lines"]:
        if row["distance_m"] > 0.0:
            assert row["side"] in ("front", "back", "left", "right")
    assert "Nobody has signed it" in saved.text


def test_every_number_of_a_random_page_is_that_of_the_command_line(site: TestClient, tmp_path: Path) -> None:
    same_numbers(site, random_room(random.Random(8)), tmp_path)


@pytest.mark.soak
def test_every_number_of_fifty_random_pages_is_that_of_the_command_line(tmp_path: Path) -> None:
    # rooms of two lasers of which little is stated take longer than the page lets them on a busy machine
    with TestClient(Site(PORT, TOKEN, 900.0).guarded, base_url=HOME) as site:
        site.get(f"/?token={TOKEN}")
        for seed in range(100, 150):
            same_numbers(site, random_room(random.Random(seed)), tmp_path)


def test_buttons_add_and_take_things_away_without_a_script(site: TestClient) -> None:
    form = dict(EXAMPLE)
    for kind in THINGS:
        page = site.post("/room", data={**form, "add": kind}).text
        there = len([one for one, _ in things(form) if one == kind])
        assert f'id="{kind}{there + 1}.name"' in page
    page = site.post("/room", data={**form, "remove": "camera1"}).text
    assert 'id="camera1.name"' not in page
    assert 'id="person2.name"' in page


def boxes(form: dict[str, str]) -> list[Any]:
    """Return what each thing of a room takes up: its area, its beam or its line."""
    found = []
    for one in drawn(form, Texts("en"))["things"]:
        if one["kind"] == "laser":
            found.append(shapely.LineString([(one["x"], one["y"]), (one["aim_x"], one["aim_y"])]))
        elif one["kind"] == "screen":
            found.append(shapely.LineString([(one["x1"], one["y1"]), (one["x2"], one["y2"])]))
        else:
            half = [one.get(key, 0.0) / 2 for key in ("wide", "deep")] if one["kind"] == "person" else [0.0, 0.0]
            found.append(shapely.box(one["x"] - half[0], one["y"] - half[1], one["x"] + half[0], one["y"] + half[1]))
    return found


@pytest.mark.parametrize("size", ["12 9", "6 5", "40 8"])
def test_what_is_added_lies_on_nothing_else_and_neither_does_the_example(size: str) -> None:
    # A symbol of the plan is a disc with a 38th of the longer side as radius, of 12 m 0.32 m; two need 0.63 m.
    form = EXAMPLE | dict(zip(("width", "depth"), size.split(), strict=True))
    if size == "12 9":
        for kind in ("laser", "person", "screen", "mirror", "camera", "laser"):
            form = changed({**form, "add": kind})
    else:
        form = {key: text for key, text in form.items() if not key.startswith(("person", "camera", "laser"))}
        for kind in ("laser", "person", "camera"):
            form = changed({**form, "add": kind})
    longer = max(map(float, size.split()))
    for one, other in itertools.combinations(boxes(form), 2):
        assert one.distance(other) > 2 * longer / 38
    assert not Reader({"laser1.power": "5 W", "laser1.wavelength": "450 nm", **form}, Texts("en")).fields.faults


@pytest.mark.parametrize(("field", "typed"), [("width", "-12"), ("width", "12 ft"), ("depth", ""), ("width", "2000")])
def test_one_wrong_size_is_one_fault(field: str, typed: str) -> None:
    reader = Reader({**BOOTH, field: typed}, Texts("en"))
    assert reader.room() is None
    assert list(reader.fields.faults) == [field]


def test_metres_are_taken_with_their_unit() -> None:
    reader = Reader({**BOOTH, "width": "12 m", "depth": "9,0 m", "laser1.x": "9m"}, Texts("en"))
    assert case_of(reader) == case_of(Reader(BOOTH, Texts("en")))


def test_eyewear_that_cannot_be_read_is_a_fault_of_its_field_in_the_language_of_the_page(site: TestClient) -> None:
    form = {**BOOTH, "person1.eyewear": "foo"}
    page = site.post("/room", data=form, headers={"accept-language": "de"}).text
    assert re.search(r'id="person1.eyewear-fault">&#39;foo&#39;: [^<]*Ohne Brille bleibt das Feld leer', page)
    assert page.count('aria-invalid="true"') == 1
    assert "person[1]" not in page


def test_what_a_case_refuses_is_a_fault_of_the_field_it_came_from() -> None:
    fields = {"laser[1].setup[1].focal_length": "a", "scene.barrier[2].top": "b", "units": "c"}
    faults = faults_by_field([Fault(3, field, text) for field, text in fields.items()], BOOTH, Texts("en"))
    assert list(faults) == ["laser1.lens", "screen2.top", "title"]
    assert faults["screen2.top"] == "The case file says: b"


def test_german_numbers_have_a_comma(site: TestClient) -> None:
    room, glasses = AskedRoom(EXAMPLE, "de").answer(), glasses_answer({**BEAM, "pairs": "OD 4.5 @ 450"}, "de")
    shown = [glasses["need"].pop(key) for key in ("density", "time", "width")]  # the template writes these
    drawn_or_typed = ("tones", "lines", "picture", "typed")
    found = [{key: text for key, text in one.items() if key not in drawn_or_typed} for one in (room, glasses)]
    said = json.dumps(found, ensure_ascii=False).replace('"OD 4.5 @ 450"', "")
    assert re.findall(r".{20}\d\.\d", said) == []
    assert all(Texts("de").number(text) != text for text in shown)
    assert Texts("de").number("am 12.3.2026, Fassung 1.2.3: 4.20, 0.5 W") == "am 12.3.2026, Fassung 1.2.3: 4,20, 0,5 W"


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_answer_to_choose_fits_its_field(language: str) -> None:
    # the narrowest field to choose in has 20 rem; a letter has 0.6 rem in the widest of the usual typefaces
    say = Texts(language)
    texts = [
        text for group in ("likes", "role", "work", "criterion", "colours") for text in say.options(group).values()
    ]
    texts += [say(f"{key}_{end}") for key in ("room.meets", "laser.work") for end in ("unknown",)]
    assert [text for text in [*texts, say("room.meets_listed"), say("glasses.colour_known")] if len(text) > 33] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_kind_of_laser_and_every_role_has_its_words(language: str) -> None:
    assert set(Texts(language).options("likes")) == set(kinds())


def test_the_case_has_no_sign_off_and_no_invented_protection(site: TestClient) -> None:
    data = tomllib.loads(site.post("/room/case", data=EXAMPLE).text)
    assert set(data) == {"title", "language", "laser", "person", "scene"}
    assert {"eyewear", "in_beam_possible"} & set(data["person"][0]) == set()


# ---------------------------------------------------------------------------------------------------------------------
# While something is dragged


def moved(form: dict[str, str], draw: random.Random, *kinds_of_things: str) -> dict[str, str]:
    new = dict(form)
    for kind, name in things(form):
        if kind in kinds_of_things:
            for key in THINGS[kind][0]:
                if key in PLACES - {"wide", "deep"}:
                    most = float(form["width" if "x" in key else "depth"])
                    new[f"{name}.{key}"] = f"{draw.uniform(0, most):.2f}"
    return new


def never_lighter(form: dict[str, str], draw: random.Random) -> None:
    for parts in ((), ("person", "camera"), ("laser", "screen", "mirror")):
        new = moved(form, draw, *parts)
        between, full = dark(AskedRoom(new, "en").tones()), dark(AskedRoom(new, "en").answer())
        # each outline is drawn up to twice _LINE outside of its area and written to 1 mm, so that two of one area are
        # less than 12 mm apart: what they do not share is gone when 6 mm are taken from its edges
        assert between.symmetric_difference(full).buffer(-0.6).is_empty, (parts, new)


def test_no_answer_in_between_is_lighter_than_the_full_one() -> None:
    never_lighter(BOOTH, random.Random(1))
    whole = dark(AskedRoom(EXAMPLE, "en").tones())  # one light reaches all of it: nothing else is asked
    assert whole.area == 1200.0 * 900.0
    assert dark(AskedRoom(EXAMPLE, "en").answer()).symmetric_difference(whole).area < 1.0
    never_lighter(random_room(random.Random(3)) | {"laser1.power": "1 mW"}, random.Random(3))


@pytest.mark.soak
def test_no_answer_in_between_is_lighter_in_random_rooms() -> None:
    for seed in range(40):
        never_lighter(random_room(random.Random(seed)), random.Random(seed))


def test_the_live_answers_are_those_of_the_page(site: TestClient) -> None:
    form = BOOTH | {"laser1.power": "4.9 W"}
    first = site.post("/room/coarse", data=form).json()
    full = site.post("/room/live", data=form).json()
    assert (first["proven"], full["proven"]) == (False, True)
    assert dark(first).symmetric_difference(dark(full)).buffer(-0.1).area < 1.0
    page = site.post("/room", data=form).text
    assert full["tones"]["nobody"] in page
    assert text_of(full["html"]) in text_of(page)
    broken = site.post("/room/live", data={**form, "laser1.power": "much"}).json()
    assert not broken["proven"]
    assert {"open", "tones"} & set(broken) == set(), "all of the room is dark"
    assert site.post("/room/coarse", data={**form, "laser1.power": "much"}).json() == {"open": None, "proven": False}
    assert "nothing here is known to be free of light" in broken["html"]


# ---------------------------------------------------------------------------------------------------------------------
# Wrong input

FIELDS = [
    f"{kind}1.{key}" for kind, (keys, _) in THINGS.items() for key in keys if key not in ("name", "eyewear", "looks")
]
EVERYTHING = BOOTH | {
    "mirror1.x": "1", "mirror1.y": "1", "mirror1.height": "1 m", "mirror1.wide": "0.5", "person1.looks": "yes",
    "laser1.pulse_duration": "10 ns", "laser1.repetition_rate": "20 kHz",
}  # fmt: skip


@pytest.mark.parametrize("field", ["width", "depth", *FIELDS])
@pytest.mark.parametrize(
    "typed", ["many", "-1e9 m", "1,2,3 m", "<script>alert(1)</script>", "12 parsec", "\x00", "9" * 5000]
)
def test_each_field_refuses_what_it_cannot_take(field: str, typed: str) -> None:
    reader = Reader({**EVERYTHING, field: typed}, Texts("en"))
    assert reader.room() is None
    assert reader.fields.faults


UNITED = {
    key: text.partition(" ")[2] for key, text in EVERYTHING.items() if re.fullmatch(r"[0-9.-]+ [A-Za-z]\S*", text)
}


@pytest.mark.parametrize("field", sorted({re.sub("[0-9]+", "1", key, count=1) for key in UNITED}))
def test_each_field_with_a_unit_refuses_a_bare_number_and_takes_a_decimal_comma(field: str) -> None:
    bare = Reader({**EVERYTHING, field: "1.5"}, Texts("en"))
    assert bare.room() is None
    assert "'1.5' has no unit" in bare.fields.faults[field]
    point, comma = (Reader({**EVERYTHING, field: f"1{mark}5 {UNITED[field]}"}, Texts("en")) for mark in ".,")
    assert case_of(point) == case_of(comma)
    assert list(point.fields.faults) == list(comma.fields.faults)


def test_faults_of_a_room_are_shown_at_their_fields_and_the_room_is_dark(site: TestClient) -> None:
    page = site.post("/room", data={**BOOTH, "laser1.power": "5", "person1.x": "99", "screen1.rating": "-1 W/m2"}).text
    said = text_of(page)
    assert "'5' has no unit" in said
    assert "'99' is not a number of metres from 0 to 12." in said
    assert "'-1 W/m2' is too small" in said
    assert page.count('aria-invalid="true"') == 3
    assert 'fill="url(#open)"/>' in page.partition('id="tones"')[2].partition("</g>")[0]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"laser1.like": "any laser"}, "Of any laser the wavelength has to be stated"),
        ({"laser1.lens": "", "laser1.work_distance": "", "laser1.divergence": "1 mrad"}, "state the lens too"),
        ({"laser1.tilt_low": "10 deg", "laser1.tilt_high": "-10 deg"}, "The highest angle is below the lowest"),
        ({"screen1.rated_time": ""}, "A rating holds for a time only"),
        ({"screen1.x2": "8", "screen1.y2": "5.5"}, "Both ends of the screen are at the same place"),
        ({f"camera{n}.x": "1" for n in range(1, 9)}, "At most 6 of them."),
    ],
)
def test_what_does_not_fit_together_is_said(site: TestClient, change: dict[str, str], said: str) -> None:
    assert said in text_of(site.post("/room", data={**BOOTH, **change}).text)
    assert said in text_of(site.post("/room/case", data={**BOOTH, **change}).text)


# ---------------------------------------------------------------------------------------------------------------------
# Posts of any kind

PIECES = [
    "", "0", "-1", "1e400", "NaN", "5 W", "5 kW", "450 nm", "1e-30 m", "10..20 ns", "<b>", "'\"", "\x00", "🙂",
    "ä" * 300,
    "; DROP", "../..", "{{ 7 * 7 }}", "{0}", "%s", "1 mW", "2 m", "none", "matt", "45 deg", "12", "1" * 400,
    "steady", "pulsed", "blue diode",
]  # fmt: skip


def any_post(draw: random.Random) -> tuple[str, dict[str, str]]:
    path = draw.choice(
        ["/glasses", "/room", "/room", "/room/live", "/room/coarse", "/room/case", "/room/help", "/case"]
    )
    base = {"/glasses": {"wavelength": "450 nm", "emission": "steady", "power": "5 W", "width_unknown": "yes"}}
    form = dict(base.get(path, BOOTH if draw.random() < 0.5 else EXAMPLE))
    names = [
        *form,
        *FIELDS,
        "add",
        "remove",
        "pairs",
        "text",
        "name",
        "laser99.x",
        "laser0.x",
        "x.y.z",
        "laser1.nothing",
    ]
    for _ in range(draw.randint(1, 6)):
        name = draw.choice(names)
        if draw.random() < 0.2:
            form.pop(name, None)
        else:
            form[name] = draw.choice(PIECES)
    return path, form


def answered(site: TestClient, seed: int) -> None:
    draw = random.Random(seed)
    path, form = any_post(draw)
    files = {"file": ("a.toml", draw.randbytes(40))} if path == "/case" else None
    answer = site.post(path, data=form, files=files)
    assert answer.status_code in (200, 400, 413), (path, form)
    assert "Traceback" not in answer.text
    assert "fault inside lasersafe" not in answer.text.lower(), (path, form, text_of(answer.text)[:600])
    assert "<b>" not in answer.text


def test_posts_of_any_kind_are_answered_in_good_form(site: TestClient) -> None:
    for seed in range(15):
        answered(site, seed)


@pytest.mark.soak
def test_a_thousand_posts_of_any_kind_are_answered_in_good_form(site: TestClient) -> None:
    for seed in range(1000, 2000):
        answered(site, seed)
