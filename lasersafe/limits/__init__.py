"""Exposure limits: editions as data, one evaluator for all."""

from lasersafe.limits.bursts import burst_train_limit
from lasersafe.limits.explain import angle_max, correction_factor, explain, source_factor, time_t2
from lasersafe.limits.exposure import ExposureLimit, HazardLimit, cone_angle, exposure_limit, hazard_limits
from lasersafe.limits.pulse_lists import pulse_list_limit
from lasersafe.limits.pulses import PulseTrainLimit, TrainRow, count_pulses, pulse_train_limit
from lasersafe.limits.tables import rule_sets

__all__ = [
    "ExposureLimit",
    "HazardLimit",
    "PulseTrainLimit",
    "TrainRow",
    "angle_max",
    "burst_train_limit",
    "cone_angle",
    "correction_factor",
    "count_pulses",
    "explain",
    "exposure_limit",
    "hazard_limits",
    "pulse_list_limit",
    "pulse_train_limit",
    "rule_sets",
    "source_factor",
    "time_t2",
]
