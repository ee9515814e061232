"""Range guards shared by the property functions."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

ZERO_CELSIUS = 273.15
"""0 degC in kelvin, exact by definition of the Celsius scale."""


def within(values: ArrayLike, low: float, high: float, name: str, advice: str) -> NDArray[np.float64]:
    """`values` as a float array if all lie in [low, high] (to rounding), else ValueError with `advice`."""
    array = np.asarray(values, dtype=float)
    slack = 1e-9 * max(abs(low), abs(high))
    if not np.all((array >= low - slack) & (array <= high + slack)):  # written so that nan is refused too
        wrong = array[~((array >= low - slack) & (array <= high + slack))].ravel()[0]
        raise ValueError(f"{name} {wrong:g} is outside {low:g} to {high:g}; {advice}")
    return array


def kelvin(values: ArrayLike, low_celsius: float, high_celsius: float) -> NDArray[np.float64]:
    """Temperatures in K as an array if within the range (given in degC for reading), else ValueError."""
    return within(
        values,
        low_celsius + ZERO_CELSIUS,
        high_celsius + ZERO_CELSIUS,
        "temperature (K)",
        f"this relation holds from {low_celsius:g} to {high_celsius:g} degC, and takes kelvin (4 degC is 277.15 K)",
    )


def plain(values: ArrayLike) -> float | NDArray[np.float64]:
    """A float for a scalar result, the array itself otherwise."""
    array = np.asarray(values, dtype=float)
    return float(array) if array.ndim == 0 else array
