"""What falls on the barriers of a scene and on their view windows, and whether they hold."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.barriers import beam_numbers, judged, load_of, needed_time, plain, scatter_numbers
from lasersafe.assessment.barriers import together as together
from lasersafe.assessment.context import power_of_all
from lasersafe.hazard.barriers import Load, Rating, judge_window
from lasersafe.hazard.scatter import CLOSEST_VIEW
from lasersafe.optics.beam import diameters, peak_exposure
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.records.light import Step
from lasersafe.scene.beams import BeamProfile, ScatterProfile
