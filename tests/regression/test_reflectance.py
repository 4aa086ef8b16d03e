"""Reflectance of materials: the upper, clean, cold value; nothing between rows; unknown is 1 and a mirror."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.distances import zone_distances
from lasersafe.data import listed_in, templates_path
from lasersafe.errors import CaseError
from lasersafe.hazard.barriers import (
    NOT_KNOWN,
    material_reflectance,
    materials,
)
from lasersafe.models import parse_case
from lasersafe.models.site import MATERIALS
from tests.behaviour.test_strike_outs import PLAIN
from tests.project import bibliography


def test_no_value_lies_below_a_neighbour():
    for material in materials().values():
        rows = material.rows
        for wavelength in np.geomspace(300e-9, 12e-6, 400):
            found = material_reflectance(material.key, "unknown", wavelength)
            assert found.mirror
            if not rows[0].wavelength * 0.98 <= wavelength <= rows[-1].wavelength * 1.02:
                assert found.value == 1.0
                continue
            below = [material.used(row) for row in rows if row.wavelength <= wavelength][-1:]
            above = [material.used(row) for row in rows if row.wavelength >= wavelength][:1]
            closest = min(rows, key=lambda row: abs(row.wavelength - wavelength))
            if abs(closest.wavelength - wavelength) <= 0.0199 * closest.wavelength:
                assert found.value >= material.used(closest)
            else:
                assert found.value == max(below + above)
    assert (NOT_KNOWN.value, NOT_KNOWN.mirror) == (1.0, True)


@pytest.mark.parametrize(
    ("key", "wavelength", "value"),
    [
        ("steel", 1070e-9, 0.67),  # 0.65 and the uncertainty of the data
        ("steel", 700e-9, 0.67),
        ("copper", 450e-9, 0.57),
        ("copper", 800e-9, 0.99),
        ("aluminium", 10.6e-6, 1.0),
        ("black paint", 1064e-9, 0.5),  # dyes turn clear
        ("white matt paint", 445e-9, 0.9),
        ("gold", 532e-9, 1.0),  # no value there
        ("light wood", 355e-9, 1.0),
    ],
)
def test_upper_values(key, wavelength, value):
    assert material_reflectance(key, "matt", wavelength).value == pytest.approx(value, abs=1e-12)


def test_matt_metal_and_paint_are_mirrors_in_the_far_infrared_and_wood_is_not():
    for key in ("steel", "aluminium", "white matt paint", "black paint"):
        assert material_reflectance(key, "matt", 10.6e-6).mirror
        assert not material_reflectance(key, "matt", 1070e-9).mirror
        assert material_reflectance(key, "unknown", 1070e-9).mirror
    for key in ("light wood", "concrete", "skin", "white paper"):
        assert not material_reflectance(key, "matt", 10.6e-6).mirror


def test_every_row_names_a_source_of_the_bibliography():
    assert {row.source for m in materials().values() for row in m.rows} <= set(bibliography())
    assert tuple(materials()) == listed_in("material", "key", *MATERIALS)


def _case(surface: str) -> str:
    text = templates_path("cases", "handheld-welder.toml").read_text(encoding="utf-8")
    head, *rest = text.split("[[surface]]")
    tail = rest[-1][rest[-1].index("[[barrier]]") :]
    return f"{head}[[surface]]\n{surface}\n{tail}".replace('name = "Clamp"', 'name = "Plate"')


PLATE = 'name = "Plate"\nmaterial = "rolled"\ndistance = "200 mm"\n'


def _zones(surface: str):
    assessment = assess(parse_case(f"{PLAIN}[[surface]]\n{surface}\n[settings]\nsurfaces_complete = true\n"))
    fitted = next(s for s in assessment.setups if s.fitted)
    return {(z.way, z.tissue): z for z in fitted.zones}


def test_a_material_in_the_case_is_looked_up():
    typed = _zones(PLATE + 'finish = "mirror"\nreflectance = 0.67\n')
    looked_up = _zones(PLATE + 'finish = "mirror"\nmaterial_key = "steel"\n')
    bound = _zones(PLATE)
    for key in (("mirror", "eye"), ("mirror", "skin"), ("scatter", "eye")):
        assert looked_up[key].distance == pytest.approx(typed[key].distance, rel=1e-12)
        assert looked_up[key].distance < bound[key].distance
    assert "steel, taken as iron: 0.65 + 0.02" in looked_up["mirror", "eye"].note
    unknown = _zones(PLATE + 'material_key = "steel"\n')  # finish not known: a mirror of clean steel
    assert unknown["mirror", "eye"].distance == looked_up["mirror", "eye"].distance
    matt = _zones(
        PLATE + 'finish = "matt"\nmaterial_key = "steel"\n'
    )  # the list is complete: no more comes back than that
    assert matt["mirror", "eye"].distance == looked_up["mirror", "eye"].distance


# A mirror of clean steel sends on more of 10.6 um than of 1070 nm: one wavelength that is asked for has its own share,
# alone as among several. Alone it had that of the wavelength of the case.
@pytest.mark.parametrize("way", ["mirror", "scatter"])
def test_one_wavelength_that_is_asked_for_has_its_own_reflectance(way):
    plate = f'[[surface]]\n{PLATE}finish = "mirror"\nmaterial_key = "steel"\n'
    own = contexts(parse_case(f"{PLAIN}{plate}[settings]\nsurfaces_complete = true\n"))[0]
    for wavelength in (532e-9, 10.6e-6):
        alone = zone_distances(own, way, "eye", {"wavelength": wavelength})
        among = zone_distances(own, way, "eye", {"wavelength": [wavelength, 2e-6]})
        assert float(alone) == among[0]


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('material_key = "stell"', "did you mean 'steel'"),
        ('material_key = "steel"\nreflectance = 0.5', "leave out the one"),
    ],
)
def test_a_wrong_material_is_refused_in_one_line(line, message):
    with pytest.raises(CaseError, match=message) as caught:
        parse_case(_case(PLATE + line))
    assert len(caught.value.faults) == 1
    assert replace(caught.value.faults[0], line=1).field == "surface[1].material_key"


def test_stainless_steel_in_the_far_infrared_says_that_it_is_iron():
    found = material_reflectance("stainless steel", "mirror", 10.6e-6)
    assert found.value == pytest.approx(0.99)
    assert "at 10.6 um taken as iron" in found.words
