"""The columns of an inventory, and how a heading of a spreadsheet names one of them."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import lru_cache

from lasersafe.errors import InputError, QuantityError
from lasersafe.quantity import parse_quantity
from lasersafe.typed import plain_unit, shown


@dataclass(frozen=True)
class Column:
    """One column: where it goes in the case, its SI unit ("" for text), and the unit that the template has."""

    name: str
    goes_to: str  # path in the case; "" where several columns decide together
    what: str
    unit: str = ""
    usual: str = ""
    shape: str = "one"  # one | range | axes
    required: bool = False

    @property
    def heading(self) -> str:
        """The heading as the template writes it."""
        return f"{self.name} [{self.usual}]" if self.usual else self.name


COLUMNS: tuple[Column, ...] = (
    Column("name", "laser.name", "Name of the laser, or of its row.", required=True),
    Column("class", "laser.class_label", "Class on the label of the maker, as 4.", required=True),
    Column("wavelength", "laser.wavelength", "Vacuum wavelength.", "m", "nm", required=True),
    Column("power", "", "Continuous power; with pulses the mean power.", "W", "W", "range"),
    Column(
        "pulse energy",
        "laser.emission.pulse_energy",
        "Highest energy of one pulse; left empty: continuous, or power and rate give it.",
        "J",
        "mJ",
        "range",
    ),
    Column(
        "pulse duration",
        "laser.emission.pulse_duration",
        "Duration of one pulse; filled: the laser is pulsed.",
        "s",
        "ns",
        "range",
    ),
    Column(
        "repetition rate",
        "laser.emission.repetition_rate",
        "Pulses per second; empty with a pulse duration: one single pulse.",
        "Hz",
        "kHz",
        "range",
    ),
    Column("optics", "setup.kind", "collimated, lens, fibre multimode or fibre single mode; empty: collimated."),
    Column(
        "beam diameter",
        "setup.beam_diameter",
        "Collimated: at the last optic; lens: at the lens.",
        "m",
        "mm",
        "axes",
    ),
    Column("divergence", "setup.divergence", "Full angle, collimated only.", "rad", "mrad", "axes"),
    Column("criterion", "setup.criterion", "Where diameter and divergence were read: 1/e, 1/e2 or FWHM."),
    Column("profile", "setup.profile", "gaussian or top-hat; empty: gaussian."),
    Column("focal length", "setup.focal_length", "Lens only.", "m", "mm"),
    Column(
        "focus diameter",
        "setup.focus_diameter",
        "Lens only; empty: a point, the longer distance.",
        "m",
        "um",
        "axes",
    ),
    Column("core diameter", "setup.core_diameter", "Multimode fibre only.", "m", "um"),
    Column("numerical aperture", "setup.numerical_aperture", "Multimode fibre only, as 0.22.", "1"),
    Column(
        "numerical aperture criterion",
        "setup.numerical_aperture_criterion",
        "Multimode fibre only: 5 %, 1/e2 or 1/e.",
    ),
    Column("mode field diameter", "setup.mode_field_diameter", "Single-mode fibre only, 1/e2.", "m", "um"),
    Column(
        "work distance",
        "setup.work_distance",
        "Last optic to the work, where the beam works on something.",
        "m",
        "mm",
    ),
    Column(
        "person distance",
        "person.distance",
        "Closest distance from the last optic that anybody at the laser can come to.",
        "m",
        "m",
        required=True,
    ),
    Column("person", "person.name", "Who that is; empty: Operator."),
    Column("role", "person.role", "operator, assistant, crew ...; empty: operator."),
    Column("eyewear", "person.eyewear", "Marking of the eyewear that this person wears; empty: none."),
    Column(
        "spectator distance",
        "spectator.distance",
        "Closest distance of spectators; empty: there are none.",
        "m",
        "m",
    ),
    Column("handheld", "laser.handheld", "yes or no; empty: no."),
    Column("serial", "laser.serial", "Serial number."),
    Column("note", "laser.note", "A remark."),
    Column("place", "place", "Where it stands."),
    Column("rule set", "rule_set", "ICNIRP-2013 or EU-2006/25/EC; empty: the first. The stricter result decides."),
)
_OTHER_NAMES = {  # what people call it elsewhere
    "name": "laser, device, gerät, bezeichnung",
    "class": "laser class, class label, klasse, laserklasse",
    "wavelength": "wellenlänge",
    "power": "mean power, average power, leistung, mittlere leistung",
    "pulse energy": "energy, pulsenergie",
    "pulse duration": "pulse width, pulse length, pulsdauer, pulslänge",
    "repetition rate": "rate, pulse rate, frequency, wiederholrate, pulsfrequenz",
    "optics": "set-up, setup, optik",
    "beam diameter": "diameter, strahldurchmesser",
    "divergence": "full angle divergence, divergenz",
    "criterion": "kriterium",
    "profile": "profil",
    "focal length": "brennweite",
    "focus diameter": "fokusdurchmesser",
    "core diameter": "kerndurchmesser",
    "numerical aperture": "na, numerische apertur",
    "numerical aperture criterion": "na criterion, kriterium der numerischen apertur",
    "mode field diameter": "mfd, modenfelddurchmesser",
    "work distance": "arbeitsabstand",
    "person distance": "closest person, abstand, abstand der person",
    "role": "rolle",
    "eyewear": "goggles, schutzbrille",
    "spectator distance": "abstand der zuschauer",
    "handheld": "hand-held, handgeführt",
    "serial": "serial number, seriennummer",
    "note": "remark, bemerkung",
    "place": "room, ort, raum",
    "rule set": "regelwerk",
}
_HEADING = re.compile(r"^(?P<name>.*?)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*)\))?$", re.DOTALL)


@dataclass(frozen=True)
class Heading:
    """A heading of the file: the column that it names, and the unit for cells that have none of their own."""

    text: str
    column: Column
    unit: str  # "" where the heading names none


@lru_cache(maxsize=1)
def _known() -> dict[str, Column]:
    other = {column.name: _OTHER_NAMES.get(column.name, "").split(", ") for column in COLUMNS}
    return {name: column for column in COLUMNS for name in (column.name, *other[column.name]) if name}


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").casefold().split())


def column_of(text: str) -> Heading | None:
    """Return what a heading names, or None when it is no column of ours.

    Raises
    ------
    InputError
        If its unit cannot be used, or it is nearly one of ours.
    """
    found = _HEADING.match(text.strip())
    assert found is not None
    name, unit = _plain(found["name"]), (found["square"] or found["round"] or "").strip()
    column = _known().get(name)
    if column is None:
        near = difflib.get_close_matches(name, list(_known()), n=1, cutoff=0.8)
        if near:
            message = (
                f"heading {shown(text.strip())}: did you mean '{_known()[near[0]].heading}'? Correct the heading, or "
                "name a column that is not meant for the calculation quite differently"
            )
            raise InputError(message)
        return None
    if unit and not column.unit:
        return Heading(text.strip(), column, "")  # a remark in brackets
    if unit and unit not in ("1", "-"):
        try:
            parse_quantity(f"1 {unit}", column.unit, "heading")
        except QuantityError as error:
            why = str(error).partition("': ")[2] or str(error)
            message = f"heading {shown(text.strip())}: {why}"
            raise InputError(message) from None
        return Heading(text.strip(), column, plain_unit(unit))
    return Heading(text.strip(), column, "")


def missing_columns(found: list[Heading]) -> list[str]:
    """Return the headings of required columns that are not there."""
    names = {heading.column.name for heading in found}
    missing = [column.heading for column in COLUMNS if column.required and column.name not in names]
    if not names & {"power", "pulse energy"}:
        missing.append("power [W] or pulse energy [mJ]")
    return missing
