"""What the commands on a case write: new cases, sheets, pages and data to hand out; and the faults of a case."""

from __future__ import annotations

import contextlib
import json
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from lasersafe.data import templates_path
from lasersafe.errors import CalcError, CaseError, Fault, InputError, refuse
from lasersafe.files import DASH, Output, case_mark, mark_of, refuse_to_lose, suffix_of, write_outputs
from lasersafe.quantity import choice, parse_quantity, shown
from lasersafe.records import as_json
from lasersafe.wording import Wording, load_wording

if TYPE_CHECKING:
    from lasersafe.ask import NewQuestion
    from lasersafe.models.kinds import LaserKind
    from lasersafe.models.values import Measured
    from lasersafe.results import Assessment, LaserFacts, StarterValue

T = TypeVar("T")
_PEOPLE = re.compile(
    r"\s*(?P<count>\d{1,6}(?!\d))?\s*(?:people|guests?|persons?|Personen|Leute|Gäste|(?P<camera>cameras?|Kameras?)|)\b"
    r"\s*(?:(?:at|bei|@|,)\s*)?(?P<distance>\d[\d.]*\s*[a-z]+)?\s*\Z",
    re.IGNORECASE,
)
Ask = Callable[[str, str, str], str | None]  # question, what its answer changes, default -> answer, None for that


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
    return templates_path("cases", f"{choice('template', name, template_names())}.toml").read_bytes()


def starters() -> dict[str, Path]:
    """Return the starter cases by name, and the demo case."""
    found = {path.stem: path for path in sorted(templates_path("starters").glob("*.toml"))}
    return {"demo": templates_path("cases", "demo.toml"), **found}


def write_starter(path: Path, template: str, replace: bool, starters_too: bool = False) -> dict[str, Any]:
    """Write a starter case and return what to print; who asks, and the demo, may replace one that nobody edited."""
    known = starters()
    content = known[choice("template", template, known)].read_bytes()
    write_outputs([Output(path, content)], replace=replace, known=_unedited(replace or starters_too))
    return {"case": str(path), "template": template}


def _unedited(wanted: bool) -> list[bytes]:
    """Return what may be replaced, where anything may: the starter and example cases as nobody has edited them."""
    folders = ("starters", "cases") if wanted else ()
    return [one.read_bytes() for folder in folders for one in templates_path(folder).glob("*.toml")]


def ask_case(path: Path, question: NewQuestion, ask: Ask, patient: bool) -> dict[str, Any]:
    """Ask for a case, question by question, write it and return what to print.

    Parameters
    ----------
    path : pathlib.Path
        The file to be written; whether it may be is looked at before anything is asked.
    question : NewQuestion
        Answers that are known.
    ask : callable
        Gets a question, what its answer changes and the default; returns the answer, None for the default.
    patient : bool
        Whether somebody can be asked again.

    Raises
    ------
    InputError
        If an answer cannot be used, or the file may not be written.
    """
    from lasersafe.models import REPLACE, laser_kinds, parse_case

    language, known = question.language, _unedited(question.replace)
    refuse_to_lose(path, "", replace=question.replace, known=known)  # before anything is asked
    taken: Ask = (lambda *_: None) if question.yes else ask  # with --yes, every default
    asking = _Asking(load_wording(language), taken, patient, laser_kinds())
    beams = [line for kind, told in asking.lasers(question.laser or ()) for line in asking.laser(kind, told)]
    people = [asking.people(who, getattr(question, who)) for who in ("crew", "guests")]
    head = [f'language = "{language}"'] if language != "en" else []
    text = "\n".join([*head, "person = [", *people, "]", *beams]) + "\n"
    parse_case(text, str(path))
    write_outputs([Output(path, text.encode())], replace=question.replace, known=known)
    return {"case": str(path), "lines": text.count("\n"), "replace": text.count(REPLACE)}


class _Asking:
    def __init__(self, wording: Wording, ask: Ask, patient: bool, kinds: Mapping[str, LaserKind]) -> None:
        self.text, self.ask, self.patient, self.kinds = wording.text, ask, patient, kinds

    def answer(self, key: str, default: str, check: Callable[[str], T], **values: str) -> tuple[T, bool]:
        """Return what an answer is read as, and whether somebody gave it; where that helps it is asked for again."""
        question = said = self.text(f"new.{key}", **values)
        for left in (4, 3, 2, 1, 0):
            try:
                given = self.ask(said, self.text(f"changes.{key}"), default)
                return check(given or default), given is not None
            except EOFError:
                refuse(self.text("new.no_answer", question=question, starters=", ".join(starters())))
            except InputError as error:
                if not (left and self.patient):
                    raise
                said = f"{error}\n{question}"
        raise AssertionError

    def lasers(self, said: Sequence[str]) -> list[tuple[LaserKind, list[str]]]:
        """Return the kinds of lasers that are named, each with what was said of it."""

        def read(given: str) -> list[LaserKind]:
            return [self.kind(name) for name in re.split(r",|;|\+|&|\b(?:and|und)\b", given) if name.strip()]

        if not said:
            return [(kind, []) for kind in self.answer("lasers", next(iter(self.kinds)), read, **self.known())[0]]
        parts = [[part.strip() for part in one.split(",")] for one in said]
        return [(self.kind(name), told) for name, *told in parts]

    def known(self) -> dict[str, str]:
        """Return the names of all kinds, for a sentence."""
        return {"kinds": ", ".join(map(self.name, self.kinds))}

    def name(self, kind: str) -> str:
        """Return the name of a kind in the language of the case."""
        return self.text(f"kind.{kind}")

    def kind(self, given: str) -> LaserKind:
        """Return the kind of laser that a name or a sentence is about; a name that is only like it is asked back."""
        import difflib

        words = _words(given)
        names = {name: key for key, one in self.kinds.items() for name in (key, self.name(key), *one.also)}
        inside = [name for name in names if set(_words(name)) <= set(words)]
        found = {names[name] for name in inside if not any(set(_words(name)) < set(_words(o)) for o in inside)}
        if len(found) == 1:
            kind = self.kinds[found.pop()]
            each = [(word, key) for name, key in names.items() for word in _words(name)]
            own = {word for word, key in each if key in (kind.key, "any laser")}
            light = (*self.text("new.light").split(), self.text("new.steady"), self.text("new.pulsed"))
            others = {*(word for word, _ in each), *light} - own
            for word in words:  # what would change the light is not dropped without a word
                if word in others or (any(map(str.isdigit, word)) and word not in own):
                    self.lost(given, word, kind)
            return kind
        plain = {" ".join(_words(name)): key for name, key in names.items()}
        near = difflib.get_close_matches(" ".join(words)[:60], plain, 1, 0.8)
        message = f"laser = '{given.strip()[:60]}': " + self.text("new.no_kind", **self.known())
        if not near or found:
            raise InputError(message)
        question, yes = self.text("new.meant", kind=self.name(plain[near[0]])), self.text("new.yes")
        default = yes if self.patient else ""
        with contextlib.suppress(EOFError):
            answer = self.ask(f"{given.strip()[:60]}: {question}", self.text("changes.lasers"), default)
            if (answer or default).casefold() in (yes, yes[0]):
                return self.kinds[plain[near[0]]]
        message += f"; {question}"
        raise InputError(message)

    def lost(self, given: str, word: str, kind: LaserKind) -> None:
        """Refuse a word or value that would not be written down."""
        lost = self.text("new.more_said", word=word, kind=self.name(kind.key), **self.known())
        refuse(f"laser = '{given.strip()[:60]}': {lost}")

    def laser(self, kind: LaserKind, told: Sequence[str]) -> list[str]:
        """Return the lines of one laser, of which some values were told already."""
        from lasersafe.models.emission import POWER, PULSE, RATE
        from lasersafe.models.laser import DIVERGENCE, WAVELENGTH

        marks: dict[str, Measured] = {
            "wavelength": WAVELENGTH, "power": POWER, "pulse_duration": PULSE, "repetition_rate": RATE,
            "divergence": DIVERGENCE,
        }  # fmt: skip
        unknown, steady, pulsed = (self.text(f"new.{key}") for key in ("unknown", "steady", "pulsed"))
        usual = {
            "wavelength": kind.wavelength, "emission": pulsed if kind.emission == "pulse train" else steady,
            "power": kind.power, "divergence": unknown,
        }  # fmt: skip

        def emission(given: str) -> str:
            for word in (steady, pulsed):
                if word.casefold().startswith(given.strip().casefold()):
                    return word
            refuse(f"emission = '{given[:60]}': " + self.text("new.one_of", words=f"{steady} / {pulsed}"))

        known: dict[str, str] = {}
        for part in told:
            before = dict(known)
            if part.casefold() in (steady, pulsed):
                known["emission"] = part.casefold()
                if before.get("emission", part.casefold()) != part.casefold():
                    self.lost(part, before["emission"], kind)
                continue
            for key, mark in marks.items():
                with contextlib.suppress(InputError):
                    parse_quantity(_ends(part)[-1], mark.unit, key)  # its unit fits, so that it is this value
                    known[key] = part
            if part not in known.values():
                refuse(f"laser = '{part[:60]}': " + self.text("new.no_value"))
            key = next(name for name, value in known.items() if value == part)
            if before.get(key, part) != part:
                self.lost(part, before[key], kind)
            marks[key].read(_ends(part)[-1], key)
        said = dict(known)

        def lines(values: Mapping[str, str]) -> list[str]:
            light = [f'kind = "{"pulse train" if values["emission"] == pulsed else "continuous"}"']
            light += [
                f"{key} = {_quoted(values[key])}" for key in ("pulse_duration", "repetition_rate") if key in values
            ]
            light += [f"{'mean_power' if values['emission'] == pulsed else 'power'} = {_quoted(values['power'])}"]
            beam = f'setup = [{{ kind = "collimated", divergence = {_quoted(values["divergence"])} }}]'
            return [
                "[[laser]]",
                f'like = "{kind.key}"',
                f"wavelength = {_quoted(values['wavelength'])}{_mark('wavelength' in said)}",
                f"emission = {{ {', '.join(light)} }}{_mark(said.keys() >= {'emission', 'power'})}",
                *([] if values["divergence"] == unknown else [beam]),
            ]

        def read(key: str, given: str) -> str:
            if key == "divergence" and given.casefold() in (unknown, "unknown", "?"):
                return unknown
            for one in _ends(given):
                marks[key].read(one, key)
            trial = {**usual, **needed, **known, key: given}
            self.tried([*lines(trial), '[[person]]\nrole = "spectator"\ndistance = "8 m"'])
            return given

        needed: dict[str, str] = {}
        for key in ("wavelength", "emission", "power", *marks):
            if key in known or (key in ("pulse_duration", "repetition_rate") and key not in needed):
                continue
            check = emission if key == "emission" else partial(read, key)
            known[key], told_it = self.answer(key, usual.get(key, ""), check, laser=self.name(kind.key))
            if told_it and known[key] != unknown:
                said[key] = known[key]
            if known.get("emission") == pulsed and not kind.pulse_duration:  # nothing is usual: these have to be said
                needed = {"pulse_duration": "1 us", "repetition_rate": "1 Hz"}
        return lines(known)

    def people(self, who: str, said: str | None) -> str:
        """Return the line of one group: how many, and how near the nearest comes."""
        role, default = ("crew", "1 m") if who == "crew" else ("spectator", "8 m")

        def line(given: str, told: bool = False) -> str:
            found = _PEOPLE.match(given)
            if found is None or not given.strip():
                refuse(f"{who} = '{given[:60]}': " + self.text("new.no_people"))
            count, near = found["count"] or "", found["distance"] or default
            name = self.text(f"new.name_{who}_many" if count else f"new.name_{who}", count=count)
            camera = found["camera"]  # somebody looks through its lens
            name, aided = (f"{count} {camera}".strip(), ", aided = true") if camera else (name, "")
            row = f'  {{ name = "{name}", role = "{role}", distance = {_quoted(near)}{aided} }},'
            laser = 'like = "any laser"\nwavelength = "532 nm"\nemission = { kind = "continuous", power = "1 W" }'
            self.tried(["person = [", row, "]", "[[laser]]", laser])
            return row + _mark(told and found["distance"] is not None)

        return line(said, told=True) if said else self.answer(who, default, partial(line, told=True))[0]

    @staticmethod
    def tried(lines: Sequence[str]) -> None:
        """Refuse what a case would refuse, at the question that asks for it."""
        from lasersafe.models import parse_case

        try:
            parse_case("\n".join(lines) + "\n")
        except CaseError as error:
            refuse("; ".join(f"{fault.field}: {fault.message}" for fault in error.faults))


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text).casefold())  # CO₂ is CO2


def _ends(answer: str) -> list[str]:
    """Return the ends of a range as typed, as ``2..350 ns``, or the one value that was typed."""
    first, *last = (part.strip() for part in answer.split("..", 1))
    unit = re.search(r"[^\W\d_].*", last[0]) if last and not re.search(r"[^\W\d_]", first) else None
    return [first + (f" {unit[0]}" if unit else ""), *last]


def _quoted(answer: str) -> str:
    ends = _ends(answer)
    return json.dumps(ends if len(ends) == 2 else ends[0], ensure_ascii=False)


def _mark(told: bool) -> str:
    from lasersafe.models import REPLACE

    return "" if told else f"  {REPLACE}"


def check_lines(path: Path) -> tuple[dict[str, Any], list[str], int]:
    """Return the faults of a case as JSON, as lines and as exit code; a case without faults is worked out as well.

    What it still says as a starter case does is no fault, nor is eyewear that cannot be read: each is a remark. A fault
    is told in English in any language: it speaks of fields, and a case that cannot be read has no language.
    """
    from lasersafe.assessment import assess
    from lasersafe.assessment.protection import unreadable_markings
    from lasersafe.models import REPLACE, read_case

    faults, lines, wording, said = list[Fault](), list[str](), load_wording(), ""
    values: list[StarterValue] = []

    def remark(line: int | None, key: str, **values: str) -> str:
        where = "" if line is None else wording.text("terminal.line", line=line)
        return wording.text("terminal.remark", said=f"{where}{wording.text(f'terminal.{key}', **values)}")

    try:
        case = read_case(path)
        wording = load_wording(case.language)
        values = list(assess(case).record.starter_values)
        for one in values:
            key = "as_in_starter" if one.starter else "marked"
            words = {"field": one.field, "name": one.name, "starter": one.starter, "mark": REPLACE[2:]}
            lines.append(remark(one.line, key, **words))
        for i, person, reason in unreadable_markings(case):
            line, facts = case._lines.get(("person", i, "eyewear")), {"typed": shown(person.eyewear)}
            why = wording.say(reason)
            lines.append(remark(line, "unreadable", field=f"person[{i + 1}].eyewear", reason=why, **facts))
    except CaseError as error:
        faults, said = list(error.faults), str(error)
    except CalcError as error:
        faults = [Fault(None, "case", str(error))]
    data = {
        "case": str(path),
        "faults": as_json(faults),
        "starter_values": as_json(values),
        "remarks": [one.strip() for one in lines],
    }
    head = wording.text("terminal.one_fault" if faults else "terminal.no_faults", case=path, count=len(faults))
    told = [said] if said else [head, *(f"  {fault}" for fault in faults), *([] if faults else lines)]
    return data, told, 2 if faults else 0


def write_case_sheet(
    path: Path, output: Path, paper: str | None, replace: bool = False
) -> tuple[dict[str, Any], list[str]]:
    """Assess a case, write its sheet with the signatures on record, and return what to print as JSON and as lines."""
    from lasersafe.models import parse_case, read_case_text
    from lasersafe.signing.making import annex_path, make_sheet, refuse_to_lose_sheet, save_sheet
    from lasersafe.signing.record import read_record, record_path

    if output == DASH:
        refuse("output = '-': a sheet and its annex are two files; name the file of the sheet")
    text = read_case_text(path)
    case = parse_case(text, str(path))
    refuse_to_lose_sheet(output, case_mark(path.name, case.title), replace)  # before there is work
    refuse_to_lose(annex_path(output), mark_of("annex", path.name, case.title), replace=replace)
    suffix_of(output, "output", ".pdf")
    made = make_sheet(text, case, read_record(record_path(path)), paper, file=path.name)
    copy = save_sheet(output, made, replace)
    wording, signed = load_wording(made.assessment.language), made.sign_off
    state = wording.text(f"terminal.state_{signed.state.replace(' ', '_')}")
    more = [("annex", annex_path(output)), *(("changed", line) for line in signed.changed)]
    more += [("kept", copy)] if copy is not None else []
    lines = [made.assessment.decision.verdict, f"{wording.text('terminal.sheet', value=output)} ({state})"]
    lines += [wording.text(f"terminal.{key}", value=value) for key, value in more]
    data = {
        **_about({"sheet": str(output), "annex": str(annex_path(output))}, made.assessment),
        "state": signed.state,
        "missing_roles": list(signed.missing),
        "changed_since_sign_off": list(signed.changed),
        "kept": None if copy is None else str(copy),
        "caution": wording.caution_short,
    }
    return data, [*lines, wording.caution_short]


def _about(written: dict[str, str], assessment: Assessment) -> dict[str, Any]:
    """Return what was written, and what it says."""
    decision = assessment.decision
    return written | {
        "verdict": decision.verdict, "passed": decision.passed, "fingerprint": assessment.fingerprint,
    }  # fmt: skip


def write_case_page(
    path: Path, output: Path, paper: str | None, kind: str, replace: bool = False
) -> tuple[dict[str, Any], list[str]]:
    """Assess a case, write one of its pages to hand out, and return what to print as JSON and as lines."""
    from lasersafe.assessment import assess
    from lasersafe.models import read_case
    from lasersafe.sheet import PAPERS, render_sheet
    from lasersafe.signing.making import results_of
    from lasersafe.signing.record import read_record, record_path, results_digest, sign_off_of

    case = read_case(path)
    size = choice("paper", paper or case.paper, PAPERS)
    mark = mark_of(kind, path, case.title)
    refuse_to_lose(output, mark, replace=replace)  # before there is work
    suffix_of(output, "output", ".pdf")
    record = read_record(record_path(path))
    assessment = assess(case, wanted="all" if record.entries else "drawn")
    digest = results_digest(results_of(assessment)) if record.entries else ""  # only signatures are compared with it
    signed = sign_off_of(case, assessment, record, digest)
    pages = render_sheet(assessment, paper=size, kind=kind, sign_off=signed)
    write_outputs([Output(output, pages, mark)], replace=replace)
    wording = load_wording(assessment.language)
    data = _about({"page": str(output)}, assessment) | {"caution": wording.caution_short}
    return data, [wording.text("terminal.page", value=output), wording.caution_short]


def write_demo(folder: Path) -> tuple[dict[str, Any], list[str]]:
    """Write the demo case and its sheet and return what to print as JSON and as lines."""
    case = folder / "demo.toml"
    sheet = folder / "demo.pdf"
    write_starter(case, "demo", replace=False, starters_too=True)
    data, (verdict, *lines) = write_case_sheet(case, sheet, None)
    return {"case": str(case), **data}, [verdict, load_wording().text("terminal.case", value=case), *lines]


def notice_of(path: Path) -> tuple[dict[str, Any], list[str]]:
    """Return the data for a notice to an authority, as JSON and as lines."""
    from lasersafe.assessment import assess_file
    from lasersafe.sheet.pages import notice_lines

    assessment = assess_file(path, wanted="drawn")
    wording, area = load_wording(assessment.language), assessment.record.area
    zones = {(s.laser, s.setup): s.zones for s in assessment.setups}
    beam_keys = ("setup", "fitted", "kind", "waist_diameter", "waist_position", "divergence")
    data = {
        "permission": "none is claimed or implied",
        **as_json(assessment, ("title", "place", "dates")),
        **{key: area[key] or None for key in ("running_times", "beam_directions", "coordinates", "contact")},
        **as_json(assessment, ("people", "rule_set", "fingerprint")),
        "lasers": [
            {
                **_light(facts),
                **as_json(facts, ("class_label", "serial")),
                "further_wavelengths": [_light(line) for line in facts.lines],
                "beams": [
                    {
                        **as_json(beam, beam_keys),
                        "criterion": "1/e, full angle",
                        "distances": as_json(zones[facts.name, beam.setup], ("way", "tissue", "distance", "origin")),
                    }
                    for beam in facts.beams
                ],
            }
            for facts in assessment.record.lasers
        ],
        "caution": wording.caution_short,
    }
    return data, [*notice_lines(assessment, wording), "", wording.caution_short]


def _light(one: LaserFacts) -> dict[str, Any]:
    """Return what one wavelength is, and the eyewear that covers everybody."""
    ranges = ("power", "pulse_energy", "pulse_duration", "repetition_rate")
    need = one.eyewear
    return {
        **as_json(one, ("name", "wavelength", "seen", "kind", *ranges)),
        "eyewear": need and (need.marking if need.reliable else need.no_reliance),
        "optical_density": need and need.optical_density,
    }
