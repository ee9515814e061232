"""Bricks and cylinders with ends, against products of Crank's series: along each direction a body of its own (Crank 1975, section 2.5, the
product of plane sheets; Newman, Transactions of the American Institute of Chemical Engineers 27, 1931; from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from curelab.bodies import solid
from curelab.bodies.outline import block, cylinder
from curelab.proof import series
from curelab.transport.modes import modes_of

FILM = 12.0  # conductance per area over conductivity, in units of the thickness
WIDTH, LENGTH = 1.6, 2.5
FO = np.array([0.01, 0.03, 0.1, 0.3])  # of the thickness


def sheet(thickness: float, times: np.ndarray, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What is still missing: (on average (t,), at places (t, x) from the middle) of a plane sheet behind a film."""
    half = 0.5 * thickness
    exact = series.resisted("half slab", FILM * half)
    return 1 - exact.uptake(times / half**2), 1 - exact.profile(places / half, times / half**2)


def carried(one_body, body, bath: float = np.inf) -> tuple[np.ndarray, np.ndarray]:
    """(on average (t,), terms (t, r)) from nothing, in a bath at 1 behind a film on every open face."""
    network = one_body(body, [1.0], [1.0], bath, [FILM] * len(body.faces))
    terms = modes_of(network).at(np.eye(body.count + 1)[None, None, -1], FO[None, None])[0, 0, :, :-1]
    return terms @ body.mean / body.volumes.sum(), terms


def at(body, terms, along: float, across: float, depth: float) -> np.ndarray:
    return terms @ body.at(along, across, depth)[0]


def test_a_brick(one_body):
    body = solid(block(WIDTH, LENGTH))
    average, terms = carried(one_body, body)
    missing = [sheet(size, FO, np.array([0.0, 0.25 * size])) for size in (1.0, WIDTH, LENGTH)]
    np.testing.assert_allclose(average, 1 - np.prod([mean for mean, _ in missing], axis=0), rtol=0, atol=5e-4)
    for place, (along, across, depth) in (
        ((0, 0, 0), (0.5, 0.0, 0.5)),
        ((1, 1, 1), (0.75, 0.5, 0.25)),
        ((1, 0, 1), (0.25, 0.0, 0.75)),
    ):
        exact = 1 - np.prod([each[:, n] for (_, each), n in zip(missing, place, strict=True)], axis=0)
        off = np.abs(at(body, terms, along, across, depth) - exact)
        assert off[0] < 1.2e-2 and off[1:].max() < 4e-3, off  # where salt is just arriving a dozen nodes are few
    spots = body.spots(np.ones((1, 1)), np.array([True]))
    core = spots.value(terms @ spots.rows.T)
    middle = 1 - np.prod([each[:, 0] for _, each in missing], axis=0)
    np.testing.assert_allclose(np.maximum(core, 0.0), middle, rtol=0, atol=2e-3)
    assert middle[0] < 0.01 and middle[-1] > 0.5  # the times say something


def test_a_cylinder_with_ends(one_body):
    body = solid(cylinder(LENGTH))
    average, terms = carried(one_body, body)
    ends, middle = sheet(LENGTH, FO, np.array([0.0]))
    round_ = series.resisted("cylinder", FILM * 0.5)
    np.testing.assert_allclose(average, 1 - ends * (1 - round_.uptake(FO / 0.25)), rtol=1e-3)
    exact = 1 - middle[:, 0] * (1 - round_.profile(np.array([0.0]), FO / 0.25)[:, 0])
    np.testing.assert_allclose(at(body, terms, 0.5, 0.0, 0.5), exact, rtol=0, atol=1e-3)


@pytest.mark.parametrize(
    "closed",
    [("left", "right", "head", "tail"), ("first", "second", "left", "right"), ("first", "second", "head", "tail")],
)
def test_closed_on_four_sides_it_is_a_sheet(one_body, closed):
    """Whichever pair of faces is open."""
    body = solid(block(WIDTH, LENGTH, closed))
    size = {"first": LENGTH if "left" in closed else WIDTH, "left": 1.0}[closed[0]]
    missing, _ = sheet(size, FO, np.array([0.0]))
    np.testing.assert_allclose(carried(one_body, body)[0], 1 - missing, rtol=2e-3)


def test_the_error_falls_with_the_fourth_power_of_the_spacing(one_body):
    """The elements apart from the terms: the slowest pace of a brick on three grids, against roots of Crank's equation."""
    import scipy.sparse.linalg as sl

    from curelab.bodies.outline import grid
    from curelab.bodies.solid import problem

    exact = sum(
        (series.resisted("half slab", FILM * 0.5 * size).q[0] / (0.5 * size)) ** 2 for size in (1.0, WIDTH, LENGTH)
    )
    off = []
    for fine in (0.5, 1.0, 1.5):
        posed = problem(grid(block(WIDTH, LENGTH), fine), (1.0,), ((1.0,),))
        root = 1 / np.sqrt(posed.mass)
        solve = posed.solver(0.0, posed.film((FILM,) * 3))
        inverse = sl.LinearOperator((len(root),) * 2, matvec=lambda x: solve((x / root)[:, None])[:, 0] / root)  # noqa: B023
        off.append(float(1 / sl.eigsh(inverse, 1, return_eigenvectors=False)[0] / exact - 1))
    steps = [np.log(abs(a / b)) / np.log(ratio) for a, b, ratio in zip(off, off[1:], (2.0, 1.5), strict=False)]
    assert abs(off[1]) < 3e-4 and min(steps) > 3.3, (off, steps)


def test_a_limited_bath(one_body):
    """The same equations of all nodes, marched by scipy: brick and bath share what there is."""
    from scipy.integrate import solve_ivp

    from curelab.bodies.outline import grid
    from curelab.bodies.solid import problem

    bath, outline, fine = 3.0, block(WIDTH, LENGTH), 0.5
    posed = problem(grid(outline, fine), (1.0,), ((1.0,),))
    area = FILM * (posed.first + posed.second + posed.rest)
    stiffness = posed.stiffness[0]

    def rate(_, w):
        flow = area * (w[-1] - w[:-1])
        return np.append((flow - stiffness @ w[:-1]) / posed.mass, -flow.sum() / bath)

    start = np.append(np.zeros(len(area)), 1.0)
    path = solve_ivp(rate, (0, FO[-1]), start, "LSODA", FO, rtol=1e-6, atol=1e-8).y.T
    average, _ = carried(one_body, solid(outline, fine=fine), bath)
    np.testing.assert_allclose(average, path[:, :-1] @ posed.mass / posed.mass.sum(), rtol=1e-4)
