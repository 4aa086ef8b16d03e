"""Any text or data is a case or a list of faults; lines are right; a case means the same in any unit."""

from __future__ import annotations

import copy
import json
import math
import re
import tomllib
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lasersafe.data import templates_path
from lasersafe.errors import CaseError, Fault
from lasersafe.models import Case, canonical, case_from, lines_of, parse_case
from tools.case_fields import describe_fields

DEMO = templates_path("cases", "demo.toml").read_text(encoding="utf-8")
DATA = tomllib.loads(DEMO)


def read_or_faults(text: str) -> Case | CaseError:
    try:
        return parse_case(text)
    except CaseError as error:
        return error


def faults_of(data: Any) -> list[Fault]:
    try:
        case = case_from(data)
    except CaseError as error:
        return error.faults
    json.dumps(canonical(case), allow_nan=False)
    return []


def with_at(place: tuple[str | int, ...], value: Any) -> Any:
    data, spot = _copy_and_table(place)
    spot[place[-1]] = value
    return data


def without(place: tuple[str | int, ...]) -> Any:
    data, spot = _copy_and_table(place)
    del spot[place[-1]]
    return data


def _copy_and_table(place: tuple[str | int, ...]) -> tuple[Any, Any]:
    data = copy.deepcopy(DATA)
    spot: Any = data
    for part in place[:-1]:
        spot = spot[part]
    return data, spot


# --- lines -----------------------------------------------------------------------------------------------------------

KEYS = st.sampled_from(["a", "b", "c-d", "7", '"q.r"', "'s t'", '"\\u0041\\""', "b.a", 'c-d . "q.r"'])
LEAVES = [
    '"#]}"',
    "'\\'",
    '"""x\n[n] = """',
    "'''\n# y'''",
    '"\\\\"',
    '"""a\\""""',
    "1979-05-27 07:32:00",
    "true",
    "-1.5e3",
]


@st.composite
def values(draw: st.DrawFn, depth: int = 2) -> str:
    kind = draw(st.integers(0, 4 if depth else 1))
    if kind < 2:
        return "@" if kind else draw(st.sampled_from(LEAVES))
    inner = draw(st.lists(values(depth=depth - 1), max_size=3))
    if kind < 4:
        gap = draw(st.sampled_from(["", "\n ", " # ], 3\n"]))
        comma = draw(st.sampled_from(["", ","])) if inner else ""
        return "[" + gap + f"{gap},{gap}".join(inner) + comma + gap + "]"
    return "{ " + ", ".join(f"{draw(KEYS)} = {one}" for one in inner) + " }"


@st.composite
def documents(draw: st.DrawFn) -> str:
    """Draw valid TOML in which every @ became a number that stands there only."""
    text = ""
    for _ in range(draw(st.integers(1, 10))):
        kind = draw(st.integers(0, 5))
        if kind == 0:
            chunk = f"[{draw(KEYS)}]\n"
        elif kind == 1:
            chunk = f"  [[ {draw(KEYS)} ]] # [x]\n"
        elif kind == 2:
            chunk = draw(st.sampled_from(["\n", "# [a]\n", " \t\n\n"]))
        else:
            chunk = f"{draw(KEYS)} = {draw(values())}{draw(st.sampled_from(['', ' # = ']))}\n"
        try:
            tomllib.loads(text + chunk.replace("@", "0"))
        except tomllib.TOMLDecodeError:
            continue
        text += chunk
    number = iter(range(70001, 80000))
    return re.sub("@", lambda _: str(next(number)), text)


def places(tree: Any, place: tuple[str | int, ...] = ()) -> list[tuple[tuple[str | int, ...], Any]]:
    pairs = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    found = [] if place == () else [(place, tree)]
    for key, value in pairs:
        found += places(value, (*place, key))
    return found


@given(documents())
def test_every_key_and_element_has_its_line(text):
    tree = places(tomllib.loads(text))
    lines = lines_of(text)
    assert set(lines) == {place for place, _ in tree}
    for place, value in tree:
        if isinstance(value, int) and value > 70000:
            assert str(value) in text.splitlines()[lines[place] - 1], place


# --- anything goes in ------------------------------------------------------------------------------------------------


@given(st.integers(0, len(DEMO)), st.integers(0, 40), st.text(max_size=12))
def test_a_damaged_file_is_read_or_refused_with_lines(at, length, new):
    damaged = DEMO[:at] + new + DEMO[at + length :]
    found = read_or_faults(damaged)
    if isinstance(found, CaseError):
        assert found.faults
        for fault in found.faults:
            assert fault.line is None or 1 <= fault.line <= damaged.count("\n") + 1
            assert str(fault).isprintable()
    else:
        json.dumps(canonical(found), allow_nan=False)


JUNK = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8), st.dates(), st.times(),
        st.sampled_from(["1 W", "1 m", "lens", "continuous", "-1 W", "1e999 W"]), st.datetimes(),
    ),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=4), inner, max_size=2),
    max_leaves=4,
)  # fmt: skip
PLACES = [place for place, _ in places(DATA)]


@given(st.sampled_from(PLACES), JUNK)
def test_junk_at_any_place_is_read_or_refused(place, junk):
    assert all(str(fault).isprintable() for fault in faults_of(with_at(place, junk)))


NO_CASES = [None, 5, "x", [], [1], {}, 10**5000, {"laser": {}}, {"laser": [[]]}, {"": {}}, {5: 6}, {"title": 10**5000}]


@pytest.mark.parametrize("junk", NO_CASES, ids=range(len(NO_CASES)))
def test_junk_instead_of_a_case_is_refused(junk):
    with pytest.raises(CaseError):
        case_from(junk)


def test_each_key_alone_may_be_missing_or_is_named():
    needed: dict[tuple[str, str], bool] = {}
    for row in describe_fields():
        key = (row.table.partition(" (")[0], row.field)  # the kinds of one table together
        needed[key] = needed.get(key, True) and row.required
    for place in PLACES:
        if not isinstance(place[-1], str):
            continue
        faults = faults_of(without(place))
        names = ".".join(part for part in place[:-1] if isinstance(part, str))
        table = names and (f"[[{names}]]" if isinstance(place[-2], int) else f"[{names}]")
        missing = any(place[-1] in str(fault) and "missing" in str(fault) for fault in faults)
        if needed[table or "top of the file", place[-1]]:
            assert missing, place
        elif place[0] == "scene" and place[-1] in {"position", "area", "bearing", "kind"}:
            continue  # one of two keys is needed; a wall says that it is one
        elif place[-1] not in {
            "time_reason",
            "rated_time",
            "fitted",
            "mode",
            "pulse_duration",  # or duty
            "full_width",
            "width_at",
            "monitored",
            "reaction_time",
        }:
            elsewhere = {"spectator_rules"}  # rules are for a scene
            if place[-1] == "name" and place[0] in ("laser", "person"):
                continue  # a name is given, and the old one may be named elsewhere
            named_there = [f for f in faults if not f.field.startswith("scene.") and f.field not in elsewhere]
            assert not named_there, place  # what is gone may still be named in the scene
            assert not faults or place in {("scene",), ("scene", "barrier")} or place[0] != "scene", place


# --- meaning ---------------------------------------------------------------------------------------------------------

SAME = {
    "kW": ("W", "1000"),
    "W": ("mW", "1000"),
    "mm": ("um", "1000"),
    "m": ("cm", "100"),
    "nm": ("um", "0.001"),
    "mJ": ("J", "0.001"),
}


@given(st.lists(st.booleans(), min_size=200, max_size=200))
def test_a_case_means_the_same_in_any_unit(choices):
    choice = iter(choices)

    def other(match: re.Match[str]) -> str:
        number, unit = match.groups()
        if unit not in SAME or not next(choice):
            return match.group()
        name, factor = SAME[unit]
        return f'"{Decimal(number) * Decimal(factor)} {name}"'

    changed = re.sub(r'"([0-9.]+) (kW|W|mm|m|nm|mJ)"', other, DEMO)
    assume(changed != DEMO)
    assert canonical(parse_case(changed)) == canonical(parse_case(DEMO))


TEMPLATE = """
title = "t"
place = "p"
dates = "d"
review_by = 2026-11-14
in_charge = {{ assessor = "a", laser_safety_officer = "b", operator = "c", venue = "d" }}
person = [{{ name = "n", role = "crew", distance = "1 m" }}]
[[laser]]
name = "l"
class_label = "4"
wavelength = "{nm} nm"
emission = {{ kind = "continuous", power = "1 W" }}
[[laser.setup]]
name = "s"
kind = "collimated"
beam_diameter = "{mm} mm"
divergence = "{mrad} mrad"
criterion = "{criterion}"
profile = "{profile}"
"""


@given(
    st.floats(180, 1e6), st.floats(1e-3, 100), st.sampled_from(["1/e", "1/e2", "FWHM"]),
    st.sampled_from(["gaussian", "top-hat"]), st.sampled_from([0.5, 0.99, 0.999999, 1.000001, 1.01, 2.0]),
)  # fmt: skip
def test_a_divergence_below_diffraction_is_refused_and_one_above_is_taken(nm, mm, criterion, profile, factor):
    # independent of the code: a Gaussian of 1/e2 radius w has the half angle lambda / (pi w) at 1/e2
    wide = (
        {"1/e": math.sqrt(2), "1/e2": 1.0, "FWHM": math.sqrt(2 / math.log(2))}[criterion]
        if profile == "gaussian"
        else math.sqrt(2)
    )
    radius = mm * 1e-3 * wide / 2
    least = 2 * nm * 1e-9 / (math.pi * radius) / wide
    mrad = least * factor * 1e3
    assume(mrad < 999)
    found = read_or_faults(TEMPLATE.format(nm=nm, mm=mm, mrad=mrad, criterion=criterion, profile=profile))
    if factor > 1:
        assert isinstance(found, Case), found
    else:
        assert isinstance(found, CaseError)
        assert "is below the diffraction limit" in str(found)
        named = re.search(r"spreads by at least ([0-9.e-]+) (\w+)", str(found))
        assert named is not None
        assert float(named[1]) * {"rad": 1e3, "mrad": 1.0, "urad": 1e-3}[named[2]] >= least * 1e3 * (1 - 1e-9)


@given(st.floats(1e-13, 1e3), st.floats(1e-3, 1e9))
def test_a_pulse_longer_than_its_period_is_refused(seconds, hertz):
    emission = 'kind = "pulse train", mean_power = "1 W"'
    emission += f', pulse_duration = "{seconds!r} s", repetition_rate = "{hertz!r} Hz"'
    text = TEMPLATE.format(nm=532, mm=1, mrad=2, criterion="1/e2", profile="gaussian")
    text = text.replace('kind = "continuous", power = "1 W"', emission)
    found = read_or_faults(text)
    assert isinstance(found, CaseError) == (seconds * hertz > 1)
