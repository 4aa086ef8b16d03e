"""Exposure limits: editions as data, one evaluator for all."""

from lasersafe.limits.exposure import (
    ExposureLimit,
    angle_max,
    cone_angle,
    correction_factor,
    count_pulses,
    explain,
    exposure_limit,
    hazard_limits,
    source_factor,
    time_t2,
)
from lasersafe.limits.pulses import pulse_list_limit, pulse_train_limit
from lasersafe.limits.tables import PulseTrainLimit, TrainRow, rule_sets

__all__ = [
    "ExposureLimit", "PulseTrainLimit", "TrainRow", "angle_max", "cone_angle", "correction_factor", "count_pulses",
    "explain", "exposure_limit", "hazard_limits", "pulse_list_limit", "pulse_train_limit", "rule_sets",
    "source_factor", "time_t2",
]  # fmt: skip
