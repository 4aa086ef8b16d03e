"""Compare what the program answers today with what it answered when the golden files were frozen.

    python -m tools.golden                compare all cases: each difference, and its reason; 1 when one has none
    python -m tools.golden --only WORD    the same for the cases whose name holds WORD
    python -m tools.golden --show         print the differences that have a reason too, not only their counts
    python -m tools.golden --freeze       write the golden files anew

A golden file is the whole JSON of `lasersafe assess`, compressed, for a starter or a case of ``tests/golden/cases``.
Numbers may differ by a relative 1e-9. A difference that is meant stands in ``tests/golden/intended.toml`` with its
reason until the files are frozen again.
"""

from __future__ import annotations

import argparse
import json
import lzma
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from lasersafe.assessment import assess_file
from lasersafe.records import as_json

ROOT = Path(__file__).parent.parent
GOLDEN = ROOT / "tests" / "golden"
RELATIVE = 1e-9
ABSOLUTE = 1e-12  # a sum that cancels to nothing has no relative error
LEFT_OUT = ("fingerprint", "version")  # they change with every change of the program

Difference = tuple[str, str, str]  # path, frozen, now


def cases() -> dict[str, Path]:
    """Return the starter cases and the golden cases by name."""
    starters = {f"starter-{path.stem}": path for path in (ROOT / "templates" / "cases").glob("*.toml")}
    return dict(sorted((starters | {path.stem: path for path in (GOLDEN / "cases").glob("*.toml")}).items()))


def answer(path: Path) -> Any:
    """Return the whole answer to a case, as JSON gives it."""
    return json.loads(json.dumps(as_json(assess_file(path))))


def frozen(name: str) -> Any:
    """Return the frozen answer to a case."""
    return json.loads(lzma.decompress((GOLDEN / "answers" / f"{name}.json.xz").read_bytes()))


def freeze(name: str) -> None:
    """Write the golden file of a case."""
    text = json.dumps(answer(cases()[name]), ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    (GOLDEN / "answers").mkdir(exist_ok=True)
    (GOLDEN / "answers" / f"{name}.json.xz").write_bytes(lzma.compress(text.encode(), preset=9))


def _same_number(old: float, new: float) -> bool:
    return old == new or abs(new - old) <= max(RELATIVE * abs(old), ABSOLUTE)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def differences(old: Any, new: Any, path: str = "") -> Iterator[Difference]:
    """Yield where two answers differ; parts of a path are joined by '/'."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted({*old, *new} - {*LEFT_OUT}):
            if key in old and key in new:
                yield from differences(old[key], new[key], f"{path}/{key}")
            else:
                yield f"{path}/{key}", "there" if key in old else "not there", "there" if key in new else "not there"
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{path}/length", str(len(old)), str(len(new))
        for index, (one, other) in enumerate(zip(old, new, strict=False)):
            yield from differences(one, other, f"{path}/{index}")
    elif not (_same_number(old, new) if _is_number(old) and _is_number(new) else type(old) is type(new) and old == new):
        yield path, str(old), str(new)


def compared(name: str) -> list[Difference]:
    """Return where today's answer to a case differs from the frozen one."""
    return list(differences(frozen(name), answer(cases()[name])))


def intended() -> list[dict[str, str]]:
    """Return the differences that are meant: patterns of case and path, and the reason."""
    path = GOLDEN / "intended.toml"
    return tomllib.loads(path.read_text(encoding="utf-8")).get("difference", []) if path.exists() else []


def reason_for(name: str, path: str, meant: list[dict[str, str]]) -> str | None:
    """Return why a difference is meant, None when nobody said so."""
    fits = (m["reason"] for m in meant if fnmatchcase(name, m["case"]) and fnmatchcase(path, m["path"]))
    return next(fits, None)


def main() -> int:
    """Compare or freeze; return 1 when a difference has no reason."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--freeze", action="store_true")
    parser.add_argument("--only", default="")
    parser.add_argument("--show", action="store_true")
    options = parser.parse_args()
    names = [name for name in cases() if options.only in name]
    with ProcessPoolExecutor() as pool:
        if options.freeze:
            list(pool.map(freeze, names))
            return 0
        found = list(pool.map(compared, names))
    meant = intended()
    reasons: Counter[str] = Counter()
    missing = 0
    for name, rows in zip(names, found, strict=True):
        for path, old, new in rows:
            reason = reason_for(name, path, meant)
            missing += reason is None
            reasons[reason or "no reason given"] += 1
            if options.show or reason is None:
                print(f"{name}{path}: {old[:90]} -> {new[:90]}")
    for reason, count in reasons.most_common():
        print(f"{count} differences: {reason}")
    print(f"{len(names)} cases, {sum(reasons.values())} differences, {missing} without a reason")
    return int(missing > 0)


if __name__ == "__main__":
    sys.exit(main())
