"""What the plan and the section have in common: marks of a view, and labels placed last."""

from __future__ import annotations

from dataclasses import dataclass, field

from lasersafe.drawing.labels import Board, Label
from lasersafe.drawing.primitives import Mark, Rect
from lasersafe.drawing.view import View
from lasersafe.records.scene import SceneResult
from lasersafe.wording import Wording


@dataclass
class Sketch:
    """One view of a scene: marks, and the labels that are placed when all marks are known."""

    scene: SceneResult
    view: View
    wording: Wording
    marks: list[Mark] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    used: set[str] = field(default_factory=set)  # keys of the legend that are on the drawing

    def __post_init__(self) -> None:
        self.text, self.say = self.wording.text, self.wording.say
        self.board = Board(self.frame)

    @property
    def frame(self) -> Rect:
        """Where it lies on paper. [mm]."""
        return self.view.frame

    def write(self) -> None:
        """Place all labels, the bold ones first; one for which there is no room is left out."""
        for label in sorted(self.labels, key=lambda label: not label.bold):
            self.board.put(label)
        self.marks += [*self.board.under, *self.board.marks]
