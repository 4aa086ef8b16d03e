"""Light that may be visible is called visible, as far as the tolerance of its wavelength goes; also as typed."""

from __future__ import annotations

import pytest

from tests.behaviour.test_tolerances import POWER, WAVELENGTH, assessed

AS_TYPED = (
    "[in_charge]",
    '[settings]\ndecide_by = "as typed"\ndecide_by_reason = "read on a spectrometer"\n[in_charge]',
)


@pytest.mark.parametrize(
    ("wavelength", "changes", "words"),
    [
        ("702 nm +- 5 nm", (AS_TYPED,), {"visible", "invisible"}),  # 697 nm to 707 nm
        ("698 nm +- 1.5 nm standard uncertainty", (AS_TYPED,), {"visible", "invisible"}),  # twice: up to 701 nm
        ("398 nm +- 5 nm", (AS_TYPED,), {"visible", "invisible", "ultraviolet"}),
        ("702 nm +- 5 nm", (), {"visible", "invisible"}),
        ("550 nm +- 155 nm", (), {"visible", "invisible", "ultraviolet"}),  # both ends are invisible
        ("690 nm +- 10 nm", (), {"visible"}),  # up to 700 nm
        ("702 nm", (AS_TYPED,), {"invisible"}),
    ],
)
def test_a_wavelength_tolerance_over_the_visible_ends_is_called_visible_and_invisible(wavelength, changes, words):
    found = assessed((WAVELENGTH, f'wavelength = "{wavelength}"'), (POWER, 'power = "1 mW"'), *changes)
    assert {"visible", "invisible", "ultraviolet"} & set(found.record.conditions) == words
