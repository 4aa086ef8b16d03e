"""A burst: several pulses close together, in place of each pulse of a train."""

from __future__ import annotations

from typing import Annotated

from lasersafe.models.base import CaseModel, Peek
from lasersafe.models.messages import Finding
from lasersafe.models.values import Knob, Measured, SIValue, Turnable
from lasersafe.physical import covered
from lasersafe.quantity import format_quantity

COUNT = Turnable("1", "1", "100000", "10")
SPACING = Turnable("s", "1 ps", "30000 s", "20 ns", worst="range")
DUTY = Turnable("1", "0", "1", "20 %", above_low=True, worst="range")
SHORTEST, LONGEST = 1e-13, 3e4  # s
SLACK, LAST_DIGITS = 1e-9, 1e-12  # relative
PEDESTAL = Measured("W", "0 W", "1 MW", "50 mW", above_low=True, worst="high")


class Burst(CaseModel):
    """Pulses of a burst: ``[laser.emission.burst]``.

    Attributes
    ----------
    pulses
        Pulses in one burst, as 10; a range as [1, 10].
    spacing
        Time from the start of one pulse of the burst to that of the next, as '20 ns'; may be a range.
    """

    pulses: Annotated[Knob, COUNT]
    spacing: Annotated[Knob, SPACING]

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse parts of a pulse."""
        count = peek.value("pulses")
        if count is not None and any(float(end) % 1.0 for end in (count.low, count.high)):
            return [(("pulses",), f"{count.typed}: a burst has whole pulses; write a whole number, as 10")]
        return []


def burst_findings(peek: Peek) -> list[Finding]:
    """Return what is wrong between a burst and the train that it belongs to."""
    table = peek.data["burst"]
    if not isinstance(table, dict):
        return []
    burst = Peek(Burst, table)
    found: list[Finding] = []
    count, spacing = burst.value("pulses"), burst.value("spacing")
    duration, rate = peek.value("pulse_duration"), peek.value("repetition_rate")
    if spacing is not None and duration is not None and duration.low > spacing.high * (1 + 1e-9):
        text = f"{spacing.typed} is shorter than the pulse of {duration.low.typed}; check both units"
        found.append((("burst", "spacing"), text))
    if "duty" in peek.data:
        text = "is given beside duty; write pulse_duration instead of duty when pulses come in bursts"
        found.append((("burst",), text))
    if count is None or spacing is None or rate is None:
        return found
    room = f"the {format_quantity(1.0 / rate.low, 's')} between bursts at {rate.low.typed}"
    if count.low * spacing.low * rate.low > 1.0 + SLACK:
        text = (
            f"{count.low.typed} pulses with {spacing.low.typed} between their starts do not fit into {room}; "
            "check the three"
        )
        found.append((("burst", "spacing"), text))
    elif not found and duration is not None and count.low > 1.0 and count.low * duration.low * rate.low > 1.0 + SLACK:
        text = (
            f"{spacing.typed} cannot be less than the pulse of {duration.low.typed}, and {count.low.typed} pulses that "
            f"far apart do not fit into {room}; check the four"
        )
        found.append((("burst", "spacing"), text))
    return found


def _ends(value: SIValue, field: str) -> tuple[float, float]:
    """Return the lowest and highest value that a tolerance lets stand."""
    found = value.tolerance
    if found is None:
        return float(value), float(value)
    return (found.low, found.high) if found.kind == "bound" else covered(field, float(value), found.low, found.high)


def duty_findings(peek: Peek) -> list[Finding]:
    """Return what is wrong with the pulses that duty and repetition rate make together, at the ends of tolerances."""
    duty, rate = peek.value("duty"), peek.value("repetition_rate")
    if duty is None or rate is None:
        return []
    for share, at, end in ((duty.low, rate.high, 0), (duty.high, rate.low, 1)):
        pulse = _ends(share, "duty")[end] / _ends(at, "repetition_rate")[1 - end]
        if not SHORTEST * (1.0 - LAST_DIGITS) <= pulse <= LONGEST * (1.0 + LAST_DIGITS):
            text = (
                f"{share.typed} at {at.typed} makes a pulse of {format_quantity(pulse, 's')}, which must be 100 fs or "
                "more, and at most 30000 s; the limit tables of both rule sets cover no other duration; check both"
            )
            return [(("duty",), text)]
    return []
