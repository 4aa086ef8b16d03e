"""A fixture for tests that look at what becomes of an assessment: equal cases share one."""

from __future__ import annotations

from typing import Any

import pytest

import lasersafe
from lasersafe import assessment
from lasersafe.models import Case, canonical, typed_inputs
from lasersafe.results import Assessment
from lasersafe.signing import making, signing_off, verify

_WORK = assessment.assess
_FOUND: dict[object, Assessment] = {}


def _once(case: Case, language: str | None = None, **more: Any) -> Assessment:
    key = (repr(canonical(case)), repr(typed_inputs(case)), language, lasersafe.__version__, *more.items())
    if key not in _FOUND:
        _FOUND[key] = _WORK(case, language, **more)
    return _FOUND[key]


def forget() -> None:
    """Let the next assessment be a new one."""
    _FOUND.clear()


@pytest.fixture
def assessed_once(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let commands and functions share the assessments of equal cases; what a second one gives is tested elsewhere."""
    for module in (assessment, making, signing_off, verify):
        monkeypatch.setattr(module, "assess", _once)
    if getattr(request.module, "assess", None) is _WORK:
        monkeypatch.setattr(request.module, "assess", _once)
