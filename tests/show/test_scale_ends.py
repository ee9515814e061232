"""The ends of colours and axes: round numbers, which a film of much salt does not stretch, and which hold what counts as enough."""

import numpy as np
import pytest

from curelab.batch import load
from curelab.engine.simulate import simulate
from curelab.show.scale_ends import ends
from curelab.show.section import section
from curelab.sources import datasets_folder
from curelab.spread import Spread


def test_a_thin_film_does_not_stretch_the_colours():
    meat = np.r_[np.full(950, 2.0), np.full(50, 9.0)]
    assert ends([meat], [1.8]) == pytest.approx((2.5, 10))
    assert ends([meat], [float("inf")]) == pytest.approx((2, 10))
    assert ends([meat, np.full(10, 3.7)], [1.8, np.nan]) == pytest.approx((4, 10))
    assert ends([np.full(10, 0.2)], [4.0]) == pytest.approx((5, 5))  # what is enough has its colour before it is there
    assert ends([np.zeros(10)], []) == (1, 1)


def test_a_belly_that_is_cured_is_not_pale():
    batch = load(datasets_folder() / "template_belly.toml")
    done = simulate(batch.pieces, batch.filled(), loss=batch.loss)
    drawn = section([(Spread.single(done), "belly", "belly")], ("salt",))
    salt, belly = drawn.quantities[0], drawn.pieces[0]
    lean = belly.values["salt"][-1][belly.value[~belly.fat]]
    assert lean.min() > 0.5 * salt.most and salt.top >= belly.values["salt"].mean() * 2 and salt.most < salt.top
