"""The pages that are handed out or hung up: pre-use check, casualty card, door sign. Each is one page."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from lasersafe.drawing.primitives import grey
from lasersafe.drawing.text import density, distance, duration, in_unit, place, spoken, tidy, unit_text, wavelength
from lasersafe.quantity import Rounding, format_quantity
from lasersafe.records import Zone, badness
from lasersafe.results import Assessment, BeamFacts, LaserFacts, SignOff
from lasersafe.sheet.drawings import warning
from lasersafe.sheet.flow import Entry, Part, Row, Sheet
from lasersafe.sheet.text import Style, wrap
from lasersafe.wording import Wording

KINDS = ("prestart", "card", "sign")
_SIZES = (12.0, 11.0, 10.0, 9.0, 8.25, 7.5, 7.0, 6.5)


def page(sheet: Sheet, kind: str, signed: SignOff | None = None) -> None:
    """Print one of `KINDS` on a page of its own, in the largest type with which it fits on one."""
    sheet.new_page()
    pages: dict[str, Callable[[Sheet, float], None]] = {"card": _card, "sign": _sign}
    sheet.fitted(pages.get(kind, partial(_prestart, signed=signed or SignOff())), _SIZES)


def _line(sheet: Sheet, label: str, size: float) -> None:
    """Print a label with room to write behind and below it."""
    sheet.paragraph(label, Style(size, ink=grey(0.2)))
    sheet.space(size * 1.1)
    sheet.need(2.0)
    sheet.rule(0.6)
    sheet.space(size * 0.4)


def _prestart(sheet: Sheet, size: float, signed: SignOff) -> None:
    assessment, wording = sheet.assessment, sheet.wording
    text, record = wording.text, assessment.record
    item, bold = Style(size, after=size * 0.22), Style(size * 1.1, True, after=2)
    sheet.heading(text("prestart.heading"), 0, keep=10.0)
    sheet.paragraph(
        text("prestart.intro", title=assessment.title, place=assessment.place, dates=assessment.dates),
        Style(size, after=4),
    )
    for key, name in (("checks", "check"), ("stops", "stop"), ("after", "after")):
        sheet.heading(text(f"prestart.{key}"), 2, keep=10.0, outline=False)
        if name == "stop":
            sheet.paragraph(text("prestart.stop_words", words=_stated(sheet, "stop_words")), bold)
        for line in wording.day_lines(name, record.conditions):
            sheet.paragraph(line.text, item, size * 1.7, "■" if name == "stop" else "☐")
        for one in signed.signed if name == "check" else ():
            if one.conditions:
                condition = text("prestart.condition", name=one.name, conditions=one.conditions)
                sheet.paragraph(condition, item, size * 1.7, "☐")
    sheet.paragraph(text("prestart.watch", name=_stated(sheet, "watch_keeper")), item)
    _line(sheet, text("prestart.signed"), size * 0.9)


def _card(sheet: Sheet, size: float) -> None:
    assessment, wording = sheet.assessment, sheet.wording
    text, record = wording.text, assessment.record
    sheet.heading(text("card.heading"), 0, keep=10.0)
    sheet.paragraph(text("card.intro"), Style(size, after=4))
    sheet.heading(text("card.steps"), 2, keep=10.0, outline=False)
    for number_, line in enumerate(wording.day_lines("casualty", record.conditions), 1):
        sheet.paragraph(line.text, Style(size * 1.15, after=size * 0.3), size * 2.0, f"{number_}.")
    sheet.paragraph(text("card.contact", contact=_stated(sheet, "contact")), Style(size, True, after=1))
    sheet.paragraph(text("card.clinic", clinic=_stated(sheet, "eye_clinic")), Style(size, True, after=3))
    sheet.heading(text("card.data"), 2, keep=10.0, outline=False)
    for laser in record.lasers:
        head = text("card.laser", name=laser.name, class_label=laser.class_label, serial=laser.serial or "–")
        sheet.paragraph(head, Style(size, True))
        for words, wear in _lights(laser, wording):
            sheet.paragraph(words, Style(size * 1.1, True, after=1))
            sheet.paragraph(wear, Style(size * 0.9, after=1))
        for beam in laser.beams:
            if beam.fitted:
                sheet.paragraph(beam_line(beam, wording), Style(size * 0.9, after=3))
    _line(sheet, text("card.injured"), size * 0.9)


def _sign(sheet: Sheet, size: float) -> None:
    assessment, wording = sheet.assessment, sheet.wording
    text, record = wording.text, assessment.record
    big = Style(size * 1.9, True, after=size * 0.5)
    title = Style(size * 2.7, True, after=size * 0.8)
    sheet.entries.append(Entry(text("sign.heading"), 0, len(sheet.pages) - 1, sheet.y, title.size))
    foot = warning(sheet, 3.8 * size)
    sheet.lines(wrap(text("sign.title"), title, sheet.width - 12.5 * size), title)
    sheet.y = min(sheet.y, foot) - title.after
    sheet.paragraph(text("sign.no_entry"), big)
    if record.area.get("name"):
        sheet.paragraph(record.area["name"], Style(size * 1.4, after=size * 0.8))
    visible, invisible = "visible" in record.conditions, "invisible" in record.conditions
    kind = "both" if visible and invisible else "visible" if visible else "invisible"
    sheet.paragraph(text(f"sign.{kind}"), big)
    sheet.paragraph(text("sign.avoid"), Style(size * 1.4, after=size))
    for laser in record.lasers:
        label = text("sign.class_line", class_label=laser.class_label)
        sheet.paragraph(f"{laser.name}: {label}", Style(size * 1.6, True, after=1))
        for words, wear in _lights(laser, wording):
            sheet.paragraph(words, Style(size * 1.3, True, after=1))
            sheet.paragraph(wear, Style(size * 1.3, after=size * 0.8))
    officer = assessment.people.get("laser_safety_officer", "")
    contact, words = text("sign.contact", contact=_stated(sheet, "contact")), _stated(sheet, "stop_words")
    for line in (text("sign.officer", name=officer or "–"), contact, text("sign.stop_words", words=words)):
        sheet.paragraph(line, Style(size * 1.4, True, after=size * 0.4))
    sheet.space(size)
    sheet.paragraph(wording.caution_short, Style(size))


def _lights(laser: LaserFacts, wording: Wording) -> list[tuple[str, str]]:
    """Return each wavelength of a laser in words, and the eyewear that it asks for."""
    text, need = wording.text, laser.eyewear
    if need is None:
        wear = text("sign.no_wear")
    elif need.reliable:
        wear = text("sign.wear", marking=need.marking, density=density(need.optical_density))
    else:
        wear = tidy(text("sign.no_reliance", reason=need.no_reliance))
    found = [(f"{light(laser, wording)}; {emission(laser, wording)}", wear)]
    for line in laser.lines:
        found += [(f"{line.name}: {words}", wear) for words, wear in _lights(line, wording)]
    return found


def _stated(sheet: Sheet, field: str) -> str:
    return sheet.assessment.record.area.get(field) or sheet.text("area.blank")[:40]


def light(laser: LaserFacts, wording: Wording) -> str:
    """Return the wavelength of a laser in words, and whether it can be seen."""
    seen = wording.text("facts.both" if len(laser.seen) > 1 else f"facts.{laser.seen[0]}")
    return f"{wording.text('facts.wavelength', value=wavelength(laser.wavelength))}, {seen}"


def emission(laser: LaserFacts, wording: Wording) -> str:
    """Return what a laser emits in words: power or energy, pulse width, rate."""
    power = energy = ""
    if laser.power is not None:
        power = _exact(laser.power[1], "W")
    elif laser.pulse_energy is not None and laser.repetition_rate is not None:
        power = _exact(laser.pulse_energy[1] * laser.repetition_rate[1], "W")
    if laser.pulse_energy is not None:
        energy = _exact(laser.pulse_energy[1], "J")
    elif laser.power is not None and laser.repetition_rate is not None:
        energy = _exact(laser.power[1] / laser.repetition_rate[0], "J")
    width, rate = _range(laser.pulse_duration, "s", wording), _range(laser.repetition_rate, "Hz", wording)
    return wording.text(f"facts.{laser.kind}", power=power, energy=energy, width=width, rate=rate)


def _exact(value: float, unit: str, rounding: Rounding = "up") -> str:
    """Return a stated value without needless zeros; a computed one is rounded up at the fourth digit."""
    digits, gap, rest = format_quantity(value, unit, 4, rounding).partition(" ")
    short = digits.rstrip("0").rstrip(".") if "." in digits else digits
    return spoken(short + gap + unit_text(rest)).replace(" ", "\u00a0")


def _range(span: tuple[float, float] | None, unit: str, wording: Wording) -> str:
    if span is None:
        return wording.text("facts.not_stated")
    low, high = (_exact(end, unit) for end in span)
    return low if span[0] == span[1] else wording.text("facts.range", low=low, high=high)


def beam_line(beam: BeamFacts, wording: Wording) -> str:
    """Return the beam of a set-up in words."""
    near: Rounding = "nearest"  # a narrower and a wider beam can both be the worse one
    waist = [wording.text("facts.focus_point") if d == 0.0 else _exact(d, "m", near) for d in beam.waist_diameter]
    angle = [_exact(a, "rad", near) for a in beam.divergence]
    where = [_exact(z, "m", near) if z else "0\u00a0m" for z in beam.waist_position]
    across, spread = (" × ".join(dict.fromkeys(own)) for own in (waist, angle))
    place = " / ".join(dict.fromkeys(where))
    return wording.text("facts.beam", setup=beam.setup, waist=across, place=place, divergence=spread)


def notice_lines(assessment: Assessment, wording: Wording) -> list[str]:
    """Return the data for a notice to an authority, line by line."""
    text, record, none = wording.text, assessment.record, wording.text("facts.not_stated")
    area, people = record.area, assessment.people
    facts = {"title": assessment.title, "place": assessment.place, "coordinates": area.get("coordinates") or none}
    facts |= {"dates": assessment.dates, "times": area.get("running_times") or none}
    if area.get("beam_directions") or assessment.scene is None:  # a scene says them below
        facts["directions"] = area.get("beam_directions") or none
    facts |= {"operator": people.get("operator") or none, "officer": people.get("laser_safety_officer") or none}
    facts |= {"contact": area.get("contact") or none}
    lines = [text("notice.heading"), text("notice.intro"), ""]
    lines += [text(f"notice.{key}", **{key: value}) for key, value in facts.items()]
    for laser in record.lasers:
        words = {"class_label": laser.class_label, "emission": emission(laser, wording)}
        (_, wear), *others = _lights(laser, wording)
        lines += ["", text("notice.laser", name=laser.name, wavelength=light(laser, wording), **words)]
        lines += [f"  {line}" for line in (wear, *(part for other in others for part in other))]
        for beam in laser.beams:
            lines.append("  " + beam_line(beam, wording))
            setup = next(s for s in assessment.setups if s.laser == laser.name and s.setup == beam.setup)
            farthest: dict[str, float] = {}  # of each way, the eye first: the skin where its zone ends farther off
            for zone in sorted(setup.zones, key=lambda one: one.tissue):
                if not zone.distance <= farthest.get(zone.way, -1.0):
                    farthest[zone.way] = zone.distance
                    lines.append(_reach(zone, assessment, wording))
        lines += _in_the_air(laser.name, assessment, wording)
    lines += ["", assessment.decision.people]  # of all lasers, with what is not on the list of surfaces
    return [unit_text(line).replace("\u00a0", " ") for line in lines]


def _in_the_air(laser: str, assessment: Assessment, wording: Wording) -> list[str]:
    """Return where a laser stands, where it points, how high its beam is above the limit, and what it disturbs."""
    scene, with_feet = assessment.scene, assessment.units == "metric and feet"
    if scene is None:
        return []
    lines = []
    far = [z.distance for s in assessment.setups if s.laser == laser and s.fitted for z in s.zones if z.way == "direct"]
    for aim in scene.aims:
        if (aim.laser, aim.mode, aim.fitted) == (laser, "running", True):
            low, high = (math.degrees(end) for end in aim.elevation_range)
            margin = math.degrees(aim.margin)
            steepest = math.radians(min(high + margin, 90.0))
            lines.append("  " + spoken(wording.text(
                "notice.aim",
                x=f"{aim.position[0]:z.2f} m",
                y=f"{aim.position[1]:z.2f} m",
                height=place(aim.position[2], with_feet),
                bearing=" – ".join(dict.fromkeys(f"{math.degrees(end) % 360.0:.4g}°" for end in aim.bearing_range)),
                elevation=" – ".join(dict.fromkeys(f"{end:.3g}°" for end in (low, high))),
                margin=f"{margin:.3g}°",
                top=distance(aim.position[2] + max(far, key=badness) * max(math.sin(steepest), 0.0), with_feet),
            )))  # fmt: skip
    outdoors = [tidy(one.text) for one in scene.findings if one.kind == "outdoors" and one.subject == laser]
    return [*lines, *(f"  {one}" for one in outdoors)]


def _reach(zone: Zone, assessment: Assessment, wording: Wording) -> str:
    """Return how far the light of one way is above the limit, as the notice says it."""
    text, own = wording.text, zone.criterion
    words = {"way": text(f"way.{zone.way}"), "tissue": text(f"tissue.{zone.tissue}"), "rule_set": own.rule_set}
    words |= {"duration": duration(own.duration), "limit": in_unit(own.limit, own.limit_unit, 3, "down")}
    words |= {"origin": wording.say(zone.origin)}
    return text("notice.distance", distance=distance(zone.distance, assessment.units == "metric and feet"), **words)


def notice_flow(sheet: Sheet) -> None:
    """Print the data for a notice as a part of the sheet, in one piece where that can be."""
    heading, intro, *rest = notice_lines(sheet.assessment, sheet.wording)

    def draw(on: Sheet, size: float) -> None:
        on.heading(heading, 0, keep=80.0)
        on.paragraph(intro, Style(9, after=3))
        on.table((), (1,), [Row((Part(line.strip(), Style(size)),)) for line in rest if line], 1.2)

    sheet.fitted(draw, (8.0, 7.5, 7.0))
