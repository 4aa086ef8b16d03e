"""Beam widths against ABCD matrices acting on the complex radius q of an embedded Gaussian (written here)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.distances import direct_distance
from lasersafe.optics.beam import (
    BeamGeometry,
    check_diffraction,
    collimated,
    diameters,
    fibre_single_mode,
    narrowest,
    through_lens,
    to_1_over_e,
)
from lasersafe.optics.reflection import reflect_within
from lasersafe.scene.beams import widths_within
from tests.few import few

WAVELENGTH = 1070e-9


def space(length: float) -> np.ndarray:
    return np.array([[1.0, length], [0.0, 1.0]])


def lens(focal_length: float) -> np.ndarray:
    return np.array([[1.0, 0.0], [-1.0 / focal_length, 1.0]])


def through(system: np.ndarray, q: complex) -> complex:
    (a, b), (c, d) = system
    return (a * q + b) / (c * q + d)


def width_1_over_e2(q: complex, quality: float, wavelength: float = WAVELENGTH) -> float:
    """Full 1/e2 diameter of a beam of M^2 = quality whose embedded Gaussian has this q."""
    return 2.0 * math.sqrt(quality * wavelength / (-math.pi * (1.0 / q).imag))


@pytest.mark.parametrize("quality", [1.0, 1.3, 20.0])
@pytest.mark.parametrize("waist", [20e-6, 1e-3, 8e-3])
@pytest.mark.parametrize("position", [-0.4, 0.0, 3.0])
def test_free_space(quality, waist, position):
    rayleigh = math.pi * (waist / 2.0) ** 2 / (quality * WAVELENGTH)
    divergence = 2.0 * quality * WAVELENGTH / (math.pi * (waist / 2.0))  # full, 1/e2
    if divergence >= math.pi:
        pytest.skip("not a beam")
    at_optic = complex(-position, rayleigh)
    measured_at = 0.7
    diameter = width_1_over_e2(through(space(measured_at), at_optic), quality)
    beam = collimated(diameter, divergence, "1/e2", waist_position=position, at=measured_at)
    check_diffraction(beam, WAVELENGTH)
    for z in (0.0, 0.01, 1.0, 50.0, 4000.0):
        expected = float(to_1_over_e(width_1_over_e2(through(space(z), at_optic), quality), "1/e2"))
        x, y = diameters(beam, z)
        # the waist is a difference of squares of what was measured, so the far side of it loses a few digits
        assert float(x) == pytest.approx(expected, rel=1e-6, abs=0)
        assert float(x) == float(y)


@pytest.mark.parametrize("quality", [1.0, 5.0])
@pytest.mark.parametrize("focal_length", [0.1, 0.3, -0.2])
def test_behind_a_lens(quality, focal_length):
    waist = 10e-3  # at the lens, 1/e2
    rayleigh = math.pi * (waist / 2.0) ** 2 / (quality * WAVELENGTH)
    behind = through(lens(focal_length), complex(0.0, rayleigh))
    focus = -behind.real
    spot = width_1_over_e2(through(space(focus), behind), quality)
    beam = through_lens(waist, focal_length, "1/e2", focus_diameter=spot)
    small = (focal_length / rayleigh) ** 2  # what the formula d / f leaves out
    assert small < 1e-2
    assert beam.waist_position[0] == pytest.approx(focus, rel=2.0 * small, abs=0)
    for z in (2.0, 10.0, 100.0):
        exact = float(to_1_over_e(width_1_over_e2(through(space(z), behind), quality), "1/e2"))
        assert float(diameters(beam, z)[0]) == pytest.approx(exact, rel=3.0 * small + 1e-9, abs=0)


def test_a_point_focus_never_gives_the_nearer_distance():
    waist, focal_length = 10e-3, 0.2
    spot = 4.0 * WAVELENGTH * focal_length / (math.pi * waist)
    for amount in (1.0, 1e3):
        point = direct_distance(amount, 50.0, 7e-3, through_lens(waist, focal_length, "1/e2"))
        real = direct_distance(amount, 50.0, 7e-3, through_lens(waist, focal_length, "1/e2", focus_diameter=spot))
        assert point >= real > 0.0


def test_single_mode_fibre_is_a_gaussian_at_the_diffraction_limit():
    field, light = 9.3e-6, 1310e-9
    q = complex(0.0, math.pi * (field / 2.0) ** 2 / light)
    beam = fibre_single_mode(field, light)
    check_diffraction(beam, light)
    for z in (0.0, 1e-4, 0.1, 2.0):
        expected = float(to_1_over_e(width_1_over_e2(through(space(z), q), 1.0, light), "1/e2"))
        assert float(diameters(beam, z)[0]) == pytest.approx(expected, rel=1e-12, abs=0)


@pytest.mark.parametrize("criterion", ["1/e", "1/e2", "FWHM"])
def test_the_diffraction_limit_is_that_of_the_gaussian_on_every_criterion(criterion):
    waist = 1e-3  # 1/e2
    divergence = 4.0 * WAVELENGTH / (math.pi * waist)  # full angle of half angle wavelength / (pi w0), 1/e2
    factor = {"1/e2": 1.0, "1/e": 1.0 / math.sqrt(2.0), "FWHM": math.sqrt(math.log(2.0) / 2.0)}[criterion]
    check_diffraction(collimated(waist * factor, divergence * factor, criterion), WAVELENGTH)
    with pytest.raises(OutOfRangeError, match=r"below the diffraction limit: 1070 nm light .* at least 0\.963"):
        check_diffraction(collimated(waist * factor, divergence * factor * 0.9999, criterion), WAVELENGTH)


@given(
    st.lists(
        st.tuples(*[st.floats(1e-4, 1e-2), st.floats(1e-3, 0.1), st.floats(-2.0, 2.0)] * 2), min_size=1, max_size=4
    )
)
def test_the_narrowest_of_some_beams_is_nowhere_wider_than_any(rows: list[tuple[float, ...]]) -> None:
    beams = [BeamGeometry((a, b), (c, d), (e, f)) for a, c, e, b, d, f in rows]
    z = np.concatenate([[0.0], np.geomspace(1e-3, 1e3, 300)])
    for one in beams:
        for least, width in zip(diameters(narrowest(beams), z), diameters(one, z), strict=True):
            assert (least <= width * (1.0 + 1e-9)).all()


@few(60)
@given(
    st.floats(1e-4, 1e-2), st.floats(1e-3, 0.1), st.floats(-1.0, 2.0), st.floats(0.2, 4.0), st.floats(0.0, 0.25),
    st.floats(0.1, 10.0), st.sampled_from((-1.0, 1.0)), st.floats(0.0, 1.2), st.floats(0.0, 0.2), st.integers(0, 2),
    st.sampled_from("xy"),
)  # fmt: skip
def test_one_beam_bounds_all_that_a_curved_mirror_can_make(
    waist: float, angle: float, place: float, away: float, part: float, size: float, side: float, tilt: float,
    more: float, bent: int, plane: str,
) -> None:  # fmt: skip
    # By hand: t metres behind a focal length f the width is D^2 = d0^2 (1 - t/f)^2 + phi^2 (u (1 - t/f) + t)^2, u
    # metres from the waist to the mirror.
    ends, tilts = (away * (1.0 - part), away * (1.0 + part)), (tilt, tilt + more)
    radius = [math.inf if bent == axis + 1 else side * size for axis in (0, 1)]
    beam = BeamGeometry((waist, waist), (angle, angle), (place, place))
    slants = [sorted(math.cos(turn) ** (1 if "xy"[axis] == plane else -1) for turn in tilts) for axis in (0, 1)]
    pulls = [tuple(sorted(-2.0 / (size * slant) for slant in own)) for size, own in zip(radius, slants, strict=True)]
    bound, between, widest = reflect_within(beam, ends, pulls)
    last = max(*bound.waist_position, 0.0)
    t = np.concatenate([np.geomspace(1e-3, 50.0, 400), np.linspace(1e-3, 1.2 * last + 1e-2, 400)])
    narrowest = np.full(t.shape, math.inf)
    from_to = np.array(
        [
            widths_within(np.tile(between, (len(t), 1, 1)), low * t, high * t)
            for low, high in ((1, 1), (0.6, 1), (1, 1.7))
        ]
    ).max(axis=0)
    (along, across), (first, _) = ([pull[0] for pull in pulls], ends)
    one = reflect_within(beam, (first, first), [(along, along), (across, across)])[1]
    exact = widths_within(np.tile(one, (len(t), 1, 1)), t, t).T
    for z in np.linspace(*ends, 7):
        for turn in np.linspace(*tilts, 5):
            product = np.ones(t.shape)
            for axis in (0, 1):
                slant = math.cos(turn) if "xy"[axis] == plane else 1.0 / math.cos(turn)
                left = 1.0 + t * 2.0 / (radius[axis] * slant)
                wide = np.hypot(waist * left, angle * ((z - place) * left + t))
                product *= wide
                assert (from_to[:, axis] <= wide * (1.0 + 1e-9)).all()
                assert max(widest.divergence) >= 3.0 or (diameters(widest, t)[axis] >= wide * (1.0 - 1e-9)).all()
            narrowest = np.minimum(narrowest, product)
    for own, pull in zip(exact, (along, across), strict=True):
        by_hand = np.hypot(waist * (1.0 - t * pull), angle * ((first - place) * (1.0 - t * pull) + t))
        assert max(widest.divergence) >= 3.0 or np.allclose(own, by_hand, rtol=1e-9)
    order = np.argsort(t)
    fine = np.unique(np.concatenate([t, np.linspace(1e-3, last + 1e-2, 20_001)]))
    x, y = diameters(bound, fine)
    from_here = np.minimum.accumulate((x * y)[::-1])[::-1]
    found = from_here[np.searchsorted(fine, t[order])]
    steep = max(bound.divergence) >= 3.0  # an angle ends at pi
    assert steep or (found <= narrowest[order] * (1.0 + 1e-3)).all()
    own = [width * spread for width, spread in zip(widest.waist_diameter, widest.divergence, strict=True)]
    assert max(own) <= waist * angle * (1.0 + 1e-9)
