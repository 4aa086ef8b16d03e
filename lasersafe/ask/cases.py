"""What the commands on a case write: starter cases, sheets and pages to hand out; and the faults of a case."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lasersafe.ask.new import write_starter
from lasersafe.errors import CalcError, CaseError, Fault, InputError
from lasersafe.outputs import DASH, Output, case_mark, mark_of, refuse_to_lose, write_outputs
from lasersafe.records.fields import as_json
from lasersafe.results import StarterValue
from lasersafe.typed import shown
from lasersafe.wording import load_wording


def check_lines(path: Path) -> tuple[list[str], dict[str, Any]]:
    """Return the faults of a case as lines and as JSON; a case without faults is worked out as well.

    What it still says as a starter case does is no fault, nor is eyewear that cannot be read: each is a remark.
    """
    from lasersafe.assessment import assess
    from lasersafe.assessment.protection import unreadable_markings
    from lasersafe.models import read_case
    from lasersafe.models.reading import REPLACE

    def remark(line: int | None, field: str, words: str) -> str:
        return f"  remark: {'' if line is None else f'line {line}: '}{field}{words}"

    faults, values, lines = list[Fault](), list[StarterValue](), list[str]()
    last = "nobody can sign before what holds here is written"
    try:
        case = read_case(path)
        values = list(assess(case).record.starter_values)
        for one in values:
            as_in = f", '{one.name}': as in the starter case '{one.starter}'; {last} instead"
            lines.append(remark(one.line, one.field, as_in if one.starter else f": marked '{REPLACE[2:]}'; {last}"))
        for i, person, reason in unreadable_markings(case):
            words = f": {shown(person.eyewear)} counts as no protection: {reason}"
            lines.append(remark(case._lines.get(("person", i, "eyewear")), f"person[{i + 1}].eyewear", words))
    except CaseError as error:
        faults = list(error.faults)
    except CalcError as error:
        faults = [Fault(None, "case", str(error))]
    data = {
        "case": str(path),
        "faults": as_json(faults),
        "starter_values": as_json(values),
        "remarks": [one.strip() for one in lines],
    }
    head = f"{path}: {'no' if not faults else len(faults)} {'fault' if len(faults) == 1 else 'faults'}"
    return [head, *(lines if not faults else (f"  {fault}" for fault in faults))], data


def write_case_sheet(path: Path, output: Path, paper: str | None, replace: bool = False) -> dict[str, Any]:
    """Assess a case, write its sheet with the signatures on record, and return what to print."""
    from lasersafe.models import parse_case, read_case_text
    from lasersafe.signing.making import annex_path, make_sheet, refuse_to_lose_sheet, save_sheet
    from lasersafe.signing.record import read_record, record_path

    if paper not in (None, "A4", "Letter"):
        message = f"paper = '{paper[:40]}': allowed are A4 and Letter"
        raise InputError(message)
    if output == DASH:
        message = "output = '-': a sheet and its annex are two files; name the file of the sheet"
        raise InputError(message)
    text = read_case_text(path)
    case = parse_case(text, str(path))
    refuse_to_lose_sheet(output, case_mark(path.name, case.title), replace)  # before there is work
    refuse_to_lose(annex_path(output), mark_of("annex", path.name, case.title), replace=replace)
    made = make_sheet(text, case, read_record(record_path(path)), paper, file=path.name)
    copy = save_sheet(output, made, replace)
    return {
        "sheet": str(output),
        "annex": str(annex_path(output)),
        "verdict": made.assessment.decision.verdict,
        "passed": made.assessment.decision.passed,
        "fingerprint": made.assessment.fingerprint,
        "state": made.sign_off.state,
        "missing_roles": list(made.sign_off.missing),
        "changed_since_sign_off": list(made.sign_off.changed),
        "kept": None if copy is None else str(copy),
        "caution": load_wording(made.assessment.language).caution_short,
    }


def write_case_page(path: Path, output: Path, paper: str | None, kind: str, replace: bool = False) -> dict[str, Any]:
    """Assess a case, write one of its pages to hand out, and return what to print."""
    from lasersafe.assessment import assess
    from lasersafe.models import read_case
    from lasersafe.sheet import render_sheet
    from lasersafe.signing.making import results_of
    from lasersafe.signing.record import read_record, record_path
    from lasersafe.signing.state import results_digest, sign_off_of

    case = read_case(path)
    size = paper or case.paper
    if size not in ("A4", "Letter"):
        message = f"paper = '{size[:40]}': allowed are A4 and Letter"
        raise InputError(message)
    mark = mark_of(kind, path, case.title)
    refuse_to_lose(output, mark, replace=replace)  # before there is work
    assessment = assess(case)
    record = read_record(record_path(path))
    digest = results_digest(results_of(assessment)) if record.entries else ""  # only signatures are compared with it
    signed = sign_off_of(case, assessment, record, digest)
    pages = render_sheet(assessment, paper=size, kind=kind, sign_off=signed)
    write_outputs([Output(output, pages, mark)], replace=replace)
    return {
        "sheet": str(output),
        "verdict": assessment.decision.verdict,
        "passed": assessment.decision.passed,
        "fingerprint": assessment.fingerprint,
        "caution": load_wording(assessment.language).caution_short,
    }


def write_demo(folder: Path) -> dict[str, Any]:
    """Write the demo case and its sheet and return what to print."""
    case = folder / "demo.toml"
    sheet = folder / "demo.pdf"
    write_starter(case, "demo", replace=False, starters_too=True)
    data = write_case_sheet(case, sheet, None)
    return {"case": str(case), **data}
