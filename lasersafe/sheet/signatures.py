"""The sign-off page: the state of the sheet, what changed since it was signed, and one box per role."""

from __future__ import annotations

from dataclasses import dataclass

from lasersafe.drawing.primitives import BLACK, Lines, edge, grey
from lasersafe.results import Assessment, SignOff
from lasersafe.sheet.flow import BODY, Flow
from lasersafe.sheet.front import in_charge
from lasersafe.sheet.text import Line, Style, tidy, wrap
from lasersafe.wording import Wording

_LABEL = Style(8, ink=grey(0.25))
_SMALL = Style(8.5)
_NAME = Style(10, True)
_STATE = Style(9, True, after=3)


@dataclass(frozen=True)
class SignPlace:
    """Where a signature goes: page counted from 0, and the rectangle in points from the lower left corner."""

    page: int
    box: tuple[int, int, int, int]


def sign_off(flow: Flow, assessment: Assessment, wording: Wording, signed: SignOff) -> dict[str, SignPlace]:
    """Print the state and one box per role with name, role, date and signature; return role -> place to sign."""
    text = wording.text
    boxes = [_laid(role, assessment, wording, flow.width, signed) for role in wording.roles]
    together = sum(box.height + 6.0 for box in boxes) + 110.0  # all roles on one page where they fit
    flow.heading(text("sign_off.heading"), 0, keep=together if together < flow.full else flow.full * 0.3)
    _state(flow, wording, signed)
    flow.paragraph(text("sign_off.intro"), BODY)
    places = {}
    for box in boxes:
        places[box.key] = _sign_box(flow, box, wording)
        flow.space(6.0)
    return places


def _state(flow: Flow, wording: Wording, signed: SignOff) -> None:
    text = wording.text
    if signed.state == "draft":
        if signed.reasons:
            flow.paragraph(text("sign_off.state_draft"), _STATE)
        flow.items([tidy(reason) for reason in signed.reasons], _SMALL)
    else:
        flow.paragraph(text("sign_off.state_" + ("signed" if signed.state == "signed" else "for_signature")), _STATE)
    if signed.changed:
        flow.paragraph(text("sign_off.changed"), _STATE)
        flow.items(signed.changed, _SMALL)
    if signed.review_by:
        flow.paragraph(text("sign_off.review_by", day=signed.review_by), BODY)


@dataclass(frozen=True)
class _SignBox:
    """Room for one signature: its lines, the height of name and role, and of the whole."""

    key: str
    said: list[tuple[Line, Style]]
    name: list[tuple[Line, Style]]
    title: list[tuple[Line, Style]]
    upper: float
    height: float


def _laid(role: str, assessment: Assessment, wording: Wording, width: float, signed: SignOff) -> _SignBox:
    text = wording.text
    key = role.replace(" ", "_")
    entry = next((one for one in reversed(signed.signed) if one.role == key), None)
    title = wording.roles[role]
    person = entry.name if entry else in_charge(assessment, wording).get(title, "")
    if key not in signed.required:
        title = f"{title} ({text('sign_off.not_required')})"
    said = [wording.declarations[role]]
    if entry:
        said.append(text("sign_off.recorded", moment=entry.at))
        said += [text("sign_off.expires", day=entry.expires)] if entry.expires else []
        said += [text("sign_off.conditions", conditions=entry.conditions)] if entry.conditions else []
    small = [(line, _SMALL) for line in wrap("\n".join(said), _SMALL, width - 16.0)]
    half = width * 0.5 - 24.0
    names, titles = ([(line, _NAME) for line in wrap(words, _NAME, half)] for words in (person, title))
    upper = max(len(names), len(titles), 1) * _NAME.leading
    return _SignBox(key, small, names, titles, upper, len(small) * _SMALL.leading + upper + 68.0)


def _sign_box(flow: Flow, box: _SignBox, wording: Wording) -> SignPlace:
    """Print one box, and return where the signature goes."""
    top = flow.reserve(box.height)
    left, middle, long = flow.left + 8.0, flow.left + flow.width * 0.5 + 8.0, flow.width * 0.5 - 24.0
    flow.marks.extend(edge((flow.left, flow.y, flow.left + flow.width, top), 0.8))
    y = flow.stack(box.said, left, top - 4.0) - 14.0
    foot = flow.y + 7.0
    low = y - box.upper - 14.0
    fields: tuple[tuple[str, float, float, float, list[tuple[Line, Style]]], ...] = (
        ("name", left, y, y - box.upper - 3.5, box.name),
        ("role", middle, y, y - box.upper - 3.5, box.title),
        ("date", left, low, foot, []),
        ("signature", middle, low, foot, []),
    )
    for label, x, base, line, words in fields:
        flow.marks.append(_LABEL.words(x, base, wording.text(f"sign_off.{label}")))
        flow.stack(words, x, base - 2.0)
        flow.marks.append(Lines((((x, line), (x + long, line)),), BLACK, 0.6))
    area = (round(middle + 44.0), round(foot + 1.0), round(middle + long), round(foot + 27.0))
    return SignPlace(len(flow.pages) - 1, area)
