"""What must hold for any file: an answer or a refusal in good form, in good time, and nothing else."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import math
import re
import signal
import time
import tomllib
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lasersafe.ask.printed import assessment_text
from lasersafe.assessment import assess
from lasersafe.errors import CalcError, CaseError, Fault
from lasersafe.models import read_case
from lasersafe.records import as_json as plain_data
from tests.fuzz.refusals import line_problems, problems_of

ALLOWED_SECONDS = 2.0  # of processor time
GIVE_UP = 20.0
_NOT_FINITE = re.compile(r"(?<![\w.])(?:nan|inf(?:inity)?)(?![\w.])", re.IGNORECASE)
_TYPED = re.compile(r"'[^']*'|[-+]?[0-9][0-9.]*(?:e[-+]?[0-9]+)? ?[a-zA-Z0-9/%]*")


class TooLong(BaseException):
    """The watchdog; no handler of the program may catch it."""


@dataclasses.dataclass(frozen=True)
class Outcome:
    """What became of one file.

    Parameters
    ----------
    kind : {"assessed", "refused", "refused when assessed", "broken"}
        Broken is a traceback or an endless calculation.
    seconds : float
        Processor time. [s]
    problems : tuple of str
        What is against the rules; empty when all is well.
    place : str
        Where a fault arose or what the refusal says, without numbers: equal for equal behaviour.
    """

    kind: str
    seconds: float
    problems: tuple[str, ...]
    place: str

    @property
    def slow(self) -> bool:
        """Whether it took longer than is allowed."""
        return self.seconds > ALLOWED_SECONDS


@contextlib.contextmanager
def watchdog(seconds: float) -> Iterator[None]:
    """Stop the block after so much processor time of this process; the load of the machine does not count."""

    def bark(number: int, frame: object) -> None:
        raise TooLong

    before = signal.signal(signal.SIGPROF, bark)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def judge(path: Path, give_up: float = GIVE_UP) -> Outcome:
    """Return what becomes of a case file in ``lasersafe check`` and ``lasersafe assess``.

    Parameters
    ----------
    path : Path
        The file, of any content.
    give_up : float
        Processor time after which the calculation is stopped. [s]
    """
    start = time.process_time()
    kind, problems, place = "broken", [], ""
    try:
        with watchdog(give_up):
            kind, problems, place = _judge(path)
    except TooLong:
        problems, place = [f"still working after {give_up:g} s"], "endless"
    except Exception as error:  # whatever a user would meet as a fault of the program
        frames = traceback.extract_tb(error.__traceback__)
        own = [f for f in frames if "lasersafe" in Path(f.filename).parts] or list(frames)
        place = f"{type(error).__name__} in {Path(own[-1].filename).name}:{own[-1].name}"
        problems = [f"{place}:{own[-1].lineno}: {str(error)[:200]}"]
    return Outcome(kind, time.process_time() - start, tuple(problems), place)


def _judge(path: Path) -> tuple[str, list[str], str]:
    try:
        case = read_case(path)
    except CaseError as error:
        data = _data(path)
        problems = [one for fault in error.faults for one in problems_of(fault, data)]
        return "refused", problems, ("" if not error.faults else plain(error.faults[0]))
    try:
        assessment = assess(case)
    except CaseError as error:
        problems = [one for fault in error.faults for one in problems_of(fault, _data(path))]
        return "refused when assessed", problems, plain(error.faults[0])
    except CalcError as error:
        message = str(error)
        problems = [*line_problems(message), f"no field of the case file: {message[:200]}"]
        return "refused when assessed", problems, _TYPED.sub("#", message)[:120]
    data = plain_data(assessment)
    problems = [f"not a number: {where}" for where in _not_numbers(assessment, "assessment")][:3]
    try:
        json.dumps(data, ensure_ascii=False, allow_nan=False)
    except ValueError as error:
        problems.append(f"JSON: {error}")
    text = assessment_text(assessment)
    typed = path.read_text(encoding="utf-8-sig")
    if not _NOT_FINITE.search(typed):
        problems += [f"printed: {line[:120]}" for line in text.splitlines() if _NOT_FINITE.search(line)][:1]
    return "assessed", problems, assessment.decision.verdict[:30]


def plain(fault: Fault) -> str:
    """Return a fault without what was typed, so that equal behaviour reads the same."""
    field = re.sub(r"\[\d+\]", "[]", fault.field) if len(fault.field) < 60 else "long field"
    return f"{field}: " + _TYPED.sub("#", fault.message)[:60]


def _data(path: Path) -> Any:
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n"))
    except (ValueError, RecursionError):
        return None


def _not_numbers(value: Any, where: str) -> Iterator[str]:
    if isinstance(value, float):
        if math.isnan(value):
            if not re.fullmatch(r"assessment\.scene\.matrix\[\d+\]\.distance", where):  # NaN there: no light comes
                yield where
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from _not_numbers(getattr(value, field.name), f"{where}.{field.name}")
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from _not_numbers(one, f"{where}.{key}")
    elif isinstance(value, (tuple, list)):
        for i, one in enumerate(value):
            yield from _not_numbers(one, f"{where}[{i}]")
