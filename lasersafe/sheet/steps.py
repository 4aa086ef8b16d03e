"""Every step of the calculation: symbol, formula, numbers put in, result, source."""

from __future__ import annotations

from collections.abc import Sequence

from lasersafe.results import Assessment, Step
from lasersafe.sheet.flow import BODY, TINY, TINY_BOLD, TINY_NOTE, Flow, Part, Row, faint, strong
from lasersafe.sheet.front import limit_text, named
from lasersafe.sheet.references import References
from lasersafe.sheet.text import unit_text
from lasersafe.sheet.values import number, plain
from lasersafe.wording import Wording

_SHADE = 0.95
_KEEP = 26.0
_SHARES = (8, 22.5, 25, 28, 14, 14)
_KEYS = ("symbol", "meaning", "formula", "numbers", "result", "source")


class _Calculation:
    """Rows of one table of steps; a list of steps that was printed before is pointed at."""

    def __init__(self, wording: Wording, references: References) -> None:
        self.wording = wording
        self.sources = references.sources
        self.printed: dict[tuple[Step, ...], str] = {}
        self.rows: list[Row] = []
        self.count = 0

    def group(
        self,
        title: str,
        steps: Sequence[Step],
        notes: Sequence[str] = (),
        label: str = "",
        without: str = "steps.no_steps",
    ) -> None:
        """Add a titled group of steps, with a running number unless it has a ``label``; ``without`` them, say so."""
        if not label:
            self.count += 1
            label = str(self.count)
        key = tuple(steps)
        before = self.printed.setdefault(key, label) if key else ""
        head = [strong(f"{label}  {title}")]
        known = bool(key) and before == label
        if not known:
            same = self.wording.text("steps.same", reference=before) if key else self.wording.text(without)
            head.append(faint(same))
        head += [faint(note) for note in notes if note]
        self.rows.append(Row((), head, _SHADE, keep=_KEEP if known else 0.0))
        if known:
            self.rows.extend(self._step(step) for step in steps)

    def _step(self, step: Step) -> Row:
        unit = "" if step.unit in ("", "1") else f"\u00a0{unit_text(step.unit)}"
        source = self.sources.mark(step.source or self.wording.text("steps.no_source"))
        return Row(
            (
                Part(step.symbol, TINY_BOLD, formula=True),
                Part(step.meaning, TINY_NOTE, formula="_" in step.meaning),
                Part(step.formula, TINY, formula=True),
                Part(step.numbers, TINY, formula=True),
                strong(plain(step.value) + unit),
                faint(f"{source} {named(self.wording, 'seen', step.seen)}"),
            )
        )

    def print(self, flow: Flow) -> None:
        """Print the collected rows as one table and forget them."""
        if self.rows:
            flow.table([self.wording.text(f"steps.{key}") for key in _KEYS], _SHARES, self.rows, 1.2)
        self.rows = []


def steps(flow: Flow, assessment: Assessment, wording: Wording, references: References) -> None:
    """Print the calculation: limits first, then set-ups, scenarios, eyewear and barriers, then the sources."""
    text = wording.text
    flow.heading(text("steps.heading"), 0, keep=120.0)
    flow.paragraph(text("steps.intro"), BODY)
    work = _Calculation(wording, references)
    if references.limits:
        flow.heading(text("steps.limits"), 1)
        for criterion, label in references.limits.items():
            tissue = named(wording, "tissue", criterion.tissue)
            mark = named(wording, "seen", criterion.seen)
            source = text("hazards.source", source=criterion.source, mark=mark)
            title = f"{tissue}: {limit_text(criterion, wording)}"
            work.group(title, criterion.steps, (source, criterion.note), label, "steps.elsewhere")
        work.print(flow)
    for setup in assessment.setups:
        flow.heading(text("steps.setup", laser=setup.laser, setup=setup.setup), 1)
        work.group(text("steps.beam"), setup.steps)
        for zone in setup.zones:
            way, tissue = named(wording, "way", zone.way), named(wording, "tissue", zone.tissue)
            title = text("steps.zone", way=way, tissue=tissue, reference=references.limit(zone.criterion))
            work.group(title, zone.steps)
        work.print(flow)
    _scenarios(flow, assessment, wording, references, work)
    _others(flow, assessment, wording, work)
    if references.sources.texts:
        flow.heading(text("steps.sources"), 1)
        flow.footnotes(references.sources.texts)


def _scenarios(
    flow: Flow, assessment: Assessment, wording: Wording, references: References, work: _Calculation
) -> None:
    text = wording.text
    places = dict.fromkeys((scenario.laser, scenario.setup) for scenario in assessment.scenarios)
    for laser, setup in places:
        flow.heading(text("steps.scenarios", laser=laser, setup=setup), 1)
        for scenario in assessment.scenarios:
            if (scenario.laser, scenario.setup) != (laser, setup):
                continue
            title = text(
                "steps.scenario",
                person=scenario.person,
                way=named(wording, "way", scenario.way),
                tissue=named(wording, "tissue", scenario.tissue),
                reference=references.limit(scenario.criterion),
            )
            sets = ", ".join(f"{name} {number(value, 4, 'up')}" for name, value in scenario.ratio_by_rule_set.items())
            if sets:
                title = f"{title}; {text('steps.by_rule_set', values=sets)}"
            work.group(title, scenario.steps, label=references.scenario(scenario))
        work.print(flow)


def _others(flow: Flow, assessment: Assessment, wording: Wording, work: _Calculation) -> None:
    text = wording.text
    if not assessment.eyewear and not assessment.barriers:
        return
    flow.heading(text("steps.others"), 1)
    for need in assessment.eyewear:
        place = f" ({need.laser}: {need.setup})"
        work.group(text("steps.eyewear", person=need.person) + place, need.steps)
        for scale in need.scales:
            work.group(text("steps.eyewear_mode", person=need.person, mode=scale.mode) + place, scale.steps)
    for result in assessment.barriers:
        way = named(wording, "way", result.way)
        title = text("steps.barrier", barrier=result.barrier, way=way) + f" ({result.laser}: {result.setup})"
        work.group(title, result.steps)
    work.print(flow)
