"""The case file as frozen models: every field described, every fault named with its line.

Numbers are :class:`SIValue`: floats in SI units that keep the text as typed.
"""

from lasersafe.models.beam import (
    CollimatedSetup,
    ContinuousEmission,
    Emission,
    LensSetup,
    MultimodeFibreSetup,
    PulseTrainEmission,
    Setup,
    SingleModeFibreSetup,
    SinglePulseEmission,
)
from lasersafe.models.case import Case
from lasersafe.models.describe import FieldRow, canonical, describe_fields, json_schema, typed_inputs
from lasersafe.models.laser import Laser
from lasersafe.models.places import Path, Spot
from lasersafe.models.reading import case_from, check_case, parse_case, read_case
from lasersafe.models.scene import (
    Aim,
    Camera,
    FloorPart,
    Outdoor,
    Scene,
    SceneBarrier,
    SceneOpening,
    ScenePerson,
    ScenePlace,
    Target,
)
from lasersafe.models.site import (
    Barrier,
    Control,
    InCharge,
    OtherHazards,
    Person,
    Settings,
    StrikeOut,
    Surface,
)
from lasersafe.models.values import Axes, Knob, SIValue

__all__ = [
    "Aim",
    "Axes",
    "Barrier",
    "Camera",
    "Case",
    "CollimatedSetup",
    "ContinuousEmission",
    "Control",
    "Emission",
    "FieldRow",
    "FloorPart",
    "InCharge",
    "Knob",
    "Laser",
    "LensSetup",
    "MultimodeFibreSetup",
    "OtherHazards",
    "Outdoor",
    "Path",
    "Person",
    "PulseTrainEmission",
    "SIValue",
    "Scene",
    "SceneBarrier",
    "SceneOpening",
    "ScenePerson",
    "ScenePlace",
    "Settings",
    "Setup",
    "SingleModeFibreSetup",
    "SinglePulseEmission",
    "Spot",
    "StrikeOut",
    "Surface",
    "Target",
    "canonical",
    "case_from",
    "check_case",
    "describe_fields",
    "json_schema",
    "parse_case",
    "read_case",
    "typed_inputs",
]
