"""A million Monte Carlo draws of a hazard distance through the public functions, their memory, and how they grow."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable

from bench.measuring import IN_A_ROW, ROOT, Job, Line, Spent, in_a_row, line, medians

DRAWS = 1_000_000
OVAL_DRAWS = 100_000
MEMORY_ALLOWED = 1e9  # bytes
SIZES = (1_000, 10_000, 100_000, 1_000_000, 10_000_000)
GROWTH = (ROOT / "docs" / "bench_growth.svg", ROOT / "docs" / "bench_growth.json")

PROBE = f"""
import resource, sys
from bench.variation import nohd_of
nohd_of("free", {DRAWS})()
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(peak if sys.platform == "darwin" else peak * 1024)
"""


def nohd_of(kind: str, draws: int) -> Callable[[], object]:
    """Return the job that draws the inputs of a starter case and works out its NOHD under both rule sets.

    ``free``: power, diameter and divergence of the bare welding head; ``colour``: power, divergence and wavelength of
    it; ``oval``: power and both divergences of the blue diode's collimated beam, which is elliptical.
    """
    from lasersafe.assessment.context import contexts
    from lasersafe.assessment.distances import variable_inputs, zone_distances
    from lasersafe.data import templates_path
    from lasersafe.hazard.tolerances import Uncertain, monte_carlo
    from lasersafe.limits import rule_sets
    from lasersafe.models import read_case

    template, setup = ("visible-diode", "Collimator") if kind == "oval" else ("handheld-welder", "Bare head")
    case = read_case(templates_path("cases", f"{template}.toml"))
    case = case.model_copy(update={"person": ()})  # for the usual time, not that of somebody who looks on purpose
    own = next(one for one in contexts(case, rule_sets()) if one.setup.name.startswith(setup))
    names = {
        "free": ("power", "beam_diameter", "divergence"),
        "colour": ("power", "divergence", "wavelength"),
        "oval": ("power", "divergence.x", "divergence.y"),
    }[kind]
    nominal = variable_inputs(own)
    spread = {"wavelength": 0.005}
    inputs = []
    for name in names:
        value, u = nominal[name], spread.get(name, 0.05)
        inputs.append(Uncertain(name, value, value * (1 - u), value * (1 + u), "standard uncertainty"))
    return lambda: monte_carlo(lambda c: zone_distances(own, "direct", "eye", c), inputs, draws=draws, seed=1)


def lines(rounds: int) -> list[Line]:
    """Measure the draws and the memory."""
    import numpy as np

    numbers = np.random.default_rng(1).uniform(0.5, 1.0, DRAWS)
    oval = "100 000 Monte Carlo draws of a NOHD, elliptical beam"
    jobs: dict[str, Job] = {
        "power": in_a_row(lambda: np.power(numbers, 0.75)),
        "a million Monte Carlo draws of a NOHD": in_a_row(nohd_of("free", DRAWS)),
        "a million Monte Carlo draws of a NOHD, wavelength too": in_a_row(nohd_of("colour", DRAWS)),
        oval: nohd_of("oval", OVAL_DRAWS),  # in small blocks, so that the memory of its result does not matter
    }
    spent = medians(jobs, rounds)
    base = spent.pop("power")
    share = OVAL_DRAWS / DRAWS / IN_A_ROW
    few = Spent(base.processor * share, base.clock * share)
    against = "numpy.power, as many numbers"
    found = [line(name, one, few if name == oval else base, 600.0 if name == oval else 20.0, against)
             for name, one in spent.items()]  # fmt: skip
    answer = subprocess.run([sys.executable, "-c", PROBE], cwd=ROOT, check=True, capture_output=True, text=True)
    peak = Line("peak memory of a million Monte Carlo draws", int(answer.stdout) / MEMORY_ALLOWED, 1.0, "1 GB")
    return [*found, peak]


def growth(rounds: int = 5) -> dict[int, float]:
    """Return the processor time of the draws by their number, over that of one numpy.power over a million numbers."""
    import numpy as np

    numbers, found = np.random.default_rng(1).uniform(0.5, 1.0, DRAWS), {}
    power = in_a_row(lambda: np.power(numbers, 0.75))
    for size in SIZES:
        job = nohd_of("free", size)
        job()
        times, base = [], []
        for _ in range(rounds if size < SIZES[-1] else 3):
            start = time.process_time()
            power()
            middle = time.process_time()
            job()
            times.append(time.process_time() - middle)
            base.append((middle - start) / IN_A_ROW)
        found[size] = statistics.median(times) / statistics.median(base)
    return found


def chart(found: dict[int, float]) -> str:
    """Return the growth as an SVG drawing: both scales logarithmic, with a line of slope 1 through the last point."""
    import math

    from lasersafe.drawing.primitives import Drawing, Lines, Mark, Words, to_svg

    wide, high, left, low = 150.0, 90.0, 22.0, 18.0
    top = 10.0 ** math.ceil(math.log10(max(found.values())))
    bottom = 10.0 ** math.floor(math.log10(min(found.values())))
    sizes = sorted(found)

    def at(size: float, ratio: float) -> tuple[float, float]:
        x = left + (wide - left - 8.0) * math.log10(size / sizes[0]) / math.log10(sizes[-1] / sizes[0])
        return x, low + (high - low - 10.0) * math.log10(ratio / bottom) / math.log10(top / bottom)

    marks: list[Mark] = []
    ratio = bottom
    while ratio <= top * 1.001:
        marks.append(Lines((((left, at(sizes[0], ratio)[1]), (wide - 8.0, at(sizes[0], ratio)[1])),), "#cccccc", 0.15))
        marks.append(Words(left - 14.0, at(sizes[0], ratio)[1] - 1.0, f"{ratio:g} x", 3.0, ink="#333333"))
        ratio *= 10.0
    for size in sizes:
        x, _ = at(size, bottom)
        marks.append(Lines((((x, low), (x, high - 10.0)),), "#cccccc", 0.15))
        marks.append(Words(x - 5.0, low - 5.0, f"10^{math.log10(size):.0f}", 3.0, ink="#333333"))
    last = found[sizes[-1]]
    straight = [at(size, max(last * size / sizes[-1], bottom)) for size in sizes if last * size / sizes[-1] >= bottom]
    marks.append(Lines((tuple(straight),), "#999999", 0.4, (2.0, 1.5)))
    marks.append(Lines((tuple(at(size, found[size]) for size in sizes),), "#00558c", 0.7))
    marks += [
        Words(left, high - 6.0, "Time of the draws over that of numpy.power over a million numbers", 3.2),
        Words(left + 40.0, 5.0, "Monte Carlo draws of a NOHD; dashed: proportional", 3.2),
    ]
    return to_svg(Drawing("chart", "Growth of the Monte Carlo draws", wide, high, (0.0, 0.0, wide, high), 0, marks))


if __name__ == "__main__":
    import json

    measured = growth()
    GROWTH[1].write_text(json.dumps({str(k): round(v, 3) for k, v in measured.items()}, indent=2) + "\n", "utf-8")
    GROWTH[0].write_text(chart(measured), encoding="utf-8")
    sys.stdout.write("".join(f"{size:>10d} draws: {ratio:8.2f} x\n" for size, ratio in measured.items()))
