"""What is wrong with the texts of a drawing."""

from __future__ import annotations

from lasersafe.drawing.primitives import Drawing, Rect, Words, overlap, within
from lasersafe.drawing.text import ASCENT, DESCENT, width_of


def text_box(words: Words) -> Rect:
    """Return the room that a line of text takes."""
    wide = width_of(words.text, words.size, words.bold)
    return (words.x, words.y - DESCENT * words.size, words.x + wide, words.y + ASCENT * words.size)


def faults(drawing: Drawing) -> list[str]:
    """Return what is wrong with the texts of a drawing: two over each other, or one outside the frame or the page.

    Parameters
    ----------
    drawing : Drawing
        A finished page.

    Returns
    -------
    list of str
        Empty when all is well.
    """
    words = [mark for mark in drawing.marks if isinstance(mark, Words)]
    rects = [text_box(mark) for mark in words]
    page = (0.0, 0.0, drawing.width, drawing.height)
    found = []
    for index, (mark, rect) in enumerate(zip(words, rects, strict=True)):
        if not within(rect, drawing.frame if mark.framed else page):
            found.append(f"'{mark.text}' leaves the {'frame' if mark.framed else 'page'}")
        if not mark.framed and drawing.scale and overlap(rect, drawing.frame):
            found.append(f"'{mark.text}' lies over the frame")
        found += [
            f"'{mark.text}' over '{other.text}'"
            for other, room in zip(words[index + 1 :], rects[index + 1 :], strict=True)
            if overlap(rect, room)
        ]
    return found
