"""Sentences with a key: each stands in every language, with the same places, and is said in it."""

from __future__ import annotations

import copy
import math
import pickle
import re
import string
from pathlib import Path

import pytest

from lasersafe.data import load_toml, templates_path
from lasersafe.errors import ReferenceDataError
from lasersafe.wording import Message, inner, joined, languages, load_wording, word
from tests.project import ROOT

USED = re.compile(r"Message\(\s*\"([a-z_]+\.[a-z_]+)\"")


def sentences(language: str) -> dict[str, str]:
    groups = load_toml(templates_path("wording", language, "messages.toml"))
    return {f"{group}.{name}": text for group, texts in groups.items() for name, text in texts.items()}


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("language", languages())
def test_every_sentence_stands_in_every_language_with_the_same_places(language: str) -> None:
    english, here = sentences("en"), sentences(language)
    assert here.keys() == english.keys()
    assert {key: places(text) for key, text in here.items()} == {key: places(text) for key, text in english.items()}


def test_every_key_in_the_code_is_a_sentence_and_every_sentence_is_asked_for() -> None:
    texts = [Path(path).read_text(encoding="utf-8") for path in (ROOT / "lasersafe").rglob("*.py")]
    used = {key for text in texts for key in [*USED.findall(text), *re.findall(r'"(misfit\.[a-z_]+)"', text)]}
    assert len(used) > 60
    assert used - sentences("en").keys() == set()
    whole = "".join(texts)
    built = tuple(set(re.findall(r'f"([a-z]+\.[a-z_]*)\{', whole)))  # the beginning of a key that is put together
    spare = {key for key in sentences("en") if f'"{key}"' not in whole and not key.startswith(built)}
    assert {key for key in spare if not key.startswith("word.")} == set()
    data = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "shared").rglob("*.toml"))
    assert {key for key in spare if key.removeprefix("word.") not in whole + data} == set()


def test_a_word_is_said_in_every_language_and_what_users_type_is_not() -> None:
    assert word("retina thermal") == "retina thermal"
    assert load_wording("de").say(word("retina thermal")) == "Netzhaut thermisch"
    assert load_wording("de").say("retina thermal") == "Netzhaut thermisch"
    assert not isinstance(word("Retina of my own"), Message)
    assert joined(["a", word("eye")], ", ") == "a, eye"
    assert load_wording("de").say(joined([word("skin"), "a", word("eye")], ", ")) == "Haut, a, Auge"


def test_a_sentence_is_english_as_a_text_and_said_in_any_language_with_what_stands_in_it() -> None:
    reason = Message("time.one_pulse", reason=Message("time.stated", reason="drill {of} the day"))
    assert reason == "stated in the case: drill {of} the day; not shorter than one pulse"
    assert load_wording("de").say(reason) == "im Fall angegeben: drill {of} the day; nicht kürzer als ein Puls"
    assert load_wording("en").say(reason) == reason
    several = joined([reason, Message("time.deliberate")])
    assert several == f"{reason}; deliberate viewing (TROS-2, 4.1)"
    assert load_wording("de").say(several).endswith("ein Puls; absichtliches Hineinsehen (TROS-2, 4.1)")


def test_a_copy_of_a_sentence_keeps_its_key() -> None:
    note = Message("need.scatter_alone", distance="0.5 m", density=math.inf)
    for again in (copy.deepcopy(note), pickle.loads(pickle.dumps(note))):
        assert (again, again.key, again.values) == (note, note.key, note.values)


def test_a_sentence_in_another_language_keeps_its_key_and_says_what_stands_in_it() -> None:
    verdict = Message("barrier.fails", why=Message("barrier.unrated"))
    here = verdict.said("de")
    assert here == "hält nicht: ohne Angabe einer Auslegung ist nicht bekannt, was ausgehalten wird"
    assert (here.key, inner(here, "why")) == (
        "barrier.fails",
        "ohne Angabe einer Auslegung ist nicht bekannt, was ausgehalten wird",
    )
    for again in (copy.deepcopy(here), pickle.loads(pickle.dumps(here))):
        assert (again, again.language, again.values) == (here, "de", here.values)
    assert here.said("en") == "does not hold: it is not rated, so nothing is known about what it withstands"
    assert inner("typed by a user", "why") == "typed by a user"


def test_a_sentence_that_is_missing_is_named() -> None:
    with pytest.raises(ReferenceDataError, match=r"wording 'en', messages.toml: key 'time.never' is missing"):
        Message("time.never")
