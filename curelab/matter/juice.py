"""The juice that meat gives off while it is cooked, from its temperature over time, and what goes along with it.

Muscle shrinks as it is heated and presses water out within minutes, the more the hotter; in hours more comes, up to a limit that hangs on the
temperature alone, not on the size of the piece (Oillic 2011, Kondjoyan 2013). What has been lost is not taken up again. Fat that melts, and
water that dries off a surface, come on top of it and are not in it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..sources import Numbers, default_numbers
from .ranges import ZERO_CELSIUS, kelvin, plain, within

HOTTEST = 125.0  # degC that meat may have here: a crust is hotter, and no row of the source is


RESTS_ON = "losses of beef held at 57 to 63 °C, a water-holding curve for what is hotter, and weighings that differ by 4 points"


class CookLoss(NamedTuple):
    """kg of juice per kg raw, with its band (8 cases of 10). Rests on `RESTS_ON`."""

    value: float
    low: float
    high: float


class Left(NamedTuple):
    """What is left of 1 kg of raw meat [kg]: all of it, its water, and its salt."""

    weight: float | NDArray[np.float64]
    water: float | NDArray[np.float64]
    salt: float | NDArray[np.float64]


def ends_at(temperature: ArrayLike, water: float, numbers: Numbers | None = None) -> tuple[NDArray, NDArray]:
    """(soon, at last): kg of juice per kg of raw tissue that a hold at `temperature` [K, any shape] comes to in minutes, and in a day or more.

    `water`: kg per kg of the raw tissue; the losses are in proportion to it. Sources: rows `cook_loss.*`. Raises ValueError out of -5 to 125 degC.

    >>> soon, at_last = ends_at([333.15, 353.15], 0.73)
    >>> soon.round(3).tolist(), at_last.round(3).tolist()
    ([0.067, 0.329], [0.368, 0.425])
    """
    numbers = numbers or default_numbers()
    celsius = kelvin(temperature, -5.0, HOTTEST) - ZERO_CELSIUS
    share = float(within(water, 0.0, 1.0, "water", "give kg per kg of raw meat")) / numbers.si("cook_loss.quick.water")
    slope, middle = numbers.si("cook_loss.quick.slope"), numbers.si("cook_loss.quick.middle") - ZERO_CELSIUS
    curve = 1.0 + numbers.si("cook_loss.quick.shape") * np.exp(-slope * (celsius - middle))
    soon = share * numbers.si("cook_loss.quick.most") / curve
    line = numbers.si("cook_loss.slow.at_60") + numbers.si("cook_loss.slow.per_degC") * (celsius - 60.0)
    return soon, np.maximum(soon, share * np.clip(line, 0.0, numbers.si("cook_loss.slow.most")))


def juice_lost(
    times: ArrayLike, temperature: ArrayLike, water: float, before: ArrayLike = 0.0, numbers: Numbers | None = None
) -> NDArray[np.float64]:
    """kg of juice lost per kg of raw tissue by each of `times`, at any number of places at once.

    times: (t,) [s], growing; temperature: (..., t) [K], straight between them; water: kg per kg of raw tissue; before: (...), what was lost
    already. Returns (..., t). First order towards both ends of `ends_at`, in minutes to the first and in hours to the second. Raises
    ValueError for times that do not grow and for temperatures out of range.

    >>> hold = juice_lost([0.0, 14 * 3600.0], [330.15, 330.15], 0.73)
    >>> round(float(hold[-1]), 2)
    0.27
    """
    numbers = numbers or default_numbers()
    t, k = np.asarray(times, dtype=float), np.asarray(temperature, dtype=float)
    if t.ndim != 1 or k.shape[-1:] != t.shape or not np.all(np.diff(t) > 0):
        raise ValueError("times must grow, and there must be one temperature for each of them")
    quick, slow = numbers.si("cook_loss.quick.time"), numbers.si("cook_loss.slow.time")
    lost = np.empty(k.shape)
    lost[..., 0] = now = np.broadcast_to(np.asarray(before, dtype=float), k.shape[:-1]).copy()
    for n, span in enumerate(np.diff(t)):
        steps = max(1, int(np.ceil(span / (0.25 * quick))))
        for part in range(steps):
            warm = k[..., n] + (part + 0.5) / steps * (k[..., n + 1] - k[..., n])
            soon, at_last = ends_at(warm, water, numbers)
            now = now + np.maximum(soon - now, 0.0) * -np.expm1(-span / steps / quick)
            now = now + np.maximum(at_last - now, 0.0) * -np.expm1(-span / steps / slow)
        lost[..., n + 1] = now
    return lost


def cook_loss(lost: float, numbers: Numbers | None = None) -> CookLoss:
    """A loss (kg per kg raw) with the width that published ones have: row `cook_loss.band`, narrower for a small loss."""
    numbers = numbers or default_numbers()
    value = float(within(lost, 0.0, 1.0, "loss", "give kg per kg of raw meat"))
    band = min(numbers.si("cook_loss.band"), value)
    return CookLoss(value, value - band, min(1.0, value + band))


def after_juice(water: ArrayLike, salt: ArrayLike, lost: ArrayLike) -> Left:
    """What is left of 1 kg of meat with `water` and `salt` [kg] when `lost` [kg] of juice has left it, salt with its water in equal shares.

    The salt per water stays what it was; the salt of the meat grows, for what is not juice stays. Raises ValueError where there is less juice.

    >>> left = after_juice(0.72, 0.02, 0.30)
    >>> round(left.weight, 3), round(left.salt / left.weight, 4), round(left.salt / left.water, 5) == round(0.02 / 0.72, 5)
    (0.7, 0.017, True)
    """
    water, salt, lost = (np.asarray(each, dtype=float) for each in (water, salt, lost))
    juice = water + salt
    if not np.all((lost >= 0) & (lost <= juice + 1e-12)):
        raise ValueError(
            "more juice would be lost than there is; the loss must lie between nothing and water with its salt"
        )
    kept = 1.0 - lost / np.where(juice > 0, juice, 1.0)
    return Left(plain(1.0 - lost), plain(water * kept), plain(salt * kept))
