"""Widths on other criteria; what is physically possible of an input, and how far a standard uncertainty counts."""

from __future__ import annotations

import math

# of a Gaussian, how many times the width at 1/e of the peak one on another criterion is
OVER_1_E = {"1/e": 1.0, "1/e2": math.sqrt(2.0), "FWHM": math.sqrt(math.log(2.0))}
# twice the numerical aperture of a fibre over the full angle at 1/e, by where the aperture was read
FIBRE_FACTOR = {"5 %": 1.7, "1/e2": math.sqrt(2.0), "1/e": 1.0}
COVERAGE = 2.0  # standard uncertainties to each side: about 95 % of a normal distribution (JCGM 100:2008, from memory)
PHYSICAL = {  # lowest and highest value, and whether the lowest itself is refused; every other input: above 0
    "work_distance": (0.0, math.inf, False),
    "measured_at": (0.0, math.inf, False),
    "waist_at": (-math.inf, math.inf, False),
    "numerical_aperture": (0.0, math.nextafter(1.0, 0.0), True),
    "reflectance": (0.0, 1.0, False),
    "behind_reflectance": (0.0, 1.0, False),
    "transmittance": (0.0, 1.0, False),
    "filter_transmission": (0.0, 1.0, False),
    "share": (0.0, 1.0, True),
    "view_angle": (0.0, math.pi / 2.0, False),
    "duty": (0.0, 1.0, True),
    "peak_over_mean": (1.0, math.inf, False),
    "uncertainty": (0.0, math.inf, False),
    "normal": (-math.inf, math.inf, False),
    "tilt": (-math.inf, math.inf, False),
}
_POSITIVE = (0.0, math.inf, True)


def physical_range(name: str) -> tuple[float, float, bool]:
    """Return what is physically possible of an input.

    Parameters
    ----------
    name : str
        The input, as in the case file; of an oblong width with ``.x`` or ``.y``.

    Returns
    -------
    tuple of float, float, bool
        Lowest and highest value [any], and whether the lowest itself is refused.
    """
    return PHYSICAL.get(name.partition(".")[0], _POSITIVE)


def covered(name: str, nominal: float, low: float, high: float) -> tuple[float, float]:
    """Return the lowest and highest value that a standard uncertainty stands for [1]_.

    Parameters
    ----------
    name : str
        The input.
    nominal, low, high : float
        The value; less and plus one standard uncertainty. [any]

    Returns
    -------
    tuple of float
        Twice the uncertainty to each side, inside what is physically possible. The lowest value is a bound that is
        itself refused, as 0, where twice reaches it: there is no worst case then, and the caller has to refuse. [any]

    References
    ----------
    .. [1] JCGM100, 6.2 and 6.3, coverage factor 2 for about 95 % (from memory).

    Examples
    --------
    >>> covered("divergence", 3e-3, 2.5e-3, 3.5e-3)
    (0.002, 0.004)
    >>> covered("beam_diameter", 6e-3, 2e-3, 10e-3)[0]
    0.0
    """
    lowest, highest, _ = physical_range(name)
    return max(nominal - COVERAGE * (nominal - low), lowest), min(nominal + COVERAGE * (high - nominal), highest)
