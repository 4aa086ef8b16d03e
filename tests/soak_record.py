"""Keep the counts of a long run, for docs/validation.md: ``pytest --soak-record=FILE``."""

from __future__ import annotations

import datetime
import json
import os
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

SECTIONS = ("fuzz", "guided", "scenes")
START = pytest.StashKey[float]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--soak-record", metavar="FILE", help="write the counts of this run, as JSON")


def pytest_configure(config: pytest.Config) -> None:
    config.stash[START] = time.monotonic()


def pytest_terminal_summary(terminalreporter, exitstatus: int, config: pytest.Config) -> None:
    target = config.getoption("soak_record", default=None)
    if not target:
        return
    stats = terminalreporter.stats
    counts = {name: len(stats.get(name, [])) for name in ("passed", "failed", "error", "xfailed", "skipped")}
    data = {
        "date": datetime.datetime.now(tz=datetime.UTC).date().isoformat(),
        "minutes": round((time.monotonic() - config.stash[START]) / 60.0, 1),
        "examples_per_property": settings().max_examples,
        "profile": os.environ.get("LASERSAFE_TEST_PROFILE", "gate"),
        "exit_status": int(exitstatus),
        **counts,
    }
    keep_counts(Path(target), None, data)


def keep_counts(path: Path, section: str | None, counts: dict[str, Any]) -> None:
    """Write the counts of one run into a record and leave the other runs in it as they are.

    Parameters
    ----------
    path : Path
        The record, as ``docs/soak.json``.
    section : str or None
        ``fuzz``, ``guided`` or ``scenes``; None for the suite itself.
    counts : dict
        Ready for JSON.
    """
    data = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}
    kept = {name: data[name] for name in SECTIONS if name in data}
    if section is None:
        data = counts | kept
    else:
        data[section] = counts
    path.write_text(json.dumps(data, indent=2) + "\n", encoding="utf-8")
