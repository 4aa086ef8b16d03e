"""The process that computes, seen from both sides: the server asks it, and it answers lines of JSON with lines of JSON.

It is started when it is needed, and ended when it takes too long or has nothing to do.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import json
import os
import signal
import sys
import time
from pkgutil import resolve_name
from typing import Any

from lasersafe.errors import CalcError
from lasersafe.page.forms import FormError

_PATIENCE = 2.0  # [s] for a process that was told to leave its job
LONGEST = 120.0  # [s] for one job; two lasers with unknown optics take half a minute
_IDLE = 120.0  # [s] after which a worker that has nothing to do is ended
_LINE = 64 * 1024 * 1024  # bytes of one answer


class TookTooLongError(Exception):
    """A job was ended because its time was up."""


class Worker:
    """One worker process; its jobs wait for each other.

    Parameters
    ----------
    longest : float
        Time that one job may take. [s]
    """

    def __init__(self, longest: float = LONGEST) -> None:
        self.longest = longest
        self.process: asyncio.subprocess.Process | None = None
        self.one_at_a_time = asyncio.Lock()
        self.waiting = 0
        self.used = 0.0

    async def ask(self, job: dict[str, Any]) -> dict[str, Any]:
        """Return the answer to a job.

        Raises
        ------
        TookTooLongError
            If it took too long; the process was ended, and the next job starts another one.
        """
        self.waiting += 1
        try:
            async with self.one_at_a_time:
                for _ in range(2):  # once more, where it was ended from outside
                    try:
                        async with asyncio.timeout(self.longest):
                            line = await self._line(json.dumps(job).encode() + b"\n")
                    except TimeoutError:
                        await self.end()
                        raise TookTooLongError from None
                    except asyncio.CancelledError:
                        await self._leave()
                        raise
                    if line:
                        self.used = time.monotonic()
                        return dict(json.loads(line))
                    await self.end()
                return {"broken": "the worker process ended"}
        finally:
            self.waiting -= 1

    async def _leave(self) -> None:
        """Let the process leave its job, so that the next one finds it warm; end it where it does not."""
        left = b""
        if self.process is not None and self.process.stdout is not None and hasattr(signal, "SIGUSR1"):
            with contextlib.suppress(TimeoutError, OSError, ValueError):
                async with asyncio.timeout(_PATIENCE):
                    self.process.send_signal(signal.SIGUSR1)
                    left = await self.process.stdout.readline()
        if not left:
            await self.end()
        self.used = time.monotonic()

    async def _line(self, job: bytes) -> bytes:
        """Return what the process answers, nothing when it ended."""
        process = self.process
        if process is None or process.returncode is not None:
            # -P: nothing in the folder that the page was started in can take the place of a module
            command, pipe = (sys.executable, "-P", "-m", "lasersafe.page.worker"), asyncio.subprocess.PIPE
            process = await asyncio.create_subprocess_exec(*command, stdin=pipe, stdout=pipe, limit=_LINE)
            self.process = process
        with contextlib.suppress(OSError, ValueError):  # it ended, or the line is longer than any answer
            if process.stdin is not None and process.stdout is not None:
                process.stdin.write(job)
                await process.stdin.drain()
                return await process.stdout.readline()
        return b""

    async def end(self) -> None:
        """End the process, whatever it is doing."""
        process, self.process = self.process, None
        if process is not None and process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await process.wait()

    async def rest(self) -> None:
        """End the process whenever it had nothing to do for a while; never returns."""
        while True:
            await asyncio.sleep(_IDLE / 4)
            if self.process is not None and not self.one_at_a_time.locked() and time.monotonic() - self.used > _IDLE:
                await self.end()


JOBS = {  # what can be asked for -> module of the page and its function, or a method of what it makes
    "glasses": "answers:glasses_answer", "case": "answers:case_answer", "file": "answers:case_file",
    "room": "room:AskedRoom.answer", "tones": "room:AskedRoom.tones", "help": "room:AskedRoom.help",
    "room_case": "room:AskedRoom.file",
}  # fmt: skip


class StaleError(BaseException):
    """Nobody waits for the answer any more."""


def answer(job: str, values: dict[str, Any]) -> dict[str, Any]:
    """Return the answer to one job.

    Parameters
    ----------
    job : str
        One of `JOBS`.
    values : dict
        What it needs, by the names of its parameters.

    Returns
    -------
    dict
        The answer; ``faults`` of a form; ``error`` where there is none; ``broken`` where the fault is ours.
    """
    place, _, method = JOBS[job].partition(".")
    try:
        made = resolve_name(f"lasersafe.page.{place}")(**values)
        return dict(getattr(made, method)() if method else made)
    except FormError as error:
        return {"faults": error.faults}
    except CalcError as error:
        return {"error": str(error)}
    except Exception as error:  # the page must go on, and nobody is shown a traceback
        return {"broken": f"{type(error).__name__}: {error}"[:400]}


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
        job, found = json.loads(line), dict[str, Any]()
        with contextlib.suppress(StaleError):
            working = True
            found = answer(job.pop("do"), job)
        working = False
        text = json.dumps(found, default=lambda value: base64.b64encode(value).decode("ascii"))  # a file
        answers.write(text.encode() + b"\n")
        answers.flush()


if __name__ == "__main__":
    main()
