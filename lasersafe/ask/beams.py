"""What a question typed on the command line says of a beam: numbers in SI, and the emission."""

from __future__ import annotations

import re
from dataclasses import dataclass

from lasersafe.errors import InputError
from lasersafe.hazard.settings import Range, SettingSpace
from lasersafe.limits import rule_sets
from lasersafe.optics.beam import BeamGeometry, check_diffraction, collimated, through_lens
from lasersafe.quantity import Kind, parse_quantity
from lasersafe.wording.message import Message

SINGLE = "single"  # in place of a repetition rate
_SIGN = re.compile(r"\+\s*/?\s*-|±")
_UNIT = re.compile(r"[^\W\d_].*|%")


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


def span(text: str, unit: str, field: str, kind: Kind | None = None) -> Range:
    """Return the ends of what was typed: one value, a range, or a value with its tolerance.

    Parameters
    ----------
    text : str
        As ``1064 nm``, ``2..350 ns``, ``1064 nm +- 5 nm`` or ``5 W +- 10 %``.
    unit : str
        SI unit.
    field : str
        Name for the message.
    kind : str, optional
        As for `parse_quantity`.

    Returns
    -------
    tuple of float
        Lowest and highest value, both above zero.

    Raises
    ------
    InputError
        If it is none of these, runs backwards, or is not above zero.
    """
    middle, *width = _SIGN.split(text)
    first, *last = middle.split("..") if not width else [middle]
    if len(width) + len(last) > 1:
        message = f"{field} = '{text}': write one value, or a range as '2..350 ns', or a tolerance as '1064 nm +- 5 nm'"
        raise InputError(message)
    other = (width or last or [""])[0]
    ending = _UNIT.search(other.strip())
    if ending and ending[0] != "%" and not _UNIT.search(first):  # 2..350 ns, 1064 +- 5 nm
        first = f"{first.strip()} {ending[0]}"
    low = high = parse_quantity(first.strip(), unit, field, kind).value
    if width:
        part = parse_quantity(other.strip(), "1" if "%" in other else unit, field).value
        part = abs(part * low if "%" in other else part)
        low, high = low - part, high + part
    elif last:
        high = parse_quantity(other.strip(), unit, field, kind).value
    require_positive(low, field, text)
    if high < low:
        message = f"{field} = '{text}': the range runs backwards; write the smaller end first"
        raise InputError(message)
    return low, high


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
    divergence: str | None
    lens_focal_length: str | None

    def beam(self, wavelength: float, propagation: str = "hyperbolic") -> tuple[BeamGeometry, float | None]:
        """Return the beam and the distance of its focus from the lens [m]."""
        diameter = needed_number(self.beam_diameter, "m", "beam diameter")
        require_positive(diameter, "beam diameter", self.beam_diameter)
        if (self.divergence is None) == (self.lens_focal_length is None):
            message = (
                "give either --divergence or --lens-focal-length: the data sheet of the laser names the divergence; "
                "behind a lens it follows from the beam diameter at the lens and the focal length"
            )
            raise InputError(message)
        if self.divergence is not None:
            angle = parse_quantity(self.divergence, "rad", "divergence", "divergence").value
            require_positive(angle, "divergence", self.divergence)
            beam = collimated(diameter, angle, self.criterion, self.profile, propagation=propagation)
            check_diffraction(beam, wavelength)
            return beam, None
        assert self.lens_focal_length is not None
        focal = needed_number(self.lens_focal_length, "m", "lens focal length")
        require_positive(focal, "lens focal length", self.lens_focal_length)
        return through_lens(diameter, focal, self.criterion, self.profile, propagation=propagation), focal

    def space(self) -> SettingSpace:
        """Return the emission that was typed; of ranges every point is allowed, and the worst counts.

        Raises
        ------
        InputError
            If the emission is incomplete or impossible.
        """

        def read(typed: str | None, unit: str, field: str, kind: Kind | None = None) -> Range | None:
            return None if typed is None else span(typed, unit, field, kind)

        power = read(self.power, "W", "power", "continuous power")
        energy = read(self.pulse_energy, "J", "pulse energy")
        pulse = read(self.pulse_duration, "s", "pulse duration")
        single = self.repetition_rate == SINGLE
        rate = None if single else read(self.repetition_rate, "Hz", "repetition rate")
        if pulse is None:
            if energy or rate or single:
                raise InputError(Message("asks.no_length"))
            if power is None:
                raise InputError(Message("asks.no_emission"))
            return SettingSpace("continuous", power=power)
        if rate is None:
            if energy is None or power is not None:
                raise InputError(Message("asks.single"))
            return SettingSpace("single pulse", pulse_energy=energy, pulse_duration=pulse)
        if pulse[0] * rate[0] > 1.0:
            message = (
                f"pulse duration = '{self.pulse_duration}' is longer than the period of "
                f"repetition rate = '{self.repetition_rate}'; give a shorter pulse or a lower rate"
            )
            raise InputError(message)
        if energy is None and power is None:
            raise InputError(Message("asks.train"))
        if energy and power and not (energy[0] * rate[0] <= 1.01 * power[1] and 0.99 * power[0] <= energy[1] * rate[1]):
            message = (
                f"power = '{self.power}' and pulse energy = '{self.pulse_energy}' at '{self.repetition_rate}' "
                "disagree; give one of them"
            )
            raise InputError(message)
        if energy and power and all(low == high for low, high in (energy, power, rate)):
            power = None
        return SettingSpace("pulse train", power=power, pulse_energy=energy, pulse_duration=pulse, repetition_rate=rate)

    def rule_sets(self) -> tuple[str, ...]:
        """Return the rule sets to work out: the one that was named, or all."""
        return rule_sets() if self.rule_set is None else (self.rule_set,)
