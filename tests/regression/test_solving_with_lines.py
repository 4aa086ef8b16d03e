"""A question backwards about a laser with several wavelengths."""

from __future__ import annotations

from pathlib import Path

from lasersafe.studies import eye_ratio, open_subject

CASE = Path(__file__).parent.parent / "golden" / "cases" / "lines-infrared.toml"


def test_lines_that_harm_different_tissues_are_not_added() -> None:
    """By hand: from 1.93 W on the main line alone decides, with a ratio of 28.585 for each watt."""
    subject = open_subject(CASE, "Cutter", None)
    for power in (3.49, 3.5249):
        assert abs(float(eye_ratio(subject.changed({"laser.power": power}), 6.0, {})) / power / 28.585 - 1.0) < 1e-4
