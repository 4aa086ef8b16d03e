"""How sure a number is: worst corner, Monte Carlo and sensitivity. No result is a probability of injury."""

from lasersafe.hazard.corner import Corner, Uncertain, limits_of, worst_corner
from lasersafe.hazard.monte_carlo import MonteCarlo, monte_carlo
from lasersafe.hazard.sensitivity import Sensitivity, most_to_gain, sensitivity

__all__ = [
    "Corner",
    "MonteCarlo",
    "Sensitivity",
    "Uncertain",
    "limits_of",
    "monte_carlo",
    "most_to_gain",
    "sensitivity",
    "worst_corner",
]
