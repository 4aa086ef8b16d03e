"""What a pair of eyewear is worth, for whatever a caller hands in."""

from __future__ import annotations

from typing import Any

from lasersafe.ask.eyewear import EyewearQuestion, work_out
from lasersafe.errors import InputError
from lasersafe.library.given import FIELDS, Given, given
from lasersafe.records.step import MarkingVerdict


def judge_marking(
    marking: str,
    wavelength: Given,
    beam_diameter: Given,
    criterion: str,
    *,
    power: Given | None = None,
    pulse_energy: Given | None = None,
    pulse_duration: Given | None = None,
    repetition_rate: Given | None = None,
    continuous: bool = False,
    duration: Given | None = None,
    profile: str = "gaussian",
) -> MarkingVerdict:
    """Return what eyewear is worth in front of a beam, from what is printed on it [1]_ [2]_.

    The strictest of all rule sets decides. What cannot be read counts as no protection; nothing is guessed. That a
    laser cannot pulse has to be said: pulses ask for more.

    Parameters
    ----------
    marking : str
        As printed, such as ``"1064 D LB6 + R LB7"`` or ``"190-540 nm & 800-1100 nm OD 5+"``.
    wavelength : number or str
        Vacuum wavelength; as text also a range, or with a tolerance, as ``"1064 nm +- 5 nm"``. [m]
    beam_diameter : number or str
        Full diameter at the eyewear, or ``"unknown"`` for the strictest. [m]
    criterion : str
        What it was read at: ``"1/e"``, ``"1/e2"``, ``"FWHM"``, or ``"unknown"`` for the strictest.
    power : number or str, optional
        Power of a continuous beam, or the mean power of pulses. [W]
    pulse_energy : number or str, optional
        Energy of one pulse. [J]
    pulse_duration : number or str, optional
        Duration of one pulse; as text also a range, as ``"2..350 ns"``. [s]
    repetition_rate : number or str, optional
        Pulses per second, as text also a range, or ``"single"`` for one that is not repeated. [Hz]
    continuous : bool
        True for a laser that cannot pulse.
    duration : number or str, optional
        Exposure; left out: 30 000 s up to 400 nm, else 10 s. [s]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.

    Returns
    -------
    MarkingVerdict
        ``enough``; ``verdict``, one of "enough", "not enough", "wrong wavelength", "not marked for this mode" and
        "no protection"; ``reasons``; ``ends``, the marked bands that end within 1 % of the wavelength.

    Raises
    ------
    InputError
        If an input other than the marking is missing or cannot be used.

    References
    ----------
    .. [1] EN207-2017, marking and table of scale numbers (``shared/eyewear/en207_2017.toml``).
    .. [2] DGUV203-042, sections 5.1 to 5.4 and appendix 8.

    Examples
    --------
    >>> judge_marking("190-540nm & 800-1100nm OD 5+", "1064 nm", "8 mm", "1/e2", power="5 W", continuous=True).verdict
    'not marked for this mode'
    """
    values = {
        "wavelength": wavelength, "beam diameter": beam_diameter, "power": power, "pulse energy": pulse_energy,
        "pulse duration": pulse_duration, "repetition rate": repetition_rate, "duration": duration,
    }  # fmt: skip
    typed = {name.replace(" ", "_"): _as_text(name, value) for name, value in values.items()}
    question = EyewearQuestion(
        **typed, criterion=criterion, profile=profile, continuous=continuous, wearing=[marking], rule_set=None,
        divergence=None, lens_focal_length=None,
    )  # fmt: skip
    (verdict,) = work_out(question).worn
    return verdict


def _as_text(field: str, value: Given | None) -> Any:
    """Return one value as a question takes it; text is read there, as it may be a range."""
    if value is None or isinstance(value, str):
        return value
    number = given(field, value)
    if number.ndim:
        message = f"{field}: one value is needed here, not {number.size}"
        raise InputError(message)
    return f"{float(number)!r} {FIELDS[field].unit}"
