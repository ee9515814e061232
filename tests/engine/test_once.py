"""What is worked out once: modes of pieces that only change in amount, and readings that are asked for draw after draw."""

from __future__ import annotations

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, Rest, simulate
from curelab.transport import memory, modes, star

PIECES = tuple(Piece(name=f"piece {n}", thickness=f"{3 + n} cm", weight="1 kg") for n in range(star.MANY))
CAPPED = tuple(piece.but(fat_cap="5 mm") for piece in PIECES)
DRAWS = {"obstruction.lean": np.array([0.25, 0.3, 0.4])}


def line(rounds):
    """Brines of unlike strength, each with a rest after it: the meat swells in all of them."""
    return [
        stage
        for n in range(rounds)
        for stage in (
            Brine(
                bath=Bath(water="5 kg", salt=f"{200 + 20 * n} g", nitrite="0.6 g"),
                temperature="3 degC", lasts="4 d", turn_every="2 d",
            ),
            Rest(temperature="4 degC", lasts="1 d"),
        )
    ]  # fmt: skip


def readings(pieces, rounds=3):
    history = simulate(pieces, line(rounds), draws=DRAWS)
    end = [history.average(name, None, n) for name in ("salt", "free nitrite") for n in range(len(pieces))]
    return np.array([*end, *(history.weight(None, n) for n in range(len(pieces)))])


@pytest.mark.parametrize("pieces", (PIECES, CAPPED))
def test_shared_modes_give_what_modes_solved_anew_give(pieces, monkeypatch):
    shared = readings(pieces)
    monkeypatch.setattr(modes.Once, "__call__", lambda self: self.part.solved)
    np.testing.assert_allclose(shared, readings(pieces), rtol=1e-9)


def test_alike_stages_are_not_solved_anew(monkeypatch):
    """A piece without a cap keeps its modes while it swells; fat does not swell, so one with a cap does not."""
    whole, solved = np.linalg.eigh, []
    monkeypatch.setattr("numpy.linalg.eigh", lambda matrix: (solved.append(len(matrix)), whole(matrix))[1])

    def asked(pieces, rounds):
        solved.clear()
        readings(pieces, rounds)
        return len(solved)

    assert asked(PIECES, 1) == asked(PIECES, 4)
    assert asked(CAPPED, 1) < asked(CAPPED, 4)


def test_draw_after_draw_nothing_is_read_again(monkeypatch):
    """What readings are worked out from may be pushed out of the memory by what else is; they themselves stay."""
    many = simulate(PIECES, line(2), draws=DRAWS)
    monkeypatch.setattr(memory.SHARED, "most_bytes", 1)
    read = []
    monkeypatch.setattr(type(many), "gather", lambda self, *more: (read.append(1), gathered(self, *more))[1])
    for draw in range(many.count):
        one = many.of(draw)
        for _ in range(2):
            assert [one.average("salt", one.times, n).shape for n in range(len(PIECES))]
    assert len(read) == len(PIECES)


gathered = type(simulate(PIECES[:1], line(1))).gather
