"""Measure speed and memory as ratios: ``make bench``, ``make bench-check``, ``make bench-record``.

A command is compared with ``python -c "import numpy"`` and an array call with one ``numpy.power`` over as many
numbers, each done ten times in a row (see `bench.measuring.in_a_row`), on the same machine and in the same run. Rounds
are interleaved, so that a busy spell of the machine falls on both sides, and the median of the processor time counts.
The exit code is 1 when a ratio is above what is allowed; with ``--check``, when a ratio is above 1.5 times the one on
record.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Mapping

from bench.measuring import ROOT, Line
from bench.recorded import read_recorded, regressions, write_recorded

# A module of measurements has a function ``lines(rounds) -> list[Line]``; its name stands here.
MODULES = ("commands", "arrays", "variation", "fleet", "floor_map", "page")

PAGE = """# Speed and memory

Made by `make bench`: the median of several rounds, interleaved, each measured against something
that the same machine did in the same run. Ratios, so that they can be compared between machines. What counts is the
time of the processor, which a busy machine changes little; the time on the clock stands beside it. Array calls and
`numpy.power` are done ten times in a row, so that results lie in memory that the process has already, and the map is
measured against calls of `numpy.exp` into arrays that are there before. `make bench-check` fails when a line is more
than 1.5 times its ratio on record. On a processor without AVX-512 numpy's `power` and `exp` take three to five times
as long, and what is measured against them looks as much quicker: the ratios on record are of one where they are quick.

"""

GROWTH = """
## Growth

`python -m bench.variation` draws the inputs of a NOHD (power, beam diameter, divergence) 1000 to 10 million times and
writes this chart and [its numbers](bench_growth.json). The time grows in proportion; below 100 000 draws what is done
once for all draws shows.

![Time of the draws by their number](bench_growth.svg)
"""


def table(rows: list[Line], recorded: Mapping[str, float], markdown: bool) -> str:
    """Return the rows as a table for the terminal or for a page."""
    head = ("what", "measured", "allowed", "on record", "on the clock", "against", "ok")
    cells = [
        (
            row.name,
            f"{row.ratio:.2f} x",
            f"{row.allowed:g} x",
            f"{recorded[row.name]:.2f} x" if row.name in recorded else "-",
            f"{row.clock_ratio:.2f} x" if row.clock_ratio is not None else "-",
            row.against,
            "yes" if row.ok else "NO",
        )
        for row in rows
    ]
    if markdown:
        rule = ("---", "---:", "---:", "---:", "---:", "---", "---")
        lines = [f"| {' | '.join(line)} |" for line in (head, rule, *cells)]
    else:
        widths = [max(len(line[column]) for line in (head, *cells)) for column in range(len(head))]
        lines = [
            "  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)) for line in (head, *cells)
        ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def main(words: list[str] | None = None) -> int:
    """Run the measurements; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m bench", description="Measure speed and memory as ratios.")
    parser.add_argument("--rounds", type=int, default=9, help="how often each job is run")
    parser.add_argument("--only", action="append", choices=MODULES, help="one group of lines; may be repeated")
    parser.add_argument("--check", action="store_true", help="fail above 1.5 times the ratio on record, write no page")
    parser.add_argument("--record", action="store_true", help="write bench/recorded.json")
    parser.add_argument("--no-page", action="store_true", help="leave docs/bench.md as it is")
    options = parser.parse_args(words)
    rows = []
    for name in options.only or MODULES:
        rows += importlib.import_module(f"bench.{name}").lines(options.rounds)
    recorded = read_recorded()
    if options.record:
        write_recorded(rows)
        recorded = read_recorded()
    sys.stdout.write(table(rows, recorded, markdown=False))
    if options.check:
        worse = regressions(rows, recorded)
        sys.stdout.write("".join(f"slower: {sentence}\n" for sentence in worse))
        return 1 if worse else 0
    if not options.no_page and not options.only:
        (ROOT / "docs" / "bench.md").write_text(PAGE + table(rows, recorded, markdown=True) + GROWTH, encoding="utf-8")
        sys.stdout.write("written: docs/bench.md\n")
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
