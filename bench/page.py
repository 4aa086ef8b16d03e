"""The page in a browser: from the command to its first page, and the memory of a server that waits."""

from __future__ import annotations

import itertools
import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

from bench.commands import AGAINST, PROGRAM
from bench.measuring import ROOT, Line, line, medians, process

_ALLOWED_MEMORY = 120.0  # [MB]


def _first_page() -> float:
    """Start the page, ask for it until it is there, stop it; return its memory while it waited, 0 if not told. [MB]."""
    words = [*PROGRAM, "page", "--no-browser", "--port", "8742"]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        address = next(word for text in server.stdout for word in text.split() if word.startswith("http://"))
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        for _ in range(2000):
            try:
                browser.open(address, timeout=5).read()
                break
            except OSError:
                time.sleep(0.01)
        status = Path(f"/proc/{server.pid}/status")
        found = re.search(r"VmRSS:\s+(\d+) kB", status.read_text()) if status.is_file() else None
        server.send_signal(signal.SIGINT)
    return 0.0 if found is None else int(found[1]) / 1000.0


def lines(rounds: int) -> list[Line]:
    """Measure the page."""
    from lasersafe.page.forms import EXAMPLE
    from lasersafe.page.room import AskedRoom

    places, form = itertools.cycle(("9", "8.7", "8.4")), dict(EXAMPLE)

    def moved(answer: Callable[[AskedRoom], object], **stated: str) -> Callable[[], object]:
        return lambda: answer(AskedRoom({**form, **stated, "laser1.x": next(places)}, "en"))

    lens = {"laser1.lens": "40 mm", "laser1.work_distance": "40 mm", "laser1.turn": "10 deg"}
    jobs = {
        "page": _first_page, "drag": moved(AskedRoom.tones), "drag, stated": moved(AskedRoom.tones, **lens),
        "full": moved(AskedRoom.answer), "numpy": process(sys.executable, "-c", "import numpy"),
    }  # fmt: skip
    spent = medians(jobs, rounds)
    memory = _first_page()
    drags = {
        "a laser dragged in the demo room, quick answer": ("drag", 2.0),
        "a laser dragged in the demo room with its lens and turn stated, quick answer": ("drag, stated", 2.0),
        "a laser dragged in the demo room, full answer": ("full", 25.0),
    }
    return [
        line("lasersafe page, from the command to the first page", spent["page"], spent["numpy"], 12.0, AGAINST),
        *(line(name, spent[key], spent["numpy"], allowed, AGAINST) for name, (key, allowed) in drags.items()),
        Line("memory of the page while it waits", memory / _ALLOWED_MEMORY, 1.0, f"{_ALLOWED_MEMORY:g} MB"),
    ]
