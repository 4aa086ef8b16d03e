"""The picture of the page for a maker: the beam to scale in front of a face, and what a filter lets through."""

from __future__ import annotations

from lasersafe.drawing.pictures import to_svg
from lasersafe.drawing.primitives import BLACK, Area, Drawing, Lines, Mark, Run, arrow, box
from lasersafe.page.texts import Texts
from lasersafe.quantity import format_quantity

_WIDE, _HIGH = 180.0, 80.0  # [mm] of the picture
_FACE = 0.35  # of its size in life
_BEAM, _PALE, _SKIN, _GLASS = "#8f1d4f", "#e3b7c9", "#efe6dc", "#1d4e9e"
# A face from the side, looking left, in millimetres from the pupil, to the right and up; drawn for this page.
_PROFILE: Run = (
    (70, 95), (30, 98), (6, 84), (-4, 58), (-6, 30), (-3, 12), (-10, -2), (-22, -30), (-24, -38), (-8, -44), (-12, -54),
    (-9, -60), (-13, -68), (-8, -76), (-9, -92), (4, -102), (26, -98), (48, -84), (54, -112), (110, -112), (106, -40),
    (118, 20), (108, 66),
)  # fmt: skip


def beam_and_face(width: float, reliable: bool, say: Texts) -> str:
    """Return the picture as an SVG element.

    Parameters
    ----------
    width : float
        1/e diameter of the beam at the face. [m]
    reliable : bool
        Whether eyewear can be relied on at all.
    say : Texts
        Texts of the page.
    """
    eye = (126.0, 42.0)
    face: Run = tuple((eye[0] + 6.0 + x * _FACE, eye[1] + y * _FACE) for x, y in _PROFILE)
    half = min(max(width * 1e3 * _FACE, 0.7), 60.0) / 2.0
    glass = eye[0] - 2.5
    frame = ((glass, eye[1] + 7.0), (eye[0] + 26.0, eye[1] + 5.0))
    marks: list[Mark] = [
        Area((face,), _SKIN),
        Lines(((*face, face[0]),), BLACK, 0.4),
        Lines((((eye[0] + 4.0, eye[1] + 2.0), (eye[0] + 8.5, eye[1]), (eye[0] + 4.0, eye[1] - 2.0)),), BLACK, 0.5),
        Area((box((14.0, eye[1] - half, glass, eye[1] + half)),), _BEAM),
    ]
    if reliable:
        marks += [Lines((((glass + 1.2, eye[1]), (eye[0] + 4.5, eye[1])),), _PALE, 0.5, (1.0, 0.8))]
    else:
        marks += [Area((box((glass, eye[1] - half, eye[0] + 5.0, eye[1] + half)),), _BEAM)]
    marks += [
        Lines((((glass, eye[1] - 9.0), (glass, eye[1] + 9.0)), frame), _GLASS, 1.4),
        *arrow((3.0, eye[1]), (13.0, eye[1]), _BEAM, 0.8, 3.0),
    ]
    return inline(to_svg(Drawing("chart", say("picture.title"), _WIDE, _HIGH, (0, 0, _WIDE, _HIGH), 0, marks)))


def picture_words(width: float, density: float, reliable: bool, say: Texts, *, unknown: bool) -> list[str]:
    """Return what the picture shows in words, with the optical density that is asked for [1]."""
    width_text = say.number(format_quantity(width, "m", 3))
    density_text = say.number(f"{density:.1f}")
    return [
        say("picture.unknown_width" if unknown else "picture.width", width=width_text),
        say("picture.parts" if reliable else "picture.no_filter", density=density_text, parts=_parts(density)),
        say("picture.scale"),
    ]


def _parts(density: float) -> str:
    """Return how many times less light may pass, rounded up to two digits."""
    text = format_quantity(10.0**density, "1", 2, "up")
    mantissa, _, exponent = text.partition("e")
    return f"{mantissa} · 10^{int(exponent)}" if exponent else f"{int(float(text)):,}".replace(",", "\u202f")


def inline(svg: str) -> str:
    """Return an SVG file as an element of a page, as wide as there is room."""
    start = svg.index("<svg")
    head, close, rest = svg[start:].partition(">")
    words = [word for word in head.split(" ") if not word.startswith(("width=", "height="))]
    return " ".join(words) + ' role="img" class="drawing"' + close + rest
