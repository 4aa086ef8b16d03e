"""Tables in Markdown."""

from __future__ import annotations


def row(*cells: str) -> str:
    """Return one line of a table.

    Parameters
    ----------
    *cells : str
        The text of each cell; a bar in it is escaped and white space becomes one space.
    """
    return "| " + " | ".join(" ".join(cell.split()).replace("|", "\\|") for cell in cells) + " |"
