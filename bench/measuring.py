"""What a measurement is, and how jobs are timed.

Time is processor time, of this process and of the processes that it started: a busy machine changes it little, while
the time on the clock doubles when something else runs. The time on the clock stands beside it, for information.
"""

from __future__ import annotations

import gc
import os
import resource
import statistics
import subprocess
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parent.parent

IN_A_ROW = 10
Floats = NDArray[np.float64]
Job = Callable[[], object]


@dataclass(frozen=True)
class Spent:
    """Median time of a job, in seconds: of the processor, and on the clock."""

    processor: float
    clock: float


@dataclass(frozen=True)
class Line:
    """One line of the table; the name is the key in bench/recorded.json."""

    name: str
    ratio: float
    allowed: float
    against: str
    clock_ratio: float | None = None

    @property
    def ok(self) -> bool:
        """Return whether the ratio is allowed; a NaN is not."""
        return self.ratio <= self.allowed


def line(name: str, spent: Spent, base: Spent, allowed: float, against: str) -> Line:
    """Return the line of a job that is measured against another one."""
    return Line(name, spent.processor / base.processor, allowed, against, spent.clock / base.clock)


def medians(jobs: Mapping[str, Job], rounds: int) -> dict[str, Spent]:
    """Return the median time of each job; the rounds are interleaved, and the first one is not counted."""
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in jobs}
    for number in range(rounds + 1):
        for name, job in jobs.items():
            gc.collect()
            start, before = time.perf_counter(), _processor()
            job()
            if number:
                times[name].append((_processor() - before, time.perf_counter() - start))
    return {name: Spent(*map(statistics.median, zip(*values, strict=True))) for name, values in times.items()}


def in_a_row(job: Job) -> Job:
    """Return a job that does another several times, as array calls and what they are measured against are timed.

    Each result is given back before the next is made, so that all but the first lie in memory that the process has
    already. A single call among others takes up to 1.7 times as long, as what ran before has left the memory.
    """

    def jobs() -> object:
        for _ in range(IN_A_ROW):
            job()
        return None

    return jobs


def _processor() -> float:
    """Return the processor time of this process and of its children that have ended; ``process_time`` ticks finer."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def process(*words: str) -> Job:
    """Return a job that runs a command; one that is refused (2 and more) or breaks ends the measurement."""
    kept = {key: value for key, value in os.environ.items() if key not in ("PYTHONDONTWRITEBYTECODE", "PYTHONPATH")}

    def job() -> object:
        result = subprocess.run(words, cwd=ROOT, env=kept, capture_output=True, text=True, timeout=120, check=False)
        if result.returncode > 1 or "Traceback" in result.stderr:
            message = f"cannot be measured: {words} ended with {result.returncode}: {result.stderr}"
            raise SystemExit(message)
        return result

    return job
