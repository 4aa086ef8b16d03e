"""The sign-off page: the state of the sheet, what changed since it was signed, and one box per role."""

from __future__ import annotations

from dataclasses import dataclass

from lasersafe.results import Assessment, RoleSigned, SignOff
from lasersafe.sheet.flow import BODY, Box, Flow, Mark, Path, Text
from lasersafe.sheet.front import in_charge
from lasersafe.sheet.text import Line, Style, tidy, wrap
from lasersafe.wording import Wording

_LABEL = Style(8, ink=0.2)
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
    by_role = {one.role: one for one in signed.signed}
    boxes = [
        _SignBox(role, assessment, wording, flow.width, signed, by_role.get(role.replace(" ", "_")))
        for role in wording.roles
    ]
    together = sum(box.height + 6.0 for box in boxes) + 110.0  # all roles on one page where they fit
    flow.heading(text("sign_off.heading"), 0, keep=together if together < flow.full else flow.full * 0.3)
    _state(flow, wording, signed)
    flow.paragraph(text("sign_off.intro"), BODY)
    places = {}
    for box in boxes:
        flow.figure(box.height, box.draw)
        places[box.key] = SignPlace(len(flow.pages) - 1, box.place)
        flow.space(6.0)
    return places


def _state(flow: Flow, wording: Wording, signed: SignOff) -> None:
    text = wording.text
    if signed.state == "draft":
        if signed.reasons:
            flow.paragraph(text("sign_off.state_draft"), _STATE)
        for reason in signed.reasons:
            flow.paragraph(tidy(reason), _SMALL, 12.0, "•")
    else:
        flow.paragraph(text("sign_off.state_" + ("signed" if signed.state == "signed" else "for_signature")), _STATE)
    if signed.changed:
        flow.paragraph(text("sign_off.changed"), _STATE)
        for line in signed.changed:
            flow.paragraph(line, _SMALL, 12.0, "•")
    if signed.review_by:
        flow.paragraph(text("sign_off.review_by", day=signed.review_by), BODY)


class _SignBox:
    """Room for one signature."""

    def __init__(
        self,
        role: str,
        assessment: Assessment,
        wording: Wording,
        width: float,
        signed: SignOff,
        entry: RoleSigned | None,
    ) -> None:
        text = wording.text
        self.key = role.replace(" ", "_")
        self.wording = wording
        self.width = width
        title = wording.roles[role]
        person = entry.name if entry else in_charge(assessment, wording).get(title, "")
        if self.key not in signed.required:
            title = f"{title} ({text('sign_off.not_required')})"
        self.declares = wrap(wording.declarations[role], _SMALL, width - 16.0)
        self.name = wrap(person, _NAME, width * 0.5 - 24.0)
        self.title = wrap(title, _NAME, width * 0.5 - 24.0)
        self.recorded: tuple[Line, ...] = ()
        if entry:
            lines = [text("sign_off.recorded", moment=entry.at)]
            if entry.expires:
                lines.append(text("sign_off.expires", day=entry.expires))
            if entry.conditions:
                lines.append(text("sign_off.conditions", conditions=entry.conditions))
            self.recorded = wrap("\n".join(lines), _SMALL, width - 16.0)
        self.upper = max(len(self.name), len(self.title), 1) * 12.5
        small = (len(self.declares) + len(self.recorded)) * _SMALL.leading
        self.height = small + self.upper + 68.0
        self.place = (0, 0, 0, 0)

    def draw(self, marks: list[Mark], left: float, top: float) -> None:
        """Draw the box, and note where the signature goes."""
        text = self.wording.text
        marks.append(Box(left, top - self.height, self.width, self.height, ink=0.0, thick=0.8))
        x, half = left + 8.0, left + self.width * 0.5 + 8.0
        y = self._small(marks, self.declares, x, top - 4.0)
        y = self._small(marks, self.recorded, x, y) - 14.0
        for start, label, lines in ((x, "name", self.name), (half, "role", self.title)):
            marks.append(Text(start, y, text(f"sign_off.{label}"), 8, _LABEL.font, 0.25))
            base = y
            for line in lines:
                base -= 12.5
                marks.extend(Text(start + piece.x, base, piece.text, 10, _NAME.font) for piece in line)
            foot = y - self.upper - 3.5
            marks.append(Path(((start, foot), (start + self.width * 0.5 - 24.0, foot)), 0.0, 0.6))
        y -= self.upper + 14.0
        foot = top - self.height + 7.0
        for start, label in ((x, "date"), (half, "signature")):
            marks.append(Text(start, y, text(f"sign_off.{label}"), 8, _LABEL.font, 0.25))
            marks.append(Path(((start, foot), (start + self.width * 0.5 - 24.0, foot)), 0.0, 0.6))
        right = half + self.width * 0.5 - 24.0
        self.place = (round(half + 44.0), round(foot + 1.0), round(right), round(foot + 27.0))

    @staticmethod
    def _small(marks: list[Mark], lines: tuple[Line, ...], x: float, y: float) -> float:
        for line in lines:
            y -= _SMALL.leading
            marks.extend(Text(x + piece.x, y + 2.0, piece.text, piece.size, _SMALL.font) for piece in line)
        return y
