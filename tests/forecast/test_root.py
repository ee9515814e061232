"""The search for a root against scipy.optimize.brentq, guess for guess."""

from __future__ import annotations

import math

import pytest
from scipy.optimize import brentq

from curelab.forecast.root import root

FUNCTIONS = {
    "line": (lambda x: 3 * x - 1, 0.0, 2.0),
    "cube": (lambda x: x**3 - 2 * x - 5, 2.0, 3.0),
    "exponential": (lambda x: math.exp(x) - 1e4, -5.0, 30.0),
    "flat at its root": (lambda x: (x - 1.0) ** 3 + 1e-3 * (x - 1.0), 0.0, 1.7),
    "step": (lambda x: -1.0 if x < 0.3 else 1.0, 0.0, 1.0),
    "saturating, downwards": (lambda x: 0.2 - (1 - math.exp(-x / 7.0)), 0.1, 400.0),
    "root at the low end": (lambda x: x, 0.0, 1.0),
    "root at the high end": (lambda x: x - 1.0, 0.0, 1.0),
}


@pytest.mark.parametrize("near", [30.0, 1e-4, 1e-12])
@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_same_guesses_as_scipy(name, near):
    function, low, high = FUNCTIONS[name]
    ours, theirs = [], []

    def followed(seen):
        return lambda x: (seen.append(x), function(x))[1]

    found = root(followed(ours), low, high, near)
    expected = brentq(followed(theirs), low, high, xtol=near)
    assert found == pytest.approx(expected, rel=1e-12, abs=1e-14)
    assert len(ours) == len(theirs)
    assert abs(found - expected) <= near


def test_like_signs_are_refused():
    with pytest.raises(ValueError, match="nothing says that 0 lies between them"):
        root(lambda x: 1.0 + x, 0.0, 1.0, 1e-6)
