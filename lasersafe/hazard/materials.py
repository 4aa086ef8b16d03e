"""Materials that light falls on: their reflectance, whether they act as a mirror, and from where on they may burn."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, Literal

from lasersafe.data import As, Printed, Seen, Source, check, fail, load, shared_path
from lasersafe.errors import refuse
from lasersafe.optics.checks import choice, positive

FILES = ("metals.toml", "non_metals.toml")
FINISHES = ("mirror", "matt", "unknown")
LONG_WAVE = 2.6e-6  # m; from here brushed and painted metal counts as a mirror (trade practice, Rayleigh rule)
SAME = 0.02  # a row stands for wavelengths this close to it, relative


@dataclass(frozen=True)
class Row:
    """Reflectance at one wavelength [m], upper end, with its source and mark."""

    wavelength: float
    value: float
    printed: str
    source: str
    seen: str


@dataclass(frozen=True)
class Reflectance:
    """What a surface sends back: value used, whether as a mirror, and where both come from."""

    value: float
    mirror: bool
    words: str
    source: str
    seen: str


NOT_KNOWN = Reflectance(1.0, True, "not known: all of it, as a mirror", "strict bound", "memory")


@dataclass(frozen=True)
class _Figure:
    wavelength: Annotated[float, As("wavelength_nm", 1e-9)]
    source: str
    seen: Seen
    value: Printed | None = None
    low: Printed | None = None
    high: Printed | None = None

    def __post_init__(self) -> None:
        if self.low is not None and self.high is not None:
            check(self.value is None, "write 'value', or 'low' and 'high'")
            check(self.low < self.high, "'low' must be below 'high'")
        else:
            check(self.low == self.high and self.value is not None, "write 'value', or 'low' and 'high'")
        check(self.upper <= 1.0, "a reflectance lies from 0 to 1")

    @property
    def upper(self) -> float:
        return (self.value or 0.0) if self.high is None else self.high

    def row(self, plus: float) -> Row:
        more = f" + {plus:g}" if plus else ""
        printed = f"{self.value:g}{more}" if self.high is None else f"{self.low:g} to {self.high:g}"
        return Row(self.wavelength, min(1.0, self.upper + plus), printed, self.source, self.seen)


@dataclass(frozen=True)
class Material:
    """A material of the data files; ``rough`` ones scatter at long wavelengths too."""

    key: str
    name: str
    metal: bool
    row: tuple[_Figure, ...]
    plus: Printed | None = None
    rough: bool | None = None

    def __post_init__(self) -> None:
        check((self.plus is not None) == self.metal != (self.rough is not None), "metals have 'plus', others 'rough'")
        check(all(one.wavelength < other.wavelength for one, other in pairwise(self.row)), "its rows do not rise")

    @property
    def rows(self) -> tuple[Row, ...]:
        """Its reflectance by wavelength, rising."""
        return tuple(one.row(self.plus or 0.0) for one in self.row)


@dataclass(frozen=True)
class _Materials:
    source: Source
    material: tuple[Material, ...]


@lru_cache(maxsize=1)
def materials() -> dict[str, Material]:
    """Return the materials of ``shared/reflectance/`` by key.

    Raises
    ------
    ReferenceDataError
        If a file is damaged.
    """
    found: dict[str, Material] = {}
    for name in FILES:
        path = shared_path("reflectance", name)
        for one in load(_Materials, path).material:
            if one.key in found:
                fail(f"data file {path.name}", f"the key '{one.key}' is used twice")
            found[one.key] = one
    return found


def material_reflectance(key: str, finish: str, wavelength: float) -> Reflectance:
    """Return the reflectance of a material to be used at a wavelength [1]_ [2]_.

    Parameters
    ----------
    key : str
        Key of ``shared/reflectance/``.
    finish : str
        ``"mirror"``, ``"matt"`` or ``"unknown"``, which counts as a mirror.
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    Reflectance
        The upper end at a row within 2 %, the larger neighbour between rows, 1 outside them; a matt surface that is
        not rough counts as a mirror from 2.6 um on.

    Raises
    ------
    InputError
        If the material or finish is not known.
    OutOfRangeError
        If the wavelength is not positive and finite.

    References
    ----------
    .. [1] NK-DATABASE, clean metals at normal incidence, derived from n and k.
    .. [2] TRADE-REFLECTANCE, from memory.

    Examples
    --------
    >>> material_reflectance("copper", "mirror", 1064e-9).value
    0.99
    >>> material_reflectance("copper", "matt", 800e-9).words
    'copper: 0.97 + 0.02 (larger neighbour, 1070 nm)'
    """
    choice("finish", finish, FINISHES)
    light = float(positive("wavelength", wavelength, "m"))
    if key not in materials():
        refuse(f"material = {key!r} is not known here; write one of: {', '.join(materials())}")
    material = materials()[key]
    mirror = finish != "matt" or (light >= LONG_WAVE and not material.rough)
    rows = material.rows
    close = [row for row in rows if abs(row.wavelength - light) <= SAME * row.wavelength]
    if close:
        chosen, how = max(close, key=lambda row: row.value), "at"
    elif rows[0].wavelength < light < rows[-1].wavelength:
        below = max(i for i, row in enumerate(rows) if row.wavelength < light)
        chosen, how = max(rows[below : below + 2], key=lambda row: row.value), "larger neighbour,"
    else:
        words = f"{material.name}: no value at {light * 1e9:.6g} nm, so all of it"
        return Reflectance(1.0, True, words, NOT_KNOWN.source, NOT_KNOWN.seen)
    words = f"{material.name}: {chosen.printed} ({how} {chosen.wavelength * 1e9:.6g} nm)"
    return Reflectance(chosen.value, mirror, words, chosen.source, chosen.seen)


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
