"""A question backwards about a laser with several wavelengths."""

from __future__ import annotations

from pathlib import Path

from lasersafe.studies import eye_ratio, open_subject
from lasersafe.studies.solving import Asked, Target

CASE = Path(__file__).parent.parent / "golden" / "cases" / "lines-infrared.toml"


def test_a_density_is_solved_for_where_the_lines_harm_different_tissues() -> None:
    """The lines act on different tissues, so that their ratios are not added: the value that is found is put back.

    By hand: from 1.93 W on the main line alone decides, with a ratio of 28.585 for each watt, so that the answer for a
    density of 2 is 100 / 28.585 W = 3.498 W, rounded down.
    """
    subject = open_subject(CASE, "Cutter", None)
    power = subject.input("laser.power")
    answer = Asked(subject, power, Target(6.0, density=2.0)).solve()
    assert answer.put_back.holds
    assert answer.value == 3.49
    ratio = float(eye_ratio(subject.changed({"laser.power": answer.value}), 6.0, {}))
    assert 99.0 < ratio <= 100.0
    bigger = float(eye_ratio(subject.changed({"laser.power": 1.01 * answer.value}), 6.0, {}))
    assert abs(bigger / ratio - 1.01) < 1e-9
    assert bigger > 100.0
