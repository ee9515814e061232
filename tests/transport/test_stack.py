"""Sheaves of networks against one network at a time, and against the matrix exponential of scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from curelab.transport.modes import modes_of
from curelab.transport.network import Network
from curelab.transport.stack import stack_of

A, B = np.array([0, 1, 2, 3, 4]), np.array([1, 2, 3, 4, 0])


def laplacians(capacity, a, b, conductance):
    return np.array(
        [Network(c, a, b, k, np.zeros(len(c))).laplacian() for c, k in zip(capacity, conductance, strict=True)]
    )


@pytest.mark.parametrize("held", (False, True))
@pytest.mark.parametrize("lossy", (False, True))
def test_stack_equals_modes(held, lossy):
    rng = np.random.default_rng(5)
    capacity = rng.uniform(0.5, 2.0, (3, 5))
    if held:
        capacity[:, -1] = np.inf
    conductance = rng.uniform(0.5, 2.0, (3, 5))
    loss = rng.uniform(0.0, 0.5, (3, 5)) * lossy
    stack = stack_of(capacity, laplacians(capacity, A, B, conductance), np.ones(5), loss if lossy else None)
    start, clock = rng.uniform(0, 1, (3, 1, 5)), np.tile(np.linspace(0, 3, 7), (3, 1, 1))
    for number in range(3):
        modes = modes_of(Network(capacity[number], A, B, conductance[number], loss[number]))
        theirs = modes.at(start[number], clock[number])
        assert stack.at(start, clock)[number] == pytest.approx(theirs, rel=1e-11)
        rows = rng.uniform(0, 1, (2, 5))
        assert stack.at(start, clock, rows)[number] == pytest.approx(theirs @ rows.T, rel=1e-11)
        one = stack.of(np.array([number]))
        assert one.at(start[[number]], clock[[number]])[0] == pytest.approx(theirs, rel=1e-11)
        given = modes.supplied(modes.integral(start[number], clock[number]))
        assert stack.supplied(start, clock)[number] == pytest.approx(given, rel=1e-10, abs=1e-13)


def test_networks_in_proportion_share_one_basis():
    capacity, conductance = np.array([[1.0, 2.0, 1.0]]), np.array([[1.0, 3.0]])
    by = np.array([[1.0], [0.5], [4.0]])
    a, b = np.array([0, 1]), np.array([1, 2])
    links = laplacians(capacity * by, a, b, conductance * by**2)
    stack = stack_of(capacity * by, links, np.ones(3), np.full((3, 3), 0.25))
    rates, vectors = stack.parts[0].solved
    assert len(stack.parts) == 1 and len(vectors) == 1
    single = modes_of(Network(capacity[0], a, b, conductance[0], np.zeros(3))).rates
    assert rates == pytest.approx(single * by + 0.25, rel=1e-12)


def test_parts_that_nothing_couples_are_solved_alone_and_only_when_something_moves():
    """Two closed pairs and, in some draws only, no link between them; a pair at rest in zero is not solved."""
    capacity = np.tile([1.0, 2.0, 1.0, 3.0], (2, 1))
    a, b = np.array([0, 2]), np.array([1, 3])
    links = laplacians(capacity, a, b, np.array([[1.0, 2.0], [3.0, 0.5]]))
    stack = stack_of(capacity, links, np.ones(4))
    assert [part.nodes.tolist() for part in stack.parts] == [[0, 1], [2, 3]]
    start = np.array([[[1.0, 0.0, 0.0, 0.0]]] * 2)
    found = stack.at(start, np.full((2, 1, 1), 0.7))
    for number in range(2):
        exact = expm(-0.7 * links[number] / capacity[number][:, None]) @ start[number, 0]
        assert found[number, 0, 0] == pytest.approx(exact, rel=1e-12)
    assert "solved" in stack.parts[0].__dict__ and "solved" not in stack.parts[1].__dict__


@pytest.mark.parametrize("solved_before", (False, True))
def test_flipped_nodes_count_the_other_way_round(solved_before):
    rng = np.random.default_rng(3)
    capacity = rng.uniform(0.5, 2.0, (2, 4))
    spread = rng.normal(size=(2, 4, 4))
    links = spread @ spread.swapaxes(1, 2)
    sign = np.array([1.0, -1.0, -1.0, 1.0])
    stack = stack_of(capacity, links, np.zeros(4))
    start, clock = rng.uniform(0, 1, (2, 1, 4)), np.full((2, 1, 3), [[0.1, 0.5, 2.0]])
    if solved_before:
        stack.at(start, clock)
    other = stack_of(capacity, links * np.outer(sign, sign), np.zeros(4))
    assert stack.flipped(sign).at(start, clock) == pytest.approx(other.at(start, clock), rel=1e-10, abs=1e-14)
