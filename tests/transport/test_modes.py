"""Exact evolution against the matrix exponential, on random networks: held nodes, loss, several closed parts; and which way flux runs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from curelab.bodies.chain import Layer, build
from curelab.transport.modes import modes_of
from curelab.transport.network import Contact, Network, assemble, face_conductance, face_share

few = settings(max_examples=40, deadline=None, derandomize=True)


@st.composite
def networks(draw, held=True, loss=True):
    """2 to 8 nodes with any links between them, so often in several parts."""
    size = draw(st.integers(2, 8))
    pairs = [(a, b) for a in range(size) for b in range(a)]
    links = draw(st.lists(st.sampled_from(pairs), max_size=10))
    number = st.floats(0.05, 20.0)
    capacity = np.array(draw(st.lists(number, min_size=size, max_size=size)))
    conductance = np.array([draw(number) for _ in links])
    if held:
        fixed = np.array(draw(st.lists(st.booleans(), min_size=size, max_size=size)))
        fixed[draw(st.integers(0, size - 1))] = False
        capacity = np.where(fixed, np.inf, capacity)
    out = np.array([draw(st.sampled_from([0.0, 0.3, 2.0])) for _ in range(size)]) if loss else np.zeros(size)
    ends = np.array(links, dtype=int).reshape(-1, 2)
    return Network(capacity, ends[:, 0], ends[:, 1], conductance, out)


def generator(network: Network) -> np.ndarray:
    """dw/dclock = generator @ w, written from the definition, link by link."""
    size = len(network.capacity)
    result = np.zeros((size, size))
    for a, b, conductance in zip(network.a, network.b, network.conductance, strict=True):
        for here, there in ((a, b), (b, a)):
            if np.isfinite(network.capacity[here]):
                result[here, here] -= conductance / network.capacity[here]
                result[here, there] += conductance / network.capacity[here]
    for node in range(size):
        if np.isfinite(network.capacity[node]):
            result[node, node] -= network.loss[node]
    return result


def starts(network: Network, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0.0, 2.0, (2, len(network.capacity)))


CLOCK = np.array([[0.0, 0.01, 0.4, 3.0], [0.02, 0.2, 1.0, 7.0]])


@few
@given(networks(), st.integers(0, 99))
def test_states_are_the_matrix_exponential(network, seed):
    start = starts(network, seed)
    states = modes_of(network).at(start, CLOCK)
    matrix = generator(network)
    for solute in range(2):
        for number, clock in enumerate(CLOCK[solute]):
            np.testing.assert_allclose(
                states[solute, number], expm(matrix * clock) @ start[solute], rtol=1e-9, atol=1e-11
            )


@few
@given(networks(), st.integers(0, 99))
def test_weighted_sums_are_read_without_the_states(network, seed):
    start = starts(network, seed)
    columns = np.random.default_rng(seed + 1).uniform(-1.0, 1.0, (len(network.capacity), 3))
    modes = modes_of(network)
    read = modes.read(modes.begin(start), CLOCK, modes.onto(columns))
    np.testing.assert_allclose(read, modes.at(start, CLOCK) @ columns, rtol=1e-9, atol=1e-11)


@few
@given(networks(), st.integers(0, 99))
def test_integral_loss_and_supply(network, seed):
    """Against Gauss quadrature of the matrix exponential, 12 points in each of 40 panels."""
    start = starts(network, seed)[:1]
    modes, matrix, end = modes_of(network), generator(network), 3.0
    x, weight = np.polynomial.legendre.leggauss(12)
    edges = np.concatenate([[0.0], np.geomspace(1e-4, end, 40)])
    points = (edges[:-1, None] + np.diff(edges)[:, None] * 0.5 * (x + 1)).ravel()
    weights = (np.diff(edges)[:, None] * 0.5 * weight).ravel()
    path = np.array([expm(matrix * clock) @ start[0] for clock in points])
    integral = modes.integral(start, np.array([[end]]))
    np.testing.assert_allclose(integral[0, 0], weights @ path, rtol=1e-8, atol=1e-10)

    free = ~network.held
    lost = sum(network.loss[n] * network.capacity[n] * (weights @ path[:, n]) for n in np.flatnonzero(free))
    np.testing.assert_allclose(modes.lost(integral)[0, 0], lost, rtol=1e-8, atol=1e-10)
    supplied = 0.0
    for a, b, conductance in zip(network.a, network.b, network.conductance, strict=True):
        for giver, taker in ((a, b), (b, a)):
            if not free[giver] and free[taker]:
                supplied += conductance * (weights @ (path[:, giver] - path[:, taker]))
    np.testing.assert_allclose(modes.supplied(integral)[0, 0], supplied, rtol=1e-8, atol=1e-9)

    before, after = network.stored(start[0]), network.stored(modes.at(start, np.array([[end]]))[0, 0])
    np.testing.assert_allclose(after, before + supplied - lost, rtol=1e-8, atol=1e-9)


@few
@given(networks(held=False, loss=False), st.integers(0, 99))
def test_closed_parts_each_keep_their_amount(network, seed):
    """For ever, and each part goes to its own mean."""
    start = starts(network, seed)[:1]
    last = modes_of(network).at(start, np.array([[1e9]]))[0, 0]
    together = np.linalg.matrix_power(np.eye(len(last)) + (network.laplacian() != 0), 10) > 0
    for node in range(len(last)):
        part = together[node]
        mean = (network.capacity[part] @ start[0, part]) / network.capacity[part].sum()
        assert last[node] == pytest.approx(mean, rel=1e-11)


def test_laplacian_by_hand():
    """Two links of 2 and 3 in a row."""
    ends = np.array([0, 1]), np.array([1, 2])
    network = Network(np.ones(3), *ends, np.array([2.0, 3.0]), np.zeros(3))
    assert network.laplacian().tolist() == [[2, -2, 0], [-2, 5, -3], [0, -3, 3]]
    assert modes_of(network).slowest == pytest.approx(5 - np.sqrt(7), rel=1e-12)  # roots of r^2 - 10 r + 18


BODY = build([Layer(1.0, 1.0, 1.0, 2)], "slab")


@pytest.mark.parametrize("high", [0, 1])
@pytest.mark.parametrize("link", ["cell to cell", "bare face", "face behind a film", "held bath"])
def test_flux_runs_from_high_to_low(link, high):
    """Every kind of link: what the high side loses, the low side gains, at conductance times difference to begin with."""
    if link == "cell to cell":
        network, pair = assemble([BODY], [], []), (0, 1)
        conductance = 2.0  # unit area, unit conductivity, half a unit between centres
    else:
        per_area = 4.0 if link == "face behind a film" else np.inf
        bath = np.inf if link == "held bath" else 3.0
        network, pair = assemble([BODY], [bath], [Contact(0, 1, 0, per_area)]), (2, 1)
        conductance = 2.0 if link == "face behind a film" else 4.0  # a quarter unit, and a film as wide in series
        assert face_conductance(BODY, Contact(0, 1, 0, per_area)) == pytest.approx(conductance, rel=1e-12)
    w = np.full(len(network.capacity), 0.4)
    w[pair[high]] = 1.4
    low = pair[1 - high]
    if link != "cell to cell":
        w[0] = w[1]  # no flux inside to begin with
    tiny = 1e-9
    modes = modes_of(network)
    after = modes.at(w[None], np.array([[tiny]]))[0, 0]
    moved = conductance * 1.0 * tiny
    for node, sign in ((pair[high], -1.0), (low, 1.0)):
        if not network.held[node]:
            gained = (after[node] - w[node]) * network.capacity[node]
            assert np.sign(gained) == sign
            assert gained == pytest.approx(sign * moved, rel=1e-5)
    supplied = modes.supplied(modes.integral(w[None], np.array([[tiny]])))[0, 0]
    bath_is_high = high == 0
    assert supplied == pytest.approx(
        (moved if bath_is_high else -moved) if link == "held bath" else 0.0, rel=1e-5, abs=1e-30
    )


def test_loss_takes_out():
    network = Network(np.array([2.0]), np.zeros(0, int), np.zeros(0, int), np.zeros(0), np.array([0.7]))
    modes = modes_of(network)
    assert modes.at(np.array([[1.5]]), np.array([[1.0]])).item() == pytest.approx(1.5 * np.exp(-0.7), rel=1e-12)
    lost = modes.lost(modes.integral(np.array([[1.5]]), np.array([[1.0]]))).item()
    assert lost == pytest.approx(3.0 * (1 - np.exp(-0.7)), rel=1e-12)


def test_face_share():
    """The face lies between bath and cell, in proportion to the two resistances; a bare face has the level of the bath."""
    assert face_share(BODY, Contact(0, 1, 0, np.inf)) == 1.0
    assert face_share(BODY, Contact(0, 1, 0, 12.0)) == pytest.approx(0.75, rel=1e-12)


def test_below_zero_is_an_error_only_beyond_rounding():
    """Modes spoiled by hand are refused; rounding below zero is cut to exactly zero."""
    body = build([Layer(1.0, 1.0, 1.0, 60)], "slab")
    modes = modes_of(assemble([body], [1.0], [Contact(0, 1, 0, np.inf)]))
    start, early = np.eye(61)[-1:], np.geomspace(1e-9, 1e-4, 20)
    raw = (start @ modes.weights * np.exp(-np.outer(early, modes.rates))) @ modes.shapes.T
    assert -1e-12 < raw.min() < 0.0  # the far cells are empty as yet, but for rounding
    assert modes.at(start, early[None]).min() == 0.0
    with pytest.raises(ArithmeticError, match="below zero"):
        replace(modes, shapes=-modes.shapes).at(start, np.array([[1.0]]))
