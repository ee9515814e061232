"""Cure mixes by composition, and crystal bulk densities for cooks who still spoon.

No mix is ever assumed: bags differ tenfold in nitrite, and the label of the bag in hand decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from curelab.sources import read_table

TOO_STRONG = 0.2
"""Nitrite fraction above which a powder is taken for pure nitrite (a guard of this library, no source)."""


@dataclass(frozen=True)
class CureMix:
    """A curing powder: mass fractions of NaNO2 (`nitrite`), NaNO3 (`nitrate`), other carriers, and salt.

    `salt` left out is the remainder, 1 - nitrite - nitrate - other. Raises ValueError naming every fault at
    once: a fraction negative or not finite, a sum other than 1, or nitrite above 0.2, which looks like pure
    nitrite.

    >>> CureMix("label says 6.25 %", nitrite=0.0625).salt
    0.9375
    """

    name: str
    nitrite: float
    nitrate: float = 0.0
    other: float = 0.0
    salt: float = math.nan  # nan: the remainder

    def __post_init__(self) -> None:
        faults = []
        for field in ("nitrite", "nitrate", "other"):
            value = getattr(self, field)
            if not (math.isfinite(value) and 0.0 <= value <= 1.0):
                faults.append(f"{field} = {value!r} must be a fraction, 0 to 1 (6.25 % is 0.0625)")
        if not faults:
            used = self.nitrite + self.nitrate + self.other
            if used > 1.0 + 1e-9:
                faults.append(f"nitrite + nitrate + other = {used:.4f} exceeds 1: check the label")
            elif math.isnan(self.salt):
                object.__setattr__(self, "salt", max(0.0, 1.0 - used))
            elif not (0.0 <= self.salt <= 1.0 and abs(used + self.salt - 1.0) <= 1e-6):
                total = used + self.salt
                faults.append(f"the fractions add up to {total:.4f}, not 1: give what is left as other")
        if self.nitrite > TOO_STRONG:
            faults.append(
                f"nitrite = {self.nitrite:g} looks like pure nitrite: never use it here; a few grams are "
                f"deadly. Use a ready cure mix and read its label"
            )
        if faults:
            raise ValueError(f"cure mix {self.name!r}: " + "; ".join(faults))


@dataclass(frozen=True)
class CureLabel:
    """A composition commonly printed on bags, with how sure it is; never a default."""

    mix: CureMix
    source: str
    how: str
    note: str


CURE_LABELS: dict[str, CureLabel] = {
    row["name"]: CureLabel(
        CureMix(row["name"], float(row["nitrite_percent"]) / 100.0, float(row["nitrate_percent"]) / 100.0),
        row["source"],
        row["how"],
        row["note"],
    )
    for row in read_table("cure_labels.csv")
}


@dataclass(frozen=True)
class Crystal:
    """A granular material as it lies in a spoon: bulk density with its range, kg/m3."""

    name: str
    bulk_density: float
    low: float
    high: float
    source: str
    how: str
    note: str


CRYSTALS: dict[str, Crystal] = {
    row["name"]: Crystal(
        row["name"],
        float(row["bulk_density_kg_m3"]),
        float(row["low"]),
        float(row["high"]),
        row["source"],
        row["how"],
        row["note"],
    )
    for row in read_table("crystals.csv")
}


class Spooned(NamedTuple):
    """A mass read off a spoon: best value and range in kg, and the sentence that must stand beside it."""

    mass: float
    low: float
    high: float
    warning: str


def from_volume(volume: float, crystal: str) -> Spooned:
    """Mass of a spooned volume (m3) of a material in CRYSTALS, with its range and a warning.

    Raises KeyError for an unknown material and ValueError for a volume that is not finite and positive.
    Sources: `crystals.csv` (bulk densities from trade data, some from memory, flagged).

    >>> round(1000 * from_volume(22.18e-6, "fine curing salt").mass, 1)  # 1.5 US tablespoons, in g
    27.7
    """
    if crystal not in CRYSTALS:
        raise KeyError(f"no bulk density for {crystal!r}; choose from {', '.join(CRYSTALS)}")
    if not (math.isfinite(volume) and volume > 0.0):
        raise ValueError(f"volume {volume!r} m3 must be positive (a US cup is 2.366e-4 m3)")
    row = CRYSTALS[crystal]
    mass, low, high = (volume * value for value in (row.bulk_density, row.low, row.high))
    warning = (
        f"{crystal} by the spoon may be anything from {1000 * low:.3g} to {1000 * high:.3g} g "
        f"({row.how} bulk density): weigh it instead"
    )
    if "curing" in crystal:
        warning += "; nitrite is toxic when over-measured"
    return Spooned(mass, low, high, warning)
