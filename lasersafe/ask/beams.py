"""What a question typed on the command line says of a beam: numbers in SI, and the emission."""

from __future__ import annotations

from dataclasses import dataclass

from lasersafe.errors import InputError
from lasersafe.hazard.settings import SettingSpace
from lasersafe.limits import rule_sets
from lasersafe.quantity import parse_quantity


def optional_number(text: str | None, unit: str, field: str) -> float | None:
    """Return the number of an option in SI, None when it was not typed."""
    return None if text is None else parse_quantity(text, unit, field).value


def needed_number(text: str, unit: str, field: str) -> float:
    """Return the number of an option in SI."""
    return parse_quantity(text, unit, field).value


def require_positive(value: float | None, field: str, typed: str | None) -> None:
    """Refuse a number that was typed and is not above zero.

    Raises
    ------
    InputError
        With the field and the text as typed.
    """
    if value is not None and not value > 0.0:
        message = f"{field} = '{typed}': must be above zero"
        raise InputError(message)


@dataclass(frozen=True)
class BeamQuestion:
    """The beam as typed; every field is text."""

    wavelength: str
    beam_diameter: str
    criterion: str
    power: str | None
    pulse_energy: str | None
    pulse_duration: str | None
    repetition_rate: str | None
    profile: str
    rule_set: str | None

    def space(self) -> SettingSpace:
        """Return the emission that was typed.

        Raises
        ------
        InputError
            If the emission is incomplete or impossible.
        """
        energy = optional_number(self.pulse_energy, "J", "pulse energy")
        pulse = optional_number(self.pulse_duration, "s", "pulse duration")
        rate = optional_number(self.repetition_rate, "Hz", "repetition rate")
        power = None
        if self.power is not None:
            power = parse_quantity(self.power, "W", "power", "continuous power").value
        for value, field, typed in (
            (power, "power", self.power),
            (energy, "pulse energy", self.pulse_energy),
            (pulse, "pulse duration", self.pulse_duration),
            (rate, "repetition rate", self.repetition_rate),
        ):
            require_positive(value, field, typed)
        if pulse is None:
            if energy is not None or rate is not None:
                message = "pulse duration is missing: give --pulse-duration with --pulse-energy or --repetition-rate"
                raise InputError(message)
            if power is None:
                message = "emission is missing: give --power, or --pulse-energy with --pulse-duration"
                raise InputError(message)
            return SettingSpace("continuous", power=(power, power))
        if rate is None:
            if energy is None or power is not None:
                message = (
                    "one single pulse needs --pulse-energy and --pulse-duration; a train needs --repetition-rate too"
                )
                raise InputError(message)
            return SettingSpace("single pulse", pulse_energy=(energy, energy), pulse_duration=(pulse, pulse))
        if pulse * rate > 1.0:
            message = (
                f"pulse duration = '{self.pulse_duration}' is longer than the period of "
                f"repetition rate = '{self.repetition_rate}'; give a shorter pulse or a lower rate"
            )
            raise InputError(message)
        if energy is None and power is None:
            message = "a pulse train needs --pulse-energy or --power (the mean power)"
            raise InputError(message)
        if energy is not None and power is not None and abs(energy * rate - power) > 0.01 * power:
            message = (
                f"power = '{self.power}' and pulse energy = '{self.pulse_energy}' at '{self.repetition_rate}' "
                "disagree; give one of them"
            )
            raise InputError(message)
        if energy is None:
            assert power is not None
            energy = power / rate
        return SettingSpace(
            "pulse train", pulse_energy=(energy, energy), pulse_duration=(pulse, pulse), repetition_rate=(rate, rate)
        )

    def rule_sets(self) -> tuple[str, ...]:
        """Return the rule sets to work out: the one that was named, or all."""
        return rule_sets() if self.rule_set is None else (self.rule_set,)
