"""A new case: from a starter, or from answers to a few questions in the words of a maker or producer."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lasersafe.errors import InputError
from lasersafe.files import write_file
from lasersafe.outputs import DASH, refuse_to_lose, write_to_stdout
from lasersafe.reference import templates_path

if TYPE_CHECKING:
    from lasersafe.models.kinds import LaserKind
    from lasersafe.models.measured import Measured
    from lasersafe.wording import Wording

_WHERE = {"crew": "1 m", "guests": "8 m"}
_PEOPLE = re.compile(
    r"\s*(?P<count>\d{1,6})?\s*(?:(?:at|bei|@|,)\s*)?(?P<distance>\d[\d.]*\s*[a-z]+)?\s*\Z", re.IGNORECASE
)
Ask = Callable[
    [str, str, str], str | None
]  # what is asked, what the answer changes, the default -> the answer, None for it


def template_names() -> list[str]:
    """Return the names of the whole example cases."""
    return sorted(path.stem for path in templates_path("cases").glob("*.toml"))


def template_text(name: str) -> bytes:
    """Return a whole example case.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    return _text_of(name, {one: templates_path("cases", f"{one}.toml") for one in template_names()})


def starters() -> dict[str, Path]:
    """Return the starter cases by name, and the demo case."""
    found = {path.stem: path for path in sorted(templates_path("starters").glob("*.toml"))}
    return {"demo": templates_path("cases", "demo.toml"), **found}


def _unedited() -> list[bytes]:
    """Return every starter and example as it is written."""
    return [path.read_bytes() for kind in ("starters", "cases") for path in templates_path(kind).glob("*.toml")]


def _text_of(name: str, known: dict[str, Path]) -> bytes:
    import difflib

    if name not in known:
        near = difflib.get_close_matches(name, known, 1)
        hint = f"did you mean '{near[0]}'? " if near else ""
        message = f"template = '{name[:60]}': {hint}there are: {', '.join(known)}"
        raise InputError(message)
    return known[name].read_bytes()


def write_starter(path: Path, template: str, replace: bool, starters_too: bool = False) -> None:
    """Write a starter case; one that nobody edited may be replaced on demand, or by the demo."""
    _write(path, _text_of(template, starters()), replace, starters_too)


def _write(path: Path, content: bytes, replace: bool, starters_too: bool = False) -> None:
    if path == DASH:
        write_to_stdout(content)
        return
    there = refuse_to_lose(path, "", replace=replace, known=_unedited() if replace or starters_too else [])
    write_file(path, content, replace=there is not None)


def start_case(path: Path, template: str, replace: bool) -> dict[str, Any]:
    """Write a starter case and return what to print."""
    write_starter(path, template, replace)
    return {"case": str(path), "template": template}


@dataclass(frozen=True)
class Said:
    """What was answered beforehand, by options; what is None is asked."""

    laser: Sequence[str]
    crew: str | None
    guests: str | None
    language: str
    patient: bool = False  # whether somebody can be asked again


def ask_case(path: Path, said: Said, ask: Ask, replace: bool) -> dict[str, Any]:
    """Ask for a case, question by question, write it and return what to print.

    Parameters
    ----------
    path : pathlib.Path
        The file to be written; whether it may be is looked at before anything is asked.
    said : Said
        Answers that are known.
    ask : callable
        Gets a question, what its answer changes and the default; returns the answer, None for the default.
    replace : bool
        Whether an unchanged starter may be replaced.

    Raises
    ------
    InputError
        If an answer cannot be used, or the file may not be written.
    """
    from lasersafe.models import parse_case
    from lasersafe.models.kinds import laser_kinds
    from lasersafe.models.reading import REPLACE
    from lasersafe.wording import load_wording

    wording = load_wording(said.language)
    refuse_to_lose(path, "", replace=replace, known=_unedited() if replace else [])
    kinds = laser_kinds()
    asking = _Asking(wording, ask, said.patient)
    lasers = list(said.laser) or asking.lasers(kinds)
    beams: list[str] = []
    for name, *told in ([part.strip() for part in one.split(",")] for one in lasers):
        asking.known(name, kinds)
        beams += asking.laser(kinds[name], told)
    people = [asking.people(who, getattr(said, who)) for who in ("crew", "guests")]
    head = [f'language = "{said.language}"'] if said.language != "en" else []
    text = "\n".join([*head, "person = [", *people, "]", *beams]) + "\n"
    parse_case(text, str(path))  # an answer that is no value is refused here, with the field and what is allowed
    _write(path, text.encode(), replace)
    return {"case": str(path), "lines": text.count("\n"), "replace": text.count(REPLACE)}


class _Asking:
    def __init__(self, wording: Wording, ask: Ask, patient: bool) -> None:
        self.wording, self.ask, self.patient = wording, ask, patient
        self.told: dict[str, str] = {}  # of one laser, what was said with its kind

    def answer(
        self, key: str, default: str, check: Callable[[str], object] | None = None, **values: str
    ) -> tuple[str, bool]:
        """Return an answer, and whether somebody gave it; one that is no value is asked for again where that helps."""
        if key in self.told:
            return self.told[key], True
        question = said = self.wording.text(f"new.{key}", **values)
        for left in (2, 1, 0):
            try:
                given = self.ask(said, self.wording.text(f"changes.{key}"), default)
                if given and check is not None:
                    check(given)
                return (given, True) if given else (default, False)
            except EOFError:
                message = self.wording.text("new.no_answer", question=question, starters=", ".join(starters()))
                raise InputError(message) from None
            except InputError as error:
                if not (left and self.patient):
                    raise
                said = f"{error}\n{question}"
        raise AssertionError

    def quantity(self, key: str, default: str, mark: Measured, kind: LaserKind) -> tuple[str, bool]:
        """Return an answer that is a number with a unit, and whether somebody gave it."""
        return self.answer(key, default, lambda given: mark.read(given, key), laser=kind.key)

    def lasers(self, kinds: Mapping[str, LaserKind]) -> list[str]:
        """Return the kinds of lasers that are named."""

        def check(given: str) -> None:
            for name in given.split(","):
                self.known(name.strip(), kinds)

        return self.answer("lasers", next(iter(kinds)), check, kinds=", ".join(kinds))[0].split(",")

    def known(self, name: str, kinds: Mapping[str, LaserKind]) -> None:
        """Refuse a kind of laser that there is not."""
        if name not in kinds:
            message = f"laser = '{name[:60]}': " + self.wording.text("new.no_kind", kinds=", ".join(kinds))
            raise InputError(message)

    def laser(self, kind: LaserKind, told: Sequence[str]) -> list[str]:
        """Return the lines of one laser, of which some values were told already."""
        from lasersafe.models.emission import POWER
        from lasersafe.models.laser import WAVELENGTH
        from lasersafe.models.setup import DIVERGENCE

        self.told = {}
        for part in told:
            for key, mark in (("wavelength", WAVELENGTH), ("power", POWER), ("divergence", DIVERGENCE)):
                with contextlib.suppress(InputError):
                    mark.read(part, key)
                    self.told[key] = part
            if part not in self.told.values():
                message = f"laser = '{part[:60]}': " + self.wording.text("new.no_value")
                raise InputError(message)
        pulsed_word = self.wording.text("new.pulsed")
        usual = pulsed_word if kind.emission == "pulse train" else self.wording.text("new.steady")
        wavelength, told_wave = self.quantity("wavelength", kind.wavelength, WAVELENGTH, kind)
        words = (self.wording.text("new.steady"), pulsed_word)

        def check(given: str) -> None:
            if not any(word.casefold().startswith(given.strip().casefold()) for word in words):
                message = f"emission = '{given[:60]}': " + self.wording.text("new.one_of", words=" / ".join(words))
                raise InputError(message)

        emission, told_kind = self.answer("emission", usual, check, laser=kind.key)
        pulsed = pulsed_word.casefold().startswith(emission.strip().casefold())
        power, told_power = self.quantity("power", kind.power, POWER, kind)
        beam, told_beam = self.quantity("divergence", self.wording.text("new.unknown"), DIVERGENCE, kind)
        named = "mean_power" if pulsed else "power"
        light = f'kind = "{"pulse train" if pulsed else "continuous"}", {named} = {_quoted(power)}'
        return [
            "[[laser]]",
            f'like = "{kind.key}"',
            f"wavelength = {_quoted(wavelength)}{_mark(told_wave)}",
            f"emission = {{ {light} }}{_mark(told_power and told_kind)}",
            *([f'setup = [{{ kind = "collimated", divergence = {_quoted(beam)} }}]'] if told_beam else []),
        ]

    def people(self, who: str, said: str | None) -> str:
        """Return the line of one group: how many, and how near the nearest comes."""
        default = _WHERE[who]

        def group(given: str) -> re.Match[str]:
            found = _PEOPLE.match(given)
            if found is None or not given.strip():
                message = f"{who} = '{given[:60]}': " + self.wording.text("new.no_people")
                raise InputError(message)
            return found

        given, told = (said, True) if said else self.answer(who, default, group)
        found = group(given)
        near = found["distance"] or default
        count = found["count"] or ""
        name = self.wording.text(f"new.name_{who}_many" if count else f"new.name_{who}", count=count)
        role = "crew" if who == "crew" else "spectator"
        mark = _mark(told and found["distance"] is not None)
        return f'  {{ name = "{name}", role = "{role}", distance = {_quoted(near)} }},{mark}'


def _quoted(answer: str) -> str:
    import json

    return json.dumps(answer.strip())


def _mark(told: bool) -> str:
    from lasersafe.models.reading import REPLACE

    return "" if told else f"  {REPLACE}"
