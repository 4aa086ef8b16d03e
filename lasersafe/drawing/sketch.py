"""What the plan and the section have in common: marks of a view, arrows to its edge, and labels placed last."""

from __future__ import annotations

from lasersafe.drawing import symbols
from lasersafe.drawing.labels import Board, Label
from lasersafe.drawing.primitives import BLACK, Mark, Pair, arrow
from lasersafe.drawing.style import quantity_text
from lasersafe.drawing.view import View
from lasersafe.records.scene import SceneResult
from lasersafe.wording import Wording


class Sketch:
    """One view of a scene: marks, and the labels that are placed when all marks are known.

    Parameters
    ----------
    scene : SceneResult
        What is drawn.
    view : View
        Frame and scale.
    wording : Wording
        Texts.
    """

    def __init__(self, scene: SceneResult, view: View, wording: Wording) -> None:
        self.scene = scene
        self.view = view
        self.text = wording.text
        self.say = wording.say
        self.frame = view.frame
        self.marks: list[Mark] = []
        self.board = Board(view.frame)
        self.urgent: list[Label] = []
        self.labels: list[Label] = []
        self.used: set[str] = set()  # keys of the legend that are on the drawing

    def arrow_to(self, tip: Pair, tail: Pair, text: str, thick: float = 0.3, head: float = 2.0) -> None:
        """Draw an arrow to the edge of the frame, and say what is there; a thick one is placed before others."""
        self.marks += arrow(tail, tip, BLACK, thick, head)
        (self.urgent if thick > 0.5 else self.labels).append(Label(text, (tail,), thick > 0.5))

    def laser(self, name: str, place: Pair, bearing: float, height: float) -> None:
        """Draw a laser with its name and height."""
        self.marks += symbols.laser(place, bearing)
        self.used.add("laser")
        way = symbols.bearing_vector(bearing)
        middle = (place[0] - 2.6 * way[0], place[1] - 2.6 * way[1])
        self.board.block(middle, 2.6)
        text = self.text("plan.laser", name=name, height=quantity_text(height, "m", "nearest"))
        self.labels.append(Label(text, (middle,), True, clear=2.6))

    def write(self) -> list[str]:
        """Place all labels; return the texts for which there is no room."""
        for label in (*self.urgent, *self.labels):
            self.board.put(label)
        self.marks += [*self.board.under, *self.board.marks]
        return [label.text for label in self.board.left_out]
