"""The forms with every field checked: a room read into a case, with what is assumed, and a question on eyewear."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import shapely

from lasersafe.ask import EyewearQuestion
from lasersafe.ask.beams import SINGLE
from lasersafe.ask.eyewear import UNKNOWN
from lasersafe.data import load_toml, shared_path
from lasersafe.hazard.marking import MarkingError, parse_marking
from lasersafe.page.forms import LARGEST_ROOM, QUANTITIES, ROLES, THINGS, Fields, Texts, kinds, names_of, plain, things
from lasersafe.quantity import parse_quantity
from lasersafe.wording import load_wording

Rect = tuple[float, float, float, float]
Point = tuple[float, float]
_PARTS = {  # kind of thing -> its table in the case, "" for none, and in the scene
    "laser": ("laser", "aim"), "person": ("person", "person"), "screen": ("barrier", "barrier"),
    "mirror": ("surface", "surface"), "camera": ("", "camera"),
}  # fmt: skip


class Reader:
    """Reads a form into a case: plain data, and where its fields come from.

    Parameters
    ----------
    form : mapping
        As typed; untrusted.
    say : Texts
        Texts of the page; the case gets its language.
    """

    def __init__(self, form: Mapping[str, str], say: Texts) -> None:
        self.fields, self.say = Fields(form, say), say
        self.assumed: list[tuple[str, str]] = []  # field, name of the thing
        self.names = names_of(form, say)
        self.size, self.origins = (0.0, 0.0), list[Point]()

    def room(self) -> Reader | None:
        """Return this reader with the room that was read, None where there are faults, which ``fields`` holds then."""
        fields, say = self.fields, self.say
        wide, deep = (self.metres(key, 0.5, LARGEST_ROOM) for key in ("width", "depth"))
        self.size = (  # of a wrong size only itself is a fault
            LARGEST_ROOM if "width" in fields.faults else wide,
            LARGEST_ROOM if "depth" in fields.faults else deep,
        )
        every = list(things(fields.form))
        for kind, (_, most) in THINGS.items():
            count = sum(one == kind for one, _ in every)
            if count > most:
                fields.fault(f"add-{kind}", "room.too_many", most=most)
            if not count and kind in ("laser", "person"):
                fields.fault(f"add-{kind}", f"room.no_{kind}")
        lasers = [name for kind, name in every if kind == "laser"]
        self.origins = [self._at(name) for name in lasers]
        data: dict[str, Any] = {
            "title": fields.typed("title")[:120] or say("room.case_title"),
            "language": say.language,
            **{key: fields.typed(key)[:200] for key in ("place", "dates") if fields.typed(key)},
        }
        read: dict[str, list[Any]] = {kind: [] for kind in THINGS}  # the table of each thing, its place in the scene
        for kind, name in every:
            read[kind].append(getattr(self, f"_{kind}")(name))
        if fields.typed("meets") == "listed":
            data["settings"] = {"surfaces_complete": True}
        else:
            self.assumed.append(("meets", say("room.title_room")))
        outline = [["0 m", "0 m"], [m(wide), "0 m"], [m(wide), m(deep)], ["0 m", m(deep)]]
        scene: dict[str, Any] = {"outline": outline}
        for kind, (table, part) in _PARTS.items():
            if read[kind] and table:
                data[table] = [one for one, _ in read[kind]]
            if read[kind]:
                scene[part] = [place for _, place in read[kind]]
        data["scene"] = scene | {"target": [self._target(name) for name in lasers]}
        if fields.faults:
            return None
        self.data, self.wide, self.deep = data, wide, deep
        self.lasers, self.persons = (  # name in the form, name in the case
            [(name, self.names[name]) for one, name in every if one == kind] for kind in ("laser", "person")
        )
        return self

    # -----------------------------------------------------------------------------------------------------------------
    # Numbers

    def metres(self, name: str, low: float, high: float) -> float:
        """Return a plain number of metres, ``low`` where there is a fault."""
        typed = self.fields.typed(name)
        value = plain(typed)
        if value is None or not low <= value <= high:
            self.fields.fault(name, "fault.metres", typed=typed[:40], low=f"{low:g}", high=f"{high:g}")
            return low
        return value

    def number(self, name: str, key: str, *, needed: bool = False) -> str:
        """Return a field of a thing, "" where it was left out."""
        return self.fields.quantity(f"{name}.{key}", *QUANTITIES[key], needed=needed)

    def stated(self, name: str, key: str) -> str:
        """Return a field that may be left out; put down that it is assumed where it was."""
        text = self.number(name, key)
        if not text:
            self.assumed.append((f"{name}.{key}", self.names[name]))
        return text

    def _at(self, name: str, x: str = "x", y: str = "y") -> Point:
        """Return a place in the room. [m]."""
        return self.metres(f"{name}.{x}", 0.0, self.size[0]), self.metres(f"{name}.{y}", 0.0, self.size[1])

    def _stands(self, name: str, height: str, key: str = "name") -> dict[str, Any]:
        """Return where a thing stands, with the height that is assumed where none is stated."""
        height = self.stated(name, "height") or height
        return {key: self.names[name], "position": _pair(self._at(name)), "height": height}

    def _near(self, shape: Any) -> str:
        """Return the shortest distance to a laser as the table of a thing takes it: not longer than it is."""
        near = min((shape.distance(shapely.Point(origin)) for origin in self.origins), default=0.0)
        return m(max(math.floor(near * 1e3) / 1e3, 0.001))

    # -----------------------------------------------------------------------------------------------------------------
    # Things

    def _laser(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        fields, form = self.fields, self.fields.typed
        like = fields.choice(f"{name}.like", tuple(kinds())) or "any laser"
        kind = kinds()[like]
        power = self.number(name, "power", needed=True)
        wavelength = self.stated(name, "wavelength")
        if not wavelength and like == "any laser":
            fields.fault(f"{name}.wavelength", "room.say_wavelength")
        emission = {"kind": "continuous", "power": power}
        if kind["emission"] == "pulse train" or form(f"{name}.pulse_duration"):
            emission = {"kind": "pulse train", "mean_power": power}
            for key in ("pulse_duration", "repetition_rate"):
                if text := self.number(name, key):
                    emission[key] = text
        wavelength = wavelength or kind["wavelength"]
        table = {"name": self.names[name], "like": like, "wavelength": wavelength, "emission": emission}
        setup: dict[str, Any] = {}
        lens = form(f"{name}.lens")
        if lens.lower() in ("none", self.say("room.no_lens").lower()):
            setup["kind"] = "collimated"
        elif lens:
            setup["focal_length"] = self.number(name, "lens", needed=True)
        for key in ("beam_diameter", "divergence", "work_distance"):
            text = self.number(name, key)
            if text and not (key == "divergence" and "focal_length" in setup):
                setup[key] = text
        if lens and setup:
            table["setup"] = [setup]
        elif setup:
            fields.fault(f"{name}.lens", "room.say_lens")
        place = self._stands(name, "1.1 m", "laser")
        (x, y), to = self._at(name), self._at(name, "aim_x", "aim_y")
        bearing = math.degrees(math.atan2(to[0] - x, to[1] - y)) if to != (x, y) else 0.0
        turn = self.stated(name, "turn")
        degrees = math.degrees(parse_quantity(turn, "rad", "turn").value) if turn else 0.0
        around = [f"{bearing - degrees:.3f} deg", f"{bearing + degrees:.3f} deg"] if turn else ["0 deg", "360 deg"]
        tilts = [self.stated(name, "tilt_low") or "-90 deg", self.stated(name, "tilt_high") or "90 deg"]
        low, high = (parse_quantity(tilt, "rad", "tilt").value for tilt in tilts)
        if low > high:
            fields.fault(f"{name}.tilt_high", "room.tilt_backwards")
        place |= {"bearing": f"{bearing:.3f} deg", "bearing_range": around, "elevation_range": tilts}
        return table, place | {"elevation": f"{math.degrees(min(max(0.0, low), high)):.6g} deg"}

    def _target(self, name: str) -> dict[str, Any]:
        """Return what a laser works on: a mirror of any shape where it is not stated."""
        finish = self.fields.choice(f"{name}.work", ("matt", "mirror"))
        if not finish:
            self.assumed.append((f"{name}.work", self.names[name]))
        what = self.say("room.target_name", name=self.names[name])
        return {"name": what, "laser": self.names[name], "material": what, "finish": finish or "unknown"}

    def _person(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        fields = self.fields
        x0, y0, x1, y1 = self._rect(name)
        near, role = self._near(shapely.box(x0, y0, x1, y1)), fields.choice(f"{name}.role", ROLES) or "spectator"
        table: dict[str, Any] = {"name": self.names[name], "role": role, "distance": near}
        if fields.typed(f"{name}.looks"):
            table["deliberate_viewing"] = True
            if time := self.stated(name, "time"):
                table |= {"time": time, "time_reason": self.say("room.time_reason")}
        if worn := fields.typed(f"{name}.eyewear"):
            table["eyewear"] = worn
            try:
                parse_marking(worn)
            except MarkingError as error:
                reason = load_wording(self.say.language).say(error.reason)
                fields.fault(f"{name}.eyewear", "fault.marking", typed=worn[:40], reason=reason)
        corners = [_pair(one) for one in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
        where = {"area": corners} if x1 > x0 and y1 > y0 else {"position": corners[0]}
        return table, {"name": self.names[name], **where}

    def _screen(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        one, two = self._at(name, "x1", "y1"), self._at(name, "x2", "y2")
        if one == two:
            self.fields.fault(f"{name}.x2", "room.no_length")
        table = {"name": self.names[name], "distance": self._near(shapely.LineString([one, two]))}
        for key in ("rating", "rated_time"):
            if text := self.stated(name, key):
                table[key] = text
        if "rating" in table and "rated_time" not in table:
            self.fields.fault(f"{name}.rated_time", "room.say_rated_time")
        top = self.stated(name, "top") or "2 m"
        place = {"name": self.names[name], "line": [_pair(one), _pair(two)], "top": top}
        bottom = self.number(name, "bottom")
        return table, place | ({"bottom": bottom} if bottom else {})

    def _mirror(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        near = min((math.dist(self._at(name), origin) for origin in self.origins), default=1.0)
        table: dict[str, Any] = {
            "name": self.names[name],
            "material": self.say("room.mirror_material"),
            "finish": "mirror",
            "distance": m(max(near, 0.001)),
        }
        if reflectance := self.stated(name, "reflectance"):
            table["reflectance"] = parse_quantity(reflectance, "1", "reflectance").value
        wide = m(self.metres(f"{name}.wide", 0.001, LARGEST_ROOM))
        place = self._stands(name, "1.1 m") | {"shape": "flat", "width": wide}
        normal = self.stated(name, "normal")
        return table, place | ({"normal": normal} if normal else {})

    def _camera(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        place = self._stands(name, "1.5 m")
        for key in ("focal_length", "f_number", "pixel", "exposure_time"):
            if text := self.stated(name, key):
                place[key] = parse_quantity(text, "1", key).value if key == "f_number" else text
        return {}, place

    def _rect(self, name: str) -> Rect:
        """Return the area of a person around its place, inside the room; without a size, the place alone. [m]."""
        (wide, deep), (x, y) = self.size, self._at(name)
        half = [self.metres(f"{name}.{key}", 0.0, most) / 2 for key, most in (("wide", wide), ("deep", deep))]
        if any(half):
            half = [max(one, 0.01) for one in half]  # a line is an area too
        return max(x - half[0], 0.0), max(y - half[1], 0.0), min(x + half[0], wide), min(y + half[1], deep)


def m(value: float) -> str:
    """Return metres as a case file takes them, to the millimetre."""
    return f"{round(value, 4):g} m"


def _pair(place: Point) -> list[str]:
    return [m(place[0]), m(place[1])]


# ---------------------------------------------------------------------------------------------------------------------
# What is asked of eyewear

CRITERIA = ("1/e", "1/e2", "FWHM")
EMISSIONS = ("steady", "pulsed", "single")


def colours() -> dict[str, tuple[int, int]]:
    """Return the lowest and highest wavelength of each colour. [nm]."""
    rows = load_toml(shared_path("laser_kinds", "colours.toml"))["colour"]
    return {row["key"]: (row["wavelengths_nm"][0], row["wavelengths_nm"][1]) for row in rows}


def question_of(fields: Fields) -> EyewearQuestion:
    """Return the question; of no use where there are faults."""
    colour = fields.choice("colour", tuple(colours()))
    wavelength = fields.quantity("wavelength", "m", 180e-9, 1e-3, needed=not colour)
    if colour and not fields.typed("wavelength"):
        wavelength = "{}..{} nm".format(*colours()[colour])
    emission = fields.choice("emission", EMISSIONS)
    if not emission:
        fields.fault("emission", "glasses.say_emission")
    width, criterion = UNKNOWN, ""
    if not fields.typed("width_unknown"):
        width = fields.quantity("beam_diameter", "m", 1e-7, 100.0)
        criterion = fields.choice("criterion", CRITERIA)
    power = energy = ""
    lengths = rates = None
    if emission == "steady":
        power = fields.quantity("power", "W", 0.0, 1e6)
    elif emission:
        lengths = _range(fields, "pulse_duration", "s", 1e-13, 3e4)
        energy = fields.quantity("pulse_energy", "J", 0.0, 1e6, needed=emission == "single")
        rates = SINGLE
        if emission == "pulsed":
            power = fields.quantity("power", "W", 0.0, 1e6, needed=False)
            if not (fields.typed("power") or fields.typed("pulse_energy")):
                fields.fault("power", "glasses.say_power")
            rates = _range(fields, "repetition_rate", "Hz", 0.0, 1e12)
    return EyewearQuestion(
        wavelength=wavelength, beam_diameter=width, criterion=criterion, power=power or None,
        pulse_energy=energy or None, pulse_duration=lengths, repetition_rate=rates, continuous=emission == "steady",
    )  # fmt: skip


def _range(fields: Fields, name: str, unit: str, low: float, high: float) -> str | None:
    """Return a range as `span` reads it; the second end may be left out where there is one value only."""
    first = fields.quantity(f"{name}_from", unit, low, high)
    second = fields.quantity(f"{name}_to", unit, low, high, needed=False) or first
    if not first or not second:
        return None
    return "..".join(sorted((first, second), key=lambda end: parse_quantity(end, unit, name).value))
