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


@pytest.mark.parametrize("pieces", (PIECES, (*CAPPED[:2], *PIECES[2:])))
def test_pieces_read_together_are_what_each_is_alone(pieces):
    """Whatever is read: of pieces of one body and of two, wet and at rest, with draws that turn and end at other times."""
    history = simulate(pieces, line(1), draws=DRAWS)
    for run in history.runs:
        times = run.length[:, None] * np.array([[0.01, 0.3, 0.5, 0.9], [0.02, 0.45, 0.55, 1.0], [0.0, 0.1, 0.6, 0.8]])
        places = np.arange(5)
        for number, one in run._alone.items():
            assert len(one.some.numbers) == 1
            alone = [
                one.weight(times),
                *(one.profile(name, "meat", times, places) for name in ("salt", "free nitrite")),
            ]
            alone += [
                one.read(name, place, basis, times)
                for name in ("salt", "nitrite", "free nitrite")
                for place in ("core", "average", "surface")
                for basis in ("meat", "equilibrium", "water phase")
            ]
            together = [
                run.weight(number, times),
                *(run.profile(name, "meat", times, number, places) for name in ("salt", "free nitrite")),
                *(
                    run.read(name, place, basis, times, number)
                    for name in ("salt", "nitrite", "free nitrite")
                    for place in ("core", "average", "surface")
                    for basis in ("meat", "equilibrium", "water phase")
                ),
            ]
            for mine, theirs in zip(alone, together, strict=True):
                assert theirs == pytest.approx(mine[:, :, 0], rel=1e-7, abs=1e-9 * np.abs(mine).max())
    assert any(len(one.some.numbers) > 1 for one in run.inside(times))


def test_a_piece_that_goes_on_alone_is_what_it_is_among_the_others():
    """Many rested before: the modes of a piece at rest are halves where it lies alone, and not where it lies among many."""
    history = simulate(PIECES, line(2), draws=DRAWS)
    rest, after = Rest(temperature="4 degC", lasts="5 d"), np.full(history.count, 2 * 86400.0)
    alone, among = history.pulled(2, after, rest, 1), history.pulled(2, after, rest)
    for name in ("salt", "free nitrite"):
        assert alone.core(name, None, 0) == pytest.approx(among.core(name, None, 1), rel=1e-6)


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
