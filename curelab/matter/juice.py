"""Juice that lean gives off while it is heated: how much in the end, and how fast. Rows `juice.*`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curelab.matter.ranges import ZERO_CELSIUS
from curelab.sources import default_numbers

if TYPE_CHECKING:
    from curelab.sources import Numbers

NODES = (50, 60, 70, 80, 90)  # degC; one row of numbers.csv each
NONE = 40.0  # degC: muscle that is colder keeps its juice
OPENS = (
    50.0,
    70.0,
)  # degC between which the structure of lean opens to what diffuses (judgement; proteins denature at 40 to 73)


def limit(kelvin: ArrayLike, numbers: Numbers | None = None) -> NDArray[np.float64]:
    """Juice given off in the end, kg per kg green weight, at `kelvin` (any shape); level above 90 degC.

    >>> [round(float(limit(273.15 + warm)), 3) for warm in (30, 65, 95)]
    [0.0, 0.245, 0.37]
    """
    numbers = numbers or default_numbers()
    celsius = np.asarray(kelvin, dtype=float) - ZERO_CELSIUS
    values = [0.0, *(numbers.si(f"juice.limit.{node}C") for node in NODES)]
    return np.interp(celsius, [NONE, *NODES], values)


def pace(kelvin: ArrayLike, numbers: Numbers | None = None) -> NDArray[np.float64]:
    """1/s at which what is still to come is given off; its logarithm is straight against the temperature, through two rows."""
    numbers = numbers or default_numbers()
    slow, quick = (numbers.si(f"juice.time.{node}C") for node in (60, 80))
    celsius = np.clip(np.asarray(kelvin, dtype=float) - ZERO_CELSIUS, NONE, 100.0)
    return np.exp(np.log(slow / quick) * (celsius - 60.0) / 20.0) / slow


def opened(kelvin: ArrayLike) -> NDArray[np.float64]:
    """Share of the way from raw lean to cooked lean that its structure has gone, once it has been so warm."""
    low, high = OPENS
    return np.clip((np.asarray(kelvin, dtype=float) - ZERO_CELSIUS - low) / (high - low), 0.0, 1.0)
