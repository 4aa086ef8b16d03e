"""The sign-off page: the state of the sheet, what changed since it was signed, and one box per role."""

from __future__ import annotations

from dataclasses import dataclass

from lasersafe.drawing.primitives import BLACK, Lines, edge, grey
from lasersafe.results import SignOff
from lasersafe.sheet.flow import BODY, Sheet
from lasersafe.sheet.front import in_charge
from lasersafe.sheet.text import Line, Style, tidy, wrap

_LABEL = Style(8, ink=grey(0.25))
_SMALL = Style(8.5)
_NAME = Style(10, True)
_STATE = Style(9, True, after=3)


@dataclass(frozen=True)
class SignPlace:
    """Where a signature goes: page counted from 0, and the rectangle in points from the lower left corner."""

    page: int
    box: tuple[int, int, int, int]


def sign_off(sheet: Sheet, signed: SignOff) -> dict[str, SignPlace]:
    """Print the state and one box per role with name, role, date and signature; return role -> place to sign."""
    text = sheet.text
    boxes = [_laid(role, sheet, signed) for role in sheet.wording.roles]
    together = sum(box.height + 6.0 for box in boxes) + 110.0  # all roles on one page where they fit
    sheet.heading(text("sign_off.heading"), 0, keep=together if together < sheet.full else sheet.full * 0.3)
    _state(sheet, signed)
    sheet.paragraph(text("sign_off.intro"), BODY)
    places = {}
    for box in boxes:
        places[box.key] = _sign_box(sheet, box)
        sheet.space(6.0)
    return places


def _state(sheet: Sheet, signed: SignOff) -> None:
    text = sheet.text
    if signed.state == "draft":
        if signed.reasons:
            sheet.paragraph(text("sign_off.state_draft"), _STATE)
        sheet.items([tidy(reason) for reason in signed.reasons], _SMALL)
    else:
        sheet.paragraph(text("sign_off.state_" + ("signed" if signed.state == "signed" else "for_signature")), _STATE)
    if signed.changed:
        sheet.paragraph(text("sign_off.changed"), _STATE)
        sheet.items(signed.changed, _SMALL)
    if signed.review_by:
        sheet.paragraph(text("sign_off.review_by", day=signed.review_by), BODY)


@dataclass(frozen=True)
class _SignBox:
    """Room for one signature: its lines, the height of name and role, and of the whole."""

    key: str
    said: list[tuple[Line, Style]]
    name: list[tuple[Line, Style]]
    title: list[tuple[Line, Style]]
    upper: float
    height: float


def _laid(role: str, sheet: Sheet, signed: SignOff) -> _SignBox:
    text = sheet.text
    key = role.replace(" ", "_")
    entry = next((one for one in reversed(signed.signed) if one.role == key), None)
    title = sheet.wording.roles[role]
    person = entry.name if entry else in_charge(sheet.assessment, sheet.wording).get(title, "")
    if key not in signed.required:
        title = f"{title} ({text('sign_off.not_required')})"
    said = [sheet.wording.declarations[role]]
    if entry:
        said.append(text("sign_off.recorded", moment=entry.at))
        said += [text("sign_off.expires", day=entry.expires)] if entry.expires else []
        said += [text("sign_off.conditions", conditions=entry.conditions)] if entry.conditions else []
    small = [(line, _SMALL) for line in wrap("\n".join(said), _SMALL, sheet.width - 16.0)]
    half = sheet.width * 0.5 - 24.0
    names, titles = ([(line, _NAME) for line in wrap(words, _NAME, half)] for words in (person, title))
    upper = max(len(names), len(titles), 1) * _NAME.leading
    return _SignBox(key, small, names, titles, upper, len(small) * _SMALL.leading + upper + 68.0)


def _sign_box(sheet: Sheet, box: _SignBox) -> SignPlace:
    """Print one box, and return where the signature goes."""
    top = sheet.reserve(box.height)
    left, middle, long = sheet.left + 8.0, sheet.left + sheet.width * 0.5 + 8.0, sheet.width * 0.5 - 24.0
    sheet.marks.extend(edge((sheet.left, sheet.y, sheet.left + sheet.width, top), 0.8))
    y = sheet.stack(box.said, left, top - 4.0) - 14.0
    foot = sheet.y + 7.0
    low = y - box.upper - 14.0
    fields: tuple[tuple[str, float, float, float, list[tuple[Line, Style]]], ...] = (
        ("name", left, y, y - box.upper - 3.5, box.name),
        ("role", middle, y, y - box.upper - 3.5, box.title),
        ("date", left, low, foot, []),
        ("signature", middle, low, foot, []),
    )
    for label, x, base, line, words in fields:
        sheet.marks.append(_LABEL.words(x, base, sheet.text(f"sign_off.{label}")))
        sheet.stack(words, x, base - 2.0)
        sheet.marks.append(Lines((((x, line), (x + long, line)),), BLACK, 0.6))
    area = (round(middle + 44.0), round(foot + 1.0), round(middle + long), round(foot + 27.0))
    return SignPlace(len(sheet.pages) - 1, area)
