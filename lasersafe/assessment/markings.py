"""Markings on eyewear that cannot be read are faults of the case, each at its field."""

from __future__ import annotations

from lasersafe.errors import CaseError, Fault, InputError
from lasersafe.hazard.marking import parse_marking
from lasersafe.models import Case


def marking_edges(case: Case) -> tuple[float, ...]:
    """Return the wavelengths at which a statement on some eyewear of the case begins or ends, rising. [m]."""
    found = set()
    for marking in {person.eyewear for person in case.person if person.eyewear}:
        try:
            read = parse_marking(marking)
        except InputError:  # a fault of its own
            continue
        found |= {edge * 1e-9 for statement in read.statements for edge in (statement.low_nm, statement.high_nm)}
    return tuple(sorted(found))


def refuse_unreadable_markings(case: Case) -> None:
    """Read the marking of each person's eyewear.

    Parameters
    ----------
    case : Case
        The case.

    Raises
    ------
    CaseError
        If markings cannot be read; all of them, with their lines.
    """
    faults = []
    for i, person in enumerate(case.person):
        if not person.eyewear:
            continue
        try:
            parse_marking(person.eyewear)
        except InputError as error:
            line = case._lines.get(("person", i, "eyewear"))
            faults.append(Fault(line, f"person[{i + 1}].eyewear", str(error).removeprefix("marking = ")))
    if faults:
        name = "case"
        raise CaseError(name, faults)
