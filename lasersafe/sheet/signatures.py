"""The sign-off block: the state of the sheet, what changed since it was signed, and one box per role."""

from __future__ import annotations

from dataclasses import dataclass

from lasersafe.drawing.primitives import BLACK, Lines, edge, grey
from lasersafe.drawing.values import tidy, unit_text
from lasersafe.results import SignOff
from lasersafe.sheet.flow import Part, Sheet, bold, row
from lasersafe.sheet.front import in_charge
from lasersafe.sheet.text import Line, Style, wrap

_LABEL, _SMALL = Style(7.5, ink=grey(0.25)), Style(7.5)
_NAME, _STATE = Style(9.5, True), Style(9, True, after=2)
_GAP, _INSIDE, _ROOM = 6.0, 6.0, 31.0  # between two boxes; at their edges; below the text, for date and signature
_DATE = 78.0


@dataclass(frozen=True)
class SignPlace:
    """Where a signature goes: page counted from 0, and the rectangle in points from the lower left corner."""

    page: int
    box: tuple[int, int, int, int]


def sign_off(sheet: Sheet, signed: SignOff, annex: str) -> dict[str, SignPlace]:
    """Print the state, what is signed, and one box per role, two beside each other; return role -> place to sign."""
    text, assessment = sheet.text, sheet.assessment
    wide = (sheet.width - _GAP) / 2
    roles = list(sheet.wording.roles)
    boxes = [(role.replace(" ", "_"), _said(role, sheet, signed, wide - 2 * _INSIDE)) for role in roles]
    pairs = [boxes[n : n + 2] for n in range(0, len(boxes), 2)]
    high = [max(sum(style.leading for _, style in lines) for _, lines in pair) + _ROOM + 10.0 for pair in pairs]
    sheet.heading(text("sign_off.heading"), 0, keep=min(sum(high) + 120.0, sheet.full * 0.9))
    _state(sheet, signed)
    sets = text("decision.all_rule_sets", rule_set=assessment.rule_set, rule_sets=", ".join(assessment.rule_sets))
    facts = {"rule_sets": sets, "full_fingerprint": assessment.fingerprint, "annex": annex}
    sheet.table(
        (), (1, 4.6), [row(bold(text(f"decision.{key}")), Part(value)) for key, value in facts.items() if value], 1.5
    )
    places = {}
    for pair, tall in zip(pairs, high, strict=True):
        top = sheet.reserve(tall)
        for number, (key, lines) in enumerate(pair):
            left = sheet.left + number * (wide + _GAP)
            sheet.marks.extend(edge((left, sheet.y, left + wide, top), 0.8))
            sheet.stack(lines, left + _INSIDE, top - 3.0)
            places[key] = _lines_to_sign(sheet, left + _INSIDE, left + wide - _INSIDE)
        sheet.space(_GAP)
    return places


def _state(sheet: Sheet, signed: SignOff) -> None:
    text = sheet.text
    if signed.state == "draft":
        if signed.reasons:
            sheet.paragraph(text("sign_off.state_draft"), _STATE)
        sheet.items([unit_text(tidy(reason)) for reason in signed.reasons], Style(8.5))
    else:
        sheet.paragraph(text("sign_off.state_" + ("signed" if signed.state == "signed" else "for_signature")), _STATE)
    if signed.changed:
        sheet.paragraph(text("sign_off.changed"), _STATE)
        sheet.items(signed.changed, Style(8.5))
    sheet.paragraph(text("sign_off.intro"), Style(8.5, after=3))


def _said(role: str, sheet: Sheet, signed: SignOff, room: float) -> list[tuple[Line, Style]]:
    """Return the lines of one box: name, role, what is declared, and what is on record."""
    text = sheet.text
    key = role.replace(" ", "_")
    entry = next((one for one in reversed(signed.signed) if one.role == key), None)
    title = sheet.wording.roles[role]
    person = entry.name if entry else in_charge(sheet.assessment, sheet.wording).get(title, "")
    if key not in signed.required:
        title = f"{title} ({text('sign_off.not_required')})"
    said = [(f"{title}: {person}" if person else title, _NAME), (sheet.wording.declarations[role], _SMALL)]
    if entry:
        said.append((text("sign_off.recorded", moment=entry.at), _SMALL))
        said += [(text("sign_off.expires", day=entry.expires), _SMALL)] if entry.expires else []
        said += [(text("sign_off.conditions", conditions=entry.conditions), _SMALL)] if entry.conditions else []
        said += [(text("sign_off.for_them", reason=entry.for_them), _SMALL)] if entry.for_them else []
    return [(line, style) for words, style in said for line in wrap(words, style, room)]


def _lines_to_sign(sheet: Sheet, left: float, right: float) -> SignPlace:
    """Print the lines for date and signature at the foot of a box, and return where the signature goes."""
    foot = sheet.y + 6.0
    middle = left + _DATE
    for label, start, end in (("date", left, middle - 6.0), ("signature", middle, right)):
        word = sheet.text(f"sign_off.{label}")
        sheet.marks.append(_LABEL.words(start, foot + 2.0, word))
        sheet.marks.append(Lines((((start, foot), (end, foot)),), BLACK, 0.6))
    return SignPlace(len(sheet.pages) - 1, (round(middle + 42.0), round(foot + 1.0), round(right), round(foot + 27.0)))
