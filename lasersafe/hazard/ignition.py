"""Screening values of the irradiance above which something may burn.

The peak irradiance counts, since a fire starts at the hottest point. A screening value is no test of a material: below
it nothing is promised for dust, vapour, oxygen or long exposure.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Literal

from lasersafe.data import As, Source, check, load
from lasersafe.reference import shared_path


@dataclass(frozen=True)
class IgnitionThreshold:
    """Irradiance [W/m2], and power [W] where there is one, above which something may burn; source and mark."""

    name: str
    irradiance: Annotated[float, As("irradiance_w_cm2", 1e4, printed=True)]
    source: str
    seen: Literal["read", "part", "memory", "own"]
    note: str
    power: Annotated[float, As("power_w", printed=True)] | None = None

    def __post_init__(self) -> None:
        """Refuse a threshold of nothing."""
        check(self.irradiance > 0.0, "the irradiance must be above 0")


@dataclass(frozen=True)
class _Screening:
    source: Source
    threshold: tuple[IgnitionThreshold, ...]


@lru_cache(maxsize=1)
def screening_thresholds() -> tuple[IgnitionThreshold, ...]:
    """Return the screening values of ``shared/ignition/screening.toml``.

    Raises
    ------
    ReferenceDataError
        If the file is damaged.
    """
    return load(_Screening, shared_path("ignition", "screening.toml")).threshold
