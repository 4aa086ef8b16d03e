"""Pulses that are given one by one, and the maker's table of fixed modes."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Line, Peek
from lasersafe.models.beam import (
    ENERGY,
    POWER,
    PULSE,
    RATE,
    ContinuousEmission,
    PulseTrainEmission,
    SinglePulseEmission,
)
from lasersafe.models.bursts import PEDESTAL
from lasersafe.models.messages import Finding, doubles
from lasersafe.models.values import Knob, Measured, SIValue
from lasersafe.quantity import format_quantity

START = Measured("s", "0 s", "30000 s", "2 ms")
ONE_PULSE = Measured(
    "s", "100 fs", "30000 s", "100 ns", "the limit tables of both rule sets cover no other duration", worst="ends"
)
ONE_ENERGY = Measured("J", "0 J", "1000 kJ", "1 mJ", above_low=True, worst="high")
PERIOD = Measured("s", "1 ps", "30000 s", "1 s", above_low=True, worst="ends")


class OnePulse(CaseModel):
    """One pulse of a list: ``[[laser.emission.pulses]]``.

    Attributes
    ----------
    start
        When the pulse starts, as '2 ms'; rising from row to row.
    duration
        Duration of the pulse, as '100 us'.
    energy
        Highest energy of the pulse, as '40 mJ'.
    """

    start: Annotated[SIValue, START]
    duration: Annotated[SIValue, ONE_PULSE]
    energy: Annotated[SIValue, ONE_ENERGY]


class PulseListEmission(CaseModel):
    """Pulses that are not alike, one by one: ``kind = "pulse list"``.

    Attributes
    ----------
    kind
        'pulse list': pulses given one by one.
    pulses
        The pulses in the order of time, one [[laser.emission.pulses]] each.
    repeat_every
        Time after which the list begins again, as '1 s'. Left out: it comes once.
    pedestal_power
        Continuous power under and between the pulses, on top of their energies, as '50 mW'.
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "pulses": "write one table [[laser.emission.pulses]] with start, duration and energy for each pulse"
    }

    kind: Literal["pulse list"]
    pulses: Annotated[tuple[OnePulse, ...], Field(min_length=1, max_length=200)]
    repeat_every: Annotated[SIValue | None, PERIOD] = None
    pedestal_power: Annotated[SIValue | None, PEDESTAL] = None

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse pulses that overlap or are not in the order of time."""
        found: list[Finding] = []
        rows = [(i, Peek(OnePulse, table)) for i, table in peek.tables("pulses")]
        end: SIValue | None = None
        before = 0.0
        first: SIValue | None = None
        for i, row in rows:
            start, duration = row.value("start"), row.value("duration")
            if start is None or duration is None:
                return found
            if end is not None and float(start) < before * (1 - 1e-9):
                text = (
                    f"{start.typed} is before the end of the pulse above at {format_quantity(before, 's')}; "
                    "give the pulses in the order of time, without overlap"
                )
                found.append((("pulses", i, "start"), text))
            first = start if first is None else first
            end, before = start, float(start) + float(duration)
        period = peek.value("repeat_every")
        if period is not None and first is not None and before > (float(first) + float(period)) * (1 + 1e-9):
            text = f"{period.typed} is shorter than the list, which ends after {format_quantity(before - first, 's')}; "
            text += "write a longer time, or correct the pulses"
            found.append((("repeat_every",), text))
        return found


class Mode(CaseModel):
    """One row of the maker's table of modes: ``[[laser.emission.modes]]``.

    Attributes
    ----------
    name
        Name or number of the mode, as in the maker's table.
    pulse_duration
        Duration of one pulse in this mode, as '30 ns'.
    repetition_rate
        Pulses per second, as ['60 kHz', '1 MHz'].
    pulse_energy
        Highest energy of one pulse in this mode. This or mean_power is needed.
    mean_power
        Highest mean power in this mode. This or pulse_energy is needed.
    """

    name: Line
    pulse_duration: Annotated[Knob, PULSE]
    repetition_rate: Annotated[Knob, RATE]
    pulse_energy: Annotated[Knob | None, ENERGY] = None
    mean_power: Annotated[Knob | None, POWER] = None

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Ask for the energy, and refuse pulses longer than their period."""
        found: list[Finding] = []
        if "pulse_energy" not in peek.data and "mean_power" not in peek.data:
            found.append((("pulse_energy",), "missing; write pulse_energy, as '1 mJ', or mean_power, as '50 W'"))
        duration, rate = peek.value("pulse_duration"), peek.value("repetition_rate")
        if duration is not None and rate is not None and duration.low * rate.low > 1.0:
            text = (
                f"{duration.low.typed} is longer than the period of {format_quantity(1.0 / rate.low, 's')}; check both"
            )
            found.append((("pulse_duration",), text))
        return found


class ModeTableEmission(CaseModel):
    """The maker's table of fixed modes: ``kind = "mode table"``.

    Attributes
    ----------
    kind
        'mode table': the modes that the maker lists; each is searched.
    modes
        The modes, one [[laser.emission.modes]] each.
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "modes": "write one table [[laser.emission.modes]] with name, pulse_duration, repetition_rate and "
        "pulse_energy or mean_power for each row of the maker's table"
    }

    kind: Literal["mode table"]
    modes: Annotated[tuple[Mode, ...], Field(min_length=1, max_length=60)]

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse two modes of one name."""
        return doubles("modes", peek.tables("modes"))


Emission = ContinuousEmission | SinglePulseEmission | PulseTrainEmission | PulseListEmission | ModeTableEmission
