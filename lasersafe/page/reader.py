"""A room as the form has it, read into a case: every field checked, what is left out put down as assumed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lasersafe.hazard.marking import MarkingError, parse_marking
from lasersafe.page.forms import Fields
from lasersafe.page.rooms import LARGEST_ROOM, ROLES, THINGS, kinds, names_of, plain, things
from lasersafe.page.texts import Texts
from lasersafe.quantity import parse_quantity
from lasersafe.wording import load_wording

Rect = tuple[float, float, float, float]
_CAMERA = (
    ("focal_length", "m", 1e-3, 1e5),
    ("f_number", "1", 0.3, 1000.0),
    ("pixel", "m", 1e-7, 1e-3),
    ("exposure_time", "s", 1e-6, 3e4),
)


@dataclass
class Room:
    """A room that was read: the case as plain data, and where its fields come from."""

    data: dict[str, Any]
    wide: float
    deep: float
    lasers: list[tuple[str, str]]  # name in the form, name in the case
    persons: list[tuple[str, str, Rect]]
    assumed: list[tuple[str, str]]  # field, name of the thing


class Reader:
    """Reads a form into a case.

    Parameters
    ----------
    form : mapping
        As typed; untrusted.
    say : Texts
        Texts of the page; the case gets its language.
    """

    def __init__(self, form: Mapping[str, str], say: Texts) -> None:
        self.fields = Fields(form, say)
        self.say = say
        self.assumed: list[tuple[str, str]] = []
        self.names: dict[str, str] = {}
        self.size, self.origins = (0.0, 0.0), list[tuple[float, float]]()

    def room(self) -> Room | None:
        """Return the room, None where there are faults, which ``fields`` holds then."""
        fields, say = self.fields, self.say
        wide = self.metres("width", 0.5, LARGEST_ROOM)
        deep = self.metres("depth", 0.5, LARGEST_ROOM)
        size = [LARGEST_ROOM if key in fields.faults else one for key, one in (("width", wide), ("depth", deep))]
        self.size = (size[0], size[1])  # of a wrong size only itself is a fault
        every = list(things(fields.form))
        for kind, (_, most) in THINGS.items():
            mine = [name for one, name in every if one == kind]
            if len(mine) > most:
                fields.fault(f"add-{kind}", "room.too_many", most=most)
            if not mine and kind in ("laser", "person"):
                fields.fault(f"add-{kind}", f"room.no_{kind}")
        self.names = names_of(fields.form, say)
        lasers = [name for kind, name in every if kind == "laser"]
        self.origins = [(self.metres(f"{n}.x", 0.0, size[0]), self.metres(f"{n}.y", 0.0, size[1])) for n in lasers]
        data: dict[str, Any] = {
            "title": fields.typed("title")[:120] or say("room.case_title"),
            "language": say.language,
        }
        for key in ("place", "dates"):
            if fields.typed(key):
                data[key] = fields.typed(key)[:200]
        tables: dict[str, list[Any]] = {kind: [] for kind in THINGS}
        placed: dict[str, list[Any]] = {kind: [] for kind in THINGS}
        rects: list[tuple[str, str, Rect]] = []
        for kind, name in every:
            table, place = getattr(self, f"_{kind}")(name)
            tables[kind].append(table)
            placed[kind].append(place)
            if kind == "person":
                rects.append((name, self.names[name], self._rect(name)))
        if fields.typed("meets") == "listed":
            data["settings"] = {"surfaces_complete": True}
        else:
            self.assumed.append(("meets", say("room.title_room")))
        targets = [self._target(name) for name in lasers]
        parts = {"laser": "aim", "person": "person", "screen": "barrier", "mirror": "surface", "camera": "camera"}
        outline = [["0 m", "0 m"], [m(wide), "0 m"], [m(wide), m(deep)], ["0 m", m(deep)]]
        scene: dict[str, Any] = {"outline": outline}
        for kind, part in parts.items():
            if kind != "camera" and tables[kind]:
                data[{"screen": "barrier", "mirror": "surface"}.get(kind, kind)] = tables[kind]
            if placed[kind]:
                scene[part] = placed[kind]
        data["scene"] = {**scene, "target": targets}
        if fields.faults:
            return None
        return Room(data, wide, deep, [(n, self.names[n]) for n in lasers], rects, self.assumed)

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

    def number(self, name: str, key: str, unit: str, low: float, high: float) -> str:
        """Return a field that may be left out, "" where it was."""
        return self.fields.quantity(f"{name}.{key}", unit, low, high, needed=False)

    def stated(self, name: str, key: str, unit: str, low: float, high: float) -> str:
        """Return a field that may be left out; put down that it is assumed where it was."""
        text = self.number(name, key, unit, low, high)
        if not text:
            self.assumed.append((f"{name}.{key}", self.names[name]))
        return text

    # -----------------------------------------------------------------------------------------------------------------
    # Things

    def _laser(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        fields, form = self.fields, self.fields.typed
        like = fields.choice(f"{name}.like", tuple(kinds())) or "any laser"
        kind = kinds()[like]
        power = fields.quantity(f"{name}.power", "W", 0.0, 1e6)
        wavelength = self.stated(name, "wavelength", "m", 180e-9, 1e-3)
        if not wavelength and like == "any laser":
            fields.fault(f"{name}.wavelength", "room.say_wavelength")
        pulsed = kind["emission"] == "pulse train" or bool(form(f"{name}.pulse_duration"))
        emission: dict[str, Any] = (
            {"kind": "pulse train", "mean_power": power} if pulsed else {"kind": "continuous", "power": power}
        )
        for key, unit, high in (("pulse_duration", "s", 0.25), ("repetition_rate", "Hz", 1e12)):
            text = self.number(name, key, unit, 0.0, high) if pulsed else ""
            if text:
                emission[key] = text
        table: dict[str, Any] = {
            "name": self.names[name],
            "like": like,
            "wavelength": wavelength or kind["wavelength"],
            "emission": emission,
        }
        setup: dict[str, Any] = {}
        lens = form(f"{name}.lens")
        if lens.lower() in ("none", self.say("room.no_lens").lower()):
            setup["kind"] = "collimated"
        elif lens:
            setup["focal_length"] = fields.quantity(f"{name}.lens", "m", 1e-3, 1e3)
        for key, unit, low, high in (
            ("beam_diameter", "m", 1e-6, 10.0),
            ("divergence", "rad", 0.0, 1.0),
            ("work_distance", "m", 0.0, 1e3),
        ):
            text = self.number(name, key, unit, low, high)
            if text and not (key == "divergence" and "focal_length" in setup):
                setup[key] = text
        if lens and setup:
            table["setup"] = [setup]
        elif setup:
            fields.fault(f"{name}.lens", "room.say_lens")
        place = {"laser": self.names[name], "position": self._place(name), "height": self._height(name, "1.1 m")}
        x, y = (float(one.split()[0]) for one in place["position"])
        to = (self.metres(f"{name}.aim_x", 0.0, self.size[0]), self.metres(f"{name}.aim_y", 0.0, self.size[1]))
        bearing = math.degrees(math.atan2(to[0] - x, to[1] - y)) if to != (x, y) else 0.0
        place["bearing"] = f"{bearing:.3f} deg"
        turn = self.stated(name, "turn", "rad", 0.0, math.pi)
        if turn:
            degrees = math.degrees(parse_quantity(turn, "rad", "turn").value)
            place["bearing_range"] = [f"{bearing - degrees:.3f} deg", f"{bearing + degrees:.3f} deg"]
        else:
            place["bearing_range"] = ["0 deg", "360 deg"]
        tilts = []
        for key, default in (("tilt_low", "-90 deg"), ("tilt_high", "90 deg")):
            tilts.append(self.stated(name, key, "rad", -math.pi / 2, math.pi / 2) or default)
        low, high = (parse_quantity(tilt, "rad", "tilt").value for tilt in tilts)
        if low > high:
            fields.fault(f"{name}.tilt_high", "room.tilt_backwards")
        place["elevation_range"] = tilts
        place["elevation"] = f"{math.degrees(min(max(0.0, low), high)):.6g} deg"
        return table, place

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
        near = [math.hypot(max(x0 - x, 0.0, x - x1), max(y0 - y, 0.0, y - y1)) for x, y in self.origins]
        distance = max(math.floor(min(near, default=0.0) * 1e3) / 1e3, 0.001)
        role = fields.choice(f"{name}.role", ROLES) or "spectator"
        table: dict[str, Any] = {"name": self.names[name], "role": role, "distance": m(distance)}
        if fields.typed(f"{name}.looks"):
            table["deliberate_viewing"] = True
            time = self.stated(name, "time", "s", 1e-3, 30000.0)
            if time:
                table |= {"time": time, "time_reason": self.say("room.time_reason")}
        worn = fields.typed(f"{name}.eyewear")
        if worn:
            table["eyewear"] = worn
            try:
                parse_marking(worn)
            except MarkingError as error:
                reason = load_wording(self.say.language).say(error.reason)
                fields.fault(f"{name}.eyewear", "fault.marking", typed=worn[:40], reason=reason)
        place: dict[str, Any] = {"name": self.names[name]}
        if x1 > x0 and y1 > y0:
            place["area"] = [[m(x), m(y)] for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
        else:
            place["position"] = [m(x0), m(y0)]
        return table, place

    def _screen(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        fields = self.fields
        ends = [
            (self.metres(f"{name}.x{n}", 0.0, self.size[0]), self.metres(f"{name}.y{n}", 0.0, self.size[1]))
            for n in "12"
        ]
        if ends[0] == ends[1]:
            fields.fault(f"{name}.x2", "room.no_length")
        near = [_to_segment(origin, *ends) for origin in self.origins]
        table = {"name": self.names[name], "distance": m(max(math.floor(min(near, default=0.0) * 1e3) / 1e3, 0.001))}
        for key, unit, low, high in (("rating", "W/m2", 0.0, 1e11), ("rated_time", "s", 1e-3, 30000.0)):
            text = self.stated(name, key, unit, low, high)
            if text:
                table[key] = text
        if "rating" in table and "rated_time" not in table:
            fields.fault(f"{name}.rated_time", "room.say_rated_time")
        place = {
            "name": self.names[name],
            "line": [[m(x), m(y)] for x, y in ends],
            "top": self._height(name, "2 m", "top"),
        }
        bottom = self.number(name, "bottom", "m", 0.0, 100.0)
        if bottom:
            place["bottom"] = bottom
        return table, place

    def _mirror(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        x, y = (float(one.split()[0]) for one in self._place(name))
        near = min((math.hypot(x - a, y - b) for a, b in self.origins), default=1.0)
        table: dict[str, Any] = {
            "name": self.names[name],
            "material": self.say("room.mirror_material"),
            "finish": "mirror",
        }
        table["distance"] = m(max(near, 0.001))
        reflectance = self.stated(name, "reflectance", "1", 0.0, 1.0)
        if reflectance:
            table["reflectance"] = parse_quantity(reflectance, "1", "reflectance").value
        place: dict[str, Any] = {
            "name": self.names[name],
            "position": self._place(name),
            "height": self._height(name, "1.1 m"),
        }
        place |= {"shape": "flat", "width": m(self.metres(f"{name}.wide", 0.001, LARGEST_ROOM))}
        normal = self.stated(name, "normal", "rad", -2 * math.pi, 2 * math.pi)
        if normal:
            place["normal"] = normal
        return table, place

    def _camera(self, name: str) -> tuple[dict[str, Any], dict[str, Any]]:
        place: dict[str, Any] = {
            "name": self.names[name],
            "position": self._place(name),
            "height": self._height(name, "1.5 m"),
        }
        for key, unit, low, high in _CAMERA:
            text = self.stated(name, key, unit, low, high)
            if text:
                place[key] = parse_quantity(text, "1", key).value if unit == "1" else text
        return {}, place

    def _place(self, name: str) -> list[str]:
        return [m(self.metres(f"{name}.x", 0.0, self.size[0])), m(self.metres(f"{name}.y", 0.0, self.size[1]))]

    def _height(self, name: str, default: str, key: str = "height") -> str:
        return self.stated(name, key, "m", 0.0, 100.0) or default

    def _rect(self, name: str) -> Rect:
        """Return the area of a person around its place, inside the room; without a size, the place alone. [m]."""
        wide, deep = self.size
        x, y = self.metres(f"{name}.x", 0.0, wide), self.metres(f"{name}.y", 0.0, deep)
        half = [self.metres(f"{name}.{key}", 0.0, most) / 2 for key, most in (("wide", wide), ("deep", deep))]
        if any(half):
            half = [max(one, 0.01) for one in half]  # a line is an area too
        return max(x - half[0], 0.0), max(y - half[1], 0.0), min(x + half[0], wide), min(y + half[1], deep)


def m(value: float) -> str:
    """Return metres as a case file takes them, to the millimetre."""
    return f"{round(value, 4):g} m"


def _to_segment(point: tuple[float, float], one: tuple[float, float], two: tuple[float, float]) -> float:
    """Return the distance from a point to a straight line between two. [m]."""
    dx, dy = two[0] - one[0], two[1] - one[1]
    long = dx * dx + dy * dy
    t = 0.0 if long == 0.0 else min(max(((point[0] - one[0]) * dx + (point[1] - one[1]) * dy) / long, 0.0), 1.0)
    return math.hypot(point[0] - one[0] - t * dx, point[1] - one[1] - t * dy)
