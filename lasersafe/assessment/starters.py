"""One sentence on what a case still says as a starter case does."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lasersafe.results import StarterValue

if TYPE_CHECKING:
    from lasersafe.wording import Wording

_MOST = 3  # named of each kind on the first page; `check` names all


def starter_sentence(found: Sequence[StarterValue], wording: Wording) -> tuple[str, ...]:
    """Return why nobody can sign a case with values of a starter case, nothing where there are none."""
    parts = []
    for kind in dict.fromkeys(one.kind for one in found):
        names = list(dict.fromkeys(one.name for one in found if one.kind == kind))
        more = len(names) - _MOST
        listed = ", ".join(f"'{name}'" for name in names[:_MOST])
        listed = wording.text("starter.more", names=listed, count=more) if more > 0 else listed
        parts.append(wording.text(f"starter.{kind}", names=listed))
    starters = ", ".join(dict.fromkeys(one.starter for one in found))
    return (wording.text("starter.sentence", starters=starters, what="; ".join(parts)),) if parts else ()
