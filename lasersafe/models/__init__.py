"""The case file as frozen models: every field described, every fault named with its line.

Numbers are :class:`SIValue`: floats in SI units that keep the text as typed.
"""

from lasersafe.models.case import Case
from lasersafe.models.describe import (
    Toleranced,
    canonical,
    json_schema,
    replaced,
    starter_values,
    tolerances_of,
    typed_inputs,
)
from lasersafe.models.emission import Emission, Mode, PulseTrainEmission
from lasersafe.models.laser import Extended, ExtraLine, Laser, Module, Setup
from lasersafe.models.reading import case_from, parse_case, read_case, read_case_text
from lasersafe.models.scene import Aim, Camera, Scene, SceneBarrier, SceneOpening, ScenePerson, Target
from lasersafe.models.site import Area, Barrier, Control, MeasuredReading, Person, Settings, Surface
from lasersafe.models.values import Axes, Knob, Path, SIValue, Spot

__all__ = [
    "Aim",
    "Area",
    "Axes",
    "Barrier",
    "Camera",
    "Case",
    "Control",
    "Emission",
    "Extended",
    "ExtraLine",
    "Knob",
    "Laser",
    "MeasuredReading",
    "Mode",
    "Module",
    "Path",
    "Person",
    "PulseTrainEmission",
    "SIValue",
    "Scene",
    "SceneBarrier",
    "SceneOpening",
    "ScenePerson",
    "Settings",
    "Setup",
    "Spot",
    "Surface",
    "Target",
    "Toleranced",
    "canonical",
    "case_from",
    "json_schema",
    "parse_case",
    "read_case",
    "read_case_text",
    "replaced",
    "starter_values",
    "tolerances_of",
    "typed_inputs",
]
