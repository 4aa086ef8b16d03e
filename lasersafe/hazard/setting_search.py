"""The worst of the settings that a user may turn, per tissue, aperture and rule, and what each knob is worth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError
from lasersafe.hazard.emission import Emission
from lasersafe.hazard.exposure import criteria, train_limit
from lasersafe.hazard.setting_trials import Tried, candidates, trains
from lasersafe.hazard.settings import SettingSpace
from lasersafe.hazard.sweep import compiled, ratios
from lasersafe.limits import PulseTrainLimit
from lasersafe.records.step import Criterion

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class KnobChange:
    """What it brings to hold one knob at its other end, or at half, while all others stay free.

    Parameters
    ----------
    knob : str
        Name of the field, or ``mode``.
    now, then : float
        Value at the worst setting, and the one that is tried; NaN for a mode. [any]
    ratio : float
        Exposure over limit at the worst of the settings that are left, divided by that of the worst setting. [1]
    emission : Emission
        The worst of the settings that are left.
    halved : bool
        True when the knob has no lower end, so that half was tried.
    name : str
        The mode that is left out.
    """

    knob: str
    now: float
    then: float
    ratio: float
    emission: Emission
    halved: bool = False
    name: str = ""


def _windows(rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float) -> tuple[float, ...]:
    """Return the times in which pulses are counted: T_i, the counting time of each rule set, and the exposure."""
    found = {duration}
    for rule_set in rule_sets:
        for joining in compiled(rule_set, tissue, wavelength, duration).joining:
            found |= {time for time in (joining.within, joining.counted) if 0.0 < time < np.inf}
    return tuple(sorted(found))


def _limit(
    rule_set: str, tissue: str, tried: Tried, space: SettingSpace, wavelength: float, duration: float
) -> PulseTrainLimit:
    burst = () if space.burst_pulses is None else ((tried.number, tried.spacing),)
    light = Emission(
        "pulse train", pulse_energy=tried.energy, pulse_duration=tried.pulse, repetition_rate=tried.rate * tried.number,
        burst=burst, pedestal=space.pedestal,
    )  # fmt: skip
    return train_limit(rule_set, tissue, light, wavelength, duration)


def _ratio(rule_set: str, tissue: str, tried: Tried, space: SettingSpace, wavelength: float, duration: float) -> Floats:
    """Return energy over limit at each setting."""
    if space.burst_pulses is None and not space.pedestal:
        return ratios(compiled(rule_set, tissue, wavelength, duration), tried.energy, tried.pulse, tried.rate)
    return tried.energy / _limit(rule_set, tissue, tried, space, wavelength, duration).per_pulse


def emission_ratio(
    rule_sets: tuple[str, ...], tissue: str, emission: Emission, wavelength: float, duration: float
) -> tuple[float, Criterion]:
    """Return the highest ratio of an emission to its limits for a wide beam, and the comparison that gives it.

    Parameters
    ----------
    rule_sets : tuple of str
        The rule sets to work out.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        One setting.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    float
        Amount over limit; divided by the area of the beam it is exposure over limit. [m2]
    Criterion
        The comparison.
    """
    found = [one for name in rule_sets for one in criteria(name, tissue, emission, wavelength, duration)]
    worst = max(found, key=lambda one: one.amount / one.limit)
    return worst.amount / worst.limit, worst


def _worst_of(
    space: SettingSpace, rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float
) -> tuple[float, Emission]:
    """Return the ratio and the setting of one space without modes."""
    if space.kind != "pulse train" or space.pattern is not None:
        best: tuple[float, Emission] | None = None
        for emission in candidates(space):
            ratio = emission_ratio(rule_sets, tissue, emission, wavelength, duration)[0]
            if best is None or ratio > best[0]:
                best = (ratio, emission)
        assert best is not None
        return best
    tried = trains(space, _windows(rule_sets, tissue, wavelength, duration), duration)
    ratio = np.max([_ratio(name, tissue, tried, space, wavelength, duration) for name in rule_sets], axis=0)
    at = int(np.argmax(ratio >= ratio.max() * (1.0 - 1e-12)))  # of equals the first
    return float(ratio[at]), tried.emission(at, space)


@lru_cache(maxsize=512)
def worst_ratio(
    space: SettingSpace, rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float
) -> tuple[float, Emission]:
    """Return the highest ratio of emission to limit over all settings, for a wide beam, and the setting.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    rule_sets : tuple of str
        The rule sets to search; the highest ratio in any of them wins.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    float
        Amount over limit. [m2]
    Emission
        The setting; for equal ratios the first that was tried.

    Raises
    ------
    InputError
        If no setting is possible.
    """
    found = []
    for mode in space.rows:
        try:
            found.append(_worst_of(mode, rule_sets, tissue, wavelength, duration))
        except InputError:
            if len(space.rows) == 1:
                raise
    if not found:
        message = (
            "emission: no mode of the table is possible, every pulse is longer than its period or than the exposure"
        )
        raise InputError(message)
    return max(found, key=lambda one: one[0])


def worst_settings(
    space: SettingSpace, rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float
) -> tuple[Emission, ...]:
    """Return the worst setting of each rule set, rule, hazard and limiting aperture, the worst for a wide beam first.

    A narrow beam is averaged over apertures of different size, so the setting that is worst for a wide beam need not be
    worst for a narrow one. Where all comparisons share one aperture there is one setting for each rule set only.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    rule_sets : tuple of str
        The rule sets to search.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    tuple of Emission
        At least one, without doubles.
    """
    if not space.adjustable and not space.modes and len(tried_alone := candidates(space)) == 1:
        return (tried_alone[0],)
    found = {worst_ratio(space, rule_sets, tissue, wavelength, duration)[1]: None}
    if space.adjustable:
        found |= dict.fromkeys(worst_ratio(space, (name,), tissue, wavelength, duration)[1] for name in rule_sets)
        for mode in space.rows:
            if mode.kind != "pulse train" or mode.pattern is not None:
                continue
            hazards = [h for name in rule_sets for h in compiled(name, tissue, wavelength, duration).hazards]
            apertures = {piece.aperture for _, pieces in hazards for piece in pieces}
            if len(apertures) == 1:
                continue
            try:
                tried = trains(mode, _windows(rule_sets, tissue, wavelength, duration), duration)
            except InputError:
                continue
            for name in rule_sets:
                for row in _limit(name, tissue, tried, mode, wavelength, duration).rows:
                    own = tried.energy / row.per_pulse
                    at = int(np.argmax(own >= own.max() * (1.0 - 1e-12)))
                    found.setdefault(tried.emission(at, mode))
    return tuple(found)


def _now(emission: Emission, knob: str) -> Any:
    if knob == "power":
        return emission.power - emission.pedestal
    if knob == "duty":
        return emission.pulse_duration * emission.repetition_rate
    if knob in ("burst_pulses", "burst_spacing"):
        if not emission.burst:
            return 1.0 if knob == "burst_pulses" else np.nan
        return emission.burst[0][0 if knob == "burst_pulses" else 1]
    if knob == "repetition_rate" and emission.burst:
        return emission.repetition_rate / emission.burst[0][0]
    return getattr(emission, knob)


def knob_changes(
    space: SettingSpace, rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float
) -> tuple[KnobChange, ...]:
    """Return what it brings to hold each knob at its other end, or at half of a cap, with the others still free.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    rule_sets : tuple of str
        The rule sets to search.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    tuple of KnobChange
        The one that brings most first.
    """
    highest, worst = worst_ratio(space, rule_sets, tissue, wavelength, duration)
    found = []
    if len(space.modes) > 1:
        rest = replace(space, modes=tuple(mode for mode in space.modes if mode.name != worst.name))
        ratio, emission = worst_ratio(rest, rule_sets, tissue, wavelength, duration)
        found.append(KnobChange("mode", np.nan, np.nan, ratio / highest, emission, name=worst.name))
    at = next((n for n, mode in enumerate(space.modes) if mode.name == worst.name), None)
    own = space if at is None else space.modes[at]
    knobs = dict(own.knobs)
    for cap in ("power", "pulse_energy"):
        span = getattr(own, cap)
        if span is not None:
            knobs.setdefault(cap, span)
    for knob, span in knobs.items():
        now = _now(worst, knob)
        if np.isnan(now):  # one pulse has no spacing
            continue
        halved = span[0] == span[1]
        if knob in ("power", "pulse_energy"):
            now = span[1]
            then = span[1] / 2.0 if halved else span[0]
        else:
            then = span[0] if abs(now / span[0] - 1.0) > abs(span[1] / now - 1.0) else span[1]
        held = own.held(knob, then)
        changed = held if at is None else replace(space, modes=(*space.modes[:at], held, *space.modes[at + 1 :]))
        try:
            ratio, emission = worst_ratio(changed, rule_sets, tissue, wavelength, duration)
        except InputError:
            continue
        found.append(KnobChange(knob, now, then, ratio / highest, emission, halved))
    return tuple(sorted(found, key=lambda one: one.ratio))


__all__ = [
    "KnobChange", "emission_ratio", "knob_changes", "worst_ratio", "worst_settings",
]  # fmt: skip
