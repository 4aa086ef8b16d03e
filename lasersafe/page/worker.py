"""The process that computes: jobs as lines of JSON on its standard input, answers as lines on its standard output."""

from __future__ import annotations

import base64
import json
import os
import signal
import sys
from typing import Any

from lasersafe.errors import CalcError, CaseError


def answer(job: dict[str, Any]) -> dict[str, Any]:
    """Return the answer to one job.

    Parameters
    ----------
    job : dict
        ``do``, the name of the job, and what it needs: ``form`` with the fields as typed, ``language``, ``text``.

    Returns
    -------
    dict
        The answer; ``error`` where there is none, with ``faults`` of a case; ``broken`` where the fault is ours.
    """
    try:
        return _answered(job)
    except CaseError as error:
        faults = [{"line": one.line, "field": one.field, "message": one.message} for one in error.faults]
        return {"error": str(error), "faults": faults}
    except CalcError as error:
        return {"error": str(error)}
    except Exception as error:  # the page must go on, and nobody is shown a traceback
        return {"broken": f"{type(error).__name__}: {error}"[:400]}


def _answered(job: dict[str, Any]) -> dict[str, Any]:
    name, language = job["do"], job["language"]
    if name == "glasses":
        from lasersafe.page.glasses import glasses_answer

        return glasses_answer(job["form"], language)
    if name == "case":
        from lasersafe.page.case import case_answer

        return case_answer(job["text"], job["name"], language)
    if name == "file":
        from lasersafe.page.case import case_file

        return case_file(job["text"], job["name"], job["what"])
    if name in ("room", "help", "room_case"):
        from lasersafe.page import room

        do = {"room": room.room_answer, "help": room.room_help, "room_case": room.room_case}
        return do[name](job["form"], language)
    return {}  # to be awake


def _plain(value: Any) -> Any:
    """Return what JSON does not know as what it knows: bytes as base64."""
    return base64.b64encode(value).decode("ascii") if isinstance(value, bytes) else str(value)


def main() -> None:
    """Answer jobs until the standard input ends: with the server, however that ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's; it ends this process
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what anything prints must not be taken for an answer
    for line in sys.stdin.buffer:
        answers.write(json.dumps(answer(json.loads(line)), default=_plain).encode() + b"\n")
        answers.flush()


if __name__ == "__main__":
    main()
