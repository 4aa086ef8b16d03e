"""From a question typed as a command to its files and the words of its answer."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from lasersafe.ask.drawings import picture
from lasersafe.ask.questions import SolveQuestion, SweepQuestion
from lasersafe.drawing.values import decimals, measured
from lasersafe.errors import refuse
from lasersafe.files import DASH, Output, existing, mark_of, write_outputs
from lasersafe.hazard.marking import parse_marking
from lasersafe.quantity import format_quantity, parse_quantity, shown
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
from lasersafe.wording import Wording, caution_line, load_wording
from lasersafe.wording.message import Message, joined

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
        refuse(f"{option} = {shown(text)}: must be 1 mm or more, and at most 1000 km")
    return value


def run_sweep(case: Path, question: SweepQuestion, replace: bool) -> tuple[dict[str, Any], str]:
    """Work a sweep out, write its files, and return what to print as JSON and as text.

    Raises
    ------
    InputError
        If the question cannot be answered as typed; no file is written then.
    OutputError
        If a file cannot be written.
    """
    output, drawing = question.output, question.drawing
    if not question.vary:
        refuse("vary: missing; say what to change, as --vary setup.divergence=1mrad..10mrad:50")
    _check_name(None if output == DASH else output, "output", TABLES)
    _check_name(drawing, "drawing", DRAWINGS)
    if output is not None and output.suffix.lower() == ".parquet":
        need_pyarrow()
    zone = None if question.show is None else zone_of(question.show)
    place = None if question.at is None else place_of(question.at, "at")
    subject = open_subject(case, question.laser, question.setup)
    varied = read_varied(subject, question.vary)
    if drawing is not None:
        check_drawable(varied)
    found = sweep(subject, varied, place)
    names = {kind: name for kind, name in (("table", output), ("drawing", drawing)) if name is not None}
    files = [
        Output(name, _content(found, name, zone), mark_of(f"sweep {kind}", case, subject.case.title))
        for kind, name in names.items()
    ]
    write_outputs(files, replace=replace)
    if not files:
        return as_json(found), as_text(found)
    wording = load_wording(subject.case.language)
    lines = [wording.text(f"terminal.{kind}", value=name) for kind, name in names.items()]
    data = {kind: str(name) for kind, name in names.items()} | {"points": found.size, "caution": caution_line()}
    if output is None:
        return {**as_json(found), **data}, "\n".join([*lines, as_text(found)])
    return data, "\n".join([*lines, wording.text("terminal.points", count=found.size), wording.caution_short])


def _check_name(path: Path | None, option: str, suffixes: tuple[str, ...]) -> None:
    if path is None:
        return
    if path.suffix.lower() not in suffixes:
        refuse(
            f"{option} = {shown(path.name[-40:])}: the name must end in {', '.join(suffixes[:-1])} or {suffixes[-1]}"
        )
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


def _target(question: SolveQuestion) -> Target:
    """Return what has to hold.

    Raises
    ------
    InputError
        If a part is missing, or parts contradict each other.
    """
    if question.at is None:
        refuse("at: missing; say where the person is, as --at '6 m'")
    place = place_of(question.at, "at")
    ways = read_choice(question.way or (), WAYS, "way")
    tissues = read_choice(question.tissue or (), TISSUES, "tissue")
    if question.eyewear is None and question.density is None:
        return Target(place, ways, tissues)
    if question.eyewear is not None and question.density is not None:
        refuse("eyewear and density are both given; a marking says its density itself, leave --density out")
    if question.way or question.tissue:
        refuse("way, tissue: with eyewear every way counts, and the eye; leave --way and --tissue out")
    if question.density is None:
        marking = (question.eyewear or "").strip()
        if not marking:
            refuse("eyewear = '': nothing is written here; write its marking, as '1064 D LB6'")
        parse_marking(marking)  # what cannot be read is no question
        return Target(place, marking=marking)
    worn = parse_quantity(question.density, "1", "density").value
    if not 0.0 < worn <= HIGHEST_DENSITY:
        refuse(f"density = {shown(question.density)}: must be above 0 and at most {HIGHEST_DENSITY:g}")
    return Target(place, density=worn)


def run_solve(case: Path, question: SolveQuestion, *, whole: bool = True) -> tuple[dict[str, Any], str]:
    """Return the answer to a question backwards, as JSON and as text; if wanted with what the whole case then says.

    Raises
    ------
    InputError
        If the question cannot be answered as typed.
    """
    if question.wanted is None:
        refuse("for: missing; say which input is asked for, as --for laser.power")
    target = _target(question)
    subject = open_subject(case, question.laser, question.setup)
    answer = solve(subject, subject.input(question.wanted), target, question.between)
    lines, data, wording = _sentences(answer), _data(answer), load_wording(subject.case.language)
    if whole and answer.value is not None and answer.input.path != DURATION and answer.input.ends is None:
        words, data["whole_case"] = _whole(answer, wording)
        lines.insert(-1, words)
    with decimals(wording):
        said = [measured(wording.say(line)).replace(".; ", "; ") for line in lines]
    return {**data, "sentences": said, "caution": wording.caution_short}, "\n".join([*said, wording.caution_short])


def _whole(answer: Answer, wording: Wording) -> tuple[str, dict[str, Any]]:
    """Return what the assessment of the whole case says with the answer in it: all lasers, ways, faults and persons."""
    from lasersafe.assessment import assess
    from lasersafe.assessment.decision import metres, times, way_of

    found = assess(answer.subject.whole(answer.changed), in_full=False)
    above = sorted((s for s in found.counted if not s.below), key=lambda s: -badness(s.ratio))
    far = badness(math.nan if found.decision.headline_distance is None else found.decision.headline_distance)
    data = {"distance_m": far if math.isfinite(far) else None, "above_the_limit": len(above), "worst": None}
    text = answer.text if answer.subject.context.setup.fitted else wording.text("solve.not_fitted", value=answer.text)
    values = {"value": text, "distance": metres(far, False) if math.isfinite(far) else wording.text("brief.no_bound")}
    if not above:
        return wording.text("solve.whole_below", **values), data
    worst = {"person": above[0].person, "way": way_of(above[0], wording), "ratio": times(above[0].ratio)}
    return wording.text("solve.whole_above", count=len(above), **values, **worst), {**data, "worst": worst}


def _sentences(answer: Answer) -> list[str]:
    """Return the answer in words, the answer itself first."""
    one, subject, target, most = answer.input, answer.subject, answer.target, "most" if answer.largest else "least"
    ends = {"low": nearest_text(answer.low, one), "high": nearest_text(answer.high, one)}
    cautious = ends["low" if answer.largest else "high"]
    corner = "_in_corner" if worked_out_with(subject, answer.changed) == CORNER else ""
    name = Message("study.named" if subject.context.setup.fitted else "study.not_fitted", name=subject.name)
    place, back = trimmed(format_quantity(target.place, "m", 4)), answer.put_back
    if target.marking:
        goal = Message("study.goal_marking", marking=shown(target.marking), place=place)
    elif target.density is not None:
        goal = Message("study.goal_density", density=f"{target.density:g}", place=place)
    else:
        ways = joined([Message(f"study.way_{way}") for way in target.ways], ", ")
        goal = Message(f"study.goal_{'_'.join(target.tissues)}", place=place, ways=ways)
    lines: list[str] = [Message("study.goal", name=name, goal=goal)]
    if answer.value is None:
        lines.append(Message("study.none", field=one.path, **ends))
        lines.append(Message(f"study.back_cautious{corner}", value=cautious, words=back.words))
    else:
        lines.append(Message(f"study.at_{most}", field=one.path, value=answer.text, nominal=_nominal(answer)))
        lines += [Message("study.every", **ends)] if answer.every else []
        lines.append(Message(f"study.back{corner}", value=answer.text, words=back.words))
        lines.append(Message(f"study.searched_{most}", count=answer.tried, cautious=cautious, **ends))
    lines += [durations(subject, {one.path}), *certainty(subject, answer.changed), Message("study.alone")]
    lines += [Message("study.duration_asked")] if one.path == DURATION else []
    if not target.bare and back.skin > 0.0:
        reach = trimmed(format_quantity(back.skin, "m", 3, "up"))
        lines.append(Message(f"study.skin_{'beyond' if back.skin > target.place else 'nearer'}", distance=reach))
    lines += [Message("study.density_alone")] if target.density is not None else []
    return lines if target.bare else [*lines, Message("study.accident")]


def _nominal(answer: Answer) -> str:
    """Return what the case says of the input, and whether the answer allows that."""
    one, value = answer.input, answer.value
    if one.nominal is None or value is None:
        if one.ends is None:
            return ""
        return Message("study.allows", low=nearest_text(one.ends[0], one), high=nearest_text(one.ends[1], one))
    low, high = one.span or (one.nominal, one.nominal)
    kept = high <= value if answer.largest else low >= value
    return Message("study.says_kept" if kept else "study.says", stated=one.stated)


def _data(answer: Answer) -> dict[str, Any]:
    target, one, context, back = answer.target, answer.input, answer.subject.context, answer.put_back
    unit = "" if one.unit == "1" else f"_{one.unit}"
    return {
        "title": answer.subject.case.title,
        "laser": context.laser.name,
        "setup": context.setup.name,
        "fitted": context.setup.fitted,
        "rule_sets": list(context.rule_sets),
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
        "put_back": {"holds": back.holds, "words": back.words, "skin_distance_m": back.skin},
    }
