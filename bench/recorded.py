"""The ratios on record, and the check against them."""

from __future__ import annotations

import json
from pathlib import Path

from bench.measuring import ROOT, Line

RECORDED = ROOT / "bench" / "recorded.json"
REGRESSION = 1.5


def read_recorded(path: Path = RECORDED) -> dict[str, float]:
    """Return name -> ratio on record; empty when nothing was recorded."""
    return dict(json.loads(path.read_text(encoding="utf-8"))) if path.is_file() else {}


def write_recorded(rows: list[Line], path: Path = RECORDED) -> None:
    """Put the ratios on record; lines that were not measured keep theirs."""
    known = read_recorded(path) | {row.name: round(row.ratio, 3) for row in rows}
    path.write_text(json.dumps(known, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")


def regressions(rows: list[Line], recorded: dict[str, float]) -> list[str]:
    """Return one sentence for each line that is slower than its record allows, or that has no record."""
    found = []
    for row in rows:
        if row.name not in recorded:
            found.append(f"{row.name}: nothing on record; run: make bench-record")
        elif not row.ratio <= REGRESSION * recorded[row.name]:
            highest = REGRESSION * recorded[row.name]
            found.append(f"{row.name}: {row.ratio:.2f} x is above {REGRESSION:g} times the record, {highest:.2f} x")
    return found
