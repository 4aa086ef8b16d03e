"""What a sheet says about itself (its attachment ``sheet.json``), read as the untrusted text that it is."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from lasersafe.signing.container import SheetError, SheetFile

FORMAT = "lasersafe sheet 1"
CASE_TEXT, CASE, RESULTS, RECORD, ABOUT = "case.toml", "case.json", "results.json", "signoff.json", "sheet.json"
LARGEST = 1_000_000
Text = Annotated[str, Field(max_length=10_000)]
Number = Annotated[int, Field(ge=0, lt=100_000)]


class SignPlace(NamedTuple):
    """Where a role signs: the page from 0, and the box on it. [pt]."""

    page: Number
    box: tuple[Number, Number, Number, Number]


class SignedLine(BaseModel):
    """Who signed on record, as the sheet prints it."""

    role: Text
    name: Text
    at: Text


class About(BaseModel):
    """The attachment ``sheet.json``: every field has the type that it should have, nothing more is certain."""

    model_config = ConfigDict(strict=True, frozen=True)

    format: Literal["lasersafe sheet 1"]
    version: Text
    language: Text
    paper: Text
    drawn_with: Text
    fingerprint: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    ingredients: dict[Text, Text]
    results: Text
    attachments: dict[Text, Text]
    annex: Text = ""  # SHA-256 of the file beside the sheet
    case_file: Text = ""  # name without folder; empty where the case came from elsewhere
    title: Text
    place: Text
    dates: Text
    lasers: tuple[Text, ...]
    verdict: Text
    passed: bool
    state: Literal["draft", "signed", "printed for signature"]
    required_roles: tuple[Text, ...]
    signed: tuple[SignedLine, ...]
    review_by: Literal[""] | date
    expires: Literal[""] | date
    sign_here: dict[Annotated[str, Field(pattern=r"^[a-z_]{1,40}$")], SignPlace]

    @property
    def last_day(self) -> date:
        """Last day on which the sheet holds; without one, the first of all."""
        return min((day for day in (self.review_by, self.expires) if day), default=date.min)


def read_about(sheet: SheetFile) -> About:
    """Return what a sheet says about itself.

    Raises
    ------
    SheetError
        If the attachment is missing, damaged or of another form.
    """
    content = sheet.attachment(ABOUT, LARGEST)
    try:
        return About.model_validate_json(content)
    except ValidationError as error:
        message = f"the attachment {ABOUT} is not what lasersafe writes"
        if any(one["loc"] == ("format",) and one["type"] == "literal_error" for one in error.errors()):
            message = "its format is not known to this version of lasersafe"
        raise SheetError(message) from None
