"""Short numbers under which limits and controls are printed, so that tables can point at them."""

from __future__ import annotations

from lasersafe.results import Assessment, Control, Criterion


class References:
    """Numbers ``L1``, ``L2`` ... of the different limits, and ``C1``, ``C2`` ... of the controls, in printed order."""

    def __init__(self, assessment: Assessment, kinds: tuple[str, ...]) -> None:
        self.limits: dict[Criterion, str] = {}
        self._by_identity: dict[int, str] = {}
        for setup in assessment.setups:
            for zone in setup.zones:
                self.limit(zone.criterion)
        for scenario in assessment.scenarios:
            self.limit(scenario.criterion)
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

    def control(self, text: str) -> str:
        """Return the number of a control, or the text itself when it is not in the list."""
        return self._control_numbers.get(text, text)
