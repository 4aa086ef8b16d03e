"""The kept files: small, one for each behaviour that a run met, and every file that ever broke a rule."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from lasersafe.data import templates_path

FOLDER = Path(__file__).resolve().parent / "corpus"
LARGEST = 6_000


def kept_files() -> list[Path]:
    """Return the files of the corpus, in the order of their names."""
    return sorted(FOLDER.glob("*.toml"))


def starting_texts() -> list[str]:
    """Return what mutations start from: small kept files, and the starter cases."""
    texts = [path.read_bytes().decode("utf-8", "surrogateescape") for path in kept_files()]
    return [*texts, *template_texts()]


def template_texts() -> list[str]:
    """Return the starter cases without their comments."""
    found = []
    for path in sorted(templates_path("cases").glob("*.toml")):
        text = re.sub(r"(?m)^#.*\n| +#(?=[^\"]*$).*$", "", path.read_text(encoding="utf-8"))
        found.append(re.sub(r"\n{2,}", "\n\n", text))
    return found


def smallest(raw: bytes, same: Callable[[bytes], bool], tries: int = 400) -> bytes:
    """Return a part of a file that behaves in the same way: tables, then lines, are left out as long as it does.

    Parameters
    ----------
    raw : bytes
        The file.
    same : callable
        Whether a file behaves as the whole one did.
    tries : int
        How often ``same`` is asked at most.
    """
    for cut in (rb"(?m)^(?=\[)", rb"(?<=\n)"):
        parts = re.split(cut, raw)
        at, width = 0, max(len(parts) // 2, 1)
        while tries > 0:
            if at >= len(parts):
                if width == 1:
                    break
                at, width = 0, width // 2
                continue
            fewer = parts[:at] + parts[at + width :]
            tries -= 1
            if fewer and same(b"".join(fewer)):
                parts = fewer
            else:
                at += width
        raw = b"".join(parts)
    return raw
