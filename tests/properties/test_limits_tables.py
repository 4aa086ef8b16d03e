"""The table files: complete, sourced, and refused when they are not whole."""

from __future__ import annotations

import copy
import re

import pytest

from lasersafe.data import load_toml, shared_path
from lasersafe.errors import ReferenceDataError
from lasersafe.limits.grid import build
from lasersafe.limits.tables import assemble, load_rule_set, rule_sets

FILES = sorted(path for path in shared_path("limits").glob("*.toml") if path.name != "rule_sets.toml")


def contents(prefix):
    return {path.name: copy.deepcopy(load_toml(path)) for path in FILES if path.name.startswith(prefix)}


def rebuild(files):
    rules = assemble("test", files)
    for tissue in ("eye", "skin"):
        build(rules, tissue)
    return rules


def test_every_file_belongs_to_a_rule_set_and_the_other_way_round():
    index = load_toml(shared_path("limits", "rule_sets.toml"))["rule_set"]
    named = {f"{entry['prefix']}_{table}.toml" for entry in index for table in entry["tables"]}
    assert named == {path.name for path in FILES}
    assert rule_sets()[0] == "ICNIRP-2013"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_sources_stand_in_the_bibliography(path):
    bibliography = shared_path("references.bib").read_text(encoding="utf-8")
    keys = set(re.findall(r"^@\w+\{([^,]+),", bibliography, flags=re.MULTILINE))
    source = load_toml(path)["source"]
    assert source["key"] in keys
    assert source.get("read_in", source["key"]) in keys
    assert source["locator"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_numbers_are_kept_as_printed(path):
    for row in load_toml(path)["table"]["row"]:
        for column, value in row.items():
            if column in ("factors", "source", "seen", "note", "pulse"):
                continue
            for text in value if isinstance(value, list) else [value]:
                assert isinstance(text, str), f"{column} = {text!r}"


@pytest.mark.parametrize("prefix", ["icnirp2013", "eu200625"])
def test_the_files_as_they_are_build(prefix):
    assert rebuild(contents(prefix)).limits


def test_rows_from_memory_say_so():
    icnirp = load_rule_set("ICNIRP-2013")
    assert {row.source.seen for table in icnirp.limits for row in table.rows} == {"memory"}
    directive = load_rule_set("EU-2006/25/EC")
    seen = {table.file: {row.source.seen for row in table.rows} for table in directive.limits}
    assert seen.pop("eu200625_ultraviolet_list.toml") == {"memory"}
    assert set().union(*seen.values()) == {"read"}


def break_gap(files):
    del files["icnirp2013_retina_thermal.toml"]["table"]["row"][1]


def break_overlap(files):
    files["icnirp2013_infrared.toml"]["table"]["row"][0]["duration"] = ["1e-13", "1e-8"]


def break_wavelength_gap(files):
    rows = files["icnirp2013_infrared.toml"]["table"]["row"]
    files["icnirp2013_infrared.toml"]["table"]["row"] = [row for row in rows if row["wavelength"][0] != "1500"]


def break_missing_table(files):
    del files["icnirp2013_infrared.toml"]


def break_long_times(files):
    rows = files["icnirp2013_skin.toml"]["table"]["row"]
    files["icnirp2013_skin.toml"]["table"]["row"] = rows[:-1]


def break_factor_gap(files):
    del files["icnirp2013_ca.toml"]["table"]["row"][1]


def break_factor_range(files):
    files["icnirp2013_cc.toml"]["table"]["row"][-1]["wavelength"] = ["1200", "1350"]


def break_aperture(files):
    del files["icnirp2013_aperture_eye.toml"]["table"]["row"][-1]


def break_row_key(files):
    files["icnirp2013_skin.toml"]["table"]["row"][0]["colour"] = "red"


def break_source_key(files):
    del files["icnirp2013_skin.toml"]["source"]["locator"]


def break_unit(files):
    del files["icnirp2013_skin.toml"]["table"]["unit"]["duration"]


def break_other_unit(files):
    files["icnirp2013_skin.toml"]["table"]["unit"]["duration"] = "ms"


def break_extra_unit(files):
    files["icnirp2013_skin.toml"]["table"]["unit"]["colour"] = "1"


def break_number(files):
    files["icnirp2013_skin.toml"]["table"]["row"][0]["E"] = "2,5e11"


def break_both_quantities(files):
    files["icnirp2013_skin.toml"]["table"]["row"][0]["H"] = "1"


def break_range(files):
    files["icnirp2013_skin.toml"]["table"]["row"][0]["duration"] = ["1e-9", "1e-13"]


def break_factor_name(files):
    files["icnirp2013_skin.toml"]["table"]["row"][0]["factors"] = ["C_Q"]


def break_t2(files):
    files["icnirp2013_skin.toml"]["table"]["row"][-1]["duration"] = ["T_2", "3e4"]


def break_seen(files):
    files["icnirp2013_skin.toml"]["source"]["seen"] = "heard"


def break_kind(files):
    files["icnirp2013_skin.toml"]["table"]["kind"] = "limits"


def break_outside(files):
    files["icnirp2013_skin.toml"]["table"]["row"][0]["duration"] = ["1e-14", "1e-9"]


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (break_gap, "duration, at 400 nm to 700 nm, has a gap from 1e-11 to 5e-06"),
        (break_overlap, "overlaps from 1e-09 to 1e-08"),
        (break_wavelength_gap, "wavelength has a gap from 1500 to 1800"),
        (break_missing_table, "no limit at"),
        (break_long_times, "no limit at"),
        (break_factor_gap, "wavelength has a gap from 700 to 1050"),
        (break_factor_range, "C_C has no value at"),
        (break_aperture, "no limiting aperture at"),
        (break_row_key, "row 1 has the unknown key 'colour'"),
        (break_source_key, r"\[source\] lacks 'locator'"),
        (break_unit, "column 'duration' has no unit"),
        (break_other_unit, "column 'duration' is in 'ms'; only 's' is read"),
        (break_extra_unit, "unknown column 'colour'"),
        (break_number, "'2,5e11' is not a number"),
        (break_both_quantities, "needs either H or E"),
        (break_range, "does not rise"),
        (break_factor_name, "C_Q, which has no table"),
        (break_t2, "T_2 is the end of a range only where source = 'extended'"),
        (break_seen, "seen = 'heard'"),
        (break_kind, "kind = 'limits'"),
        (break_outside, "outside 1e-13 s to 3e4 s"),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_a_table_that_is_not_whole_is_refused(spoil, message):
    files = contents("icnirp2013")
    spoil(files)
    with pytest.raises(ReferenceDataError, match=message):
        rebuild(files)


def test_a_changed_figure_changes_the_limit():
    files = contents("icnirp2013")
    files["icnirp2013_retina_thermal.toml"]["table"]["row"][1]["H"] = "4e-3"
    changed = next(r for r in rebuild(files).limits if r.file == "icnirp2013_retina_thermal.toml").rows[1]
    assert changed.constant == 4e-3
    assert changed.formula == "H = 4e-3 C_E"
