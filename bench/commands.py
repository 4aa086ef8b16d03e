"""Whole commands, and the short answer once more in a warm process, against a process that only imports numpy."""

from __future__ import annotations

import itertools
import sys
import tempfile
from pathlib import Path

from bench.measuring import ROOT, Line, line, medians, process

PROGRAM = [sys.executable, "-c", "from lasersafe.cli import main; main()"]
AGAINST = "python -c 'import numpy'"


def lines(rounds: int) -> list[Line]:
    """Measure the commands."""
    from lasersafe.ask.printed import brief
    from lasersafe.assessment import assess
    from lasersafe.models import parse_case

    demo = ROOT / "templates" / "cases" / "demo.toml"
    text, places = demo.read_text(encoding="utf-8"), itertools.count(1)
    assert text.count('["-2 m", "-0.8 m"]') == 1  # the assistant, who steps a millimetre aside each time

    def moved() -> object:
        step = f'["-2 m", "-{0.8 + 1e-3 * next(places):.3f} m"]'
        return brief(assess(parse_case(text.replace('["-2 m", "-0.8 m"]', step)), wanted="short"))

    beam = ["--beam-diameter", "8.5 mm", "--criterion", "1/e"]
    with tempfile.TemporaryDirectory() as folder:
        spent = medians(
            {
                "numpy": process(sys.executable, "-c", "import numpy"),
                "help": process(*PROGRAM, "--help"),
                "limit": process(*PROGRAM, "limit", "--wavelength", "1070 nm", "--duration", "10 s"),
                "reach": process(
                    *PROGRAM, "reach", "--wavelength", "1070 nm", "--power", "1.5 kW", *beam,
                    "--lens-focal-length", "150 mm", "--duration", "10 s",
                ),
                "eyewear": process(
                    *PROGRAM, "eyewear", "--wavelength", "450 nm", "--power", "5 W", "--continuous", *beam,
                    "--wearing", "OD 4 @ 450",
                ),
                "assess": process(*PROGRAM, "assess", str(demo)),
                "moved": moved,
                "demo": process(*PROGRAM, "demo", str(Path(folder) / "demo")),
            },
            rounds,
        )  # fmt: skip
    names = {
        "help": ("lasersafe --help", 1.0),
        "limit": ("lasersafe limit, one wavelength", 3.0),
        "reach": ("lasersafe reach, one beam", 3.0),
        "eyewear": ("lasersafe eyewear, one beam and one marking", 3.0),
        "assess": ("lasersafe assess, the demo", 6.0),
        "moved": ("the demo assessed again in a warm process, one person moved", 1.5),
        "demo": ("lasersafe demo, the sheet with its annex", 12.0),
    }
    return [line(name, spent[key], spent["numpy"], allowed, AGAINST) for key, (name, allowed) in names.items()]
