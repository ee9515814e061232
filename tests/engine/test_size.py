"""How large a batch is, by arithmetic: against what was really taken, and what is refused before anything is computed."""

import gc
import tracemalloc

import numpy as np
import pytest

from curelab import Bath, Brine, Piece, Rest, simulate
from curelab.engine.size import MOST_BYTES, bytes_of_case
from curelab.fields import InputError
from curelab.transport.memory import PASSING, READINGS, SHARED


@pytest.fixture
def traced():
    """Most bytes taken so far."""
    tracemalloc.start()
    yield lambda: tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()


def batch(pieces: int, stages: int, turned: str):
    made = [Piece(name=f"piece {n}", thickness=f"{3 + 0.1 * n} cm", weight="1 kg") for n in range(pieces)]
    bath = Bath(water="10 kg", salt="400 g", nitrite="1 g")
    return made, [Brine(bath=bath, lasts="100 d", turn_every=turned, temperature="3 degC")] * stages


def test_what_cannot_be_computed_is_refused_with_the_arithmetic_before_anything_is_taken(traced):
    pieces, stages = batch(40, 60, "26 h")
    with pytest.raises(
        InputError, match=r"40 pieces of \d+ places in all, .* turned \d+ times, .* take .* GB, and at most 0.4 GB"
    ):
        simulate(pieces, stages)
    assert traced() < 0.1 * MOST_BYTES


@pytest.mark.parametrize(("pieces", "stages", "turned"), [(3, 8, "2 d"), (5, 5, "2 d")])
def test_the_arithmetic_is_near_what_a_case_takes(traced, pieces, stages, turned):
    simulate(*batch(2, 1, "2 d"))  # what is kept and imported once counts to no case
    made, cure = batch(pieces, stages, turned)
    said = bytes_of_case(made, cure, 60, False)
    tracemalloc.reset_peak()
    before = tracemalloc.get_traced_memory()[0]
    history = simulate(made, cure)
    history.average("salt", history.length, made[0].name)
    taken = traced() - before
    assert 0.5 * said < taken < 1.5 * said


@pytest.mark.parametrize(("pieces", "rounds", "turned", "days"), [(5, 3, "2 d", 4), (5, 1, "1 d", 90)])
def test_the_arithmetic_is_near_what_draws_hold(traced, pieces, rounds, turned, days):
    """All of it read, as a report reads it; what memories with a bound of their own keep left out."""
    made, (cure,) = batch(pieces, 1, turned)
    stages = (cure.but(lasts=f"{days} d"), Rest(lasts="2 d", temperature="4 degC")) * rounds
    draws = {"obstruction.lean": np.linspace(0.2, 0.6, 12)}

    def read():
        history = simulate(made, stages, draws=draws, checked=False)
        for stage in range(len(stages)):
            for piece in made:
                for name in ("salt", "free nitrite"):
                    history.at_end("average", name, stage, piece.name)
        for memory in (SHARED, READINGS, PASSING):
            memory.clear()
        gc.collect()
        return history

    read()
    before = tracemalloc.get_traced_memory()[0]
    history = read()
    taken = tracemalloc.get_traced_memory()[0] - before
    assert 0.7 < taken / (history.count * bytes_of_case(made, stages, 60, True)) < 1.4
