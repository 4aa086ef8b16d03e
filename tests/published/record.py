"""Keep what each published check compared, for docs/validation.md.

A test under ``@pytest.mark.published(source, locator)`` that compares with ``printed(text)`` is recorded as it
is; nothing has to be added to it. The marker also takes ``note="..."``, for a condition that belongs in the table,
such as a limit of an older edition that was put in. A check with a tolerance of its own calls the fixture
``published_row(printed, ours, note="")``, with ``superseded=True`` for a value that a later edition has replaced.

``pytest --published-record FILE`` writes the records as JSON.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Generator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from tests.published import printed as printed_module


@dataclass(frozen=True)
class Row:
    """One comparison of a published check."""

    test: str  # file and function, without the parameters
    case: str  # id of the parameters, "" for a test without
    source: str
    locator: str
    printed: str  # the digits as printed; "" where a test compares no number
    ours: float | None
    agrees: bool  # ours rounds to the digits as printed
    outcome: str = "passed"  # passed | failed | xfailed | skipped
    note: str = ""
    own: bool = False  # no document prints it: we worked it out
    superseded: bool = False  # right for the edition that prints it, wrong today


class Recorder:
    """Collects the rows of the test that is running."""

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self.running: pytest.Item | None = None
        self.pending: list[Row] = []

    def add(
        self, text: str, ours: Any, agrees: bool, own: bool = False, note: str = "", superseded: bool = False
    ) -> None:
        """Record one comparison, when a published check is running."""
        item = self.running
        marker = item.get_closest_marker("published") if item is not None else None
        if item is None or marker is None:
            return
        source, locator = published_marker(*marker.args, **marker.kwargs)[:2]
        row = Row(
            test=item.nodeid.split("[")[0],
            case=item.callspec.id if hasattr(item, "callspec") else "",
            source=source,
            locator=locator,
            printed=text,
            ours=None if ours is None else float(ours),
            agrees=bool(agrees),
            note="; ".join(part for part in (marker.kwargs.get("note", ""), note) if part),
            own=own,
            superseded=superseded,
        )
        if row not in self.pending:
            self.pending.append(row)

    def finish(self, report: pytest.TestReport) -> None:
        """Give the pending rows the outcome of their test and keep them."""
        outcome = report.outcome
        note = ""
        if hasattr(report, "wasxfail"):
            outcome = "xfailed" if report.skipped else "failed"
            note = report.wasxfail.removeprefix("reason: ")
        if not self.pending and outcome != "skipped":
            self.add("", None, report.passed)
        for row in self.pending:
            notes = "; ".join(part for part in (row.note, note) if part)
            self.rows.append(replace(row, outcome=str(outcome), note=notes))
        self.pending = []


def published_marker(source: str, locator: str, note: str = "") -> tuple[str, str, str]:
    """Return the arguments of the marker; calling it checks them."""
    return source, locator, note


RECORDER = pytest.StashKey[Recorder]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--published-record", metavar="FILE", help="write what the published checks compared, as JSON")


def pytest_configure(config: pytest.Config) -> None:
    recorder = Recorder()
    config.stash[RECORDER] = recorder
    printed_module.on_compare(recorder.add)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        for marker in item.iter_markers("published"):
            try:
                published_marker(*marker.args, **marker.kwargs)
            except TypeError as error:
                message = f"{item.nodeid}: published(source, locator, note=''): {error}"
                raise pytest.UsageError(message) from None
            for expected in item.iter_markers("xfail"):
                if expected.kwargs.get("raises") is not printed_module.WrongPrintError:
                    message = (
                        f"{item.nodeid}: xfail has to name what it expects: raises=WrongPrintError, wrong_in_print()"
                    )
                    raise pytest.UsageError(message)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, Any, Any]:
    recorder = item.config.stash[RECORDER]
    recorder.running = item
    recorder.pending = []
    return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Generator[None, Any, Any]:
    report: pytest.TestReport = yield
    recorder = item.config.stash[RECORDER]
    if call.when == "call" and recorder.running is item:
        if item.get_closest_marker("published") is not None:
            recorder.finish(report)
        recorder.running = None
    return report


def pytest_sessionfinish(session: pytest.Session) -> None:
    target = session.config.getoption("--published-record")
    if target:
        rows = [asdict(row) for row in session.config.stash[RECORDER].rows]
        Path(target).write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


@pytest.fixture
def published_row(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Record a comparison that a test makes with a tolerance of its own."""
    recorder = request.config.stash[RECORDER]

    def record(printed: str, ours: float, note: str = "", *, superseded: bool = False) -> None:
        agrees = bool(ours == printed_module.printed(printed).approx)
        recorder.add(printed, ours, agrees=agrees, note=note, superseded=superseded)

    return record
