"""What pint makes of ``shared/units.txt``: run ``python -m tools.compile_units`` after a change of that file."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pint

from lasersafe.data import shared_path
from lasersafe.quantity import DIMENSIONS


def compile_units() -> dict[str, Any]:
    """Return each unit with its dimension and its exact factor to the SI unit."""
    path = shared_path("units.txt")
    registry: pint.UnitRegistry[Decimal] = pint.UnitRegistry(
        str(path), non_int_type=Decimal, autoconvert_offset_to_baseunit=False
    )
    rows: dict[str, dict[str, str]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        name = line.partition("=")[0].strip()
        if not name or name.startswith("#"):
            continue
        one = registry.Quantity(Decimal(1), name)
        dimension = f"{one.dimensionality:D}" if one.dimensionality else "dimensionless"
        if dimension not in DIMENSIONS:
            message = f"shared/units.txt: unit '{name}' has the dimension {dimension}, which no field has"
            raise SystemExit(message)
        factor = Decimal(one.to_base_units().magnitude).normalize()
        typed = "%" if name == "percent" else name.replace("_per_", "/")
        rows[typed] = {"dimension": DIMENSIONS[dimension][0], "factor": f"{factor:f}"}
    return {"unit": rows}


if __name__ == "__main__":
    compiled = json.dumps(compile_units(), indent=1, ensure_ascii=False) + "\n"
    shared_path("units_compiled.json").write_text(compiled, encoding="utf-8")
