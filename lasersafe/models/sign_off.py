"""Who has to sign before a sheet stops being a draft: ``[sign_off]``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Flag, Peek
from lasersafe.models.messages import Finding

SignRole = Literal["assessor", "laser_safety_officer", "operator", "venue"]


class SignOffRule(CaseModel):
    """The rule for the signatures of a case: ``[sign_off]``.

    Attributes
    ----------
    required_roles
        Roles that must all have signed before the sheet stops saying DRAFT: 'assessor', 'laser_safety_officer',
        'operator', 'venue'. The laser safety officer is always among them.
    one_person_two_roles
        true when one person may sign in more than one of these roles.
    printed_for_signature
        true when people sign the paper in ink: the sheet says 'printed for signature' in place of DRAFT.
    """

    required_roles: Annotated[tuple[SignRole, ...], Field(min_length=1, max_length=4)] = (
        "assessor",
        "laser_safety_officer",
        "operator",
        "venue",
    )
    one_person_two_roles: Flag = False
    printed_for_signature: Flag = False

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse a role that stands twice, and a rule without the laser safety officer."""
        roles = peek.data.get("required_roles")
        if not isinstance(roles, (list, tuple)) or not roles:
            return []
        found: list[Finding] = []
        names = [role for role in roles if isinstance(role, str)]
        if len(names) != len(set(names)):
            found.append((("required_roles",), "a role stands here twice; name each role once"))
        if "laser_safety_officer" not in names:
            message = "'laser_safety_officer' is missing; no sheet is released without that role: write it too"
            found.append((("required_roles",), message))
        return found
