"""Zones with inputs that are arrays: the same numbers as one case at a time."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.assessment import scene_matrix
from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.distances import exposure_ratios, variable_inputs, zone_distances
from lasersafe.assessment.setups import setup_result
from lasersafe.data import templates_path
from lasersafe.errors import InputError
from lasersafe.limits import rule_sets
from lasersafe.models import parse_case, read_case

TEMPLATES = sorted(path.stem for path in templates_path("cases").glob("*.toml"))
DEMO = templates_path("cases", "handheld-welder.toml")


def contexts_of(case):
    if case.scene is not None:
        case = scene_matrix.placed_case(case)
    return contexts(case, (case.rule_set, *(name for name in rule_sets() if name != case.rule_set)))


def bare_head() -> Context:
    return contexts_of(read_case(DEMO))[2]


def test_many_values_are_the_cases_one_by_one() -> None:
    text = DEMO.read_text(encoding="utf-8")
    values = {"power": [200.0, 1500.0, 2100.0], "divergence": [1e-3, 5e-3, 9e-3], "beam_diameter": [4e-3, 8.5e-3, 2e-2]}
    found = zone_distances(bare_head(), "direct", "eye", values)
    for place, (power, angle, width) in enumerate(zip(*values.values(), strict=True)):
        new = text.replace('power = "1.5 kW"', f'power = "{power:g} W"')
        new = new.replace('divergence = "5 mrad"', f'divergence = "{angle * 1e3:g} mrad"')
        head, tail = new.split('name = "Bare head')
        tail = tail.replace('beam_diameter = "8.5 mm"', f'beam_diameter = "{width * 1e3:g} mm"', 1)
        zones = setup_result(contexts_of(parse_case(head + 'name = "Bare head' + tail))[2]).zones
        assert found[place] == next(z.distance for z in zones if (z.way, z.tissue) == ("direct", "eye"))


def test_exposure_at_the_edge_of_the_zone_is_the_limit() -> None:
    own = bare_head()
    power = np.geomspace(10.0, 1e4, 50)
    edge = zone_distances(own, "direct", "eye", {"power": power})
    ratio = exposure_ratios(own, "direct", "eye", edge, {"power": power})
    np.testing.assert_allclose(ratio, 1.0, rtol=1e-9)


def test_unknown_and_absent_keys_are_refused() -> None:
    with pytest.raises(InputError, match=r"'focal_length' cannot be varied .* write one of: beam_diameter, divergence"):
        zone_distances(bare_head(), "direct", "eye", {"focal_length": 0.1})
    with pytest.raises(InputError, match="power = -1: must be above 0"):
        zone_distances(bare_head(), "direct", "eye", {"power": [1.0, -1.0]})
    assert set(variable_inputs(bare_head(), "direct")) == {
        "wavelength", "power", "beam_diameter", "divergence", "measured_at", "duration",
    }  # fmt: skip
