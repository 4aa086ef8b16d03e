"""The pages for a maker and an officer: what eyewear has to carry in front of a beam; a case, its faults, its files."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from lasersafe.ask.drawings import drawings_of
from lasersafe.ask.eyewear import UNKNOWN, eyewear_answer
from lasersafe.ask.printed import subjects
from lasersafe.assessment import assess, fingerprint
from lasersafe.assessment.decision import way_of
from lasersafe.drawing.primitives import BLACK, Area, Drawing, Lines, Mark, Run, arrow, box, to_svg
from lasersafe.drawing.text import decimals, tidy
from lasersafe.errors import CaseError, InputError
from lasersafe.models import parse_case
from lasersafe.page.forms import Fields, FormError, Texts
from lasersafe.page.reader import colours, question_of
from lasersafe.quantity import format_quantity, times
from lasersafe.records import badness
from lasersafe.wording import load_wording, localise

if TYPE_CHECKING:
    from lasersafe.results import Assessment, Scenario

MOST_PAIRS = 12
_TYPED = (  # fields whose text is repeated with the answer, for a print
    "wavelength", "power", "pulse_energy", "pulse_duration_from", "pulse_duration_to", "repetition_rate_from",
    "repetition_rate_to",
)  # fmt: skip

_WIDE, _HIGH = 180.0, 80.0  # [mm] of the picture
_FACE = 0.35  # of its size in life
_BEAM, _PALE, _SKIN, _GLASS = "#8f1d4f", "#e3b7c9", "#efe6dc", "#1d4e9e"
# A face from the side, looking left, in millimetres from the pupil, to the right and up; drawn for this page.
_PROFILE: Run = (
    (70, 95), (30, 98), (6, 84), (-4, 58), (-6, 30), (-3, 12), (-10, -2), (-22, -30), (-24, -38), (-8, -44), (-12, -54),
    (-9, -60), (-13, -68), (-8, -76), (-9, -92), (4, -102), (26, -98), (48, -84), (54, -112), (110, -112), (106, -40),
    (118, 20), (108, 66),
)  # fmt: skip


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
        ``need``, ``pairs``, ``assumed``, ``picture``.

    Raises
    ------
    FormError
        If something is missing or wrong.
    """
    fields = Fields(form, Texts(language))
    question = question_of(fields)
    pairs = [line.strip() for line in fields.typed("pairs").splitlines() if line.strip()]
    if len(pairs) > MOST_PAIRS:
        fields.fault("pairs", "glasses.many_pairs", most=MOST_PAIRS)
    if fields.faults:
        raise FormError(fields.faults)
    say, wording = fields.say, load_wording(language)
    try:
        need = eyewear_answer(replace(question, wearing=pairs))
    except InputError as error:
        return {"error": wording.say(error.args[0])}

    def said(message: Any) -> str:
        return say.number(wording.say(message))

    def pair(worn: dict[str, Any]) -> dict[str, Any]:
        bands = (wording.text("eyewear.ends", band=band) for band in worn["bands_that_end_here_nm"])
        return {
            **worn,
            "verdict": wording.say(worn["verdict"]),
            "reasons": [*map(said, worn["reasons"]), *map(say.number, bands)],
        }

    text = format_quantity(10.0 ** need["optical_density"], "1", 2, "up")  # so many times less light may pass
    mantissa, _, exponent = text.partition("e")
    parts = f"{mantissa} · 10^{int(exponent)}" if exponent else f"{int(float(text)):,}".replace(",", "\u202f")
    width, density, reliable = need["beam_diameter_63_m"], need["optical_density"], need["reliable"]
    assumed = [said(one) for one in need["assumed"]]
    if not fields.typed("wavelength"):  # what a colour was taken for
        first, last = colours()[fields.typed("colour")]
        assumed.insert(0, say("glasses.assumed_colour", first=f"{first} nm", last=f"{last} nm"))
    return {
        "faults": {},
        "need": {
            "reliable": reliable,
            "none": said(need["no_reliance"]),
            "order": wording.say(need["marking"]),
            "density": f"{density:.1f}",
            "scales": [
                f"{mode} LB{number}" if number else say("glasses.beyond", mode=mode)
                for mode, number in need["scale_numbers"].items()
            ],
            "letters": {letter: said(meaning) for letter, meaning in need["letters"].items()},
            "decides": said(need["decides"]),
            "notes": [said(note) for note in need["notes"]],
            "time": format_quantity(need["duration_s"], "s"),
            "width": format_quantity(width, "m", 4),
            "rule_sets": need["rule_sets"],
        },
        "pairs": [pair(worn) for worn in need["wearing"]],
        "assumed": assumed,
        "typed": {name: say(f"glasses.{name}") for name in _TYPED if fields.typed(name)},
        "picture": _beam_and_face(width, reliable, say),
        "words": [
            say(f"picture.{'unknown_width' if question.beam_diameter == UNKNOWN else 'width'}",
                width=say.quantity(width, "m", rounding="nearest")),
            say(f"picture.{'parts' if reliable else 'no_filter'}",
                density=say.number(f"{density:.1f}"), parts=parts),
            say("picture.scale"),
        ],
        "caution": wording.caution_short,
    }  # fmt: skip


# ---------------------------------------------------------------------------------------------------------------------
# The picture: the beam to scale in front of a face, and what a filter lets through


def _beam_and_face(width: float, reliable: bool, say: Texts) -> str:
    """Return a beam of a width [m] at a face as an SVG element, and whether eyewear can be relied on at all."""
    eye = (126.0, 42.0)
    face: Run = tuple((eye[0] + 6.0 + x * _FACE, eye[1] + y * _FACE) for x, y in _PROFILE)
    half = min(max(width * 1e3 * _FACE, 0.7), 60.0) / 2.0
    glass = eye[0] - 2.5
    frame = ((glass, eye[1] + 7.0), (eye[0] + 26.0, eye[1] + 5.0))
    marks: list[Mark] = [
        Area((face,), _SKIN),
        Lines(((*face, face[0]),), BLACK, 0.4),
        Lines((((eye[0] + 4.0, eye[1] + 2.0), (eye[0] + 8.5, eye[1]), (eye[0] + 4.0, eye[1] - 2.0)),), BLACK, 0.5),
        Area((box((14.0, eye[1] - half, glass, eye[1] + half)),), _BEAM),
    ]
    if reliable:
        marks += [Lines((((glass + 1.2, eye[1]), (eye[0] + 4.5, eye[1])),), _PALE, 0.5, (1.0, 0.8))]
    else:
        marks += [Area((box((glass, eye[1] - half, eye[0] + 5.0, eye[1] + half)),), _BEAM)]
    marks += [
        Lines((((glass, eye[1] - 9.0), (glass, eye[1] + 9.0)), frame), _GLASS, 1.4),
        *arrow((3.0, eye[1]), (13.0, eye[1]), _BEAM, 0.8, 3.0),
    ]
    return inline(to_svg(Drawing("chart", say("picture.title"), _WIDE, _HIGH, (0, 0, _WIDE, _HIGH), 0, marks)))


def inline(svg: str) -> str:
    """Return an SVG file as an element of a page, as wide as there is room."""
    start = svg.index("<svg")
    head, close, rest = svg[start:].partition(">")
    words = [word for word in head.split(" ") if not word.startswith(("width=", "height="))]
    return " ".join(words) + ' role="img" class="drawing"' + close + rest


def case_answer(text: str, name: str, language: str) -> dict[str, Any]:
    """Return what the page shows of a case.

    Parameters
    ----------
    text : str
        The case file; untrusted.
    name : str
        Name of the file, without a folder; only shown.
    language : str
        Language of the page.

    Returns
    -------
    dict
        ``faults``, each with its line and the text of it; or ``brief``, ``people``, ``plan`` and the rest of it.
    """
    try:
        case = parse_case(text, name)
    except CaseError as error:
        lines, faults = text.split("\n"), list[dict[str, Any]]()
        for one in error.faults:
            typed = "".join(lines[one.line - 1 : one.line]).strip()[:200] if one.line else ""
            faults.append({"line": one.line, "field": one.field, "message": one.message, "text": typed})
        return {"faults": faults}
    assessment = assess(case, language)
    wording, say = load_wording(language), Texts(language)
    shown = localise(assessment, wording)
    return {
        "faults": [],
        "title": shown.title,
        "passed": shown.decision.passed,
        "brief": rows_of(shown, say),
        "people": people_of(shown, say),
        "plan": "" if assessment.scene is None else inline(to_svg(drawings_of(assessment, "A4")[0])),
        "starters": [{"line": one.line, "field": one.field, "name": one.name} for one in shown.record.starter_values],
        "fingerprint": fingerprint(case, case.language),
        "caution": wording.caution_short,
    }


def sentence(text: str, say: Texts) -> str:
    """Return a sentence of the program with its numbers held together, as the language of the page writes them."""
    with decimals(load_wording(say.language)):
        spoken = tidy(text) if say("page.decimal_mark") != "." else text
    return re.sub(r"(?<=\d) (?=\d{3}\b|m\b)", "\u00a0", spoken)


def rows_of(assessment: Assessment, say: Texts) -> list[dict[str, Any]]:
    """Return the short answer that the command line gives, whole: each subject with its lines."""
    rows: list[dict[str, Any]] = []
    for label, line in subjects(assessment):
        if label:
            rows.append({"label": label, "lines": []})
        rows[-1]["lines"].append(sentence(line, say))
    return rows


def people_of(assessment: Assessment, say: Texts) -> list[dict[str, Any]]:
    """Return the worst way of each person that is not struck out: how many times the limit, and what answers it."""
    wording = load_wording(say.language)
    found: dict[str, Scenario] = {}
    for s in sorted(assessment.counted, key=lambda s: (s.below, bool(s.answer), -badness(s.ratio))):
        found.setdefault(s.person, s)
    return [
        {
            "person": s.person,
            "way": way_of(s, wording),
            "laser": s.laser,
            "distance": say.quantity(s.distance, "m", rounding="down"),
            "ratio": say.number(times(s.ratio)),
            "answer": say("case.below") if s.below else sentence(s.answer, say) or say("case.unanswered"),
            "open": not s.below and not s.answer,
        }
        for s in found.values()
    ]


def case_file(text: str, name: str, what: str) -> dict[str, Any]:
    """Return a file of a case, in the language of the case: the bytes that the command line writes for an unsigned one.

    Parameters
    ----------
    text : str
        The case file; untrusted.
    name : str
        Name of the file, without a folder; the sheet carries it.
    what : str
        ``sheet``, ``annex`` or ``plan``.

    Raises
    ------
    CaseError
        If the case has faults.
    InputError
        If it has no plan.
    """
    case = parse_case(text, name)
    if what == "plan":
        return {"content": to_svg(drawings_of(assess(case, wanted="drawn"), "A4")[0]).encode()}
    from lasersafe.signing.making import make_sheet

    made = make_sheet(text, case, file=name)
    return {"content": made.marked_annex if what == "annex" and made.annex is not None else made.content}
