"""Equal cases share one assessment in a run of the suite, but in `with anew():`."""

from __future__ import annotations

import hashlib
import pickle
import shutil
import tempfile
import time
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import Any

import pytest

import lasersafe
from lasersafe import assessment
from lasersafe.models import Case, canonical, typed_inputs
from lasersafe.results import Assessment

WORK = assessment.assess
KEPT = 60  # assessments in the memory of a process; a scene takes a few MB
LONG = 0.3  # s; what takes longer is handed to the other processes of the run
_FOUND: OrderedDict[str, Assessment] = OrderedDict()
_RUNNING: list[pytest.Item] = []
_FOLDER: list[Path] = []


@contextmanager
def anew() -> Iterator[None]:
    """Assess anew what was assessed before."""
    kept = _RUNNING[:]
    _RUNNING.clear()
    yield
    _RUNNING[:] = kept


def _shared() -> bool:
    """Whether the running test may share: not one that has replaced something."""
    if not _RUNNING:
        return False
    patched = getattr(_RUNNING[0], "funcargs", {}).get("monkeypatch")
    return patched is None or not patched._setattr


@wraps(WORK)
def _once(case: Case, language: str | None = None, **more: Any) -> Assessment:
    if not _shared():
        return WORK(case, language, **more)
    words = (repr(canonical(case)), repr(typed_inputs(case)), language, lasersafe.__version__, *more.items())
    key = hashlib.sha256(repr(words).encode()).hexdigest()
    if key not in _FOUND:
        _FOUND[key] = _read(key) or _worked(key, case, language, **more)
        if len(_FOUND) > KEPT:
            _FOUND.popitem(last=False)
    _FOUND.move_to_end(key)
    return _FOUND[key]


def _read(key: str) -> Assessment | None:
    """Return what another process has found."""
    file = _FOLDER[0] / key if _FOLDER else None
    if file is None or not file.is_file():
        return None
    found: Assessment = pickle.loads(file.read_bytes())
    return found


def _worked(key: str, case: Case, language: str | None, **more: Any) -> Assessment:
    start = time.process_time()
    found = WORK(case, language, **more)
    if _FOLDER and time.process_time() - start > LONG:
        part = Path(tempfile.mkstemp(dir=_FOLDER[0])[1])
        part.write_bytes(pickle.dumps(found))
        part.rename(_FOLDER[0] / key)
    return found


assessment.assess = _once  # before any other module takes it from there


def pytest_configure(config: pytest.Config) -> None:
    """Take the folder of the run, in a process of pytest-xdist."""
    if "assessments" in getattr(config, "workerinput", {}):
        _FOLDER[:] = [Path(config.workerinput["assessments"])]  # type: ignore[attr-defined]


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Hand the processes of pytest-xdist a folder for all of them."""
    if not _FOLDER:
        _FOLDER.append(Path(tempfile.mkdtemp(prefix="assessments-")))
    node.workerinput["assessments"] = str(_FOLDER[0])


def pytest_unconfigure(config: pytest.Config) -> None:
    if _FOLDER and not hasattr(config, "workerinput"):
        shutil.rmtree(_FOLDER[0], ignore_errors=True)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Any:
    """Remember which test runs."""
    _RUNNING[:] = [item]
    try:
        return (yield)
    finally:
        _RUNNING.clear()
