"""Many cases at once: the time that one case takes, against a process that only imports numpy."""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

from bench.measuring import Line, Spent, line, medians, process

CASES = 100  # in a chunk; all of them differ
HEADING = "name,class,wavelength [nm],power [W],beam diameter [mm],divergence [mrad],criterion,person distance [m]"
PULSED = ",pulse energy [mJ],pulse duration [ns],repetition rate [kHz]"


def lines(rounds: int) -> list[Line]:
    """Measure the rows of an inventory: continuous lasers, and trains of pulses."""
    from lasersafe.batch.run import work
    from lasersafe.batch.sources import Inventory, Item

    dice = random.Random(1)

    def fresh(inventory: Path, pulsed: bool) -> tuple[Inventory, list[Item]]:
        rows = [HEADING + PULSED]
        for number in range(CASES):
            power = "" if pulsed else f"{10 ** dice.uniform(-3, 3):.4g}"
            train = f"{10 ** dice.uniform(-3, 1):.4g},{10 ** dice.uniform(0, 3):.4g},{10 ** dice.uniform(-2, 2):.4g}"
            rows.append(
                f"L{number},4,{dice.uniform(400, 1600):.1f},{power},{dice.uniform(1, 20):.3g},"
                f"{dice.uniform(2, 6):.3g},1/e2,{dice.uniform(0.3, 3):.3g},{train if pulsed else ',,'}"
            )
        inventory.write_text("\n".join(rows), encoding="utf-8")
        source = Inventory(inventory)
        return source, list(source)

    with tempfile.TemporaryDirectory() as folder:
        ready = {
            kind: iter([fresh(Path(folder) / "inventory.csv", kind == "pulsed") for _ in range(rounds + 1)])
            for kind in ("continuous", "pulsed")
        }

        def job(kind: str) -> object:
            source, items = next(ready[kind])
            return work(items, source.reading)

        spent = medians(
            {
                "numpy": process(sys.executable, "-c", "import numpy"),
                "continuous": lambda: job("continuous"),
                "pulsed": lambda: job("pulsed"),
            },
            rounds,
        )
    base = spent["numpy"]
    each = {kind: Spent(spent[kind].processor / CASES, spent[kind].clock / CASES) for kind in ("continuous", "pulsed")}
    against = "python -c 'import numpy'"
    return [
        line("one of many cases, continuous laser", each["continuous"], base, 0.15, against),
        line("one of many cases, train of pulses", each["pulsed"], base, 0.4, against),
    ]
