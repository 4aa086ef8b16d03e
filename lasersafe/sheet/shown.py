"""The tables of what the light does: scanners, sums, extended sources, settings, targets, rules, barriers, cameras."""

from __future__ import annotations

from dataclasses import replace

from lasersafe.drawing import text as printed
from lasersafe.drawing.page import left_out_line
from lasersafe.drawing.text import distance, duration, in_unit, number, place, quantity, ratio, spoken, tidy, unit_text
from lasersafe.quantity import Rounding, format_quantity
from lasersafe.records import SettingReport, badness
from lasersafe.records.scene import BarrierLine, BarrierWay, CameraLine
from lasersafe.sheet.drawings import exposure_chart
from lasersafe.sheet.flow import MILLIMETRE, Cell, Part, Sheet, bold, faint, note, row, strong, tiny
from lasersafe.sheet.front import limit_text, rating_of
from lasersafe.sheet.tables import verdict_of
from lasersafe.sheet.text import BODY, NOTE, SHADE, SMALL_BOLD, TINY, TINY_BOLD

_WITH_BARRIER = ("window", "failing window", "gap")  # findings that stand with their barrier
_BEFORE_AN_INSTRUMENT = ("E_D", "H_D")  # symbols of the limit there


def scene_tables(sheet: Sheet) -> None:
    """Print the findings of a scene, the rules that were chosen, and what cameras may receive."""
    scene, text, say = sheet.assessment.scene, sheet.text, sheet.say
    if scene is None:
        return
    if scene.targets:
        sheet.begin("scene.targets", keep=60.0, intro="scene.targets_intro")
        rows = []
        for target in scene.targets:
            behind = [target.behind or text("scene.not_stated")]
            if target.behind_distance is not None:
                behind.append(quantity(target.behind_distance, "m", 3, "down"))
            stop = text("scene.target_stop" if target.rated_stop else "scene.target_no_stop", stop=target.stop or "–")
            seen, source = number(target.reflectance, 3, "up"), tidy(say(target.reflectance_source))
            look = tiny(text(f"scene.finish_{target.finish}")), faint(text(f"scene.shape_{target.shape}"))
            name = strong(target.name), faint(target.laser)
            away = tiny(", ".join(behind)), faint(stop)
            rows.append(row(name, tiny(target.material), look, (tiny(seen), faint(source)), away))
        columns = {"target": 20, "material": 18, "finish": 14, "reflectance": 24, "behind": 24}
        sheet.listing("scene", columns, rows, 1.5)
    lines = [line for line in scene.lines if line.distance > 0.0]
    if lines:
        sheet.begin("scene.lines", keep=40.0, intro="scene.lines_intro")
        said = []
        for line in lines:
            words = {"side": text(f"side.{line.side}"), "laser": say(line.laser), "limit": tidy(say(line.limited_by))}
            key = "scene.line_gap" if line.note else "scene.line_zone"
            far = quantity(line.distance, "m", 3, "up")
            said.append(text(key, **words, distance=far, gap=say(line.note), rule=say(line.line_kind)))
        sheet.items([*said, *filter(None, [left_out_line(scene, sheet.wording)])], NOTE)
    if scene.findings:
        sheet.begin("scene.findings", keep=40.0)
        sheet.items([tidy(one.text) for one in scene.findings if one.kind not in _WITH_BARRIER], NOTE)
    if scene.rules:
        sheet.begin("scene.rules", keep=60.0, intro="scene.rules_intro")
        rows = [
            row(
                strong(say(rule.outcome)),
                (tiny(say(rule.rule)), faint(say(rule.text))),
                tiny(tidy(say(rule.words))),
                (tiny(say(rule.pack_name)), faint(f"{rule.source} ({sheet.named('seen', rule.seen)})")),
            )
            for rule in scene.rules
        ]
        sheet.listing("scene", {"outcome": 16, "rule": 34, "asked": 25, "source": 25}, rows, 1.5)
    if scene.camera_lines:
        sheet.begin("scene.cameras", keep=60.0, intro="scene.cameras_intro")
        alike: dict[CameraLine, list[str]] = {}  # ways on which as much is said
        for lens in scene.camera_lines:
            alike.setdefault(replace(lens, way="", steps=()), []).append(text(f"way.{lens.way}"))
        rows = [
            row(
                strong(lens.camera),
                tiny(f"{lens.laser}, {lens.setup}"),
                (tiny(", ".join(ways)), faint(say(lens.surface))),
                tiny(quantity(lens.distance, "m", 3, "down")),
                (tiny(tidy(say(lens.words))), faint("; ".join(map(say, lens.advice)))),
            )
            for lens, ways in alike.items()
        ]
        sheet.listing("scene", {"camera": 14, "laser": 18, "way": 16, "at": 9, "receives": 43}, rows, 1.5)


def barriers_by_place(sheet: Sheet) -> None:
    """Print what falls on each barrier of the scene at its worst place and as aimed, and what follows."""
    scene, text = sheet.assessment.scene, sheet.text
    if scene is None or not scene.barriers:
        return
    sheet.begin("by_place.heading", keep=90.0, intro="by_place.intro")
    rows = []
    for barrier in scene.barriers:
        every = [way for way in (*barrier.ways, *barrier.faults) if way.fitted]
        shown = [way for way in every if way.rating is not None or way.asked]
        rated = dict.fromkeys(rating_of(way, sheet) for way in shown if way.rating is not None)
        head = [text(f"by_place.kind_{barrier.kind}"), *(text("by_place.rated", rated=one) for one in rated)]
        named = [strong(barrier.name), faint(", ".join(head))]
        rows.append(row(below=named, shade=SHADE, keep=60.0))
        rows += [row(*_cells(way, sheet), bar=way.asked and not way.holds) for way in shown]
        rest = [way for way in barrier.ways if way.fitted and way not in shown]
        if rest and barrier.kind != "terrain":
            worst = max(rest, key=lambda way: badness(way.irradiance))
            lasers = ", ".join(dict.fromkeys(way.laser for way in rest))
            light, verdict = faint(text("by_place.not_for", lasers=lasers)), tiny(text("by_place.no_rating"))
            rows.append(row(light, *_cells(worst, sheet)[1:4], verdict))
        more = [note(line) for line in _notes(barrier, sheet)]
        rows[-1] = replace(rows[-1], below=[*named, *more] if rows[-1].below else more)
    columns = {"way": 24, "nearest": 18, "aimed": 17, "stands": 17, "verdict": 30}
    sheet.listing("by_place", columns, rows, 1.5)


def at_place(place: tuple[float, float, float], sheet: Sheet) -> str:
    """Return a place of the plan in words."""
    x, y, z = (spoken(f"{value:z.2f}") for value in place)
    return sheet.text("by_place.at", x=x, y=y, z=z)


def _cells(way: BarrierWay, sheet: Sheet) -> list[Cell]:
    text = sheet.text
    near = [strong(in_unit(way.irradiance, "W/m2", 3, "up"))]
    if way.away is not None:
        near.append(faint(text("by_place.away", away=quantity(way.away, "m", 3, "down"))))
    aimed = [tiny(text("by_place.nothing"))]
    if way.aimed is None:
        aimed = [tiny("–")]
    elif way.aimed_place is not None:
        aimed = [tiny(in_unit(way.aimed, "W/m2", 3, "up")), faint(at_place(way.aimed_place, sheet))]
    reaches = [(quantity(one.distance, "m", 3, "up"), sheet.say(one.measured_from)) for one in way.stands]
    stands = [tiny(text("by_place.from", distance=far, start=start)) for far, start in reaches] or [tiny("–")]
    word, reason = verdict_of(way.holds, sheet.say(way.verdict), sheet)
    light = [tiny(text(f"way.{way.way}")), faint(f"{way.laser}, {way.setup}")]
    light += [] if way.asked else [faint(text("by_place.not_asked"))]
    return [light, near, aimed, stands, [strong(word), tiny(reason)]]


def _notes(barrier: BarrierLine, sheet: Sheet) -> list[str]:
    """Return what else has to be known of a barrier: height, reach-over, gaps, windows, its class."""
    text = sheet.text
    top = format_quantity(barrier.top, "m", 3, "down")
    found = []
    if barrier.needed_height is not None:
        needed = format_quantity(barrier.needed_height, "m", 3, "up")
        key = "by_place.high_enough" if barrier.top >= barrier.needed_height else "by_place.too_low"
        found.append(text(key, top=top, needed=needed, person=barrier.needed_for))
    if barrier.kind != "terrain":
        found.append(text("by_place.reached" if barrier.reach_over else "by_place.not_reached", top=top))
    if barrier.bottom > 0.0:
        found.append(text("by_place.below", bottom=format_quantity(barrier.bottom, "m", 3, "up")))
    gaps = [f"{text(f'scene.{gap.kind}')} '{gap.name}'" for gap in barrier.openings if gap.open]
    if gaps:
        found.append(text("by_place.gaps", gaps=", ".join(gaps)))
    alike: dict[tuple[str, str, str], dict[str, None]] = {}  # with all lasers together it is the same for each
    for window in barrier.windows:
        if window.fitted:
            alike.setdefault((window.name, window.way, sheet.say(window.words)), {})[window.laser] = None
    for (name, way, words), lasers in alike.items():
        found.append(text("by_place.window", name=name, laser=", ".join(lasers), way=text(f"way.{way}"), words=words))
    return [tidy(line) for line in [*found, *map(sheet.say, barrier.notes)]]


def sources(sheet: Sheet) -> None:
    """Print what concerns scanners, several beams, and extended sources."""
    assessment, text = sheet.assessment, sheet.text
    if assessment.scans:
        sheet.begin("sources.scans", keep=110.0, intro="sources.scans_intro")
        rows = []
        for found in assessment.scans:
            reaction = text("sources.no_cut_off")
            if found.reaction is not None and found.reaction_time is not None:
                time = duration(found.reaction_time)
                reaction = text("sources.reaction", distance=distance(found.reaction), duration=time)
            told = [(place(p.distance), ratio(p.ratio), unit_text(tidy(p.sentence))) for p in found.places]
            places = [text("sources.scan_place", distance=far, ratio=now, sentence=said) for far, now, said in told]
            cells = (strong(found.laser), faint(found.setup)), tiny(found.tissue), tiny(found.pattern)
            reach = strong(distance(found.running)), strong(distance(found.stopped)), tiny(reaction)
            rows.append(row(*cells, *reach, below=[faint(line) for line in (tidy(found.credit), *places)]))
        columns = {"laser": 24, "tissue": 7, "pattern": 26, "running": 14, "stopped": 14, "cut_off": 15}
        sheet.listing("sources", columns, rows, 1.5)
    if assessment.modules:
        sheet.begin("sources.sums", keep=60.0, intro="sources.sums_intro")
        sheet.items([f"{one.laser}, {one.setup}: {tidy(one.sentence)}." for one in assessment.modules], NOTE)
    if assessment.extended:
        _extended(sheet)


def _extended(sheet: Sheet) -> None:
    sheet.begin("sources.extended", keep=110.0, intro="sources.extended_intro")
    rows = []
    for found in sheet.assessment.extended:
        below = [faint(tidy(found.sentence))]
        if found.radiance_limit is not None:
            shown = "–" if found.radiance is None else _radiance(found.radiance, "up")
            limit = _radiance(found.radiance_limit, "down")
            source = found.radiance_source
            below.append(faint(sheet.text("sources.radiance", radiance=shown, limit=limit, source=source)))
        rule = note(f"{found.rule_set}, {found.hazard}, {duration(found.duration)}")
        name = bold(found.source), note(found.laser)
        worst = Part(place(found.worst_distance)), Part(ratio(found.worst_ratio))
        rows.append(row(name, Part(found.tissue), bold(distance(found.distance)), *worst, rule, below=below))
    columns = {"source": 24, "tissue": 8, "reach": 15, "worst_view": 15, "worst_ratio": 13, "limit": 25}
    sheet.listing("sources", columns, rows, 1.5)


def _radiance(value: float, rounding: Rounding) -> str:
    return f"{format_quantity(value, 'W/m2', 3, rounding)} sr⁻¹"


def pulsed(sheet: Sheet) -> None:
    """Print what there is of settings, class checks and ultraviolet days."""
    assessment, text = sheet.assessment, sheet.text
    if not (assessment.settings or assessment.class_checks or assessment.ultraviolet):
        return
    sheet.begin("pulsed.heading", keep=90.0)
    if assessment.settings:
        sheet.paragraph(text("pulsed.intro"), NOTE)
    for report in assessment.settings:
        _report(sheet, report)
    if assessment.class_checks:
        sheet.begin("pulsed.class_heading", 1, 60.0, "pulsed.class_intro", NOTE)
        for check in assessment.class_checks:
            style = SMALL_BOLD if check.label_is_lower else BODY
            sheet.paragraph(tidy(f"{check.laser}, {check.setup}: {check.sentence}"), style)
    if assessment.ultraviolet:
        sheet.begin("pulsed.day_heading", 1, keep=80.0)
        rows = []
        for day in assessment.ultraviolet:
            sets = "\n".join(f"{name}: {ratio(value)}" for name, value in day.ratio_by_rule_set.items())
            result = text("pulsed.day_below" if day.below else "pulsed.day_above")
            person = bold(day.person), tiny(f"{sheet.named('tissue', day.tissue)}, {day.band}")
            said = tiny(result) if day.below else strong(result)
            rows.append(
                row(person, (bold(ratio(day.ratio)), faint(sets)), said, tiny(unit_text("\n".join(day.visits))))
            )
        sheet.listing("pulsed", {"day_person": 22, "day_ratio": 18, "day_result": 10, "day_visits": 50}, rows, 1.5)
        sheet.paragraph(text("pulsed.day_rule", rule=assessment.ultraviolet[0].rule), NOTE)


def _report(sheet: Sheet, report: SettingReport) -> None:
    text = sheet.text
    tissue = sheet.named("tissue", report.tissue)
    title = text("pulsed.report", laser=report.laser, tissue=tissue, duration=duration(report.duration))
    sheet.heading(title, 1, keep=90.0)
    sheet.paragraph(unit_text(tidy(text("pulsed.setting", setting=report.setting))))
    sheet.paragraph(unit_text(tidy(report.sentence)))
    if others := "; ".join(dict.fromkeys(one for one in report.others if one != report.setting)):
        sheet.paragraph(unit_text(tidy(text("pulsed.others", settings=others))), NOTE)
    if report.effects:
        rows = []
        for effect in report.effects:
            now, then, worst = (unit_text(tidy(one)) for one in (effect.now, effect.then, effect.worst_then))
            times = text("pulsed.times", ratio=number(effect.ratio, 3, "up"))
            rows.append(row(strong(effect.knob), tiny(now), tiny(then), strong(times), faint(worst)))
        sheet.listing("pulsed", {"knob": 16, "now": 16, "then": 18, "ratio": 16, "worst_then": 40}, rows, 1.2)
        sheet.space(3.0)
    rows = []
    for line in report.rules:
        kind = TINY_BOLD if line.decides else TINY
        mark = f" ({text('pulsed.decides')})" if line.decides else ""
        values = (line.hazard, in_unit(line.limit, line.unit, 4, "down"), printed.aperture(line.limiting_aperture))
        cells = [Part(value, kind) for value in (*values, number(line.share, 3, "up"))]
        source = faint(tidy(line.note)), faint(f"{line.source}; {sheet.named('seen', line.seen)}")
        rule = Part(f"{line.rule}{mark}", kind), faint(line.rule_set)
        rows.append(row(rule, *cells, source, shade=SHADE if line.decides else None))
    columns = {"rule": 18, "hazard": 15, "limit": 16, "aperture": 9, "share": 11, "note": 40}
    sheet.listing("pulsed", columns, rows, 1.2)
    sheet.space(4.0)


def setups(sheet: Sheet) -> None:
    """Print one chart and one table of distances per set-up."""
    text = sheet.text
    if not sheet.assessment.setups:
        return
    sheet.begin("setup.heading", keep=350.0)
    for result in sheet.assessment.setups:
        chart = exposure_chart(result.chart, sheet.width / MILLIMETRE, sheet.wording)
        state = text("setup.fitted" if result.fitted else "setup.not_fitted")
        sheet.heading(f"{result.laser}: {result.setup} ({state})", 1, keep=chart.height * MILLIMETRE + 45.0)
        sheet.paragraph(text("setup.beam", beam=unit_text(tidy(result.beam))) if result.beam else "")
        sheet.paragraph(text("setup.setting", setting=unit_text(tidy(result.setting))) if result.setting else "")
        sheet.figure(chart)
        sheet.space(4.0)
        rows = []
        for zone in result.zones:
            reach = text("setup.from_origin", distance=distance(zone.distance, sheet.feet), origin=zone.origin)
            focus = "–" if zone.distance_from_focus is None else distance(zone.distance_from_focus, sheet.feet)
            sets = "\n".join(f"{name}: {distance(value)}" for name, value in zone.by_rule_set.items())
            limit = f"{limit_text(zone.criterion, sheet.wording)}; {sheet.references.limit(zone.criterion)}"
            before = next((step for step in zone.steps if step.symbol in _BEFORE_AN_INSTRUMENT), None)
            if before is not None:
                value = in_unit(before.value, before.unit, 3, "down")
                limit = text("setup.limit_aided", before=value, limit=limit)
            way = bold(sheet.named("way", zone.way)), Part(sheet.named("tissue", zone.tissue))
            below = note(tidy(zone.note)) if zone.note else ()
            rows.append(row(way, bold(reach), Part(focus), Part(limit), Part(sets), below=below))
        sheet.listing("setup", {"way": 15, "distance": 20, "focus": 11, "limit": 34, "by_rule_set": 20}, rows, 2.0)
