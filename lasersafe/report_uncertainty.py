"""How sure the distances are, as plain data and as text."""

from __future__ import annotations

import math
from typing import Any

from lasersafe.quantity import format_quantity
from lasersafe.results import Assessment
from lasersafe.results_uncertainty import DistanceSpread


def finite(value: float | None) -> float | None:
    """Return a number that JSON knows, None for all others."""
    return None if value is None or not math.isfinite(value) else value


def uncertainty_json(a: Assessment) -> dict[str, Any]:
    """Return tolerances, spreads and influences, ready for JSON."""
    found = a.uncertainty
    return {
        "decided_by": "as typed" if found.as_typed else "worst corner",
        "as_typed_reason": found.as_typed or None,
        "corners_worked_out": found.corners,
        "measure": found.measure,
        "inputs": [
            {
                "field": i.field, "typed": i.typed, "unit": i.unit, "nominal": i.nominal, "lowest": i.low,
                "highest": i.high, "kind": i.kind, "used": list(i.used), "worse_end": i.found,
            }
            for i in found.inputs
        ],
        "distances": [
            {
                "laser": s.laser, "setup": s.setup, "way": s.way, "tissue": s.tissue,
                "nominal_m": finite(s.nominal), "worst_corner_m": finite(s.worst),
                "one_sided_95_percent_m": finite(s.upper), "monte_carlo_error_m": finite(s.upper_error),
                "draws": s.draws, "seed": s.seed, "note": s.note,
                "influences": [
                    {
                        "input": n.name, "percent_per_percent": finite(n.exponent),
                        "at_lowest_m": finite(n.low), "at_highest_m": finite(n.high),
                        "worst_if_known_m": finite(n.known),
                    }
                    for n in s.influences
                ],
            }
            for s in found.spreads
        ],
    }  # fmt: skip


def uncertainty_text(a: Assessment) -> list[str]:
    """Return the lines on how sure the distances are; none where no input carries a tolerance."""
    if not a.uncertainty.inputs:
        return []
    lines = ["", "how sure the distances are (nominal; 95 % of the draws up to; worst corner):"]
    lines += [_line(s) for s in a.uncertainty.spreads]
    return [*lines, a.uncertainty.measure] if a.uncertainty.measure else lines


def _line(s: DistanceSpread) -> str:
    name = f"  {s.laser}, {s.setup}, {s.way}, {s.tissue}:"
    worst = format_quantity(s.worst, "m", 3, "up") if math.isfinite(s.worst) else "no bound"
    if s.upper is None or s.upper_error is None:
        return f"{name} worst corner {worst}" + (f" ({s.note})" if s.note else "")
    nominal, upper = format_quantity(s.nominal, "m", 3, "up"), format_quantity(s.upper, "m", 3, "up")
    error = format_quantity(s.upper_error, "m", 2, "up")
    return f"{name} {nominal}; {upper} +- {error} ({s.draws} draws, seed {s.seed}); {worst}"
