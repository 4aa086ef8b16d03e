"""The public functions of limits/, optics/ and hazard/: docstring against signature, units, cited documents."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

import pytest

from lasersafe.quantity import units
from tests.project import ROOT, bibliography, project_files

LIBRARY = ("limits", "optics", "hazard", "library")
NUMBER = re.compile(r"\b(float|float64|floating|ArrayLike|NDArray|ndarray|FloatArray|Given)\b")
AROUND_NUMBERS = re.compile(r"\b(tuple|None|Any|np|numpy)\b|[\[\]|,.\s]")
REFERENCE = re.compile(r"^\.\. \[(\w+)\] (.+)$", re.MULTILINE)
KNOWN = {unit.text for unit in units()} | {"sr"}
WITHOUT_DIMENSION = {"1", "any"}  # any: a helper that works on whatever it is given
WITHOUT_DOCUMENT = ("Elementary:", "Own:")  # a formula that every textbook has; a derivation made here

Function = ast.FunctionDef | ast.AsyncFunctionDef


def exported(package: str) -> set[str] | None:
    """Return what ``__all__`` of a package names, None for a package without one."""
    for node in ast.parse((ROOT / "lasersafe" / package / "__init__.py").read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            return set(ast.literal_eval(node.value))
    return None


def public_functions() -> Iterator[tuple[str, Function]]:
    """Yield the functions of the library half, read from the source: none needs to be importable.

    Of a package with ``__all__`` those that it names, of another all without an underscore.
    """
    for path in project_files():
        if path.parts[0] == "lasersafe" and path.parts[1] in LIBRARY and path.suffix == ".py":
            names = exported(path.parts[1])
            for node in ast.parse((ROOT / path).read_text(encoding="utf-8")).body:
                if isinstance(node, Function) and not node.name.startswith("_"):
                    if names is None or node.name in names:
                        yield f"{path.parts[1]}/{path.stem}:{node.name}", node


FUNCTIONS = dict(public_functions())


def annotations(function: Function) -> dict[str, str]:
    """Return parameter -> annotation, in the order of the signature."""
    given = function.args
    every = [*given.posonlyargs, *given.args, given.vararg, *given.kwonlyargs, given.kwarg]
    return {one.arg: ast.unparse(one.annotation) if one.annotation else "" for one in every if one}


def is_number(annotation: str) -> bool:
    """Return whether an annotation is a float, an array of floats or a tuple of them."""
    return bool(NUMBER.search(annotation)) and not AROUND_NUMBERS.sub("", NUMBER.sub("", annotation))


def sections(docstring: str) -> dict[str, list[str]]:
    """Split a numpydoc docstring into its sections; the text before the first is called ''."""
    found: dict[str, list[str]] = {"": []}
    lines = docstring.splitlines()
    title = ""
    for number, line in enumerate(lines):
        if number + 1 < len(lines) and line and re.fullmatch(r"-{3,}", lines[number + 1]):
            title = line
            found[title] = []
        elif not re.fullmatch(r"-{3,}", line):
            found[title].append(line)
    return found


def entries(lines: list[str]) -> dict[str, str]:
    """Return name -> heading and description of a Parameters or Returns section."""
    found: dict[str, str] = {}
    names: list[str] = []
    for line in lines:
        if line and not line.startswith(" "):
            heading, colon, _ = line.partition(" : ")
            names = [name.strip().lstrip("*") for name in (heading.split(",") if colon else [heading])]
            found.update(dict.fromkeys(names, line))
        elif line.strip():
            for name in names:
                found[name] += "\n" + line.strip()
    return found


def unit_problem(text: str) -> str:
    """Return what is wrong with the unit that ends a description, or ''."""
    match = re.search(r"\[([^\[\]]+)\]\.?\Z", text.strip())
    if match is None:
        return "does not end in a [unit]"
    for unit in re.split(r",? or |, ", match[1]):
        for factor in re.split(r"[/ ]", unit):
            base = re.sub(r"-?\d+\Z", "", factor)
            if base and base not in KNOWN and base not in WITHOUT_DIMENSION:
                return f"the unit [{unit}] is not known: '{base}' is not in shared/units.txt"
    return ""


@pytest.mark.parametrize("name", FUNCTIONS)
def test_docstring_matches_the_signature(name: str) -> None:
    function = FUNCTIONS[name]
    parts = sections(ast.get_docstring(function) or "")
    documented = entries(parts.get("Parameters", []))
    signature = annotations(function)
    assert list(documented) == list(signature)
    problems = {
        parameter: unit_problem(documented[parameter])
        for parameter, annotation in signature.items()
        if is_number(annotation)
    }
    if function.returns and is_number(ast.unparse(function.returns)):
        returned = entries(parts.get("Returns", []))
        assert returned, "no Returns section"
        problems |= {f"returns {what}": unit_problem(text) for what, text in returned.items()}
    assert {parameter: problem for parameter, problem in problems.items() if problem} == {}


@pytest.mark.parametrize("name", FUNCTIONS)
def test_docstring_cites_known_documents(name: str) -> None:
    text = ast.get_docstring(FUNCTIONS[name]) or ""
    body, _, _ = text.partition("References\n-")
    listed = dict(REFERENCE.findall(text))
    assert set(re.findall(r"\[(\w+)\]_", body)) <= set(listed)
    documents = [words for words in listed.values() if not words.startswith(WITHOUT_DOCUMENT)]
    assert {re.split(r"[,\s]", words)[0] for words in documents} - set(bibliography()) == set()


def test_the_walk_finds_the_functions_and_the_checks_can_fail() -> None:
    assert {name.split("/")[0] for name in FUNCTIONS} == set(LIBRARY)
    assert len(FUNCTIONS) > 20
    assert is_number("float | NDArray[np.float64]")
    assert is_number("tuple[ArrayLike, float] | None")
    assert not is_number("Callable[[float], float]")
    assert unit_problem("power : float\nWhat leaves the laser. [W]") == ""
    assert unit_problem("power : float\nWhat leaves the laser.") != ""
    assert unit_problem("power : float\nWhat leaves the laser. [furlong]") != ""
