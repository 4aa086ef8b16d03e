"""Every step of the calculation, with formula, numbers and source; and how sure the distances are."""

from __future__ import annotations

from collections.abc import Sequence

from lasersafe.drawing.values import distance, in_unit, number, plain, quantity, spoken, unit_text, wavelength
from lasersafe.records.light import DistanceSpread, InputTolerance
from lasersafe.results import Step
from lasersafe.sheet.flow import NOTE, TINY, TINY_BOLD, TINY_NOTE, Part, Row, Sheet, bold, faint, row, strong, tiny
from lasersafe.sheet.front import limit_text, way_of
from lasersafe.wording.message import Message

_MOST = 8  # inputs that are named


def uncertainty(sheet: Sheet) -> None:
    """Print how sure the distances of the fitted set-ups are."""
    text, sure = sheet.text, sheet.assessment.uncertainty
    if not sure.spreads:
        return
    sheet.begin("sure.heading", keep=90.0, intro="" if sure.inputs else "sure.inputs_none")
    if sure.inputs:
        sheet.begin("sure.inputs", 1, keep=60.0)
        sheet.paragraph(
            text("sure.as_typed_note", reason=sure.as_typed) if sure.as_typed else text("sure.inputs_note"), NOTE
        )
        columns = {"input": 24, "typed": 20, "range": 18, "used": 16, "kind": 11, "found": 11}
        sheet.listing("sure", columns, [_input(one, sheet, bool(sure.as_typed)) for one in sure.inputs], 1.2)
        sheet.space(3.0)
    if sure.measure:
        sheet.begin("sure.measure_heading", 1, keep=40.0)
        sheet.paragraph(unit_text(sure.measure))
    if sure.inputs:
        sheet.begin("sure.distances", 1, keep=60.0)
        drawn = next((one for one in sure.spreads if one.draws), sure.spreads[0])
        sheet.paragraph(text("sure.distances_note", draws=drawn.draws, seed=drawn.seed), NOTE)
        columns = {"distance": 40, "nominal": 18, "upper": 24, "worst": 18}
        sheet.listing("sure", columns, [_spread(one, sheet) for one in sure.spreads], 1.2)
        sheet.space(3.0)
    shown = [one for one in sure.spreads if one.influences and one.way == "direct" and one.tissue == "eye"]
    for spread in shown:
        _influences(sheet, spread)
    if shown:
        sheet.paragraph(text("sure.bars_note"), NOTE)


def _where(spread: DistanceSpread, sheet: Sheet) -> str:
    way, tissue = sheet.named("way", spread.way), sheet.named("tissue", spread.tissue)
    return f"{spread.laser}, {spread.setup}: {way}, {tissue}"


def _input(one: InputTolerance, sheet: Sheet, as_typed: bool) -> Row:
    def value(number: float) -> str:
        return wavelength(number) if one.field.endswith("wavelength") else quantity(number, one.unit, 4)

    ends = sheet.text("sure.ends", low=value(one.low), high=value(one.high))
    used = value(one.nominal) if as_typed else ", ".join(value(number) for number in one.used)
    kind, found = tiny(sheet.named("kind", one.kind)), tiny(sheet.text(f"sure.{one.found}"))
    return row(strong(one.field), tiny(unit_text(one.typed)), tiny(ends), strong(used), kind, found)


def _spread(one: DistanceSpread, sheet: Sheet) -> Row:
    name, worst = bold(_where(one, sheet)), bold(distance(one.worst))
    if one.note:
        return row(name, faint(sheet.text("sure.no_spread", why=one.note)), tiny("–"), worst)
    upper = [tiny("–")]
    if one.upper is not None and one.upper_error is not None:
        error = sheet.text("sure.error", error=quantity(one.upper_error, "m", 2, "up"))
        upper = [tiny(distance(one.upper)), faint(error)]
    return row(name, tiny(distance(one.nominal)), upper, worst)


def _influences(sheet: Sheet, spread: DistanceSpread) -> None:
    """Print what one per cent of each input does to a distance."""
    sheet.heading(sheet.text("sure.bars", where=_where(spread, sheet)), 2, keep=50.0)
    rows = []
    for one in spread.influences[:_MOST]:
        share = spoken(f"{one.exponent:+.2f} %") if abs(one.exponent) < 1e6 else "±∞"
        ends = sorted((one.low, one.high)) if one.low is not None and one.high is not None else ()
        reach = sheet.text("sure.ends", low=distance(ends[0]), high=distance(ends[1])) if ends else "–"
        rows.append(row(strong(sheet.wording.input_name(one.name)), tiny(share), tiny(reach)))
    sheet.listing("sure", {"input": 40, "per_cent": 30, "both_ends": 30}, rows, 1.0)


_SHADE = 0.95
_KEEP = 75.0  # points that stay with the title of a group
_HEADED = _KEEP + 40.0  # and with a heading, which the head of the table and that title follow
_COLUMNS = {"symbol": 8, "meaning": 18.5, "formula": 21, "numbers": 38, "result": 14, "source": 12}


class _Calculation:
    """Rows of one table of steps; a list of steps that was printed before is pointed at."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
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
        new = bool(key) and before == label
        if not new:
            said = self.sheet.text("steps.same", reference=before) if key else without and self.sheet.text(without)
            head += [faint(said)] if said else []
        head += [faint(note) for note in notes if note]
        self.rows.append(row(below=head, shade=_SHADE, keep=_KEEP if new else 0.0))
        self.rows += [self._step(step) for step in steps] if new else []

    def _step(self, step: Step) -> Row:
        unit = "" if step.unit in ("", "1") else f"\u00a0{unit_text(step.unit)}"
        source = self.sheet.references.sources.mark(step.source or self.sheet.text("steps.no_source"))
        return row(
            Part(step.symbol, TINY_BOLD, formula=True),
            Part(step.meaning, TINY_NOTE, formula="_" in step.meaning),
            Part(spoken(step.formula), TINY, formula=True),
            Part(spoken(step.numbers), TINY, formula=True),
            strong(plain(step.value) + unit),
            faint(f"{source} {self.sheet.named('seen', step.seen)}"),
        )

    def print(self) -> None:
        """Print the collected rows as one table and forget them."""
        if self.rows:
            self.sheet.listing("steps", _COLUMNS, self.rows, 1.2)
        self.rows = []


def steps(sheet: Sheet) -> None:
    """Print the calculation: limits first, then set-ups, scenarios, eyewear and barriers, then the sources."""
    text, references, named = sheet.text, sheet.references, sheet.named
    sheet.begin("steps.heading", keep=120.0, intro="steps.intro")
    work = _Calculation(sheet)
    if references.limits:
        sheet.begin("steps.limits", 1)
        for limit, label in references.limits.items():
            source = text("hazards.source", source=limit.source, mark=named("seen", limit.seen))
            title = f"{named('tissue', limit.tissue)}: {limit_text(limit, sheet.wording)}"
            work.group(title, limit.steps, (source, limit.note), label, "steps.elsewhere")
        work.print()
    for setup in sheet.assessment.setups:
        sheet.heading(text("steps.setup", laser=setup.laser, setup=setup.setup), 1, _HEADED)
        work.group(text("steps.beam"), setup.steps)
        for zone in setup.zones:
            words = {"way": named("way", zone.way), "tissue": named("tissue", zone.tissue)}
            work.group(text("steps.zone", **words, reference=references.limit(zone.criterion)), zone.steps)
        work.print()
    _scenarios(sheet, work)
    _others(sheet, work)
    if references.sources.texts:
        sheet.begin("steps.sources", 1)
        sheet.footnotes(references.sources.texts)


def _scenarios(sheet: Sheet, work: _Calculation) -> None:
    text = sheet.text
    scenarios = sheet.assessment.scenarios
    if any(one.placed for one in scenarios):
        sheet.paragraph(text("steps.bound"), NOTE)
    for laser, setup in dict.fromkeys((scenario.laser, scenario.setup) for scenario in scenarios):
        lights = ", ".join(filter(None, (sheet.say(laser), setup)))
        sheet.heading(text("steps.scenarios", lights=lights), 1, _HEADED)
        for one in scenarios:
            if (one.laser, one.setup) != (laser, setup):
                continue
            words = {
                "person": one.person,
                "way": sheet.named("way", one.way),
                "tissue": sheet.named("tissue", one.tissue),
            }
            title = text("steps.scenario", **words, reference=sheet.references.limit(one.criterion))
            sets = ", ".join(f"{name} {number(value, 4, 'up')}" for name, value in one.ratio_by_rule_set.items())
            if sets:
                title = f"{title}; {text('steps.by_rule_set', values=sets)}"
            unit = one.exposure_unit
            over = f"{in_unit(one.exposure, unit, 4, 'up')} / {in_unit(one.limit, unit, 4, 'down')}"
            only = text("steps.only_ratio", numbers=over) if not one.steps else ""
            work.group(title, one.steps, (only,), sheet.references.scenario(one), "")
        work.print()


def _others(sheet: Sheet, work: _Calculation) -> None:
    text, found = sheet.text, sheet.assessment
    fires = [zone for zone in found.scene.zones if zone.steps] if found.scene is not None else []
    cameras = [line for line in found.scene.camera_lines if line.steps] if found.scene is not None else []
    scene_barriers = found.scene.barriers if found.scene is not None else ()
    if not (found.eyewear or found.barriers or fires or cameras or found.decision.steps):
        return
    sheet.begin("steps.others", 1, _HEADED, "steps.peaks" if scene_barriers else "", NOTE)
    if found.decision.steps:
        work.group(text("steps.reach"), found.decision.steps)
    for need in found.eyewear:
        place = f" ({need.laser}: {need.setup})"
        work.group(text("steps.eyewear", person=need.person) + place, need.steps)
        for scale in need.scales:
            work.group(text("steps.eyewear_mode", person=need.person, mode=scale.mode) + place, scale.steps)
    for result in found.barriers:
        title = text("steps.barrier", barrier=result.barrier, way=sheet.named("way", result.way))
        work.group(f"{title} ({result.laser}: {result.setup})", result.steps)
    for barrier, one in ((line, one) for line in scene_barriers for one in (*line.ways, *line.faults)):
        judged = one.fitted and (one.asked or one.rating is not None)
        if shown := [*(one.steps if judged else ()), *(step for place in one.stands for step in place.steps)]:
            title = text("steps.barrier", barrier=barrier.name, way=sheet.named("way", one.way))
            work.group(f"{title} ({one.laser}: {one.setup})", shown)
    source = sheet.say(Message("source.together"))
    for load in [one for one in found.decision.loads if one.together]:
        names, values = zip(*load.parts, strict=True)
        numbers = f"{' + '.join(f'{value:.5g}' for value in values)}; {', '.join(names)}"
        every = text("steps.load_of_all"), "ΣE = E_1 + E_2 + …", numbers, load.load, "W/m2", source, "own"
        title = text("steps.barrier", barrier=load.barrier, way=way_of(load, sheet))
        work.group(f"{title} ({load.laser}: {load.setup})", (Step("ΣE", *every),))
    for line in cameras:
        title = f"{text('scene.camera')}: {line.camera}, {sheet.named('way', line.way)}"
        work.group(f"{title} ({line.laser}: {line.setup})", line.steps)
    for zone in fires:
        work.group(text("steps.ignition", laser=zone.laser, setup=zone.setup), zone.steps)
    work.print()
