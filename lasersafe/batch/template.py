"""An inventory to start from: every column explained, and a few invented rows."""

from __future__ import annotations

import csv
import io

from lasersafe.batch.columns import COLUMNS

_RULES = (
    "An inventory for 'lasersafe batch'. Lines that begin with # are passed over; so are empty lines.",
    "Everything below is invented, from the open evening of an engineering college: replace the rows by your own.",
    "A cell takes the unit in brackets of its heading, or its own: 1.5 kW. Write the decimal point as a point.",
    "A tolerance: 3 +- 15 %. A setting that can be turned: 10 to 200. An oblong beam: 5 x 3.",
    "Columns may stand in any order and be left out unless said; other columns of yours are not read.",
)
_ROWS = (
    {
        "name": "Blue engraver", "class": "4", "wavelength": "450", "power": "0.5 to 6", "beam diameter": "5 x 3",
        "divergence": "1.2 x 2.5", "criterion": "1/e2", "person distance": "0.4", "spectator distance": "3",
        "serial": "BMC-D-0311", "place": "Design studio",
    },
    {
        "name": "Hand-held welder", "class": "4", "wavelength": "1070", "power": "1.5 kW", "optics": "lens",
        "beam diameter": "8.5", "criterion": "1/e2", "focal length": "150", "work distance": "150",
        "person distance": "0.6", "eyewear": "1070 D LB8", "handheld": "yes", "serial": "BMC-W-0042",
        "place": "Hall B",
    },
    {
        "name": "Nanosecond marker", "class": "4", "wavelength": "1064", "power": "30", "pulse duration": "10 to 200",
        "repetition rate": "20 to 500", "pulse energy": "1.5", "optics": "lens", "beam diameter": "7",
        "criterion": "1/e2", "focal length": "160", "focus diameter": "45", "work distance": "190",
        "person distance": "0.7", "serial": "BMC-M-0107", "place": "Foyer",
    },
    {
        "name": "Ranging pulse", "class": "3B", "wavelength": "905", "pulse energy": "0.002", "pulse duration": "20",
        "beam diameter": "9", "divergence": "3 +- 15 %", "criterion": "1/e2", "person distance": "1",
        "serial": "BMC-R-0009", "place": "Roof",
    },
    {
        "name": "Fibre end of the pump", "class": "4", "wavelength": "976", "power": "40", "optics": "fibre multimode",
        "core diameter": "105", "numerical aperture": "0.22", "numerical aperture criterion": "5 %",
        "person distance": "0.5", "serial": "BMC-P-0021", "place": "Optics laboratory",
    },
)  # fmt: skip


def template() -> str:
    """Return the text of an inventory with explanations and invented rows."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for line in _RULES:
        writer.writerow([f"# {line}"])
    for column in COLUMNS:
        needed = " (needed)" if column.required else ""
        writer.writerow([f"# {column.heading}{needed}: {column.what}"])
    writer.writerow([column.heading for column in COLUMNS])
    for row in _ROWS:
        writer.writerow([row.get(column.name, "") for column in COLUMNS])
    return text.getvalue()
