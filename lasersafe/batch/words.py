"""What the command ``batch`` prints."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from lasersafe.batch.run import Summary
from lasersafe.outputs import Output, write_outputs
from lasersafe.quantity import format_quantity
from lasersafe.reference import templates_path
from lasersafe.typed import shown
from lasersafe.wording import load_wording


def write_template(path: Path, replace: bool) -> dict[str, Any]:
    """Write an inventory to start from, and return what to print."""
    write_outputs([Output(path, templates_path("inventory", "example.csv").read_bytes())], replace=replace)
    return {"inventory": str(path)}


def refused_lines(summary: Summary) -> list[str]:
    """Return the refused cases with their reasons, the first of them."""
    if not summary.refused:
        return []
    noun = "case" if summary.refused == 1 else "cases"
    found = [f"{summary.refused} {noun} refused, without any result:"]
    for row in summary.refused_rows:
        where = [f"line {row['line']}"] if row["line"] is not None else []
        where += [shown(row["case"])] if row["case"] else []
        found.append(f"  {', '.join(where)}: {row['reason']}")
    more = summary.refused - len(summary.refused_rows)
    if more:
        found.append(f"  and {more} more; all reasons stand in the result")
    return found


def summary_lines(summary: Summary) -> list[str]:
    """Return what a batch did, in a few lines that end in the caution."""
    taken = summary.taken_over
    noun = "case" if summary.cases == 1 else "cases"
    found = [
        f"{summary.cases} {noun}: {summary.assessed} assessed, {summary.refused} refused"
        + (f"; {taken} taken over, {summary.worked_out} worked out now" if taken else ""),
        f"the verdict passes for {summary.passed} of {summary.assessed}",
    ]
    if summary.farthest is not None:
        distance, line = summary.farthest["distance_m"], summary.farthest["line"]
        words = format_quantity(distance, "m", 3, "up") if math.isfinite(distance) else "no bound"
        place = shown(summary.farthest["case"]) + (f", line {line}" if line is not None else "")
        found.append(f"the farthest distance: {words}, {place}")
    found += [f"result: {path}" for path in summary.outputs]
    if summary.case_files:
        found.append(f"case files: {summary.case_files}")
    return [*found, load_wording().caution_short]
