"""The files of the project, as git would hand them to another machine."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
_MADE = {".git", ".venv", "__pycache__", "out", "dist", "build"}
_MADE |= {".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis"}


@cache
def project_files() -> tuple[Path, ...]:
    """Return the paths, from the root of the project, that git tracks or would add.

    Without git, everything but what the tools make.
    """
    if (ROOT / ".git").exists() and shutil.which("git"):
        command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
        listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=True, text=True).stdout.split("\0")
        paths = {Path(name) for name in listed if name}
    else:
        paths = set()
        for folder, names, files in os.walk(ROOT):
            names[:] = [name for name in names if name not in _MADE and not name.endswith(".egg-info")]
            paths |= {(Path(folder) / name).relative_to(ROOT) for name in files if not name.endswith(".pyc")}
    return tuple(sorted(path for path in paths if (ROOT / path).is_file()))


def copy_project(target: Path) -> Path:
    """Copy the files of the project into a new folder and return it."""
    for path in project_files():
        (target / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / path, target / path)
    return target


def bibliography() -> tuple[str, ...]:
    """Return the keys of shared/references.bib, as they stand."""
    text = (ROOT / "shared" / "references.bib").read_text(encoding="utf-8")
    return tuple(re.findall(r"^@\w+\{\s*([^,\s]+)\s*,", text, re.MULTILINE))
