"""The photochemical limit of the retina as a radiance, as it is printed, and the radiance of a source."""

from __future__ import annotations

import math

from lasersafe.errors import OutOfRangeError
from lasersafe.limits import cone_angle, correction_factor, hazard_limits
from lasersafe.optics.extended import ExtendedSource
from lasersafe.reference import load_toml, shared_path


def radiance_limit(rule_set: str, wavelength: float, duration: float) -> tuple[float, str, str]:
    """Return the photochemical limit of the retina as a radiance [1]_.

    Parameters
    ----------
    rule_set : str
        Name of the rule set. Printed for the directive; of another set the limit is divided by the solid angle of its
        cone.
    wavelength : float
        400 nm to 600 nm. [m]
    duration : float
        10 s to 3e4 s. [s]

    Returns
    -------
    float
        Mean radiance over the exposure. [W/m2/sr]
    str
        Where it stands.
    str
        How it was obtained.

    Raises
    ------
    OutOfRangeError
        If the limit does not apply there.

    References
    ----------
    .. [1] EU2006-25, Table 2.3 (``shared/radiance/eu200625_photochemical.toml``).
    """
    if not (400e-9 <= wavelength <= 600e-9 and 10.0 <= duration <= 3e4):
        message = (
            f"radiance limit at {wavelength * 1e9:.6g} nm for {duration:g} s: it covers 400 nm to 600 nm and 10 s to "
            "30000 s"
        )
        raise OutOfRangeError(message)
    blue = float(correction_factor(rule_set, "C_B", wavelength))
    if rule_set != "EU-2006/25/EC":
        row = next(h for h in hazard_limits(rule_set, "eye", wavelength, duration) if h.name == "retina photochemical")
        solid = math.pi / 4.0 * float(cone_angle(rule_set, duration)) ** 2
        return float(row.irradiance) / solid, f"{row.source}; over the solid angle of the cone", "own"
    content = load_toml(shared_path("radiance", "eu200625_photochemical.toml"))
    printed = next(r for r in reversed(content["table"]["row"]) if float(r["duration"][0]) < duration or "dose" in r)
    level = float(printed["dose"]) / duration if "dose" in printed else float(printed["level"])
    source = content["source"]
    return level * blue, f"{source['key']}, {source['locator']}", source["seen"]


def mean_radiance(source: ExtendedSource, power: float) -> float:
    """Return the radiance of the brightest spot of a source, with its own peak over mean (1 when unknown) [W/m2/sr].

    Parameters
    ----------
    source : ExtendedSource
        The source; emitters are taken as ellipses.
    power : float
        Power before its transmittance. [W]

    Returns
    -------
    float
        On the normal; infinity for a point. [W/m2/sr]
    """
    area = math.pi / 4.0 * source.size[0] * source.size[1]
    if not area > 0.0:
        return math.inf
    share = float(source.shares.max()) * source.transmittance * power * (source.peak_over_mean or 1.0)
    if source.spread == "cone":
        return share / area * 4.0 / (math.pi * source.divergence[0] * source.divergence[1])
    return share / area / (math.pi if source.spread == "lambert" else 2.0 * math.pi)
