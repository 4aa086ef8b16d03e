"""Cases and assessments in a program or a notebook: read, made, assessed, printed."""

from __future__ import annotations

import math
import numbers
import os
from collections.abc import Mapping
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

import tomli_w

from lasersafe import models
from lasersafe.assessment import assess as assess_case
from lasersafe.errors import InputError, refuse
from lasersafe.library.beams import shown_quantity, to_si, unit_of
from lasersafe.library.notebook import assessment_html, case_html
from lasersafe.models import Case
from lasersafe.quantity import parse_quantity, shown
from lasersafe.results import Assessment

Source = Case | Mapping[str, Any] | str | os.PathLike[str]
_DEEPEST = 12


def read_case(path: str | os.PathLike[str]) -> Case:
    """Return the case that a file describes.

    Parameters
    ----------
    path : path
        A case file, as ``lasersafe new`` starts one.

    Returns
    -------
    Case
        Every field as typed and in SI units; a notebook shows it as a table.

    Raises
    ------
    CaseError
        If there are faults; all of them, with their lines.
    """
    _refuse_starter(str(path))
    text = models.read_case_text(path)
    case = models.parse_case(text, str(path))
    case._text = text
    return case


def make_case(source: str | Mapping[str, Any]) -> Case:
    """Return the case that a text or nested dictionaries describe.

    Parameters
    ----------
    source : str or mapping
        The text of a case file, or its tables as dictionaries and lists. A number with a unit is text, as
        ``"1.5 kW"``, or a pint quantity of any registry.

    Returns
    -------
    Case
        Every field as typed and in SI units; a notebook shows it as a table.

    Raises
    ------
    CaseError
        If there are faults; all of them.
    InputError
        If a quantity has a dimension that no field has.
    """
    if isinstance(source, str):
        _refuse_starter(source)
        if "\n" not in source.strip():
            refuse(f"case = {shown(source)}: one line is no case; give the text of a case file, or read_case its name")
        case = models.parse_case(source)
        case._text = source
        return case
    if not isinstance(source, Mapping):
        refuse(f"case = {shown(source)}: give the text of a case file, or a dictionary of its tables")
    data = _as_typed(source)
    case = models.case_from(data)
    case._text = tomli_w.dumps(data)
    return case


def starter_case(name: str) -> Case:
    """Return one of the starter cases.

    Parameters
    ----------
    name : str
        As ``lasersafe new`` lists them: ``"handheld-welder"``, ``"nanosecond-marker"``, ``"visible-diode"``,
        ``"co2-cutter"``, ``"ultraviolet"`` or ``"demo"``.

    Returns
    -------
    Case
        All names and serial numbers in it are invented.

    Raises
    ------
    InputError
        If there is no starter case of that name.
    """
    from lasersafe.ask.cases import template_text

    return make_case(template_text(name).decode("utf-8"))


def _refuse_starter(name: str) -> None:
    """Refuse the name of a starter case where a file or a text is expected, unless there is such a file."""
    from lasersafe.ask.cases import template_names

    if name in template_names() and not Path(name).exists():
        refuse(f"case = {shown(name)}: there is no such file; starter_case({name!r}) gives the starter case")


def _case_of(source: Source) -> Case:
    if isinstance(source, Case):
        return source
    if isinstance(source, os.PathLike) or (isinstance(source, str) and "\n" not in source):
        return read_case(source)
    if isinstance(source, (str, Mapping)):
        return make_case(source)
    refuse(f"case = {shown(source)}: give a case, the name of a case file, its text, or a dictionary of its tables")


def assess(case: Source, language: str | None = None) -> Assessment:
    """Return the assessment of a case.

    Parameters
    ----------
    case : Case, path, str or mapping
        A case; or the name of a case file, its text, or its tables as dictionaries.
    language : str, optional
        Language of the wording, as ``"de"``; without it, that of the case.

    Returns
    -------
    Assessment
        Decision, set-ups with their zones, scenarios, eyewear, barriers, scene; all numbers in SI units, each with
        its steps. A notebook shows the decision block, the zones and the drawing.

    Raises
    ------
    CaseError
        If the case has faults; all of them.
    CalcError
        If the case lies outside what the documents cover.
    """
    return assess_case(_case_of(case), language)


def write_sheet(case: Source, path: str | os.PathLike[str], *, paper: str | None = None, replace: bool = False) -> Path:
    """Assess a case and print its sheet as a PDF, with the case inside, so that ``lasersafe verify`` can check it.

    Parameters
    ----------
    case : Case, path, str or mapping
        A case; or the name of a case file, its text, or its tables as dictionaries. Only the sheet of a case file
        carries the signatures that are on record beside the file.
    path : path
        The PDF to write.
    paper : str, optional
        ``"A4"`` or ``"Letter"``; without it, what the case says.
    replace : bool
        Replace a signed sheet of the same case, or another file; a dated copy of it is kept.

    Returns
    -------
    pathlib.Path
        Where the sheet is.

    Raises
    ------
    CaseError
        If the case has faults; all of them.
    InputError
        If the paper is not known, or the case was changed after it was read.
    OutputError
        If the file cannot be written.
    """
    from lasersafe.signing.making import make_sheet, save_sheet
    from lasersafe.signing.record import Record, read_record, record_path

    file = isinstance(case, os.PathLike) or (isinstance(case, str) and "\n" not in case)
    record = read_record(record_path(Path(str(case)))) if file else Record()
    own = _case_of(case)
    text = own._text
    if not text or models.canonical(models.parse_case(text)) != models.canonical(own):
        refuse(
            "case: it was changed after it was read or made, and a sheet has to carry its text; use make_case for it"
        )
    name = Path(str(case)).name if file else ""
    made = make_sheet(text, models.parse_case(text, str(case) if file else "case"), record, paper, file=name)
    save_sheet(Path(path), made, replace)
    return Path(path)


# What a notebook shows of them: all that a notebook has of both comes through here.
Case._repr_html_ = case_html  # type: ignore[attr-defined]
Assessment._repr_html_ = assessment_html  # type: ignore[attr-defined]


def _as_typed(value: Any, field: str = "case", depth: int = 0) -> Any:
    """Return nested data with each pint quantity as the text that a case file would have.

    Parameters
    ----------
    value : Any
        Dictionaries, lists, text, numbers, days, pint quantities, values of another case.
    field : str
        Where it stands, for the message.
    depth : int
        How deep it is nested.

    Returns
    -------
    Any
        Plain data, as ``tomllib`` gives it.

    Raises
    ------
    InputError
        If something in it has no place in a case file.
    """
    if depth > _DEEPEST:
        refuse(f"{field[:60]}: nested too deeply; this is no case")
    if isinstance(value, Mapping):
        return {
            str(key): _as_typed(one, f"{field}.{key}".removeprefix("case."), depth + 1) for key, one in value.items()
        }
    if isinstance(value, (list, tuple)):
        return [_as_typed(one, f"{field}[{number}]", depth + 1) for number, one in enumerate(value, 1)]
    if hasattr(value, "magnitude") and hasattr(value, "to"):
        unit = unit_of(value)
        if unit is None:
            text = shown_quantity(value)
            refuse(f"{field} = {text}: no field of a case has this dimension; 'lasersafe units' lists the units")
        number = to_si(value, unit, field)
        if number.ndim:
            return [_as_typed(one, field, depth + 1) for one in value]
        # in its own unit where that is one of ours, else in SI
        for text in (f"{value.magnitude:.12g} {value.units:~P}".strip(), f"{value.magnitude:.12g} {value.units:P}"):
            with suppress(InputError):
                if parse_quantity(text, unit, field).value == float(number):
                    return text
        return f"{float(number)!r} {unit}".removesuffix(" 1")
    if isinstance(getattr(value, "typed", None), str):
        return value.typed
    if isinstance(value, (str, bool, int, date)):
        return value
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real):
        if not math.isfinite(value):
            refuse(f"{field} = {float(value)!r}: write a finite number")
        return float(value)
    if hasattr(value, "tolist"):
        return _as_typed(value.tolist(), field, depth + 1)
    refuse(f"{field} = {shown(value)}: this has no place in a case; write text, a number or a quantity")
