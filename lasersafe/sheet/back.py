"""What stands behind the tables: inputs, readings, cautions, controls nobody chose, and every step with its source.

What is filled in on the day stands here too, and how sure the distances are.
"""

from __future__ import annotations

from collections.abc import Sequence

from lasersafe.drawing import text as printed
from lasersafe.drawing.text import distance, in_unit, number, place, quantity, spoken, tidy, unit_text, wavelength
from lasersafe.records import DistanceSpread, InputTolerance, Step
from lasersafe.results import Expected
from lasersafe.sheet.flow import Cell, Part, Row, Sheet, bold, faint, note, row, strong, tiny
from lasersafe.sheet.front import limit_text, way_of
from lasersafe.sheet.shown import at_place
from lasersafe.sheet.tables import against
from lasersafe.sheet.text import ITEM, NOTE, SHADE, SMALL, TINY, TINY_BOLD, TINY_NOTE, Style, joined
from lasersafe.wording import CONTROL_KINDS, CautionText, HazardText, Message

_MOST_ROWS = 12  # readings, from which on the lesser ones of a place stand in the annex
_IN_ANNEX = ("from memory", "review")  # cautions on marks of sources, and what the review triggers say already


def proposals(sheet: Sheet) -> None:
    """Print the controls that nobody chose, in the order substitute, technical, organisational, personal."""
    open_ones = [one for one in sheet.references.controls if not one.in_place]
    if open_ones:
        sheet.begin("proposals.heading", intro="proposals.intro")
    for kind in CONTROL_KINDS:
        rest = [one for one in open_ones if one.kind == kind]
        if rest:
            sheet.heading(sheet.named("controls", kind), 2, keep=30.0, outline=False)
        for control in rest:
            why = against(control, sheet)
            said = f"{control.text} ({why})" if why else control.text
            sheet.paragraph(said, ITEM, 28.0, sheet.references.control(control.text))


def _pairs(sheet: Sheet, heading: str, rows: Sequence[tuple[str, str]], keep: float) -> None:
    """Print a heading and a table of titles, each with what is said of it."""
    sheet.begin(heading, keep=keep)
    sheet.table((), (1, 4.6), [row(strong(title), tiny(said)) for title, said in rows], 0.6)


def other_hazards(sheet: Sheet) -> None:
    """Print the hazards that do not come from the beam."""
    _pairs(sheet, "hazards.heading", [(one.title, one.text) for one in _hazards(sheet)], 75.0)
    if not sheet.assessment.other_hazards:
        sheet.paragraph(sheet.text("hazards.none"))


def hazard_sources(sheet: Sheet) -> None:
    """Print where what is said of each other hazard comes from."""
    if found := _hazards(sheet):
        named = [(one.title, one.source, sheet.named("seen", one.seen)) for one in found]
        rows = [(title, sheet.text("hazards.source", source=source, mark=mark)) for title, source, mark in named]
        _pairs(sheet, "hazards.sources", rows, 40.0)


def _hazards(sheet: Sheet) -> list[HazardText]:
    return [sheet.wording.other_hazard(key) for key in sheet.assessment.other_hazards]


def acceptance(sheet: Sheet) -> None:
    """Print the expected readings with room for what was read, or with the readings of the case.

    Where they are many, only the highest of each place stands here, of scatter and of all else, and what was read.
    """
    here, others = _readings(sheet)
    sheet.begin("acceptance.heading", keep=110.0, intro="acceptance.intro" if here else "acceptance.none")
    if others:
        sheet.paragraph(sheet.text("acceptance.others", keys=joined([one.key for own in others for one in own])))
    _listed(here, sheet)


def _readings(sheet: Sheet) -> tuple[list[list[Expected]], list[list[Expected]]]:
    """Return the readings of the sheet, and those of the annex; what is expected alike at one place is a row."""
    alike: dict[object, list[Expected]] = {}
    for one in sheet.assessment.record.to_be_read:
        there = (one.what, one.where, one.laser, one.place, one.distance, one.value, one.low)
        alike.setdefault(one.key if one.reading else there, []).append(one)
    rows, highest = list(alike.values()), dict[object, float]()
    if len(rows) <= _MOST_ROWS:
        return rows, []

    def kind(one: Expected) -> object:
        return one.what, one.where, one.laser, one.way == "scatter" and one.what in ("power", "pulse energy")

    for one, *_ in rows:
        highest[kind(one)] = max(highest.get(kind(one), 0.0), one.value)
    first = [own[0].reading is not None or own[0].value >= highest[kind(own[0])] for own in rows]
    here, others = ([own for own, top in zip(rows, first, strict=True) if top is wanted] for wanted in (True, False))
    return here, others


def _listed(rows: Sequence[Sequence[Expected]], sheet: Sheet) -> None:
    if rows:
        columns = {"key": 6, "effect": 36, "way": 25, "place": 10, "expected": 14, "range": 13}
        columns |= {"reading": 16, "instrument": 21}
        sheet.listing("acceptance", columns, [_expected(own, sheet) for own in rows], 1.2)


def _expected(own: Sequence[Expected], sheet: Sheet) -> Row:
    text, one = sheet.text, own[0]
    reading: Cell = Part(" ", Style(8.5))
    instrument: Cell = ()
    if one.reading is not None:
        got = one.reading
        state = "above" if got.above else "low" if got.low else "within"
        share, upper = spoken(f"{got.uncertainty * 100.0:.3g}"), quantity(got.upper, one.unit, 3, "up")
        value = text("acceptance.value", typed=spoken(unit_text(got.typed)), uncertainty=share, upper=upper)
        reading = bold(text(f"acceptance.{state}")), tiny(tidy(value))
        instrument = tiny(got.instrument), faint(got.note)
    shown = in_unit if one.unit.endswith("/m2") else quantity  # as the limits and the loads of barriers
    aimed = () if one.place is None else (faint(at_place(one.place, sheet)),)
    lasers = {laser.name for laser in sheet.assessment.record.lasers}
    way = "; ".join(dict.fromkeys(sheet.named("way", each.way) for each in own))
    return row(
        tiny(joined([each.key for each in own])),
        (tiny(text("acceptance.what_where", what=text(f"acceptance.short_{one.what}"), where=one.where)), *aimed),
        tiny(way if len(lasers) < 2 else f"{one.laser}: {way}"),
        tiny("" if aimed else place(one.distance, sheet.feet)),
        strong(shown(one.value, one.unit, 3, "down")),
        faint(shown(one.low, one.unit, 2, "down")),
        reading,
        instrument,
        bar=one.reading is not None and one.reading.above,
    )


def expected(sheet: Sheet) -> None:
    """Print how the expected readings were worked out."""
    found, (_, others) = [one for one in sheet.assessment.record.expected if one.numbers], _readings(sheet)
    if others:
        sheet.begin("acceptance.others_heading", keep=80.0)
        _listed(others, sheet)
    if found:
        sheet.begin("acceptance.worked_out")
        rows = [row(bold(one.key), Part(spoken(unit_text(one.numbers)), formula=True)) for one in found]
        sheet.table((), (1, 12), rows, 1.2)


def cautions(sheet: Sheet) -> None:
    """Print the cautions; the short one, which defers to law and to the laser safety officer, stands on page 1."""
    _pairs(sheet, "cautions.heading", [(one.title, one.text) for one in _cautions(sheet, False)], 75.0)


def marks(sheet: Sheet) -> None:
    """Print the cautions on what stands in the annex alone."""
    for one in _cautions(sheet, True):
        sheet.paragraph(f"{one.title}: {one.text}", NOTE)


def _cautions(sheet: Sheet, annex: bool) -> list[CautionText]:
    return [one for one in sheet.wording.cautions if (one.key in _IN_ANNEX) == annex]


def review(sheet: Sheet) -> None:
    """Print until when the sheet holds, and what ends it earlier."""
    text, record = sheet.text, sheet.assessment.record
    sheet.begin("review.heading", keep=60.0)
    sheet.paragraph(text("review.expires", day=record.review_by or text("facts.not_stated")), SMALL)
    lines = [line.text for line in sheet.wording.day_lines("review", record.conditions)]
    sheet.paragraph("  •  ".join(["", *lines]).strip(), TINY)


def inputs(sheet: Sheet) -> None:
    """Print each input as typed, and what it became; where the scene has something nearer than typed, that too."""
    found, lines = sheet.assessment, sheet.assessment.inputs
    typed = {one.field: one.typed for one in lines}
    nearer = {("barrier", one.barrier): one.distance for one in found.barriers}
    nearer |= {("person", one.person): one.distance for one in found.eyewear if one.distance is not None}
    sheet.begin("inputs.heading", intro="" if lines else "sheet.none")
    rows = []
    for one in lines:
        where = note("" if one.line is None else str(one.line))
        used = spoken(tidy(unit_text(one.used)))
        there = nearer.get((one.field.partition("[")[0], typed.get(one.field.replace(".distance", ".name"), "")))
        placed = found.scene is not None and one.field.endswith("].distance")
        if placed and there and f"{there:.3g} m" != one.used:
            used = sheet.text("inputs.in_scene", used=used, distance=place(there))
        rows.append(row(where, Part(one.field), bold(one.typed), Part("" if used == one.typed else used)))
    if rows:
        sheet.listing("inputs", {"line": 5, "field": 30, "typed": 38, "used": 27}, rows, 1.5)


# --- the calculation, and how sure its distances are ------------------------------------------------------------------


def uncertainty(sheet: Sheet) -> None:
    """Print how sure the distances of the fitted set-ups are."""
    text, sure = sheet.text, sheet.assessment.uncertainty
    if not sure.spreads:
        return
    sheet.begin("sure.heading", keep=90.0, intro="" if sure.inputs else "sure.inputs_none")
    if sure.inputs:
        sheet.begin("sure.inputs", 1, keep=60.0)
        typed = text("sure.as_typed_note", reason=sure.as_typed) if sure.as_typed else text("sure.inputs_note")
        sheet.paragraph(typed, NOTE)
        columns = {"input": 24, "typed": 20, "range": 18, "used": 16, "kind": 11, "found": 11}
        sheet.listing("sure", columns, [_input(one, sheet, bool(sure.as_typed)) for one in sure.inputs], 1.2)
        sheet.space(3.0)
    if sure.measure:
        sheet.begin("sure.measure_heading", 1, keep=40.0)
        sheet.paragraph(unit_text(sure.measure))
    if sure.inputs:
        sheet.begin("sure.distances", 1, keep=60.0)
        if drawn := next((one for one in sure.spreads if one.draws), None):
            sheet.paragraph(text("sure.distances_note", draws=drawn.draws, seed=drawn.seed), NOTE)
        columns = {"distance": 40, "nominal": 18, "upper": 24, "worst": 18}
        sheet.listing("sure", columns, [_spread(one, sheet) for one in sure.spreads], 1.2)
        sheet.space(3.0)


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
        return row(name, tiny("–"), tiny("–"), worst, below=faint(sheet.text("sure.no_spread", why=one.note)))
    upper = [tiny("–")]
    if one.upper is not None and one.upper_error is not None:
        error = sheet.text("sure.error", error=quantity(one.upper_error, "m", 2, "up"))
        upper = [tiny(distance(one.upper)), faint(error)]
    return row(name, tiny(distance(one.nominal)), upper, worst)


_LONG = 200  # characters of numbers, from which on what follows the first of them stands below the row
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
        self, title: str, steps: Sequence[Step], notes: Sequence[str] = (), label: str = "",
        without: str = "steps.no_steps",
    ) -> None:  # fmt: skip
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
        self.rows.append(row(below=head, shade=SHADE, keep=_KEEP if new else 0.0))
        self.rows += [self._step(step) for step in steps] if new else []

    def _step(self, step: Step) -> Row:
        unit = "" if step.unit in ("", "1") else f"\u00a0{unit_text(step.unit)}"
        source = self.sheet.references.sources.mark(step.source or self.sheet.text("steps.no_source"))
        numbers = spoken(step.numbers)
        numbers, _, where = numbers.partition("; ") if len(numbers) > _LONG else (numbers, "", "")
        return row(
            Part(step.symbol, TINY_BOLD, formula=True),
            Part(printed.measured(step.meaning), TINY_NOTE, formula="_" in step.meaning),
            Part(spoken(step.formula), TINY, formula=True),
            Part(numbers, TINY, formula=True),
            strong(printed.plain(step.value) + unit),
            faint(f"{source} {self.sheet.named('seen', step.seen)}"),
            below=Part(where, TINY, formula=True) if where else (),
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
            work.group(title, limit.steps, (source, tidy(limit.note)), label, "steps.elsewhere")
        work.print()
    for setup in sheet.assessment.setups:
        sheet.heading(text("steps.setup", laser=setup.laser, setup=setup.setup), 1, _HEADED)
        work.group(text("steps.beam"), setup.steps)
        for zone in setup.zones:
            title = text("steps.zone", reference=references.limit(zone.criterion), **sheet.words_of(zone))
            work.group(title, zone.steps)
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
            limit = sheet.references.limit(one.criterion)
            title = text("steps.scenario", person=one.person, reference=limit, **sheet.words_of(one))
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
    hollow = [one for one in found.scene.findings if one.steps] if found.scene is not None else []
    scene_barriers = found.scene.barriers if found.scene is not None else ()
    if not (found.eyewear or found.barriers or fires or hollow or cameras or found.decision.steps):
        return
    sheet.begin("steps.others", 1, _HEADED, "steps.peaks" if scene_barriers else "", NOTE)
    if found.decision.steps:
        work.group(text("steps.reach"), found.decision.steps)
    for need in found.eyewear:
        place = f" ({need.laser}: {need.setup})"
        own = {step for scale in need.scales for step in scale.steps}  # they stand with the mode of each
        work.group(text("steps.eyewear", person=need.person) + place, [step for step in need.steps if step not in own])
        for scale in need.scales:
            work.group(text("steps.eyewear_mode", person=need.person, mode=scale.mode) + place, scale.steps)
    for result in found.by_distance:
        title = text("steps.barrier", barrier=result.barrier, way=sheet.named("way", result.way))
        work.group(f"{title} ({result.laser}: {result.setup})", result.steps)
    for barrier, one in ((line, one) for line in scene_barriers for one in (*line.ways, *line.faults)):
        judged = one.fitted and (one.asked or one.rating is not None)
        peaks = (*one.steps, *one.aimed_steps) if judged else ()
        if shown := [*peaks, *(step for place in one.stands for step in place.steps)]:
            title = text("steps.barrier", barrier=barrier.name, way=sheet.named("way", one.way))
            work.group(f"{title} ({one.laser}: {one.setup})", shown)
    source = sheet.say(Message("source.together"))
    for load in [one for one in found.decision.loads if one.together]:
        names, values = zip(*sorted(load.parts, key=lambda part: -part[1]), strict=True)
        numbers = f"{' + '.join(f'{value:.5g}' for value in values)}; {', '.join(names)}"
        every = text("steps.load_of_all"), "ΣE = E_1 + E_2 + …", numbers, load.load, "W/m2", source, "own"
        title = text("steps.barrier", barrier=load.barrier, way=way_of(load, sheet))
        work.group(f"{title} ({load.laser}: {load.setup})", (Step("ΣE", *every),))
    for finding in hollow:
        work.group(text("steps.hollow"), finding.steps)
    for line in cameras:
        title = f"{text('scene.camera')}: {line.camera}, {sheet.named('way', line.way)}"
        work.group(f"{title} ({line.laser}: {line.setup})", line.steps)
    for zone in fires:
        work.group(text("steps.ignition", laser=zone.laser, setup=zone.setup), zone.steps)
    work.print()
