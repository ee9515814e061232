"""Juice that lean gives off while it is heated: how much in the end, how fast, and what goes along with it. Rows `juice.*`.

First order: what a long hold ends at hangs on the temperature alone, not on the size of the piece (Oillic 2011, Kondjoyan 2013), and a hotter piece
comes there sooner. What has been lost is not taken up again. Fat that melts, and water that dries off a skin, come on top of it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curelab.matter.ranges import ZERO_CELSIUS, kelvin, within
from curelab.sources import Numbers, default_numbers

NODES = (50, 60, 90)  # degC; one row of numbers.csv each
NONE = 40.0  # degC: muscle that is colder keeps its juice
OPENS = (
    50.0,
    70.0,
)  # degC between which the structure of lean opens to what diffuses (judgement; proteins denature at 40 to 73)
HOTTEST = 125.0  # degC that meat may have here: a crust is hotter, and no row is
FINE, STEP, MOST_STEPS = (
    0.25,
    1.0,
    500,
)  # of the quickest pace, and K: a step of `juice_lost` at most; of them between two times at most
RESTS_ON = "weighings of beef held at 57 to 63 °C and boiled, and of fillets; weighing alone moves it by 4 points"


class CookLoss(NamedTuple):
    """kg of juice per kg raw, with its band (8 times in 10). Rests on `RESTS_ON`."""

    value: float
    low: float
    high: float


def limit(temperature: ArrayLike, numbers: Numbers | None = None, water: float | None = None) -> NDArray[np.float64]:
    """Juice given off in the end, kg per kg of raw lean, at `temperature` [K, any shape]; level above 90 degC. In proportion to its `water`,
    kg per kg (None: that of lean beef, row `juice.water`).

    >>> [round(float(limit(273.15 + warm)), 3) for warm in (30, 55, 95)]
    [0.0, 0.28, 0.38]
    """
    numbers = numbers or default_numbers()
    celsius = np.asarray(temperature, dtype=float) - ZERO_CELSIUS
    values = [0.0, *(numbers.si(f"juice.limit.{node}C") for node in NODES)]
    of_rows = numbers.si("juice.water")
    return np.interp(celsius, [NONE, *NODES], values) * ((of_rows if water is None else water) / of_rows)


def pace(temperature: ArrayLike, numbers: Numbers | None = None) -> NDArray[np.float64]:
    """1/s at which what is still to come is given off; its logarithm is straight against the temperature, through two rows."""
    numbers = numbers or default_numbers()
    slow, quick = (numbers.si(f"juice.time.{node}C") for node in (60, 80))
    celsius = np.clip(np.asarray(temperature, dtype=float) - ZERO_CELSIUS, NONE, 100.0)
    return np.exp(np.log(slow / quick) * (celsius - 60.0) / 20.0) / slow


def opened(temperature: ArrayLike) -> NDArray[np.float64]:
    """Share of the way from raw lean to cooked lean that its structure has gone, once it has been so warm."""
    low, high = OPENS
    return np.clip((np.asarray(temperature, dtype=float) - ZERO_CELSIUS - low) / (high - low), 0.0, 1.0)


def juice_lost(
    times: ArrayLike, temperature: ArrayLike, water: float, before: ArrayLike = 0.0, numbers: Numbers | None = None
) -> NDArray[np.float64]:
    """kg of juice lost per kg of raw tissue by each of `times`, at any number of places at once.

    times: (t,) [s], growing; temperature: (..., t) [K], straight between them; water: kg per kg of raw tissue; before: (...), what was lost
    already. Returns (..., t). Raises ValueError for times that do not grow and for temperatures out of -40 to 125 degC.

    >>> hold = juice_lost([0.0, 14 * 3600.0], [330.15, 330.15], 0.73)
    >>> round(float(hold[-1]), 2)
    0.27
    """
    numbers = numbers or default_numbers()
    t, k = np.asarray(times, dtype=float), kelvin(temperature, -40.0, HOTTEST)
    if t.ndim != 1 or k.shape[-1:] != t.shape or not np.all(np.diff(t) > 0):
        raise ValueError("times must grow, and there must be one temperature for each of them")
    raw, width = float(within(water, 0.0, 1.0, "water", "give kg per kg of raw meat")), numbers.si("juice.width")
    lost = np.empty(k.shape)
    lost[..., 0] = now = np.broadcast_to(np.asarray(before, dtype=float), k.shape[:-1]).copy()
    for n, span in enumerate(np.diff(t)):
        fastest = float(np.max(pace(k[..., n : n + 2], numbers)))
        rise = float(np.max(np.abs(k[..., n + 1] - k[..., n])))
        steps = int(np.clip(np.ceil(max(span * fastest / FINE, rise / STEP)), 1, MOST_STEPS))
        for part in range(steps):
            warm = k[..., n] + (part + 0.5) / steps * (k[..., n + 1] - k[..., n])
            to_come = np.maximum(width * limit(warm, numbers, raw) - now, 0.0)
            now = now + to_come * -np.expm1(-pace(warm, numbers) * span / steps)
        lost[..., n + 1] = now
    return lost


def cook_loss(lost: float, numbers: Numbers | None = None) -> CookLoss:
    """A loss (kg per kg raw) with the width that published ones have: row `juice.width`."""
    numbers = numbers or default_numbers()
    value, row = float(within(lost, 0.0, 1.0, "loss", "give kg per kg of raw meat")), numbers["juice.width"]
    low, high = (value * (end or row.si) / row.si for end in (row.si_low, row.si_high))
    return CookLoss(value, low, min(1.0, high))
