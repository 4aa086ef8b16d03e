"""Run the command line in this process, as a user would."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from dataclasses import dataclass
from typing import Any
from unittest import mock

from lasersafe import cli


@dataclass(frozen=True)
class Answer:
    """What a command did."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> dict[str, Any]:
        """The JSON that was printed."""
        found: dict[str, Any] = json.loads(self.out)
        return found


def run(*words: object) -> Answer:
    """Run `lasersafe` with these words."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with (
        mock.patch.object(sys, "argv", ["lasersafe", *map(str, words)]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            cli.run()
        except SystemExit as stop:
            code = int(stop.code or 0)
    assert "Traceback" not in out.getvalue() + err.getvalue()
    return Answer(code, out.getvalue(), err.getvalue())


def run_encoded(encoding: str, *words: object, typed: bytes = b"") -> tuple[int, bytes, bytes]:
    """Run `lasersafe` on streams of an encoding, as a process would; return its code and what it wrote on both."""
    out, err = io.BytesIO(), io.BytesIO()
    code = 0
    with (
        mock.patch.object(sys, "argv", ["lasersafe", *map(str, words)]),
        mock.patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(typed), encoding)),
        mock.patch.object(sys, "stdout", io.TextIOWrapper(out, encoding)),
        mock.patch.object(sys, "stderr", io.TextIOWrapper(err, encoding)),
    ):
        cli.prepare()
        try:
            cli.run()
        except SystemExit as stop:
            code = int(stop.code or 0)
        sys.stdout.flush()
        sys.stderr.flush()
        return code, out.getvalue(), err.getvalue()
