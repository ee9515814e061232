"""Our Sobol points against those of scipy, to the last digit; ranks against scipy too."""

import numpy as np
import pytest
import scipy

from curelab.spread import sensitivity
from curelab.spread.sobol import sobol


@pytest.mark.parametrize(
    ("dimensions", "count", "seed"), [(1, 8, 0), (2, 16, 3), (22, 512, 0), (45, 1024, 7), (128, 64, 1)]
)
def test_points_are_those_of_scipy(dimensions, count, seed):
    theirs = scipy.stats.qmc.Sobol(dimensions, scramble=True, seed=seed).random_base2(count.bit_length() - 1)
    assert np.array_equal(sobol(dimensions, count, seed), theirs)


def test_fewer_points_are_the_first_of_more():
    assert np.array_equal(sobol(5, 100, 2), sobol(5, 256, 2)[:100])


def test_more_dimensions_than_there_are_directions():
    with pytest.raises(ValueError, match="up to 128 dimensions"):
        sobol(129, 8, 0)


def test_ranks_are_those_of_scipy_where_values_are_alike_too():
    values = np.array([[3.0, 1.0, 3.0, 2.0, 3.0], [0.0, 0.0, 0.0, 0.0, 0.0], [5.0, 4.0, 3.0, 2.0, 1.0]])
    assert np.array_equal(sensitivity._ranks(values), scipy.stats.rankdata(values, axis=1) - 1)
