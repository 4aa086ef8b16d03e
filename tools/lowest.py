"""The lowest versions that ``pyproject.toml`` takes, as a file of constraints: ``make lowest`` runs the tests on them.

Only what the project names is held at its lowest; what those packages need themselves, pip chooses.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]


def lowest(project: dict[str, object]) -> list[str]:
    """Return a line ``name==version`` for each package of the program and of its tests."""
    extras: dict[str, list[str]] = project["optional-dependencies"]  # type: ignore[assignment]
    names: list[str] = [*project["dependencies"], *extras["sign"], *extras["parquet"], *extras["test"]]  # type: ignore[misc]
    found: dict[str, str] = {}
    for text in names:
        one = Requirement(text)
        bounds = [bound.version for bound in one.specifier if bound.operator == ">="]
        if len(bounds) != 1 or found.get(one.name, bounds[0]) != bounds[0]:
            message = f"{text}: one lower bound is needed, the same wherever the package is named"
            raise SystemExit(message)
        found[one.name] = bounds[0]
    return [f"{name}=={version}" for name, version in sorted(found.items())]


def main() -> None:
    """Write the lines to a file, or to the terminal."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        lines = "\n".join(lowest(tomllib.load(file)["project"])) + "\n"
    if len(sys.argv) > 1:
        Path(sys.argv[1]).write_text(lines, encoding="utf-8")
    else:
        sys.stdout.write(lines)


if __name__ == "__main__":
    main()
