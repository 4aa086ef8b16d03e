"""What ``[scene]`` names has to be in the case."""

from __future__ import annotations

from collections.abc import Mapping

from lasersafe.models.base import Peek
from lasersafe.models.messages import Finding, not_known


def scene_references(scene: Peek, setups: Mapping[str, list[str]], others: Mapping[str, list[str]]) -> list[Finding]:
    """Return a finding for each name in the scene that the case does not have.

    Parameters
    ----------
    scene : Peek
        The table as typed.
    setups : mapping
        Laser -> names of its set-ups.
    others : mapping
        ``person``, ``surface`` and ``barrier`` -> their names.

    Returns
    -------
    list of Finding
        Places begin with ``scene``.
    """
    found: list[Finding] = []
    for field in ("aim", "target"):
        for i, table in scene.tables(field):
            laser, setup = _text(table, "laser"), _text(table, "setup")
            if laser is not None and laser not in setups:
                found.append((("scene", field, i, "laser"), not_known(laser, "a laser of this case", setups)))
            elif laser is not None and setup is not None and setup not in setups[laser]:
                message = not_known(setup, f"a set-up of '{laser}'", setups[laser])
                found.append((("scene", field, i, "setup"), message))
    for field, what in (("person", "a person"), ("surface", "a surface")):
        for i, table in scene.tables(field):
            name = _text(table, "name")
            if name is not None and name not in others[field]:
                found.append((("scene", field, i, "name"), not_known(name, f"{what} of this case", others[field])))
    placed = [name for _, table in scene.tables("barrier") if (name := _text(table, "name")) is not None]
    for i, table in scene.tables("barrier"):
        name = _text(table, "name")
        if name is not None and name not in others["barrier"] and table.get("kind", "barrier") == "barrier":
            message = not_known(name, "a barrier of this case", others["barrier"]) + "; a wall says kind = 'wall'"
            found.append((("scene", "barrier", i, "name"), message))
        if name in others["barrier"] and "rating" in table:
            message = f"the rating of '{name}' is written in its table [[barrier]]; leave this one out"
            found.append((("scene", "barrier", i, "rating"), message))
    for i, table in scene.tables("target"):
        stop = _text(table, "stop")
        if stop is not None and stop not in placed:
            found.append(
                (("scene", "target", i, "stop"), not_known(stop, "a barrier with a place in the scene", placed))
            )
    return found


def _text(table: Mapping[str, object], key: str) -> str | None:
    value = table.get(key)
    return value.strip() if isinstance(value, str) and value.strip() else None
