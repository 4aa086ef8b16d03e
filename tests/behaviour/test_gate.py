"""The rules of the project that a program can check: layers, sizes, imports, data files, wording, set-up files."""

from __future__ import annotations

import ast
import functools
import importlib.metadata
import os
import re
import stat
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lasersafe.cli import app
from tests.project import ROOT, bibliography, project_files

# ---------------------------------------------------------------------------------------------------------------------
# What an import costs


def modules_after(statement: str) -> set[str]:
    code = f"import sys; {statement}; print(' '.join(sys.modules))"
    result = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    return set(result.stdout.split())


def test_importing_the_command_line_loads_nothing_heavy() -> None:
    heavy = {"numpy", "pint", "pydantic", "scipy", "matplotlib", "reportlab"}
    loaded = modules_after("import lasersafe.cli")
    assert "lasersafe.cli" in loaded
    assert loaded & heavy == set()


HEAVY = {
    "numpy", "numpy.ma", "pint", "pydantic", "shapely", "reportlab", "PIL", "scipy", "pyhanko", "cryptography",
    "pyarrow", "openpyxl", "matplotlib", "pandas", "rich", "asyncio", "multiprocessing",
    "lasersafe.results",
}  # fmt: skip
FORMULAS, MODELS = {"numpy"}, {"numpy", "pydantic", "lasersafe.results"}
SCENES = {*MODELS, "shapely"}
PAPER = {*SCENES, "reportlab", "PIL"}
# In one process, one after the other: what a command may load holds all that the ones before it may load. "-" starts a
# new process. A command that is not here has no allowance yet.
LOADS: list[tuple[str, set[str]]] = [
    ("--help", set()),
    ("page --help", set()),
    ("units", set()),
    ("limit --wavelength 1070nm --duration 10s", FORMULAS),
    (
        "reach --wavelength 1070nm --power 1kW --beam-diameter 8mm --criterion 1/e --divergence 2mrad --duration 9s",
        FORMULAS,
    ),
    ("eyewear --wavelength 450nm --power 5W --continuous --beam-diameter 4mm --criterion 1/e2", FORMULAS),
    ("-", set()),
    ("new FOLDER/new.toml --from demo", {"lasersafe.results"}),
    ("-", set()),
    ("batch --template FOLDER/inventory.csv", {*MODELS, "multiprocessing"}),
    ("-", set()),
    ("schema", {"pydantic", "lasersafe.results"}),
    ("register FOLDER", MODELS),
    ("check CASE", SCENES),
    ("assess CASE", SCENES),
    ("sweep CASE --vary laser.power=10W..80W:3", SCENES),
    ("solve CASE --for laser.power --at 6m", SCENES),
    ("spectators CASE", SCENES),
    ("plan CASE -o FOLDER/plan.svg", PAPER),  # the widths of letters are those that the sheet is set with
    ("notice CASE", PAPER),
    ("sheet CASE -o FOLDER/sheet.pdf", PAPER),
    ("verify FOLDER/sheet.pdf", PAPER),
]
# Shares its modules with another one that is run.
AS_ANOTHER = {"demo": "sheet", "prestart": "sheet", "card": "sheet", "door-sign": "sheet", "signoff": "sheet"}
RUN = """
import contextlib, io, sys
from lasersafe.cli import app
for line in sys.stdin.read().splitlines():
    with contextlib.redirect_stdout(io.StringIO()):
        try:
            app(line.split(), standalone_mode=False)
        except SystemExit as end:
            assert not end.code, line
    print(*sys.modules)
"""


def test_each_command_loads_only_what_it_needs(tmp_path) -> None:
    (tmp_path / "case.toml").write_bytes((ROOT / "templates" / "cases" / "co2-cutter.toml").read_bytes())
    chains = "\n".join(line for line, _ in LOADS).split("\n-\n")
    loaded: list[set[str]] = []
    for chain in chains:
        text = chain.replace("CASE", f"{tmp_path}/case.toml").replace("FOLDER", str(tmp_path))
        result = subprocess.run([sys.executable, "-c", RUN], cwd=ROOT, input=text, capture_output=True, text=True)
        assert result.returncode == 0, result.stderr
        loaded += [set(line.split()) & HEAVY for line in result.stdout.splitlines()]
    expected = [pair for pair in LOADS if pair[0] != "-"]
    assert len(loaded) == len(expected)
    found = {line: here - may for (line, may), here in zip(expected, loaded, strict=True)}
    assert {line: more for line, more in found.items() if more} == {}
    assert loaded[-1] == PAPER


def test_every_command_has_an_allowance_of_modules() -> None:
    names = {command.name or command.callback.__name__ for command in app.registered_commands}
    known = {line.split()[0] for line, _ in LOADS} | set(AS_ANOTHER)
    assert names - known == set(), "say in LOADS what the new command may load"
    assert set(AS_ANOTHER.values()) <= known


def test_importing_quantity_does_not_load_pint() -> None:
    assert modules_after("import lasersafe.quantity") & {"pint", "numpy"} == set()


# ---------------------------------------------------------------------------------------------------------------------
# Layers: a part may import itself and what stands lower; parts of one height do not know each other

LAYERS: list[set[str]] = [
    {
        "data",
        "errors",
        "records",
        "results",
        "wording",
        "quantity",
        "files",
    },
    {"models", "limits", "optics"},
    {"hazard"},
    {"scene"},
    {"assessment"},
    {"drawing"},
    {"sheet"},
    {
        "ask",
        "batch",
        "library",
        "signing",
        "studies",
    },
    {"page"},
    {"cli"},
]
HEIGHT = {part: height for height, parts in enumerate(LAYERS) for part in parts}
# The lowest parts, and those that put answers into words, are single modules that may use each other.
SOCIABLE = LAYERS[0] | LAYERS[-3]
ONLY_IN = {
    "PIL": ("lasersafe/drawing/primitives.py",),
    "pint": (),
    "pydantic": ("lasersafe/models/", "lasersafe/signing/container.py"),
    "pydantic_core": ("lasersafe/models/",),
    "reportlab": ("lasersafe/drawing/text.py", "lasersafe/sheet/"),
    "cryptography": (),
    "pyhanko": tuple(f"lasersafe/signing/{name}.py" for name in ("signatures", "signing_off")),
    "typer": ("lasersafe/cli.py", "lasersafe/cli/"),
    "starlette": ("lasersafe/page/",),
    "uvicorn": ("lasersafe/page/",),
    "jinja2": ("lasersafe/page/",),
    "pyarrow": ("lasersafe/studies/tables.py",),
    "openpyxl": ("lasersafe/batch/sources.py",),
    "scipy": (),
    "matplotlib": (),
    "pandas": (),
}

SOURCES = [path for path in project_files() if path.parts[0] == "lasersafe" and path.suffix == ".py"]


def part_of(path: Path) -> str:
    return path.parts[1].removesuffix(".py")


@functools.cache
def parsed(path: Path) -> ast.Module:
    return ast.parse((ROOT / path).read_text(encoding="utf-8"))


def imports_of(path: Path) -> Iterator[tuple[int, str]]:
    """Yield (line, dotted module) of each import, wherever it stands in the file."""
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import; write the full name"
            for alias in node.names:
                yield node.lineno, f"{node.module}.{alias.name}"


def test_every_part_has_a_layer() -> None:
    parts = {part_of(path) for path in SOURCES} - {"__init__"}
    assert parts - set(HEIGHT) == set(), "give the new part its place in LAYERS"


@pytest.mark.parametrize("path", SOURCES, ids=str)
def test_nothing_imports_leftwards(path: Path) -> None:
    part = part_of(path)
    if part == "__init__":  # only what stands below `if TYPE_CHECKING`
        body = parsed(path).body
        assert [node.lineno for node in body if isinstance(node, ast.Import | ast.ImportFrom)] == []
        return
    wrong = []
    for line, name in imports_of(path):
        names = name.split(".")
        if names[0] != "lasersafe" or len(names) == 1 or names[1] in (part, "__version__"):
            continue
        other = names[1]
        allowed = HEIGHT[other] < HEIGHT[part] or ({part, other} <= SOCIABLE and HEIGHT[other] == HEIGHT[part])
        if not allowed:
            wrong.append(f"{path}:{line}: {part} imports {name}")
    assert wrong == []


@pytest.mark.parametrize("path", SOURCES, ids=str)
def test_libraries_stay_in_their_layer(path: Path) -> None:
    wrong = [
        f"{path}:{line}: {name}"
        for line, name in imports_of(path)
        for library, places in ONLY_IN.items()
        if name.split(".")[0] == library and not path.as_posix().startswith(places)
    ]
    assert wrong == []


def _code_lines(path: Path) -> int:
    """Return how many lines hold code: no blank ones, no comments, no docstrings."""
    described = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    said = [node.body[0] for node in ast.walk(parsed(path))
            if isinstance(node, described) and ast.get_docstring(node, clean=False) is not None]  # fmt: skip
    words = {line for one in said for line in range(one.lineno, (one.end_lineno or one.lineno) + 1)}
    text = (ROOT / path).read_text(encoding="utf-8")
    code = [line.strip() for number, line in enumerate(text.splitlines(), 1) if number not in words]
    return sum(bool(line) and not line.startswith("#") for line in code)


def test_modules_are_short_and_import_no_stars() -> None:
    python = [path for path in project_files() if path.suffix == ".py"]
    lines = {str(path): _code_lines(path) for path in python if path.parts[0] == "lasersafe"}
    assert {path: count for path, count in lines.items() if count > 400} == {}
    star = re.compile(r"^\s*from \S+ import \*", re.MULTILINE)
    assert [path for path in python if star.search((ROOT / path).read_text(encoding="utf-8"))] == []


OWN_MODULES = {".".join(path.with_suffix("").parts).removesuffix(".__init__") for path in SOURCES}


@pytest.mark.parametrize("path", SOURCES, ids=str)
def test_a_module_knows_at_most_15_of_ours(path: Path) -> None:
    blocks = [node for node in ast.walk(parsed(path)) if isinstance(node, ast.If)]
    for_types = [node for block in blocks if "TYPE_CHECKING" in ast.unparse(block.test) for node in block.body]
    lines = {line for node in for_types for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)}
    named = [name for line, name in imports_of(path) if name.split(".")[0] == "lasersafe" and line not in lines]
    known = {name if name in OWN_MODULES else name.rpartition(".")[0] for name in named}
    assert len(known) <= 15, sorted(known)


IN_THE_ROOT = {
    ".ci", ".gitignore", "CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "Makefile", "README.md", "bench",
    "constraints.txt", "docs", "lasersafe", "pyproject.toml", "shared", "templates", "tests", "tools",
}  # fmt: skip


def test_the_root_holds_only_what_is_named_here() -> None:
    assert {path.parts[0] for path in project_files()} == IN_THE_ROOT


# ---------------------------------------------------------------------------------------------------------------------
# Data files


DATA = [path for path in project_files() if path.parts[0] == "shared" and path.suffix == ".toml"]


def source_tables(node: Any) -> Iterator[dict[str, Any]]:
    """Yield each table called ``source``, at any depth."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "source" and isinstance(value, dict):
                yield value
            else:
                yield from source_tables(value)
    elif isinstance(node, list):
        for value in node:
            yield from source_tables(value)


@pytest.mark.parametrize("path", DATA, ids=str)
def test_data_file_names_its_source(path: Path) -> None:
    content = tomllib.loads((ROOT / path).read_text(encoding="utf-8"))
    if path.name == "rule_sets.toml":  # the index: it holds no figures, each edition names its document
        assert {edition["key"] for edition in content["rule_set"]} <= set(bibliography())
        return
    assert isinstance(content.get("source"), dict), "no [source] table at the top"
    for source in source_tables(content):
        assert source["key"] in bibliography()
        assert source["locator"].strip()
        assert source["seen"] in ("read", "part", "memory", "common practice", "own")


def test_there_are_data_files_and_a_bibliography() -> None:
    assert {path.parts[1] for path in DATA} >= {"limits", "eyewear"}
    keys = bibliography()
    assert len(keys) == len(set(keys)), "a key stands twice"


# ---------------------------------------------------------------------------------------------------------------------
# What no file says

BINARY = {".png", ".ttf", ".otf", ".pdf", ".jpg", ".ico", ".xz"}
MACHINE = re.compile(
    r"(?<![\w.])/(?:wor[k]|roo[t]|hom[e])/"  # the brackets keep this line from matching itself
    r"|pyp[i]\.org|pythonhoste[d]\.org|npmj[s]\.|deb\.debia[n]\.org|--(?:extra-)?index-ur[l]"
)
PROMISE = re.compile(r"\bsafe[\s_-]+distance|\beye[\s-]?safe\b", re.IGNORECASE)


def texts() -> Iterator[tuple[Path, str]]:
    for path in project_files():
        if path.suffix not in BINARY:
            yield path, (ROOT / path).read_text(encoding="utf-8")


def test_no_file_names_a_machine_or_a_registry() -> None:
    found = [
        f"{path}:{number}: {line.strip()[:100]}"
        for path, text in texts()
        for number, line in enumerate(text.splitlines(), 1)
        if MACHINE.search(line)
    ]
    assert found == []


def test_nothing_that_a_user_reads_promises_safety() -> None:
    found = [
        f"{path}:{number}: {line.strip()[:100]}"
        for path, text in texts()
        if path.parts[0] in ("lasersafe", "templates", "shared", "docs") or str(path) == "README.md"
        for number, line in enumerate(text.splitlines(), 1)
        if PROMISE.search(line)
    ]
    assert found == []


def test_the_word_checks_can_fail() -> None:
    assert PROMISE.search("the safe  distance is")
    assert PROMISE.search("an Eye-safe laser")
    assert MACHINE.search("see /" + "work/main")
    assert not MACHINE.search("net/" + "work/main")


# ---------------------------------------------------------------------------------------------------------------------
# Set-up files


def test_ci_runs_the_gate_and_nothing_cleverer() -> None:
    script = ROOT / ".ci" / "run"
    assert os.stat(script).st_mode & stat.S_IXUSR
    commands = [line for line in script.read_text(encoding="utf-8").splitlines() if line and not line.startswith("#")]
    assert commands == ["set -eu", 'cd "$(dirname "$0")/.."', "make browser", "exec make test"]


def test_constraints_are_plain_and_name_the_whole_closure() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.]+", line)] == []
    pinned = {re.sub(r"[-_.]+", "-", line.split("==")[0]).lower() for line in lines}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = list(project["project"]["dependencies"]) + list(project["build-system"]["requires"])
    extras = dict(project["project"]["optional-dependencies"])
    unneeded = [*extras.pop("fuzz"), *extras.pop("site")]  # need not be installed
    assert [re.split(r"[^a-z-]", one)[0] in pinned for one in unneeded] == [True] * 3
    for extra in extras.values():
        wanted += extra
    seen: set[str] = set()
    while wanted:
        requirement = wanted.pop()
        if "extra ==" in requirement or re.search(
            r"(python_version|python_full_version|platform|os_name)", requirement
        ):
            continue
        name = re.sub(r"[-_.]+", "-", re.split(r"[^A-Za-z0-9._-]", requirement, maxsplit=1)[0]).lower()
        if name not in seen:
            seen.add(name)
            wanted += importlib.metadata.requires(name) or []
    assert seen - pinned == set()
    assert all(">=" in requirement for requirement in project["project"]["dependencies"])
