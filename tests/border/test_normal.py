"""The normal distribution against scipy.special."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import gammaincc, ndtr, ndtri

from curelab import normal


def test_shares_and_scores_as_scipy_has_them():
    shares = np.concatenate([np.geomspace(1e-300, 0.5, 400), 1 - np.geomspace(1e-15, 0.5, 400)])
    np.testing.assert_allclose(normal.score(shares), ndtri(shares), rtol=1e-14, atol=1e-15)
    scores = np.linspace(-10.0, 8.0, 500).reshape(50, 10)
    np.testing.assert_allclose(normal.below(scores), ndtr(scores), rtol=5e-14)
    assert normal.score(shares.reshape(2, -1)).shape == (2, 400)


def test_a_share_of_all_or_none_has_no_score():
    for share in (0.0, 1.0):
        with pytest.raises(ValueError):
            normal.score(share)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 7, 50, 501, 2000])
def test_sums_of_squares_as_scipy_has_them(freedom):
    for square in (0.0, 1e-6, 0.3, 1.0, 5.0, 0.5 * freedom, 1.0 * freedom, 2.0 * freedom, 30.0 + 4.0 * freedom):
        expected = gammaincc(0.5 * freedom, 0.5 * square)
        assert normal.chance_beyond(square, freedom) == pytest.approx(expected, rel=1e-11, abs=1e-300)
