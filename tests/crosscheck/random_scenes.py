"""Random scenes for the tracer and the program: heads, mirrors in their beams, walls with edges beside people."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from tests.crosscheck.scene_description import Barrier, Laser, Person, Scene, Surface


def _way(bearing: float, elevation: float) -> np.ndarray:
    b, e = math.radians(bearing), math.radians(elevation)
    return np.array([math.cos(e) * math.sin(b), math.cos(e) * math.cos(b), math.sin(e)])


def _angles(way: np.ndarray) -> tuple[float, float]:
    return math.degrees(math.atan2(way[0], way[1])), math.degrees(math.asin(way[2] / np.linalg.norm(way)))


def random_scene(seed: int) -> Scene:
    """Return one scene; the same for the same seed."""
    rng = np.random.default_rng(seed)
    persons = tuple(_person(rng, number) for number in range(rng.integers(1, 4)))
    lasers = [_laser(rng, "Lamp", persons)]
    surfaces: list[Surface] = []
    start, way = np.array(lasers[0].place), _way(lasers[0].bearing, lasers[0].elevation)
    for number in range(rng.integers(1, 4)):
        surfaces.append(_surface(rng, number, start, way, persons))
        if surfaces[-1].mirror:  # the next one stands where this one sends the beam, as a plane would
            normal = _way(surfaces[-1].bearing, surfaces[-1].tilt)
            start, way = np.array(surfaces[-1].place), way - 2.0 * (way @ normal) * normal
    if rng.random() < 0.4:
        lasers.append(replace(_laser(rng, "Spot", persons), power=lasers[0].power * float(rng.choice([0.3, 1.0]))))
    barriers = tuple(_barrier(rng, number, lasers, persons) for number in range(rng.integers(0, 4)))
    return Scene(tuple(lasers), persons, tuple(surfaces), barriers)


def _middle(person: Person) -> np.ndarray:
    return np.array([*np.mean(person.places, axis=0), np.mean(person.heights)])


def _person(rng: np.random.Generator, number: int) -> Person:
    x, y = rng.uniform(-8, 8), rng.uniform(2, 14)
    stature = str(rng.choice(["standing adult", "seated", "child", "anybody"]))
    if rng.random() < 0.5:
        return Person(f"Person {number}", ((float(x), float(y)),), stature)
    turn, size = rng.uniform(0, 1.5), rng.uniform(0.5, 5.0, 2)
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    around = [
        (
            float(x + size[0] * a * math.cos(turn) - size[1] * b * math.sin(turn)),
            float(y + size[0] * a * math.sin(turn) + size[1] * b * math.cos(turn)),
        )
        for a, b in corners
    ]
    return Person(f"Person {number}", tuple(around), stature)


def _laser(rng: np.random.Generator, name: str, persons: tuple[Person, ...]) -> Laser:
    place = np.array([rng.uniform(-3, 3), rng.uniform(-3, 0), rng.uniform(0.8, 3.0)])
    if rng.random() < 0.5:
        bearing, elevation = _angles(_middle(persons[rng.integers(len(persons))]) + rng.normal(0, 0.5, 3) - place)
    else:
        bearing, elevation = rng.uniform(-60, 60), rng.uniform(-15, 5)
    kind = rng.integers(4)  # fixed, turning, loose, scanned
    return Laser(
        power=float(10 ** rng.uniform(-1, 2.7)),
        diameter=float(10 ** rng.uniform(-2.6, -1.4)),
        divergence=float(10 ** rng.uniform(-3.2, -2.0)),
        place=tuple(place.round(3).tolist()),
        bearing=round(float(bearing), 2),
        elevation=round(float(elevation), 2),
        bearing_half=float(rng.choice([5, 20, 45])) if kind == 1 else 0.0,
        elevation_half=float(rng.choice([0, 3, 10])) if kind == 1 else 0.0,
        margin=float(rng.choice([2, 5])) if kind == 2 else 0.0,
        scan=float(rng.choice([10, 40])) if kind == 3 else 0.0,
        moves=float(rng.choice([0.2, 0.5])) if kind == 2 and rng.random() < 0.5 else 0.0,
        name=name,
    )


def _surface(rng: np.random.Generator, number: int, start, way, persons: tuple[Person, ...]) -> Surface:
    """A surface in the beam; half of them send it to a person, as far as a plane would."""
    place = start + rng.uniform(1.5, 6.0) * way
    place[2] = min(max(place[2], 0.3), 3.0)
    if rng.random() < 0.6:
        goal = _middle(persons[rng.integers(len(persons))]) - place
        normal = goal / np.linalg.norm(goal) - way
    else:
        normal = rng.normal(0, 0.5, 3) * [1, 1, 0.5] - way
    bearing, tilt = _angles(normal)
    width = float(rng.choice([0.1, 0.3, 1.0]))
    kind = rng.random()
    radius = 0.0
    if kind > 0.7:
        radius = float(rng.uniform(0.6, 3.0) * width) * (1 if kind < 0.85 else -1)
    return Surface(
        f"plate {number}",
        tuple(place.round(3).tolist()),
        round(bearing, 2),
        round(tilt, 2),
        width,
        float(rng.choice([0.3, 0.9])),
        mirror=bool(kind > 0.25),
        radius=radius,
    )


def _barrier(rng: np.random.Generator, number: int, lasers: list[Laser], persons: tuple[Person, ...]) -> Barrier:
    """A wall with its edge near the line from a head to a person."""
    a = np.array(lasers[rng.integers(len(lasers))].place)
    b = _middle(persons[rng.integers(len(persons))])
    at = (a + rng.uniform(0.2, 0.8) * (b - a))[:2]
    across = np.array([b[1] - a[1], a[0] - b[0]])
    across = across / np.linalg.norm(across) * rng.choice([-1.0, 1.0])
    turned = across + rng.normal(0, 0.3, 2)
    first = at - rng.choice([0.0, 0.02, 0.3, 1.0]) * across
    line = [first, first + rng.uniform(1, 4) * turned]
    if rng.random() < 0.4:
        line.append(line[-1] + rng.normal(0, 2, 2))
    return Barrier(
        f"wall {number}",
        tuple((round(float(x), 3), round(float(y), 3)) for x, y in line),
        top=float(rng.choice([1.0, 1.5, 2.5, 3.5])),
        bottom=float(rng.choice([0.0, 0.0, 0.4])),
    )
