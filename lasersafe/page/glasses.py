"""The page for a maker: what eyewear has to carry in front of a beam, and what the pairs in the drawer are worth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from lasersafe.ask.eyewear import EyewearQuestion, eyewear_answer
from lasersafe.errors import InputError
from lasersafe.hazard.settings import SettingSpace
from lasersafe.page.forms import Fields
from lasersafe.page.picture import beam_and_face, picture_words
from lasersafe.page.rooms import kinds
from lasersafe.page.texts import Texts
from lasersafe.quantity import format_quantity, parse_quantity
from lasersafe.wording import load_wording

MOST_PAIRS = 12
CRITERIA = ("1/e", "1/e2", "FWHM")
STRICTEST_CRITERION = "1/e2"  # of one diameter, it stands for the narrowest beam
EMISSIONS = ("steady", "pulsed", "single")
_TYPED = {  # fields whose text is repeated with the answer, for a print -> the key of their label
    "wavelength": "wavelength", "power": "power", "pulse_energy": "pulse_energy",
    "pulse_duration_from": "pulse_duration_from", "pulse_duration_to": "pulse_duration_to",
    "repetition_rate_from": "repetition_rate_from", "repetition_rate_to": "repetition_rate_to",
}  # fmt: skip


@dataclass(frozen=True)
class _Question(EyewearQuestion):
    """A question in which pulses may have ranges: the worst point of them counts."""

    pulse_durations: tuple[float, float] | None = None
    repetition_rates: tuple[float, float] | None = None

    def space(self) -> SettingSpace:
        """Return the emission that was typed."""
        if self.pulse_durations is None:
            return super().space()
        energy = None if self.pulse_energy is None else parse_quantity(self.pulse_energy, "J", "pulse energy").value
        if self.repetition_rates is None:
            assert energy is not None
            return SettingSpace("single pulse", pulse_energy=(energy, energy), pulse_duration=self.pulse_durations)
        power = None if self.power is None else parse_quantity(self.power, "W", "power").value
        return SettingSpace(
            "pulse train",
            power=None if power is None else (power, power),
            pulse_energy=None if energy is None else (energy, energy),
            pulse_duration=self.pulse_durations,
            repetition_rate=self.repetition_rates,
        )


def narrowest_usual() -> str:
    """Return the narrowest beam that lasers usually have, at 1/e2: what stands for a width that is not known."""
    return str(kinds()["any laser"]["beam_diameter"]["least"])


def glasses_answer(form: dict[str, str], language: str) -> dict[str, Any]:
    """Return what the form asks, ready for the template.

    Parameters
    ----------
    form : dict of str
        Fields as typed; untrusted.
    language : str
        Language of the page.

    Returns
    -------
    dict
        ``faults`` by field where something is missing or wrong; else ``need``, ``pairs``, ``assumed``, ``picture``.
    """
    fields = Fields(form, Texts(language))
    question, assumed = _question(fields)
    pairs = [line.strip() for line in fields.typed("pairs").splitlines() if line.strip()]
    if len(pairs) > MOST_PAIRS:
        fields.fault("pairs", "glasses.many_pairs", most=MOST_PAIRS)
    if fields.faults or question is None:
        return {"faults": fields.faults}
    try:
        need = eyewear_answer(question)
    except InputError as error:
        return {"error": str(error)}
    say, said = fields.say, load_wording(language).say
    scales = need["scale_numbers"]
    return {
        "faults": {},
        "need": {
            "reliable": need["reliable"],
            "none": said(need["no_reliance"]),
            "order": said(need["marking"]),
            "density": f"{need['optical_density']:.1f}",
            "scales": [
                f"{mode} LB{number}" if number else say("glasses.beyond", mode=mode) for mode, number in scales.items()
            ],
            "letters": {mode: say(f"letters.{mode}") for mode in (*scales, "LB")},
            "decides": said(need["decides"]),
            "notes": [said(note) for note in need["notes"]],
            "time": format_quantity(need["duration_s"], "s"),
            "width": format_quantity(need["beam_diameter_63_m"], "m", 4),
            "rule_sets": need["rule_sets"],
        },
        "pairs": [_pair(question, text, fields) for text in pairs],
        "assumed": [say(f"glasses.assumed_{one}", width=say.number(narrowest_usual())) for one in assumed],
        "typed": {name: say(f"glasses.{key}") for name, key in _TYPED.items() if fields.typed(name)},
        "picture": beam_and_face(need["beam_diameter_63_m"], need["reliable"], say),
        "words": picture_words(
            need["beam_diameter_63_m"], need["optical_density"], need["reliable"], say, unknown="width" in assumed
        ),
        "caution": load_wording(language).caution_short,
    }


def _pair(question: _Question, text: str, fields: Fields) -> dict[str, Any]:
    """Return the verdict on one pair; what cannot be read counts as no protection."""
    said = load_wording(fields.say.language).say
    try:
        worn = eyewear_answer(_with(question, wearing=text))["wearing"]
    except InputError as error:
        reasons = [fields.say("glasses.unreadable"), str(error)]
        return {"typed": text, "enough": False, "verdict": fields.say("glasses.no_protection"), "reasons": reasons}
    ends = load_wording(fields.say.language).text
    bands = [ends("eyewear.ends", band=band) for band in worn["bands_that_end_here_nm"]]
    reasons = [*map(said, worn["reasons"]), *bands]
    return {"typed": text, "enough": worn["enough"], "verdict": said(worn["verdict"]), "reasons": reasons}


def _with(question: _Question, **more: Any) -> _Question:
    return _Question(**{**question.__dict__, **more})


def _question(fields: Fields) -> tuple[_Question | None, list[str]]:
    """Return the question, and the names of what had to be assumed."""
    assumed: list[str] = []
    wavelength = fields.quantity("wavelength", "m", 180e-9, 1e-3)
    emission = fields.choice("emission", EMISSIONS)
    if not emission:
        fields.fault("emission", "glasses.say_emission")
    width, criterion = narrowest_usual(), STRICTEST_CRITERION
    if fields.typed("width_unknown"):
        assumed.append("width")
    else:
        width = fields.quantity("beam_diameter", "m", 1e-7, 100.0)
        criterion = fields.choice("criterion", CRITERIA) or STRICTEST_CRITERION
        if not fields.typed("criterion"):
            assumed.append("criterion")
    power = energy = ""
    lengths: tuple[float, float] | None = None
    rates: tuple[float, float] | None = None
    if emission == "steady":
        power = fields.quantity("power", "W", 0.0, 1e6)
    elif emission:
        lengths = _range(fields, "pulse_duration", "s", 1e-13, 3e4)
        has_power = bool(fields.typed("power")) and emission == "pulsed"
        energy = fields.quantity("pulse_energy", "J", 0.0, 1e6, needed=not has_power)
        if emission == "pulsed":
            power = fields.quantity("power", "W", 0.0, 1e6, needed=False)
            rates = _range(fields, "repetition_rate", "Hz", 0.0, 1e12)
    if lengths and rates and lengths[1] * rates[1] > 1.0:
        fields.fault("pulse_duration_to", "glasses.longer_than_period")
    if fields.faults:
        return None, assumed
    return _Question(
        wavelength=wavelength, beam_diameter=width, criterion=criterion, power=power or None,
        pulse_energy=energy or None, pulse_duration=None, repetition_rate=None, profile="gaussian", rule_set=None,
        duration=None, wearing=None, continuous=emission == "steady", pulse_durations=lengths, repetition_rates=rates,
    ), assumed  # fmt: skip


def _range(fields: Fields, name: str, unit: str, low: float, high: float) -> tuple[float, float] | None:
    """Return the ends of a range in SI; the second may be left out where there is one value only."""
    first = fields.quantity(f"{name}_from", unit, low, high)
    second = fields.quantity(f"{name}_to", unit, low, high, needed=False) or first
    if not first or not second:
        return None
    ends = (parse_quantity(first, unit, name).value, parse_quantity(second, unit, name).value)
    return (min(ends), max(ends))
