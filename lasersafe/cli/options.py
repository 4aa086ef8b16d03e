"""The application, the options that several commands share, and how things are printed."""

from __future__ import annotations

import codecs
import contextlib
import errno
import io
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import MISSING, fields
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import Annotated, Any, get_args, get_type_hints

import typer
from typer import Argument, Option

from lasersafe.ask import Text

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


app = typer.Typer(
    name="lasersafe",
    help="Laser hazard zones, eyewear and barriers from one case file, printed as a sheet that can be retraced.",
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    epilog="Every result defers to local law and to a qualified laser safety officer.",
)

CaseFile = Annotated[
    Path, Argument(metavar="CASE.toml", help="The case file; - for the standard input.", show_default=False)
]
Json = Annotated[bool, Option("--json", help="Print JSON: SI numbers, the unit in each key.")]
PageOutput = Annotated[
    Path, Option("--output", "-o", help="The PDF to write; - for the standard output.", show_default=False)
]
Replace = Annotated[
    bool, Option("--replace", help="Replace a file that this command did not write for this case, or that was edited.")
]
Paper = Annotated[Text, Option(help="A4 or Letter; without it, what the case says.")]
Answer = tuple[Any, ...]  # plain data, text or lines, and where it is not 0 the exit code


def command(
    kind: type | None = None, name: str | None = None, words: str | None = None
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add a command; the fields of a question are its options, in place of its parameter ``question``.

    What it returns is its answer as plain data, the same as a text or lines, and its exit code unless that is 0; one
    that takes ``as_json`` prints its answer itself.
    """

    def of(does: Callable[..., Any]) -> Callable[..., Any]:
        every = [one.replace(kind=Parameter.KEYWORD_ONLY) for one in signature(does, eval_str=True).parameters.values()]
        tells = all(one.name != "as_json" for one in every)

        @wraps(does)
        def run(**given: Any) -> None:
            as_json = tells and given.pop("as_json")
            if kind is not None:
                given["question"] = kind(**{one.name: given.pop(one.name) for one in fields(kind)})
            answer = does(**given)
            if tells:
                tell(as_json, *answer[:2])
                if any(answer[2:]):
                    raise typer.Exit(answer[2])

        if tells:
            every.append(Parameter("as_json", Parameter.KEYWORD_ONLY, default=False, annotation=Json))
        options, place = list[Parameter](), next((n for n, one in enumerate(every) if one.name == "question"), 0)
        hints = get_type_hints(kind, include_extras=True) if kind is not None else {}
        for one in fields(kind) if kind is not None else ():
            what, help_text, *names = get_args(hints[one.name])
            names = names or ([f"--{one.name.replace('_', '-')}"] if what is bool else [])
            hint: Any = Annotated[what, Option(*names, help=help_text)]
            usual = Parameter.empty if one.default is MISSING else one.default
            options.append(Parameter(one.name, Parameter.KEYWORD_ONLY, default=usual, annotation=hint))
        every[place : place + bool(options)] = options
        run.__signature__ = Signature(every)  # type: ignore[attr-defined]
        run.__annotations__ = {one.name: one.annotation for one in every}
        return app.command(name, help=words)(run)

    return of


def print_json(data: dict[str, Any]) -> None:
    """Print JSON; a number that JSON does not know is a fault of ours."""
    import json

    text = json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:  # the standard output has no place for a letter of it
        text = json.dumps(data, indent=2, allow_nan=False)
    say(text)


def tell(as_json: bool, data: dict[str, Any], words: str | Iterable[str]) -> None:
    """Print an answer: JSON where it is asked for, else its text or its lines."""
    if as_json:
        print_json(data)
    else:
        for line in [words] if isinstance(words, str) else words:
            say(line)
