"""A signed sheet is the same on a machine whose libraries compute other last digits."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from lasersafe.signing import making
from lasersafe.signing.making import packed
from lasersafe.signing.record import changes, results_digest
from lasersafe.signing.verify import CODES
from tests.behaviour.signing_help import lay, signed_sheet
from tests.behaviour.test_verify import answer, rebuilt


def nudged(value: Any) -> Any:
    """Return results as another library gives them: 0 is what cancels out to nothing, others move in the last bit."""
    if isinstance(value, float):
        return math.nextafter(value, math.inf) if value else -2.6e-16
    if isinstance(value, dict):
        return {key: nudged(one) for key, one in value.items()}
    return [nudged(one) for one in value] if isinstance(value, (list, tuple)) else value


def test_other_last_digits_are_the_same_results(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """0 against -2.6e-16 rad was called another result, and then other pages: 230 fields of this sheet."""
    path = tmp_path / "s.pdf"
    lay(path, signed_sheet())
    real = making.as_json
    monkeypatch.setattr(making, "as_json", lambda assessment: nudged(real(assessment)))
    code, data, text = answer(path)
    assert (code, data["findings"], data["changed_results"]) == (0, [], []), text


@pytest.mark.parametrize(("old", "new", "same"), [
    (0.0, -2.6e-16, True), (3e-14, -9e-14, True), (1.0, 1.0 + 4e-10, True),
    (0.0, 2e-13, False), (1e-13, 5e-13, False), (1.0, 1.0 + 2e-9, False), (28.6, 28.7, False),
])  # fmt: skip
def test_what_counts_as_the_same_number(old: float, new: float, same: bool) -> None:
    """A pulse of 100 fs and one of 500 fs are not the same, which an absolute 1e-12 would say."""
    assert (not changes({"a": [old]}, {"a": [new]}, 1e-13)) is same
    if max(old, new) < 1.0:
        assert (results_digest({"a": old}) == results_digest({"a": new})) is same


@pytest.mark.parametrize("part", [
    {"outline": [[0.0, 0.0], [8.0, 0.0], [8.0, 4.0]], "holes": [], "note": "may be entered"},
    {"outline": [[0.0, 0.0, 7.0], [8.0, 0.0, 7.0], [8.0, 4.0, 7.0]], "holes": []},
])  # fmt: skip
def test_an_outline_that_says_more_is_another_result(part: dict[str, Any]) -> None:
    """Its edges are the same; what else stands there would be taken for what was signed."""
    plain = {"outline": [[0.0, 0.0], [8.0, 0.0], [8.0, 4.0]], "holes": []}
    assert changes({"zone": {"polygons": [plain]}}, {"zone": {"polygons": [part]}}, 1e-13)


def test_results_written_in_another_way_are_changed(tmp_path: Path) -> None:
    """A key that stands twice has two values: one for this program, one for whoever else reads the attachment."""
    from hashlib import sha256

    from lasersafe.signing.container import parse_sheet

    sheet = parse_sheet(signed_sheet())
    results, about = sheet.attachment("results.json"), json.loads(sheet.attachment("sheet.json"))
    twice = b"{" + results[1 : results.index(b":")] + b":null," + results[1:]
    assert packed(json.loads(twice)) == packed(json.loads(results))
    path = tmp_path / "s.pdf"
    attached = about["attachments"] | {"results.json": sha256(twice).hexdigest()}
    lay(path, rebuilt({"results.json": twice}, {"attachments": attached}))
    code, _, text = answer(path)
    assert (code, "the embedded results are not those of the sheet" in text) == (CODES["changed"], True)
