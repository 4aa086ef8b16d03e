"""The coverage-guided run: ``make fuzz``, or ``python -m tests.fuzz.guided [--minutes 10] [--record FILE]``.

atheris (extra ``fuzz``) sees which lines of ``lasersafe`` a file reaches, and goes on from files that reach new ones.
Its changes are those of ``mutate``, which know what a case file looks like, and the bytes of the library itself.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from random import Random
from typing import Any

MISSING = "no coverage-guided run: atheris is not installed; install the extra 'fuzz' for it"


def main() -> int:
    """Run the command; return 1 when a file broke a rule. atheris itself ends the process."""
    parser = argparse.ArgumentParser(description="Judge case files, led by the lines of the program that they reach.")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--record", type=Path, metavar="FILE", help="keep the counts in this file, as docs/soak.json")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="write files that break a rule here")
    options = parser.parse_args()
    try:
        import atheris
    except ImportError:
        print(MISSING)
        return 0
    with atheris.instrument_imports(include=["lasersafe"], enable_loader_override=False):
        from tests.fuzz.oracle import judge
    from tests.fuzz.corpus import kept_files, starting_texts
    from tests.fuzz.long_run import Tally, keep_file
    from tests.fuzz.mutate import mutated
    from tests.soak_record import keep_counts

    tally, texts, folder = Tally(), starting_texts(), Path(tempfile.mkdtemp())
    path = folder / "case.toml"

    last = [time.monotonic()]

    def judged(raw: bytes) -> Any:
        path.write_bytes(raw)
        return judge(path, give_up=60.0)  # the counting of lines makes everything slower

    def one(raw: bytes) -> None:
        outcome = judged(raw)
        tally.add("guided", outcome)
        if time.monotonic() - last[0] > 20.0:  # atheris ends the process without a word
            last[0] = time.monotonic()
            end()
        if outcome.problems:
            print(f"{outcome.kind}, {outcome.seconds:.1f} s: {outcome.problems[0]}", flush=True)
            if options.keep is not None:
                keep_file(options.keep, raw, outcome, judged)

    def change(raw: bytes, most: int, seed: int) -> bytes:
        random = Random(seed)
        if random.random() < 0.1:
            return bytes(atheris.Mutate(raw, most))
        return mutated(raw.decode("utf-8", "surrogateescape"), random, texts)[:most]

    def end() -> None:
        counts = tally.counts()
        print(counts, flush=True)
        if options.record is not None:
            keep_counts(options.record, "guided", counts)

    start = folder / "start"
    start.mkdir()
    for kept in kept_files():
        (start / kept.name).write_bytes(kept.read_bytes())
    if not kept_files():
        (start / "first.toml").write_text(texts[0], encoding="utf-8", errors="surrogateescape")
    words = [sys.argv[0], str(start), f"-max_total_time={options.minutes * 60:.0f}", "-max_len=8000", "-timeout=600"]
    words += [f"-seed={int(time.time()) % 100000}", "-rss_limit_mb=4000", "-print_final_stats=1"]
    words.append(f"-artifact_prefix={folder}/")
    atheris.Setup(words, one, custom_mutator=change)
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
