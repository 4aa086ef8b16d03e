"""Who has signed a sheet, as the sheet prints it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RoleSigned:
    """One sign-off, as the record beside the case holds it."""

    role: str  # assessor | laser_safety_officer | operator | venue
    name: str
    at: str  # moment in UTC, as 2026-11-14T16:05:00Z
    conditions: str = ""
    expires: str = ""  # day, as 2027-03-01, or ""
    note: str = ""


@dataclass(frozen=True)
class SignOff:
    """What the sheet says about its signatures; nothing in it comes from a clock."""

    state: str = "draft"  # draft | signed | printed for signature
    required: tuple[str, ...] = ("assessor", "laser_safety_officer", "operator", "venue")
    signed: tuple[RoleSigned, ...] = ()  # for the inputs of this sheet
    missing: tuple[str, ...] = ()  # required roles that have not signed
    reasons: tuple[str, ...] = ()  # why it is a draft
    changed: tuple[str, ...] = ()  # what changed since the last sign-off of other inputs
    review_by: str = ""
