"""Temperature against exact answers: series with surface resistance, worked examples, products for a brick, energy to rounding, straight-line baths."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import j0, j1

from curelab import Piece
from curelab.engine.cases import Cases
from curelab.engine.meat import meat_of
from curelab.engine.warmth import Warmth, leg
from curelab.sources import default_numbers, read_table

VALUES = read_table("analytic_values.csv")
EXAMPLES = [row for row in read_table("thermal.csv") if row["category"] == "worked example"]
HOUR = 3600.0


def body(thickness, shape="slab", conductivity=0.5, stored=3.6e6, cells=120, **more):
    """A piece of plain stuff, as heat sees it."""
    piece = Piece(thickness=float(thickness), weight=1.0, shape=shape, **more)
    meat = meat_of(piece, cells, False, Cases(default_numbers()))
    layers = len(meat.parts)
    return replace(
        meat,
        storage=np.full((1, layers), stored) * np.linspace(1, 0.6, layers),
        conductivity=np.full((1, layers), conductivity) * np.linspace(1, 0.4, layers),
    )


def warmed(meat, film, start, knots, bath):
    film, knots, bath = np.array([film]), np.array([knots], float), np.array([bath], float)
    return Warmth(meat, (leg(meat, film, start * meat.body.mean[None], knots, bath),))


def step(thickness, shape, conductivity, stored, film, start, bath, until):
    return warmed(body(thickness, shape, conductivity, stored), film, start, [0.0, until], [bath, bath])


def chart(kind):
    found = [row for row in VALUES if re.match(rf"{kind}, (surface resistance )?L=", row["case"])]
    assert found
    return found


SHAPES = {"plane sheet": "slab", "cylinder": "cylinder", "sphere": "sphere"}


@pytest.mark.parametrize("kind", SHAPES)
def test_charts_with_surface_resistance(kind):
    """Every row of analytic_values.csv with a Biot number: 15 digits of the series of Crank; ours on 120 cells."""
    length, conductivity, stored = 0.04, 0.5, 3.5e6
    worst = 0.0
    for row in chart(kind):
        biot, fourier = float(row["case"].split("L=")[1]), float(row["value_of_variable"])
        seconds = fourier * length**2 * stored / conductivity
        film = biot * conductivity / length
        one = step(2 * length, SHAPES[kind], conductivity, stored, film, 0.0, 1.0, 2 * seconds)
        at = np.array([[seconds]])
        found = {
            "Mt/Minf": one.mean(at), "unaccomplished centre": 1 - one.core(at), "unaccomplished surface": 1 - one.surface(at),
        }[row["quantity"]]  # fmt: skip
        worst = max(worst, abs(float(found[0, 0]) - float(row["value"])))
    assert worst < 3e-4  # of the whole step


def roots_of_slab(biot, count=60):
    return np.array(
        [brentq(lambda x: x * np.tan(x) - biot, n * np.pi + 1e-9, n * np.pi + np.pi / 2 - 1e-9) for n in range(count)]
    )


def slab_centre(fourier, biot):
    root = roots_of_slab(biot)
    return float((4 * np.sin(root) / (2 * root + np.sin(2 * root)) * np.exp(-(root**2) * fourier)).sum())


def test_steaks_and_carcass_of_a_textbook():
    """Cengel: exact series time printed in thermal.csv; steaks by their surface, a carcass (cylinder) by its middle."""
    steak = next(row for row in EXAMPLES if "steaks" in row["item"])
    exact = float(re.search(r"exact series t=([\d.]+) s", steak["value"])[1])
    one = step(0.02, "slab", 0.45, 0.45 / 0.91e-7, 9.0, 25.0, -11.0, 2 * exact)
    assert float(one.surface(np.array([[exact]]))[0, 0]) == pytest.approx(2.0, abs=0.01)
    carcass = next(row for row in EXAMPLES if "carcass" in row["item"] and "Cengel" in row["item"])
    exact = 3600 * float(re.search(r"exact series ([\d.]+) h", carcass["value"])[1])
    one = step(0.24, "cylinder", 0.47, 0.47 / 0.13e-6, 22.0, 37.0, -10.0, 2 * exact)
    assert float(one.core(np.array([[exact]]))[0, 0]) == pytest.approx(4.0, abs=0.02)
    assert float(one.surface(np.array([[exact]]))[0, 0]) == pytest.approx(-7.1, abs=0.06)


def test_a_brick_is_the_product_of_three_slabs():
    """Newman: what is left to do in the middle of a brick is the product of what is left in three slabs. A ham of 0.102 x 0.165 x 0.279 m from
    72 to 10 degC in air of -1 degC (inputs from a handbook; the time from the exact product, thermal.csv).
    """
    ham = next(row for row in EXAMPLES if "ham brick" in row["item"])
    exact = float(re.search(r"t=([\d.]+) s", ham["value"])[1])
    conductivity, stored, film = 0.379, 1080 * 3740.0, 48.0
    left, at = 1.0, np.array([[exact]])
    for side in (0.102, 0.165, 0.279):
        left *= float(1 - step(side, "slab", conductivity, stored, film, 0.0, 1.0, 2 * exact).core(at)[0, 0])
    assert -1 + 73 * left == pytest.approx(10.0, abs=0.01)
    series = np.prod(
        [
            slab_centre(conductivity / stored * exact / (side / 2) ** 2, film * side / 2 / conductivity)
            for side in (0.102, 0.165, 0.279)
        ]
    )
    assert left == pytest.approx(series, rel=3e-4)


@pytest.mark.parametrize("biot", [0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 100.0])
@pytest.mark.parametrize("shape", ["slab", "cylinder"])
def test_f_and_j(biot, shape):
    """f: time for a tenth of what is left; j: where the straight part of the curve begins. Roots: exact values of thermal.csv and Bessel functions."""
    row = next(
        row
        for row in read_table("thermal.csv")
        if row["category"] == "f-j method check" and row["item"] == f"Bi={biot:g}"
    )
    printed = {name: float(re.search(rf"{name}=[\d.]+ exact ([\d.]+)", row["value"])[1]) for name in "uv"}
    half, conductivity, stored = 0.05, 0.5, 3.6e6
    pace = conductivity / stored / half**2
    one = step(2 * half, shape, conductivity, stored, biot * conductivity / half, 1.0, 0.0, 60 / pace)
    late = np.array([[1.2, 1.8]]) / pace / (1 if biot >= 1 else biot)
    first, second = one.core(late)[0]
    rate = np.log(first / second) / (late[0, 1] - late[0, 0])
    root = np.sqrt(rate / pace)
    assert root == pytest.approx(printed["u" if shape == "slab" else "v"], rel=3e-4)
    if shape == "slab":
        j = 2 * np.sin(root) / (root + np.sin(root) * np.cos(root))
    else:
        j = 2 * j1(root) / root / (j0(root) ** 2 + j1(root) ** 2)
    assert first * np.exp(rate * late[0, 0]) == pytest.approx(j, rel=1e-3)


PROGRAM = ([0.0, 0.5 * HOUR, 2 * HOUR, 2.2 * HOUR, 6 * HOUR], [280.0, 350.0, 361.0, 280.0, 275.0])
BODIES = {
    "slab": lambda: body(0.08),
    "cylinder": lambda: body(0.1, "cylinder"),
    "sphere": lambda: body(0.1, "sphere"),
    "fat cap": lambda: body(0.08, fat_cap="1 cm"),
}


@pytest.mark.parametrize("name", BODIES)
def test_energy_balances(name):
    """What is stored more than at the start came in through the faces, mode by mode: to 1e-9 of what went through."""
    one = warmed(BODIES[name](), 30.0, 277.0, *PROGRAM)
    times = np.linspace(0, PROGRAM[0][-1], 50)[None]
    stored = one.stored(times)[0, :, 0]
    came = one.gained(times)[0]
    assert np.abs(stored - stored[0] - came).max() < 1e-9 * np.abs(came).max()


@pytest.mark.parametrize("name", BODIES)
def test_a_bath_of_straight_lines_is_exact_in_time(name):
    """The same network, marched by an ODE solver with a tight tolerance."""
    meat = BODIES[name]()
    one = warmed(meat, 30.0, 277.0, *PROGRAM)
    part, contact = meat.part, meat.contact(0, (np.array([30.0]),) * 3)
    matrix = (part.stiffness + contact.matrix)[0] / part.capacity[0][:, None]
    feed = contact.column[0] / part.capacity[0]
    now = 277.0 * meat.body.mean
    for begin, end in zip(PROGRAM[0], PROGRAM[0][1:], strict=False):
        found = solve_ivp(
            lambda t, y: -matrix @ y + feed * np.interp(t, *PROGRAM), (begin, end), now, method="Radau", rtol=1e-10, atol=1e-8,
            jac=-matrix,
        )  # fmt: skip
        now = found.y[:, -1]
        ours = one.ended(np.array([end]))[0]
        np.testing.assert_allclose(ours, now, atol=1e-6 * 277 * np.abs(meat.body.mean).max())


def test_what_is_read_is_smooth_over_a_knot():
    one = warmed(body(0.08), 30.0, 277.0, *PROGRAM)
    near = np.array(PROGRAM[0][1:-1])
    before, after = one.core(near[None] - 1e-3), one.core(near[None] + 1e-3)
    np.testing.assert_allclose(before, after, atol=1e-5)
