"""The beam of a broken fibre, and the beam of a lens that is lost."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.lines import line_contexts
from lasersafe.optics.beam import BeamGeometry, collimated, fibre_multimode, least_divergence
from lasersafe.wording.message import Message

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.assessment.stage import Stage

FAULTS = ("fibre broken", "optic lost")
FIBRE_APERTURE = 0.20  # multimode delivery fibre, 5 % of the peak (published checks, section 14)


def broken_context(stage: Stage, context: Context, way: str) -> tuple[Context | None, str]:
    """Return a laser with the beam of a fault, all its wavelengths in it, and a note; None where it cannot happen."""
    setup, note = context.setup, ""
    beam: BeamGeometry
    if way == "fibre broken":
        if not 300e-9 <= context.wavelength <= 2.4e-6:
            return None, Message("cannot.fibre")
        if setup.kind.startswith("fibre"):
            beam = context.beam
        else:
            beam = fibre_multimode(FIBRE_APERTURE, "5 %", propagation=context.case.settings.propagation)
            note = Message("fault.aperture", value=f"{FIBRE_APERTURE:g}")
    else:
        if setup.kind != "lens":
            return None, Message("cannot.lens")
        other = next((c for c in stage.contexts if c.laser is context.laser and c.setup.kind == "collimated"), None)
        if other is not None:
            beam, note = other.beam, Message("fault.as_setup", name=other.setup.name)
        else:
            width = context.beam.divergence[0] * abs(context.beam.waist_position[0])
            angle = least_divergence(width, context.wavelength)
            beam = collimated(width, angle, "1/e", context.beam.profile)
            note = Message("fault.least_divergence")
    lines = {name: replace(line, beam=beam) for name, line in line_contexts(context).items()}
    return replace(context, beam=beam, _lines=lines), note
