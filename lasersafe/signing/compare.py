"""What differs between two trees of plain data: by field, with numbers and how far they are apart."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lasersafe.typed import shown

MOST = 1000  # changes that are collected; more help nobody
_SAME = 1e-9  # relative; two machines may differ in the last digits
NOTHING = 1e-13  # SI; what cancels out to less than this differs between machines by any factor
# Outlines that a library joined from others: it may put corners elsewhere on an edge; shadows are simplified to 2 cm.
_DRAWN = {".polygons": 0.0, ".shadows": 0.04}  # m
_SAME_EDGE = 1e-5  # relative, of outlines and areas
_NAMES = ("name", "laser", "setup", "person", "barrier", "surface", "way", "tissue", "hazard", "rule", "field", "what")
_MISSING = "(not there)"


@dataclass(frozen=True)
class Change:
    """One field with its old and its new value; ``relative`` for numbers, None otherwise."""

    field: str
    old: Any
    new: Any
    relative: float | None = None

    def __str__(self) -> str:
        apart = "" if self.relative is None else f" ({self.relative * 100.0:+.3g} %)"
        return f"{self.field}: was {_short(self.old)}, is {_short(self.new)}{apart}"


def changes(old: Any, new: Any, nothing: float = 0.0) -> tuple[Change, ...]:
    """Return the fields in which two trees of dictionaries, lists and plain values differ, at most `MOST`.

    Numbers that are both at most ``nothing`` are the same. Lists of tables are matched by the names in the tables where
    these are unique, by place otherwise.
    """
    found: list[Change] = []
    for change in _walk("", old, new, nothing):
        found.append(change)
        if len(found) == MOST:
            break
    return tuple(found)


def _walk(path: str, old: Any, new: Any, nothing: float) -> Iterator[Change]:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for key in dict.fromkeys([*old, *new]):
            yield from _walk(
                f"{path}.{key}" if path else str(key), old.get(key, _MISSING), new.get(key, _MISSING), nothing
            )
    elif isinstance(old, list) and isinstance(new, list):
        drawn_to = next((most for key, most in _DRAWN.items() if path.endswith(key)), None)
        if drawn_to is None or not nothing or not _same_shape(old, new, drawn_to):
            yield from _lists(path, old, new, nothing)
    elif nothing and path.endswith(".area") and _is_number(old) and _is_number(new):
        if not math.isclose(old, new, rel_tol=_SAME_EDGE, abs_tol=nothing):
            yield Change(path, old, new, _relative(old, new))
    elif not _same(old, new, nothing):
        yield Change(path or "everything", old, new, _relative(old, new))


def _lists(path: str, old: list[Any], new: list[Any], nothing: float) -> Iterator[Change]:
    left, right = _by_name(old), _by_name(new)
    if left is None or right is None:
        left, right = _by_place(old), _by_place(new)
    for key in dict.fromkeys([*left, *right]):
        yield from _walk(f"{path}[{key}]", left.get(key, _MISSING), right.get(key, _MISSING), nothing)


def _by_name(items: Sequence[Any]) -> dict[str, Any] | None:
    found: dict[str, Any] = {}
    for item in items:
        if not isinstance(item, Mapping):
            return None
        key = ", ".join(str(item[name]) for name in _NAMES if isinstance(item.get(name), str) and item[name])
        if not key or key in found:
            return None
        found[key] = item
    return found


def _by_place(items: Sequence[Any]) -> dict[str, Any]:
    return {str(place): item for place, item in enumerate(items, 1)}


def _same_shape(old: list[Any], new: list[Any], drawn_to: float) -> bool:
    """Return whether two lists of outlines with holes have the same edges, whatever corners stand on them."""
    if old == new:
        return True
    import shapely

    try:
        for part in (*old, *new):
            rings = (part["outline"], *part["holes"])
            if set(part) != {"outline", "holes"} or any(len(corner) != 2 for ring in rings for corner in ring):
                return False
        one, other = (
            shapely.union_all([shapely.make_valid(shapely.Polygon(part["outline"], part["holes"])) for part in each])
            for each in (old, new)
        )
        reach = max(map(abs, one.bounds))
        return bool(one.hausdorff_distance(other) <= max(drawn_to, _SAME_EDGE * reach))
    except (TypeError, KeyError, ValueError, shapely.errors.ShapelyError):
        return False


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _same(old: Any, new: Any, nothing: float) -> bool:
    if _is_number(old) and _is_number(new):
        try:
            return old == new or math.isclose(old, new, rel_tol=_SAME) or max(abs(old), abs(new)) <= nothing
        except OverflowError:
            return False
    return type(old) is type(new) and bool(old == new)


def _relative(old: Any, new: Any) -> float | None:
    if not (_is_number(old) and _is_number(new)) or old == 0:
        return None
    try:
        apart = float(new) / float(old) - 1.0
    except OverflowError:
        return None
    return apart if math.isfinite(apart) else None


def _short(value: Any) -> str:
    if isinstance(value, Mapping):
        if any(key in value for key in ("tolerance", "lowest", "highest")):
            return shown(dict(value))
        name = next((value[key] for key in _NAMES if isinstance(value.get(key), str)), "")
        return f"a table {plain(name)}".strip()
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, str):
        return value if value == _MISSING else f"'{plain(value)}'"
    if isinstance(value, float):
        return f"{value:.6g}"
    return plain({True: "true", False: "false", None: "nothing"}.get(value, str(value)) if value != 1 else str(value))


def plain(text: str, longest: int = 80) -> str:
    """Return a text fit for one line of a terminal: short, with control characters spelled out."""
    shown = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text[:longest])
    return shown if len(text) <= longest else shown + "..."
