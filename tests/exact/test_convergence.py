"""How the error falls through the front door: inside and at the boundary apart, for every shape; and time adds none of its own.

The exact answers and their sources are in curelab/proof (Crank's series; composite media). tests/exact holds the same of the bare network.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curelab import Bath, Brine, Piece, Rest, simulate
from curelab.engine.run import QUANTITIES
from curelab.proof import convergence, crank, layered, meat, series
from curelab.proof.convergence import KINDS

DAY = 86400.0
SHAPES = tuple(meat.SHAPES)
FALLING = {(each.shape, each.where): each for shape in SHAPES for each in convergence.errors(shape)}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("where", ["middle", "inside", "taken up"])
def test_order_inside(shape, where):
    """Second order, and none better by luck: an order far above two would mean that two errors cancel here and not elsewhere."""
    orders = FALLING[shape, where].orders
    assert orders[-1] == pytest.approx(2.0, rel=0.03) and min(orders) > 1.85


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("where", ["outermost cell", "face"])
def test_order_at_the_boundary(shape, where):
    orders = FALLING[shape, where].orders
    assert orders[-1] == pytest.approx(2.0, rel=0.03) and min(orders) > 1.85


@pytest.mark.parametrize("shape", SHAPES)
def test_error_against_cells(shape):
    """What a choice of cells costs, bounded for every shape and place by 0.6 / cells^2 of the bath's level (the sphere's middle is worst)."""
    for falling in (each for (name, _), each in FALLING.items() if name == shape):
        for cells, error in zip(falling.cells, falling.errors, strict=True):
            assert error < 0.6 / cells**2
        assert falling.errors[falling.cells.index(60)] < 2e-4


@pytest.mark.parametrize("shape", SHAPES)
def test_order_in_a_bath_that_weakens(shape):
    """The whole case of the proof with 15, 30 and 60 cells: profile, middle and uptake over 40 times."""
    found = np.array([crank.limited_bath(shape, 1.0, cells).error for cells in (15, 30, 60)])
    assert np.log2(found[:-1] / found[1:]).min() > 1.85


def test_order_in_fat_on_lean():
    """In the lean and in the uptake; and in the fat, where the default number of cells is too small for a steep profile, also two."""
    falling = convergence.layered_errors()
    assert min(falling.orders) > 1.9
    stage = Brine(bath=Bath(water="4 kg", salt="0.2 kg"), temperature="3 degC", lasts="3 d", lying=False, running=True)
    exact = layered.two_layers(*_layers())
    inside = []
    for cells in (30, 60, 120):
        history = meat.run(stage, meat.BARE, cells, thickness=0.05, fat_cap=0.01)
        profile = history.profile("salt", np.array([3 * DAY]), basis="water phase")
        apart = meat.level(profile.values) / 0.05 - exact.profile(profile.depth, np.array([0.82e-9 * 3 * DAY]))
        inside.append(float(np.abs(apart[:, profile.depth < 0.01]).max()))
    assert np.log2(inside[0] / inside[1]) > 1.8 and np.log2(inside[1] / inside[2]) > 1.8
    assert inside[1] < 2e-3


def _layers():
    parts = layered.tissue("beef fat"), layered.tissue("lean beef")
    storage = tuple(part.density * part.water for part in parts)
    return (
        (0.01, 0.04),
        storage,
        tuple(held * layered.obstruction(part) for held, part in zip(storage, parts, strict=True)),
    )


# -- time ---------------------------------------------------------------------------------------------------------------------------

HISTORIES = {
    (kind, shape): meat.run(stages(), 1e-6, 12, shape=shape) for kind, stages in KINDS.items() for shape in SHAPES
}


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    which=st.sampled_from(sorted(HISTORIES)),
    one=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=6),
    other=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=40),
)
def test_any_two_grids_of_times_agree(which, one, other):
    """Values at times that are on both grids are the same to rounding, whatever else is asked for, in whatever order."""
    history = HISTORIES[which]
    few, many = np.array(one) * history.length, np.array([*other, *one]) * history.length
    for quantity in QUANTITIES:
        expected = history.profile(quantity, few).values
        among = history.profile(quantity, many).values[len(other) :]
        top = history.profile(quantity, history.times).values.max()
        np.testing.assert_allclose(among, expected, rtol=0, atol=1e-13 * top + 1e-30)
        for place in ("core", "average", "surface"):
            np.testing.assert_allclose(
                history.at(place, quantity, many)[len(other) :],
                history.at(place, quantity, few),
                rtol=0,
                atol=1e-13 * top + 1e-30,
            )


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    shape=st.sampled_from(sorted(meat.SHAPES.values())),
    cut=st.floats(0.05, 0.95),
    quantity=st.sampled_from(["salt", "free nitrite"]),
)
def test_a_rest_may_be_cut_anywhere(shape, cut, quantity):
    """One rest of 6 days, or two that add up to it: leaving and entering a stage costs nothing."""
    piece = Piece(shape=shape, thickness="6 cm", weight="1.5 kg")
    brine = Brine(
        bath=Bath(water="2 kg", salt="100 g", nitrite="0.4 g"), temperature="3 degC", lasts="2 d", lying=False
    )
    parts = [Rest(temperature="3 degC", lasts=share * 6 * DAY) for share in (cut, 1 - cut)]
    one = simulate(piece, [brine, Rest(temperature="3 degC", lasts="6 d")], cells=12)
    two = simulate(piece, [brine, *parts], cells=12)
    times = np.linspace(0.05, 1.0, 11) * one.length
    expected = one.profile(quantity, times).values
    np.testing.assert_allclose(two.profile(quantity, times).values, expected, rtol=1e-9, atol=1e-12 * expected.max())


def test_an_integrator_in_time_does_have_steps():
    """That time costs nothing is a claim about this library, not about diffusion: one implicit Euler step of ten days is off by more than a tenth."""
    stage = Brine(bath=Bath(water="4 kg", salt="0.2 kg"), temperature="3 degC", lasts="10 d", lying=False, running=True)
    history = meat.run(stage, meat.BARE, 60)
    run = history.state.runs[0]
    body, film = run.meats[0], history.cases.film("still")
    contact = body.contact(0, (film, film, film))
    laplacian = (body.part.stiffness + contact.matrix)[0]
    clock = meat.salt_diffusivity() / 0.33 * 10 * DAY
    left = np.diag(body.capacity[0]) + clock * laplacian
    step = body.spots.rows[0] @ np.linalg.solve(left, clock * contact.column[0] * run.start("salt")[0, -1])
    fo = np.array([meat.salt_diffusivity() * 10 * DAY / meat.HALF**2])
    exact = 0.05 * series.constant("half slab").profile(np.zeros(1), fo)[0, 0]
    ours = meat.middle(history, np.array([10 * DAY]))[0]
    assert abs(ours / exact - 1) < 1e-3 < 1e-1 < abs(step[0] / exact - 1)
