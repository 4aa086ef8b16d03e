"""What the parts of an assessment share: one laser with one set-up, worked out as far as the limits.

Its further wavelengths add to the main one; where sources are looked at one by one, each may use a part of the limits.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, ClassVar, Literal

from lasersafe.assessment.problem import Hashed, beam_of, known_settings, space_of, spot_of
from lasersafe.hazard.barriers import LONG_WAVE, SAME, Reflectance, material_reflectance, materials
from lasersafe.hazard.combine import DELIBERATE, Line, exposure_duration, group_of, groups
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, Received, criteria
from lasersafe.hazard.instruments import UNDESCRIBED, Aid, aid
from lasersafe.hazard.other_rules import VISIBLE
from lasersafe.hazard.settings import SettingSpace
from lasersafe.limits import rule_sets
from lasersafe.optics.beam import BeamGeometry, collimated, fibre_multimode, least_divergence, narrowest, to_1_over_e
from lasersafe.optics.reflection import LitSpot
from lasersafe.quantity import format_quantity
from lasersafe.records import Criterion, highest
from lasersafe.wording import Message

if TYPE_CHECKING:
    from lasersafe.models import Case, Laser, Person, Setup, Surface, Target

_AT_WORK = 0.05  # m; a surface this near to the work distance is the work
FAR_INFRARED = LONG_WAVE  # m; from here painted and brushed metal counts as a mirror
TISSUES = ("eye", "skin")
# How much is worked out. "drawn": but what only the pages print, on which no verdict, distance or eyewear depends: how
# sure each distance is, steps, class check, how far scans, sums and extended sources reach, worst settings in words,
# map and elevations, what assumptions cost. "short": nor is a scene drawn, or what is not fitted worked out there; what
# the short answer prints is whole.
Wanted = Literal["all", "drawn", "short"]
# the ways for light to reach a person in a scene, and the plain way that each is answered like
BASE_WAY = {
    "direct": "direct", "missing the target": "direct", "through the target": "direct", "transmitted": "direct",
    "mirror": "mirror", "convex mirror": "mirror", "concave mirror": "mirror", "scatter": "scatter",
    "mirror then scatter": "scatter", "fibre broken": "direct", "optic lost": "direct", "aided viewing": "direct",
}  # fmt: skip
WAYS = ("direct", "mirror", "scatter")  # there always are
SCATTERED = ("scatter", "mirror then scatter")
ON_THE_FLOOR = (*WAYS[:2], *SCATTERED)  # that a place in a scene gets light by, without faults and instruments
MORE_WAYS = ("transmitted",)  # there are where a figure of the case says so
NO_AID = "struck.no_aid"  # key of the sentence that nobody uses an instrument
FARTHER = 1.01  # times the distance of the decision block: what a flat mirror rounds up is below
_SMALLEST = 1e-12  # less of a limit is not told from it
_TRACE = 1e-9
Portion = dict[tuple[str, str], float]  # rule set and group -> part of a limit
Faults = dict[str, tuple[list["Context"], str]]  # fault -> the laser with the beams of it, and a note
FAULTS = ("fibre broken", "optic lost")
GLOWING = "extended source"  # mode of the scenarios of one
_WIDEST = 1e4  # times as wide as another beam: then all that is near gets as much as the axis
FIBRE_APERTURE = 0.20  # multimode delivery fibre, 5 % of the peak (published checks, section 14)


@dataclass(frozen=True)
class Scatterer:
    """Something that sends scattered light."""

    reflectance: float
    view_angle: float  # [rad] from the normal
    words: str
    distance: float | None  # [m] from the last optic, None when not known
    at_work: bool
    mirrored: float | None = None  # reflectance where it acts as a mirror, None where it does not
    off: float = 0.0  # [m] how far behind it the work is for which it stands too, negative where that is before it

    @property
    def farthest(self) -> float | None:
        """How far from the last optic it may be: it stands for the work where it is called at the work. [m]."""
        return None if self.distance is None else self.distance + max(self.off, 0.0)


@dataclass
class Context:
    """One laser with one set-up of one case."""

    ways_of_fault: ClassVar[tuple[str, ...]] = WAYS[:2]  # on which the beam of a fault counts

    case: Case
    laser: Laser
    setup: Setup
    rule_sets: tuple[str, ...]
    beam: BeamGeometry
    space: SettingSpace
    spot: float
    focus: float | None  # [m] from the last optic; None without a lens
    time: float | None = None  # [s] of every way and wavelength, where a question asks for it
    fault: str = ""  # "fibre broken" or "optic lost", for the beam of it
    also: tuple[BeamGeometry, ...] = ()  # of each further wavelength in the beam of a fault
    differs: tuple[float, float] = (1.0, 0.0)  # the same as `may_differ`, of the beam of a fault
    lengthened: bool = False  # whether the beam of a fault stands for oblong ones, though it may be round
    corner: tuple[int, int] = (0, 0)  # which of the cases without their lasers, and which of the lasers, all different
    _found: tuple[Sequence[Context], Faults] | None = field(default=None, init=False, repr=False, compare=False)

    @cached_property
    def known_as(self) -> Hashed:
        """What tells it from others of the same case."""
        return Hashed((self.corner, self.setup.name, self.wavelength, self.beam, self.space, self.fault))

    @property
    def named(self) -> tuple[str, str, str]:
        """Laser, set-up and fault by their names."""
        return self.laser.name, self.setup.name, self.fault

    @cached_property
    def wavelength(self) -> float:
        """Wavelength. [m]."""
        return float(self.laser.wavelength)

    def emission(self, tissue: str, duration: float) -> Emission:
        """Return the worst allowed setting for one tissue and exposure duration."""
        return self.emissions(tissue, duration)[0]

    def emissions(self, tissue: str, duration: float) -> tuple[Emission, ...]:
        """Return the worst allowed setting of each aperture and rule; the worst for a wide beam first."""
        return known_settings(self.space, self.rule_sets, tissue, self.wavelength, duration)

    def received(self, tissue: str, duration: float, rule_sets: Sequence[str] = ()) -> Iterator[Received]:
        """Yield what every rule set, or some, has to judge for a tissue and an exposure duration, by setting."""
        for emission in self.emissions(tissue, duration):
            for name in rule_sets or self.rule_sets:
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
        """Return the exposure duration of a zone [s], of whoever is exposed longest, and the reason."""
        if self.time is not None:
            return self.not_shorter_than_a_pulse(self.time, "asked for in the question")
        usual = exposure_duration(self.wavelength, way)
        return self.not_shorter_than_a_pulse(*max(usual, self.longest_stay, key=lambda time: time[0]))

    @cached_property
    def longest_stay(self) -> tuple[float, str]:
        """The longest time that the case states for anybody [s], and the reason; 0 where it states none."""
        stays = [(one, one.time, one.time_reason) for one in self.persons if one.time is not None]
        looks = [one for one in self.persons if one.time is None and one.deliberate_viewing]
        found: list[tuple[float, str]] = [
            (float(time), Message("time.of_person", person=one.name, reason=why)) for one, time, why in stays
        ]
        found += [(DELIBERATE, Message("time.on_purpose", person=one.name)) for one in looks]
        return max(found, key=lambda time: time[0], default=(0.0, ""))

    @cached_property
    def persons(self) -> tuple[Person, ...]:
        """The persons whom this laser with this set-up concerns."""
        names, setups = (None, self.laser.name), (None, self.setup.name)
        return tuple(p for p in self.case.person if p.laser in names and p.setup in setups)

    @cached_property
    def further(self) -> dict[str, Context]:
        """One context for each further wavelength, by its name.

        One with an angle of its own lights a spot of its own; from a single-mode fibre a shorter one spreads less.
        """
        found = {}
        for number, line in enumerate(self.laser.line):
            space, beam, criterion = self.space.scaled(float(line.share or 1.0)), self.beam, line.divergence_criterion
            if line.power is not None:
                space = SettingSpace("continuous", power=(float(line.power), float(line.power)))
            if self.fault:
                beam = self.also[number]
            elif line.divergence is not None and criterion is not None:
                x, y = (float(v) for v in to_1_over_e(list(line.divergence.pair), criterion, beam.profile))
                beam = replace(beam, divergence=(x, y))
            elif self.setup.kind == "fibre single mode" and line.wavelength < self.wavelength:
                angle = beam.divergence[0] * float(line.wavelength) / self.wavelength  # with the field of the main one
                beam = replace(beam, divergence=(angle, angle))
            typed = self.setup.spot_diameter is not None  # that of the main beam
            laser = self.laser.model_copy(update={"wavelength": line.wavelength, "line": (), "module": None})
            found[line.name] = own = replace(self, laser=laser, beam=beam, space=space)
            if beam is not self.beam:
                own.spot = 0.0 if typed else own.lights()
        return found

    @cached_property
    def every(self) -> dict[str, Context]:
        """The contexts of all wavelengths, the main one first."""
        return {Message("sum.main_beam", wavelength=f"{self.wavelength * 1e9:.6g}"): self, **self.further}

    @property
    def power(self) -> float | None:
        """The highest mean power of all wavelengths together, None where one has none, as a single pulse. [W]."""
        powers = [own.space.highest_mean_power for own in self.every.values()]
        return None if None in powers else sum(power for power in powers if power is not None)

    def faults(self, every: Sequence[Context]) -> Faults:
        """Return `_faults`, worked out once for the same set-ups."""
        if self._found is None or self._found[0] != every:
            self._found = every, self._faults(every)
        return self._found[1]

    def _faults(self, every: Sequence[Context]) -> Faults:
        """Return the laser with the beams of each fault, all its wavelengths in each, none where it cannot be; a note.

        *every* are the set-ups of the case: without a lens the beam is no wider than any of the collimated ones of its
        profile, and may have the profile of each; without these each wavelength spreads on each axis as little as
        diffraction allows it to.
        """
        case, setup, note, lines = self.case, self.setup, "", list(self.every.values())
        beams = [own.beam for own in lines]
        usual, stated = 300e-9 <= self.wavelength <= 2.4e-6, self.laser.fibre
        found: Faults = {
            "fibre broken": ([], Message("cannot.fibre" if stated is None else "cannot.no_fibre")),
            "optic lost": ([], Message("cannot.lens")),
        }
        if usual if stated is None else stated:
            if not setup.kind.startswith("fibre"):
                beams = [fibre_multimode(FIBRE_APERTURE, "5 %", propagation=case.settings.propagation)] * len(lines)
                note = Message("fault.aperture", value=f"{FIBRE_APERTURE:g}")
            found["fibre broken"] = [self._with_beams(beams, "fibre broken")], note
        if setup.kind == "lens":
            same = [c for c in every if c.laser is self.laser and c.setup.kind == "collimated"]
            if same:
                profiles = dict.fromkeys(c.beam.profile for c in same)
                lost = [self._without_lens([c for c in same if c.beam.profile == one]) for one in profiles]
                note = Message("fault.as_setup", name=", ".join(c.setup.name for c in same))
            else:
                at_lens = zip(self.beam.divergence, self.beam.waist_position, strict=True)
                widths, wider = [angle * abs(place) for angle, place in at_lens], self.may_differ[0]
                beams = [_least_spread(widths, own, wider) for own in lines]
                lost = [self._with_beams(beams, "optic lost", wider)]
                note = Message("fault.least_divergence")
            found["optic lost"] = lost, note
        return found

    def _with_beams(self, beams: Sequence[BeamGeometry], fault: str, wider: float = 1.0, loose: float = 0.0) -> Context:
        main, *further = beams
        broken = replace(self, beam=main, fault=fault, also=tuple(further), differs=(wider, loose))
        return replace(broken, spot=min(self.spot, broken.lights()))

    def _without_lens(self, alike: Sequence[Context]) -> Context:
        """Return it with the beam of set-ups of one profile, on the axis the narrowest of all, beside it the widest."""
        each = [[own.beam for own in line] for line in zip(*(c.every.values() for c in alike), strict=True)]
        beams = [narrowest(line) for line in each]
        pairs = ((one, least) for line, least in zip(each, beams, strict=True) for one in line)
        wider, loose = (max(one) for one in zip(*(c.may_differ for c in alike), strict=True))
        lost = self._with_beams(beams, "optic lost", wider * max(_times_as_wide(*pair) for pair in pairs), loose)
        return replace(lost, lengthened=any(own.oblong for c in alike for own in c.every.values()))

    def broken(self, every: Sequence[Context]) -> list[Context]:
        """Return the laser with each beam of the faults that can be, as `faults` does."""
        return [one for beams, _ in self.faults(every).values() for one in beams]

    def spot_at(self, *places: float) -> float:
        """Return the lit spot at the work and at some places from the last optic [m], the smallest, as of `spot_of`."""
        return min(self.spot, self.lights(*places)) if self.spot and places else self.spot

    def lights(self, *places: float) -> float:
        """Return the smallest spot that earns credit, as of `spot_of`. [m]."""
        return float(spot_of(self.setup, self.beam, places=places, loose=self.loose, fault=bool(self.fault)))

    @property
    def loose(self) -> float:
        """How far off its waist what a beam lights may be, by tolerances. [m]."""
        return self.may_differ[1] + self.case._may_lie

    @property
    def lights_less(self) -> bool:
        """Whether the beam of a fault lights a smaller spot than the one that is stated."""
        return self.spot < float(spot_of(self.setup, self.beam))

    def narrowest_spot(self, *places: float) -> float:
        """Return the same, the smallest of all its wavelengths, which earns the least credit. [m]."""
        return min(own.spot_at(*places) for own in self.every.values())

    @cached_property
    def lit_places(self) -> tuple[float, ...]:
        """How far from the last optic things are that scatter, as far as that is stated. [m]."""
        return tuple(dict.fromkeys(one.distance for one in self.scatterers if one.distance is not None))

    @property
    def alone(self) -> Context:
        """The same without further wavelengths."""
        return replace(self, laser=self.laser.model_copy(update={"line": ()}))

    def groups(self, tissue: str) -> frozenset[str]:
        """Return the groups in which light of any of its wavelengths can add."""
        return frozenset().union(*(groups(tissue, one.wavelength) for one in self.every.values()))

    def group(self, tissue: str, hazard: str) -> str:
        """Return the group in which a hazard of its wavelength adds."""
        return group_of(tissue, hazard, self.wavelength)

    @property
    def may_differ(self) -> tuple[float, float]:
        """How many times as wide the beam may be, by tolerances or, after a fault, set-ups, and its focus off [m]."""
        return self.differs if self.fault else self.case._may_differ.get((self.laser.name, self.setup.name), (1.0, 0.0))

    @property
    def is_exact(self) -> bool:
        """Whether its beam is one that there is, and stands for no others that differ."""
        return not self.fault and not self.case._at_corner and self.may_differ == (1.0, 0.0)

    @property
    def oblong(self) -> bool:
        """Whether one axis of the beam is or may be longer than the other, by tolerances or, after a fault, set-ups."""
        return self.lengthened or not (self.beam.circular and self.setup.circular)

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
    def ways(self) -> tuple[str, ...]:
        """The ways for light of this case, places left aside."""
        return (*WAYS, *(way for way in MORE_WAYS if self.share(way)[0] > 0.0))

    def share(self, way: str) -> tuple[float, str]:
        """Return which share of the beam goes on along a way, 1 but for a mirror and for a target, and the reason."""
        surfaces = self.surfaces
        if way == "transmitted":
            met: list[Surface | Target] = [*surfaces, *self.targets]
            most = max(met, key=lambda one: float(one.transmittance), default=None)
            if most is None:
                return 0.0, ""
            return float(most.transmittance), Message("mirror.transmitted", surface=f"'{most.name}'")
        if way != "mirror":
            return 1.0, ""
        if not surfaces:
            return 1.0, Message("mirror.none_listed")
        if any(s.finish == "unknown" and s.material_key is None for s in surfaces):
            return 1.0, Message("mirror.unknown_finish")
        if not self.case.settings.surfaces_complete:
            return 1.0, Message("mirror.not_listed")
        far = self.wavelength >= FAR_INFRARED
        shining = [s for s in surfaces if far or s.finish != "matt"] or surfaces
        worst = max(shining, key=self.mirrored)  # in reach
        if far and self.mirrored(worst) == 1.0:
            return 1.0, Message("mirror.far_infrared")
        value = self.reflectance_of(worst)
        words = f", {value.words}" if value.words else ""
        return self.mirrored(worst), Message("mirror.stated", surface=f"'{worst.name}'{words}")

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

    @cached_property
    def returned_apart(self) -> float:
        """How many times as much of one of its wavelengths as of another a surface or target can return. [1]."""
        lines = self.every.values()
        things: list[Surface | Target] = [*self.surfaces, *self.targets]
        each = ([own.reflectance_of(one).value for own in lines] for one in things)
        return max((max(some) / min(some) for some in each if min(some) > 0.0), default=1.0)

    @property
    def reflectance_edges(self) -> list[float]:
        """The wavelengths at which what its surfaces reflect can jump [m]."""
        keys = {s.material_key for s in self.surfaces if s.material_key is not None}
        rows = [row.wavelength for key in keys for row in materials()[key].rows]
        return [LONG_WAVE, *(row * f for row in rows for f in (1.0 - SAME, 1.0, 1.0 + SAME))]

    @property
    def aslant(self) -> float:
        """Under which angle from the normal a lit spot is the worst [rad]; an even one looks smaller from the side."""
        return 0.0 if self.case.settings.scatter_model == "lambert" else math.pi / 2.0

    @cached_property
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
            angle = float(surface.view_angle) if "view_angle" in surface.model_fields_set else self.aslant
            shines = self.mirrored(surface) if far or surface.finish != "matt" else None
            off = work - place if at_work and work is not None else 0.0
            found.append(Scatterer(reflectance.value, angle, words, place, at_work, shines, off))
        if not self.case.settings.surfaces_complete or not found:
            if not any(s.at_work for s in found):
                found.append(Scatterer(1.0, self.aslant, Message("reflectance.at_work"), work, True))
        return tuple(found)

    @property
    def brightest(self) -> Scatterer:
        """What scatters most; it counts along its normal, the brightest direction."""
        return max(self.scatterers, key=lambda s: s.reflectance)

    @property
    def lit_spot(self) -> LitSpot:
        """What scatters most, with the smallest spot that the beam lights on anything."""
        spot = self.spot_at(*self.lit_places)
        return LitSpot(self.brightest.reflectance, self.aslant, self.case.settings.scatter_model, spot)


def _least_spread(widths: Sequence[float], own: Context, wider: float) -> BeamGeometry:
    """Return a bound of what leaves with a width on each axis [m], or so many times that, and spreads least."""
    angles = [min(least_divergence(one * wider, own.wavelength), math.pi) for one in widths]
    round_one = widths[0] == widths[1]
    width, angle = (one[0] if round_one else tuple(one) for one in (widths, angles))
    return collimated(width, angle, "1/e", own.beam.profile)


def _times_as_wide(beam: BeamGeometry, least: BeamGeometry) -> float:
    """Return how many times as wide as another beam one is at most [1]_.

    References
    ----------
    .. [1] Own: with its waist D away from the other's, hypot(d, φ (x + D)) is at most hypot(d, φ x) + φ D.
    """
    found = []
    for axis in (0, 1):
        (wide, slope, place), (narrow, slow, other) = (
            (one.waist_diameter[axis], one.divergence[axis], one.waist_position[axis]) for one in (beam, least)
        )
        apart = slope * abs(place - other) / narrow if narrow > 0.0 else math.inf
        found.append(max(wide / narrow if narrow > 0.0 else math.inf, slope / slow) + apart)
    linear = math.sqrt(2.0) if beam.propagation != least.propagation else 1.0
    return float(min(max(found) * linear, _WIDEST))


def contexts(case: Case, sets: tuple[str, ...] = ()) -> list[Context]:
    """Return one context for every set-up of every laser, under some rule sets or all, that of the case first."""
    return contexts_of_each([case], sets)[0]


def contexts_of_each(cases: Sequence[Case], sets: tuple[str, ...] = ()) -> list[list[Context]]:
    """Return the contexts of several cases; a laser that is the same in several of them has the same ones in each."""
    rests: list[Case] = []
    known: list[tuple[int, Laser, list[Context]]] = []
    found = []
    for case in cases:
        rest, own = case.model_copy(update={"laser": ()}), list[Context]()
        number = next((i for i, other in enumerate(rests) if other == rest), len(rests))
        rests += [rest] if number == len(rests) else []
        names = sets or (case.rule_set, *(name for name in rule_sets() if name != case.rule_set))
        for laser in case.laser:
            same = next((made for other, one, made in known if other == number and one == laser), None)
            if same is None:
                space, same, corner = space_of(laser), list[Context](), (number, len(known))
                for setup in laser.setup:
                    beam = beam_of(case, laser, setup)
                    focus = float(setup.focal_length) if setup.kind == "lens" else None
                    same.append(Context(case, laser, setup, names, beam, space, 0.0, focus, corner=corner))
                    same[-1].spot = same[-1].lights()
                known.append((number, laser, same))
            own += same
        found.append(own)
    return found


def wave_span(same: Iterable[Context]) -> tuple[float, float]:
    """Return the lowest and the highest wavelength that light may have [m], over its corners and as typed."""
    lows, highs = zip(*(one.laser.wavelength.ends("wavelength") for one in same), strict=True)
    return min(lows), max(highs)


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

    def shown(value: float, unit: str) -> str:
        return format_quantity(value, unit, 4)

    power = shown(emission.power, "W")
    if emission.kind == "continuous":
        return Message("setting.continuous", power=power)
    energy, time = shown(emission.pulse_energy, "J"), shown(emission.pulse_duration, "s")
    pulse = Message("setting.pulse", energy=energy, time=time)
    if emission.kind == "single pulse":
        return Message("setting.single_pulse", pulse=pulse)
    if emission.pulses and emission.period is None:
        found = Message("setting.list_once", count=len(emission.pulses), pulse=pulse)
    elif emission.pulses:
        period = shown(emission.period or 0.0, "s")
        found = Message("setting.list_every", count=len(emission.pulses), period=period, pulse=pulse)
    elif emission.burst:
        number, spacing = emission.burst[0]
        times = {"spacing": shown(spacing, "s"), "rate": shown(emission.repetition_rate / number, "Hz")}
        found = Message("setting.bursts", count=f"{number:.0f}", pulse=pulse, power=power, **times)
    else:
        found = Message("setting.train", rate=shown(emission.repetition_rate, "Hz"), pulse=pulse, power=power)
    if emission.name and not emission.pulses:
        found = Message("setting.mode", name=emission.name, setting=found)
    return Message("setting.base", setting=found, power=shown(emission.pedestal, "W")) if emission.pedestal else found


def duration_of_all(found: Mapping[str, Context], way: str) -> tuple[float, str]:
    """Return the longest exposure duration of any wavelength on a way [s], and its reason."""
    return max((own.duration(way) for own in found.values()), key=lambda pair: pair[0])


def lines_of(found: Mapping[str, Context], tissue: str, duration: float) -> list[Line]:
    """Return the wavelengths as they add, each with every setting that can be its worst."""
    every = ((name, own, own.emissions(tissue, duration)) for name, own in found.items())
    return [Line(name, own.wavelength, worst[0], own.beam, worst[1:]) for name, own, worst in every]


def portions(found: Sequence[Context], tissue: str, duration: float, spread: bool) -> list[Portion]:
    """Return for each wavelength what part of its limits it may use, so that where each keeps to it the sum does.

    The parts of a group are 1 together. They go by the fractions in a wide beam, so that for beams alike the sum is
    exact; where the angles differ, by the mean of the parts near and far, so that it is at most twice too high there.

    Parameters
    ----------
    found : sequence of Context
        All wavelengths of a laser.
    tissue : str
        ``eye`` or ``skin``.
    duration : float
        Exposure duration. [s]
    spread : bool
        Whether the angles of the beams count; scattered light has none.

    Returns
    -------
    list of dict
        Rule set and group -> part; empty where there is one wavelength, which may use all. [1]
    """
    if len(found) == 1:
        return [{}]
    near: list[Portion] = [
        highest({(c.rule_set, own.group(tissue, c.hazard)): c.amount / c.limit} for c in own.compared(tissue, duration))
        for own in found
    ]
    solid = [math.prod(own.beam.divergence) if spread else 1.0 for own in found]
    far = [{key: value / angle for key, value in mine.items()} for mine, angle in zip(near, solid, strict=True)]
    return [{key: _part(near, far, key, own) for key in mine} for own, mine in enumerate(near)]


def _part(near: list[Portion], far: list[Portion], key: tuple[str, str], own: int) -> float:
    """Return the part of one wavelength in a group; the largest gives a trace away, so that of equal ratios it wins."""

    def share(strengths: list[Portion]) -> float:
        total = math.fsum(one.get(key, 0.0) for one in strengths)
        return strengths[own][key] / total if total > 0.0 else 1.0

    part = (share(near) + share(far)) / 2.0
    leads = near[own][key] >= max(one.get(key, 0.0) for one in near)
    return max(_SMALLEST, part * (1.0 - _TRACE if leads and part < 1.0 else 1.0))


def part_of(portion: Portion, rule_set: str, tissue: str, wavelength: float, hazard: str) -> float:
    """Return the part of the limit of a hazard that light of a wavelength [m] may use."""
    return portion.get((rule_set, group_of(tissue, hazard, wavelength)), 1.0)


def lessened(criterion: Criterion, wavelength: float, portion: Portion) -> Criterion:
    """Return a comparison with the part of its limit that a wavelength [m] may use."""
    part = part_of(portion, criterion.rule_set, criterion.tissue, wavelength, criterion.hazard)
    return criterion if part == 1.0 else replace(criterion, limit=criterion.limit * part)
