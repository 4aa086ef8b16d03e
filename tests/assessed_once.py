"""Equal cases share one assessment in a run of the suite, and equal sheets one print, but in `with anew():`."""

from __future__ import annotations

import hashlib
import pickle
import shutil
import tempfile
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import fields
from functools import wraps
from pathlib import Path
from typing import Any

import pytest

import lasersafe
from lasersafe import assessment
from lasersafe.assessment import stages
from lasersafe.assessment.stage import Stage
from lasersafe.models import Case, canonical, typed_inputs
from lasersafe.results import Assessment
from lasersafe.signing import making
from lasersafe.signing.record import Record

WORK = assessment.assess
PRINTED = ("annex_of", "make_sheet")  # functions of `lasersafe.signing.making`
KEPT = 60  # assessments, and as many prints, in the memory of a process; a scene takes a few MB
SCENES = 24  # cases whose scenes may hand on what they know; each takes some 10 MB
LONG = 0.3  # s; what takes longer is kept on the disk for all processes of the run
_FOUND: OrderedDict[str, Assessment] = OrderedDict()
_PRINTS: OrderedDict[str, tuple[Any, object]] = OrderedDict()
_STAGES: list[list[Stage]] = []
_RUNNING: list[pytest.Item] = []
_REPLACED: set[pytest.MonkeyPatch] = set()
_FOLDER: list[Path] = []


@contextmanager
def anew() -> Iterator[None]:
    """Assess anew what was assessed before."""
    kept = _RUNNING[:]
    _RUNNING.clear()
    yield
    _RUNNING[:] = kept


def _shared() -> bool:
    """Whether the running test may share: not while it has replaced something."""
    return bool(_RUNNING) and not _REPLACED


def _replacing(patch: pytest.MonkeyPatch, *args: Any, **more: Any) -> None:
    _REPLACED.add(patch)
    _SETATTR(patch, *args, **more)


def _undoing(patch: pytest.MonkeyPatch) -> None:
    _UNDO(patch)
    _REPLACED.discard(patch)


_SETATTR, _UNDO = pytest.MonkeyPatch.setattr, pytest.MonkeyPatch.undo
pytest.MonkeyPatch.setattr, pytest.MonkeyPatch.undo = _replacing, _undoing  # type: ignore[assignment, method-assign]


@wraps(WORK)
def _once(case: Case, language: str | None = None, **more: Any) -> Assessment:
    if not _shared():
        return WORK(case, language, **more)
    language = language or case.language
    words = (repr(canonical(case)), repr(typed_inputs(case)), language, lasersafe.__version__, *more.items())
    key = hashlib.sha256(repr(words).encode()).hexdigest()
    if key not in _FOUND:
        _FOUND[key] = _read(key) or _worked(key, case, language, **more)
        if len(_FOUND) > KEPT:
            _FOUND.popitem(last=False)
    _FOUND.move_to_end(key)
    return _FOUND[key]


def _read(key: str) -> Assessment | None:
    """Return what was found before, in this process or another."""
    file = _FOLDER[0] / key
    if not file.is_file():
        return None
    found: Assessment = pickle.loads(file.read_bytes())
    return found


def _worked(key: str, case: Case, language: str | None, **more: Any) -> Assessment:
    start = time.process_time()
    found = WORK(case, language, **more)
    if time.process_time() - start > LONG:
        part = Path(tempfile.mkstemp(dir=_FOLDER[0])[1])
        part.write_bytes(pickle.dumps(found))
        part.rename(_FOLDER[0] / key)
    return found


assessment.assess = _once  # before any other module takes it from there


def _handed_on(earlier: list[Stage], found: list[Stage]) -> None:
    """Let stages take over from those of the last case that differs no more than it may, whatever came between."""
    if _shared():
        kept = [*(one for one in _STAGES if one[0] is not earlier[0]), earlier] if earlier else _STAGES
        told = [stages._but_for_places(one) for one in found]
        earlier = next((one for one in kept if [stages._but_for_places(old) for old in one] == told), [])
        _STAGES[:] = [one for one in kept if one is not earlier][-SCENES:]  # it hands on once, as in the program
    _TAKE_OVER(earlier, found)


_TAKE_OVER, stages._take_over = stages._take_over, _handed_on


def _told(value: Any) -> object:
    """Return what tells one argument of a print from another; of an assessment, which records it is made of."""
    if isinstance(value, Assessment):
        named = ("version", "fingerprint")
        records = (id(getattr(value, field.name)) for field in fields(value) if field.name not in named)
        return (*(getattr(value, name) for name in named), *records)
    if isinstance(value, Record):
        return value.text()
    return canonical(value) if isinstance(value, Case) else value


def _printed_once(work: Callable[..., Any]) -> Callable[..., Any]:
    @wraps(work)
    def once(*args: Any, **more: Any) -> Any:
        if not _shared():
            return work(*args, **more)
        told = work.__name__, *map(_told, args), *((name, _told(value)) for name, value in more.items())
        key = hashlib.sha256(repr(told).encode()).hexdigest()
        if key not in _PRINTS:
            _PRINTS[key] = work(*args, **more), (args, more)  # what is printed is kept: its identity is in the key
            if len(_PRINTS) > KEPT:
                _PRINTS.popitem(last=False)
        return _PRINTS[key][0]

    return once


for name in PRINTED:
    setattr(making, name, _printed_once(getattr(making, name)))


def pytest_configure(config: pytest.Config) -> None:
    """Take the folder of the run, in a process of pytest-xdist from the one that started it."""
    given = getattr(config, "workerinput", {}).get("assessments")
    _FOLDER[:] = [Path(given or tempfile.mkdtemp(prefix="assessments-"))]


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Hand the processes of pytest-xdist the folder."""
    node.workerinput["assessments"] = str(_FOLDER[0])


def pytest_unconfigure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput"):
        shutil.rmtree(_FOLDER[0], ignore_errors=True)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Any:
    """Remember which test runs."""
    _RUNNING[:] = [item]
    _REPLACED.clear()  # what pytest itself has replaced
    try:
        return (yield)
    finally:
        _RUNNING.clear()
