"""The settings that a user may turn."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from lasersafe.hazard.emission import Emission

Range = tuple[float, float]


@dataclass(frozen=True)
class SettingSpace:
    """Ranges that the user may turn, in SI units; a fixed value is a range of equal ends.

    Parameters
    ----------
    kind : str
        ``continuous``, ``single pulse``, ``pulse train``, ``pulse list`` or ``mode table``.
    power : tuple of float, optional
        Range of power, or of mean power of a train. [W]
    pulse_energy : tuple of float, optional
        Range of energy per pulse. [J]
    pulse_duration : tuple of float, optional
        Range of pulse duration. [s]
    repetition_rate : tuple of float, optional
        Range of repetition rate; of bursts, when there are any. [Hz]
    duty : tuple of float, optional
        Range of the share of the period that a pulse lasts, in place of ``pulse_duration``. [1]
    burst_pulses : tuple of float, optional
        Range of the number of pulses in a burst. [1]
    burst_spacing : tuple of float, optional
        Range of the time between the starts of the pulses of a burst. [s]
    pedestal : float
        Power under and between the pulses. [W]
    modes : tuple of SettingSpace
        The rows of a table of modes, each with its name.
    name : str
        Name of the mode.
    pattern : Emission, optional
        Pulses one by one, which cannot be turned.
    """

    kind: str
    power: Range | None = None
    pulse_energy: Range | None = None
    pulse_duration: Range | None = None
    repetition_rate: Range | None = None
    duty: Range | None = None
    burst_pulses: Range | None = None
    burst_spacing: Range | None = None
    pedestal: float = 0.0
    modes: tuple[SettingSpace, ...] = ()
    name: str = ""
    pattern: Emission | None = None

    @property
    def knobs(self) -> dict[str, Range]:
        """The ranges that are more than one value, by name."""
        return {name: span for name in KNOBS if (span := getattr(self, name)) is not None and span[0] != span[1]}

    @property
    def adjustable(self) -> bool:
        """True when at least one knob can be turned, or one of several modes chosen."""
        return bool(self.knobs) or len(self.modes) > 1 or any(mode.adjustable for mode in self.modes)

    def held(self, knob: str, value: float) -> SettingSpace:
        """Return the space with one knob at a fixed value."""
        changed: dict[str, Any] = {knob: (value, value)}
        return replace(self, **changed)

    def scaled(self, factor: float) -> SettingSpace:
        """Return the space of what is left when *factor* of every power and energy passes."""

        def part(span: Range | None) -> Range | None:
            return None if span is None else (span[0] * factor, span[1] * factor)

        return replace(
            self, power=part(self.power), pulse_energy=part(self.pulse_energy), pedestal=self.pedestal * factor,
            modes=tuple(mode.scaled(factor) for mode in self.modes),
            pattern=None if self.pattern is None else self.pattern.scaled(factor),
        )  # fmt: skip

    @property
    def highest_mean_power(self) -> float | None:
        """Highest mean power of all settings, pedestal included; None when pulses do not repeat. [W]."""
        if self.modes:
            return max((power for mode in self.modes if (power := mode.highest_mean_power) is not None), default=None)
        if self.pattern is not None:
            return None if self.pattern.period is None else self.pattern.power
        if self.power is not None:
            return self.power[1] + self.pedestal
        if self.pulse_energy is not None and self.repetition_rate is not None:
            number = 1.0 if self.burst_pulses is None else self.burst_pulses[1]
            return self.pulse_energy[1] * self.repetition_rate[1] * number + self.pedestal
        return None

    @property
    def longest_pulse(self) -> float:
        """Longest pulse of all settings; 0 without pulses. [s]."""
        if self.modes:
            return max(mode.longest_pulse for mode in self.modes)
        if self.pattern is not None:
            return max((length for _, length, _ in self.pattern.pulses), default=0.0)
        if self.duty is not None and self.repetition_rate is not None:
            return self.duty[1] / self.repetition_rate[0]
        return 0.0 if self.pulse_duration is None else self.pulse_duration[1]

    @property
    def highest_pulse_energy(self) -> float:
        """Highest energy of one pulse, of one burst, or of a whole list; 0 without pulses. [J]."""
        if self.modes:
            return max(mode.highest_pulse_energy for mode in self.modes)
        if self.pattern is not None:
            return sum(energy for _, _, energy in self.pattern.pulses)
        energy, power = self.caps
        number = 1.0 if self.burst_pulses is None else self.burst_pulses[1]
        if self.repetition_rate is None:
            return energy if self.kind == "single pulse" else 0.0
        return min(energy * number, power / self.repetition_rate[0])

    @property
    def caps(self) -> tuple[float, float]:
        """Highest energy of one pulse [J] and highest mean power [W], infinite where there is no such cap."""
        energy, power = (math.inf if span is None else span[1] for span in (self.pulse_energy, self.power))
        return energy, power

    @property
    def rows(self) -> tuple[SettingSpace, ...]:
        """The modes, or the space itself."""
        return self.modes or (self,)


KNOBS = (
    "power", "pulse_energy", "pulse_duration", "repetition_rate", "duty", "burst_pulses", "burst_spacing",
)  # fmt: skip
