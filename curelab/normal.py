"""The normal distribution, and the chance of a sum of squares of normal deviates, from the standard library.

scipy.special has them too; importing it takes a tenth of what a whole report may. A test holds each against it.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np

_below = np.vectorize(lambda score: 0.5 * math.erfc(-score / math.sqrt(2.0)), otypes=[float])
_score = np.vectorize(NormalDist().inv_cdf, otypes=[float])


def below(score: np.ndarray | float) -> np.ndarray:
    """Share of all normal deviates that lie below `score`, in its shape.

    >>> float(below(0.0))
    0.5
    """
    return _below(score)


def score(share: np.ndarray | float) -> np.ndarray:
    """The deviate that this share of all lies below, in the shape of `share`, above 0 and below 1. Raises ValueError for others.

    >>> round(float(score(0.95)), 4)
    1.6449
    """
    return _score(share)


def chance_beyond(square: float, freedom: int) -> float:
    """Chance that the squares of `freedom` normal deviates add up to more than `square`: a finite sum for a whole number of them
    (Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, 26.4.4 and 26.4.5).

    >>> round(chance_beyond(3.841, 1), 3), round(chance_beyond(18.307, 10), 3)
    (0.05, 0.05)
    """
    half = 0.5 * square
    if half <= 0:
        return 1.0
    powers = np.arange(0.5 * freedom - 1.0, -0.4, -1.0).tolist()
    terms = [math.exp(power * math.log(half) - half - math.lgamma(power + 1.0)) for power in powers]
    return math.fsum(terms) + (math.erfc(math.sqrt(half)) if freedom % 2 else 0.0)
