"""The exposures of a person over a day, one by one."""

from __future__ import annotations

from typing import Annotated, Literal

from lasersafe.models.base import CaseModel, Line
from lasersafe.models.values import Measured, SIValue

VISIT_TIME = Measured(
    "s", "1 ms", "30000 s", "600 s", "longer than a working day of 30 000 s makes no difference", worst="high"
)


class Visit(CaseModel):
    """One exposure to ultraviolet light: ``[[person.visits]]``.

    Attributes
    ----------
    way
        'direct', 'mirror' or 'scatter'.
    time
        How long this visit lasts, as '600 s'.
    laser
        Name of the laser. Left out: every ultraviolet laser that concerns this person.
    note
        What the person does there; printed beside the dose.
    """

    way: Literal["direct", "mirror", "scatter"]
    time: Annotated[SIValue, VISIT_TIME]
    laser: Line | None = None
    note: Line = ""
