"""Build the wheel from a clean copy, install it in an environment of its own, and work outside the checkout.

To be quick and to need no network, the new environment borrows the dependencies (numpy, pydantic, ...) of the one that
runs the tests, by one line in a .pth file. A folder that is added that way has its own .pth files left unread, so the
link to the checkout that an editable install leaves there is not followed. An audit hook in the new environment
writes down each file that Python opens, so that the tests see whether one of the checkout is among them.
"""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import tomllib
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pypdf
import pytest

from tests.project import ROOT, copy_project, project_files

AUDIT = """
import atexit, os, sys
_opened = set()
def _hook(event, arguments):
    if event == "open" and isinstance(arguments[0], (str, bytes)):
        _opened.add(os.path.abspath(os.fsdecode(arguments[0])))
sys.addaudithook(_hook)
def _write(target=os.environ.get("OPENED_FILES")):
    if target:
        with open(target, "w", encoding="utf-8") as file:
            file.write("\\n".join(sorted(_opened)))
atexit.register(_write)
"""


def run(*command: str | Path, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "VIRTUAL_ENV"))}
    return subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=kept | environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@dataclass(frozen=True)
class Installed:
    wheel: Path
    site: Path
    command: Path
    elsewhere: Path  # a folder outside the checkout, with a space in its name


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    base = tmp_path_factory.mktemp("packaging")
    clone = copy_project(base / "a clean clone")
    built = run(
        sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation",
        "--wheel-dir", base / "wheels", ".", cwd=clone,
    )  # fmt: skip
    assert built.returncode == 0, built.stderr
    (wheel,) = (base / "wheels").glob("lasersafe-*.whl")

    environment = base / "new environment"
    made = run(sys.executable, "-m", "venv", "--without-pip", environment, cwd=base)
    assert made.returncode == 0, made.stderr
    python = environment / "bin" / "python"
    put = run(
        sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-deps", "--no-index",
        "--disable-pip-version-check", wheel, cwd=base,
    )  # fmt: skip
    assert put.returncode == 0, put.stderr
    (site,) = environment.glob("lib/python*/site-packages")
    (site / "opened_files.py").write_text(AUDIT, encoding="utf-8")
    borrowed = sysconfig.get_path("purelib")
    (site / "zz_borrowed.pth").write_text(f"import opened_files\n{borrowed}\n", encoding="utf-8")

    elsewhere = base / "else where"
    elsewhere.mkdir()
    return Installed(wheel, site, environment / "bin" / "lasersafe", elsewhere)


def opened_of_the_checkout(opened: Path) -> list[str]:
    """Return what was opened below the checkout, but for the borrowed dependencies."""
    borrowed = Path(sysconfig.get_path("purelib"))
    lines = [Path(line) for line in opened.read_text(encoding="utf-8").splitlines()]
    assert lines, "the audit hook wrote nothing"
    ours = [path for path in lines if path.is_relative_to(ROOT) and not path.is_relative_to(borrowed)]
    linked = [path for path in lines if path.is_relative_to(borrowed / "lasersafe")]
    return [str(path) for path in ours + linked]


def test_wheel_carries_the_data_and_nothing_else(installed: Installed) -> None:
    with zipfile.ZipFile(installed.wheel) as archive:
        packed = {name: archive.read(name) for name in archive.namelist() if ".dist-info/" not in name}
    expected = {}
    for path in project_files():
        if path.parts[0] in ("shared", "templates"):
            expected["lasersafe/_data/" + path.as_posix()] = (ROOT / path).read_bytes()
        elif path.parts[0] == "lasersafe":
            expected[path.as_posix()] = (ROOT / path).read_bytes()
    assert sorted(packed) == sorted(expected)
    assert packed == expected
    assert any(name.startswith("lasersafe/_data/templates/") for name in packed)


def test_version_outside_the_checkout(installed: Installed) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    opened = installed.elsewhere / "opened by version.txt"
    result = run(installed.command, "--version", cwd=installed.elsewhere, OPENED_FILES=str(opened))
    assert (result.returncode, result.stderr) == (0, "")
    assert project["version"] in result.stdout
    assert opened_of_the_checkout(opened) == []


def test_demo_outside_the_checkout_gives_a_sheet(installed: Installed) -> None:
    opened = installed.elsewhere / "opened by demo.txt"
    result = run(installed.command, "demo", "out of demo", cwd=installed.elsewhere, OPENED_FILES=str(opened))
    assert result.returncode == 0, result.stderr
    sheets = sorted((installed.elsewhere / "out of demo").rglob("*.pdf"))
    assert sheets, f"no PDF; the command said: {result.stdout}"
    assert sheets[0].name in result.stdout
    for sheet in sheets:
        pages = pypdf.PdfReader(sheet).pages
        assert len(pages) >= 1
        for page in pages:
            assert sheet.stem.endswith("annex") or "DRAFT" in page.extract_text()
    assert opened_of_the_checkout(opened) == []
    data = installed.site / "lasersafe" / "_data"
    used = opened.read_text(encoding="utf-8").splitlines()
    for kind in ("shared", "templates"):
        assert any(Path(path).is_relative_to(data / kind) for path in used), f"no file of {kind}/ was read"
