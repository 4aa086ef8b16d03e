"""A scene in plain numbers, and its case file: what the brute-force tracer follows and what the program reads."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tests.case_head import HEAD

STRONG = 'rating = "1e4 MW/m2"\nrated_time = "30000 s"\nobserved = true\n'


@dataclass(frozen=True)
class Laser:
    """A head with a round continuous beam of 1070 nm; lengths [m], angles [rad] except where a name says degrees."""

    power: float  # [W]
    diameter: float  # 1/e, at the last optic, where the waist is
    divergence: float  # full angle, 1/e
    place: tuple[float, float, float]
    bearing: float  # [degrees] of the aim, clockwise from y
    elevation: float = 0.0  # [degrees]
    bearing_half: float = 0.0  # [degrees] that the head can turn to each side
    elevation_half: float = 0.0  # [degrees]
    margin: float = 0.0  # [degrees]
    scan: float = 0.0  # [degrees] full angle of a horizontal line, not watched: it can stop anywhere
    moves: float = 0.0  # how far the place of the head can be off on every side
    name: str = "Lamp"


@dataclass(frozen=True)
class Surface:
    """A disc, flat or the cap of a ball; a mirror or matt."""

    name: str
    place: tuple[float, float, float]  # its middle
    bearing: float  # [degrees] of its normal
    tilt: float = 0.0  # [degrees]
    width: float = 0.3
    reflectance: float = 0.9
    mirror: bool = True
    radius: float = 0.0  # above 0: convex; below 0: hollow; 0: flat


@dataclass(frozen=True)
class Barrier:
    """Upright walls along a line on the plan, which hold against everything; matt, with a reflectance of 0.8."""

    name: str
    line: tuple[tuple[float, float], ...]
    top: float = 3.0
    bottom: float = 0.0


@dataclass(frozen=True)
class Person:
    """Somebody at a place, or anywhere in an area."""

    name: str
    places: tuple[tuple[float, float], ...]  # one place, or the corners of an area
    stature: str = "standing adult"
    eyes: tuple[float, float] | None = None  # between which heights; then no skin is looked at

    @property
    def heights(self) -> tuple[float, float]:
        """Lowest and highest place of the eyes: 0.1 m up and down of what the manual says of the stature."""
        return (
            self.eyes
            or {"standing adult": (1.5, 1.7), "seated": (1.1, 1.3), "child": (0.9, 1.1), "anybody": (1.0, 1.8)}[
                self.stature
            ]
        )


@dataclass(frozen=True)
class Scene:
    """All of it."""

    lasers: tuple[Laser, ...]
    persons: tuple[Person, ...]
    surfaces: tuple[Surface, ...] = ()
    barriers: tuple[Barrier, ...] = ()
    more: str = field(default="", compare=False)  # further TOML lines of [scene]


def _pair(place: tuple[float, float] | tuple[float, float, float]) -> str:
    return f'["{place[0]:.6g} m", "{place[1]:.6g} m"]'


def _corners(places: tuple[tuple[float, float], ...]) -> str:
    return "[" + ", ".join(_pair(p) for p in places) + "]"


def _laser(one: Laser) -> str:
    scan = (
        f'[laser.setup.scan]\npattern = "line"\nfrequency = "50 Hz"\nfull_angle = "{one.scan:.6g} deg"\n'
        if one.scan
        else ""
    )
    return (
        f'[[laser]]\nname = "{one.name}"\nclass_label = "4"\nwavelength = "1070 nm"\n'
        f'[laser.emission]\nkind = "continuous"\npower = "{one.power:.6g} W"\n'
        f'[[laser.setup]]\nname = "beam"\nkind = "collimated"\ncriterion = "1/e"\n'
        f'beam_diameter = "{one.diameter * 1e3:.6g} mm"\ndivergence = "{one.divergence * 1e3:.6g} mrad"\n{scan}'
    )


def _aim(one: Laser) -> str:
    text = (
        f'[[scene.aim]]\nlaser = "{one.name}"\nposition = {_pair(one.place)}\nheight = "{one.place[2]:.6g} m"\n'
        f'moves = "{one.moves:.6g} m"\n'
        f'bearing = "{one.bearing:.6g} deg"\nelevation = "{one.elevation:.6g} deg"\nmargin = "{one.margin:.6g} deg"\n'
    )
    for name, middle, half in (
        ("bearing", one.bearing, one.bearing_half),
        ("elevation", one.elevation, one.elevation_half),
    ):
        if half:
            text += f'{name}_range = ["{middle - half:.6g} deg", "{middle + half:.6g} deg"]\n'
    return text


def _shape(one: Surface) -> str:
    if not one.radius:
        return 'shape = "flat"\n'
    word = "convex" if one.radius > 0 else "concave"
    return f'shape = "{word}"\nradius = "{abs(one.radius):.6g} m"\naxes = "sphere"\n'


# A black plate in no beam: a case whose list of surfaces is empty gets a full mirror at the work.
IDLE = Surface("black plate", (0.0, -900.0, 1.0), 0.0, width=0.001, reflectance=1e-6, mirror=True)


def case_text(scene: Scene) -> str:
    """Return the scene as the text of a case file; the distances asked for beside the places are never used."""
    scene = replace(scene, surfaces=(*scene.surfaces, IDLE))
    parts = [HEAD, "[settings]\nsurfaces_complete = true\n"]
    parts += [_laser(one) for one in scene.lasers]
    parts += [f'[[person]]\nname = "{p.name}"\nrole = "spectator"\ndistance = "100 mm"\n' for p in scene.persons]
    parts += [
        f'[[surface]]\nname = "{s.name}"\nmaterial = "plate"\nfinish = "{"mirror" if s.mirror else "matt"}"\n'
        f'reflectance = {s.reflectance:.6g}\ndistance = "1 m"\n'
        for s in scene.surfaces
    ]
    parts += [f'[[barrier]]\nname = "{b.name}"\ndistance = "100 mm"\n{STRONG}' for b in scene.barriers]
    parts += [f"[scene]\n{scene.more}\n", *[_aim(one) for one in scene.lasers]]
    parts += [
        f'[[scene.surface]]\nname = "{s.name}"\nposition = {_pair(s.place)}\nheight = "{s.place[2]:.6g} m"\n'
        f'normal = "{s.bearing:.6g} deg"\ntilt = "{s.tilt:.6g} deg"\nwidth = "{s.width:.6g} m"\n{_shape(s)}'
        for s in scene.surfaces
    ]
    parts += [
        f'[[scene.barrier]]\nname = "{b.name}"\nline = {_corners(b.line)}\n'
        f'bottom = "{b.bottom:.6g} m"\ntop = "{b.top:.6g} m"\n'
        for b in scene.barriers
    ]
    for p in scene.persons:
        where = f"position = {_pair(p.places[0])}" if len(p.places) == 1 else f"area = {_corners(p.places)}"
        parts.append(f'[[scene.person]]\nname = "{p.name}"\n{where}\nstature = "{p.stature}"\n')
    return "".join(parts)
