"""Two pieces of work at the same time: the second in a process of its own, where this one may have one.

Only a program that runs for one command may (`allow`): in a library or in a worker of a batch the other processors are
not ours. Without that, on one processor, or where processes cannot be forked, the work is done one after the other;
the result is the same.
"""

from __future__ import annotations

import gc
import os
import pickle
import signal
from collections.abc import Callable
from typing import Any, TypeVar

A = TypeVar("A")
B = TypeVar("B")
_may = False


def allow() -> None:
    """Let this process fork another one where work can be shared."""
    global _may
    _may = True


def _possible() -> bool:
    try:
        return _may and len(os.sched_getaffinity(0)) > 1 and len(os.listdir("/proc/self/task")) == 1
    except (AttributeError, OSError):  # not Linux
        return False


def both(here: Callable[[], A], beside: Callable[[], B]) -> tuple[A, B]:
    """Return what two functions give, worked out at the same time where that is possible.

    Parameters
    ----------
    here : callable
        Worked out in this process.
    beside : callable
        Worked out in another one, if there is one; nothing that it changes is seen here. When it fails there, it is
        called here again, so that its error is raised as usual.

    Returns
    -------
    tuple
        Both results.
    """
    if not _possible():
        return here(), beside()
    gc.freeze()  # what is there is not looked through, and so not copied
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        _answer(writing, beside)
    os.close(writing)
    try:
        with open(reading, "rb") as pipe:
            found = here()
            answer = pipe.read()
    except BaseException:
        os.kill(child, signal.SIGKILL)
        raise
    finally:
        os.waitpid(child, 0)
    try:
        return found, pickle.loads(answer)
    except (EOFError, pickle.UnpicklingError):  # it failed there, or was ended
        return found, beside()


def _answer(writing: int, work: Callable[[], Any]) -> None:
    """Write what the work gives, or nothing when it fails, and end the process without any more ado."""
    try:
        answer = pickle.dumps(work(), pickle.HIGHEST_PROTOCOL)
        with open(writing, "wb") as pipe:
            pipe.write(answer)
    finally:
        os._exit(0)
