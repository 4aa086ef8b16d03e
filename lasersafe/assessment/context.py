"""What the parts of an assessment share: one laser with one set-up, worked out as far as the limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from lasersafe.assessment.beams import beam_of, focus_of, space_of, spot_of
from lasersafe.hazard.exposure import Emission
from lasersafe.hazard.reflectance import LONG_WAVE, Reflectance, material_reflectance
from lasersafe.hazard.settings import SettingSpace, worst_setting
from lasersafe.optics.propagation import BeamGeometry
from lasersafe.quantity import format_quantity

if TYPE_CHECKING:
    from lasersafe.models import Case, Laser, Setup, Surface

FAR_INFRARED = LONG_WAVE  # m; from here painted and brushed metal counts as a mirror


@dataclass
class Context:
    """One laser with one set-up of one case."""

    case: Case
    laser: Laser
    setup: Setup
    rule_sets: tuple[str, ...]
    beam: BeamGeometry
    space: SettingSpace
    spot: float
    focus: float | None
    _worst: dict[tuple[str, float], Emission] = field(default_factory=dict)

    @property
    def wavelength(self) -> float:
        """Wavelength. [m]."""
        return float(self.laser.wavelength)

    def emission(self, tissue: str, duration: float) -> Emission:
        """Return the worst allowed setting for one tissue and exposure duration."""
        key = (tissue, duration)
        if key not in self._worst:
            self._worst[key] = worst_setting(self.space, self.rule_sets, tissue, self.wavelength, duration)
        return self._worst[key]

    @property
    def surfaces(self) -> tuple[Surface, ...]:
        """The surfaces that this laser can light."""
        return tuple(s for s in self.case.surface if s.laser in (None, self.laser.name))

    @property
    def mirror_reflectance(self) -> tuple[float, str]:
        """Reflectance of the worst mirror in reach, and the reason."""
        surfaces = self.surfaces
        if not surfaces:
            return 1.0, "no surface is listed, so any may be a full mirror"
        if self.wavelength >= FAR_INFRARED:
            return 1.0, "far infrared: painted and brushed metal counts as a mirror too"
        if any(s.finish == "unknown" and s.material_key is None for s in surfaces):
            return 1.0, "a surface of unknown finish counts as a full mirror"
        mirrors = [(s, self.reflectance_of(s)) for s in surfaces if s.finish != "matt"]
        if not mirrors:
            return 1.0, "an object that is not on the list may be a full mirror"
        worst, found = max(mirrors, key=lambda pair: pair[1].value)
        return found.value, f"mirror '{worst.name}'" + (f", {found.words}" if found.words else "")

    def reflectance_of(self, surface: Surface) -> Reflectance:
        """Return the reflectance of a surface: of its material in the data files, or as typed."""
        if surface.material_key is not None:
            return material_reflectance(surface.material_key, surface.finish, self.wavelength)
        source = surface.reflectance_source or "as typed, no source stated"
        return Reflectance(float(surface.reflectance), surface.finish != "matt", "", source, "memory")

    @property
    def scatter_surface(self) -> tuple[float, float, str]:
        """Reflectance, view angle [rad] and name of the surface that scatters most."""
        import math

        surfaces = self.surfaces
        if not surfaces:
            return 1.0, 0.0, "no surface is listed: reflectance 1"
        every = [(s, self.reflectance_of(s)) for s in surfaces]
        worst, found = max(every, key=lambda pair: pair[1].value * math.cos(float(pair[0].view_angle)))
        words = f"{worst.name}, {found.words}" if found.words else worst.name
        return found.value, float(worst.view_angle), words


def contexts(case: Case, rule_sets: tuple[str, ...]) -> list[Context]:
    """Return one context for every set-up of every laser."""
    found = []
    for laser in case.laser:
        space = space_of(laser)
        shared: dict[tuple[str, float], Emission] = {}
        for setup in laser.setup:
            beam = beam_of(case, laser, setup)
            found.append(
                Context(case, laser, setup, rule_sets, beam, space, spot_of(setup, beam), focus_of(setup), shared)
            )
    return found


def setting_words(emission: Emission) -> str:
    """Return an emission in words."""
    if emission.kind == "continuous":
        return f"continuous, {format_quantity(emission.power, 'W', 4)}"
    pulse = f"{format_quantity(emission.pulse_energy, 'J', 4)} in {format_quantity(emission.pulse_duration, 's', 4)}"
    if emission.kind == "single pulse":
        return f"single pulse, {pulse}"
    return (
        f"train, {pulse} at {format_quantity(emission.repetition_rate, 'Hz', 4)}, "
        f"mean {format_quantity(emission.power, 'W', 4)}"
    )
