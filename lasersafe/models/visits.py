"""The exposures of a person over a day, one by one."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Line
from lasersafe.models.values import Measured, SIValue

VISIT_TIME = Measured(
    "s", "1 ms", "30000 s", "600 s", "longer than a working day of 30 000 s makes no difference", worst="high"
)


class Visit(CaseModel):
    """One exposure to ultraviolet light: ``[[person.visits]]``."""

    way: Literal["direct", "mirror", "scatter"] = Field(description="'direct', 'mirror' or 'scatter'.")
    time: Annotated[SIValue, VISIT_TIME] = Field(description="How long this visit lasts, as '600 s'.")
    laser: Line | None = Field(
        default=None, description="Name of the laser. Left out: every ultraviolet laser that concerns this person."
    )
    note: Line = Field(default="", description="What the person does there; printed beside the dose.")
