"""Where on the floor light exceeds a limit: areas of what is not proven below, and the exposure map over squares."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.optics.beam import unique
from lasersafe.records.scene import HazardMap, Polygon
from lasersafe.scene.beams import BeamProfile, Box
from lasersafe.scene.bound import Asked, Places, Question, bounds
from lasersafe.scene.lights import Light, Lights, total
