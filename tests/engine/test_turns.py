"""Turns too quick to follow one by one, held against following every one of them."""

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, simulate
from curelab.recipe import stage as stages

PLACES = ("core", "average", "surface")


def salt(monkeypatch, piece, every, lasts, most_turns):
    """(place, time) of salt, and the turns that were followed."""
    monkeypatch.setattr(stages, "MOST_TURNS", most_turns)
    monkeypatch.setattr(stages, "QUICK_TURN", 0.0)
    bath = Bath(water="2 kg", salt="120 g", nitrite="0.4 g")
    history = simulate(piece, Brine(bath=bath, temperature="3 degC", lasts=lasts, turn_every=every), cells=30)
    times = np.linspace(0.05, 1.0, 20) * history.length
    return np.array([history.at(place, "salt", times, 0) for place in PLACES]), len(history.runs[0].turns)


@pytest.mark.parametrize(
    "every, average, faces", [("15 min", 0.013, 0.033), ("30 min", 0.017, 0.04), ("7 h", 0.055, 0.083)]
)
@pytest.mark.parametrize("thickness", ["2 cm", "6 cm"])
def test_the_mean_of_the_films_is_near_every_turn(monkeypatch, thickness, every, average, faces):
    piece = Piece(thickness=thickness, weight="1.5 kg")
    each, followed = salt(monkeypatch, piece, every, "5 d", 10**6)
    mean, left = salt(monkeypatch, piece, every, "5 d", 2)
    assert followed > 15 and left == 0
    off = np.abs(mean - each).max(axis=1) / each.max()
    assert off[0] < average and off[1] < average and off[2] < faces
    assert off[2] > 1e-3  # a mean it is


def test_which_turns_are_too_quick():
    def turned(every, lasts):
        return Brine(
            bath=Bath(water="2 kg", salt="90 g"), temperature="3 degC", lasts=lasts, turn_every=every
        ).stretches[0]

    assert turned("30 min", "2 d").quick and turned("20 h", "400 d").quick
    assert not turned("31 min", "2 d").quick and not turned("2 d", "10 d").quick and not turned("2 d", "2 d").quick


def test_it_is_said():
    cure = Brine(bath=Bath(water="2 kg", salt="90 g"), temperature="3 degC", lasts="2 d", turn_every="15 min")
    piece = Piece(thickness="5 cm", weight="1 kg")
    assert "not followed one by one" in " ".join(simulate(piece, cure, cells=10).assumptions)
    assert "one by one" not in " ".join(simulate(piece, cure.but(turn_every="1 d"), cells=10).assumptions)
