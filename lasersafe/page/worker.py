"""The process that computes: jobs as lines of JSON on its standard input, answers as lines on its standard output."""

from __future__ import annotations

import base64
import json
import os
import signal
import sys
from collections.abc import Callable
from importlib import import_module
from typing import Any

from lasersafe.errors import CalcError, CaseError
from lasersafe.page.forms import FormError

JOBS = {  # what can be asked for -> module of the page and its function
    "glasses": ("glasses", "glasses_answer"),
    "case": ("case", "case_answer"),
    "file": ("case", "case_file"),
    "room": ("room", "room_answer"),
    "tones": ("room", "room_tones"),
    "help": ("room", "room_help"),
    "room_case": ("room", "room_case"),
}


class StaleError(BaseException):
    """Nobody waits for the answer any more."""


def answer(do: Callable[..., dict[str, Any]], values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer to one job.

    Parameters
    ----------
    do : callable
        What works it out.
    values : dict
        What it needs, by the names of its parameters.

    Returns
    -------
    dict
        The answer; ``error`` where there is none, with ``faults`` of a case; ``broken`` where the fault is ours.
    """
    try:
        return do(**values)
    except FormError as error:
        return {"faults": error.faults}
    except CaseError as error:
        faults = [{"line": one.line, "field": one.field, "message": one.message} for one in error.faults]
        return {"error": str(error), "faults": faults}
    except CalcError as error:
        return {"error": str(error)}
    except Exception as error:  # the page must go on, and nobody is shown a traceback
        return {"broken": f"{type(error).__name__}: {error}"[:400]}


def _plain(value: Any) -> Any:
    """Return what JSON does not know as what it knows: bytes as base64."""
    return base64.b64encode(value).decode("ascii") if isinstance(value, bytes) else str(value)


def main() -> None:
    """Answer jobs until the standard input ends: with the server, however that ends."""
    working = False

    def stale(*_: object) -> None:
        if working:
            raise StaleError

    if hasattr(signal, "SIGUSR1"):  # elsewhere the server ends the process instead
        signal.signal(signal.SIGUSR1, stale)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's; it ends this process
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what anything prints must not be taken for an answer
    for line in sys.stdin.buffer:
        job = json.loads(line)
        module, name = JOBS[job.pop("do")]
        do, found = getattr(import_module(f"lasersafe.page.{module}"), name), {}
        try:
            working = True
            found = answer(do, job)
            working = False
        except StaleError:
            working = False
        answers.write(json.dumps(found, default=_plain).encode() + b"\n")
        answers.flush()


if __name__ == "__main__":
    main()
