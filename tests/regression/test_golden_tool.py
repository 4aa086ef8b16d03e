"""The comparison with the golden files finds what changed, and nothing else."""

import pytest

from tools.golden import differences, reason_for

OLD = {"version": "1", "zones": [{"distance_m": 2.0, "way": "direct"}], "passed": True, "limit": None}


@pytest.mark.parametrize(
    ("changed", "path"),
    [
        ({"zones": [{"distance_m": 2.0 * (1 + 3e-9), "way": "direct"}]}, "/zones/0/distance_m"),
        ({"zones": [{"distance_m": 2.0, "way": "mirror"}]}, "/zones/0/way"),
        ({"zones": []}, "/zones/length"),
        ({"passed": 1}, "/passed"),
        ({"limit": 0.0}, "/limit"),
        ({"more": 1}, "/more"),
    ],
)
def test_a_change_is_found_at_its_path(changed, path):
    assert [found[0] for found in differences(OLD, OLD | changed)] == [path]


@pytest.mark.parametrize(
    "changed", [{}, {"version": "2"}, {"zones": [{"distance_m": 2.0 * (1 + 5e-10), "way": "direct"}]}]
)
def test_the_version_and_rounding_in_the_last_digits_are_no_change(changed):
    assert list(differences(OLD, OLD | changed)) == []


def test_a_value_that_is_not_a_number_differs_from_every_number():
    assert list(differences({"a": 1.0}, {"a": float("nan")}))
    assert list(differences({"a": float("nan")}, {"a": 1.0}))


def test_a_difference_has_a_reason_only_where_case_and_path_fit():
    meant = [{"case": "train-*", "path": "/setups/*/zones/*", "reason": "edges"}]
    assert reason_for("train-marker", "/setups/0/zones/1/distance_m", meant) == "edges"
    assert reason_for("train-marker", "/decision/passed", meant) is None
    assert reason_for("module", "/setups/0/zones/1/distance_m", meant) is None
