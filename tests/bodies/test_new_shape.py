"""A shape that the library does not know, a pipe, made here from its cells alone: it moves on the network as any other body does."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j0, y0

from curelab.bodies import Body, layered, of_cells
from curelab.bodies.cells import Cells, graded
from curelab.transport.modes import modes_of

INNER, OUTER = 1.0, 2.0
LINING = 1.1  # where a lining of another tissue ends


def pipe(counts=(60,), terms=None, points=None, tissues=(0,)) -> Body:
    """A pipe of unit length; the first face is the inner one."""
    borders = (INNER, OUTER) if len(counts) == 1 else (INNER, LINING, OUTER)
    parts = [
        low + (high - low) * graded(count)[1:] for low, high, count in zip(borders, borders[1:], counts, strict=False)
    ]
    edges = np.concatenate([[INNER], *parts])
    centres, across = 0.5 * (edges[1:] + edges[:-1]), 2 * np.pi * edges
    cells = Cells(
        edges, centres, np.pi * np.diff(edges**2), (edges[1:] - centres) / across[1:], (centres - edges[:-1]) / across[:-1],
        across[[0, -1]], np.repeat(np.arange(len(counts)), counts),
    )  # fmt: skip
    return of_cells(cells, tissues, terms, points)


def test_its_geometry_is_that_of_a_pipe():
    body = pipe()
    assert body.volumes[0] == pytest.approx(np.pi * (OUTER**2 - INNER**2), rel=1e-12)
    assert [face.area for face in body.faces] == pytest.approx([2 * np.pi * INNER, 2 * np.pi * OUTER], rel=1e-12)
    assert body.two_sided and body.sign is None
    assert body.depth[0] == 0.0 and body.depth[-1] == 1.0 and np.all(np.diff(body.depth[1:-1]) > 0)


@pytest.mark.parametrize("terms", [None, [14]])
def test_the_last_of_it_goes_at_the_pace_of_bessel(one_body, terms):
    """Both faces at the level of the bath: the slowest rate is the square of the first root of J0(x a) Y0(x b) = J0(x b) Y0(x a)."""
    network = one_body(pipe(terms=terms), [1.0], [1.0], np.inf, [np.inf, np.inf])
    root = brentq(lambda x: j0(x * INNER) * y0(x * OUTER) - j0(x * OUTER) * y0(x * INNER), 2.5, 3.5, xtol=1e-13)
    assert root == pytest.approx(3.12303, rel=1e-6)  # Abramowitz and Stegun, Table 9.7, for a ratio of two
    assert modes_of(network).slowest[0] == pytest.approx(root**2, rel=1e-3)


def test_steady_flow_is_the_logarithm(one_body):
    """From the inner face to the outer: the resistance of a pipe is ln(b / a) / (2 pi)."""
    body = pipe((240,))
    first = body.faces[0]
    inside = one_body(body, [1.0], [1.0], np.inf, [0.0, np.inf]).laplacian[0, :-1, :-1]
    levels = np.linalg.solve(inside, first.row)
    assert first.row @ levels + first.resistance == pytest.approx(np.log(OUTER / INNER) / (2 * np.pi), rel=1e-4)


@pytest.mark.parametrize("terms", [None, [6, 14]])
@pytest.mark.parametrize("films", [(np.inf, np.inf), (0.0, 3.0), (2.0, np.inf)])
@pytest.mark.parametrize("bath", [0.7, 20.0])
def test_with_a_lining_nothing_is_lost_and_all_ends_level(one_body, terms, films, bath):
    body = pipe((30, 60), terms, tissues=(1, 0))
    network = one_body(body, [1.0, 0.3], [1.0, 0.02], bath, films)
    start = np.eye(body.count + 1)[None, None, -1]
    clock = np.concatenate([[0.0], np.geomspace(1e-6, 1e4, 40)])
    states = modes_of(network).at(start, clock[None, None])[0, 0]
    stored = states @ (network.capacity[0] * network.equilibrium)
    np.testing.assert_allclose(stored, bath, rtol=1e-12)
    level = bath / (bath + 1.0 * body.volumes[0] + 0.3 * body.volumes[1])
    np.testing.assert_allclose(states[-1, :-1] @ body.rows.T, level, rtol=1e-9)
    assert states[-1, -1] == pytest.approx(level, rel=1e-9)
    held = states[:, :-1] @ (network.capacity[0, :-1] * body.mean)
    assert np.all(np.diff(held) > -1e-12 * bath) and held[15] > 0


def test_its_core_lies_where_both_faces_reach_it_alike():
    """Of two bare faces with the same resistance on either side: at the geometric mean of the radii."""
    body = pipe((240,))
    core = body.core(np.ones((1, 1)), np.array([True]))[0]
    radius = INNER + (OUTER - INNER) * body.depth[1:-1]
    place = core @ np.linalg.solve(body.rows[1:-1], radius)
    assert place == pytest.approx(np.sqrt(INNER * OUTER), rel=1e-4)


def test_half_a_slab_is_half_of_one(one_body):
    """From the middle outwards, where nothing crosses: the same as the whole slab between two like faces, at any time."""
    half, whole = layered((0.5,), (0,), "half slab", counts=(40,)), layered((1.0,), counts=(80,))
    clock = np.geomspace(1e-4, 1.0, 12)[None, None]
    ends = []
    for body, films, bath in ((half, [4.0], 0.4), (whole, [4.0, 4.0], 0.8)):
        network = one_body(body, [1.0], [1.0], bath, films)
        states = modes_of(network).at(np.eye(body.count + 1)[None, None, -1], clock)[0, 0]
        ends.append((states[:, -1], states[:, :-1] @ body.core(np.ones((1, 1)), np.array([True]))[0]))
        stored = states @ (network.capacity[0] * network.equilibrium)
        np.testing.assert_allclose(stored, bath, rtol=1e-12)
    np.testing.assert_allclose(ends[0][0], ends[1][0], rtol=1e-4)
    np.testing.assert_allclose(ends[0][1], ends[1][1], rtol=2e-3, atol=1e-4 * ends[1][1].max())
