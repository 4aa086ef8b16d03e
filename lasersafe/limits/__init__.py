"""Exposure limits: editions as data, one evaluator for all."""

from lasersafe.limits.explain import angle_max, correction_factor, explain, source_factor, time_t2
from lasersafe.limits.exposure import ExposureLimit, HazardLimit, cone_angle, exposure_limit, hazard_limits
from lasersafe.limits.pulse_results import PulseTrainLimit, TrainRow
from lasersafe.limits.pulses import count_pulses, pulse_train_limit
from lasersafe.limits.tables import rule_sets

__all__ = [
    "ExposureLimit",
    "HazardLimit",
    "PulseTrainLimit",
    "TrainRow",
    "angle_max",
    "cone_angle",
    "correction_factor",
    "count_pulses",
    "explain",
    "exposure_limit",
    "hazard_limits",
    "pulse_train_limit",
    "rule_sets",
    "source_factor",
    "time_t2",
]
