"""The random scenes of the soak, in parts: ``python -m tests.crosscheck.soak_scenes FIRST COUNT``.

What was worked out is kept in out/soak_scenes.jsonl, a scene a line, so that a run can be stopped and gone on with;
the counts of all scenes in it go into docs/soak.json.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path

from tests.crosscheck.test_scene_random_cases import MANY, Row, counts, rows
from tests.soak_record import keep_counts

KEPT = Path("out") / "soak_scenes.jsonl"


def main() -> None:
    """Work out scenes that are not kept yet, and write the counts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("first", type=int, help="number of the first scene")
    parser.add_argument("count", type=int, help="how many")
    parser.add_argument("--candidates", type=int, default=MANY, help="places and aims that the tracer begins with")
    parser.add_argument("--record", type=Path, default=Path("docs") / "soak.json")
    given = parser.parse_args()
    KEPT.parent.mkdir(exist_ok=True)
    lines = KEPT.read_text(encoding="utf-8").splitlines() if KEPT.is_file() else []
    found = {line["seed"]: [Row(**one) for one in line["rows"]] for line in map(json.loads, lines)}
    for seed in range(given.first, given.first + given.count):
        if seed not in found:
            found[seed] = list(rows(seed, given.candidates))
            with KEPT.open("a", encoding="utf-8") as out:
                out.write(
                    json.dumps({"seed": seed, "rows": [asdict(row) for row in found[seed]]}, default=float) + "\n"
                )
        print(seed, *(f"{r.laser} {r.person}: {r.found:.3g} / {r.said:.3g}" for r in found[seed] if r.wrong))
        keep_counts(given.record, "scenes", counts([row for own in found.values() for row in own]))


if __name__ == "__main__":
    main()
