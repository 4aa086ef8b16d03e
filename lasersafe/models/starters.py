"""What a case still says as a starter case does: read from the starter cases themselves, record by record."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from lasersafe.models.describe import canonical
from lasersafe.models.reading import read_case
from lasersafe.reference import templates_path
from lasersafe.results_record import StarterValue

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping

    from lasersafe.models.case import Case

KINDS = ("person", "eyewear", "barrier", "reading", "strike_out")
# how things are called, and what refers to it: whoever renames a laser has not looked at who stands where
_NAMES = {
    "person": ("name", "laser", "setup"),
    "barrier": ("name", "laser", "protects"),
    "reading": ("where", "laser", "note"),
    "strike_out": ("person", "laser", "setup"),
}
_FEW = 5  # of fewer values two cases can have the same by chance: there the name counts as well


class _Said(NamedTuple):
    kind: str
    place: int
    name: str
    what: Hashable


def starter_values(case: Case) -> tuple[StarterValue, ...]:
    """Return the records of a case that say what one of a starter case says.

    A record is the same when all its values are, in SI units and with defaults filled in, whatever it and its laser are
    called; of a record that says little the name has to be the same, too. A person's eyewear is the same when a person
    of that name wears it in a starter case.

    Parameters
    ----------
    case : Case
        The case as typed.

    Returns
    -------
    tuple of StarterValue
        In the order of `KINDS` and of the case.

    Raises
    ------
    CaseError
        If a starter case has faults.
    """
    known = _starters()
    found = [
        StarterValue(one.kind, one.name, known[one.kind, one.what], field, case._lines.get(line))
        for one in _said(canonical(case))
        if (one.kind, one.what) in known
        for field, line in [_where(one)]
    ]
    return tuple(sorted(found, key=lambda one: KINDS.index(one.kind)))


def _where(one: _Said) -> tuple[str, tuple[str | int, ...]]:
    if one.kind == "eyewear":
        return f"person[{one.place + 1}].eyewear", ("person", one.place, "eyewear")
    return f"{one.kind}[{one.place + 1}]", (one.kind, one.place)


@lru_cache(maxsize=1)
def _starters() -> Mapping[tuple[str, Hashable], str]:
    found: dict[tuple[str, Hashable], str] = {}
    for path in sorted(templates_path("cases").glob("*.toml")):
        for one in _said(canonical(read_case(path))):
            found.setdefault((one.kind, one.what), path.stem)
    return found


def _said(data: Mapping[str, Any]) -> Iterator[_Said]:
    for kind, names in _NAMES.items():
        for place, record in enumerate(data[kind]):
            values = {key: value for key, value in record.items() if key not in names}
            stated = sum(value not in (None, False, "", []) for value in values.values())
            name = str(record[names[0]])
            yield _Said(kind, place, name, repr((values, name if stated < _FEW and kind != "strike_out" else "")))
            if record.get("eyewear"):
                yield _Said("eyewear", place, name, (name, record["eyewear"]))
