"""The case file as frozen models: every field described, every fault named with its line.

Numbers are :class:`SIValue`: floats in SI units that keep the text as typed.
"""

from lasersafe.models.case import Case
from lasersafe.models.describe import FieldRow, canonical, describe_fields, json_schema, typed_inputs
from lasersafe.models.emission import (
    ContinuousEmission,
    Emission,
    Mode,
    ModeTableEmission,
    OnePulse,
    PulseListEmission,
    PulseTrainEmission,
    SinglePulseEmission,
)
from lasersafe.models.laser import Laser
from lasersafe.models.places import Path, Spot
from lasersafe.models.reading import case_from, check_case, parse_case, read_case, read_case_text
from lasersafe.models.record import Area, InCharge, MeasuredReading, OtherHazards, Settings, SignOffRule
from lasersafe.models.scene import Aim, Camera, FloorPart, Outdoor, Scene, ScenePerson, ScenePlace, Target
from lasersafe.models.scene_barriers import SceneBarrier, SceneOpening
from lasersafe.models.setup import CollimatedSetup, LensSetup, MultimodeFibreSetup, Scan, Setup, SingleModeFibreSetup
from lasersafe.models.site import Barrier, Control, Person, StrikeOut, Surface
from lasersafe.models.sources import Extended, ExtraLine, Module
from lasersafe.models.starters import starter_values
from lasersafe.models.tolerance import Tolerance
from lasersafe.models.toleranced import Toleranced, replaced, tolerances_of
from lasersafe.models.values import Axes, Knob, SIValue

__all__ = [
    "Aim",
    "Area",
    "Axes",
    "Barrier",
    "Camera",
    "Case",
    "CollimatedSetup",
    "ContinuousEmission",
    "Control",
    "Emission",
    "Extended",
    "ExtraLine",
    "FieldRow",
    "FloorPart",
    "InCharge",
    "Knob",
    "Laser",
    "LensSetup",
    "MeasuredReading",
    "Mode",
    "ModeTableEmission",
    "Module",
    "MultimodeFibreSetup",
    "OnePulse",
    "OtherHazards",
    "Outdoor",
    "Path",
    "Person",
    "PulseListEmission",
    "PulseTrainEmission",
    "SIValue",
    "Scan",
    "Scene",
    "SceneBarrier",
    "SceneOpening",
    "ScenePerson",
    "ScenePlace",
    "Settings",
    "Setup",
    "SignOffRule",
    "SingleModeFibreSetup",
    "SinglePulseEmission",
    "Spot",
    "StrikeOut",
    "Surface",
    "Target",
    "Tolerance",
    "Toleranced",
    "canonical",
    "case_from",
    "check_case",
    "describe_fields",
    "json_schema",
    "parse_case",
    "read_case",
    "read_case_text",
    "replaced",
    "starter_values",
    "tolerances_of",
    "typed_inputs",
]
