"""Turning that is quick against diffusion is taken as its average: how far that is off, and when it is done."""

from __future__ import annotations

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, simulate
from curelab.engine import turning, walk
from curelab.engine.turning import assumed, averaged, legs_of
from curelab.transport.star import Star

DAY = 86400.0


def lain(thickness: float, minutes: float, days: float, **more) -> tuple[Piece, Brine]:
    bath = Bath(water="4 kg", salt="200 g", nitrite="0.6 g")
    brine = Brine(bath=bath, temperature="3 degC", lasts=days * DAY, turn_every=60 * minutes, **more)
    return Piece(thickness=thickness, weight="2 kg", tissue="lean pork"), brine


@pytest.mark.parametrize("stirred", (False, True))
@pytest.mark.parametrize(("thickness", "minutes", "days"), [(0.02, 14, 1.5), (0.04, 58, 5.0), (0.12, 530, 40.0)])
def test_the_average_is_as_near_to_every_turn_as_it_says(monkeypatch, thickness, minutes, days, stirred):
    """The slowest turning that is averaged, in thin and thick pieces: nothing is further off."""
    piece, brine = lain(thickness, minutes, days, stirred=stirred)
    assert averaged(brine.stretches[0], piece.thickness)
    mean = simulate(piece, brine)
    monkeypatch.setattr(walk, "averaged", lambda stretch, thin: False)
    each = simulate(piece, brine)
    assert len(each.state.runs[0].tracks[0].legs) > 100 > len(mean.state.runs[0].tracks[0].legs) == 1
    times = np.linspace(0, days * DAY, 300)[None, 1:]
    strength = each.state.runs[0].start("salt")[0, -1]

    def off(place: str) -> np.ndarray:
        one, other = (h.state.runs[0].local("salt", place, times, 0)[0] for h in (mean, each))
        return np.abs(one - other) / strength

    assert off("core").max() < 0.013 and off("average").max() < 0.018
    assert off("surface").max() < 0.17 and off("surface")[times[0] > DAY].max() < 0.02
    assert max(off("core").max(), off("average").max()) > 1e-3  # there is a difference to see


def test_only_quick_turning_is_averaged():
    for thickness, minutes, days, expected in (
        (0.04, 58, 5.0, True), (0.04, 58, 3.0, False), (0.04, 80, 9.0, False), (0.01, 58, 5.0, False),
    ):  # fmt: skip
        piece, brine = lain(thickness, minutes, days)
        assert averaged(brine.stretches[0], piece.thickness) == expected, (thickness, minutes, days)
        assert len(simulate(piece, brine, cells=6).state.runs[0].tracks[0].legs) == legs_of([piece], [brine])


def test_what_is_averaged_is_said():
    piece, brine = lain(0.04, 15, 10.0)
    (said,) = assumed([piece], [brine.but(turn_every=None), brine])
    assert "In stage 2" in said and "959 times" in said and "15 min" in said and "2 %" in said
    assert assumed([piece.but(thickness="5 mm")], [brine]) == ()


def test_a_year_of_turning_every_ten_minutes_takes_no_leg_for_each():
    piece, brine = lain(0.05, 10, 400.0)
    history = simulate(piece, brine, cells=12)
    assert len(brine.stretches[0].turns) > 57_000 and legs_of([piece], [brine]) == 1
    assert history.average("salt") == pytest.approx(history.resting("salt", 0), rel=1e-6)
    assert all(abs(row["residual"]) < 1e-10 for row in history.budget)


def test_what_a_turn_does_is_worked_out_once_for_all_of_them(monkeypatch):
    """Turned 600 times, too slowly for the average: late ones too, whose clock is a difference of two long readings."""
    asked = []
    turning_of = Star.turning
    monkeypatch.setattr(
        Star, "turning", lambda self, *given: (asked.append(len(given[2])), turning_of(self, *given))[1]
    )
    piece, brine = lain(0.01, 58, 25.0)
    pieces = [piece.but(name=f"piece {n}") for n in range(4)]
    history = simulate(pieces, brine, cells=6)
    assert history.average("salt") == pytest.approx(history.resting("salt", 0), rel=1e-4)
    assert sum(asked) >= legs_of(pieces, [brine]) - 1 > 600 and len(asked) <= 4


def test_the_mean_lies_between_the_two_ways(monkeypatch):
    """On the mean film as much is taken up as on neither face alone: more than lying for ever, less than floating."""
    piece, brine = lain(0.04, 30, 5.0)
    still, floating = (simulate(piece, brine.but(turn_every=None, lying=lies)) for lies in (True, False))
    mean = simulate(piece, brine)
    assert still.average("salt", DAY) < mean.average("salt", DAY) < floating.average("salt", DAY)
    assert len(brine.stretches[0].turns) > turning.MOST_TURNS
