"""Batches of networks against one network at a time, and against the matrix exponential of scipy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm

from curelab.transport.modes import modes_of
from curelab.transport.network import Network

A, B = np.array([0, 1, 2, 3, 4]), np.array([1, 2, 3, 4, 0])


@pytest.mark.parametrize("held", (False, True))
@pytest.mark.parametrize("lossy", (False, True))
def test_a_batch_equals_each_alone(links, batch, held, lossy):
    rng = np.random.default_rng(5)
    capacity = rng.uniform(0.5, 2.0, (3, 5))
    if held:
        capacity[:, -1] = np.inf
    conductance = rng.uniform(0.5, 2.0, (3, 5))
    loss = rng.uniform(0.0, 0.5, (3, 5)) * lossy
    each = [links(c, A, B, k, out) for c, k, out in zip(capacity, conductance, loss, strict=True)]
    many = modes_of(batch(*each))
    start, clock = rng.uniform(0, 1, (3, 1, 5)), np.tile(np.linspace(0, 3, 7), (3, 1, 1))
    for number, alone in enumerate(each):
        modes, mine = modes_of(batch(alone)), slice(number, number + 1)
        theirs = modes.at(start[mine], clock[mine])[0]
        exact = np.array([expm(alone.generator * t) @ start[number, 0] for t in clock[number, 0]])
        assert theirs[0] == pytest.approx(exact, rel=1e-10)
        assert many.at(start, clock)[number] == pytest.approx(theirs, rel=1e-11)
        rows = rng.uniform(0, 1, (2, 5))
        assert many.at(start, clock, rows)[number] == pytest.approx(theirs @ rows.T, rel=1e-11)
        one = many.of(np.array([number]))
        assert one.at(start[mine], clock[mine])[0] == pytest.approx(theirs, rel=1e-11)
        given = modes.supplied(start[mine], clock[mine])[0]
        assert many.supplied(start, clock)[number] == pytest.approx(given, rel=1e-10, abs=1e-13)
        assert one.slowest == pytest.approx(modes.slowest, rel=1e-10)


def test_networks_in_proportion_share_one_basis(links, batch):
    capacity, conductance = np.array([1.0, 2.0, 1.0]), np.array([1.0, 3.0])
    a, b = np.array([0, 1]), np.array([1, 2])
    by = np.array([[1.0], [0.5], [4.0]])
    each = [links(capacity * p, a, b, conductance * p**2, np.full(3, 0.25)) for p in by]
    many = modes_of(batch(*each))
    rates, vectors = many.parts[0].solved
    assert len(many.parts) == 1 and len(vectors) == 1
    single = modes_of(batch(links(capacity, a, b, conductance, np.zeros(3)))).parts[0].solved[0]
    assert rates == pytest.approx(single * by + 0.25, rel=1e-12)


def test_parts_that_nothing_couples_are_solved_alone_and_only_when_something_moves(links, batch):
    """Two closed pairs and, in some draws only, no link between them; a pair at rest in zero is not solved."""
    capacity = np.array([1.0, 2.0, 1.0, 3.0])
    a, b = np.array([0, 2]), np.array([1, 3])
    each = [links(capacity, a, b, np.array(k), np.zeros(4)) for k in ([1.0, 2.0], [3.0, 0.5])]
    many = modes_of(batch(*each))
    assert [part.nodes.tolist() for part in many.parts] == [[0, 1], [2, 3]]
    start = np.array([[[1.0, 0.0, 0.0, 0.0]]] * 2)
    found = many.at(start, np.full((2, 1, 1), 0.7))
    for number in range(2):
        exact = expm(0.7 * each[number].generator) @ start[number, 0]
        assert found[number, 0, 0] == pytest.approx(exact, rel=1e-12)
    assert "solved" in many.parts[0].__dict__ and "solved" not in many.parts[1].__dict__


def coupled(seed: int) -> Network:
    """Two networks of three nodes and a bath in which everything is linked, whatever its sign."""
    rng = np.random.default_rng(seed)
    spread = rng.normal(size=(2, 4, 4))
    blocks = tuple(np.array([node]) for node in range(3))
    return Network(rng.uniform(0.5, 2.0, (2, 4)), spread @ spread.swapaxes(1, 2), np.zeros(4), blocks)


@pytest.mark.parametrize("held", (False, True))
@pytest.mark.parametrize("solved_before", (False, True))
def test_flipped_nodes_count_the_other_way_round(solved_before, held):
    network, sign = coupled(3), np.array([1.0, -1.0, -1.0, 1.0])
    if held:
        network = replace(network, capacity=np.where(np.arange(4) < 3, network.capacity, np.inf))
    many = modes_of(network)
    start, clock = np.random.default_rng(4).uniform(0, 1, (2, 1, 4)), np.full((2, 1, 3), [[0.1, 0.5, 2.0]])
    if solved_before:
        many.at(start, clock)
    other = modes_of(replace(network, laplacian=network.laplacian * np.outer(sign, sign)))
    assert many.flipped(sign).at(start, clock) == pytest.approx(other.at(start, clock), rel=1e-10, abs=1e-14)


@pytest.mark.parametrize("alike", (False, True))
@pytest.mark.parametrize("flipped", (None, "before", "after"))
def test_a_loss_on_modes_that_are_there(alike, flipped):
    """The same as of a network that had it from the start: where all nodes lose alike the modes are kept, else solved anew."""
    network, sign = coupled(7), np.array([1.0, -1.0, 1.0, 1.0])
    rng = np.random.default_rng(8)
    loss = np.repeat(rng.uniform(0.1, 0.9, (2, 1)), 4, axis=1) if alike else rng.uniform(0.1, 0.9, (2, 4))
    start, clock = rng.uniform(0, 1, (2, 1, 4)), np.full((2, 1, 3), [[0.1, 0.5, 2.0]])
    many = modes_of(network)
    many = many.flipped(sign).losing(loss) if flipped == "before" else many.losing(loss)
    if flipped:
        many = many.flipped(sign) if flipped == "after" else many
        network = replace(network, laplacian=network.laplacian * np.outer(sign, sign))
    found = many.at(start, clock)
    for number in range(2):
        generator = -network.laplacian[number] / network.capacity[number][:, None] - np.diag(loss[number])
        for place, time in enumerate(clock[number, 0]):
            exact = expm(generator * time) @ start[number, 0]
            assert found[number, 0, place] == pytest.approx(exact, rel=1e-10, abs=1e-14)
