"""Many parts in one bath, answered part by part, against the dense modes of the whole: states, sums, integrals, losses, turns; memory."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.transport.memory import Kept, Memory
from curelab.transport.modes import Modes, modes_of
from curelab.transport.network import Contact, Part, assemble
from curelab.transport.rows import Rows
from curelab.transport.star import MANY, RATIONAL, RATIONAL_COARSE, Spokes, Star, hyperbola

DRAWS, SOLUTES = 3, 2


def rod(rng: np.random.Generator, nodes: int, fine: float) -> tuple[Part, np.ndarray]:
    """A rod of cells with a conductance from its last cell to a bath: fast and slow modes, as in a piece of meat."""
    capacity = rng.uniform(0.5, 1.5, (DRAWS, nodes)) / nodes
    links = rng.uniform(0.5, 1.5, (DRAWS, nodes - 1)) * nodes * fine
    stiffness = np.zeros((DRAWS, nodes, nodes))
    for at in range(nodes - 1):
        step = np.zeros(nodes)
        step[at], step[at + 1] = 1.0, -1.0
        stiffness += links[:, at, None, None] * np.outer(step, step)
    return Part(capacity, stiffness, np.ones(nodes)), rng.uniform(1.0, 30.0, DRAWS)


def spokes(seed: int, sizes=(8, 12, 8, 40, 8), fine: float = 1.0) -> Spokes:
    rng = np.random.default_rng(seed)
    parts, contacts = [], []
    for number, nodes in enumerate(sizes):
        part, conductance = rod(rng, nodes, fine)
        edge = np.eye(nodes)[-1]
        column = conductance[:, None] * edge
        parts.append(part)
        contacts.append(Contact(number, conductance[:, None, None] * np.outer(edge, edge), column, conductance))
    return Spokes(tuple(parts), lambda: contacts)


def pair(bath: float = 3.0, **more) -> tuple[Star, Modes, np.ndarray]:
    """(star, dense modes, a start) of the same networks."""
    made, rng = spokes(1, **more), np.random.default_rng(2)
    held = bath * rng.uniform(0.8, 1.2, DRAWS)
    star = made.in_bath(held)
    assert isinstance(star, Star)
    start = rng.uniform(0.0, 1.0, (DRAWS, SOLUTES, star.size))
    return star, modes_of(assemble(made.parts, held, made.make())), start


CLOCK = np.array([0.0, 1e-6, 1e-3, 0.02, 0.3, 2.0, 50.0, 1e5])


@pytest.mark.parametrize(("rational", "bound"), [(RATIONAL, 4e-10), (RATIONAL_COARSE, 4e-8)])
def test_the_rational_approximation_is_as_good_as_it_says(rational, bound):
    poles, weights = rational
    x = np.concatenate([[0.0], np.geomspace(1e-8, 1e10, 4001)])
    assert np.abs((weights / (x[:, None] + poles)).sum(axis=1).real - np.exp(-x)).max() < bound


@pytest.mark.parametrize(("points", "window", "bound"), [(32, 64.0, 1e-9), (20, 64.0, 3e-6), (14, 1.0, 1e-12)])
def test_the_hyperbola_is_as_good_as_it_says(points, window, bound):
    poles, weights = hyperbola(points, window)
    x, t = np.concatenate([[0.0], np.geomspace(1e-6, 1e9, 400)]), np.geomspace(1 / window, 1.0, 50)
    found = ((weights * np.exp(poles * t[:, None]))[:, None] / (x[:, None] + poles)).sum(axis=2).real
    assert np.abs(found - np.exp(-x * t[:, None])).max() < bound


def test_states_are_those_of_the_whole():
    star, dense, start = pair()
    clock = np.broadcast_to(CLOCK, (DRAWS, SOLUTES, len(CLOCK)))
    assert star.at(start, clock) == pytest.approx(dense.at(start, clock), abs=1e-8)
    rows = np.random.default_rng(3).uniform(0, 1, (2, star.size))
    assert star.at(start, clock, rows) == pytest.approx(dense.at(start, clock, rows), abs=1e-8 * star.size)
    each = np.random.default_rng(4).uniform(0, 1, (DRAWS, 2, star.size))
    assert star.at(start, clock, each) == pytest.approx(dense.at(start, clock, each), abs=1e-8 * star.size)


def test_few_nodes_are_answered_coarsely_but_near():
    star, dense, start = pair(sizes=(6, 14, 9, 14, 14))
    clock = np.broadcast_to(CLOCK, (DRAWS, SOLUTES, len(CLOCK)))
    off = np.abs(star.at(start, clock) - dense.at(start, clock)).max()
    assert 1e-10 < off < 1e-6


@pytest.mark.parametrize("losing", (False, True))
def test_turning_again_and_again_is_that_of_the_whole(losing):
    """Equal spans, one after the other, turned over before each: against the dense modes, and against span after span of its own."""
    star, dense, start = pair()
    sign = np.where(np.arange(star.size) % 2, -1.0, 1.0)
    sign[-1] = 1.0
    if losing:
        own = np.random.default_rng(5).uniform(0.1, 0.4, len(star.spokes.parts))
        loss = np.append(np.repeat(own, [len(part.equilibrium) for part in star.spokes.parts]), 0.0)
        loss = np.broadcast_to(loss, (DRAWS, star.size))
        star, dense = star.losing(loss), dense.losing(loss)
    ways = [(star, dense), (star.flipped(sign), dense.flipped(sign))]
    clock = np.random.default_rng(6).uniform(0.05, 0.4, (DRAWS, SOLUTES))
    assert star.turned(ways[1][0]) and not star.turned(pair()[0]) and not star.turned(dense)
    between, last = star.turning(star.begin(start), clock, [ways[n % 2][0].sign for n in range(7)])
    found = [ways[n % 2][0].state(begun) for n, begun in enumerate(between, 1)] + [ways[0][0].state(last)]
    each = whole = start
    for number, after in enumerate(found):
        each, whole = (
            way.at(w, clock[:, :, None])[:, :, 0] for way, w in zip(ways[number % 2], (each, whole), strict=True)
        )
        assert after == pytest.approx(each, rel=1e-11, abs=1e-12) and after == pytest.approx(whole, abs=1e-8)


@pytest.mark.parametrize("bath", (0.01, 3.0, 1e4))
def test_nothing_is_lost_or_made(bath):
    """By the network's own balance, after a moment and after so long that all is level; also in a bath far larger than what lies in it."""
    star, _, start = pair(bath, fine=100.0)
    holds = np.concatenate([*[part.capacity for part in star.spokes.parts], star.bath[:, None]], axis=1)
    before = (start * holds[:, None]).sum(axis=2)
    for clock in (1e-6, 0.1, 1e6):
        after = star.at(start, np.full((DRAWS, SOLUTES, 1), clock))[:, :, 0]
        assert (after * holds[:, None]).sum(axis=2) == pytest.approx(before, rel=1e-12)
    assert after == pytest.approx(
        np.broadcast_to((before / holds.sum(axis=1)[:, None])[..., None], after.shape), rel=1e-8
    )


def test_readings_at_many_times_are_those_of_the_whole():
    """More times than are answered one by one, the start among them, from several legs, at places of one part, of several, and the bath."""
    star, dense, start = pair()
    clock = np.broadcast_to(np.concatenate([[0.0], np.geomspace(1e-5, 20.0, 60)]), (DRAWS, 61))
    owner = np.broadcast_to(np.arange(61) // 31, (DRAWS, 61))
    one = Rows(star.size, np.random.default_rng(3).uniform(0, 1, (2, 12)), 8, np.array([0.0, 1.0]))
    full = np.zeros((2, star.size))
    full[:, 8:20], full[1, -1] = one.inner, 1.0
    for which in (None, owner):
        starts = start[:, :1] if which is None else start
        kept: dict = {}
        for rows in (one, full, None):
            expected = dense.along(dense.begin(starts), which, clock, full if rows is one else rows, {})
            assert star.along(star.begin(starts), which, clock, rows, kept) == pytest.approx(expected, abs=2e-8)


def test_pieces_that_are_turned_go_on_where_they_were():
    """Three legs, turned between them, against the whole solved anew for each."""
    star, dense, start = pair()
    sign = np.append(np.random.default_rng(5).choice([-1.0, 1.0], star.size - 1), 1.0)
    turned, dense_turned = star.flipped(sign), dense.flipped(sign)
    clock, state, begun = np.full(start.shape[:2], 0.2), start, star.begin(start)
    for (one, whole), after in zip(
        [(star, dense), (turned, dense_turned), (star, dense)], (turned, star, star), strict=True
    ):
        state = whole.at(state, clock[..., None])[:, :, 0]
        begun = one.onto(one.after(begun, clock), after)
        assert after.state(begun) == pytest.approx(state, abs=2e-8)


def test_what_nobody_wants_is_not_worked_out():
    star, dense, start = pair()
    clock, wanted = np.full((DRAWS, 4), 0.1), np.zeros((DRAWS, 4), dtype=bool)
    wanted[1, 2] = True
    found = star.along(star.begin(start[:, :1]), None, clock, None, {}, wanted)
    assert found[1, 2] == pytest.approx(dense.along(dense.begin(start[:, :1]), None, clock, None, {})[1, 2], abs=1e-8)
    assert not found[0].any() and not found[1, 3].any()


def test_integrals_losses_and_turns_are_those_of_the_whole():
    star, dense, start = pair()
    loss = np.zeros((DRAWS, star.size))
    for number, part in enumerate(star.spokes.own):
        loss[:, part.nodes] = 0.1 * (1 + number)
    uneven = loss * (
        np.random.default_rng(6).uniform(0, 1, loss.shape) < 0.5
    )  # lost in some nodes only, as in lean beside fat
    sign = np.append(np.random.default_rng(5).choice([-1.0, 1.0], star.size - 1), 1.0)
    clock = np.broadcast_to(CLOCK[:-1], (DRAWS, SOLUTES, len(CLOCK) - 1))
    for one, other in (
        (star, dense),
        (star.losing(loss), dense.losing(loss)),
        (star.losing(uneven), dense.losing(uneven)),
        (star.flipped(sign), dense.flipped(sign)),
    ):
        expected = other.integral(start, clock)
        assert one.integral(start, clock) == pytest.approx(expected, rel=1e-9, abs=1e-9 * np.abs(expected).max())
        assert one.at(start, clock) == pytest.approx(other.at(start, clock), abs=1e-8)
    some = np.array([2])
    for each in (loss, uneven):
        assert star.losing(each).flipped(sign).of(some).at(start[some], clock[some]) == pytest.approx(
            dense.losing(each).flipped(sign).at(start, clock)[some], abs=1e-8
        )
    assert star.supplied(start, clock) == pytest.approx(0.0)
    with pytest.raises(ValueError, match="nothing in its bath"):
        star.losing(np.ones_like(loss))


@pytest.mark.parametrize("held", (True, False))
def test_parts_that_nothing_couples_are_answered_exactly(held):
    """In a held bath and sealed each part goes its own way: exact modes, and no matrix of the whole."""
    made = spokes(1) if held else Spokes(spokes(1).parts, None)
    bath = np.full(DRAWS, np.inf if held else 1.0)
    alone, whole = made.in_bath(bath), modes_of(assemble(made.parts, bath, () if made.make is None else made.make()))
    assert isinstance(alone, Modes)
    start = np.random.default_rng(2).uniform(0, 1, (DRAWS, SOLUTES, alone.size))
    clock = np.broadcast_to(CLOCK, (DRAWS, SOLUTES, len(CLOCK)))
    assert alone.at(start, clock) == pytest.approx(whole.at(start, clock), rel=1e-9, abs=1e-12)
    assert alone.supplied(start, clock) == pytest.approx(whole.supplied(start, clock), rel=1e-9, abs=1e-12)


def test_few_parts_are_solved_as_a_whole():
    made = spokes(1, sizes=(8,) * (MANY - 1))
    assert isinstance(made.in_bath(np.ones(DRAWS)), Modes)


def test_no_draw_hangs_on_the_others_beside_it():
    star, _, start = pair()
    clock = np.broadcast_to(CLOCK, (DRAWS, SOLUTES, len(CLOCK)))
    every = star.at(start, clock)
    for number in range(DRAWS):
        one = np.array([number])
        assert star.of(one).at(start[one], clock[one]) == pytest.approx(every[one], rel=1e-13, abs=1e-14)


def test_memory_keeps_what_was_used_last_within_its_bytes():
    memory = Memory(most_bytes=2500)
    first, second = Kept(memory), Kept(memory)
    first["a"] = (np.zeros(100), [np.zeros(25)])  # 1000 bytes
    second["a"] = np.ones(100)
    assert first.get("a")[0].sum() == 0 and second.get("a").sum() == 100 and memory.bytes == 1800
    assert first.get("a") is not None  # used last, so the other goes
    first["b"] = np.zeros(100)
    assert second.get("a") is None and first.get("a") is not None and memory.bytes == 1800
    first["b"] = np.zeros(1000)  # larger than all that may be kept
    assert first.get("b") is None and memory.bytes == 1000
    memory.clear()
    assert first.get("a", 7) == 7 and memory.bytes == 0
