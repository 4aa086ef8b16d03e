"""Read a marking on eyewear as typed, and judge it against what a beam asks for.

A marking is one or more statements, parted by ``; `` or ``, ``::

    1064 D LB6              one wavelength [nm], mode letters, scale number
    800-1100 DI LB5 + M LB7 several letters, several numbers
    >1050-1400 D L6         the lower end not included; L is the older LB
    1030 M LB8Y             Y: not tested at a low repetition rate
    OD 7+ @ 900-1100 nm     an optical density only
    532 RB3                 EN 208, for alignment

The whole text is read or refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

from lasersafe.errors import InputError
from lasersafe.hazard.eyewear import density_number, nanometre_text
from lasersafe.hazard.eyewear_tables import en207, en208
from lasersafe.records.step import MarkingVerdict, ScaleNeed
from lasersafe.wording.message import Message, joined

NOT_ENOUGH = "not enough"
SCATTER_ONLY = "enough against scatter only"  # of a person in a case; a beam alone never gives it
_LONGEST = 400
_NEAR_AN_END = 0.01  # of the wavelength; own
_NUMBER = r"(?:0|[1-9][0-9]{0,7})(?:\.[0-9]{1,6})?(?![0-9.])"
_FLAGS = re.IGNORECASE | re.ASCII
_SPAN = re.compile(
    rf"(?P<above>>)? ?(?P<low>{_NUMBER}) ?(?P<low_unit>nm|um)?(?: ?- ?(?P<high>{_NUMBER}) ?(?P<high_unit>nm|um)?)?",
    _FLAGS,
)
_SCALE = re.compile(r"(?P<letters>[A-Z]*) ?LB? ?(?P<number>[0-9]{1,4})(?P<low_rate> ?Y)?", _FLAGS)
_DENSITY = re.compile(rf"OD ?(?P<density>{_NUMBER}) ?\+?", _FLAGS)
_ALIGNMENT = re.compile(r"RB ?(?P<number>[0-9]{1,4})", _FLAGS)
_FIXED = {"–": "-", "—": "-", "−": "-", "‐": "-", "‑": "-", "µ": "u", "μ": "u", "\u00a0": " "}
_EXAMPLE = "write it as '1064 D LB6', '800-1100 DI LB5 + M LB7' or 'OD 7 @ 900-1100'"


@dataclass(frozen=True)
class ScaleMark:
    """One scale number with its mode letters; ``low_rate_untested`` is the suffix Y."""

    modes: str
    number: int
    low_rate_untested: bool = False


@dataclass(frozen=True)
class Statement:
    """One statement of a marking: the wavelengths [nm], and scale numbers or a density or an alignment number."""

    text: str
    low_nm: float
    high_nm: float
    low_included: bool = True
    scales: tuple[ScaleMark, ...] = ()
    optical_density: float | None = None
    alignment: int | None = None

    def covers(self, wavelength_nm: float) -> bool:
        """Return whether the statement speaks about a wavelength [nm]."""
        nanometre = round(wavelength_nm, 6)
        above = self.low_nm <= nanometre if self.low_included else self.low_nm < nanometre
        return above and nanometre <= self.high_nm

    def ends_near(self, wavelength_nm: float) -> bool:
        """Return whether the statement names a band that ends within 1 % of a wavelength [nm]."""
        nearest = min(abs(wavelength_nm - end) for end in (self.low_nm, self.high_nm))
        return self.low_nm < self.high_nm and nearest <= _NEAR_AN_END * wavelength_nm * (1.0 + 1e-9)


@dataclass(frozen=True)
class Marking:
    """A marking that was read to its end."""

    text: str
    statements: tuple[Statement, ...]


def parse_marking(text: str) -> Marking:
    """Read a marking as typed.

    Parameters
    ----------
    text : str
        The marking; the forms stand at the top of this module.

    Returns
    -------
    Marking
        Its statements in the order typed.

    Raises
    ------
    InputError
        If any part of the text cannot be read: the message says which and how to write it.
    """
    if not text.strip():
        _refuse(text, "is empty; eyewear without a marking counts as none")
    if len(text) > _LONGEST:
        message = f"marking: {len(text)} characters; at most {_LONGEST}, type the lines with the wavelengths only"
        raise InputError(message)
    plain = text
    for typed, fixed in _FIXED.items():
        plain = plain.replace(typed, fixed)
    plain = " ".join(plain.split())
    if re.search(r"[0-9],[0-9]", plain):
        _refuse(text, "write the decimal point as '.', and part two statements by '; ' or ', '")
    parts = [part.strip() for part in re.split(r"[;,]", plain)]
    if not all(parts):
        _refuse(text, "a statement between two separators is empty; take the spare one out")
    return Marking(text, tuple(_statement(text, part) for part in parts))


def judge(
    marking_text: str,
    wavelength: float,
    scale_needs: Sequence[ScaleNeed],
    optical_density_exact: float,
    repetition_rate: float | None = None,
) -> MarkingVerdict:
    """Judge a marking against the scale numbers and the density that a beam asks for [1]_ [2]_.

    LBn promises a transmittance of at most 10^-n, so n has to reach the density rounded up as well. Where two
    statements speak about the same wavelength and letter, the lower number counts.

    Parameters
    ----------
    marking_text : str
        The marking as typed.
    wavelength : float
        Vacuum wavelength. [m]
    scale_needs : sequence of ScaleNeed
        What each mode letter asks for; every one has to be marked.
    optical_density_exact : float
        Optical density that is needed, not rounded. [1]
    repetition_rate : float, optional
        Pulses per second, for the suffix Y; None for a single pulse. [Hz]

    Returns
    -------
    MarkingVerdict
        ``verdict`` is "enough", "not enough", "wrong wavelength" or "not marked for this mode".

    Raises
    ------
    InputError
        If the marking cannot be read, no need is given or a number is not finite.

    References
    ----------
    .. [1] EN207-2017, marking and table of scale numbers (``shared/eyewear/en207_2017.toml``).
    .. [2] DGUV203-042, section 5.1.3 and appendix 8.
    """
    marking = parse_marking(marking_text)
    if not scale_needs:
        message = "scale needs: none given; work them out with scale_numbers first"
        raise InputError(message)
    if not (math.isfinite(wavelength) and wavelength > 0):
        message = f"wavelength = {wavelength:g} m: must be finite and above zero"
        raise InputError(message)
    if repetition_rate is not None and not (math.isfinite(repetition_rate) and repetition_rate > 0):
        message = f"repetition rate = {repetition_rate:g} Hz: must be finite and above zero"
        raise InputError(message)
    number = density_number(optical_density_exact)
    nanometre = nanometre_text(wavelength)
    covering = [statement for statement in marking.statements if statement.covers(wavelength * 1e9)]
    if not covering:
        marked = joined(map(_span_text, marking.statements), ", ")
        reason = Message("marking.wrong_wavelength", range=marked, wavelength=nanometre)
        return MarkingVerdict(marking_text, False, "wrong wavelength", (reason,))
    reasons = _remarks(covering, number)
    missing: list[str] = []
    short: list[str] = []
    for need in scale_needs:
        marks = [mark for statement in covering for mark in statement.scales if need.mode in mark.modes]
        if not marks:
            asked = _asked(need, number)
            missing.append(Message("marking.mode_missing", mode=need.mode, wavelength=nanometre, asked=asked))
            continue
        lowest = min(mark.number for mark in marks)
        facts = {"marked": f"{need.mode} LB{lowest}", "asked": _asked(need, number)}
        if need.scale_number is None:
            short.append(Message("marking.beyond", **facts))
        elif not lowest >= max(need.scale_number, number):
            short.append(Message("marking.too_low", **facts))
        elif need.mode != "D" and any(mark.low_rate_untested for mark in marks):
            low = _low_rate(need.mode, repetition_rate)
            (short if low else reasons).append(low or Message("marking.rate_enough", marked=f"{need.mode} LB{lowest}Y"))
        else:
            reasons.append(Message("marking.enough", **facts))
    ends = tuple(_span_text(statement) for statement in covering if statement.ends_near(wavelength * 1e9))
    if missing:
        return MarkingVerdict(marking_text, False, "not marked for this mode", (*missing, *short, *reasons), ends)
    if short:
        return MarkingVerdict(marking_text, False, NOT_ENOUGH, (*short, *reasons), ends)
    return MarkingVerdict(marking_text, True, "enough", tuple(reasons), ends)


def _remarks(covering: Sequence[Statement], number: int) -> list[str]:
    remarks: list[str] = []
    scaled = any(statement.scales for statement in covering)
    for statement in covering:
        if statement.optical_density is not None:
            whole = math.floor(statement.optical_density)
            remark = Message(
                "marking.reaches" if whole >= number else "marking.falls_short",
                density=f"{statement.optical_density:g}", whole=whole, number=number,
            )  # fmt: skip
            remarks.append(remark if scaled else Message("marking.density_only", remark=remark))
        if statement.alignment is not None:
            power = en208().scales[statement.alignment - 1].power
            remarks.append(Message("marking.alignment", number=statement.alignment, power=f"{power:g} W"))
    return remarks


def _low_rate(mode: str, repetition_rate: float | None) -> str:
    limit = en207().test.low_rate
    if repetition_rate is not None and repetition_rate > limit:
        return ""
    rate = Message("marking.unknown_rate") if repetition_rate is None else f"{repetition_rate:g} Hz"
    return Message("marking.low_rate", mode=mode, limit=f"{limit:g} Hz", rate=rate)


def _asked(need: ScaleNeed, number: int) -> str:
    if need.scale_number is None:
        return Message("marking.more", mode=need.mode, number=en207().highest)
    if need.scale_number >= number:
        return f"{need.mode} LB{need.scale_number}"
    return Message("marking.for_density", level=f"{need.mode} LB{number}", other=f"LB{need.scale_number}")


def _span_text(statement: Statement) -> str:
    if statement.low_nm == statement.high_nm:
        return f"{statement.low_nm:.7g}"
    span = f"{statement.low_nm:.7g}-{statement.high_nm:.7g}"
    return span if statement.low_included else Message("marking.above", range=span)


def _statement(text: str, part: str) -> Statement:
    density = _DENSITY.match(part)
    if density:  # OD first, then the wavelengths
        rest = re.sub(r"^ ?(?:@|at\b)? ?", "", part[density.end() :], flags=_FLAGS)
        if not rest:
            _refuse(text, f"'{part}' has no wavelength: write 'OD 7 @ 900-1100'")
        span = _SPAN.fullmatch(rest)
        if not span:
            _refuse(text, f"'{rest}' after the density is not a wavelength or range in nm; write 'OD 7 @ 900-1100'")
        return Statement(part, *_span(text, span), optical_density=_density(text, density))
    span = _SPAN.match(part)
    if not span:
        _refuse(text, f"'{part}' does not start with a wavelength; {_EXAMPLE}")
    rest = part[span.end() :].lstrip(" :")
    if not rest:
        _refuse(text, f"'{part}' is a wavelength without a scale number or density; {_EXAMPLE}")
    low, high, included = _span(text, span)
    density = _DENSITY.fullmatch(rest)
    if density:
        return Statement(part, low, high, included, optical_density=_density(text, density))
    alignment = _ALIGNMENT.fullmatch(rest)
    if alignment:
        return Statement(part, low, high, included, alignment=_alignment(text, alignment, low, high))
    scales = tuple(_scale(text, item.strip()) for item in rest.split("+"))
    letters = "".join(scale.modes for scale in scales)
    if len(set(letters)) != len(letters):
        _refuse(text, f"'{part}' names a mode letter twice; give each letter one scale number")
    return Statement(part, low, high, included, scales)


def _span(text: str, span: re.Match[str]) -> tuple[float, float, bool]:
    high_unit = span["high_unit"] or span["low_unit"] or "nm"
    low_unit = span["low_unit"] or high_unit
    low = float(span["low"]) * (1000.0 if low_unit.lower() == "um" else 1.0)
    high = low
    if span["high"] is not None:
        high = float(span["high"]) * (1000.0 if high_unit.lower() == "um" else 1.0)
        if high <= low:
            _refuse(
                text, f"'{span[0].strip()}': the range runs backwards or is empty; the shorter wavelength stands first"
            )
    elif span["above"]:
        _refuse(text, f"'{span[0].strip()}': '>' needs a range, as in '>1050-1400'")
    low, high = round(low, 6), round(high, 6)
    if low < 180 or high > 1e6:
        _refuse(
            text, f"'{span[0].strip()}' nm is outside 180 nm to 1 mm; wavelengths are in nm unless 'um' stands there"
        )
    return low, high, span["above"] is None


def _density(text: str, density: re.Match[str]) -> float:
    value = float(density["density"])
    if not 0 < value <= 20:
        _refuse(text, f"'{density[0].strip()}': an optical density lies above 0 and up to 20")
    return value


def _alignment(text: str, alignment: re.Match[str], low: float, high: float) -> int:
    standard, (least, most) = en208(), en208().scope.wavelength_nm
    number = int(alignment["number"])
    if not 1 <= number <= len(standard.scales):
        _refuse(text, f"'{alignment[0]}': EN 208 has RB1 to RB{len(standard.scales)}")
    if low < least or high > most:
        _refuse(
            text,
            f"'{alignment[0]}': EN 208 covers {least:g} nm to {most:g} nm; there is no alignment eyewear elsewhere",
        )
    return number


def _scale(text: str, item: str) -> ScaleMark:
    standard = en207()
    scale = _SCALE.fullmatch(item)
    if not scale:
        if re.match(r"OD", item, _FLAGS):
            _refuse(text, f"'{item}': give the density in a statement of its own, as in '; OD 7 @ 1064'")
        if re.search(r"\bRB", item, _FLAGS):
            _refuse(text, f"'{item}': RB is EN 208 (alignment) and stands alone after the wavelength, as in '532 RB3'")
        if re.search(r"[>]", item):
            _refuse(text, f"'{item}': '>' stands before a range, as in '>1050-1400 D LB6'")
        _refuse(
            text,
            f"'{item}' is not mode letters and a scale number such as 'D LB6'; leave out maker's mark and CE",
        )
    letters = scale["letters"].upper()
    number = int(scale["number"])
    if not letters:
        _refuse(text, f"'{item}': the mode letter is missing; one or more of D, I, R, M stand before LB")
    for letter in letters:
        if letter not in "DIRM":
            _refuse(text, f"'{item}': mode letter '{letter}' is unknown; D, I, R and M are allowed")
    if scale["number"] != str(number) or not standard.lowest <= number <= standard.highest:
        _refuse(text, f"'{item}': scale numbers run from LB{standard.lowest} to LB{standard.highest}")
    return ScaleMark(letters, number, scale["low_rate"] is not None)


def _refuse(text: str, reason: str) -> NoReturn:
    shown = text if len(text) <= 80 else text[:77] + "..."
    readable = "".join(character if character.isprintable() else "?" for character in reason)
    message = f"marking = {shown!r}: {readable}"
    raise InputError(message)
