"""Assess the cases of a batch, in this process or in several; the same function does both."""

from __future__ import annotations

import gc
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from typing import TYPE_CHECKING

from lasersafe.assessment import assess
from lasersafe.batch.inventory import bad_cells, case_data
from lasersafe.batch.record import Record, record_of, refused
from lasersafe.errors import CalcError, CaseError, OutputError
from lasersafe.models import case_from, parse_case

if TYPE_CHECKING:
    from lasersafe.batch.sources import Item, Reading, Source
    from lasersafe.models import Case

Chunk = list["Item"]
_DEATHS = 5  # so many one after the other, and something else is wrong
DIED = "the process that worked it out died, perhaps for lack of memory; assess this case alone"


def record_of_item(item: Item, reading: Reading) -> Record:
    """Return the row of one case; whatever is wrong with it becomes its reason, and never stops the others."""
    if item.faults:
        return refused(list(item.faults))
    try:
        return _row(item, reading) if item.row is not None else _assessed(parse_case(item.text, item.name))
    except CaseError as error:
        return refused([str(fault) for fault in error.faults])
    except CalcError as error:
        return refused([str(error)])
    except Exception as error:  # one broken case must not take the others with it
        fault = f"{type(error).__name__}: {error}"
        return refused([f"fault inside lasersafe, please report it with the input: {fault}"])


def _row(item: Item, reading: Reading) -> Record:
    assert item.row is not None
    cells, headings = item.row.cells, reading.headings
    data, known = case_data(cells, headings, reading.decimal_comma_likely)
    try:
        case = case_from(data)
    except CaseError as error:
        return refused([str(one) for one in (*known, *bad_cells(error.faults, cells, headings, known))])
    return refused([str(one) for one in known]) if known else _assessed(case)


def _assessed(case: Case) -> Record:
    return record_of(assess(case, in_full=False))  # no column holds the rest


def work(chunk: Chunk, reading: Reading) -> list[Record]:
    """Return the rows of some cases."""
    found = [record_of_item(item, reading) for item in chunk]
    if not gc.isenabled():
        gc.collect(1)
    return found


def _prepare() -> None:
    """Set a worker up: the parent alone answers Ctrl-C, and a worker ends when its parent is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.freeze()  # what is loaded stays; looking through it again and again takes a tenth of the time
    gc.disable()  # after each chunk instead
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    multiprocessing.connection.wait([sentinel])
    os._exit(1)


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
    if processes == 1 or len(first) < source.few:
        for chunk in _chunks(iter(first), items, 1):
            yield chunk, work(chunk, source.reading)
        return
    yield from _in_parallel(_chunks(iter(first), items, source.at_once), source.reading, processes)


def _chunks(first: Iterator[Item], rest: Iterator[Item], size: int) -> Iterator[Chunk]:
    for part in (first, rest):
        while chunk := list(islice(part, size)):
            yield chunk


def _in_parallel(chunks: Iterator[Chunk], reading: Reading, processes: int) -> Iterator[tuple[Chunk, list[Record]]]:
    pool = _pool(processes)
    pending: dict[Future[list[Record]], Chunk] = {}
    try:
        while True:
            lost: list[Chunk] = []
            for chunk in islice(chunks, max(2 * processes + 1 - len(pending), 0)):
                try:
                    pending[pool.submit(work, chunk, reading)] = chunk
                except BrokenProcessPool:
                    lost.append(chunk)
            if not pending and not lost:
                return
            done, _ = wait(pending, return_when=FIRST_COMPLETED) if pending else (set(), None)
            for future in done:
                if isinstance(future.exception(), BrokenProcessPool):
                    lost.append(pending.pop(future))
                else:
                    chunk = pending.pop(future)
                    yield chunk, future.result()
            if lost:
                pool.shutdown(cancel_futures=True)
                lost += pending.values()
                pending = {}
                yield from _one_by_one(lost, reading)
                pool = _pool(processes)
    finally:
        pool.shutdown(cancel_futures=True)


def _one_by_one(lost: list[Chunk], reading: Reading) -> Iterator[tuple[Chunk, list[Record]]]:
    """Do the cases that a dead worker may have held one at a time, so that the one that kills is found."""
    deaths = 0
    pool = _pool(1)
    try:
        for item in (item for chunk in lost for item in chunk):
            try:
                yield [item], pool.submit(work, [item], reading).result()
                deaths = 0
            except BrokenProcessPool:
                deaths += 1
                if deaths == _DEATHS:
                    message = "worker processes die again and again; try --processes 1"
                    raise OutputError(message) from None
                pool.shutdown()
                pool = _pool(1)
                yield [item], [refused([DIED])]
    finally:
        pool.shutdown(cancel_futures=True)
