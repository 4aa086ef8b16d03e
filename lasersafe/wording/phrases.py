"""What the program says in English, said in another language by a list of phrases.

Bottom layer. A phrase is an English sentence or part of one, with ``{places}`` for numbers and names.
"""

from __future__ import annotations

import re
from functools import lru_cache

PLACE = re.compile(r"\{(\w+)\}")
Phrases = tuple[tuple[str, str], ...]
_LONGEST = 1500  # characters; a longer text is not one of the program


def _place(name: str) -> str:
    """Return the pattern of a place; only what a user typed, a reason or the name of a surface, may be sentences."""
    return f"(?P<{name}>.+?)" if name in ("reason", "surface") else rf"(?P<{name}>(?:(?!\. ).)+?)"


@lru_cache(maxsize=8)
def _patterns(phrases: Phrases) -> tuple[dict[str, str], tuple[tuple[re.Pattern[str], str], ...]]:
    exact = {english: here for english, here in phrases if "{" not in english}
    found = []
    for english, here in phrases:
        if "{" in english:
            parts = PLACE.split(english)  # text, name, text, name, ... text
            pattern = "".join(_place(p) if i % 2 else re.escape(p) for i, p in enumerate(parts))
            found.append((re.compile(pattern, re.DOTALL), here))
    return exact, tuple(found)


@lru_cache(maxsize=16384)
def translated(text: str, phrases: Phrases) -> str:
    """Return a text in another language: as a whole, filled into a pattern, or part by part.

    Parts are what semicolons and ends of sentences separate. What no phrase fits stays as it is. A place that is named
    ``{say...}`` holds words of the program and is translated too; any other holds what a user typed, and is not.
    """
    exact, patterns = _patterns(phrases)
    if text in exact:
        return exact[text]
    if len(text) > _LONGEST:
        return text
    for pattern, here in patterns:
        match = pattern.fullmatch(text)
        if match:
            filled = match.groupdict()
            return here.format_map(
                {name: translated(part, phrases) if name.startswith("say") else part for name, part in filled.items()}
            )
    for joint in (". ", "; ", ": ", ", "):
        if joint in text:
            first, _, rest = text.partition(joint)
            stop = "." if joint == ". " else ""
            ending = joint[len(stop) :] if stop else joint
            return translated(first + stop, phrases) + ending + translated(rest, phrases)
    return text
