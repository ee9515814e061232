"""How long an answer takes, and against what. A script, not a test: `python tests/speed/bench_forward.py`.

(a) three solutes, 60 cells, 200 output times; goal 2 ms.
(b) a half slab in a stirred bath as large as itself, against a stiff integrator that is given the same network as a sparse Jacobian;
    errors of both against Crank's series (2nd ed., eq. 4.36; equation number from memory). Most of either error is that of the
    cells; the last comparison is on the error in time alone, of which the modes have none.
(c) `import curelab` beyond its numpy and scipy.linalg; goal 0.15 s.
Timings are medians on one thread; they depend on the machine, so compare the ratios.
"""

from __future__ import annotations

import os

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = os.environ["MKL_NUM_THREADS"] = "1"

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from curelab.bodies.chain import Layer, build
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.sparse import csc_array

from curelab import Bath, Brine, Piece, simulate
from curelab.transport.modes import modes_of
from curelab.transport.network import Contact, Network, assemble

CELLS = 60
RATIOS = np.array([1.0, 1.2, 0.4])  # three solutes on one network
FO = np.linspace(0.3 / 200, 0.3, 200)
AFTER_START = 0.015  # errors count after the first 5 % of the run, as everywhere in tests/exact


def median_ms(call: Callable[[], object], repeats: int = 51) -> float:
    call()
    spent = []
    for _ in range(repeats):
        modes_of.cache_clear()  # every run solves its eigenproblem anew
        begin = time.perf_counter()
        call()
        spent.append(time.perf_counter() - begin)
    return 1e3 * statistics.median(spent)


# -- (a) ---------------------------------------------------------------------------------------------------------------------------


def stirred_bath() -> tuple[Network, np.ndarray]:
    """Half slab, bath of the same storage (alpha = 1), all ends at 1."""
    chain = build([Layer(1.0, 1.0, 1.0, CELLS)], "half slab")
    start = np.zeros(CELLS + 1)
    start[-1] = 2.0
    return assemble([chain], [1.0], [Contact(0, 1, 0, np.inf)]), start


def by_modes(solutes: int) -> np.ndarray:
    """(s, t, n), network and eigenproblem included."""
    network, start = stirred_bath()
    return modes_of(network).at(np.tile(start, (solutes, 1)), RATIOS[:solutes, None] * FO)


def batch() -> tuple[Piece, Brine, np.ndarray]:
    bath = Bath(water="2 kg", salt="90 g", nitrite="0.3 g")
    cure = Brine(bath=bath, temperature="3 degC", lasts="10 d", lying=False)
    return Piece(thickness="8 cm", weight="2 kg"), cure, np.linspace(0, 10 * 86400.0, 200)


def by_simulate(piece: Piece, cure: Brine, times: np.ndarray) -> list[np.ndarray]:
    """From pieces and stages to every cell of salt, nitrite and free nitrite at every time."""
    run = simulate(piece, cure).runs[0]
    return [run.states(name, times) for name in ("salt", "nitrite", "free nitrite")]


# -- (b) ---------------------------------------------------------------------------------------------------------------------------


def exact(x: np.ndarray, fo: np.ndarray, alpha: float = 1.0) -> np.ndarray:
    """(t, x) of the plane sheet in a stirred bath, over the final level."""
    gaps = [((k - 0.5) * np.pi, k * np.pi) for k in range(1, 121)]
    q = np.array([brentq(lambda u: np.sin(u) + alpha * u * np.cos(u), *gap, xtol=1e-15, rtol=1e-15) for gap in gaps])
    amplitude = 2 * (1 + alpha) / ((1 + alpha + alpha**2 * q**2) * np.cos(q))
    return 1 + (np.exp(-np.multiply.outer(fo, q**2)) * amplitude) @ np.cos(np.multiply.outer(q, x))


def by_integrator(solutes: int, rtol: float) -> np.ndarray:
    """The same network and times; BDF with its exact sparse Jacobian, all solutes in one system."""
    network, start = stirred_bath()
    one = -network.laplacian() / network.capacity[:, None]
    size = len(start)
    matrix = np.zeros((solutes * size, solutes * size))
    for number in range(solutes):
        part = slice(number * size, (number + 1) * size)
        matrix[part, part] = RATIOS[number] * one
    jacobian = csc_array(matrix)
    path = solve_ivp(
        lambda _, w: jacobian @ w, (0, FO[-1]), np.tile(start, solutes), "BDF", FO, rtol=rtol, atol=rtol, jac=jacobian
    )
    return path.y.T.reshape(len(FO), solutes, size).swapaxes(0, 1)


def worst(states: np.ndarray, reference: list[np.ndarray]) -> float:
    """Largest error over the driving force (2), after the start, in any solute."""
    late = FO >= AFTER_START
    return max(
        float(np.abs(w[late, :-1] - answer[late]).max()) / 2 for w, answer in zip(states, reference, strict=True)
    )


def chosen_tolerance(error: Callable[[float], float], most: float) -> float:
    """The loosest tolerance of a ladder with which BDF errs by at most `most`, so that it does no more work than it must."""
    for rtol in (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10):
        if error(rtol) <= most:
            return rtol
    raise ArithmeticError(f"BDF never came within {most:.1e}")


# -- (c) ---------------------------------------------------------------------------------------------------------------------------


def import_seconds(code: str, repeats: int = 7) -> float:
    timed = f"import time; b = time.perf_counter(); {code}; print(time.perf_counter() - b)"
    root = Path(__file__).resolve().parents[2]
    return statistics.median(
        float(
            subprocess.run([sys.executable, "-c", timed], cwd=root, capture_output=True, text=True, check=True).stdout
        )
        for _ in range(repeats)
    )


def main() -> None:
    rows: list[tuple[str, str, str]] = []
    piece, cure, times = batch()
    rows.append(("transport, 3 solutes, 60 cells, 200 times", f"{median_ms(lambda: by_modes(3)):.2f} ms", "2 ms"))
    rows.append(("simulate alone, same", f"{median_ms(lambda: simulate(piece, cure)):.2f} ms", ""))
    rows.append(
        ("simulate and all states at 200 times", f"{median_ms(lambda: by_simulate(piece, cure, times)):.2f} ms", "2 ms")
    )

    centres = build([Layer(1.0, 1.0, 1.0, CELLS)], "half slab").centres
    for solutes in (1, 3):
        reference = [exact(centres, ratio * FO) for ratio in RATIOS[:solutes]]
        network = list(
            by_modes(solutes)[:, :, :-1]
        )  # itself exact in time: what is left is the error of the integrator
        ours, mine = worst(by_modes(solutes), reference), median_ms(lambda n=solutes: by_modes(n))
        rows.append((f"stirred bath, {solutes} solute(s): modes", f"{mine:.2f} ms", f"error {ours:.1e}"))
        for label, answer, most in (
            ("at most twice our error", reference, 2 * ours),
            ("at most 1.02 of our error", reference, 1.02 * ours),
            ("error in time at most 1e-8", network, 1e-8),
        ):
            rtol = chosen_tolerance(lambda r, n=solutes, a=answer: worst(by_integrator(n, r), a), most)
            error = worst(by_integrator(solutes, rtol), answer)
            spent = median_ms(lambda n=solutes, r=rtol: by_integrator(n, r), 7)
            rows.append(
                (f"  BDF, {label}, rtol {rtol:g}", f"{spent:.1f} ms", f"error {error:.1e}, {spent / mine:.0f} x")
            )

    base = import_seconds("import numpy, scipy.linalg")
    rows.append(("import numpy, scipy.linalg", f"{base:.3f} s", ""))
    bare, ours = import_seconds("import numpy"), import_seconds("import curelab")
    rows.append(("import curelab, beyond that", f"{ours - base:.3f} s", "0.15 s; below zero: it needs no scipy.linalg"))
    rows.append(("import curelab, beyond numpy alone", f"{ours - bare:.3f} s", ""))
    print(f"{'':54}{'measured':>12}   goal or error")
    for what, value, goal in rows:
        print(f"{what:54}{value:>12}   {goal}")


if __name__ == "__main__":
    main()
