"""Two pieces of work at the same time: the second in a process of its own, where this one may have one.

Only a program that runs for one command may (`allowed`): in a library or in a worker of a batch the other processors
are not ours. Without that, on one processor, or where processes cannot be forked, the work is done one after the
other; the result is the same.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from typing import Any, BinaryIO, TypeVar

A = TypeVar("A")
B = TypeVar("B")
_may = False


def allowed() -> AbstractContextManager[None]:
    """Let this process fork another one, meanwhile, where work can be shared."""
    return _meanwhile(True)


def alone() -> AbstractContextManager[None]:
    """Let this process fork no other one, meanwhile."""
    return _meanwhile(False)


@contextmanager
def _meanwhile(may: bool) -> Iterator[None]:
    global _may
    before, _may = _may, may
    try:
        yield
    finally:
        _may = before


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
        Worked out in another one, if there is one; see `begun`.

    Returns
    -------
    tuple
        Both results.
    """
    with begun(beside) as answer:
        return here(), answer()


@contextmanager
def begun(work: Callable[[], B]) -> Iterator[Callable[[], B]]:
    """Begin to work something out in another process, and give a function that waits for the answer.

    Parameters
    ----------
    work : callable
        Nothing that it changes is seen here. When it fails there, it is called here again, so that its error is raised
        as usual; without another process it is called here when the answer is asked for.

    Yields
    ------
    callable
        Returns the answer; to be called once.
    """
    if not _possible():
        yield work
        return
    import signal

    gc.freeze()  # what is there is not looked through, and so not copied
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)  # or it would wait for itself when nobody reads
        _answer(writing, work)
    os.close(writing)
    try:
        with open(reading, "rb") as pipe:
            yield partial(_answered, pipe, work)
    except BaseException:
        os.kill(child, signal.SIGKILL)
        raise
    finally:
        os.waitpid(child, 0)


def _answer(writing: int, work: Callable[[], Any]) -> None:
    """Write what the work gives, or nothing when it fails, and end the process without any more ado."""
    global _may
    _may = False
    try:
        import pickle

        answer = pickle.dumps(work(), pickle.HIGHEST_PROTOCOL)
        with open(writing, "wb") as pipe:
            pipe.write(answer)
    finally:
        os._exit(0)


def _answered(pipe: BinaryIO, work: Callable[[], B]) -> B:
    import pickle

    try:
        found: B = pickle.load(pipe)
    except (EOFError, pickle.UnpicklingError):  # it failed there, or was ended
        return work()
    return found
