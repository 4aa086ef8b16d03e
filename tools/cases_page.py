"""docs/cases.md, from the models of a case file."""

from __future__ import annotations

from itertools import groupby

from lasersafe.wording import load_wording
from tools import markdown
from tools.case_fields import FieldRow, describe_fields

HEAD = """# The fields of a case file

Made from the models by `make docs`; `make test` fails when it differs. A case is one TOML file.
`lasersafe new CASE.toml` starts one from a template, `lasersafe check CASE.toml` lists all its faults at once, with
the line of each, and `lasersafe schema` prints its JSON schema.

A number with a unit is text with one number and one unit, as `"1.5 kW"` or `"1070 nm"`; `lasersafe units` lists the
units. Where a range is allowed, a knob of the laser can be turned between two values, as `["10 ns", "200 ns"]`, and
the worst point of the allowed settings is worked out. Where two axes are allowed, two values describe an elliptical
beam. Double brackets, as in `[[person]]`, head a table that may come several times. A field that is not named here is
refused.
"""


def line_of(row: FieldRow) -> str:
    """Return the line of one field."""
    needed = "yes" if row.required else f"no; `{row.default}`" if row.default else "no"
    return markdown.row(f"`{row.field}`", row.value, needed, row.description)


def keys_of(table: str) -> str:
    """Return the keys that a table may name, as a paragraph; empty where it names none."""
    wording = load_wording()
    entries = {"[[control]]": wording.controls, "[other_hazards]": wording.other_hazards}.get(table, ())
    return "\nKeys: " + ", ".join(f"`{entry.key}`" for entry in entries) + ".\n" if entries else ""


def cases_page() -> str:
    """Return the text of docs/cases.md."""
    parts = [HEAD]
    for table, rows in groupby(describe_fields(), key=lambda row: row.table):
        title = f"`{table}`" if table.startswith("[") else table[0].upper() + table[1:]
        lines = [markdown.row("field", "value", "needed; default", "meaning"), markdown.row(*["---"] * 4)]
        parts.append(f"## {title}\n\n" + "\n".join([*lines, *(line_of(row) for row in rows)]) + "\n" + keys_of(table))
    return "\n".join(parts)
