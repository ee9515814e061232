"""How tender a cut with much connective tissue may be, only as far as published rows carry; else a skewer tells. Never a promise."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from ..sources import read_table
from ..units import HOUR, show
from .ranges import ZERO_CELSIUS

SKEWER = "It is done when a skewer goes in and out as into soft butter."


@dataclass(frozen=True)
class Published:
    """A row of tenderness.csv: K and s, low and high; None where it has none."""

    low: float
    high: float
    shortest: float | None
    longest: float | None
    source: str


@dataclass(frozen=True)
class Tenderness:
    """within: whether the middle went where published meat was tender; None where only the fastest of it was. sentence: with the skewer in it."""

    within: bool | None
    sentence: str
    source: str


@cache
def published(way: str) -> Published:
    """The row of a way: "hot" or "gentle"."""
    row = next(row for row in read_table("tenderness.csv") if row["way"] == way)
    hours = [HOUR * float(row[name]) if row[name] else None for name in ("low_h", "high_h")]
    return Published(
        ZERO_CELSIUS + float(row["low_C"]), ZERO_CELSIUS + float(row["high_C"]), hours[0], hours[1], row["source"]
    )


def tenderness(times: ArrayLike, temperature: ArrayLike) -> Tenderness:
    """What published briskets say of a tough cut whose middle went through `temperature` (t,) [K] at `times` (t,) [s], straight between them.

    Hot: once the middle was as hot as panels called tender. Gentle: held as long as softened the toughest meat at 60 degC. Raises ValueError for
    times that do not grow.

    >>> tenderness([0.0, 3600.0], [280.0, 361.15]).within is None  # 88 degC: one panel says yes, the other waits for 93
    True
    """
    t, k = np.asarray(times, dtype=float), np.asarray(temperature, dtype=float)
    if t.ndim != 1 or t.shape != k.shape or len(t) < 2 or not np.all(np.diff(t) > 0):
        raise ValueError("times must grow, and there must be one temperature for each of them")
    hot, gentle = published("hot"), published("gentle")
    assert gentle.shortest is not None and gentle.longest is not None
    usual = f"Briskets are tender from {show(hot.low, 'temperature')} to {show(hot.high, 'temperature')} inside"
    hottest = float(k.max())
    if hottest >= hot.low:
        return Tenderness(
            True if hottest >= hot.high else None,
            f"{usual}. Yours comes to {show(hottest, 'temperature')}. {SKEWER}",
            hot.source,
        )
    fine = np.linspace(t[0], t[-1], 2001)
    held = float(np.mean(np.interp(fine, t, k) >= gentle.low - 0.05) * (t[-1] - t[0]))
    span = f"{gentle.shortest / HOUR:g} to {gentle.longest / HOUR:g} h at {show(gentle.low, 'temperature')}"
    if held >= gentle.shortest:
        within = True if held >= gentle.longest else None
        said = f"Old, tough beef softened in {span}. Yours has {held / HOUR:.0f} h. {SKEWER}"
        return Tenderness(within, said, gentle.source)
    said = f"{usual}, or after {span}. Yours comes to {show(hottest, 'temperature')}: it will be chewy. Cook it longer. {SKEWER}"
    return Tenderness(False, said, hot.source)
