"""A general finite-element library solves the same slab: lean under a layer of fat, loss in the lean, a film and a finite bath.

Peer: scikit-fem (quadratic elements; it has no code in common with the network), marched by scipy's Radau.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from skfem import Basis, BilinearForm, ElementLineP2, MeshLine
from skfem.helpers import dot, grad

from curelab.bodies import layered
from curelab.transport.modes import modes_of

WIDTH = (0.25, 0.75)
STORAGE = (0.3, 1.0)
CONDUCTIVITY = (0.08, 0.9)
LOSS = (0.0, 1.3)
FILM, BATH = 6.0, 0.8  # at the bare face; the other face is closed
TIMES = np.array([0.02, 0.1, 0.3, 1.0])


def by_elements() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(amount in the slab (t,), bath (t,), profile (t, 3) at 0.1, 0.5 and 0.9), time marched to a tolerance of 1e-9."""
    points = np.concatenate([np.linspace(0, WIDTH[0], 21), np.linspace(WIDTH[0], 1.0, 41)[1:]])
    basis = Basis(MeshLine(points), ElementLineP2())

    def by_place(pair):
        return lambda x: np.where(x < WIDTH[0], pair[0], pair[1])

    stiff = BilinearForm(lambda u, v, p: by_place(CONDUCTIVITY)(p.x[0]) * dot(grad(u), grad(v))).assemble(basis)
    mass = BilinearForm(lambda u, v, p: by_place(STORAGE)(p.x[0]) * u * v).assemble(basis)
    gone = BilinearForm(
        lambda u, v, p: by_place(tuple(s * r for s, r in zip(STORAGE, LOSS, strict=True)))(p.x[0]) * u * v
    )
    size = basis.N
    matrix, store = np.zeros((size + 1, size + 1)), np.zeros((size + 1, size + 1))
    matrix[:size, :size] = (stiff + gone.assemble(basis)).toarray()
    store[:size, :size] = mass.toarray()
    store[size, size] = BATH
    face = int(basis.get_dofs(lambda x: np.isclose(x[0], 1.0, rtol=1e-12, atol=0)).all()[0])
    matrix[face, face] += FILM
    matrix[size, size] += FILM
    matrix[face, size] -= FILM
    matrix[size, face] -= FILM
    rate = -np.linalg.solve(store, matrix)
    start = np.zeros(size + 1)
    start[size] = 1.0
    path = solve_ivp(lambda _, w: rate @ w, (0, TIMES[-1]), start, "Radau", TIMES, rtol=1e-9, atol=1e-11, jac=rate).y.T
    amount = path[:, :size] @ (mass @ np.ones(size))
    probe = basis.probes(np.array([[0.1, 0.5, 0.9]]))
    return amount, path[:, size], (probe @ path[:, :size].T).T


@pytest.fixture(scope="module")
def by_network(one_body):
    def solve(cells: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        body = layered(WIDTH, (0, 1), counts=(cells, 2 * cells))
        network = one_body(body, STORAGE, CONDUCTIVITY, BATH, (0.0, FILM))
        network = replace(network, loss=np.append(np.array(LOSS)[body.tissue], 0.0)[None])
        start = np.zeros((1, 1, body.count + 1))
        start[..., -1] = 1.0
        w = modes_of(network).at(start, TIMES[None, None])[0, 0]
        inside = w[:, :-1] @ body.rows[1:-1].T
        places = np.array([np.interp([0.1, 0.5, 0.9], body.depth[1:-1], row) for row in inside])
        return w[:, :-1] @ (network.capacity[0, :-1] * body.mean), w[:, -1], places

    return solve


def test_two_layers_with_loss_and_a_finite_bath(by_network):
    peer, ours = by_elements(), by_network(60)
    for theirs, mine in zip(peer, ours, strict=True):
        assert np.abs(mine - theirs).max() < 1e-4
    assert peer[0][-1] < 0.75 * BATH  # the loss took its share, so the comparison has something to see
    assert peer[2][:, 0].max() > 0.05  # and the fat was entered


@pytest.mark.parametrize("which", [0, 1])
def test_order_against_the_peer(which, by_network):
    peer = by_elements()[which]
    coarse, fine = (np.abs(by_network(cells)[which] - peer).max() for cells in (8, 16))
    assert np.log2(coarse / fine) > 1.9
