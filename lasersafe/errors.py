"""The errors that a user can meet.

::

    CalcError (ValueError)            one line for the user, exit code 2
    ├── InputError                    a field: what was typed, what is allowed, what to do
    │   ├── QuantityError             text that is not one number with one known unit
    │   └── CaseError                 a case file with one or more faults, all listed
    ├── OutOfRangeError               outside what the named document covers
    ├── ReferenceDataError            a data file of shared/ or templates/ is damaged
    └── OutputError                   a file cannot be written or a character cannot be printed
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NoReturn


class CalcError(ValueError):
    """Base of every error that is reported to the user in one line."""


class InputError(CalcError):
    """A field that cannot be used as typed."""


class QuantityError(InputError):
    """Text that is not one number with one known unit."""


@dataclass(frozen=True)
class Fault:
    """One fault of a case file.

    Parameters
    ----------
    line : int or None
        Line of the case file, counted from 1; None when no line can be named.
    field : str
        Path of the field, as ``laser[1].setup[2].divergence``.
    message : str
        What is wrong, what is allowed and what to do.
    """

    line: int | None
    field: str
    message: str

    def __str__(self) -> str:
        where = f"line {self.line}: " if self.line is not None else ""
        return f"{where}{self.field}: {self.message}"


class CaseError(InputError):
    """A case file with faults; ``faults`` holds all of them, ``text`` says them in the language of the case."""

    def __init__(self, path: str, faults: list[Fault], text: str = "") -> None:
        self.path = path
        self.faults = faults
        noun = "fault" if len(faults) == 1 else "faults"
        super().__init__(text or "\n  ".join([f"{path}: {len(faults)} {noun}", *map(str, faults)]))


class OutOfRangeError(CalcError):
    """A value outside what the named document covers."""


class ReferenceDataError(CalcError):
    """A data file of shared/ or templates/ cannot be used."""


class OutputError(CalcError):
    """A file cannot be written, or a character cannot be printed."""


def refuse(message: str, kind: type[ValueError] = InputError) -> NoReturn:
    """Raise an error that is one line for the user; what led to it is not shown.

    Parameters
    ----------
    message : str
        The field, what was typed, what is allowed, what to do.
    kind : type
        Class of the error.

    Raises
    ------
    ValueError
        Always: of the class that was asked for.
    """
    raise kind(message) from None
