"""README and guide: the parts that must be there, in order; links that lead somewhere; examples that run."""

from __future__ import annotations

import re
import shlex

import pytest
from typer.testing import CliRunner

from lasersafe.cli import app
from tests.project import ROOT, project_files

PAGES = [path for path in project_files() if path.suffix == ".md" and path.parts[0] in ("README.md", "docs")]
FENCE = re.compile(r"^```(?:console|sh|bash|shell)\n(.*?)^```", re.MULTILINE | re.DOTALL)


def test_readme_has_its_parts_in_order() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    paragraphs = [part.strip() for part in text.split("\n\n") if part.strip()]
    job = next(part for part in paragraphs if not part.startswith("#"))
    assert len(job) > 300, "the job in one paragraph comes first"
    picture = re.search(r"!\[[^\]]+\]\(([^)]+\.png)\)", text)
    assert picture is not None
    assert (ROOT / picture[1]).read_bytes().startswith(b"\x89PNG")
    headings = [(match.start(), match[1].lower()) for match in re.finditer(r"^#+ (.+)$", text, re.MULTILINE)]

    def heading(word: str, after: int) -> int:
        places = [place for place, title in headings if word in title and place > after]
        assert places, f"no heading with '{word}' after character {after}"
        return places[0]

    order = [text.index(job), text.index("make demo"), text.index("make test", text.index("make demo"))]
    order.append(picture.start())
    users = [heading(word, picture.start()) for word in ("officer", "maker", "producer")]
    cautions = heading("caution", max(users))
    order += [min(users), max(users), cautions, heading("limits come from", cautions)]
    assert order == sorted(order)


def test_readme_and_guide_link_to_files_that_exist() -> None:
    broken = []
    for path in project_files():
        if path.suffix != ".md":
            continue
        for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", (ROOT / path).read_text(encoding="utf-8")):
            if "://" not in target and not (ROOT / path.parent / target).exists():
                broken.append(f"{path}: {target}")
    assert broken == []


def commands_in(text: str) -> list[str]:
    """Return the lasersafe command lines of the console blocks; a backslash joins lines."""
    blocks = re.sub(r"\s*\\\n\s*", " ", "\n".join(FENCE.findall(text)))
    lines = (line.strip().removeprefix("$ ") for line in blocks.splitlines())
    return [line for line in lines if line.startswith("lasersafe ")]


@pytest.mark.parametrize("page", PAGES, ids=str)
def test_examples_run(page, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    failed = {}
    for line in commands_in((ROOT / page).read_text(encoding="utf-8")):
        result = CliRunner().invoke(app, shlex.split(line, comments=True)[1:], prog_name="lasersafe")
        if result.exit_code != 0 and "DO NOT RUN AS PLANNED" not in result.output:
            failed[line] = f"{result.exit_code}: {result.output} {result.exception!r}"
    assert failed == {}


def test_readme_has_examples() -> None:
    assert len(commands_in((ROOT / "README.md").read_text(encoding="utf-8"))) >= 3
    assert commands_in("```console\n$ lasersafe limit --x \\\n  1\nanswer\n```\n") == ["lasersafe limit --x 1"]
