"""Exact evolution against the matrix exponential, on random networks: a held node, loss, several closed parts; and which way flux runs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from curelab.bodies import layered
from curelab.transport.memory import Kept
from curelab.transport.modes import forget, modes_of
from curelab.transport.network import Contact, Part, assemble

few = settings(max_examples=40, deadline=None, derandomize=True)


@st.composite
def parts(draw, held=True, loss=True):
    """2 to 8 nodes with any links between them, so often in several parts: what `Links` is made of."""
    size = draw(st.integers(2, 8))
    pairs = [(a, b) for a in range(size) for b in range(a)]
    joined = draw(st.lists(st.sampled_from(pairs), max_size=10))
    number = st.floats(0.05, 20.0)
    capacity = np.array(draw(st.lists(number, min_size=size, max_size=size)))
    conductance = np.array([draw(number) for _ in joined])
    if held and draw(st.booleans()):
        capacity[-1] = np.inf
    out = np.array([draw(st.sampled_from([0.0, 0.3, 2.0])) for _ in range(size)]) if loss else np.zeros(size)
    ends = np.array(joined, dtype=int).reshape(-1, 2)
    return capacity, ends[:, 0], ends[:, 1], conductance, out


def starts(size: int, seed: int) -> np.ndarray:
    """(1, 2, n)"""
    return np.random.default_rng(seed).uniform(0.0, 2.0, (1, 2, size))


CLOCK = np.array([[[0.0, 0.01, 0.4, 3.0], [0.02, 0.2, 1.0, 7.0]]])


@few
@given(made=parts(), seed=st.integers(0, 99))
def test_states_are_the_matrix_exponential(links, batch, made, seed):
    network = links(*made)
    start = starts(len(network.capacity), seed)
    states = modes_of(batch(network)).at(start, CLOCK)
    for solute in range(2):
        for number, clock in enumerate(CLOCK[0, solute]):
            expected = expm(network.generator * clock) @ start[0, solute]
            np.testing.assert_allclose(states[0, solute, number], expected, rtol=1e-9, atol=1e-11)


@few
@given(made=parts(), seed=st.integers(0, 99))
def test_weighted_sums_are_read_without_the_states(links, batch, made, seed):
    network = links(*made)
    start = starts(len(network.capacity), seed)
    rows = np.random.default_rng(seed + 1).uniform(-1.0, 1.0, (3, len(network.capacity)))
    modes = modes_of(batch(network))
    np.testing.assert_allclose(modes.at(start, CLOCK, rows), modes.at(start, CLOCK) @ rows.T, rtol=1e-9, atol=1e-11)
    whole = modes.integral(start, CLOCK)
    np.testing.assert_allclose(modes.integral(start, CLOCK, rows[None]), whole @ rows.T, rtol=1e-9, atol=1e-11)


@few
@given(made=parts(), seed=st.integers(0, 99))
def test_one_solute_that_sets_out_again_and_again(links, batch, made, seed):
    """`along` from several starts, each clock reading from its own, is `at` from each of them; asked twice, the same."""
    network = links(*made)
    start, clock = starts(len(network.capacity), seed), CLOCK[:, 0]
    start[..., -1] = start[:, :1, -1]
    modes, owner, kept = modes_of(batch(network)), np.array([[0, 1, 1, 0]]), {}
    begun = modes.begin(start)
    rows = np.random.default_rng(seed).uniform(-1.0, 1.0, (2, len(network.capacity)))
    each = modes.at(start, np.repeat(clock[:, None], 2, axis=1))
    expected = np.take_along_axis(each, owner[:, None, :, None], axis=1)[:, 0]
    for _ in range(2):
        np.testing.assert_allclose(modes.along(begun, owner, clock, None, kept), expected, rtol=1e-9, atol=1e-11)
        np.testing.assert_allclose(
            modes.along(begun, owner, clock, rows, kept), expected @ rows.T, rtol=1e-9, atol=1e-11
        )
    other = np.take_along_axis(each, 1 - owner[:, None, :, None], axis=1)[:, 0]
    np.testing.assert_allclose(modes.along(begun, 1 - owner, clock, None, kept), other, rtol=1e-9, atol=1e-11)


@few
@given(made=parts(), seed=st.integers(0, 99), written=st.booleans())
def test_what_goes_on_in_other_networks_goes_on_node_by_node(links, batch, made, seed, written):
    """Through two networks by turns, the second with other conductances and losses: what `at` comes to when each begins with the state of the last."""
    network = links(*made)
    loss = np.random.default_rng(seed).uniform(0.1, 1.0, len(network.capacity)) * (
        np.arange(len(network.capacity)) < len(network.capacity) - 1
    )
    one, kept = modes_of(batch(network)), Kept() if written else None
    other = one.losing(loss[None])
    state = starts(len(network.capacity), seed)[:, :2]
    clock, begun = np.full(state.shape[:2], 0.3), one.begin(state)
    for before, after in ((one, other), (other, one), (one, other), (other, other)):
        state = before.at(state, clock[..., None])[:, :, 0]
        begun = before.onto(before.after(begun, clock), after, kept)
        np.testing.assert_allclose(after.state(begun), state, rtol=1e-9, atol=1e-11)


@few
@given(made=parts(), seed=st.integers(0, 99))
def test_integral_loss_and_supply(links, batch, made, seed):
    """Against Gauss quadrature of the matrix exponential, 12 points in each of 40 panels."""
    network = links(*made)
    start = starts(len(network.capacity), seed)[:, :1]
    modes, matrix, end = modes_of(batch(network)), network.generator, 3.0
    x, weight = np.polynomial.legendre.leggauss(12)
    edges = np.concatenate([[0.0], np.geomspace(1e-4, end, 40)])
    points = (edges[:-1, None] + np.diff(edges)[:, None] * 0.5 * (x + 1)).ravel()
    weights = (np.diff(edges)[:, None] * 0.5 * weight).ravel()
    path = np.array([expm(matrix * clock) @ start[0, 0] for clock in points])
    until = np.array([[[end]]])
    np.testing.assert_allclose(modes.integral(start, until)[0, 0, 0], weights @ path, rtol=1e-8, atol=1e-10)

    free = network.free
    taken = np.where(free, network.loss * np.where(free, network.capacity, 0.0), 0.0)
    lost = sum(taken[n] * (weights @ path[:, n]) for n in np.flatnonzero(free))
    found = modes.integral(start, until, taken[None])[0, 0, 0, 0]
    np.testing.assert_allclose(found, lost, rtol=1e-8, atol=1e-10)
    supplied = 0.0
    for a, b, conductance in zip(network.a, network.b, network.conductance, strict=True):
        for giver, taker in ((a, b), (b, a)):
            if not free[giver] and free[taker]:
                supplied += conductance * (weights @ (path[:, giver] - path[:, taker]))
    np.testing.assert_allclose(modes.supplied(start, until)[0, 0, 0], supplied, rtol=1e-8, atol=1e-9)

    before, after = (w[free] @ network.capacity[free] for w in (start[0, 0], modes.at(start, until)[0, 0, 0]))
    np.testing.assert_allclose(after, before + supplied - lost, rtol=1e-8, atol=1e-9)


@few
@given(made=parts(held=False, loss=False), seed=st.integers(0, 99))
def test_closed_parts_each_keep_their_amount(links, batch, made, seed):
    """For ever, and each part goes to its own mean."""
    network = links(*made)
    start = starts(len(network.capacity), seed)[:, :1]
    last = modes_of(batch(network)).at(start, np.array([[[1e9]]]))[0, 0, 0]
    together = np.linalg.matrix_power(np.eye(len(last)) + (network.laplacian != 0), 10) > 0
    for node in range(len(last)):
        part = together[node]
        mean = (network.capacity[part] @ start[0, 0, part]) / network.capacity[part].sum()
        assert last[node] == pytest.approx(mean, rel=1e-11)


def test_laplacian_by_hand():
    """Two links of 2 and 3 in a row, the second to the bath."""
    pair = Part(np.ones((1, 2)), np.array([[[2.0, -2.0], [-2.0, 2.0]]]), np.ones(2))
    row = np.array([0.0, 1.0])
    contact = Contact(0, 3 * np.outer(row, row)[None], 3 * row[None], np.array([3.0]))
    network = assemble([pair], np.ones(1), [contact])
    assert network.laplacian[0].tolist() == [[2, -2, 0], [-2, 5, -3], [0, -3, 3]]
    assert network.capacity.tolist() == [[1, 1, 1]] and not network.held
    assert modes_of(network).slowest == pytest.approx(5 - np.sqrt(7), rel=1e-12)  # roots of r^2 - 10 r + 18


BODY = layered((1.0,), counts=(2,))
VOLUME = np.array([0.5, 0.5])


def terms_in(cells: np.ndarray) -> np.ndarray:
    """The terms of values in the two cells."""
    return BODY.rows[1:-1].T @ (VOLUME * cells)


@pytest.mark.parametrize("high", [0, 1])
@pytest.mark.parametrize("link", ["cell to cell", "bare face", "face behind a film", "held bath"])
def test_flux_runs_from_high_to_low(one_body, link, high):
    """Every kind of link: what the high side loses, the low side gains, at conductance times difference to begin with."""
    bath = np.inf if link == "held bath" else 3.0
    if link == "cell to cell":
        network, pair = one_body(BODY, [1.0], [1.0], bath), (0, 1)
        conductance = 2.0  # unit area, unit conductivity, half a unit between centres
    else:
        per_area = 4.0 if link == "face behind a film" else np.inf
        network, pair = one_body(BODY, [1.0], [1.0], bath, [0.0, per_area]), (2, 1)
        conductance = 2.0 if link == "face behind a film" else 4.0  # a quarter unit, and a film as wide in series
        found = BODY.faces[1].conductance(np.array([per_area]), np.ones((1, 1)), np.ones(1))
        assert found == pytest.approx(conductance, rel=1e-12)
    w = np.full(3, 0.4)
    w[pair[high]] = 1.4
    low = pair[1 - high]
    if link != "cell to cell":
        w[0] = w[1]  # no flux inside to begin with
    tiny = np.full((1, 1, 1), 1e-9)
    modes = modes_of(network)
    start = np.append(terms_in(w[:2]), w[2])[None, None]
    terms = modes.at(start, tiny)[0, 0, 0]
    after = np.append(BODY.rows[1:-1] @ terms[:2], terms[2])
    moved = conductance * 1.0 * 1e-9
    for node, sign in ((pair[high], -1.0), (low, 1.0)):
        if not (node == 2 and network.held):
            gained = (after[node] - w[node]) * np.append(VOLUME, bath)[node]
            assert np.sign(gained) == sign
            assert gained == pytest.approx(sign * moved, rel=1e-5)
    supplied = modes.supplied(start, tiny).item()
    bath_is_high = high == 0
    assert supplied == pytest.approx(
        (moved if bath_is_high else -moved) if link == "held bath" else 0.0, rel=1e-5, abs=1e-30
    )


def test_loss_takes_out(links, batch):
    none = np.zeros(0, int)
    network = links(np.array([2.0, 1.0]), none, none, np.zeros(0), np.array([0.7, 0.0]))
    modes, start, until = modes_of(batch(network)), np.array([[[1.5, 0.0]]]), np.array([[[1.0]]])
    assert modes.at(start, until)[0, 0, 0, 0] == pytest.approx(1.5 * np.exp(-0.7), rel=1e-12)
    lost = modes.integral(start, until, np.array([[2.0 * 0.7, 0.0]])).item()
    assert lost == pytest.approx(3.0 * (1 - np.exp(-0.7)), rel=1e-12)


def test_face_share():
    """The face lies between bath and cell, in proportion to the two resistances; a bare face has the level of the bath."""
    share = BODY.faces[1].share(np.array([np.inf, 12.0, 0.0]), np.ones((3, 1)), np.ones(3))
    assert share[0] == 1.0 and share[2] == 0.0
    assert share[1] == pytest.approx(0.75, rel=1e-12)


def test_below_zero_is_rounding(one_body):
    """Of cells that are empty as yet: a value below zero is one part in a million millions, or the modes are wrong."""
    body = layered((1.0,), counts=(60,))
    modes = modes_of(one_body(body, [1.0], [1.0], 1.0, [0.0, np.inf]))
    start, early = np.eye(61)[None, None, -1], np.geomspace(1e-9, 1e-4, 20)[None, None]
    raw = modes.at(start, early)[0, 0, :, :-1] @ body.rows[1:-1].T
    assert -1e-12 < raw.min() < 0.0


def test_single_networks_are_remembered_by_their_content(one_body):
    forget()
    network, same = (one_body(BODY, [1.0], [1.0], 3.0, [0.0, 2.0]) for _ in range(2))
    other = one_body(BODY, [1.0], [1.0], 3.0, [2.0, 0.0])
    assert modes_of(network) is modes_of(same) is not modes_of(other)
    before = modes_of(network)
    forget()
    assert modes_of(network) is not before
