"""Inputs that were taken as they stood: keys of thousands of parts, ratings a thousand million times too high."""

from __future__ import annotations

import threading

import pytest

from lasersafe.ask.cases import template_text
from lasersafe.errors import CaseError
from lasersafe.models import MOST_PARTS, parse_case

KEY = ".".join(["a"] * 20_000)  # 40 kB


@pytest.mark.parametrize(
    "text", [f"{KEY} = 1\n", f"[{KEY}]\n", f"[[ {KEY} ]]", f"x = {{ {KEY} = 1 }}", f"title = 'a'\n{KEY} = 2"]
)
def test_a_dotted_key_of_many_parts_is_refused_before_it_is_read(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """To read n parts takes time and memory by n squared: 6 s and 1.6 GB here."""
    import tomllib

    def never(text: str) -> None:
        raise AssertionError

    monkeypatch.setattr(tomllib, "loads", never)
    with pytest.raises(
        CaseError, match=r"'a\.a\.a.*': a key of 20000 parts; at most 16 are read: name a case file"
    ) as one:
        parse_case(text)
    assert len(str(one.value)) < 200
    assert one.value.faults[0].line == text.count("\n", 0, text.index("a.a")) + 1


def test_what_only_looks_like_a_long_key_is_read() -> None:
    long = ".".join(["a"] * (MOST_PARTS + 1))
    deep = ".".join(["a"] * MOST_PARTS)
    for text in (f'title = "{long}"', f"title = '{long}'", f'title = """\n{long}"""', f"# {long}", f'x = "\\"{long}"',
                 f"x = '''\n{long}\n'''", f"x = 'it' # {long}", f"{deep} = 1"):  # fmt: skip
        with pytest.raises(CaseError) as refused:
            parse_case(text + "\n")
        assert "parts; at most" not in str(refused.value)


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ("50 MW/cm2", "did you mean '50 mW/cm2'? a power density above 10 MW/cm2 is not accepted"),
        ("10.1 MW/cm2", "did you mean '10.1 mW/cm2'?"),
        ("2e5 MW/m2", "did you mean '2e5 mW/m2'?"),
        ("10 MW/cm2", ""),
        ("50 mW/cm2", ""),
    ],
)
def test_a_rating_asks_back_as_powers_do(typed: str, asked: str) -> None:
    text = template_text("co2-cutter").decode().replace('rating = "30 W/cm2"', f'rating = "{typed}"')
    if not asked:
        assert parse_case(text).barrier[0].rating.typed == typed  # type: ignore[union-attr]
        return
    with pytest.raises(CaseError, match=f"rating: '{typed}'") as refused:
        parse_case(text)
    assert asked in str(refused.value)


def test_threads_that_write_sheets_do_not_change_each_other() -> None:
    """A switch of reportlab is shared by all threads: whoever saves must not see it as another one left it.

    Every page is saved while other threads print and switch; each comes out as it does alone.
    """
    from reportlab import rl_config

    from lasersafe.assessment import assess
    from lasersafe.sheet import render_sheet

    found = assess(parse_case(template_text("visible-diode").decode()))
    before = rl_config.useA85
    alone = {kind: render_sheet(found, kind=kind) for kind in ("card", "sign", "prestart")}
    wrong: list[str] = []
    start = threading.Barrier(3)

    def work(kind: str) -> None:
        start.wait()
        wrong.extend(kind for _ in range(4) if render_sheet(found, kind=kind) != alone[kind])

    threads = [threading.Thread(target=work, args=(kind,)) for kind in alone]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert wrong == []
    assert rl_config.useA85 == before
    assert b"ASCII85" not in alone["card"]
