"""From a question typed as a command to its files and its answer."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from lasersafe.errors import InputError
from lasersafe.files import existing
from lasersafe.outputs import Output, mark_of, write_outputs
from lasersafe.quantity import parse_quantity
from lasersafe.studies.charts import check_drawable, draw, zone_of
from lasersafe.studies.subject import open_subject
from lasersafe.studies.sweeping import Sweep, read_varied, sweep
from lasersafe.studies.tables import as_csv, as_json, as_parquet, as_text, need_pyarrow
from lasersafe.typed import shown
from lasersafe.wording import caution_line, load_wording

TABLES = (".csv", ".json", ".parquet")
DRAWINGS = (".svg", ".png", ".pdf")
NEAREST_PLACE, FARTHEST_PLACE = 1e-3, 1e6  # m


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
    _check_name(output, "output", TABLES)
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
    if suffix == ".csv":
        return as_csv(found).encode()
    if suffix == ".json":
        return (json.dumps(as_json(found), indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
    if suffix == ".parquet":
        return as_parquet(found)
    page = draw(found, zone)
    if suffix == ".svg":
        from lasersafe.drawing.svg import to_svg

        return to_svg(page).encode()
    if suffix == ".png":
        from lasersafe.drawing.png import to_png

        return to_png(page)
    from lasersafe.sheet.drawings import drawings_pdf

    named = {"title": found.subject.case.title, "name": found.subject.name}
    return drawings_pdf([page], named, found.subject.name, load_wording())
