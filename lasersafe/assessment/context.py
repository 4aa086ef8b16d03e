"""What the parts of an assessment share: one laser with one set-up, worked out as far as the limits."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from lasersafe.assessment.beams import beam_of, space_of, spot_of
from lasersafe.hazard.bystanders import VISIBLE
from lasersafe.hazard.combine import exposure_duration
from lasersafe.hazard.emission import Emission, Received
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.instruments import UNDESCRIBED, Aid, aid
from lasersafe.hazard.materials import LONG_WAVE, Reflectance, material_reflectance
from lasersafe.hazard.scatter import LitSpot
from lasersafe.hazard.settings import SettingSpace, worst_settings
from lasersafe.limits import rule_sets
from lasersafe.optics.beam import BeamGeometry
from lasersafe.physical import covered
from lasersafe.quantity import format_quantity
from lasersafe.results import Criterion
from lasersafe.wording.message import Message

if TYPE_CHECKING:
    from lasersafe.models import Case, Laser, Person, Setup, Surface, Target

_AT_WORK = 0.05  # m; a surface this near to the work distance is the work
FAR_INFRARED = LONG_WAVE  # m; from here painted and brushed metal counts as a mirror
TISSUES = ("eye", "skin")
# the ways for light to reach a person in a scene, and the plain way that each is answered like
BASE_WAY = {
    "direct": "direct", "missing the target": "direct", "through the target": "direct", "transmitted": "direct",
    "mirror": "mirror", "convex mirror": "mirror", "concave mirror": "mirror", "scatter": "scatter",
    "mirror then scatter": "scatter", "fibre broken": "direct", "optic lost": "direct", "aided viewing": "direct",
}  # fmt: skip
WAYS = ("direct", "mirror", "scatter")  # there always are
MORE_WAYS = ("transmitted",)  # there are where a figure of the case says so
NO_AID = "struck.no_aid"  # key of the sentence that nobody uses an instrument


@dataclass(frozen=True)
class Scatterer:
    """Something that sends scattered light."""

    reflectance: float
    view_angle: float  # [rad] from the normal
    words: str
    distance: float | None  # [m] from the last optic, None when not known
    at_work: bool
    mirrored: float | None = None  # reflectance where it acts as a mirror, None where it does not


@dataclasses.dataclass
class Context:
    """One laser with one set-up of one case."""

    case: Case
    laser: Laser
    setup: Setup
    rule_sets: tuple[str, ...]
    beam: BeamGeometry
    space: SettingSpace
    spot: float
    focus: float | None  # [m] from the last optic; None without a lens
    _worst: dict[tuple[str, float], tuple[Emission, ...]] = field(default_factory=dict)
    _lines: dict[str, Context] = field(default_factory=dict)
    time: float | None = None  # [s] of every way and wavelength, where a question asks for it

    @property
    def wavelength(self) -> float:
        """Wavelength. [m]."""
        return float(self.laser.wavelength)

    def emission(self, tissue: str, duration: float) -> Emission:
        """Return the worst allowed setting for one tissue and exposure duration."""
        return self.emissions(tissue, duration)[0]

    def emissions(self, tissue: str, duration: float) -> tuple[Emission, ...]:
        """Return the worst allowed setting of each aperture and rule; the worst for a wide beam first."""
        key = (tissue, duration)
        if key not in self._worst:
            self._worst[key] = worst_settings(self.space, self.rule_sets, tissue, self.wavelength, duration)
        return self._worst[key]

    def received(self, tissue: str, duration: float) -> Iterator[Received]:
        """Yield what every rule set has to judge for a tissue and an exposure duration, setting by setting."""
        for emission in self.emissions(tissue, duration):
            for name in self.rule_sets:
                yield Received(name, tissue, emission, self.wavelength, duration)

    def compared(self, tissue: str, duration: float, angle: float = ALPHA_MIN) -> Iterator[Criterion]:
        """Yield every comparison of every setting and rule set for one tissue, duration [s] and source angle [rad]."""
        for light in self.received(tissue, duration):
            yield from criteria(light, angle)

    def not_shorter_than_a_pulse(self, duration: float, reason: str) -> tuple[float, str]:
        """Return an exposure duration and its reason, lengthened to the longest pulse that is allowed."""
        longest = self.space.longest_pulse
        return (duration, reason) if duration >= longest else (longest, Message("time.one_pulse", reason=reason))

    def duration(self, way: str) -> tuple[float, str]:
        """Return the exposure duration of a zone [s] and the reason."""
        if self.time is not None:
            return self.not_shorter_than_a_pulse(self.time, "asked for in the question")
        return self.not_shorter_than_a_pulse(*exposure_duration(self.wavelength, way))

    @property
    def persons(self) -> tuple[Person, ...]:
        """The persons whom this laser with this set-up concerns."""
        names, setups = (None, self.laser.name), (None, self.setup.name)
        return tuple(p for p in self.case.person if p.laser in names and p.setup in setups)

    @property
    def surfaces(self) -> tuple[Surface, ...]:
        """The surfaces that this laser can light."""
        return tuple(s for s in self.case.surface if s.laser in (None, self.laser.name))

    @property
    def targets(self) -> tuple[Target, ...]:
        """The targets of a scene that this laser is fired at."""
        scene = self.case.scene
        return () if scene is None else tuple(t for t in scene.target if t.laser in (None, self.laser.name))

    @property
    def mirror_reflectance(self) -> tuple[float, str]:
        """Reflectance of the worst mirror in reach, and the reason."""
        surfaces = self.surfaces
        if not surfaces:
            return 1.0, Message("mirror.none_listed")
        if any(s.finish == "unknown" and s.material_key is None for s in surfaces):
            return 1.0, Message("mirror.unknown_finish")
        if not self.case.settings.surfaces_complete:
            return 1.0, Message("mirror.not_listed")
        far = self.wavelength >= FAR_INFRARED
        shining = [s for s in surfaces if far or s.finish != "matt"] or surfaces
        worst = max(shining, key=self.mirrored)
        if far and self.mirrored(worst) == 1.0:
            return 1.0, Message("mirror.far_infrared")
        value = self.reflectance_of(worst)
        words = f", {value.words}" if value.words else ""
        return self.mirrored(worst), Message("mirror.stated", surface=f"'{worst.name}'{words}")

    @property
    def ways(self) -> tuple[str, ...]:
        """The ways for light of this case, places left aside."""
        return (*WAYS, *(way for way in MORE_WAYS if self.share(way)[0] > 0.0))

    def share(self, way: str) -> tuple[float, str]:
        """Return which share of the beam goes on along a way, 1 but for a mirror and for a target, and the reason."""
        if way == "mirror":
            return self.mirror_reflectance
        if way != "transmitted":
            return 1.0, ""
        met: list[Surface | Target] = [*self.surfaces, *self.targets]
        most = max(met, key=lambda one: float(one.transmittance), default=None)
        if most is None:
            return 0.0, ""
        return float(most.transmittance), Message("mirror.transmitted", surface=f"'{most.name}'")

    def mirrored(self, surface: Surface | Target) -> float:
        """Return the reflectance of a surface or target that acts as a mirror.

        In the far infrared what is not said to be a mirror may be a better one there than what was typed for it.
        """
        typed = surface.material_key is None and surface.finish != "mirror"
        return 1.0 if typed and self.wavelength >= FAR_INFRARED else self.reflectance_of(surface).value

    def reflectance_of(self, surface: Surface | Target) -> Reflectance:
        """Return the reflectance of a surface or target: of its material in the data files, or as typed."""
        if surface.material_key is not None:
            return material_reflectance(surface.material_key, surface.finish, self.wavelength)
        unsaid = Message("reflectance.strict_bound" if float(surface.reflectance) == 1.0 else "reflectance.typed")
        source = surface.reflectance_source or unsaid
        return Reflectance(float(surface.reflectance), surface.finish != "matt", "", source, "memory")

    @property
    def scatterers(self) -> tuple[Scatterer, ...]:
        """Everything that can scatter the beam; a perfect scatterer at the work where none is stated there."""
        work = None if self.setup.work_distance is None else float(self.setup.work_distance)
        far = self.wavelength >= FAR_INFRARED
        found = []
        for surface in self.surfaces:
            reflectance = self.reflectance_of(surface)
            place = float(surface.distance)
            at_work = work is not None and abs(place - work) <= max(_AT_WORK, 0.2 * work)
            words = f"{surface.name}, {reflectance.words}" if reflectance.words else surface.name
            angle = float(surface.view_angle)
            shines = self.mirrored(surface) if far or surface.finish != "matt" else None
            found.append(Scatterer(reflectance.value, angle, words, work if at_work else place, at_work, shines))
        if not self.case.settings.surfaces_complete or not found:
            if not any(s.at_work for s in found):
                found.append(Scatterer(1.0, 0.0, Message("reflectance.at_work"), work, True))
        return tuple(found)

    @property
    def scatter_surface(self) -> tuple[float, float, str]:
        """Reflectance, view angle [rad] and name of what scatters most; along its normal, the brightest direction."""
        worst = max(self.scatterers, key=lambda s: s.reflectance)
        return worst.reflectance, 0.0, worst.words

    @property
    def lit_spot(self) -> LitSpot:
        """What scatters most, with the spot that the beam lights at the work."""
        reflectance, angle, _ = self.scatter_surface
        return LitSpot(reflectance, angle, self.case.settings.scatter_model, self.spot)


def contexts(case: Case, sets: tuple[str, ...] = ()) -> list[Context]:
    """Return one context for every set-up of every laser, under some rule sets or all, that of the case first."""
    found, sets = [], sets or (case.rule_set, *(name for name in rule_sets() if name != case.rule_set))
    for laser in case.laser:
        space = space_of(laser)
        shared: dict[tuple[str, float], tuple[Emission, ...]] = {}
        for setup in laser.setup:
            beam = beam_of(case, laser, setup)
            focus = float(setup.focal_length) if setup.kind == "lens" else None
            spot = float(spot_of(setup, beam))
            found.append(Context(case, laser, setup, sets, beam, space, spot, focus, shared))
    return found


def wave_span(same: Iterable[Context]) -> tuple[float, float]:
    """Return the lowest and the highest wavelength that light may have [m], over its corners and as typed."""
    ends: list[float] = []
    for context in same:
        lam = context.laser.wavelength
        off = lam.tolerance
        ends.append(float(lam))
        if off is not None:
            bound = off.kind == "bound"
            ends += (off.low, off.high) if bound else covered("wavelength", float(lam), off.low, off.high)
    return min(ends), max(ends)


def kinds_of_light(same: Iterable[Context]) -> set[str]:
    """Return which of ``ultraviolet``, ``visible`` and ``invisible`` light may be, as on a door sign."""
    low, high = wave_span(same)
    words = {"ultraviolet"} if low < VISIBLE[0] else set()
    words |= {"visible"} if low <= VISIBLE[1] and high >= VISIBLE[0] else set()
    return words | ({"invisible"} if low < VISIBLE[0] or high > VISIBLE[1] else set())


def aid_of(person: Person) -> Aid:
    """Return the instrument of a person; one that is not described loses no light."""
    return UNDESCRIBED if person.viewing_aid is None else aid(person.viewing_aid)


def setting_words(emission: Emission) -> str:
    """Return an emission in words."""
    if emission.kind == "continuous":
        return Message("setting.continuous", power=format_quantity(emission.power, "W", 4))
    pulse = Message(
        "setting.pulse",
        energy=format_quantity(emission.pulse_energy, "J", 4),
        time=format_quantity(emission.pulse_duration, "s", 4),
    )
    if emission.kind == "single pulse":
        return Message("setting.single_pulse", pulse=pulse)
    facts = {"pulse": pulse, "power": format_quantity(emission.power, "W", 4)}
    if emission.pulses and emission.period is None:
        found = Message("setting.list_once", count=len(emission.pulses), pulse=pulse)
    elif emission.pulses:
        period = format_quantity(emission.period or 0.0, "s", 4)
        found = Message("setting.list_every", count=len(emission.pulses), period=period, pulse=pulse)
    elif emission.burst:
        number, spacing = emission.burst[0]
        rate = format_quantity(emission.repetition_rate / number, "Hz", 4)
        apart = format_quantity(spacing, "s", 4)
        found = Message("setting.bursts", count=f"{number:.0f}", spacing=apart, rate=rate, **facts)
    else:
        found = Message("setting.train", rate=format_quantity(emission.repetition_rate, "Hz", 4), **facts)
    if emission.name and not emission.pulses:
        found = Message("setting.mode", name=emission.name, setting=found)
    return (
        Message("setting.base", setting=found, power=format_quantity(emission.pedestal, "W", 4))
        if emission.pedestal
        else found
    )
