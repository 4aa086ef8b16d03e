"""The case file as frozen models: every field described, every fault named with its line.

Numbers are :class:`SIValue`: floats in SI units that keep the text as typed.
"""

from lasersafe.models.case import Case as Case
from lasersafe.models.describe import Toleranced as Toleranced
from lasersafe.models.describe import canonical as canonical
from lasersafe.models.describe import json_schema as json_schema
from lasersafe.models.describe import replaced as replaced
from lasersafe.models.describe import starter_values as starter_values
from lasersafe.models.describe import tolerances_of as tolerances_of
from lasersafe.models.describe import typed_inputs as typed_inputs
from lasersafe.models.emission import Emission as Emission
from lasersafe.models.emission import Mode as Mode
from lasersafe.models.emission import PulseTrainEmission as PulseTrainEmission
from lasersafe.models.laser import Extended as Extended
from lasersafe.models.laser import ExtraLine as ExtraLine
from lasersafe.models.laser import Laser as Laser
from lasersafe.models.laser import Module as Module
from lasersafe.models.laser import Setup as Setup
from lasersafe.models.reading import case_from as case_from
from lasersafe.models.reading import parse_case as parse_case
from lasersafe.models.reading import read_case as read_case
from lasersafe.models.reading import read_case_text as read_case_text
from lasersafe.models.scene import Aim as Aim
from lasersafe.models.scene import Camera as Camera
from lasersafe.models.scene import Scene as Scene
from lasersafe.models.scene import SceneBarrier as SceneBarrier
from lasersafe.models.scene import SceneOpening as SceneOpening
from lasersafe.models.scene import ScenePerson as ScenePerson
from lasersafe.models.scene import Target as Target
from lasersafe.models.site import Area as Area
from lasersafe.models.site import Barrier as Barrier
from lasersafe.models.site import Control as Control
from lasersafe.models.site import MeasuredReading as MeasuredReading
from lasersafe.models.site import Person as Person
from lasersafe.models.site import Settings as Settings
from lasersafe.models.site import Surface as Surface
from lasersafe.models.values import Axes as Axes
from lasersafe.models.values import Knob as Knob
from lasersafe.models.values import Path as Path
from lasersafe.models.values import SIValue as SIValue
from lasersafe.models.values import Spot as Spot
