"""A long log of temperatures as fewer straight lines, with the largest error that this makes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.float64]
STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0)  # K that a line may be off, from fine to coarse
HALVINGS = 3


def thinned(times: Rows, kelvin: Rows, most: int) -> tuple[Rows, Rows, float]:
    """At most `most` of the readings (n,) [s], [K], and how far off [K] the straight lines between them are at worst, at any reading.

    Times grow. The first and the last reading stay, and so does every peak that is higher than the error. Greedy: each line is drawn as
    far as it stays within the error of all that it leaves out.

    >>> thinned(np.arange(5.0), np.array([3.0, 3.0, 3.0, 3.0, 5.0]), 3)
    (array([0., 3., 4.]), array([3., 3., 5.]), 0.0)
    """
    if len(times) <= most:
        return times, kelvin, 0.0
    rows, fine = (times.tolist(), kelvin.tolist()), 0.0
    kept = np.unique(
        np.linspace(0, len(times) - 1, most).round().astype(int)
    )  # where not even the coarsest step is enough
    for coarse in STEPS:
        found = _corners(*rows, coarse)
        if len(found) <= most:
            kept = found
            for _ in range(HALVINGS):  # between the last step that was too fine and this one
                middle = 0.5 * (fine + coarse)
                found = _corners(*rows, middle)
                fine, coarse = (fine, middle) if len(found) <= most else (middle, coarse)
                kept = found if len(found) <= most else kept
            break
        fine = coarse
    off = np.abs(np.interp(times, times[kept], kelvin[kept]) - kelvin)
    return times[kept], kelvin[kept], float(off.max())


def _corners(times: list[float], kelvin: list[float], step: float) -> NDArray[np.int64]:
    """Numbers of the readings between which straight lines stay within `step` [K] of all the others."""
    kept, begin, count = [0], 0, len(times)
    while begin < count - 1:
        low, high, last = -math.inf, math.inf, begin + 1
        for place in range(begin + 1, count):
            span, rise = times[place] - times[begin], kelvin[place] - kelvin[begin]
            if low <= rise / span <= high:
                last = place
            low, high = max(low, (rise - step) / span), min(high, (rise + step) / span)
            if low > high:
                break
        kept.append(last)
        begin = last
    return np.array(kept)


__all__ = ["thinned"]
