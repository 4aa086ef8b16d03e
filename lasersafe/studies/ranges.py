"""The text of ``--vary`` and ``--between``: which input takes which values."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError
from lasersafe.typed import shown

MOST_STEPS = 10_000
HOW = "write FIELD=LOW..HIGH:COUNT, as setup.divergence=1mrad..10mrad:50, or FIELD='1 mrad|2 mrad|5 mrad'"
Reader = Callable[[str], float]
_COUNT = re.compile(r"[0-9]{1,9}")


@dataclass(frozen=True)
class Span:
    """The values of one input.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        Rising. [SI]
    log : bool
        Whether the values were asked to have equal ratios.
    listed : bool
        Whether they were typed one by one.
    """

    values: NDArray[np.float64]
    log: bool = False
    listed: bool = False


def split_vary(text: str) -> tuple[str, str]:
    """Return the name of the input and the text of its values.

    Parameters
    ----------
    text : str
        As typed behind ``--vary``.

    Raises
    ------
    InputError
        If there is no ``=`` with something on both sides.

    Examples
    --------
    >>> split_vary("setup.divergence=1mrad..10mrad:50")
    ('setup.divergence', '1mrad..10mrad:50')
    """
    name, equals, values = text.partition("=")
    if not equals or not name.strip() or not values.strip():
        message = f"vary = {shown(text)}: {HOW}"
        raise InputError(message)
    return name.strip(), values.strip()


def read_span(path: str, text: str, read: Reader) -> Span:
    """Return the values that a text asks for.

    Parameters
    ----------
    path : str
        Name of the input, for the message.
    text : str
        ``LOW..HIGH:COUNT``, ``LOW..HIGH:COUNT:log``, or values with ``|`` between them.
    read : callable
        From the text of one value to its number in SI; refuses what the field does not take.

    Raises
    ------
    InputError
        If the text is anything else.

    Examples
    --------
    >>> read_span("x", "1..100:3:log", float).values
    array([  1.,  10., 100.])
    """
    if ".." not in text:
        return _listed(path, text, read)
    if "|" in text:
        message = f"{path} = {shown(text)}: a range or a list, not both; {HOW}"
        raise InputError(message)
    low_text, _, rest = text.partition("..")
    high_text, *more = [part.strip() for part in rest.split(":")]
    if not more or len(more) > 2 or (len(more) == 2 and more[1] not in ("log", "linear")):
        message = (
            f"{path} = {shown(text)}: a range needs a count, as LOW..HIGH:50; "
            "add ':log' behind it for equal ratios in place of equal steps"
        )
        raise InputError(message)
    low, high = read(low_text.strip()), read(high_text)
    count = _count(path, text, more[0])
    log = more[1:] == ["log"]
    if not low < high:
        message = f"{path} = {shown(text)}: write the smaller end first, and two ends that differ"
        raise InputError(message)
    if log and not low > 0.0:
        message = f"{path} = {shown(text)}: equal ratios need both ends above zero; leave ':log' out"
        raise InputError(message)
    return Span(np.geomspace(low, high, count) if log else np.linspace(low, high, count), log)


def read_ends(path: str, text: str, read: Reader) -> tuple[float, float]:
    """Return both ends of ``LOW..HIGH``.

    Parameters
    ----------
    path : str
        Name of the input, for the message.
    text : str
        As typed behind ``--between``.
    read : callable
        From the text of one value to its number in SI.

    Raises
    ------
    InputError
        If the text is anything else.
    """
    low_text, dots, high_text = text.partition("..")
    if not dots or ":" in high_text:
        message = f"between = {shown(text)}: write both ends, as '1 W..2 kW'"
        raise InputError(message)
    low, high = read(low_text.strip()), read(high_text.strip())
    if not low < high:
        message = f"{path}: between = {shown(text)}: write the smaller end first, and two ends that differ"
        raise InputError(message)
    return low, high


def _count(path: str, text: str, typed: str) -> int:
    count = int(typed) if _COUNT.fullmatch(typed) else 0
    if not 2 <= count <= MOST_STEPS:
        message = f"{path} = {shown(text)}: the count is a whole number, 2 to {MOST_STEPS}"
        raise InputError(message)
    return count


def _listed(path: str, text: str, read: Reader) -> Span:
    parts = [part.strip() for part in text.split("|")]
    if len(parts) > MOST_STEPS:
        message = f"{path}: {len(parts)} values; at most {MOST_STEPS} are taken"
        raise InputError(message)
    values = [read(part) for part in parts]
    if len(set(values)) < len(values):
        message = f"{path} = {shown(text)}: a value stands twice; write each once"
        raise InputError(message)
    return Span(np.array(sorted(values)), listed=True)
