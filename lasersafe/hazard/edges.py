"""Where the limit tables of rule sets have edges."""

from __future__ import annotations

from collections.abc import Iterable

from lasersafe.limits.grid import grid_of
from lasersafe.limits.tables import load_rule_set


def wavelength_edges(rule_sets: Iterable[str]) -> list[float]:
    """Return the wavelengths at which a limit may jump or turn.

    Parameters
    ----------
    rule_sets : iterable of str
        Names of the rule sets.

    Returns
    -------
    list of float
        Ascending. [m]
    """
    found = {float(e) * 1e-9 for name in rule_sets for tissue in ("eye", "skin")
             for e in grid_of(name, tissue).wavelengths.inner}  # fmt: skip
    found |= {e * 1e-9 for name in rule_sets for row in load_rule_set(name).train_times for e in row.wavelength}
    return sorted(found)


def duration_edges(rule_sets: Iterable[str]) -> list[float]:
    """Return the durations at which a limit may jump or turn: rows of the tables, and the times T_i of the train rules.

    Parameters
    ----------
    rule_sets : iterable of str
        Names of the rule sets.

    Returns
    -------
    list of float
        Ascending. [s]
    """
    found = {float(e) for name in rule_sets for tissue in ("eye", "skin")
             for e in grid_of(name, tissue).durations.inner}  # fmt: skip
    for name in rule_sets:
        rules = load_rule_set(name)
        found |= {row.joined_within for row in rules.train_times}
        found |= {row.counted_over for row in rules.train_times if row.counted_over is not None}
        found |= {rules.longest_pulse, *(end for row in rules.train_factors for end in row.exposure)}
    return sorted(one for one in found if 0.0 < one < float("inf"))
