"""What every case file says before its lasers, and where a laser of a scene points, for tests that write the rest."""

HEAD = """\
title = "T"
place = "Hall"
dates = "today"
review_by = 2026-11-14
[in_charge]
assessor = "A"
laser_safety_officer = "B"
operator = "C"
venue = "D"
"""


def aim(laser: str, height: str = "1.2 m", more: str = 'elevation = "0 deg"\n') -> str:
    """Return a laser at the origin of a scene that points along its y axis."""
    place = f'position = ["0 m", "0 m"]\nheight = "{height}"\nbearing = "0 deg"\n'
    return f'[[scene.aim]]\nlaser = "{laser}"\n{place}{more}'
