"""Heat against solvers that share nothing with it: finite elements in a brick, and properties that follow every temperature."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.sparse import diags_array
from scipy.sparse.linalg import splu

from curelab import Piece, simulate
from curelab.engine.cases import Cases
from curelab.engine.meat import meat_of
from curelab.engine.warmth import Warmth, leg
from curelab.matter import heat as air
from curelab.matter.heat import thermal
from curelab.matter.tissue import tissue
from curelab.recipe.stages import BagCook, Chill, Oven, Reheat, Simmer
from curelab.sources import default_numbers

HOUR, ZERO = 3600.0, 273.15
SIDES, CONDUCTIVITY, STORED, FILM = (0.06, 0.10, 0.14), 0.48, 3.7e6, 60.0
TIMES = np.array([0.5, 1.0, 2.0, 4.0]) * HOUR


def brick_by_elements() -> np.ndarray:
    """What is left of a step in the middle of a brick at TIMES: scikit-fem on an eighth of it, marched by the second-order L-stable
    two-stage SDIRK.
    """
    from skfem import Basis, BilinearForm, ElementHex2, FacetBasis, MeshHex
    from skfem.helpers import dot, grad

    mesh = MeshHex.init_tensor(*(np.linspace(0, side / 2, 6) for side in SIDES))
    basis = Basis(mesh, ElementHex2())
    stiff = BilinearForm(lambda u, v, w: CONDUCTIVITY * dot(grad(u), grad(v))).assemble(basis)
    mass = BilinearForm(lambda u, v, w: STORED * u * v).assemble(basis).tocsc()
    for axis, side in enumerate(SIDES):
        facets = mesh.facets_satisfying(
            lambda x, axis=axis, side=side: np.isclose(x[axis], side / 2), boundaries_only=True
        )
        stiff = stiff + BilinearForm(lambda u, v, w: FILM * u * v).assemble(
            FacetBasis(mesh, ElementHex2(), facets=facets)
        )
    stiff, step, share = stiff.tocsc(), 60.0, 1 - np.sqrt(0.5)
    solve = splu((mass + share * step * stiff).tocsc()).solve
    now, left, found = np.ones(basis.N), 0.0, []
    middle = int(np.argmin(np.abs(basis.doflocs).sum(axis=0)))
    for time in TIMES:
        while left < time - 1e-6:
            first = solve(-(stiff @ now))
            second = solve(-(stiff @ (now + (1 - share) * step * first)))
            now = now + step * ((1 - share) * first + share * second)
            left += step
        found.append(now[middle])
    return np.array(found)


def test_a_brick_against_finite_elements():
    """A chill of a brick of 6 x 10 x 14 cm: our product of three slabs, and elements in three dimensions."""
    product = np.ones(len(TIMES))
    for side in SIDES:
        meat = meat_of(Piece(thickness=side, weight=1.0), 60, False, Cases(default_numbers()))
        meat = replace(meat, storage=np.array([[STORED]]), conductivity=np.array([[CONDUCTIVITY]]))
        knots, bath = np.array([[0.0, 5 * HOUR]]), np.zeros((1, 2))
        one = Warmth(meat, (leg(meat, np.array([FILM]), meat.body.mean[None], knots, bath),))
        product *= one.core(TIMES[None])[0]
    expected = brick_by_elements()
    np.testing.assert_allclose(product, expected, rtol=2e-3)
    block = Piece(shape="block", thickness=SIDES[0], width=SIDES[1], length=SIDES[2], weight=0.9)
    for few in (False, True):  # as the usual case and as draws carry it
        meat = meat_of(block, 60, few, Cases(default_numbers()))
        meat = replace(meat, storage=np.array([[STORED]]), conductivity=np.array([[CONDUCTIVITY]]))
        one = Warmth(meat, (leg(meat, np.array([FILM]), meat.body.mean[None], knots, bath),))
        np.testing.assert_allclose(one.core(TIMES[None])[0], expected, rtol=4e-3)
        stored, came = one.stored(TIMES[None])[0, :, 0], one.gained(TIMES[None])[0]
        assert np.abs(stored - meat.total[0] @ meat.body.mean - came).max() < 1e-9 * stored[0]


def nonlinear(piece: Piece, setting: str, start: float, program, times: np.ndarray, count: int = 80) -> np.ndarray:
    """K in the middle at times: finite volumes with conductivity and heat at the temperature of every cell, marched by BDF."""
    grid = np.linspace(-6, 125, 400) + ZERO
    led, stored = thermal(tissue(piece.tissue), grid)
    film, power = default_numbers().si(f"heat.film.{setting}"), {"slab": 0, "cylinder": 1}[piece.shape]
    edges = piece.thickness / 2 * np.sin(np.linspace(0, np.pi / 2, count + 1))
    area, volume, centre = edges**power, np.diff(edges ** (power + 1)) / (power + 1), 0.5 * (edges[1:] + edges[:-1])

    def slope(time, now):
        k, c = np.interp(now, grid, led), np.interp(now, grid, stored)
        flow = np.zeros(count + 1)
        between = (edges[1:-1] - centre[:-1]) / k[:-1] + (centre[1:] - edges[1:-1]) / k[1:]
        flow[1:-1] = area[1:-1] * (now[:-1] - now[1:]) / between
        outside = (edges[-1] - centre[-1]) / k[-1] + 1 / film
        flow[-1] = area[-1] * (now[-1] - np.interp(time, *program)) / outside
        return (flow[:-1] - flow[1:]) / (volume * c)

    near = diags_array([np.ones(count - 1), np.ones(count), np.ones(count - 1)], offsets=[-1, 0, 1])
    found = solve_ivp(
        slope, (0, times[-1]), np.full(count, start), method="BDF", rtol=1e-7, atol=1e-6, t_eval=times, jac_sparsity=near, max_step=600
    )  # fmt: skip
    first, second = found.y[:2]
    return first + (first - second) * centre[0] ** 2 / (centre[1] ** 2 - centre[0] ** 2)


RAMP = [["0 h", "20 degC"], ["1 h", "88 degC"]]
STEPS = {
    "simmer": ("slab", 0.07, Simmer(water="6 kg", temperature="88 degC", lasts="8 h", begins_at="3 degC"), "simmer", (3.0,)),
    "ramp": ("cylinder", 0.10, Simmer(water="6 kg", temperature=RAMP, lasts="8 h", begins_at="3 degC"), "simmer", (3.0,)),
    "bag": ("slab", 0.05, BagCook(temperature="64 degC", lasts="6 h", begins_at="5 degC"), "bag_in_water", (5.0,)),
    "oven": ("cylinder", 0.08, Reheat(medium="oven air", temperature="100 degC", lasts="9 h", begins_at="5 degC"), "oven", (5.0,)),
    "ice": ("cylinder", 0.12, Chill(medium="ice water", temperature="1 degC", lasts="10 h", begins_at="75 degC"), "ice_water", (75.0,)),
    "fridge": ("slab", 0.06, Chill(medium="fridge air", temperature="3 degC", lasts="20 h", begins_at="72 degC"), "fridge_air", (72.0,)),
}  # fmt: skip


@pytest.mark.parametrize("name", STEPS)
def test_properties_at_one_temperature(name):
    """Against properties that follow every temperature: 4 % on the times to 80 and 90 % of a step, 3 K at most in the middle."""
    shape, thick, stage, setting, (start,) = STEPS[name]
    piece = Piece(thickness=thick, weight=1.5, shape=shape)
    log = stage.temperature
    program = tuple(np.array(each) for each in zip(*log, strict=True))
    times = np.linspace(0, stage.lasts, 160)[1:]
    expected = nonlinear(piece, setting, start + ZERO, program, times)
    ours = simulate(piece, stage).temperature(times, "core")
    assert np.abs(ours - expected).max() < 3.0
    end, sign = program[1][-1], np.sign(program[1][-1] - start - ZERO)
    for left in (0.2, 0.1):
        goal = end + (start + ZERO - end) * left
        when = [np.interp(sign * goal, sign * each, times) for each in (expected, ours)]
        assert when[1] == pytest.approx(when[0], rel=0.04)


@pytest.mark.parametrize(("hot", "humid"), [(95.0, 0.1), (160.0, 0.02)])
def test_a_wet_skin_against_evaporation_that_follows_it(hot, humid):
    """Ours takes a secant to where the skin settles; here vapour leaves by the pressure over the skin as it is, in the same slab. The middle is
    met to 2 K, the outside to 3 K after the first half hour, the vapour to a tenth.
    """
    piece = Piece(thickness=0.06, weight=1.5)
    stage = Oven(temperature=hot + ZERO, humidity=humid, lasts="4 h", begins_at="5 degC")
    numbers = default_numbers().with_values({"heat.wet_skin": 90.0})
    history = simulate(piece, stage, numbers=numbers)
    one = history.runs[0].heat.through[0].warmth
    (led,), (stored,), count = one.meat.conductivity[0], one.meat.storage[0], 80
    film = numbers.si("heat.film.oven")
    bare = 1 - (1 - numbers.si("heat.radiant")) * numbers.si("heat.wetness")
    held = float(air.moisture_of(hot + ZERO, humidity=humid))
    edges = 0.03 * np.sin(np.linspace(0, np.pi / 2, count + 1))
    volume, centre = np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
    half = (edges[-1] - centre[-1]) / led

    def brought(skin):
        return film * (hot + ZERO - skin - air.cooling(skin, held, bare))

    def skin_at(inside):
        low, high = 270.0, hot + ZERO
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if brought(middle) > (middle - inside) / half else (low, middle)
        return 0.5 * (low + high)

    def slope(_time, now):
        flow = np.zeros(count + 1)
        flow[1:-1] = led * (now[:-1] - now[1:]) / np.diff(centre)
        flow[-1] = -brought(skin_at(now[-1]))
        return (flow[:-1] - flow[1:]) / (volume * stored)

    times = np.linspace(0, 4 * HOUR, 49)
    near = diags_array([np.ones(count - 1), np.ones(count), np.ones(count - 1)], offsets=[-1, 0, 1])
    found = solve_ivp(slope, (0, times[-1]), np.full(count, 5 + ZERO), method="BDF", rtol=1e-6, atol=1e-4, t_eval=times, jac_sparsity=near)  # fmt: skip
    skin = np.array([skin_at(each) for each in found.y[-1]])
    assert np.abs(history.temperature(times, "core") - found.y[0]).max() < 2.0
    assert np.abs(history.temperature(times, "surface") - skin)[6:].max() < 3.0
    flow = np.maximum(film * air.cooling(skin, held, bare) / air.latent(skin), 0.0)
    expected = 0.5 * (np.diff(times) * (flow[1:] + flow[:-1])).sum() * 2 * float(one.meat.amount[0] / one.meat.size[0])
    heat = history.runs[0].heat
    vapour = heat.at(heat.through[0].vapour, times[None, -1:])[0, 0] * piece.weight
    assert vapour == pytest.approx(expected, rel=0.1)
