"""The controlled area of the day, and what was measured in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from lasersafe.errors import InputError, QuantityError
from lasersafe.models.base import CaseModel, Line, Peek, Text
from lasersafe.models.messages import Finding, not_known
from lasersafe.models.site import RATIO, Way
from lasersafe.models.values import Measured, SIValue
from lasersafe.typed import shown
from lasersafe.wording import WAYS, languages, load_wording

ALLOWED_UNITS = {
    "power": ("W",),
    "pulse energy": ("J",),
    "irradiance": ("W/m2",),
    "behind eyewear": ("W/m2", "J/m2"),
}
_WIDEST = {"W": "1 MW", "J": "1e6 J", "W/m2": "1e6 MW/m2", "J/m2": "1e12 J/m2"}


class Reading(Measured):
    """A power, an energy or a density: which of them shows by its unit."""

    def number(self, text: object, field: str) -> SIValue:
        """Return the entry in the first of the units that fits it."""
        first: InputError | None = None
        if isinstance(text, SIValue):
            text = text.typed
        for unit, high in _WIDEST.items():
            try:
                return replace(_PLAIN, unit=unit, low=f"0 {unit}", high=high).number(text, field)
            except QuantityError as error:
                if "must be" in str(error):
                    raise
                first = first or error
        message = f"{field} = {shown(text)}: write a reading with its unit, as '12 mW', '3 mJ', '40 W/m2' or '2 J/m2'"
        raise QuantityError(message) from first


_PLAIN = Measured("W", "0 W", "1 MW", "12 mW")
READING = Reading("W", "0 W", "1 MW", "12 mW")


class Area(CaseModel):
    """The laser controlled area and what keeps it: ``[area]``. What is left out is printed as a line to fill in.

    Attributes
    ----------
    name
        What the controlled area is called, as 'booth and two metres around'.
    boundary
        Where it ends, and what marks the border.
    interlock
        What is in the safety circuit of the laser, as 'booth door'.
    enable_switch
        What has to be held or pressed for a beam.
    emission_indicator
        What shows that the beam is on, and from where.
    emergency_stops
        Where the emergency stops are.
    watch_keeper
        Who does nothing but watch beam and people.
    stop_words
        The words at which everybody stops, as 'Laser stop'.
    briefing
        When and by whom everybody in the area is briefed.
    access_list
        Who may enter, by name.
    alignment_slot
        When the beam is aligned, before people come in.
    fire_watch
        Who watches for fire, and until how long after the last shot.
    contact
        Whom to call, with the number; printed on the door sign.
    eye_clinic
        Eye clinic or ophthalmologist on call, with the number.
    running_times
        When the beam can be on, for a notice to an authority.
    beam_directions
        Where beams point, as 'azimuth 120 deg, elevation -90 deg'; for a notice.
    """

    name: Line = ""
    boundary: Line = ""
    interlock: Line = ""
    enable_switch: Line = ""
    emission_indicator: Line = ""
    emergency_stops: Line = ""
    watch_keeper: Line = ""
    stop_words: Line = ""
    briefing: Line = ""
    access_list: Annotated[tuple[Line, ...], Field(max_length=100)] = ()
    alignment_slot: Line = ""
    fire_watch: Line = ""
    contact: Line = ""
    eye_clinic: Line = ""
    running_times: Line = ""
    beam_directions: Line = ""


class MeasuredReading(CaseModel):
    """One reading of the acceptance test: ``[[reading]]``.

    Attributes
    ----------
    what
        'power' or 'pulse energy' through a 7 mm aperture at a person's place, 'irradiance' at a barrier, or 'behind
        eyewear' for what is behind the window of a person's eyewear.
    where
        Name of the person or barrier of this case at whose place it was taken.
    way
        'direct', 'mirror' or 'scatter': the way that the light came.
    laser
        Name of the laser; needed where several can light the place.
    value
        The reading, as '12 mW' or '40 W/m2'.
    instrument
        Instrument with its serial number.
    uncertainty
        Expanded uncertainty of the instrument (k = 2) as a share, as '5 %'.
    note
        Remark, printed beside the reading.
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "uncertainty": "the instrument's expanded uncertainty (k = 2) as a share, as '5 %'; it is in its certificate",
    }

    what: Literal["power", "pulse energy", "irradiance", "behind eyewear"]
    where: Line
    way: Way = "direct"
    laser: Line | None = None
    value: Annotated[SIValue, READING]
    instrument: Line
    uncertainty: Annotated[SIValue, RATIO]
    note: Text = ""

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse a unit that does not fit what was read."""
        value, what = peek.value("value"), peek.data.get("what")
        if not isinstance(value, SIValue) or not isinstance(what, str) or what not in ALLOWED_UNITS:
            return []
        if value.unit not in ALLOWED_UNITS[what]:
            units = " or ".join(ALLOWED_UNITS[what])
            return [(("value",), f"{shown(value.typed)}: {what} is read in {units}; write it so")]
        return []


def record_findings(peek: Peek) -> list[Finding]:
    """Return what is wrong between the record of a case and the rest of it."""
    found = _language(peek)
    found += _other_hazards(peek, "en" if found else peek.text("language") or "en")
    persons = _by_name(peek.tables("person"))
    barriers = _by_name(peek.tables("barrier"))
    lasers = _by_name(peek.tables("laser"))
    for i, table in peek.tables("control"):
        found += [(("control", i, *place), text) for place, text in _control(table, persons, lasers)]
    seen: dict[tuple[object, ...], int] = {}
    for i, table in peek.tables("reading"):
        found += [(("reading", i, key), text) for key, text in _reading(table, persons, barriers, lasers)]
        same = tuple(_word(table, key) for key in ("what", "where", "way", "laser"))
        if same in seen and all(same[:2]):
            text = f"{shown(same[1])}: the same effect as reading[{seen[same] + 1}]; keep the higher reading, or name "
            text += "laser and way"
            found.append((("reading", i, "where"), text))
        seen.setdefault(same, i)
    return found


def _word(table: Mapping[str, Any], key: str) -> str | None:
    value = table.get(key)
    return value.strip() if isinstance(value, str) and value.strip() else None


def _by_name(tables: list[tuple[int, Mapping[str, Any]]]) -> dict[str, Mapping[str, Any]]:
    return {name: table for _, table in tables if (name := _word(table, "name")) is not None}


def _language(peek: Peek) -> list[Finding]:
    language = peek.data.get("language")
    if isinstance(language, str) and language.strip() and language.strip() not in languages():
        return [(("language",), not_known(language.strip(), "a language with wording", languages()))]
    return []


def _other_hazards(peek: Peek, language: str) -> list[Finding]:
    table = peek.data.get("other_hazards")
    keys = table.get("keys") if isinstance(table, Mapping) else None
    if not isinstance(keys, (list, tuple)) or not keys:
        return []
    known = [entry.key for entry in load_wording(language).other_hazards]
    return [
        (("other_hazards", "keys", i), not_known(key.strip(), "a hazard of the wording", known))
        for i, key in enumerate(keys)
        if isinstance(key, str) and key.strip() and key.strip() not in known
    ]


def _control(
    table: Mapping[str, Any], persons: Mapping[str, object], lasers: Mapping[str, object]
) -> list[tuple[tuple[str | int, ...], str]]:
    found: list[tuple[tuple[str | int, ...], str]] = []
    key, kind, laser = _word(table, "key"), _word(table, "kind"), _word(table, "laser")
    if key is not None:
        known = {entry.key: entry.kind for entry in load_wording().controls}
        if key not in known:
            found.append((("key",), not_known(key, "a control of the wording", known)))
        elif kind is not None and kind != known[key]:
            found.append((("kind",), f"{shown(kind)}: the control {shown(key)} is {shown(known[key])}; write that"))
    elif _word(table, "text") is None:
        found.append((("text",), "missing; say in a sentence what is done, or give the key of a control"))
    if laser is not None and laser not in lasers:
        found.append((("laser",), not_known(laser, "a laser of this case", lasers)))
    answers = table.get("answers")
    for i, word in enumerate(answers if isinstance(answers, (list, tuple)) else ()):
        if isinstance(word, str) and word.strip() and word.strip() not in (*WAYS, *persons):
            text = not_known(word.strip(), "a way or a person of this case", (*WAYS, *persons))
            found.append((("answers", i), text))
    return found


def _reading(
    table: Mapping[str, Any],
    persons: Mapping[str, Mapping[str, Any]],
    barriers: Mapping[str, Mapping[str, Any]],
    lasers: Mapping[str, Mapping[str, Any]],
) -> list[tuple[str, str]]:
    what, where, laser = _word(table, "what"), _word(table, "where"), _word(table, "laser")
    if where is None or what not in ALLOWED_UNITS:
        return []
    at_barrier = what == "irradiance"
    places = barriers if at_barrier else persons
    if where not in places:
        return [("where", not_known(where, f"a {'barrier' if at_barrier else 'person'} of this case", places))]
    place, found = places[where], list[tuple[str, str]]()
    way = _word(table, "way") or "direct"
    stops = place.get("must_stop", WAYS)
    if at_barrier and isinstance(stops, (list, tuple)) and way not in stops:
        found.append(("way", f"{shown(way)} is not among the ways that this barrier must stop, so nothing is expected"))
    if what == "behind eyewear" and not _word(place, "eyewear"):
        found.append(("where", f"{shown(where)} wears no eyewear in this case, so nothing is expected behind it"))
    if laser is not None and laser not in lasers:
        return [*found, ("laser", not_known(laser, "a laser of this case", lasers))]
    only = _word(place, "laser")
    if laser is not None and only not in (None, laser):
        found.append(("laser", f"{shown(where)} concerns the laser {shown(only)} in this case; name that one"))
    chosen = laser or only or (next(iter(lasers)) if len(lasers) == 1 else None)
    if chosen is None:
        return [*found, ("laser", f"missing; several lasers can light {shown(where)}: say which one was on")]
    emission = lasers.get(chosen, {}).get("emission")
    kind = emission.get("kind") if isinstance(emission, Mapping) else None
    if what == "pulse energy" and kind == "continuous":
        found.append(
            ("what", f"{shown(what)}: the laser {shown(chosen)} is continuous and has no pulses: read its power")
        )
    if what in ("power", "irradiance") and kind == "single pulse":
        found.append(
            (
                "what",
                f"{shown(what)}: the laser {shown(chosen)} fires single pulses without a mean power: read the pulse "
                "energy",
            )
        )
    return found
