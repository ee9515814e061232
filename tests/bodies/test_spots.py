"""The slowest spot among places of a grid: found, read between them, and the middle where nothing tells places apart."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.bodies.spots import Spots

X, Z = np.linspace(0.0, 2.0, 9), np.array([-0.5, -0.3, -0.1, 0.15, 0.3, 0.5])
ALONG, DEPTH = (np.broadcast_to(each, (9, 6)).astype(float) for each in (X[:, None], Z))


def spots(deep=None) -> Spots:
    lag = 1 - 0.05 * (ALONG - X[4]) ** 2 - 0.05 * (DEPTH - Z[2]) ** 2
    return Spots(np.eye(55), (9, 6), np.where(True if deep is None else deep, lag.ravel(), -1.0), ALONG, DEPTH)


def at_places(values) -> np.ndarray:
    """(1, 1, 55) values at all places, and behind them their mean."""
    return np.append(values, np.mean(values)).reshape(1, 1, -1)


@pytest.mark.parametrize("side", (1.0, -1.0))
@pytest.mark.parametrize(("x", "z"), [(0.9, 0.02), (1.31, -0.21)])
def test_between_places_it_is_read_off_parabolas(side, x, z):
    """In an upright bowl its least, in one turned over its most: exact for parabolas."""
    values = at_places(side * (0.2 + 3 * (ALONG - x) ** 2 + 2 * (DEPTH - z) ** 2))
    assert spots().value(values)[0, 0] == pytest.approx(side * 0.2, rel=1e-9)
    along, depth = spots().place(values)
    assert abs(along[0, 0] - x) <= 0.13 and abs(depth[0, 0] - z) <= 0.13


@pytest.mark.parametrize("side", (1.0, -1.0))
@pytest.mark.parametrize("z", (-0.25, 0.2))
def test_at_a_border_of_what_counts_it_is_read_between_the_last_places(side, z):
    """Under a cap that nearly closes a face the least lies next to the border: between the last two places that count."""
    deep = ((DEPTH > -0.4) & (DEPTH < 0.31)).ravel()
    values = at_places(side * (0.2 + 3 * (ALONG - 1.0) ** 2 + 2 * (DEPTH - z) ** 2))
    assert spots(deep).value(values)[0, 0] == pytest.approx(side * 0.2, rel=1e-9)


def test_places_that_do_not_count_are_left_out():
    values = at_places(ALONG + DEPTH)
    deep = (ALONG > 0.6).ravel() & (DEPTH > -0.4).ravel()
    assert spots(deep).value(values)[0, 0] == pytest.approx(0.75 - 0.3, rel=1e-9)


def test_where_all_is_alike_it_is_the_deepest():
    along, depth = spots().place(at_places(np.full(54, 0.3)))
    assert (along[0, 0], depth[0, 0]) == (X[4], Z[2])


def test_a_narrow_row_of_places_that_count_is_read_at_them():
    """One place deep in a grid: no parabola goes through it, and nothing is said of what lies beside."""
    deep = (np.isclose(ALONG, X[4]) & np.isclose(DEPTH, Z[2])).ravel()
    assert spots(deep).value(at_places(0.2 + (ALONG - 1.3) ** 2))[0, 0] == pytest.approx(0.2 + 0.09, rel=1e-9)
