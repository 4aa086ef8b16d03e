"""A million limits, settings and distances against ``numpy.power`` over a million numbers, and the memory they need."""

from __future__ import annotations

import subprocess
import sys

from bench.measuring import ROOT, Job, Line, in_a_row, line, medians

POINTS = 1_000_000
MEMORY_ALLOWED = 1e9  # bytes

MEMORY_PROBE = f"""
import resource, sys
import numpy as np
from lasersafe.limits import exposure_limit
random = np.random.default_rng(1)
wavelength = random.uniform(180e-9, 3e-6, {POINTS})
duration = 10 ** random.uniform(-13, 4.477, {POINTS})
angle = 10 ** random.uniform(-4, -0.5, {POINTS})
result = exposure_limit("ICNIRP-2013", "eye", wavelength, duration, angle)
assert np.isfinite(result.irradiance).all()
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(peak if sys.platform == "darwin" else peak * 1024)
"""


def lines(rounds: int) -> list[Line]:
    """Measure the array calls and the memory."""
    import numpy as np

    from lasersafe.hazard.distances import direct_distance
    from lasersafe.hazard.exposure import trains_at
    from lasersafe.limits import exposure_limit, rule_sets
    from lasersafe.optics.beam import BeamGeometry

    random = np.random.default_rng(1)
    wavelength = random.uniform(180e-9, 3e-6, POINTS)
    duration = 10 ** random.uniform(-13, 4.477, POINTS)
    angle = 10 ** random.uniform(-4, -0.5, POINTS)
    power = 10 ** random.uniform(-3, 4, POINTS)
    limit = 10 ** random.uniform(0, 4, POINTS)
    aperture = random.uniform(1e-3, 7e-3, POINTS)
    waist = 10 ** random.uniform(-4, -1, POINTS)
    divergence = 10 ** random.uniform(-4, -1, POINTS)
    beams = BeamGeometry((waist, waist), (divergence, divergence))

    jobs: dict[str, Job] = {"power": lambda: np.power(duration, 0.75)}
    for rule_set in rule_sets():
        for tissue in ("eye", "skin"):
            jobs[f"a million limits, {rule_set} {tissue}"] = lambda rule_set=rule_set, tissue=tissue: exposure_limit(  # type: ignore[misc]
                rule_set, tissue, wavelength, duration, angle
            )
    pulse, rate = 10 ** random.uniform(-8, np.log10(2e-7), POINTS), 10 ** random.uniform(4.301, 5.699, POINTS)
    energy = np.minimum(1.5e-3, 30.0 / rate)  # the space of the starter case nanosecond-marker
    both = [trains_at(rule_set, "eye", 1064e-9, 10.0) for rule_set in rule_sets()]
    jobs["a million settings, both rule sets"] = lambda: [energy / one.per_pulse(pulse, rate) for one in both]
    jobs["a million distances"] = lambda: direct_distance(power, limit, aperture, beams)
    spent = medians({name: in_a_row(job) for name, job in jobs.items()}, rounds)
    base = spent.pop("power")
    allowed = {"a million settings, both rule sets": 40.0, "a million distances": 6.0}
    against = "numpy.power, as many numbers"
    found = [line(name, one, base, allowed.get(name, 10.0), against) for name, one in spent.items()]
    return [*found, memory()]


def memory() -> Line:
    """Measure the peak memory of a process that works out a million limits."""
    answer = subprocess.run([sys.executable, "-c", MEMORY_PROBE], cwd=ROOT, check=True, capture_output=True, text=True)
    return Line("peak memory of a million limits", int(answer.stdout) / MEMORY_ALLOWED, 1.0, "1 GB")
