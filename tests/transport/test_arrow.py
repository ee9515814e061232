"""Modes of what meets in one bath, found from the modes in a held bath: against numpy's eigenproblem, and against the modes of the whole."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.transport import arrow as module
from curelab.transport.arrow import arrow
from curelab.transport.memory import SHARED
from curelab.transport.modes import modes_of
from curelab.transport.network import Contact, Part, assemble
from curelab.transport.star import Spokes

DRAWS, SOLUTES = 3, 2
CLOCK = np.broadcast_to([0.0, 1e-6, 1e-3, 0.02, 0.3, 2.0, 50.0], (DRAWS, SOLUTES, 7))


def awkward(seed: int, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Poles (d, n) from slow to very fast, some of which coincide or nearly do, in no order, and a column (d, n) with entries of next to nothing."""
    rng = np.random.default_rng(seed)
    poles = np.exp(rng.uniform(0.0, 14.0, (40, size)))
    poles[:, 1], poles[:, 3] = poles[:, 0], poles[:, 2] * (1 + 1e-14)
    column = np.sqrt(poles) * rng.uniform(-2.0, 2.0, poles.shape)
    column[::2, 4], column[1::2, 5], column[::3, 6] = 0.0, 1e-17, 1e-9
    return poles, column


@pytest.mark.parametrize("closed", (False, True))
@pytest.mark.parametrize(("seed", "size"), [(0, 7), (1, 30), (2, 61)])
def test_the_arrowhead_is_solved_as_by_an_eigenproblem(seed, size, closed, monkeypatch):
    monkeypatch.setattr(module, "SMALL", 0)
    poles, column = awkward(seed, size)
    corner = (column**2 / poles).sum(axis=1)  # then the smallest rate is 0
    if not closed:
        corner = corner + np.random.default_rng(3).uniform(0.1, 5.0, len(poles))
    matrix = np.zeros((len(poles), size + 1, size + 1))
    matrix[:, np.arange(size), np.arange(size)], matrix[:, -1, -1] = poles, corner
    matrix[:, -1, :-1] = matrix[:, :-1, -1] = -column
    rates, modes = arrow(poles, column, corner, closed)
    largest = poles.max(axis=1)[:, None, None]
    assert np.abs(rates - np.linalg.eigvalsh(matrix)).max() < 1e-12 * largest.max()
    off = modes @ matrix - rates[:, :, None] * modes
    assert np.abs(off / largest).max() < 1e-12
    known = modes[:, int(closed) :]
    assert known @ known.swapaxes(1, 2) == pytest.approx(
        np.broadcast_to(np.eye(known.shape[1]), (40, *[known.shape[1]] * 2)), abs=1e-11
    )


def piece(rng: np.random.Generator, half: int, ends: tuple[float, float]) -> tuple[Part, tuple[np.ndarray, ...]]:
    """A rod that mirrors itself, in even and odd sums of its cells, and what links its two ends to a bath."""
    size = 2 * half
    capacity = np.repeat(rng.uniform(0.5, 1.5, (DRAWS, 1)), size, axis=1) / size
    chain = np.zeros((size, size))
    for at, link in enumerate(np.concatenate([(links := rng.uniform(0.5, 1.5, half)), links[-2::-1]])):
        step = np.eye(size)[at] - np.eye(size)[at + 1]
        chain += size * link * np.outer(step, step)
    turn = np.concatenate([np.eye(half), np.eye(half)[::-1]], axis=1), np.concatenate([np.eye(half), -np.eye(half)[::-1]], axis=1)  # fmt: skip
    sums = np.concatenate(turn) / np.sqrt(2)
    pace, edges = rng.uniform(0.5, 2.0, DRAWS), np.array(ends) * np.eye(size)[[0, -1]].T @ np.eye(2)
    leads = rng.uniform(5.0, 20.0, DRAWS)
    matrix = sums @ np.diag(edges.sum(axis=1)) @ sums.T
    linked = leads[:, None, None] * matrix, leads[:, None] * (sums @ edges.sum(axis=1)), leads * sum(ends)
    inner = pace[:, None, None] * (sums @ chain @ sums.T)
    return Part(capacity, inner, sums.sum(axis=1), np.repeat([1.0, -1.0], half)), linked


def spokes(seed: int) -> Spokes:
    """A piece whose faces are alike, one whose faces are not, and one that the bath does not reach."""
    rng = np.random.default_rng(seed)
    made = [piece(rng, half, ends) for half, ends in ((6, (1.0, 1.0)), (9, (1.0, 0.3)), (4, (0.0, 0.0)))]
    contacts = [Contact(number, *linked) for number, (_, linked) in enumerate(made)]
    return Spokes(tuple(part for part, _ in made), lambda: contacts)


@pytest.mark.parametrize("small", (0, module.SMALL))  # by search, one network at a time; by an eigenproblem
@pytest.mark.parametrize("bath", (0.02, 3.0, 1e4, np.inf))
def test_what_meets_in_a_bath_has_the_modes_of_the_whole(bath, small, monkeypatch):
    monkeypatch.setattr(module, "SMALL", small)
    monkeypatch.setattr(module, "AT_ONCE", module.AT_ONCE if small else 1)
    made, rng = spokes(1), np.random.default_rng(2)
    held = bath * rng.uniform(0.8, 1.2, DRAWS)
    met, whole = made.in_bath(held), modes_of(assemble(made.parts, held, made.make()))
    assert max(len(part.nodes) for part in met.parts) < met.size - 8  # nothing else is in it
    start = rng.uniform(0.0, 1.0, (DRAWS, SOLUTES, met.size))
    sign = np.append(np.concatenate([part.sign for part in made.parts]), 1.0)
    loss = np.repeat(rng.uniform(0.1, 0.5, (DRAWS, 1)), met.size, axis=1)
    loss[:, -1] = 0.0
    uneven = loss * (rng.uniform(0.0, 1.0, loss.shape) < 0.5)
    for one, other in (
        (met, whole), (met.losing(loss), whole.losing(loss)), (met.losing(uneven), whole.losing(uneven)),
        (met.flipped(sign), whole.flipped(sign)), (met.losing(loss).flipped(sign), whole.losing(loss).flipped(sign)),
        (met.flipped(sign).losing(uneven), whole.flipped(sign).losing(uneven)),
    ):  # fmt: skip
        assert one.at(start, CLOCK) == pytest.approx(other.at(start, CLOCK), rel=1e-10, abs=1e-11)
        assert one.integral(start, CLOCK) == pytest.approx(other.integral(start, CLOCK), rel=1e-9, abs=1e-11)
        assert one.supplied(start, CLOCK) == pytest.approx(other.supplied(start, CLOCK), rel=1e-9, abs=1e-9)
        some = np.array([2, 0])
        assert one.of(some).at(start[some], CLOCK[some]) == pytest.approx(one.at(start, CLOCK)[some], rel=1e-12)
    if np.isfinite(bath):
        holds = np.concatenate([*(part.capacity for part in made.parts), held[:, None]], axis=1)
        weigh = holds * np.append(np.concatenate([part.equilibrium for part in made.parts]), 1.0)
        before, after = (np.einsum("dsn,dn->ds", each, weigh) for each in (start, met.at(start, CLOCK)[:, :, -1]))
        assert after == pytest.approx(before, rel=1e-12)


def test_modes_that_were_pushed_out_of_the_memory_are_found_anew():
    met, start = spokes(1).in_bath(np.ones(DRAWS)), np.random.default_rng(2).uniform(0.0, 1.0, (DRAWS, 1, 39))
    before, known = met.at(start, CLOCK[:, :1]), met.parts[0].solved[1]
    assert met.parts[0].solved[1] is known
    SHARED.clear()
    assert met.parts[0].solved[1] is not known
    np.testing.assert_array_equal(met.at(start, CLOCK[:, :1]), before)


def test_nothing_is_lost_in_the_bath():
    met = spokes(1).in_bath(np.ones(DRAWS))
    with pytest.raises(ValueError, match="nothing is lost in a bath"):
        met.losing(np.ones((DRAWS, met.size)))


def test_one_case_is_remembered_by_its_content():
    made = spokes(1)
    first = Spokes(tuple(Part(p.capacity[:1], p.stiffness[:1], p.equilibrium, p.sign) for p in made.parts), lambda: [
        Contact(c.part, c.matrix[:1], c.column[:1], c.total[:1]) for c in made.make()
    ])  # fmt: skip
    assert first.in_bath(np.ones(1)) is first.in_bath(np.ones(1)) is not first.in_bath(np.full(1, 2.0))


def test_modes_of_a_held_bath_serve_every_bath(monkeypatch):
    """The eigenproblems of the pieces are solved once, however many baths there are, and with a loss once more where it is not alike."""
    whole, solved = np.linalg.eigh, []
    monkeypatch.setattr("numpy.linalg.eigh", lambda matrix: (solved.append(len(matrix)), whole(matrix))[1])
    monkeypatch.setattr(module, "SMALL", 0)
    made = spokes(1)
    start, uneven = np.ones((DRAWS, 1, 39)), np.random.default_rng(4).uniform(0.1, 0.5, (DRAWS, 39))
    uneven[:, -1] = 0.0
    counts = []
    for water in (1.0, 2.0, 3.0):
        met = made.in_bath(np.full(DRAWS, water))
        met.at(start, CLOCK[:, :1])
        met.losing(uneven).at(start, CLOCK[:, :1])
        counts.append(len(solved))
    assert counts[0] > 0 and counts[1] == counts[0] == counts[2]
