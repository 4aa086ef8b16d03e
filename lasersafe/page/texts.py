"""What the page says: the texts of ``page.toml`` of one language, without loading those of the sheet."""

from __future__ import annotations

import re
from functools import lru_cache

from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.reference import load_toml, templates_path
from lasersafe.wording.files import read_texts

_DECIMAL = re.compile(r"(?<![\d.])(\d+)\.(\d+)(?![\d.]*\d)")  # no date, no version
LANGUAGES = ("en", "de")  # the languages that have a page.toml


@lru_cache(maxsize=4)
def _texts(language: str) -> dict[str, str]:
    return read_texts(language, "page.toml", load_toml(templates_path("wording", language, "page.toml")))


class Texts:
    """The texts of one language; calling it fills the places of one.

    Parameters
    ----------
    language : str
        One of `LANGUAGES`.
    """

    def __init__(self, language: str) -> None:
        self.language = language

    def __call__(self, key: str, /, **values: object) -> str:
        """Return a text with its places filled.

        Raises
        ------
        ReferenceDataError
            If the wording has no such text.
        """
        try:
            return _texts(self.language)[key].format_map(values)
        except KeyError as error:
            refuse(f"wording '{self.language}', page.toml: key '{key}': {error} is missing", ReferenceDataError)

    def number(self, text: str) -> str:
        """Return a text with its numbers as this language writes them: with a comma, where that is the decimal mark."""
        return _DECIMAL.sub(rf"\1{_texts(self.language)['page.decimal_mark']}\2", text)

    def options(self, group: str) -> dict[str, str]:
        """Return all texts of one group by their names, in the order of the file."""
        return {
            key.partition(".")[2]: text for key, text in _texts(self.language).items() if key.startswith(f"{group}.")
        }

    def hints(self) -> dict[str, str]:
        """Return all hints on fields, by the key of the label of the field."""
        every = _texts(self.language).items()
        return {key.removesuffix("_hint"): text for key, text in every if key.endswith("_hint")}


def preferred(accepted: str) -> str:
    """Return the language to begin with.

    Parameters
    ----------
    accepted : str
        The header Accept-Language of a browser; untrusted.
    """
    for part in accepted[:200].split(","):
        name = part.strip()[:2].lower()
        if name in LANGUAGES:
            return name
    return LANGUAGES[0]
