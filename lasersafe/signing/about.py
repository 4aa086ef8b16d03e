"""What a sheet says about itself (its attachment ``sheet.json``), read as the untrusted text that it is."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import date
from typing import Any

from lasersafe.signing.container import SheetError, SheetFile

LARGEST = 1_000_000
STATES = ("draft", "signed", "printed for signature")
_HASH = re.compile(r"[0-9a-f]{64}\Z")
_ROLE = re.compile(r"[a-z_]{1,40}\Z")


@dataclass(frozen=True)
class About:
    """The attachment ``sheet.json``: every field has the type that it should have, nothing more is certain."""

    version: str
    language: str
    paper: str
    drawn_with: str
    fingerprint: str
    ingredients: dict[str, str]
    results: str
    attachments: dict[str, str]
    case_file: str  # name without folder; empty where the case came from elsewhere
    title: str
    place: str
    dates: str
    lasers: tuple[str, ...]
    verdict: str
    passed: bool
    state: str
    required_roles: tuple[str, ...]
    signed: tuple[dict[str, str], ...]
    review_by: date
    expires: date | None
    sign_here: dict[str, tuple[int, tuple[int, int, int, int]]]

    @property
    def last_day(self) -> date:
        """Last day on which the sheet holds."""
        return min(self.review_by, self.expires) if self.expires else self.review_by


def read_about(sheet: SheetFile) -> About:
    """Return what a sheet says about itself.

    Raises
    ------
    SheetError
        If the attachment is missing, damaged or of another form.
    """
    from lasersafe.signing.making import ABOUT, FORMAT

    try:
        data = json.loads(sheet.attachment(ABOUT, LARGEST))
        if data.pop("format") != FORMAT:
            message = "its format is not known to this version of lasersafe"
            raise SheetError(message)
        return _about(data)
    except SheetError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        message = f"the attachment {ABOUT} is not what lasersafe writes"
        raise SheetError(message) from None


def _about(data: dict[str, Any]) -> About:
    texts = ("version", "language", "paper", "drawn_with", "fingerprint", "results", "title", "place", "dates")
    found = {name: _text(data[name]) for name in (*texts, "verdict", "state")}
    if found["state"] not in STATES or not _HASH.match(found["fingerprint"]):
        raise ValueError
    if not isinstance(data["passed"], bool):
        raise TypeError
    expires = _text(data["expires"])
    return About(
        **found,
        case_file=_text(data.get("case_file", "")),
        passed=data["passed"],
        ingredients={_text(name): _text(value) for name, value in data["ingredients"].items()},
        attachments={_text(name): _text(value) for name, value in data["attachments"].items()},
        lasers=tuple(_text(name) for name in data["lasers"]),
        required_roles=tuple(_text(name) for name in data["required_roles"]),
        signed=tuple({key: _text(one[key]) for key in ("role", "name", "at")} for one in data["signed"]),
        review_by=date.fromisoformat(_text(data["review_by"])),
        expires=date.fromisoformat(expires) if expires else None,
        sign_here={_role(role): _place(place) for role, place in data["sign_here"].items()},
    )


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > 10_000:
        raise TypeError
    return value


def _role(name: str) -> str:
    if not _ROLE.match(name):
        raise ValueError
    return name


def _place(data: Any) -> tuple[int, tuple[int, int, int, int]]:
    page, box = data["page"], data["box"]
    if not all(isinstance(one, int) and 0 <= one < 100_000 for one in (page, *box)) or len(box) != 4:
        raise ValueError
    return page, (box[0], box[1], box[2], box[3])
