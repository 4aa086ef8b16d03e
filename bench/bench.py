"""Measure speed and memory as ratios: ``make bench`` prints the table and writes docs/bench.md.

A command is compared with ``python -c "import numpy"`` and an array call with one ``numpy.power`` over as many
numbers, on the same machine and in the same run. Rounds are interleaved, so that a busy spell of the machine falls on
both sides, and the median counts. The exit code is 1 when a ratio is above what is allowed.
"""

from __future__ import annotations

import argparse
import gc
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
POINTS = 1_000_000
MEMORY_ALLOWED = 1e9  # bytes
PROGRAM = [sys.executable, "-c", "from lasersafe.cli import main; main()"]

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


@dataclass(frozen=True)
class Measured:
    """One line of the table."""

    name: str
    ratio: float
    allowed: float
    against: str

    @property
    def ok(self) -> bool:
        """Return whether the ratio is allowed; a NaN is not."""
        return self.ratio <= self.allowed


def medians(jobs: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Return the median time of each job, the rounds interleaved; the first round is not counted."""
    times: dict[str, list[float]] = {name: [] for name in jobs}
    for number in range(rounds + 1):
        for name, job in jobs.items():
            gc.collect()
            start = time.perf_counter()
            job()
            if number:
                times[name].append(time.perf_counter() - start)
    return {name: statistics.median(values) for name, values in times.items()}


def command_ratios(rounds: int) -> list[Measured]:
    """Measure whole commands against a process that only imports numpy."""
    kept = {key: value for key, value in os.environ.items() if key not in ("PYTHONDONTWRITEBYTECODE", "PYTHONPATH")}

    def process(*words: str) -> Callable[[], object]:
        def job() -> object:
            result = subprocess.run(words, cwd=ROOT, env=kept, capture_output=True, text=True, timeout=120, check=False)
            if result.returncode != 0:
                message = f"cannot be measured: {words} ended with {result.returncode}: {result.stderr}"
                raise SystemExit(message)
            return result

        return job

    with tempfile.TemporaryDirectory() as folder:
        times = medians(
            {
                "numpy": process(sys.executable, "-c", "import numpy"),
                "help": process(*PROGRAM, "--help"),
                "limit": process(*PROGRAM, "limit", "--wavelength", "1070 nm", "--duration", "10 s"),
                "demo": process(*PROGRAM, "demo", str(Path(folder) / "demo")),
            },
            rounds,
        )
    against = "python -c 'import numpy'"
    return [
        Measured("lasersafe --help", times["help"] / times["numpy"], 1.0, against),
        Measured("lasersafe limit, one wavelength", times["limit"] / times["numpy"], 3.0, against),
        Measured("lasersafe demo, the sheet with its drawings", times["demo"] / times["numpy"], 12.0, against),
    ]


def array_ratios(rounds: int) -> list[Measured]:
    """Measure a million limits and a million distances against numpy.power over a million numbers."""
    import numpy as np

    from lasersafe.hazard.distances import direct_distance_arrays
    from lasersafe.hazard.sweep import compiled, ratios
    from lasersafe.limits import exposure_limit, rule_sets

    random = np.random.default_rng(1)
    wavelength = random.uniform(180e-9, 3e-6, POINTS)
    duration = 10 ** random.uniform(-13, 4.477, POINTS)
    angle = 10 ** random.uniform(-4, -0.5, POINTS)
    power = 10 ** random.uniform(-3, 4, POINTS)
    limit = 10 ** random.uniform(0, 4, POINTS)
    aperture = random.uniform(1e-3, 7e-3, POINTS)
    waist = 10 ** random.uniform(-4, -1, POINTS)
    divergence = 10 ** random.uniform(-4, -1, POINTS)

    jobs: dict[str, Callable[[], object]] = {"power": lambda: np.power(duration, 0.75)}
    for rule_set in rule_sets():
        for tissue in ("eye", "skin"):
            jobs[f"{rule_set} {tissue}"] = lambda rule_set=rule_set, tissue=tissue: exposure_limit(  # type: ignore[misc]
                rule_set, tissue, wavelength, duration, angle
            )
    pulse, rate = 10 ** random.uniform(-8, np.log10(2e-7), POINTS), 10 ** random.uniform(4.301, 5.699, POINTS)
    energy = np.minimum(1.5e-3, 30.0 / rate)  # the space of the starter case nanosecond-marker
    both = [compiled(rule_set, "eye", 1064e-9, 10.0) for rule_set in rule_sets()]
    jobs["settings"] = lambda: [ratios(one, energy, pulse, rate) for one in both]
    jobs["distances"] = lambda: direct_distance_arrays(power, limit, aperture, waist, divergence)
    times = medians(jobs, rounds)
    against = "numpy.power, as many numbers"
    found = [
        Measured(f"a million limits, {name}", seconds / times["power"], 20.0, against)
        for name, seconds in times.items()
        if name not in ("power", "distances", "settings")
    ]
    sweep = Measured("a million settings, both rule sets", times["settings"] / times["power"], 40.0, against)
    return [*found, sweep, Measured("a million distances", times["distances"] / times["power"], 20.0, against)]


def memory_ratio() -> Measured:
    """Measure the peak memory of a process that works out a million limits."""
    answer = subprocess.run([sys.executable, "-c", MEMORY_PROBE], cwd=ROOT, check=True, capture_output=True, text=True)
    return Measured("peak memory of a million limits", int(answer.stdout) / MEMORY_ALLOWED, 1.0, "1 GB")


def table(rows: list[Measured], markdown: bool) -> str:
    """Return the rows as a table for the terminal or for a page."""
    head = ("what", "measured", "allowed", "against", "ok")
    cells = [(r.name, f"{r.ratio:.2f} x", f"{r.allowed:g} x", r.against, "yes" if r.ok else "NO") for r in rows]
    if markdown:
        lines = [f"| {' | '.join(line)} |" for line in (head, ("---", "---:", "---:", "---", "---"), *cells)]
    else:
        widths = [max(len(line[column]) for line in (head, *cells)) for column in range(len(head))]
        lines = [
            "  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)) for line in (head, *cells)
        ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def main() -> int:
    """Run the measurements; return the exit code."""
    parser = argparse.ArgumentParser(description="Measure speed and memory as ratios.")
    parser.add_argument("--rounds", type=int, default=9, help="how often each job is run")
    parser.add_argument("--no-page", action="store_true", help="leave docs/bench.md as it is")
    options = parser.parse_args()
    sys.path.insert(0, str(ROOT))
    rows = [*command_ratios(options.rounds), *array_ratios(options.rounds), memory_ratio()]
    sys.stdout.write(table(rows, markdown=False))
    if not options.no_page:
        page = (
            "# Speed and memory\n\nMade by `make bench`: the median of several rounds, interleaved, each measured "
            "against something\nthat the same machine did in the same run. Ratios, so that they can be compared "
            "between machines.\n\n"
        )
        (ROOT / "docs" / "bench.md").write_text(page + table(rows, markdown=True), encoding="utf-8")
        sys.stdout.write("written: docs/bench.md\n")
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
