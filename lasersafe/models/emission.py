"""What leaves a laser: continuous light, one pulse, a train, a list of pulses, or the maker's table of modes."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Findings, Line, Peek, doubles, kinds_of, needs, wrong
from lasersafe.models.values import Knob, Measured, SIValue, Turnable
from lasersafe.quantity import format_quantity
from lasersafe.wording import Message, word

_COVERED = "the limit tables of both rule sets cover no other duration"
POWER = Turnable("W", "0 W", "1 MW", "1.5 kW", kind="continuous power", above_low=True, worst="high")
ENERGY = Turnable("J", "0 J", "1000 kJ", "1 mJ", above_low=True, worst="high")
PULSE = Turnable("s", "100 fs", "30000 s", "100 ns", _COVERED, worst="range")
RATE = Turnable("Hz", "0 Hz", "1000 GHz", "20 kHz", above_low=True, worst="range")
PEDESTAL = Measured("W", "0 W", "1 MW", "50 mW", above_low=True, worst="high")
PERIOD = Measured("s", "1 ps", "30000 s", "1 s", above_low=True, worst="ends")
SHORTEST, LONGEST = 1e-13, 3e4  # s
SLACK, LAST_DIGITS = 1e-9, 1e-12  # relative


class ContinuousEmission(CaseModel):
    """Light without pulses: ``kind = "continuous"``.

    Attributes
    ----------
    kind
        'continuous': no pulses, or on for longer than 0.25 s at a time.
    power
        Highest power that can leave the last optic, as '1.5 kW'; a range where it can be turned.
    """

    kind: Literal["continuous"]
    power: Annotated[Knob, POWER]


class SinglePulseEmission(CaseModel):
    """One pulse, not repeated while a person can be exposed: ``kind = "single pulse"``.

    Attributes
    ----------
    kind
        'single pulse': one pulse, not repeated during an exposure.
    pulse_energy
        Energy of the pulse, as '40 mJ'; may be a range.
    pulse_duration
        Duration of the pulse at half its height, as '10 ns'; may be a range.
    """

    kind: Literal["single pulse"]
    pulse_energy: Annotated[Knob, ENERGY]
    pulse_duration: Annotated[Knob, PULSE]


class Burst(CaseModel):
    """Pulses of a burst: ``[laser.emission.burst]``.

    Attributes
    ----------
    pulses
        Pulses in one burst, as 10; a range as [1, 10].
    spacing
        Time from the start of one pulse of the burst to that of the next, as '20 ns'; may be a range.
    """

    pulses: Annotated[Knob, Turnable("1", "1", "100000", "10")]
    spacing: Annotated[Knob, Turnable("s", "1 ps", "30000 s", "20 ns", worst="range")]

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse parts of a pulse."""
        count = peek.value("pulses")
        if count is not None and any(float(end) % 1.0 for end in (count.low, count.high)):
            yield wrong("pulses", "misfit.whole_pulses", count=count.typed)


class PulseTrainEmission(CaseModel):
    """Regular pulses: ``kind = "pulse train"``.

    Attributes
    ----------
    kind
        'pulse train': regular pulses.
    pulse_duration
        Duration of one pulse at half its height, as '100 ns'; a range such as ['10 ns', '200 ns'] where it can be
        turned: the worst point of the range is then found. This or duty is needed.
    repetition_rate
        Pulses per second, as '20 kHz'; with a burst, bursts per second; may be a range.
    pulse_energy
        Highest energy of one pulse, as '1 mJ'. This or mean_power is needed. When both are given and a setting is a
        range, both are upper bounds; for fixed settings they must agree within 1 %.
    mean_power
        Highest mean power, as '50 W'. This or pulse_energy is needed.
    duty
        Share of the time that the beam is on, as '20 %', in place of pulse_duration: the pulse then lasts duty /
        repetition_rate; may be a range.
    burst
        Several pulses close together in place of one: a table with pulses and spacing.
    pedestal_power
        Continuous power under and between the pulses, as '50 mW', which comes on top of mean_power and of the
        energies.
    """

    kind: Literal["pulse train"]
    pulse_duration: Annotated[Knob | None, PULSE] = None
    repetition_rate: Annotated[Knob, RATE]
    pulse_energy: Annotated[Knob | None, ENERGY] = None
    mean_power: Annotated[Knob | None, POWER] = None
    duty: Annotated[Knob | None, Turnable("1", "0", "1", "20 %", above_low=True, worst="range")] = None
    burst: Burst | None = None
    pedestal_power: Annotated[SIValue | None, PEDESTAL] = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse pulses without energy or longer than their period, contradictions, and a burst that does not fit."""
        yield from _energy_and_period(peek)
        duty, rate, energy, power = map(peek.value, ("duty", "repetition_rate", "pulse_energy", "mean_power"))
        yield from needs(peek, "duty" not in peek, "pulse_duration", "misfit.no_duration")
        if "duty" in peek and "pulse_duration" in peek:
            yield wrong("duty", "misfit.duty_twice")
        elif duty is not None and rate is not None:  # pulses that both make together, at the ends of tolerances
            for share, at, end in ((duty.low, rate.high, 0), (duty.high, rate.low, 1)):
                pulse = share.ends("duty")[end] / at.ends("repetition_rate")[1 - end]
                if not SHORTEST * (1.0 - LAST_DIGITS) <= pulse <= LONGEST * (1.0 + LAST_DIGITS):
                    made = format_quantity(pulse, "s")
                    yield wrong("duty", "misfit.duty_pulse", share=share, rate=at, pulse=made, why=word(_COVERED))
                    break
        burst, settings = peek.data.get("burst"), (energy, power, rate)
        if "burst" not in peek and not any(one is None or one.turnable for one in settings):
            product = energy.low * rate.low
            if not abs(product - power.low) <= 0.01 * power.low:
                both = format_quantity(product, "W")
                yield wrong("mean_power", "misfit.three_powers", power=power, energy=energy, rate=rate, product=both)
        if not isinstance(burst, dict):
            return
        place, (count, spacing) = ("burst", "spacing"), map(Peek(Burst, burst).value, ("pulses", "spacing"))
        duration = peek.value("pulse_duration")
        fits = spacing is None or duration is None or not duration.low > spacing.high * (1 + SLACK)
        if not fits:
            yield wrong(place, "misfit.pulses_overlap", spacing=spacing.typed, duration=duration.low.typed)
        if "duty" in peek:
            fits = False
            yield wrong("burst", "misfit.duty_of_bursts")
        if count is None or spacing is None or rate is None:
            return
        pulses = count.low
        room = Message("misfit.between_bursts", time=format_quantity(1.0 / rate.low, "s"), rate=rate.low.typed)
        if pulses * spacing.low * rate.low > 1.0 + SLACK:
            yield wrong(place, "misfit.long_burst", count=pulses.typed, spacing=spacing.low.typed, room=room)
        elif fits and duration is not None and pulses > 1.0 and pulses * duration.low * rate.low > 1.0 + SLACK:
            yield wrong(place, "misfit.full_burst", spacing=spacing, duration=duration.low, count=pulses, room=room)


def _energy_and_period(peek: Peek) -> Findings:
    """Ask for the energy of a train, and refuse pulses longer than their period."""
    yield from needs(peek, "mean_power" not in peek, "pulse_energy", "misfit.no_energy")
    duration, rate = peek.value("pulse_duration"), peek.value("repetition_rate")
    if duration is not None and rate is not None and duration.low * rate.low > 1.0:
        yield wrong(
            "pulse_duration", "misfit.over_period", duration=duration.low, period=format_quantity(1.0 / rate.low, "s"),
            rate=rate.low,
        )  # fmt: skip


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

    start: Annotated[SIValue, Measured("s", "0 s", "30000 s", "2 ms")]
    duration: Annotated[SIValue, Measured("s", "100 fs", "30000 s", "100 ns", _COVERED, worst="ends")]
    energy: Annotated[SIValue, Measured("J", "0 J", "1000 kJ", "1 mJ", above_low=True, worst="high")]


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
    def findings(cls, peek: Peek) -> Findings:
        """Refuse pulses that overlap or are not in the order of time."""
        first, before = None, 0.0
        for i, table in peek.tables("pulses"):
            row = Peek(OnePulse, table)
            start, duration = row.value("start"), row.value("duration")
            if start is None or duration is None:
                return
            if first is not None and float(start) < before * (1 - SLACK):
                yield wrong(
                    ("pulses", i, "start"), "misfit.pulse_order", start=start.typed, end=format_quantity(before, "s")
                )
            first = float(start) if first is None else first
            before = float(start) + float(duration)
        period = peek.value("repeat_every")
        if period is not None and first is not None and before > (first + float(period)) * (1 + SLACK):
            yield wrong(
                "repeat_every", "misfit.short_list", period=period.typed, end=format_quantity(before - first, "s")
            )


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
    def findings(cls, peek: Peek) -> Findings:
        """Ask for the energy, and refuse pulses longer than their period."""
        yield from _energy_and_period(peek)


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
    def findings(cls, peek: Peek) -> Findings:
        """Refuse two modes of one name."""
        yield from doubles("modes", peek.tables("modes"))


Emission = ContinuousEmission | SinglePulseEmission | PulseTrainEmission | PulseListEmission | ModeTableEmission
EMISSION_KINDS = kinds_of(Emission)
