"""Markings of eyewear: which one to ask for, and what one that is worn says of a beam."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.data import load
from lasersafe.errors import InputError
from lasersafe.hazard.eyewear_scale import FACTOR_ANYWAY, TOLERANCE, En207, En208
from lasersafe.optics.beam import FloatArray, finite, positive, within
from lasersafe.quantity import format_quantity
from lasersafe.records import MarkingVerdict, ScaleNeed
from lasersafe.wording import Message, joined, key_of, listed

KILOWATT_CLASS = 1000.0  # [W] mean power of a direct hit; a decision of this program, no source


def kilowatt_class(power: float) -> bool:
    """Return whether a mean power belongs to the kilowatt class.

    Parameters
    ----------
    power : float
        Mean power. [W]

    Returns
    -------
    bool
        Also for what is not a number.
    """
    return not power < KILOWATT_CLASS * (1.0 - TOLERANCE)


def optical_density(exposure: ArrayLike, limit: ArrayLike) -> FloatArray:
    """Return the optical density that brings an exposure down to its limit, not rounded.

    Below zero where the exposure is already below the limit.

    Parameters
    ----------
    exposure : array_like, shape (...)
        Exposure without eyewear, averaged over the limiting aperture. [W/m2]
    limit : array_like, shape (...)
        Exposure limit in the unit of the exposure. [W/m2]

    Returns
    -------
    numpy.ndarray, shape (...)
        log10(exposure / limit). [1]

    Raises
    ------
    OutOfRangeError
        If an exposure or a limit is zero, negative, NaN or infinite.

    References
    ----------
    .. [1] DGUV203-042, section 5.1.

    Examples
    --------
    >>> round(float(optical_density(25984.0, 50.0)), 3)
    2.716
    """
    above, below = positive("exposure", exposure, "W/m2"), positive("limit", limit, "W/m2")
    return np.asarray(np.log10(above) - np.log10(below))


def round_up_density(density: ArrayLike) -> FloatArray:
    """Return a density rounded up to 0.1, and 0 where none is needed.

    Parameters
    ----------
    density : array_like, shape (...)
        Optical density, not rounded. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        The next tenth; 5.0 stays 5.0, and so does what lies above it by no more than 1e-9. [1]

    Raises
    ------
    OutOfRangeError
        If a density is NaN or infinite.

    References
    ----------
    .. [1] DGUV203-042, section 5.1.3: what is needed is rounded up.

    Examples
    --------
    >>> float(round_up_density(5.02))
    5.1
    """
    exact = finite("optical density", density, "")
    return np.asarray(np.maximum(np.ceil((exact - TOLERANCE) * 10.0) / 10.0, 0.0))


def density_number(optical_density_exact: float) -> int:
    """Return the scale number that a density asks for: rounded up, at least 1.

    Parameters
    ----------
    optical_density_exact : float
        Optical density, not rounded. [1]

    Returns
    -------
    int
        The whole number.

    Raises
    ------
    OutOfRangeError
        If the density is NaN or infinite.
    """
    return max(1, math.ceil(float(finite("optical density", optical_density_exact, "")) - TOLERANCE))


@dataclass(frozen=True)
class Asked:
    """What a beam asks of eyewear, and so of a marking [1]_ [2]_.

    LBn promises a transmittance of at most 10^-n, so n has to reach the density rounded up as well.

    Parameters
    ----------
    wavelength : float or tuple of float
        Vacuum wavelength, or the lowest and highest that it may have. [m]
    scales : sequence of ScaleNeed
        What each mode letter asks for; every one has to be marked.
    density : float
        Optical density, not rounded. [1]

    Raises
    ------
    OutOfRangeError
        If the density is not finite.

    References
    ----------
    .. [1] EN207-2017, marking and table of scale numbers (``shared/eyewear/en207_2017.toml``).
    .. [2] DGUV203-042, section 5.1.3 and appendix 8.
    """

    wavelength: float | tuple[float, float]
    scales: Sequence[ScaleNeed]
    density: float

    def __post_init__(self) -> None:
        finite("optical density", self.density, "")

    @property
    def number(self) -> int:
        """The scale number that the density asks for."""
        return density_number(self.density)

    def decides(self) -> str:
        """Return a sentence per mode letter: which of optical density and damage class decides the marking."""
        number, highest = self.number, load(En207).highest
        density = Message("need.so_number", density=f"{self.density:.2f}", number=number)
        sentences = []
        for need in self.scales:
            asked = highest if need.scale_number is None else need.scale_number
            key = "damage_decides" if asked > number else "both_decide" if asked == number else "density_decides"
            key = "damage_beyond" if need.scale_number is None else key
            sentences.append(Message(f"need.{key}", mode=need.mode, number=asked, density=density))
        return joined(sentences, " ")

    def marking(self) -> str:
        """Return the marking to ask for, as ``1064 D LB6 + R LB7``, or a line saying that none is high enough.

        D comes first, and each LB is at least the density rounded up.
        """
        number, highest = self.number, load(En207).highest
        parts, short = [], []
        for need in sorted(self.scales, key=lambda need: "DIRM".index(need.mode)):
            asked = max(number, need.scale_number if need.scale_number is not None else highest + 1)
            parts.append(f"{need.mode} LB{asked}")
            if asked > highest:
                short.append(need.mode)
        low, high = self.wavelength if isinstance(self.wavelength, tuple) else (self.wavelength, self.wavelength)
        down, up = math.floor(low * 1e12 + 1e-3), math.ceil(high * 1e12 - 1e-3)  # pm, but for last digits of a float
        light = nanometre_text(low)
        light = light if low == high else f"{nanometre_text(down * 1e-12)}-{nanometre_text(up * 1e-12)}"
        if short:
            return Message("need.no_marking", wavelength=light, modes=listed(short), number=highest)
        return f"{light} {' + '.join(parts)}"

    def no_reliance(self, power: float | None) -> str:
        """Return why no eyewear can be relied on, or "" when none of the reasons holds.

        Parameters
        ----------
        power : float or None
            Mean power of a direct hit; None for a single pulse. [W]
        """
        highest = load(En207).highest
        beyond = [need.mode for need in self.scales if need.scale_number is None]
        reasons = [Message("need.mode_beyond", mode=mode, number=highest) for mode in beyond]
        if self.number > highest:
            reasons.append(Message("need.density_beyond", density=f"{self.density:.2f}", number=highest))
        hit = float(within("power at the eyewear", power or 0.0, "W", 0.0, math.inf))
        if kilowatt_class(hit):
            reasons.append(Message("need.kilowatt", power=format_quantity(hit, "W", 3, "up")))
        return Message("need.no_reliance", why=joined(reasons)) if reasons else ""

    def notes(self) -> tuple[str, ...]:
        """Return what stands beside every answer: accidents only, where figures come from, what is not marked."""
        standard, steps = load(En207), [step for need in self.scales for step in need.steps]
        weak = [need.mode for need in self.scales if need.steps and need.steps[-1].seen != "read"]
        rule, letters = standard.beam_factor, {need.mode for need in self.scales}
        condition = {"power": f"{rule.trigger_power:g} W", "density": f"{rule.trigger_irradiance:g} W/m2"}
        light = nanometre_text(self.wavelength if isinstance(self.wavelength, float) else self.wavelength[0])
        said = (
            (Message("need.accident", time=f"{standard.test_time:g} s", count=standard.test_pulses), True),
            (Message("need.not_read"), True),
            (Message("need.weak", modes=listed(dict.fromkeys(weak or ("",))), wavelength=light), weak),
            (Message("need.from_memory"), any(step.seen == "memory" for step in steps)),
            (Message("need.factor_anyway", **condition), any(key_of(one.meaning) == FACTOR_ANYWAY for one in steps)),
            (Message("need.every_letter"), "D" in letters and len(letters) > 1),
            (Message("need.density_only"), True),
            (Message("need.unmarked"), True),
        )
        return tuple(note for note, holds in said if holds)

    def judge(self, marking_text: str, repetition_rate: float | None = None) -> MarkingVerdict:
        """Judge a marking; where two statements speak about the same letter, the lower number counts.

        Parameters
        ----------
        marking_text : str
            The marking as typed.
        repetition_rate : float, optional
            Pulses per second, for the suffix Y; None for a single pulse. [Hz]

        Returns
        -------
        MarkingVerdict
            ``verdict`` is "enough", "not enough", "wrong wavelength" or "not marked for this mode".

        Raises
        ------
        InputError
            If the marking cannot be read.
        OutOfRangeError
            If a number is not finite.
        """
        marking, number = parse_marking(marking_text), self.number
        light = float(positive("wavelength", self.wavelength, "m"))
        if repetition_rate is not None:
            positive("repetition rate", repetition_rate, "Hz")
        nanometre = nanometre_text(light)
        covering = [statement for statement in marking.statements if statement.covers(light * 1e9)]
        if not covering:
            marked = joined((statement.span for statement in marking.statements), ", ")
            reason = Message("marking.wrong_wavelength", range=marked, wavelength=nanometre)
            return MarkingVerdict(marking_text, False, "wrong wavelength", (reason,))
        scaled = any(statement.scales for statement in covering)
        reasons: list[str] = [remark for statement in covering for remark in statement.remarks(number, scaled)]
        missing: list[str] = []
        short: list[str] = []
        numbers: list[int] = []
        for need in self.scales:
            marks = [mark for statement in covering for mark in statement.scales if need.mode in mark.modes]
            asked: str = f"{need.mode} LB{need.scale_number}"
            if need.scale_number is None:
                asked = Message("marking.more", mode=need.mode, number=load(En207).highest)
            elif need.scale_number < number:
                level = f"{need.mode} LB{number}"
                asked = Message("marking.for_density", level=level, other=f"LB{need.scale_number}")
            if not marks:
                missing.append(Message("marking.mode_missing", mode=need.mode, wavelength=nanometre, asked=asked))
                continue
            numbers.append(lowest := min(mark.number for mark in marks))
            facts = {"marked": f"{need.mode} LB{lowest}", "asked": asked}
            if need.scale_number is None:
                short.append(Message("marking.beyond", **facts))
            elif not lowest >= max(need.scale_number, number):
                short.append(Message("marking.too_low", **facts))
            elif need.mode != "D" and any(mark.low_rate_untested for mark in marks):
                limit = load(En207).low_rate
                if repetition_rate is not None and repetition_rate > limit:
                    reasons.append(Message("marking.rate_enough", marked=f"{need.mode} LB{lowest}Y"))
                    continue
                rate = Message("marking.unknown_rate") if repetition_rate is None else f"{repetition_rate:g} Hz"
                short.append(Message("marking.low_rate", mode=need.mode, limit=f"{limit:g} Hz", rate=rate))
            else:
                reasons.append(Message("marking.enough", **facts))
        if marking.silent:
            reasons.append(Message("marking.silent", text=marking.silent))
        ends = tuple(statement.span for statement in covering if statement.ends_near(light * 1e9))
        verdict, said = "not marked for this mode" if missing else NOT_ENOUGH if short else "enough", (*missing, *short)
        return MarkingVerdict(marking_text, not said, verdict, (*said, *reasons), ends, min(numbers, default=0))


def nanometre_text(wavelength: float) -> str:
    """Return a wavelength in nm as on a marking, without the unit.

    Parameters
    ----------
    wavelength : float
        Vacuum wavelength. [m]

    Returns
    -------
    str
        As "1070", "10600" or "514.5".
    """
    return f"{wavelength * 1e9:.3f}".rstrip("0").rstrip(".")


NOT_ENOUGH = "not enough"
NO_PROTECTION = "no protection"  # of a marking that cannot be read
SCATTER_ONLY = "enough against scatter only"  # of a person in a case; a beam alone never gives it
_LONGEST = 400
_NEAR_AN_END = 0.01  # of the wavelength; own
_DENSITY_MOST = 20.0
_UNITS = {"nm": 1.0, "um": 1e3}
_FIXED = str.maketrans({**dict.fromkeys("–—−‐‑", "-"), **dict.fromkeys("µμ", "u"), "≥": ">="})
_NUMBER = r"(?:0|[1-9][0-9]{0,7})(?:\.[0-9]{1,6})?(?![0-9.])"
_SILENT = r"(?-i:[123]? ?[SFBA]T?)(?![A-Z0-9])|CE(?: ?[0-9]{4}(?= *(?:[;,]|$)))?(?![A-Z0-9])|UKCA\b|DIN\b"
_WORDS = {  # kind of a word, by one letter -> how it is written; the first that fits counts
    "c": r"(?:(?:DIN|EN|ISO|ANSI) ?)+Z? ?[0-9]{2,5}(?:[-.][0-9])?(?: ?: ?[0-9]{4})?(?![0-9])|Z ?87\+?(?![0-9.])"
    rf"|VLT ?[:=]? ?{_NUMBER} ?%|(?:laser|safety|glasses|goggles|eyewear|protection|wavelengths?|nm)\b",
    "o": rf"O\.?D\.? ?(?::|=|>=?)? ?(?P<density>{_NUMBER}) ?\+?(?![A-Z])",
    "r": r"(?:RB ?|R)(?P<alignment>[0-9]{1,2})(?![0-9A-Z.])",
    "v": r"(?P<letters>[A-Z]{0,6}?) ?LB? ?(?P<number>[0-9]{1,4})(?P<low_rate> ?Y)?(?![0-9A-Z.])",
    "d": r"(?P<alone>[DIRM]{1,4})(?![A-Z0-9])",
    "@": r"@|:|(?:at|for|bei)\b",
    "e": rf"{_SILENT}|(?-i:(?!NOT|NUR|MAX|MIN|ONLY|VOID|TEST)[A-Z]{{2,4}})(?= (?:{_SILENT}))",
    "s": rf"(?P<above>>)? ?(?P<low>{_NUMBER}) ?(?P<low_unit>nm|um)?(?![A-Z])"
    rf"(?: ?(?:-|~|\.\.+|to\b|bis\b) ?(?P<high>{_NUMBER}) ?(?P<high_unit>nm|um)?(?![A-Z]))?",
    "+": r"\+",
    "p": r"[/&,]|(?:and|und)\b",
    ";": r";",
    " ": r"[ ()]+",
}
_WORD = re.compile("|".join(f"(?P<k{n}>{how})" for n, how in enumerate(_WORDS.values())), re.IGNORECASE | re.ASCII)
_KINDS = tuple(_WORDS)
_MANY, _FEW, _ANY = "s(?:[p+]s)+", "(?:v(?:[+]v)*|r)", "(?:v(?:[p+]?v)*|r)"  # several wavelengths share what '+' joins
_SENTENCES = tuple(
    (re.compile(f"(?:(?:{whole})[p+]?)+"), re.compile(one))
    for whole, one in (
        (f"s[p@]?{_ANY}|{_MANY}[p@]?{_FEW}", r"s[sp+@]*[vr][vrp+@]*"),
        (f"{_ANY}[p@]?s|{_FEW}[p@]?{_MANY}", r"[vr][vrp+@]*s[sp+@]*"),
        (r"ds(?:[p+]s)*l", r"d[sp+]*l[p+]*"),
    )
)


@dataclass(frozen=True)
class ScaleMark:
    """One scale number with its mode letters; ``low_rate_untested`` is the suffix Y."""

    modes: str
    number: int
    low_rate_untested: bool = False


@dataclass(frozen=True)
class Statement:
    """What a marking says of one range of wavelengths [nm]: scale numbers, densities, or an alignment number."""

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

    def remarks(self, number: int, scaled: bool) -> Iterator[Message]:
        """Yield what its density and its alignment number are worth where a scale number is asked for."""
        if self.optical_density is not None:
            whole = math.floor(self.optical_density)
            key = "marking.reaches" if whole >= number else "marking.falls_short"
            remark = Message(key, density=f"{self.optical_density:g}", whole=whole, number=number)
            yield remark if scaled else Message("marking.density_only", remark=remark)
        if self.alignment is not None:
            power = load(En208).scales[self.alignment - 1].power
            yield Message("marking.alignment", number=self.alignment, power=f"{power:g} W")

    @property
    def span(self) -> str:
        """The range of wavelengths in words."""
        if self.low_nm == self.high_nm:
            return f"{self.low_nm:.7g}"
        span = f"{self.low_nm:.7g}-{self.high_nm:.7g}"
        return span if self.low_included else Message("marking.above", range=span)


@dataclass(frozen=True)
class Marking:
    """A marking that was read to its end, and what of it says nothing about the filter."""

    text: str
    statements: tuple[Statement, ...]
    silent: str = ""


class MarkingError(InputError):
    """A marking that cannot be read; ``reason`` is the sentence that says why."""

    def __init__(self, text: str, reason: Message) -> None:
        self.reason = reason
        shown = text if len(text) <= 80 else text[:77] + "..."
        super().__init__(f"marking = {shown!r}: {reason}")


@lru_cache(maxsize=64)
def parse_marking(text: str) -> Marking:
    """Read a marking as printed.

    Parameters
    ----------
    text : str
        The marking; the forms stand at the top of this module.

    Returns
    -------
    Marking
        Its statements in the order printed, one for each range of wavelengths.

    Raises
    ------
    MarkingError
        If any part of the text cannot be read: the message says which and how to write it.
    """
    plain = " ".join(text.translate(_FIXED).split())
    if not plain or len(text) > _LONGEST:
        raise _unread(text, "long" if plain else "empty", count=len(text), most=_LONGEST)
    if re.search(r"[0-9],[0-9]", plain):
        raise _unread(text, "comma")
    parts: list[list[tuple[str, Any]]] = [[]]
    silent = []
    for kind, found in _words(text, plain):
        if kind == ";":
            parts.append([])
        elif kind in "ce":
            silent.append(found[0].strip())
        elif kind != " ":
            word = _read(text, kind, found)
            pair = [one[1] for one in [*parts[-1][-1:], word] if one[0] == "s"]
            if len(pair) == 2 and all(low < high for low, high, _ in pair):
                parts[-1].append(("p", ""))  # bands side by side; no other number looks like one
            parts[-1].append(word)
    statements = []
    for part in filter(None, parts):
        kinds = "".join(kind for kind, _ in part)
        one = next((one for whole, one in _SENTENCES if whole.fullmatch(kinds)), None)
        if one is None:
            missing = {"s": "no_wavelength", "vrl": "no_value", "vrd": "no_letter"}
            raise _unread(text, next((key for any_of, key in missing.items() if not set(any_of) & set(kinds)), "order"))
        for sentence in one.finditer(kinds):
            words = part[sentence.start() : sentence.end()]
            letters = next((value for kind, value in words if kind == "d"), "").upper()
            values = [value for kind, value in words if kind in "vrl"]
            scales = [mark for value in values for mark in value.get("scales", ())]
            densities = [value["optical_density"] for value in values if "optical_density" in value]
            alignment = next((value["alignment"] for value in values if "alignment" in value), None)
            marks = tuple(replace(mark, modes=letters or mark.modes) for mark in scales)
            for low, high, included in (value for kind, value in words if kind == "s"):
                least, most = load(En208).wavelength_nm
                if alignment is not None and (low < least or high > most):
                    raise _unread(text, "alignment_range", low=f"{least:g}", high=f"{most:g}")
                statements.append(Statement(low, high, included, marks, min(densities, default=None), alignment))
    if not statements:
        raise _unread(text, "no_class")
    return Marking(text, tuple(statements), " ".join(silent))


def _words(text: str, plain: str) -> Iterator[tuple[str, re.Match[str]]]:
    """Yield the words of a marking, each with its kind."""
    at = 0
    while at < len(plain):
        found = _WORD.match(plain, at)
        if not found or found.end() == at:
            rest = "".join(one if one.isprintable() else "?" for one in plain[at : at + 20])
            said = re.search(r"[0-9]{3}|OD|[LR]B", plain, re.IGNORECASE)  # something of a filter
            raise _unread(text, "word" if said else "no_class", word=rest)
        at = found.end()
        kind = next(kind for n, kind in enumerate(_KINDS) if found[f"k{n}"] is not None)
        yield kind, found


def _read(text: str, kind: str, found: re.Match[str]) -> tuple[str, Any]:
    """Return a word as its kind in a sentence and what it means."""
    word = found[0].strip()
    if kind == "s":
        return "s", _span(text, word, found)
    if kind == "o":
        density = float(found["density"])
        if not 0.0 < density <= _DENSITY_MOST:
            raise _unread(text, "density", word=word, most=f"{_DENSITY_MOST:g}")
        return "v", {"optical_density": density}
    if kind == "r":
        number, most = int(found["alignment"]), len(load(En208).scales)
        if not 1 <= number <= most:
            raise _unread(text, "alignment", word=word, most=most)
        return "r", {"alignment": number}
    if kind == "v":
        letters, number, standard = found["letters"].upper(), int(found["number"]), load(En207)
        unknown = next((letter for letter in letters if letter not in "DIRM"), "")
        if unknown:
            raise _unread(text, "letter", word=word, letter=unknown)
        if found["number"] != str(number) or not standard.lowest <= number <= standard.highest:
            raise _unread(text, "number", word=word, least=standard.lowest, most=standard.highest)
        return "v" if letters else "l", {"scales": (ScaleMark(letters, number, found["low_rate"] is not None),)}
    return kind, found["alone"]


def _span(text: str, word: str, found: re.Match[str]) -> tuple[float, float, bool]:
    """Return the lowest and highest wavelength [nm], and whether the lowest belongs to it."""
    last = (found["high_unit"] or found["low_unit"] or "nm").lower()
    low = round(float(found["low"]) * _UNITS[(found["low_unit"] or last).lower()], 6)
    high = low if found["high"] is None else round(float(found["high"]) * _UNITS[last], 6)
    if (found["high"] is not None and high <= low) or (found["high"] is None and found["above"]):
        raise _unread(text, "backwards", word=word)
    if low < 180 or high > 1e6:
        raise _unread(text, "outside", word=word)
    return low, high, found["above"] is None


def _unread(text: str, key: str, **values: object) -> MarkingError:
    return MarkingError(text, Message(f"unread.{key}", **values))
