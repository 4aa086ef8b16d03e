"""What helps people along: completion in the shell, three pages to begin with, the glossary, the pages as a site."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib

import pytest

from lasersafe.wording import load_wording
from tests.project import ROOT

PAGES = ("maker", "producer", "officer")


@pytest.mark.parametrize(
    ("typed", "found"), [("lasersafe as", "assess"), ("lasersafe new --gu", "--guests"), ("lasersafe ey", "eyewear")]
)
def test_the_shell_completes_commands_and_options(typed: str, found: str) -> None:
    words = {"COMP_WORDS": typed, "COMP_CWORD": str(len(typed.split()) - 1), "_LASERSAFE_COMPLETE": "complete_bash"}
    code = "import sys; sys.argv = ['lasersafe']; from lasersafe.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | words, cwd=ROOT, capture_output=True, text=True
    )
    assert done.stdout.split() == [found]


@pytest.mark.parametrize("name", PAGES)
def test_each_page_to_begin_with_ends_with_a_picture_and_defers_to_the_officer(name: str) -> None:
    text = (ROOT / "docs" / "tutorial" / f"{name}.md").read_text(encoding="utf-8")
    *_, picture, last = [part for part in text.split("\n\n") if part.strip()]
    found = re.fullmatch(r"!\[[^\]]{20,}\]\(([^)]+\.png)\)", picture)
    assert found is not None
    image = ROOT / "docs" / "tutorial" / found[1]
    assert image.read_bytes().startswith(b"\x89PNG")
    assert image.stat().st_size < 400_000
    assert "glossary" in last
    assert text.count("```console") >= 2
    assert f"tutorial/{name}.md" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_glossary_explains_every_abbreviation_that_the_texts_use() -> None:
    text = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
    wording = load_wording()
    entries = [*wording.controls, *wording.other_hazards, *wording.cautions]
    said = " ".join([*wording.texts.values(), *(one.text for one in entries)])
    short = {re.sub(r"\d+$", "", one) for one in re.findall(r"(?<![{\w-])[A-Z][A-Z0-9]+\b", said)}
    plain = {
        "DRAFT",
        "SIGNATURE",
        "NOTHING",
        "NOT",
        "ABOVE",
        "DO",
        "DOES",
        "HOLD",
        "RUN",
        "AS",
        "PLANNED",
        "FOR",
        "AREA",
        "THE",
        "LIMIT",
        "III",
    }
    papers = {
        "STFC",
        "EIGA",
        "OSHA",
        "ANSI",
        "III",
        "UK",
        "CONTROLLED",
        "LASER",
        "S",
        "A",
        "UTC",
        "PDF",
        "PNG",
        "SVG",
        "CSV",
        "TOML",
        "JSON",
        "UTF",
        "MW",
    }
    missing = {one for one in short - plain - papers if not re.search(rf"\b{one}\d*\b", text)}
    assert missing == set()
    for word in ("divergence", "optical density", "struck out", "assumed", "fingerprint", "1/e²", "scattered light"):
        assert word in text


def test_the_site_lists_every_page_of_the_guide_and_its_generator_is_an_extra() -> None:
    index = (ROOT / "docs" / "index.md").read_text(encoding="utf-8")
    pages = {path.relative_to(ROOT / "docs").with_suffix("").as_posix() for path in (ROOT / "docs").rglob("*.md")}
    assert pages - {"index"} == set(re.findall(r"^([\w/-]+)$", index, re.MULTILINE)) & pages
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    assert [one.split(">")[0] for one in extras["site"]] == ["sphinx", "myst-parser"]
