"""From a question typed as a command to its files and the words of its answer."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from lasersafe.ask.plans import picture
from lasersafe.errors import InputError
from lasersafe.files import existing
from lasersafe.hazard.marking import parse_marking
from lasersafe.outputs import DASH, Output, mark_of, write_outputs
from lasersafe.quantity import format_quantity, parse_quantity
from lasersafe.records.fields import badness
from lasersafe.studies.solving import Answer, Target, read_choice, solve
from lasersafe.studies.sweeping import (
    DURATION,
    TISSUES,
    WAYS,
    Sweep,
    nearest_text,
    open_subject,
    read_varied,
    sweep,
    trimmed,
)
from lasersafe.studies.tables import (
    CORNER,
    as_csv,
    as_json,
    as_parquet,
    as_text,
    certainty,
    certainty_data,
    check_drawable,
    draw,
    durations,
    need_pyarrow,
    worked_out_with,
    zone_of,
)
from lasersafe.typed import shown
from lasersafe.wording import caution_line, load_wording

TABLES = (".csv", ".json", ".parquet")
DRAWINGS = (".svg", ".png", ".pdf")
NEAREST_PLACE, FARTHEST_PLACE = 1e-3, 1e6  # m
HIGHEST_DENSITY = 20.0


def place_of(text: str, option: str) -> float:
    """Return a distance that was typed. [m].

    Raises
    ------
    InputError
        If it is no length, or not between 1 mm and 1000 km.
    """
    value = parse_quantity(text, "m", option).value
    if not NEAREST_PLACE <= value <= FARTHEST_PLACE:
        message = f"{option} = {shown(text)}: must be 1 mm or more, and at most 1000 km"
        raise InputError(message)
    return value


def run_sweep(
    path: Path,
    vary: Sequence[str],
    laser: str | None,
    setup: str | None,
    at: str | None,
    output: Path | None,
    drawing: Path | None,
    show: str | None,
    replace: bool = False,
) -> tuple[str, dict[str, Any]]:
    """Work a sweep out, write its files, and return what to print as text and as JSON.

    Parameters
    ----------
    path : pathlib.Path
        The case file.
    vary : sequence of str
        Inputs and their values, as typed.
    laser, setup : str or None
        Names.
    at : str or None
        Where the optical density is asked for.
    output, drawing : pathlib.Path or None
        Files to write; the suffix says the format.
    show : str or None
        Way and tissue that the drawing shows.
    replace : bool
        Whether files may be replaced that this command did not write for this case.

    Raises
    ------
    InputError
        If the question cannot be answered as typed; no file is written then.
    OutputError
        If a file cannot be written.
    """
    if not vary:
        message = "vary: missing; say what to change, as --vary setup.divergence=1mrad..10mrad:50"
        raise InputError(message)
    _check_name(None if output == DASH else output, "output", TABLES)
    _check_name(drawing, "drawing", DRAWINGS)
    if output is not None and output.suffix.lower() == ".parquet":
        need_pyarrow()
    zone = None if show is None else zone_of(show)
    place = None if at is None else place_of(at, "at")
    subject = open_subject(path, laser, setup)
    varied = read_varied(subject, vary)
    if drawing is not None:
        check_drawable(varied)
    found = sweep(subject, varied, place)
    files = [
        Output(name, _content(found, name, zone), mark_of(f"sweep {kind}", path, subject.case.title))
        for kind, name in (("table", output), ("drawing", drawing))
        if name is not None
    ]
    write_outputs(files, replace=replace)
    if not files:
        return as_text(found), as_json(found)
    written = {key: str(name) for key, name in (("table", output), ("drawing", drawing)) if name is not None}
    data: dict[str, Any] = {**written, "points": found.size, "caution": caution_line()}
    lines = [f"{key}: {name}" for key, name in written.items()]
    if output is None:
        return "\n".join([*lines, as_text(found)]), {**as_json(found), **data}
    return "\n".join([*lines, f"{found.size} points", data["caution"]]), data


def _check_name(path: Path | None, option: str, suffixes: tuple[str, ...]) -> None:
    if path is None:
        return
    if path.suffix.lower() not in suffixes:
        message = (
            f"{option} = {shown(path.name[-40:])}: the name must end in {', '.join(suffixes[:-1])} or {suffixes[-1]}"
        )
        raise InputError(message)
    existing(path, 0)  # a folder, a pipe, a link: refused before there is work


def _content(found: Sweep, path: Path, zone: tuple[str, str] | None) -> bytes:
    suffix = path.suffix.lower()
    if suffix == ".csv" or path == DASH:
        return as_csv(found).encode()
    if suffix == ".json":
        return (json.dumps(as_json(found), indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
    if suffix == ".parquet":
        return as_parquet(found)
    page = draw(found, zone)
    if suffix != ".pdf":
        return picture(page, suffix)
    from lasersafe.sheet.drawings import drawings_pdf

    named = {"title": found.subject.case.title, "name": found.subject.name}
    return drawings_pdf([page], named, found.subject.name, load_wording())


def read_target(
    at: str | None, eyewear: str | None, density: str | None, way: Sequence[str], tissue: Sequence[str]
) -> Target:
    """Return what has to hold, as typed.

    Raises
    ------
    InputError
        If a part is missing, or parts contradict each other.
    """
    if at is None:
        message = "at: missing; say where the person is, as --at '6 m'"
        raise InputError(message)
    place = place_of(at, "at")
    ways, tissues = read_choice(way, WAYS, "way"), read_choice(tissue, TISSUES, "tissue")
    if eyewear is None and density is None:
        return Target(place, ways, tissues)
    if eyewear is not None and density is not None:
        message = "eyewear and density are both given; a marking says its density itself, leave --density out"
        raise InputError(message)
    if way or tissue:
        message = "way, tissue: with eyewear every way counts, and the eye; leave --way and --tissue out"
        raise InputError(message)
    if eyewear is not None:
        if not eyewear.strip():
            message = "eyewear = '': nothing is written here; write its marking, as '1064 D LB6'"
            raise InputError(message)
        parse_marking(eyewear.strip())  # what cannot be read is no question
        return Target(place, marking=eyewear.strip())
    worn = parse_quantity(density, "1", "density").value
    if not 0.0 < worn <= HIGHEST_DENSITY:
        message = f"density = {shown(density)}: must be above 0 and at most {HIGHEST_DENSITY:g}"
        raise InputError(message)
    return Target(place, density=worn)


def run_solve(
    path: Path,
    wanted: str | None,
    at: str | None,
    eyewear: str | None,
    density: str | None,
    way: Sequence[str],
    tissue: Sequence[str],
    between: str | None,
    laser: str | None,
    setup: str | None,
    *,
    whole: bool = True,
) -> tuple[str, dict[str, Any]]:
    """Return the answer to a question backwards, as text and as JSON; if wanted with what the whole case then says.

    Raises
    ------
    InputError
        If the question cannot be answered as typed.
    """
    if wanted is None:
        message = "for: missing; say which input is asked for, as --for laser.power"
        raise InputError(message)
    target = read_target(at, eyewear, density, way, tissue)
    subject = open_subject(path, laser, setup)
    answer = solve(subject, subject.input(wanted), target, between)
    lines, data = sentences(answer), _data(answer)
    if whole and answer.value is not None and answer.input.path != DURATION and answer.input.ends is None:
        words, data["whole_case"] = _whole(answer)
        lines.insert(-1, words)
    return "\n".join([*lines, caution_line()]), {**data, "sentences": lines, "caution": caution_line()}


def _whole(answer: Answer) -> tuple[str, dict[str, Any]]:
    """Return what the assessment of the whole case says with the answer in it: all lasers, ways, faults and persons."""
    from lasersafe.assessment import assess
    from lasersafe.assessment.decision import metres, times, way_of

    found = assess(answer.subject.whole(answer.changed), in_full=False)
    above = sorted((s for s in found.counted if not s.below), key=lambda s: -badness(s.ratio))
    far = badness(math.nan if found.decision.headline_distance is None else found.decision.headline_distance)
    wording = load_wording()
    data = {"distance_m": far if math.isfinite(far) else None, "above_the_limit": len(above), "worst": None}
    text = answer.text if answer.subject.context.setup.fitted else wording.text("solve.not_fitted", value=answer.text)
    values = {"value": text, "distance": metres(far, False) if math.isfinite(far) else wording.text("brief.no_bound")}
    if not above:
        return wording.text("solve.whole_below", **values), data
    worst = {"person": above[0].person, "way": way_of(above[0], wording), "ratio": times(above[0].ratio)}
    return wording.text("solve.whole_above", count=len(above), **values, **worst), {**data, "worst": worst}


def sentences(answer: Answer) -> list[str]:
    """Return the answer in words, the answer itself first."""
    one, subject = answer.input, answer.subject
    low, high = nearest_text(answer.low, one), nearest_text(answer.high, one)
    cautious = low if answer.largest else high
    corner = "at the worst corner of the other inputs " if worked_out_with(subject, answer.changed) == CORNER else ""
    lines = [f"{subject.name}{'' if subject.context.setup.fitted else ' (not fitted today)'}: {_goal(answer)}"]
    if answer.value is None:
        lines.append(f"{one.path}: no value from {low} to {high} does it")
        lines.append(f"put back: with {cautious}, the cautious end, {corner}{answer.put_back.words}")
    else:
        most = "at most" if answer.largest else "at least"
        lines.append(f"{one.path}: {most} {answer.text}{_nominal(answer)}")
        if answer.every:
            lines.append(f"every value from {low} to {high} does it; farther was not searched")
        lines.append(f"put back: with {answer.text} {corner}{answer.put_back.words}")
        side = "down" if answer.largest else "up"
        lines.append(
            f"searched from {low} to {high} at {answer.tried} values or more and, next to the answer, closer; it holds "
            f"at each of them from the answer {side} to {cautious}"
        )
    lines.append(durations(subject, {one.path}))
    return [*lines, *certainty(subject, answer.changed), *_notes(answer)]


def _goal(answer: Answer) -> str:
    target = answer.target
    place = trimmed(format_quantity(target.place, "m", 4))
    if target.marking:
        return f"eyewear {shown(target.marking)} is enough for the eye at {place} and beyond, by density and class"
    if target.density is not None:
        return f"an optical density of {target.density:g} is enough for the eye at {place} and beyond"
    ways = ", ".join({"direct": "direct beam"}.get(way, way) for way in target.ways)
    verb = "need" if len(target.tissues) > 1 else "needs"
    return f"{' and '.join(target.tissues)} {verb} no protection at {place} and beyond ({ways})"


def _nominal(answer: Answer) -> str:
    one = answer.input
    if one.nominal is None:
        if one.ends is None:
            return ""
        return f" (the case allows {nearest_text(one.ends[0], one)} to {nearest_text(one.ends[1], one)})"
    assert answer.value is not None
    low, high = one.span or (one.nominal, one.nominal)
    kept = high <= answer.value if answer.largest else low >= answer.value
    return f" (the case says {one.stated}" + (", which does it)" if kept else ")")


def _notes(answer: Answer) -> list[str]:
    target = answer.target
    notes = ["One laser with one set-up, its light alone; scatter is measured from the lit surface."]
    if answer.input.path == DURATION:
        notes.append("The duration asked for is that of the exposure, on every way; never shorter than one pulse.")
    if not target.bare and answer.put_back.skin > 0.0:
        reach = trimmed(format_quantity(answer.put_back.skin, "m", 3, "up"))
        where = "beyond that place too; eyewear does not cover it" if answer.put_back.skin > target.place else "nearer"
        notes.append(f"Skin: its limit is then exceeded up to {reach}, {where}.")
    if target.density is not None:
        notes.append("A density alone says nothing about damage: the filter may be pierced at once.")
    if not target.bare:
        notes.append("Eyewear protects against an accident; nobody may look into the beam because of it.")
    return notes


def _data(answer: Answer) -> dict[str, Any]:
    target, one = answer.target, answer.input
    unit = "" if one.unit == "1" else f"_{one.unit}"
    return {
        "title": answer.subject.case.title,
        "laser": answer.subject.context.laser.name,
        "setup": answer.subject.context.setup.name,
        "fitted": answer.subject.context.setup.fitted,
        "rule_sets": list(answer.subject.context.rule_sets),
        "field": one.path,
        "asked": "largest" if answer.largest else "smallest",
        f"answer{unit}": answer.value,
        "answer": answer.text or None,
        f"nominal{unit}": one.nominal,
        "stated": one.stated,
        **certainty_data(answer.subject, answer.changed),
        "found": "none" if answer.value is None else "every value" if answer.every else "a value",
        f"searched_low{unit}": answer.low,
        f"searched_high{unit}": answer.high,
        "values_tried": answer.tried,
        "at_m": target.place,
        "ways": list(target.ways),
        "tissues": list(target.tissues) if target.bare else ["eye"],
        "optical_density": target.density,
        "eyewear": target.marking or None,
        "put_back": {
            "holds": answer.put_back.holds,
            "words": answer.put_back.words,
            "skin_distance_m": answer.put_back.skin,
        },
    }
