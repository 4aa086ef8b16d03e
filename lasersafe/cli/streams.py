"""What is printed: whole, or the program does not end well; and in letters that the terminal or file can hold."""

from __future__ import annotations

import codecs
import contextlib
import errno
import io
import sys
from collections.abc import Sequence

_WORDS = {
    "ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss", "ẞ": "SS", "±": "+-", "µ": "u",
    "μ": "u", "·": ".", "×": "x", "÷": "/", "−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-",
    "√": "sqrt ", "∞": "infinity", "λ": "lambda", "Λ": "Lambda",
    "≤": "<=", "≥": ">=", "≈": "~", "≠": "!=", "°": "deg", "…": "...", "•": "*", "Ω": "Ohm", "⁻": "^-", "⁺": "^+",
    "„": '"', "“": '"', "”": '"', "‚": "'", "‘": "'", "’": "'", "«": '"', "»": '"', "€": "EUR", "⌀": "diameter ",
    "Ø": "O", "ø": "o", "Æ": "AE", "æ": "ae", "Œ": "OE", "œ": "oe", "\u00a0": " ", "\u2009": " ", "\u202f": " ",
    "⁄": "/",
}  # fmt: skip
_RAISED = "⁰¹²³⁴⁵⁶⁷⁸⁹"


def in_ascii(text: str, before: str = "") -> str:
    """Return a text in ASCII letters: ``m²`` as ``m2``, ``µm`` as ``um``, ``10⁻³`` as ``10^-3``, the rest spelled out.

    Parameters
    ----------
    text : str
        What has no place in the output.
    before : str
        The character that stands before it.
    """
    import unicodedata

    found = ""
    for letter in text:
        plain = unicodedata.normalize("NFKD", letter)
        name = unicodedata.name(letter, "")
        if letter in _WORDS:
            found += _WORDS[letter]
        elif letter in _RAISED:
            found += ("^" if before and before in "0123456789" else "") + str(_RAISED.index(letter))
        elif name.startswith("GREEK ") and " LETTER " in name and " WITH " not in name:
            word = name.rpartition(" LETTER ")[2].lower().split()[-1]
            found += word if " SMALL " in name else word.capitalize()
        elif (base := "".join(c for c in plain if not unicodedata.combining(c))) and base.isascii():
            found += base
        else:
            found += letter.encode("ascii", "backslashreplace").decode()
        before = letter
    return found


def _replaced(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    before = error.object[error.start - 1 : error.start]
    return in_ascii(error.object[error.start : error.end], before), error.end


class _Nowhere(io.TextIOBase):
    """Stands for a standard output that was closed: what is printed there is not lost unseen."""

    def write(self, text: str) -> int:
        raise OSError(errno.EBADF, "there is no standard output to print to")


def prepare() -> None:
    """Set the streams of the program up; to be called once, before anything is printed."""
    codecs.register_error("lasersafe", _replaced)
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None and name == "stdout":
            sys.stdout = _Nowhere()
        if not isinstance(stream, io.TextIOWrapper):
            continue
        if isinstance(stream.buffer, io.RawIOBase):  # unbuffered: what the system did not take would be lost unseen
            encoding = stream.encoding
            stream = io.TextIOWrapper(io.BufferedWriter(stream.detach()), encoding, line_buffering=True)
            setattr(sys, name, stream)
        stream.reconfigure(errors="lasersafe")


def say(text: str, *, end: str = "\n") -> None:
    """Print a text, whole.

    Raises
    ------
    OSError
        If there is nowhere to print to, or no room.
    """
    sys.stdout.write(text + end)
    sys.stdout.flush()


def show(lines: Sequence[tuple[str, str]], label: int, passed: bool) -> None:
    """Print lines beside labels: plain, or as a table with the verdict in colour where it is a terminal.

    Parameters
    ----------
    lines : sequence of tuple of str
        A label and what stands beside it; what takes the whole width is a label alone.
    label : int
        Width of the labels, in columns.
    passed : bool
        Whether the first line beside a label is good news.
    """
    if not sys.stdout.isatty():
        for name, line in lines:
            say(f"{name:<{label}}{line}" if line else name)
        return
    from rich.console import Console
    from rich.text import Text

    console, subject = Console(highlight=False, soft_wrap=True), 0
    for name, line in lines:
        subject += bool(name and line)
        colour = ("bold green" if passed else "bold red") if subject == 1 else ""
        console.print(Text.assemble((f"{name:<{label}}" if line else name, "bold" if line else ""), (line, colour)))
    sys.stdout.flush()


def complain(text: str) -> None:
    """Print a line to the standard error, where there is one."""
    with contextlib.suppress(OSError, AttributeError):
        sys.stderr.write(f"{text}\n")
        sys.stderr.flush()


def can_hold(text: str) -> bool:
    """Return whether the standard output has a place for each letter of a text."""
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        return False
    return True
