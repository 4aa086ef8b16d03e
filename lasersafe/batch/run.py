"""A run over many cases: the worker processes, what goes on where it was stopped, and what is said of it."""

from __future__ import annotations

import contextlib
import gc
import math
import multiprocessing
import multiprocessing.connection
import os
import signal
import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, dataclass, field
from itertools import chain, islice
from pathlib import Path
from typing import Any

from lasersafe import files
from lasersafe.ask import BatchQuestion
from lasersafe.assessment import assess
from lasersafe.batch.record import ASSESSED, KINDS, Record, Store, lines_of, part_of, record_of, refused, sealed
from lasersafe.batch.sources import BadCell, CaseFolder, Inventory, Item, Reading, Source, case_data
from lasersafe.errors import CalcError, CaseError, OutputError, refuse
from lasersafe.models import case_from, parse_case
from lasersafe.quantity import format_quantity, shown
from lasersafe.wording import load_wording

Chunk = list[Item]
_DEATHS = 5  # so many one after the other, and something else is wrong
DIED = "the process that worked it out died, perhaps for lack of memory; assess this case alone"


def record_of_item(item: Item, reading: Reading) -> Record:
    """Return the row of one case; whatever is wrong with it becomes its reason, and never stops the others."""
    cells, known = item.cells, list[BadCell]()
    try:
        if item.faults:
            return refused(item.faults)
        if cells is None:
            case = parse_case(item.text, item.name)
        else:
            data, known = case_data(cells, reading)
            case = case_from(data)
        if known:
            return refused(why for _, why in known)
        return record_of(assess(case, wanted="drawn"))  # no column holds the rest
    except CaseError as error:
        if cells is None:
            return refused(error.faults)
        return refused(why for _, why in [*known, *reading.faults(error.faults, cells, known)])
    except CalcError as error:
        return refused([error])
    except Exception as error:  # one broken case must not take the others with it
        return refused([f"fault inside lasersafe, please report it with the input: {type(error).__name__}: {error}"])


def work(chunk: Chunk, reading: Reading) -> list[Record]:
    """Return the rows of some cases."""
    found = [record_of_item(item, reading) for item in chunk]
    if not gc.isenabled():
        gc.collect(1)
    return found


def _prepare() -> None:
    """Set a worker up: the parent alone answers Ctrl-C, and a worker ends when its parent is gone."""

    def end_with(sentinel: int) -> None:
        multiprocessing.connection.wait([sentinel])
        os._exit(1)

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.freeze()  # what is loaded stays; looking through it again and again takes a tenth of the time
    gc.disable()  # after each chunk instead
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=end_with, args=(parent.sentinel,), daemon=True).start()


def _pool(processes: int) -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")  # a fork of a program with threads can hang
    return ProcessPoolExecutor(processes, mp_context=context, initializer=_prepare)


def results(items: Iterator[Item], source: Source, processes: int) -> Iterator[tuple[Chunk, list[Record]]]:
    """Yield chunks of cases with their rows, as they are done.

    Parameters
    ----------
    items : iterator of Item
        What is to be done; read as it is needed.
    source : Source
        Where it comes from.
    processes : int
        How many processes work; 1, or few cases, are done in this one.

    Raises
    ------
    OutputError
        If worker processes die again and again.
    """
    first = list(islice(items, source.few))
    alone = processes == 1 or len(first) < source.few
    every, size = chain(first, items), 1 if alone else source.at_once
    chunks = iter(lambda: list(islice(every, size)), [])
    if alone:
        yield from ((chunk, work(chunk, source.reading)) for chunk in chunks)
        return
    pool = _pool(processes)
    pending: dict[Future[list[Record]], Chunk] = {}
    try:
        while True:
            lost: list[Chunk] = []
            for chunk in islice(chunks, max(2 * processes + 1 - len(pending), 0)):
                try:
                    pending[pool.submit(work, chunk, source.reading)] = chunk
                except BrokenProcessPool:
                    lost.append(chunk)
            if not pending and not lost:
                return
            for future in wait(pending, return_when=FIRST_COMPLETED).done if pending else ():
                chunk = pending.pop(future)
                if isinstance(future.exception(), BrokenProcessPool):
                    lost.append(chunk)
                else:
                    yield chunk, future.result()
            if lost:
                pool.shutdown(cancel_futures=True)
                lost += pending.values()
                pending = {}
                yield from _one_by_one(chain.from_iterable(lost), source.reading)
                pool = _pool(processes)
    finally:
        pool.shutdown(cancel_futures=True)


def _one_by_one(lost: Iterable[Item], reading: Reading) -> Iterator[tuple[Chunk, list[Record]]]:
    """Do the cases that a dead worker may have held one at a time, so that the one that kills is found."""
    deaths, pool = 0, _pool(1)
    try:
        for item in lost:
            try:
                yield [item], pool.submit(work, [item], reading).result()
                deaths = 0
            except BrokenProcessPool:
                deaths += 1
                if deaths == _DEATHS:
                    refuse("worker processes die again and again; try --processes 1", OutputError)
                pool.shutdown()
                pool = _pool(1)
                yield [item], [refused([DIED])]
    finally:
        pool.shutdown(cancel_futures=True)


SHOWN = 20  # refused cases that are listed; all of them are in the result
MOST_PROCESSES = 512


@dataclass
class Summary:
    """What a batch did; the first refused cases with their reasons, and the case with the farthest distance."""

    outputs: list[str]
    remarks: list[str]
    cases: int = 0
    assessed: int = 0
    passed: int = 0
    refused: int = 0
    worked_out: int = 0
    farthest: dict[str, Any] | None = None
    refused_rows: list[dict[str, Any]] = field(default_factory=list)
    case_files: str = ""

    def count(self, record: Record) -> None:
        """Count one row of the result."""
        self.cases += 1
        named = {"case": record["case"], "line": record["line"]}
        if record["status"] != ASSESSED:
            self.refused += 1
            if len(self.refused_rows) < SHOWN:
                self.refused_rows.append(named | {"reason": record["reason"]})
            return
        self.assessed += 1
        self.passed += record["passed"] is True
        far = record["distance_m"]
        if far is not None and (self.farthest is None or _metres(far) > _metres(self.farthest["distance_m"])):
            self.farthest = {"distance_m": far, **named}

    @property
    def taken_over(self) -> int:
        """Rows that were there already."""
        return self.cases - self.worked_out

    def plain(self) -> dict[str, Any]:
        """Return it as plain data."""
        return asdict(self) | {"taken_over": self.taken_over, "caution": load_wording().caution_short}

    def refusals(self) -> list[str]:
        """Return the refused cases with their reasons, the first of them."""
        found = [f"{_cases(self.refused)} refused, without any result:"] if self.refused else []
        for row in self.refused_rows:
            where = [f"line {row['line']}"] if row["line"] is not None else []
            where += [shown(row["case"])] if row["case"] else []
            found.append(f"  {', '.join(where)}: {row['reason']}")
        more = self.refused - len(self.refused_rows)
        return [*found, f"  and {more} more; all reasons stand in the result"] if more else found

    def lines(self) -> list[str]:
        """Return what a batch did, in a few lines that end in the caution."""
        taken, far = self.taken_over, self.farthest
        now = f"; {taken} taken over, {self.worked_out} worked out now" if taken else ""
        found = [
            f"{_cases(self.cases)}: {self.assessed} assessed, {self.refused} refused{now}",
            f"the verdict passes for {self.passed} of {self.assessed}",
        ]
        if far is not None:
            distance = far["distance_m"]
            words = distance if isinstance(distance, str) else format_quantity(distance, "m", 3, "up")
            line = f", line {far['line']}" if far["line"] is not None else ""
            found.append(f"the farthest distance: {words}, {shown(far['case'])}{line}")
        found += [f"result: {path}" for path in self.outputs]
        found += [f"case files: {self.case_files}"] if self.case_files else []
        return [*found, load_wording().caution_short]


def _cases(count: int) -> str:
    return f"{count} {'case' if count == 1 else 'cases'}"


def _metres(distance: float | str) -> float:
    return math.inf if isinstance(distance, str) else distance


class Batch:
    """A batch that can be counted before it runs.

    Parameters
    ----------
    source : Path
        A folder with case files, or an inventory as CSV.
    question : BatchQuestion
        The result files, none where the rows are only passed on, and how they are made.

    Raises
    ------
    InputError
        If the source or the number of processes cannot be used.
    OutputError
        If a name of a result cannot be used.
    """

    def __init__(self, source: Path, question: BatchQuestion) -> None:
        outputs, processes = question.output or [], question.processes
        places = [os.path.abspath(path) for path in outputs]
        for number, path in enumerate(outputs):
            if places[number] in places[:number]:
                refuse(f"output = '{files.in_utf8(str(path))}': this name is given twice; name a file for each")
            files.suffix_of(path, "output", *KINDS, dash=False)
            if files.in_utf8(str(path)) != str(path):
                refuse(f"output = '{files.in_utf8(str(path))}': the name is not UTF-8; choose another one", OutputError)
            start = files.existing(path, 1 << 16)
            if start is not None and source.exists() and os.path.samefile(path, source):
                refuse(f"output = '{path}': this is the inventory itself; name another file", OutputError)
            if start is not None and (kept := files.precious(path, start)):
                refuse(
                    f"{path} is {kept}, which no command replaces; choose another name, or move it away", OutputError
                )
        if processes is not None and not 1 <= processes <= MOST_PROCESSES:
            refuse(f"processes = {processes}: must be 1 to {MOST_PROCESSES}")
        if files.in_utf8(str(source)) != str(source):
            refuse(f"{files.in_utf8(str(source))}: the name of the file is not UTF-8; give it another name")
        anew = "save the sheet as .xlsx or CSV"
        advice = {".toml": "'lasersafe assess' takes one case", ".xls": anew, ".ods": anew}.get(source.suffix.lower())
        if advice and not source.is_dir():
            refuse(f"{source}: a folder with case files, or an inventory as CSV or .xlsx, is needed here; {advice}")
        self.source: Source = CaseFolder(source) if source.is_dir() else Inventory(source)
        self.name = source.resolve().name or "/"
        self.outputs, self.question = outputs, question
        usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
        self.processes = processes or usable or 1
        self.summary = Summary([str(path) for path in outputs], list(self.source.remarks))

    def run(self, write: Callable[[bytes], object], advance: Callable[[int], object] = abs) -> Summary:
        """Do what is not done yet, and write the results in the order of the input.

        Parameters
        ----------
        write : callable
            Given the lines of the CSV where there is no output file.
        advance : callable
            Told how many more cases are done.

        Returns
        -------
        Summary
            What happened.
        """
        case_files = self.question.cases
        if case_files is not None and isinstance(self.source, CaseFolder):
            refuse("--cases writes the rows of an inventory as case files; a folder of case files has them already")
        part = part_of(self.outputs[0]) if self.outputs else None
        with contextlib.ExitStack() as stack:
            for path in self.outputs:
                stack.enter_context(files.locked(path))
            try:
                with Store(
                    self.outputs, self.name, self.question.replace, self.source.names() if part else ()
                ) as store:
                    self._work(store, advance, write)
                    if case_files is not None:
                        self._write_cases(store, case_files)
            except sqlite3.Error as error:
                refuse(f"{part or 'the rows done so far'} cannot be used: {error}; move it away", OutputError)
            if part:
                part.unlink(missing_ok=True)
        return self.summary

    def _work(self, store: Store, advance: Callable[[int], object], write: Callable[[bytes], object]) -> None:
        """Work out what the store does not hold, and write the whole."""
        if store.changed:
            some = f"{store.changed} rows of the result that is there do"
            some = some if store.changed > 1 else "1 row of the result that is there does"
            self.summary.remarks.append(f"{some} not fit the digest: changed since, and worked out anew")
        order: list[tuple[bytes, str, int | None]] = []
        started: set[bytes] = set()

        def missing() -> Iterator[Item]:
            for item in self.source:
                order.append((item.key, item.name, item.line))
                if item.key in store or item.key in started:
                    advance(1)
                else:
                    started.add(item.key)
                    yield item

        for chunk, records in results(missing(), self.source, self.processes):
            store.add([item.key for item in chunk], records)
            self.summary.worked_out += len(chunk)
            advance(len(chunk))
        if not order:
            refuse("there is no case: no row below the heading holds anything")

        def rows(count: Callable[[Record], object]) -> Iterator[Record]:
            for key, name, line in order:
                record = sealed(store[key] | {"case": name, "line": line, "source": self.name})
                count(record)
                yield record

        for number, path in enumerate(self.outputs):
            counted = rows(len if number else self.summary.count)  # once
            files.write_file(path, lines_of(counted, path.suffix.lower(), self.question.decimal_comma))
        if not self.outputs:
            for text in lines_of(rows(self.summary.count), ".csv", self.question.decimal_comma):
                write(text)

    def _write_cases(self, store: Store, folder: Path) -> None:
        assert not isinstance(self.source, CaseFolder)
        self.summary.case_files = str(folder)
        mark, kept = files.mark_of("case file", self.name, ""), []
        for item in self.source:
            if item.key in store and store[item.key]["status"] == ASSESSED:
                name, text = self.source.case_file(item)
                old = files.existing(folder / name)
                if old is None or files.written_as(old) == mark:
                    files.write_outputs([files.Output(folder / name, text.encode(), mark)])
                elif old != text.encode():
                    kept.append(name)
        if kept:
            more = f" and {len(kept) - SHOWN} more" if len(kept) > SHOWN else ""
            self.summary.remarks.append(
                f"case files in {folder} that were edited, or are not of {shown(self.name)}, are kept as they are: "
                f"{', '.join(kept[:SHOWN])}{more}"
            )
