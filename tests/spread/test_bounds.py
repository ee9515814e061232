"""Draws are cut at the hard bounds of a number, and never refused: refusing is for what a person types."""

from dataclasses import replace

import numpy as np
import pytest

from curelab import Bath, Brine, Piece
from curelab.engine.drawn import drawn_case
from curelab.learn.search import FURTHEST, score_bounds
from curelab.sources import default_numbers
from curelab.spread.draws import draw
from curelab.spread.uncertain import POINT_95, uncertain_inputs

ROWS = {row.key: row for row in uncertain_inputs()}
PIECE = Piece(thickness="8 cm", weight="2.2 kg")
CURE = Brine(bath=Bath(water="4 kg", salt="180 g"), temperature="3 degC", lasts="10 d")


def test_draws_end_at_the_bounds_of_their_row():
    fast = replace(ROWS["obstruction.lean"], low=0.5, high=1.5)
    columns = draw([fast, ROWS["temperature"]], 256).columns
    assert columns["obstruction.lean"].max() == 1.0 < fast.at(np.array(0.9))
    assert np.abs(columns["temperature"]).max() > 1.5  # a condition has no row, and so no bounds


def test_no_draw_of_the_published_inputs_but_the_fastest_meat_is_cut():
    shares = np.linspace(0.0, 1.0, 201)
    for key, row in ROWS.items():
        least, most = default_numbers().bounds(key)
        values = row.at(shares)
        assert least <= values.min() and values.max() <= most, key


def test_a_drawn_batch_beyond_the_bounds_is_cut_and_not_refused():
    values = {"obstruction.lean": 1.4, "water uptake": -80.0, "activation energy": 200.0}
    numbers = drawn_case((PIECE,), (CURE,), default_numbers(), values)[2]
    assert numbers["obstruction.lean"].value == 1.0
    assert numbers["water_change.at_25"].value == -60.0
    assert numbers["water.salt_diffusivity.100C"].value == numbers.bounds("water.salt_diffusivity.100C")[1]


def test_a_fit_looks_no_further_than_the_bounds():
    """By hand: the score at which the lognormal of obstruction comes to 1, everything in free water."""
    row = ROWS["obstruction.lean"]
    lowest, highest = score_bounds(row)
    assert lowest == -FURTHEST
    assert float(row.scored(np.array(highest))) == pytest.approx(1.0, rel=1e-12)
    middle, reach = np.log(0.183 * 0.61) / 2, np.log(0.61 / 0.183) / 2 / POINT_95
    assert highest == pytest.approx(-middle / reach, rel=1e-12)
    assert score_bounds(ROWS["temperature"]) == (-FURTHEST, FURTHEST)
    assert score_bounds(ROWS["nitrite.loss_multiplier"]) == (-FURTHEST, FURTHEST)
