"""The long run: many random and damaged case files, judged one by one.

::

    python -m tests.fuzz.long_run [--files 100000] [--seed N] [--record docs/soak.json] [--keep FOLDER]

``make soak`` runs it too. ``--keep`` writes the smallest file for each behaviour that no kept file shows yet, and every
file that breaks a rule.
"""

from __future__ import annotations

import argparse
import datetime
import hashlib
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

from tests.fuzz.cases import CaseMaker
from tests.fuzz.corpus import LARGEST, kept_files, smallest, starting_texts
from tests.fuzz.mutate import mutated
from tests.fuzz.oracle import Outcome, judge
from tests.fuzz.toml_text import to_toml
from tests.soak_record import keep_counts

FILES = 100_000
# source -> share of the files
SOURCES = {"made, mostly right": 0.01, "made, some fields wrong": 0.14, "made, then damaged": 0.05, "damaged": 0.8}


@dataclass
class Tally:
    """What became of the files of a run."""

    sources: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    slow: Counter[str] = field(default_factory=Counter)
    behaviours: set[str] = field(default_factory=set)
    broken_rules: list[str] = field(default_factory=list)
    longest: float = 0.0
    seconds: float = 0.0

    def add(self, source: str, outcome: Outcome) -> None:
        """Count one file."""
        self.sources[source] += 1
        self.kinds[outcome.kind] += 1
        self.behaviours.add(f"{outcome.kind}: {outcome.place}")
        self.broken_rules += outcome.problems[:1]
        self.slow[outcome.kind] += outcome.slow
        self.longest = max(self.longest, outcome.seconds)
        self.seconds += outcome.seconds

    def counts(self) -> dict[str, Any]:
        """Return the counts, ready for JSON."""
        return {
            "date": datetime.datetime.now(tz=datetime.UTC).date().isoformat(),
            "files": sum(self.kinds.values()),
            "sources": dict(sorted(self.sources.items())),
            "assessed": self.kinds["assessed"],
            "refused": self.kinds["refused"] + self.kinds["refused when assessed"],
            "broken": self.kinds["broken"],
            "files_against_a_rule": len(self.broken_rules),
            "behaviours": len(self.behaviours),
            "over_two_seconds": sum(self.slow.values()),
            "longest_seconds": round(self.longest, 1),
            "processor_minutes": round(self.seconds / 60.0, 1),
        }


def new_file(random: Random, texts: list[str]) -> tuple[str, bytes]:
    """Return where a file comes from, and its content."""
    source = random.choices(list(SOURCES), list(SOURCES.values()))[0]
    if source == "damaged":
        text = random.choice(texts[:-6] or texts) if random.random() < 0.95 else random.choice(texts)
        return source, mutated(text, random, texts, most=8)
    wild = {"made, mostly right": 0.0, "made, some fields wrong": random.choice((0.03, 0.1, 0.3))}.get(source, 0.01)
    made = to_toml(CaseMaker(random, wild, optional=random.choice((0.02, 0.1, 0.3))).case())
    if source == "made, then damaged":
        return source, mutated(made, random, texts)
    return source, made.encode("utf-8", "surrogatepass")


def run(files: int, seed: int, keep: Path | None = None, say: Callable[[str], None] | None = None) -> Tally:
    """Judge so many files and return what became of them.

    Parameters
    ----------
    files : int
        How many.
    seed : int
        Makes every choice; equal seeds make equal files.
    keep : Path, optional
        Folder for files with a new behaviour and for those that break a rule.
    say : callable
        Takes lines on the way.
    """
    say = partial(print, flush=True) if say is None else say
    tally, texts = Tally(), starting_texts()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.toml"

        def judged(raw: bytes) -> Outcome:
            path.write_bytes(raw)
            return judge(path)

        known = set()
        if keep is not None:
            known = {f"{one.kind}: {one.place}" for one in map(judge, kept_files())}
        last = time.monotonic()
        for number in range(files):
            source, raw = new_file(Random(f"{seed} {number}"), texts)
            outcome = judged(raw)
            tally.add(source, outcome)
            if outcome.problems:
                say(f"file {number} of seed {seed}, {outcome.kind}, {outcome.seconds:.1f} s: {outcome.problems[0]}")
            elif outcome.slow:
                say(f"file {number} of seed {seed}: {outcome.seconds:.1f} s, {len(raw)} bytes")
            new = f"{outcome.kind}: {outcome.place}" not in known
            if keep is not None and (outcome.problems or (new and outcome.kind != "assessed")):
                known.add(f"{outcome.kind}: {outcome.place}")
                keep_file(keep, raw, outcome, judged)
            if time.monotonic() - last > 60.0:
                last = time.monotonic()
                say(f"{number + 1} files: {dict(tally.kinds)}, {len(tally.broken_rules)} against a rule")
    return tally


def keep_file(folder: Path, raw: bytes, outcome: Outcome, judged: Callable[[bytes], Outcome]) -> None:
    """Write the smallest file that behaves as this one did."""

    def same(part: bytes) -> bool:
        found = judged(part)
        return (found.kind, found.place, bool(found.problems)) == (outcome.kind, outcome.place, bool(outcome.problems))

    small = smallest(raw, same, 400 if outcome.seconds < 0.05 else 20)
    if len(small) <= LARGEST or outcome.problems:
        folder.mkdir(parents=True, exist_ok=True)
        name = "broken" if outcome.problems else outcome.kind.split()[0]
        (folder / f"{name}-{hashlib.sha256(small).hexdigest()[:10]}.toml").write_bytes(small)


def main() -> int:
    """Run the command; return 1 when a file broke a rule."""
    parser = argparse.ArgumentParser(description="Judge many random and damaged case files.")
    parser.add_argument("--files", type=int, default=FILES)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--record", type=Path, metavar="FILE", help="keep the counts in this file, as docs/soak.json")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="write files with a new behaviour here")
    options = parser.parse_args()
    seed = int(time.time()) if options.seed is None else options.seed
    tally = run(options.files, seed, options.keep)
    print(tally.counts())
    if options.record is not None:
        keep_counts(options.record, "fuzz", tally.counts())
    return 1 if tally.broken_rules else 0


if __name__ == "__main__":
    raise SystemExit(main())
