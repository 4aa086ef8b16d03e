"""The exposure map of a large scene, against one numpy.exp over the same grid for each surface.

Each of these has an array of its own for its result, as a map for each surface would, and the arrays are there before:
fresh memory would make the same calls take three times as long, or not, as what ran before has left it.
"""

from __future__ import annotations

import math

from bench.measuring import Line, line, medians

CELLS, SURFACES, BARRIERS = 500, 20, 10
HEAD = """
title = "Map of a hall"
place = "Brackenmoor College of Engineering"
dates = "13 November 2027"
review_by = 2027-12-01
[in_charge]
assessor = "R. Quillfeather"
laser_safety_officer = "T. Ambersley"
operator = "M. Okonjo-Lind"
venue = "P. Vasterholm"
[[laser]]
name = "Welder"
class_label = "4"
wavelength = "1070 nm"
[laser.emission]
kind = "continuous"
power = "1.5 kW"
"""
SETUP = """
[[laser.setup]]
name = "lens"
kind = "lens"
beam_diameter = "8.5 mm"
criterion = "1/e"
focal_length = "100 mm"
work_distance = "400 mm"
"""
PERSON = '[[person]]\nname = "Row"\nrole = "spectator"\ndistance = "8 m"\n'
SCENE = """
[scene]
[[scene.aim]]
laser = "Welder"
position = ["0 m", "0 m"]
height = "1.2 m"
bearing_range = ["150 deg", "210 deg"]
elevation_range = ["-20 deg", "20 deg"]
[[scene.person]]
name = "Row"
position = ["0 m", "-8 m"]
"""


def case_text() -> str:
    """Return a case with as many surfaces and barriers as the line says."""
    turns = [2.0 * math.pi * n / SURFACES for n in range(SURFACES)]
    places = [(6.0 * math.sin(turn), 6.0 * math.cos(turn)) for turn in turns]
    surfaces = [
        f'[[surface]]\nname = "plate {n}"\nmaterial = "steel"\nfinish = "mirror"\ndistance = "6 m"\n'
        for n in range(SURFACES)
    ]
    barriers = [
        f'[[barrier]]\nname = "screen {n}"\ndistance = "9 m"\nrating = "1 kW/cm2"\nrated_time = "100 s"\n'
        for n in range(BARRIERS)
    ]
    stand = [
        f'[[scene.surface]]\nname = "plate {n}"\nposition = ["{x:.3f} m", "{y:.3f} m"]\nheight = "1 m"\n'
        'shape = "flat"\n'
        for n, (x, y) in enumerate(places)
    ]
    lines = [
        f'[[scene.barrier]]\nname = "screen {n}"\nline = [["{3 * n - 15} m", "-9 m"], ["{3 * n - 13} m", "-9 m"]]\n'
        'top = "3 m"\n'
        for n in range(BARRIERS)
    ]
    return "".join([HEAD, SETUP, PERSON, *surfaces, *barriers, SCENE, *stand, *lines])


def lines(rounds: int) -> list[Line]:
    """Measure the map at both heights of the eyes."""
    import numpy as np

    from lasersafe.assessment.scene import scene_map
    from lasersafe.assessment.stages import stages_of
    from lasersafe.models import parse_case

    case = parse_case(case_text())
    x, y = np.linspace(-20.0, 20.0, CELLS), np.linspace(-20.0, 20.0, CELLS)
    grid = np.random.default_rng(1).uniform(-5.0, 0.0, (CELLS, CELLS))
    kept = np.zeros((SURFACES, CELLS, CELLS))
    jobs = {
        "exp": lambda: [np.exp(grid, out=one) for one in kept],
        "map": lambda: scene_map(stages_of(case), x, y),
    }
    spent = medians(jobs, rounds)
    name = f"a map of {CELLS} x {CELLS}, {SURFACES} surfaces, {BARRIERS} barriers"
    return [line(name, spent["map"], spent["exp"], 60.0, f"numpy.exp over the grid, {SURFACES} times")]
