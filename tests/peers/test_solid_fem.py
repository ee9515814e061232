"""A general finite-element library solves the same uneven body in three dimensions: a wedge under a cap of fat, and one with a seam.

Peer: scikit-fem, trilinear elements with a consistent mass, cuts of its own, marched by implicit steps of the second order. It shares the
outline with the body, and nothing else: neither its elements nor its terms.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import scipy.sparse.linalg as sl
from handful import handful
from skfem import Basis, BilinearForm, ElementHex1, FacetBasis, LinearForm, MeshHex
from skfem.helpers import dot, grad

from curelab.bodies import Outline, solid
from curelab.transport.modes import modes_of

FILM, HELD = 20.0, (1.0, 0.3)  # what lean and fat store
LED = (1.0, 0.05)
AT, THICK, WIDE = (0.0, 1.5, 3.0), (0.5, 0.7, 1.0), (1.6, 2.0, 1.8)
TIMES = np.array([0.02, 0.06, 0.2])
SEAM = tuple((0.0, 0.4 * t, 0.5 * t, t) for t in THICK)
CAP = tuple((0.0, 0.1 * t, t) for t in THICK)
BODIES = {
    "wedge": Outline(AT, THICK, WIDE, tuple((0.0, t) for t in THICK), ((0,),) * 3),
    "cap": Outline(AT, THICK, WIDE, CAP, ((1, 0),) * 3),
    "seam": Outline(AT, THICK, WIDE, SEAM, ((0, 1, 0),) * 3),
}


def by_elements(outline: Outline, cells: int) -> np.ndarray:
    """(t, 3): what is in the body over what it holds at 1, in all, weighted by the share of the length, and weighted by the height above the middle,
    in a held bath at 1; `cells` from face to face.
    """
    borders = np.array(outline.borders[0]) / outline.thickness[0]
    parts = [np.linspace(a, b, max(2, round(1.5 * cells * (b - a))) + 1)[1:] for a, b in pairwise(borders)]
    planes = np.concatenate([[0.0], *parts])
    x, y = np.linspace(*outline.at[::2], 3 * cells + 1), np.linspace(0.0, 1.0, cells + 1)
    mesh = MeshHex.init_tensor(x, y, planes)
    u, v, w = mesh.p
    thick, wide = (np.interp(u, outline.at, each) for each in (outline.thickness, outline.width))
    own = np.array(outline.tissues[0])[np.clip(np.searchsorted(borders, planes[:-1] + 1e-9) - 1, 0, None)]
    middles = mesh.p[2][mesh.t].mean(axis=0)
    tissue = own[np.clip(np.searchsorted(planes, middles) - 1, 0, len(own) - 1)]
    bent = MeshHex(np.stack([u, 0.5 * v * wide, (w - 0.5) * thick]), mesh.t)
    basis = Basis(bent, ElementHex1())
    led, held = (np.array(each)[tissue][:, None] for each in (LED, HELD))
    stiffness = BilinearForm(lambda a, b, p: led * dot(grad(a), grad(b))).assemble(basis)
    mass = BilinearForm(lambda a, b, p: held * a * b).assemble(basis)
    outside = FacetBasis(
        bent, ElementHex1(), facets=bent.facets_satisfying(lambda p: p[1] > 1e-9, boundaries_only=True)
    )
    film = BilinearForm(lambda a, b, p: FILM * a * b).assemble(outside)
    load = LinearForm(lambda b, p: FILM * b).assemble(outside)
    matrix, total = (stiffness + film).tocsc(), float(mass.sum())
    weights = np.stack([np.ones(mesh.p.shape[1]), bent.p[0] / AT[-1], bent.p[2]]) @ mass / total
    share = 1 - 1 / np.sqrt(2.0)  # two implicit stages of the second order that damp what is quick (Alexander 1977)
    found, state, begin = [], np.zeros(len(load)), 0.0
    for end, count in ((1e-3, 10), (TIMES[0], 19), (TIMES[1], 20), (TIMES[2], 28)):
        step = (end - begin) / count
        solver = sl.splu((mass + share * step * matrix).tocsc())
        for _ in range(count):
            first = solver.solve(load - matrix @ state)
            second = solver.solve(load - matrix @ (state + (1 - share) * step * first))
            state = state + step * ((1 - share) * first + share * second)
        begin = end
        found.append(weights @ state)
    return np.array(found[1:])


def by_terms(one_body, outline: Outline, fine: float = 1.0) -> np.ndarray:
    count = 1 + max(max(row) for row in outline.tissues)
    ratio, led = tuple(HELD[:count]), tuple(LED[:count])
    body = solid(outline, ratio, (led,), fine)
    network = one_body(body, ratio, led, np.inf, [FILM] * len(body.faces))
    terms = modes_of(network).at(np.eye(body.count + 1)[None, None, -1], TIMES[None, None])[0, 0, :, :-1]
    mass, points = np.array(ratio) @ body.grid.elements.volumes, body.grid.elements.points
    weights = np.stack([np.ones(len(mass)), points[:, 0] / AT[-1], points[:, 2]]) * mass / mass.sum()
    return terms @ body.values.T @ weights.T


@pytest.mark.parametrize("name", handful(BODIES, ["cap"]))
def test_it_comes_to_the_same(one_body, name):
    """Three meshes of the peer close in on our answer with the second power of their spacing, as trilinear elements do."""
    outline, meshes = BODIES[name], (4, 6, 8)
    ours, peer = by_terms(one_body, outline), [by_elements(outline, cells) for cells in meshes]
    led_to = peer[2] + (peer[2] - peer[1]) / ((meshes[2] / meshes[1]) ** 2 - 1)  # Richardson
    assert np.abs(led_to - ours).max() < 2e-3, (led_to, ours)
    gaps = [np.abs(each - ours)[-1].max() for each in peer]
    order = np.log(gaps[0] / gaps[1]) / np.log(meshes[1] / meshes[0])
    assert gaps[2] < gaps[1] < gaps[0] and 1.5 < order < 2.8, (gaps, order)
