"""Nested dictionaries as TOML, for random cases."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Iterator
from typing import Any


def to_toml(data: dict[str, Any]) -> str:
    """Return TOML that ``tomllib`` reads back to the same data."""
    return "\n".join(_lines(data, "")) + "\n"


def _lines(table: dict[str, Any], path: str) -> Iterator[str]:
    below = []
    for key, value in table.items():
        if isinstance(value, dict) or (isinstance(value, list) and value and all(isinstance(v, dict) for v in value)):
            below.append((key, value))
        else:
            yield f"{_key(key)} = {_value(value)}"
    for key, value in below:
        name = f"{path}.{_key(key)}" if path else _key(key)
        for one in value if isinstance(value, list) else [value]:
            yield f"\n[[{name}]]" if isinstance(value, list) else f"\n[{name}]"
            yield from _lines(one, name)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _text(key)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return repr(value)
