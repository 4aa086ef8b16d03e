"""Case files with random figures, for the comparison of arrays with one assessment at a time."""

from __future__ import annotations

from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.distances import variable_inputs
from lasersafe.limits import rule_sets
from lasersafe.models import parse_case
from tests.case_head import HEAD

FRAME = (
    'rule_set = "ICNIRP-2013"\n'
    + HEAD
    + """[settings]
propagation = "{propagation}"

[[laser]]
name = "Source"
class_label = "4"
serial = "BMC-1"
wavelength = "{wavelength:.17g} nm"

[laser.emission]
{emission}
{line}
[[laser.setup]]
name = "Fitted"
{setup}

[[person]]
name = "Visitor"
role = "spectator"
distance = "6 m"
aided = {aided}

[[surface]]
name = "Plate"
material = "steel"
finish = "unknown"
distance = "0.5 m"
"""
)
LINE = """
[[laser.line]]
name = "second"
wavelength = "{line_wavelength}"
share = 0.3
"""
WIDTHS = ("beam_diameter", "focus_diameter", "divergence", "spot_diameter")
UNITS = {
    "power": "W", "mean_power": "W", "pulse_energy": "J", "pulse_duration": "s", "repetition_rate": "Hz",
    "beam_diameter": "m", "divergence": "rad", "focus_diameter": "m", "focal_length": "m", "measured_at": "m",
    "waist_at": "m", "spot_diameter": "m", "core_diameter": "m", "mode_field_diameter": "m", "work_distance": "m",
}  # fmt: skip


def _typed(name: str, value) -> str:
    if isinstance(value, str):
        return f'{name} = "{value}"'
    if isinstance(value, tuple):
        return f"{name} = [" + ", ".join(f'"{one:.17g} {UNITS[name]}"' for one in value) + "]"
    return f'{name} = "{value:.17g} {UNITS[name]}"' if name in UNITS else f"{name} = {value:.17g}"


def context_of(case: dict):
    """Return the context of a case: wavelength [nm], emission and setup (SI numbers), aided, line, propagation."""
    text = FRAME.format(
        propagation=case.get("propagation", "hyperbolic"),
        wavelength=case["wavelength"],
        emission="\n".join(_typed(*one) for one in case["emission"].items()),
        line=LINE.format(line_wavelength=case["line"]) if case.get("line") else "",
        setup="\n".join(_typed(*one) for one in case["setup"].items()),
        aided="true" if case.get("aided") else "false",
    )
    found = parse_case(text)
    return contexts(found, (found.rule_set, *(name for name in rule_sets() if name != found.rule_set)))[0]


def directions(context: Context, way: str, tissue: str) -> dict[str, int]:
    """Return which way each input pushes the distance of a zone.

    1: the distance never falls with the input; -1: it never rises; 0: not known, the range has to be searched. The
    exposure is proportional to power, energy and reflectance; a wider beam is wider at every place, behind a lens its
    angle grows too; beyond both foci the beam is narrower behind the longer lens; light goes with the cosine of a view.
    """
    point = tissue == "skin" or (context.setup.spot_diameter is None and context.setup.kind == "lens")
    falls = -1 if way != "scatter" or point else 0
    at_waist = getattr(context.setup, "waist_at", None) is None
    signs = dict.fromkeys(("power", "mean_power", "pulse_energy", "reflectance", "focal_length"), 1)
    wider = ("beam_diameter", "focus_diameter", "core_diameter", "numerical_aperture", "view_angle")
    signs |= dict.fromkeys(wider, falls) | {"divergence": falls if at_waist else 0}
    return {name: signs.get(name.split(".")[0], 0) for name in variable_inputs(context)}
