"""The page for an officer: a case with its faults by line, its decision and plan, and its files to download."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from lasersafe.ask.printed import subjects
from lasersafe.assessment import assess, fingerprint
from lasersafe.assessment.decision import is_fitted, times, way_of
from lasersafe.drawing.values import decimals, tidy
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.page.forms import Texts
from lasersafe.page.glasses import inline
from lasersafe.quantity import format_quantity
from lasersafe.records.fields import badness
from lasersafe.wording import load_wording
from lasersafe.wording.message import localise

if TYPE_CHECKING:
    from lasersafe.results import Assessment


def case_answer(text: str, name: str, language: str) -> dict[str, Any]:
    """Return what the page shows of a case.

    Parameters
    ----------
    text : str
        The case file; untrusted.
    name : str
        Name of the file, without a folder; only shown.
    language : str
        Language of the page.

    Returns
    -------
    dict
        ``faults``, each with its line and the text of it; or ``brief``, ``people``, ``plan`` and the rest of it.
    """
    try:
        case = parse_case(text, name)
    except CaseError as error:
        lines = text.split("\n")
        faults = [
            {"line": one.line, "field": one.field, "message": one.message, "text": _line(lines, one.line)}
            for one in error.faults
        ]
        return {"faults": faults}
    assessment = assess(case, language)
    wording = load_wording(language)
    shown = localise(assessment, wording)
    return {
        "faults": [],
        "title": shown.title,
        "passed": shown.decision.passed,
        "brief": rows_of(shown, Texts(language)),
        "people": people_of(shown, Texts(language)),
        "plan": plan_of(assessment),
        "starters": [{"line": one.line, "field": one.field, "name": one.name} for one in shown.record.starter_values],
        "fingerprint": fingerprint(case, case.language),
        "caution": wording.caution_short,
    }


def sentence(text: str, say: Texts) -> str:
    """Return a sentence of the program with its numbers held together, as the language of the page writes them."""
    with decimals(load_wording(say.language)):
        spoken = tidy(text) if say("page.decimal_mark") != "." else text
    return re.sub(r"(?<=\d) (?=\d{3}\b|m\b)", "\u00a0", spoken)


def rows_of(assessment: Assessment, say: Texts) -> list[dict[str, Any]]:
    """Return the short answer that the command line gives, whole: each subject with its lines."""
    rows: list[dict[str, Any]] = []
    for label, line in subjects(assessment):
        if label:
            rows.append({"label": label, "lines": []})
        rows[-1]["lines"].append(sentence(line, say))
    return rows


def people_of(assessment: Assessment, say: Texts) -> list[dict[str, Any]]:
    """Return the worst way of each person that is not struck out: how many times the limit, and what answers it."""
    wording, found = load_wording(say.language), dict[str, dict[str, Any]]()
    fitted = [s for s in assessment.setups if s.fitted]
    mine = [s for s in assessment.scenarios if is_fitted(s, fitted) and not s.struck_out]
    for s in sorted(mine, key=lambda s: (s.below, bool(s.answer), -badness(s.ratio))):
        if s.person in found:
            continue
        answer = say("case.below") if s.below else sentence(s.answer, say) or say("case.unanswered")
        found[s.person] = {
            "person": s.person,
            "way": way_of(s, wording),
            "laser": s.laser,
            "distance": say.number(format_quantity(s.distance, "m", 3, "down")),
            "ratio": say.number(times(s.ratio)),
            "answer": answer,
            "open": not s.below and not s.answer,
        }
    return list(found.values())


def plan_of(assessment: Assessment) -> str:
    """Return the plan as an element of the page, "" where the case has no scene."""
    if assessment.scene is None:
        return ""
    from lasersafe.ask.plans import drawings_of
    from lasersafe.drawing.pictures import to_svg

    return inline(to_svg(drawings_of(assessment, "A4")[0]))


def _line(lines: list[str], number: int | None) -> str:
    return lines[number - 1].strip()[:200] if number is not None and number <= len(lines) else ""


def case_file(text: str, name: str, what: str) -> dict[str, Any]:
    """Return a file of a case, in the language of the case: the bytes that the command line writes for an unsigned one.

    Parameters
    ----------
    text : str
        The case file; untrusted.
    name : str
        Name of the file, without a folder; the sheet carries it.
    what : str
        ``sheet``, ``annex`` or ``plan``.

    Raises
    ------
    CaseError
        If the case has faults.
    InputError
        If it has no plan.
    """
    case = parse_case(text, name)
    if what == "plan":
        from lasersafe.library.cases import plan_svg

        return {"content": plan_svg(assess(case, in_full=False)).encode()}
    from lasersafe.files import marked
    from lasersafe.signing.making import make_sheet
    from lasersafe.signing.record import Record

    made = make_sheet(text, case, Record(), file=name)
    return {"content": marked(made.annex) if what == "annex" and made.annex is not None else made.content}
