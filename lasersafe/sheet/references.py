"""Short numbers of limits, scenarios, controls, sources and notes, by which one part of the sheet points at another."""

from __future__ import annotations

import re
from collections.abc import Iterable

from lasersafe.results import Assessment, Control, Criterion, Scenario

_NUMBERED = re.compile(r"(\D*)(\d+)\Z")


class Footnotes:
    """Texts that are printed once and pointed at by number."""

    def __init__(self, prefix: str = "") -> None:
        self.prefix = prefix
        self.texts: dict[str, str] = {}

    def mark(self, text: str) -> str:
        """Return the number of a text, a new one when it was not met before."""
        return self.texts.setdefault(text, f"{self.prefix}{len(self.texts) + 1}")


class References:
    """Numbers ``L1`` ... of limits, ``S1`` ... of scenarios, ``C1`` ... of controls and ``Q1`` ... of sources."""

    def __init__(self, assessment: Assessment, kinds: tuple[str, ...]) -> None:
        self.sources = Footnotes("Q")
        self.limits: dict[Criterion, str] = {}
        self._by_identity: dict[int, str] = {}
        for setup in assessment.setups:
            for zone in setup.zones:
                self.limit(zone.criterion)
        for scenario in assessment.scenarios:
            self.limit(scenario.criterion)
        self._scenarios = {id(scenario): f"S{number}" for number, scenario in enumerate(assessment.scenarios, 1)}
        self._keys = {scenario.key: self.scenario(scenario) for scenario in assessment.scenarios}
        order = {kind: place for place, kind in enumerate(kinds)}
        self.controls: tuple[Control, ...] = tuple(
            sorted(assessment.controls, key=lambda control: order.get(control.kind, len(order)))
        )
        self._control_numbers = {control.text: f"C{number}" for number, control in enumerate(self.controls, 1)}

    def limit(self, criterion: Criterion) -> str:
        """Return the number of a limit, a new one when it was not met before."""
        found = self._by_identity.get(id(criterion))
        if found is None:
            found = self.limits.setdefault(criterion, f"L{len(self.limits) + 1}")
            self._by_identity[id(criterion)] = found
        return found

    def scenario(self, scenario: Scenario) -> str:
        """Return the number of a scenario of this assessment."""
        return self._scenarios[id(scenario)]

    def by_key(self, key: str) -> str:
        """Return the number of the scenario of that key, or the key itself when there is none."""
        return self._keys.get(key, key)

    def control(self, text: str) -> str:
        """Return the number of a control, or the text itself when it is not in the list."""
        return self._control_numbers.get(text, text)


def joined(labels: Iterable[str]) -> str:
    """Return labels in one line, neighbours drawn together: ``C2, C4–C6``.

    Examples
    --------
    >>> joined(["C2", "C4", "C5", "C6", "see the plan"])
    'C2, C4–C6, see the plan'
    """
    runs: list[list[str]] = []
    last: tuple[str, int] | None = None
    for label in labels:
        match = _NUMBERED.match(label)
        here = (match[1], int(match[2])) if match else None
        if here and last and here == (last[0], last[1] + 1):
            runs[-1].append(label)
        else:
            runs.append([label])
        last = here
    return ", ".join(
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs
    )  # two neighbours gain nothing
