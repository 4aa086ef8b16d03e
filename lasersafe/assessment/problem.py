"""From the models of a case to light, beams, exposures and surfaces in SI units, of one case or of many as arrays."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, reduce
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError, refuse
from lasersafe.hazard import exposure
from lasersafe.hazard.combine import exposure_durations
from lasersafe.hazard.exposure import Comparison, Emission, Floats, Received, compare, pulse_pattern
from lasersafe.hazard.settings import SettingSpace, worst_settings
from lasersafe.limits.exposure import COUNT_SLACK
from lasersafe.optics import beam as optics
from lasersafe.optics.beam import BeamGeometry, unique

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.models import Case, Knob, Laser, Setup

Value = Callable[[str, float], Floats]  # the numbers of an input: its name, and the number as typed
Values = Mapping[str, Floats]
CAPS = ("power", "mean_power", "pulse_energy")
_SLIVER = 1e-12


class Hashed(tuple[object, ...]):
    """Several things that stand in many keys; their hash is worked out once."""

    @cached_property
    def _hash(self) -> int:
        return super().__hash__()

    def __hash__(self) -> int:
        """Return it."""
        return self._hash


def as_typed(_: str, nominal: float) -> Any:
    """Return the number of an input as it was typed."""
    return nominal


def _axes(setup: Setup, name: str, value: Value) -> tuple[Floats, Floats]:
    """Return both axes of a width of a set-up."""
    axes = getattr(setup, name)
    if axes.circular:
        both = value(name, float(axes.x))
        return both, both
    return value(f"{name}.x", float(axes.x)), value(f"{name}.y", float(axes.y))


def beams_of(setup: Setup, propagation: str, wavelength: ArrayLike, value: Value) -> BeamGeometry:
    """Return the beam that a set-up gives, or many, at 1/e.

    Of many a waist is NaN where the angle alone makes the beam wider than it was read. Diffraction is not judged: below
    its limit the distance only comes out longer.
    """
    if setup.kind == "collimated":
        width, angle = (_axes(setup, name, value) for name in ("beam_diameter", "divergence"))
        at = value("measured_at", float(setup.measured_at))
        return optics.collimated(
            width, angle, setup.criterion, setup.profile, at=at, propagation=propagation,
            waist_position=at if setup.waist_at is None else _axes(setup, "waist_at", value),
        )  # fmt: skip
    if setup.kind == "lens":
        width, length = _axes(setup, "beam_diameter", value), value("focal_length", float(setup.focal_length))
        focus = None if setup.focus_diameter is None else _axes(setup, "focus_diameter", value)
        return optics.through_lens(
            width, length, setup.criterion, setup.profile, focus_diameter=focus, propagation=propagation
        )
    if setup.kind == "fibre multimode":
        aperture = value("numerical_aperture", float(setup.numerical_aperture))
        core = value("core_diameter", float(setup.core_diameter))
        read_at = setup.numerical_aperture_criterion
        return optics.fibre_multimode(aperture, read_at, core_diameter=core, propagation=propagation)
    field = value("mode_field_diameter", float(setup.mode_field_diameter))
    return optics.fibre_single_mode(field, wavelength, propagation=propagation)


def beam_of(case: Case, laser: Laser, setup: Setup) -> BeamGeometry:
    """Return the beam that a set-up gives as typed, checked against diffraction.

    Raises
    ------
    OutOfRangeError
        If the divergence is smaller than diffraction allows for that waist, or makes the beam wider than it was read.
    """
    try:
        beam = beams_of(setup, case.settings.propagation, float(laser.wavelength), as_typed)
    except OutOfRangeError as error:
        if not case._at_corner:
            raise
        refuse(f"{laser.name}, {setup.name}: at the worst corner of the tolerances, {error}", OutOfRangeError)
    stated = setup.kind == "collimated" or (setup.kind == "lens" and setup.focus_diameter is not None)
    if stated and not case._at_corner:  # a corner may combine what no beam has, to the strict side
        optics.check_diffraction(beam, float(laser.wavelength))
    return beam


def spot_of(
    setup: Setup, beam: BeamGeometry, value: Value = as_typed, places: Collection[float] = (), loose: float = 0.0,
    fault: bool = False,
) -> Floats:  # fmt: skip
    """Return the 1/e diameter of the lit spot that earns credit as an extended source, or 0. [m].

    It is the smallest on the work and on what is lit at other *places* [m] from the last optic. A spot under a lens can
    be moved into focus, so it earns credit only when its diameter is stated; away from the work that is smaller by no
    more than the beam narrows on the way.
    """
    work = None if setup.work_distance is None else float(setup.work_distance)
    if setup.spot_diameter is not None and not fault:
        width = np.minimum(*_axes(setup, "spot_diameter", value))
        criterion, profile = getattr(setup, "criterion", "1/e"), getattr(setup, "profile", "gaussian")
        off = max((math.inf if work is None else abs(place - work) for place in places), default=0.0)
        narrower = np.maximum(*beam.divergence) * off if off > 0.0 else 0.0
        return np.maximum(optics.to_1_over_e(width, criterion, profile) - narrower, 0.0)
    if (fault or setup.kind != "lens") and work is not None:
        waists = beam.waist_position[: 2 if loose else 1]  # the nearest place to each that may be lit
        near = (np.clip(waist, max(place - loose, 0.0), place + loose) for place in (work, *places) for waist in waists)
        return reduce(np.minimum, (one for place in near for one in optics.diameters(beam, place)))
    return np.asarray(0.0)


def _range(knob: Knob | None) -> tuple[float, float] | None:
    return None if knob is None else (float(knob.low), float(knob.high))


def space_of(laser: Laser) -> SettingSpace:
    """Return the settings that the emission of a laser allows."""
    emission = laser.emission
    if emission.kind == "pulse list":
        pulses = tuple((float(p.start), float(p.duration), float(p.energy)) for p in emission.pulses)
        period = None if emission.repeat_every is None else float(emission.repeat_every)
        return SettingSpace("pulse list", pattern=pulse_pattern(pulses, period, float(emission.pedestal_power or 0.0)))
    if emission.kind == "mode table":
        modes = tuple(replace(_space("pulse train", mode), name=mode.name) for mode in emission.modes)
        return SettingSpace("mode table", modes=modes)
    found = _space(emission.kind, emission)
    if emission.kind == "pulse train":
        burst = emission.burst
        count, spacing = (None, None) if burst is None else (_range(burst.pulses), _range(burst.spacing))
        pedestal = float(emission.pedestal_power or 0.0)
        return replace(found, burst_pulses=count, burst_spacing=spacing, pedestal=pedestal)
    return found


def _space(kind: str, stated: object) -> SettingSpace:
    """Return the settings with the ranges that a table states."""
    energy, pulse, rate, duty = (
        _range(getattr(stated, name, None)) for name in ("pulse_energy", "pulse_duration", "repetition_rate", "duty")
    )
    power = _range(getattr(stated, "power" if kind == "continuous" else "mean_power", None))
    return SettingSpace(kind, power, energy, pulse, rate, duty)


def emission_inputs(context: Context) -> dict[str, float]:
    """Return the numbers of the emission that can be varied; of a range that can be turned, the highest [SI unit]."""
    space = context.space
    if space.pattern is not None:
        return {"pulse_energy": space.pattern.pulse_energy}
    if space.kind == "continuous":
        return {"power": _high(space.power)}
    highest = space.highest_mean_power
    if space.modes:
        return {} if highest is None else {"mean_power": highest}
    spans = {"pulse_energy": space.pulse_energy, "mean_power": space.power}
    if not turnable(context):
        spans |= {name: getattr(space, name) for name in ("pulse_duration", "repetition_rate", "duty")}
    return {name: span[1] for name, span in spans.items() if span is not None}


def _high(span: tuple[float, float] | None) -> float:
    assert span is not None
    return span[1]


def turnable(context: Context) -> bool:
    """Return whether which setting is the worst has to be searched."""
    return bool(context.space.modes) or any(name not in ("power", "pulse_energy") for name in context.space.knobs)


known_settings = lru_cache(maxsize=1024)(worst_settings)


@dataclass(frozen=True)
class Problem:
    """A context and the values that replace some of its numbers, as arrays that broadcast together [SI units]."""

    context: Context
    values: Values
    shared: BeamGeometry | None = None  # of a further wavelength: the beams of the laser
    boost: Floats | None = None  # what all power and energies are multiplied by on top

    def value(self, name: str, nominal: float) -> Floats:
        """Return the values of an input."""
        return np.asarray(self.values.get(name, np.float64(nominal)), dtype=np.float64)

    @property
    def wavelength(self) -> Floats:
        """Wavelengths. [m]."""
        return self.value("wavelength", self.context.wavelength)

    @property
    def longest_pulse(self) -> Floats:
        """The longest pulse that is allowed. [s]."""
        if "pulse_duration" in self.values:
            return self.values["pulse_duration"]
        space = self.context.space
        if space.duty is not None and space.repetition_rate is not None and not turnable(self.context):
            return np.asarray(
                self.value("duty", space.duty[1]) / self.value("repetition_rate", space.repetition_rate[0])
            )
        return np.asarray(space.longest_pulse)

    def duration(self, way: str) -> Floats:
        """Return the exposure durations of a way [s], not shorter than a pulse."""
        given = self.values.get("duration", self.context.time)
        chosen = exposure_durations(self.wavelength, "scatter" if way == "scatter" else "direct")
        usual = np.maximum(chosen, self.context.longest_stay[0]) if given is None else given
        return np.maximum(usual, self.longest_pulse)

    @property
    def by_setting(self) -> bool:
        """Whether the worst setting is searched for one wavelength and duration at a time."""
        space = self.context.space
        return space.kind != "continuous" and (space.pattern is not None or turnable(self.context))

    @cached_property
    def light(self) -> Emission:
        """What is emitted, where there is one setting."""
        space = self.context.space
        if space.kind == "continuous":
            return exposure.continuous(self.value("power", _high(space.power)))
        energy, power = map(self.value, ("pulse_energy", "mean_power"), space.caps)
        if space.kind == "single pulse":
            assert space.pulse_duration is not None
            pulse = self.value("pulse_duration", space.pulse_duration[1])
            return exposure.single_pulse(energy, pulse)
        assert space.repetition_rate is not None
        rate = self.value("repetition_rate", space.repetition_rate[1])
        number = 1.0 if space.burst_pulses is None else space.burst_pulses[1]
        burst = ((number, _high(space.burst_spacing)),) if number > 1.0 else ()
        most = space.energy_at(rate * number, (energy, power))
        train = exposure.pulse_train(most, self.longest_pulse, np.asarray(rate * number), space.pedestal)
        return replace(train, burst=burst)

    @property
    def two_caps(self) -> bool:
        """Whether two caps that are not varied alike decide together which setting is the worst."""
        both = self.by_setting and len([name for name in CAPS if name in emission_inputs(self.context)]) > 1
        factors = self._factors if both else []
        return bool(factors) and not (len(factors) == 2 and np.array_equal(factors[0], factors[1]))

    @property
    def _factors(self) -> list[Floats]:
        nominal = emission_inputs(self.context)
        return [np.asarray(self.values[name] / nominal[name]) for name in CAPS if name in self.values]

    def settings(self, tissue: str, duration: Floats) -> tuple[Emission, ...]:
        """Return the settings that can be the worst, where they were searched; two caps have one value each.

        All cases have one wavelength and one duration then.
        """
        wavelength, time, space = float(self.wavelength), float(duration), self.context.space
        if self.two_caps:
            power = float(self.value("mean_power", _high(space.power)))
            energy = float(self.value("pulse_energy", _high(space.pulse_energy)))
            space = replace(space, power=(power, power), pulse_energy=(energy, energy))
        return known_settings(space, self.context.rule_sets, tissue, wavelength, time)

    @property
    def factor(self) -> Floats:
        """What power and energies of the worst settings are multiplied by."""
        factors = self._factors
        found = factors[0] if factors and not self.two_caps else np.asarray(1.0)
        return found if self.boost is None else np.asarray(found * self.boost)

    def compared(self, rule_set: str, tissue: str, duration: Floats) -> list[Comparison]:
        """Return the comparisons of all settings that can be the worst, for exposures of some duration [s]."""
        if not self.by_setting:
            return list(compare(Received(rule_set, tissue, self.light, self.wavelength, duration)))
        return [
            replace(one, amount=amount)  # one array for all of a setting: what shares it is put together by aperture
            for emission in self.settings(tissue, duration)
            for amount in [np.asarray(emission.amount * self.factor)]
            for one in compare(Received(rule_set, tissue, emission, float(self.wavelength), float(duration)))
        ]

    @cached_property
    def _beams(self) -> BeamGeometry:
        """The beams; a waist is NaN where the angle alone makes a free beam wider than it was read [m]."""
        propagation = self.context.case.settings.propagation
        return beams_of(self.context.setup, propagation, self.wavelength, self.value)

    @property
    def beams(self) -> BeamGeometry:
        """The beams; refused where the angle alone makes one wider than it was read."""
        if self.shared is not None:
            return self.shared
        if any(np.isnan(waist).any() for waist in self._beams.waist_diameter):
            refuse(
                "beam_diameter: in at least one case the divergence alone makes the beam wider than that on the way "
                "from waist_at to measured_at; give a narrower range of divergence, beam_diameter, measured_at or "
                "waist_at"
            )
        return self._beams

    @property
    def spot(self) -> Floats:
        """The 1/e diameter of the lit spot that earns credit as an extended source, or 0. [m]."""
        if not self.context.spot:
            return np.asarray(0.0)
        return spot_of(self.context.setup, self.beams, self.value, self.context.lit_places, self.context.loose)

    def reflectance(self, way: str) -> Floats:
        """Return the reflectance of the mirror, or of what scatters most; of a target what passes."""
        if way not in ("mirror", "scatter"):
            return np.asarray(self.context.share(way)[0])
        if "reflectance" in self.values:
            return self.values["reflectance"]
        # constant between the edges of the tables; of many wavelengths that next to an edge has its highest neighbour
        waves, many = self.wavelength, self.wavelength.ndim > 0
        edges = [e for e in self.context.reflectance_edges if waves.min() * 0.999 < e < waves.max() * 1.001 and many]
        ends = unique(np.array([e * f for e in edges for f in (1.0 - _SLIVER, 1.0 + _SLIVER)]))
        bounds = np.concatenate([[waves.min() * 0.99], ends, [waves.max() * 1.01]])
        middles = np.sqrt(bounds[:-1] * bounds[1:]) if many else waves.reshape(1)
        lasers = [self.context.laser.model_copy(update={"wavelength": float(one)}) for one in middles]
        same = not many and waves == self.context.wavelength
        contexts = [self.context] if same else [replace(self.context, laser=one) for one in lasers]
        found = np.array([one.share(way)[0] if way == "mirror" else one.brightest.reflectance for one in contexts])
        padded = np.concatenate([found[:1], found, found[-1:]])
        around = np.maximum(np.maximum(padded[:-2], padded[2:]), found)
        thin = bounds[1:] < bounds[:-1] * (1.0 + 3.0 * _SLIVER)
        return np.asarray(np.where(thin, around, found)[np.searchsorted(ends, waves, side="right")])

    @property
    def possible(self) -> NDArray[np.bool_]:
        """Where the inputs can be together: pulses fit into their period, a beam is not wider by its angle alone."""
        setup = self.context.setup
        found = np.ones(np.broadcast_shapes(*(one.shape for one in self.values.values())), bool)
        for waist in self._beams.waist_diameter if setup.kind == "collimated" else ():
            found = found & ~np.isnan(waist)
        if self.context.space.kind == "pulse train" and not self.by_setting:
            light, period = self.light, 1.0 / self.light.repetition_rate
            for number, spacing in light.burst:
                found = found & (light.pulse_duration <= spacing * (1.0 + COUNT_SLACK))
                found = found & (number * spacing <= period * (1.0 + COUNT_SLACK))
            found = found & (light.pulse_duration <= period * (1.0 + COUNT_SLACK))
        for angle in self.beams.divergence if setup.kind in ("lens", "fibre single mode") else ():
            found = found & (angle <= math.pi)
        return np.asarray(found)
