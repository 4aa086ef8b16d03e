"""How long the check of an untrusted file may take, and how much memory."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator
from pathlib import Path

MEMORY = 2_000_000_000  # bytes that the check of a sheet may take


class TookTooLongError(BaseException):
    """The time is over; no ``except Exception`` on the way may keep it."""


@contextlib.contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """Stop the block after a time, where the system can do that."""
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(number: int, frame: object) -> None:
        raise TookTooLongError

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        with _memory_at_most(MEMORY):
            yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


@contextlib.contextmanager
def _memory_at_most(more: int) -> Iterator[None]:
    """Let the block take so many bytes more than the program has, where the system can do that (Linux)."""
    try:
        import resource

        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    except (ImportError, OSError, ValueError, IndexError):
        yield
        return
    before = resource.getrlimit(resource.RLIMIT_AS)
    wanted = pages * resource.getpagesize() + more
    if before[0] != resource.RLIM_INFINITY:
        wanted = min(wanted, before[0])
    resource.setrlimit(resource.RLIMIT_AS, (wanted, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, before)
