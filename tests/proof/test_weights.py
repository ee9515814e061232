"""Weights after a cure against printed yields (sources in datasets/cured_weights.csv)."""

from __future__ import annotations

import numpy as np

from curelab.proof.weights import printed_weights, weights
from curelab.sources import default_numbers


def test_weights_lie_within_the_published_width_of_printed_yields():
    """Each within the width that is told of the water, and all together without a lean to one side of more than two points."""
    rows = weights()
    off = np.array([row.ours - row.printed for row in rows])
    assert len(rows) == 5
    assert np.abs(off).max() < default_numbers()["water_change.band"].value, [(row.name, row.ours) for row in rows]
    assert abs(off.mean()) < 2.0


def test_the_table_shows_printed_and_predicted_side_by_side():
    rows = weights()
    shown = printed_weights().rows
    assert [(row[1], row[2]) for row in shown] == [(f"{each.printed:g}", f"{each.ours:.1f}") for each in rows]


def test_a_brine_adds_weight_and_dry_salt_takes_it():
    by = {row.process: row.ours for row in weights()}
    assert all((value < 100) == ("dry" in process or "rubbed" in process) for process, value in by.items())
