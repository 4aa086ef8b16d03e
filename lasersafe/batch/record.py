"""The result of one case of a batch, and where rows are kept until all are done."""

from __future__ import annotations

import csv
import hashlib
import json
import math
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from lasersafe.data import load_toml, templates_path
from lasersafe.errors import OutputError, refuse
from lasersafe.files import csv_text, existing
from lasersafe.quantity import for_spreadsheet, format_quantity, from_spreadsheet, shown
from lasersafe.records.scene import SceneResult
from lasersafe.results import Assessment, SetupResult, unanswered
from lasersafe.wording import load_wording

Record = dict[str, Any]  # key of FIELDS -> text, number, bool or None; a number without bound is NO_BOUND
ASSESSED, REFUSED = "assessed", "refused"
NO_BOUND = "no bound"


@dataclass(frozen=True)
class Field:
    """One column of the result."""

    key: str
    heading: str
    kind: Literal["text", "number", "whole", "yes"]
    what: str

    def cell(self, value: Any, decimal_comma: bool) -> str:
        """Return a value as a cell."""
        if isinstance(value, str):
            return for_spreadsheet(value)
        text = {None: "", True: "yes", False: "no"}[value] if value is None or isinstance(value, bool) else str(value)
        return text.replace(".", ",") if decimal_comma else text

    def value(self, cell: str, decimal_comma: bool) -> Any:
        """Return the value of a cell; a ValueError or KeyError where it is none."""
        if self.kind == "text":
            return from_spreadsheet(cell)
        if cell in ("", NO_BOUND):
            return cell or None
        if self.kind == "yes":
            return {"yes": True, "no": False}[cell]
        return int(cell) if self.kind == "whole" else float(cell.replace(",", ".") if decimal_comma else cell)


FIELDS = tuple(Field(**row) for row in load_toml(templates_path("inventory", "results.toml"))["field"])
HEADINGS = [one.heading for one in FIELDS]
_EMPTY: Record = {one.key: "" if one.kind == "text" else None for one in FIELDS}


def _far(setups: list[SetupResult], way: str, tissue: str) -> float | None:
    found = [z.distance for setup in setups for z in setup.zones if (z.way, z.tissue) == (way, tissue)]
    return max(found, default=None)


def _way(scene: SceneResult | None, setups: list[SetupResult], distance: float, tissue: str) -> str:
    """Return on which way the distance of the decision block comes about."""
    lines = {line.distance: line.zone.split()[-1] for line in scene.lines if line.zone} if scene is not None else {}
    if distance in lines:
        return "several together" if lines[distance] == "together" else lines[distance]
    for way in ("direct", "aided"):
        if distance == _far(setups, way, tissue):
            return way
    return "several together" if len(setups) > 1 else ""


def record_of(assessment: Assessment) -> Record:
    """Return the row of an assessment, without what names it.

    Parameters
    ----------
    assessment : Assessment
        From ``assess``; nothing is worked out anew here.

    Returns
    -------
    dict
        Numbers in SI units, as in ``lasersafe assess --json``; one without bound is the text "no bound".
    """
    decision = assessment.decision
    fitted = [setup for setup in assessment.setups if setup.fitted]
    open_ones = unanswered(assessment.counted)
    needs = assessment.eyewear
    asked = {need.marking: None for need in sorted(needs, key=lambda n: -n.optical_density_exact)}
    zones = [(way, tissue) for way in ("direct", "mirror", "scatter") for tissue in ("eye", "skin")]
    nearest = ""
    if open_ones:
        one = min(open_ones, key=lambda s: (s.distance, -s.ratio))
        times = f"{format_quantity(one.ratio, '1', 3, 'up')} times the limit" if math.isfinite(one.ratio) else NO_BOUND
        who = ", ".join(word for word in (one.person, one.laser, one.setup) if word)
        nearest = f"{who}: {one.way}, {one.tissue}, {format_quantity(one.distance, 'm', 3, 'down')}, {times}"
    row = {
        **_EMPTY,
        "status": ASSESSED,
        **{key: getattr(decision, key) for key in ("passed", "verdict", "people")},
        "distance_m": float(decision.headline_distance),
        "distance_tissue": decision.headline_tissue,
        "distance_way": _way(assessment.scene, fitted, decision.headline_distance, decision.headline_tissue),
        **{f"{way}_{tissue}_m": _far(fitted, way, tissue) for way, tissue in [*zones, ("aided", "eye")]},
        "eyewear_optical_density": max((need.optical_density for need in needs), default=None),
        "eyewear_scale_numbers": "; ".join(asked),
        "eyewear_reliable": all(need.reliable for need in needs) if needs else None,
        "open_scenarios": len(open_ones),
        "nearest_open": nearest,
        "rule_sets": ", ".join(assessment.rule_sets),
        **{key: getattr(assessment, key) for key in ("version", "fingerprint")},
        "caution": load_wording(assessment.language).caution_short,
    }
    unbounded = (key for key, value in row.items() if isinstance(value, float) and not math.isfinite(value))
    return row | dict.fromkeys(unbounded, NO_BOUND)


def refused(reasons: Iterable[object]) -> Record:
    """Return the row of a case that is not assessed: no number, and nothing passes."""
    said = {"status": REFUSED, "passed": False, "reason": "; ".join(map(str, reasons))}
    return _EMPTY | said | {"caution": load_wording().caution_short}


def sealed(record: Record) -> Record:
    """Return a row with the digest of its cells."""
    return record | {"digest": digest_of(record)}


def digest_of(record: Record) -> str:
    """Return the SHA-256 of a row without its digest; the same of a row that was written and read again."""
    numbers = {f.key: float(v) for f in FIELDS if f.kind == "number" and isinstance(v := record[f.key], int)}
    return hashlib.sha256(to_json(record | numbers | {"digest": ""}).encode()).hexdigest()


def to_json(record: Record) -> str:
    """Return a row as one line of JSON."""
    return json.dumps({field.key: record[field.key] for field in FIELDS}, ensure_ascii=False, allow_nan=False)


def from_json(line: str) -> Record | None:
    """Return the row of a line of JSON, or None when it is not whole."""
    try:
        data: Record = json.loads(line)
    except ValueError:
        return None
    return data if isinstance(data, dict) and data.keys() == _EMPTY.keys() else None


KINDS = (".csv", ".jsonl")
OTHERWISE = "choose another name, or say --replace"
OURS = 0x6C626174  # in the head of the database of a batch
TABLE = "CREATE TABLE IF NOT EXISTS row (key BLOB PRIMARY KEY, text TEXT NOT NULL)"


def part_of(path: Path) -> Path:
    """Return the name of the database that holds the rows done so far."""
    return path.with_name(f"{path.name}.part")


class Store(AbstractContextManager["Store"]):
    """Rows by the fingerprint of their input; they stay on the disk, so that any number of them fits.

    Parameters
    ----------
    outputs : list of Path
        The result files, ``.csv`` or ``.jsonl``; the database stands beside the first. None: nothing is kept.
    source : str
        Name of what the rows come from.
    afresh : bool
        Count nothing of what is there.
    cases : iterable of str
        What the cases of the source are called; results in which most are called otherwise are those of another one.

    Attributes
    ----------
    changed : int
        Rows that do not fit their digest: somebody changed them, and they do not count.

    Raises
    ------
    OutputError
        If a file is there that is no result of a batch, or one of another source.
    """

    def __init__(self, outputs: list[Path], source: str, afresh: bool = False, cases: Iterable[str] = ()) -> None:
        self.source, self.cases = source, frozenset(cases)
        self.changed = 0
        part = part_of(outputs[0]) if outputs else Path()
        start = existing(part, 72) if outputs else None
        if start and (start[:16] != b"SQLite format 3\0" or start[68:] != OURS.to_bytes(4, "big")):
            refuse(f"{part} is there and is no unfinished result of 'lasersafe batch'; move it away", OutputError)
        self._rows = sqlite3.connect(part if outputs else "")
        self._rows.text_factory = lambda content: content.decode("utf-8", "replace")
        try:
            with self._rows:
                self._take_over([] if afresh else outputs, part)
        except BaseException:
            self._rows.close()
            raise

    def _take_over(self, outputs: list[Path], part: Path) -> None:
        """Count the rows of an unfinished run, then those of finished results; none, where no output is named."""
        self._rows.execute("PRAGMA synchronous = OFF")  # a kill loses nothing, and a digest tells what a power cut did
        self._rows.execute("BEGIN")
        self._rows.execute(f"PRAGMA application_id = {OURS}")
        self._rows.execute(TABLE)
        if not outputs:
            self._rows.execute("DELETE FROM row")
        known = self._rows.execute("SELECT key, text FROM row")
        spoilt = [(key,) for key, text in known if self._key(from_json(text), part) != key]
        self._rows.executemany("DELETE FROM row WHERE key = ?", spoilt)
        for path in outputs:
            strangers = count = 0
            for record in self._rows_of(path) if path.exists() else ():
                count += 1
                strangers += record is not None and record["case"] not in self.cases
                if (key := self._key(record, path)) and record is not None:
                    self._rows.execute("INSERT OR IGNORE INTO row VALUES (?, ?)", (key, to_json(record)))
            if 2 * strangers > count:
                what = f"{path} holds results of another {shown(self.source)}: most of its cases are not in this one"
                refuse(f"{what}; {OTHERWISE}", OutputError)

    @staticmethod
    def _rows_of(path: Path) -> Iterator[Record | None]:
        """Yield the rows of a finished result, None for one that is not whole.

        Raises
        ------
        OutputError
            If it is none.
        """
        with path.open(encoding="utf-8-sig", errors="replace", newline="\n") as file:
            if path.suffix.lower() == ".jsonl":
                read = from_json
                ours = not file.read(1) or (file.seek(0) == 0 and any(from_json(line) for line in file))
                file.seek(0)
            else:
                heads = {csv_text([HEADINGS], ";" if comma else ",").rstrip(): comma for comma in (False, True)}
                comma = heads.get(file.readline().rstrip("\r\n"))
                ours = comma is not None

                def read(line: str) -> Record | None:
                    cells = next(csv.reader([line], delimiter=";" if comma else ","), [])
                    with suppress(ValueError, KeyError):
                        return {f.key: f.value(cell, bool(comma)) for f, cell in zip(FIELDS, cells, strict=True)}
                    return None

            if not ours:
                what = f"{path} is there already and is no result of this version of 'lasersafe batch'"
                refuse(f"{what}; {OTHERWISE}", OutputError)
            for line in file:
                yield read(line) if line.endswith("\n") else None

    def __exit__(self, *_: object) -> None:
        """Close the database."""
        self._rows.close()

    def __contains__(self, key: bytes) -> bool:
        """Return whether a row is there."""
        return self._rows.execute("SELECT 1 FROM row WHERE key = ?", (key,)).fetchone() is not None

    def __getitem__(self, key: bytes) -> Record:
        """Return a row."""
        record = from_json(self._rows.execute("SELECT text FROM row WHERE key = ?", (key,)).fetchone()[0])
        assert record is not None
        return record

    def add(self, keys: list[bytes], records: list[Record]) -> None:
        """Add rows that are done: a kill after this returns does not lose them."""
        named = [record | {"input_fingerprint": key.hex(), "source": self.source}
                 for key, record in zip(keys, records, strict=True)]  # fmt: skip
        with self._rows:
            texts = (to_json(sealed(record)) for record in named)
            self._rows.executemany("INSERT OR REPLACE INTO row VALUES (?, ?)", zip(keys, texts, strict=True))

    def _key(self, record: Record | None, path: Path) -> bytes | None:
        """Return by what a row counts; None for one that is not whole or does not fit its digest."""
        key = None
        with suppress(ValueError, TypeError):
            if record is not None and digest_of(record) == record["digest"]:
                key = bytes.fromhex(record["input_fingerprint"])
        if key is None:
            self.changed += 1
        elif record is not None and record["source"] != self.source:
            whose = f"{shown(record['source'])}, not of {shown(self.source)}"
            refuse(f"{path} holds results of {whose}; {OTHERWISE}", OutputError)
        return key


def lines_of(records: Iterator[Record], kind: str, decimal_comma: bool) -> Iterator[bytes]:
    """Yield the content of a result file: ``.csv`` with its heading, or ``.jsonl``."""
    if kind == ".jsonl":
        for record in records:
            yield to_json(record).encode() + b"\n"
        return
    mark = "\ufeff" if decimal_comma else ""  # by which a spreadsheet program knows UTF-8
    separator = ";" if decimal_comma else ","
    yield (mark + csv_text([HEADINGS], separator)).encode()
    for record in records:
        cells = [field.cell(record[field.key], decimal_comma) for field in FIELDS]
        yield csv_text([cells], separator).encode()
