"""The series of curelab/proof/series.py against tables of 15-digit values and of printed roots, before anything is held against them."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.proof import series
from curelab.sources import read_table

VALUES = read_table("analytic_values.csv")
ROOTS = read_table("crank_roots.csv")
ALPHAS = (0.25, 1.0, 4.0, 9.0)
ELLS = (0.5, 1.0, 5.0, 10.0)
SHAPES = tuple(series.DIMENSION)
FO = (0.05, 0.1, 0.2, 0.5, 1.0)


def looked_up(case: str, quantity: str, fo: float) -> float:
    """The one row of the table."""
    found = [
        float(row["value"])
        for row in VALUES
        if row["case"] == case and row["quantity"].startswith(quantity) and row["value_of_variable"] == str(fo)
    ]
    assert len(found) == 1, (case, quantity, fo, len(found))
    return found[0]


@pytest.mark.parametrize("fo", FO)
@pytest.mark.parametrize("shape", SHAPES)
def test_constant_surface(shape, fo):
    name, exact = series.NAME[shape], series.constant(shape)
    size = "half-thickness l" if shape == "half slab" else "radius a"
    assert exact.uptake(fo) == pytest.approx(looked_up(f"{name} {size}, constant surface", "Mt/Minf", fo), rel=1e-13)
    assert exact.profile([0.0], fo)[0] == pytest.approx(looked_up(f"{name}, constant surface", "centre", fo), rel=1e-12)


@pytest.mark.parametrize("fo", FO)
@pytest.mark.parametrize("alpha", ALPHAS)
@pytest.mark.parametrize("shape", ["half slab", "cylinder"])
def test_limited_bath(shape, alpha, fo):
    case = f"{series.NAME[shape]}, stirred limited volume alpha={alpha:g}"
    assert series.limited(shape, alpha).uptake(fo) == pytest.approx(looked_up(case, "Mt/Minf", fo), rel=1e-13)


def test_limited_bath_of_a_sphere():
    """The anchor computed with mpmath at 30 digits beside the tables: alpha = 1, Fo = 0.1."""
    assert series.limited("sphere", 1.0).uptake(0.1) == pytest.approx(0.903916528586195, rel=1e-13)


@pytest.mark.parametrize("fo", FO)
@pytest.mark.parametrize("ell", ELLS)
@pytest.mark.parametrize("shape", SHAPES)
def test_surface_resistance(shape, ell, fo):
    name, exact = series.NAME[shape], series.resisted(shape, ell)
    assert exact.uptake(fo) == pytest.approx(
        looked_up(f"{name}, surface resistance L={ell:g}", "Mt/Minf", fo), rel=1e-12
    )
    centre = looked_up(f"{name}, L={ell:g}", "unaccomplished centre", fo)
    assert 1 - exact.profile([0.0], fo)[0] == pytest.approx(centre, rel=1e-12)
    if shape == "half slab":
        surface = looked_up(f"{name}, L={ell:g}", "unaccomplished surface", fo)
        assert 1 - exact.profile([1.0], fo)[0] == pytest.approx(surface, rel=1e-12)


@pytest.mark.parametrize(
    "exact",
    [series.constant(s) for s in SHAPES]
    + [series.limited(s, a) for s in SHAPES for a in ALPHAS]
    + [series.resisted(s, ell) for s in SHAPES for ell in ELLS],
)
def test_profile_adds_up_to_uptake(exact):
    """What the profile holds is what was taken up; it begins empty and ends full. (For a bath: over the final amount.)"""
    x, weight = np.polynomial.legendre.leggauss(60)
    x, weight = 0.5 * (x + 1), 0.5 * weight
    d = series.DIMENSION[exact.shape]
    fo = np.array([0.01, 0.05, 0.3, 1.0])
    assert exact.profile(x, fo) @ (weight * d * x ** (d - 1)) == pytest.approx(exact.uptake(fo), rel=1e-10)
    early = exact.profile(np.array([0.0, 0.3, 0.6]), np.array([2e-3]))
    assert np.abs(early).max() < 1e-7


@pytest.mark.parametrize(
    ("equation", "parameter", "roots"),
    [
        (
            f"{series.NAME[shape]}, stirred limited volume",
            alpha,
            series.limited(shape, {0.66666667: 2 / 3}.get(alpha, alpha)).q,
        )
        for shape in SHAPES
        for alpha in (0.25, 0.66666667, 1.0, 4.0, 9.0)
    ]
    + [
        (f"{series.NAME[shape]}, surface evaporation", ell, series.resisted(shape, ell).q)
        for shape in SHAPES
        for ell in ELLS
    ]
    + [("cylinder, constant surface", None, series.constant("cylinder").q)],
)
def test_roots_as_printed(equation, parameter, roots):
    """Printed roots: Watts 2007, Appendix A, which reprints the classical tables; a few last digits there are slips, hence 1e-4."""
    rows = [
        row
        for row in ROOTS
        if row["equation"].startswith(equation)
        and (parameter is None or np.isclose(float(row["parameter"].split()[0]), parameter, rtol=1e-7, atol=0))
    ]
    assert len(rows) >= 6
    for row in rows:
        mine = roots[int(row["n"]) - 1]
        assert mine == pytest.approx(float(row["root"]), rel=1e-7 if parameter == 0.66666667 else 1e-13)
        if row["printed_root"]:
            assert abs(mine - float(row["printed_root"])) < 1e-4  # roots are of order 1 to 30
