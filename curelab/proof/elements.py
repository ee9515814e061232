"""An independent solve of one whole case by finite elements: fat on lean, two solutes, a loss in the lean, films and a finite bath.

scikit-fem assembles quadratic elements from densities, waters and diffusivities; scipy's Radau marches them. Nothing of the network is
used: no cells, no conductances, no modes. Only the printed numbers of the material are shared.
"""

from __future__ import annotations

import numpy as np

from ..engine.run import FREE
from ..engine.simulate import simulate
from ..matter.tissue import obstruction, tissue
from ..recipe.stages import Bath, Brine
from ..show.pictures import Lines, Mark, Series
from ..sources import default_numbers
from ..units import DAY
from . import meat
from .case import Case, Missing, both, largest, upward
from .meat import COLD, STILL

CAP, THICK, WEIGHT = 0.01, 0.05, 2.0
WATER, SALT, NITRITE = 1.5, 0.06, 4e-4  # kg
TIMES = np.array([1.0, 3.0, 10.0, 30.0]) * DAY
PLACES = np.linspace(0.0005, 0.0495, 50)  # m from the face of the fat
PER_SECOND = 1e5  # time is marched in units of so many seconds


def by_elements(ratio: float, loss: float, start: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(kg in the piece (t,), level of the bath (t,), levels (t, place)) of one solute that begins in the bath at `start`.

    Raises ImportError without scikit-fem.
    """
    from scipy.integrate import solve_ivp
    from skfem import Basis, BilinearForm, ElementLineP2, MeshLine
    from skfem.helpers import dot, grad

    numbers = default_numbers()
    parts = tissue("beef fat"), tissue("lean beef")
    free = numbers["water.salt_diffusivity.3C"].value * 1e-9
    store = np.array([part.density * part.water for part in parts])  # kg of water per m3
    conduct = store * np.array([obstruction(part) for part in parts]) * ratio * free
    mass_per_area = sum(part.density * width for part, width in zip(parts, (CAP, THICK - CAP), strict=True))
    area = WEIGHT / mass_per_area  # of one broad face, m2
    film = (
        1000 * numbers["film.still"].value * ratio
    )  # kg/(m2 s): the still layer is water, and as thick for every solute

    mesh = np.concatenate([np.linspace(0, CAP, 31), np.linspace(CAP, THICK, 51)[1:]])
    basis = Basis(MeshLine(mesh), ElementLineP2())
    here = lambda pair, x: np.where(x < CAP, pair[0], pair[1])  # noqa: E731
    stiff = BilinearForm(lambda u, v, p: here(conduct, p.x[0]) * dot(grad(u), grad(v))).assemble(basis)
    mass = BilinearForm(lambda u, v, p: here(store, p.x[0]) * u * v).assemble(basis)
    lean = BilinearForm(lambda u, v, p: here((0.0, store[1]), p.x[0]) * u * v).assemble(basis)
    size = basis.N
    matrix, held = np.zeros((size + 1, size + 1)), np.zeros((size + 1, size + 1))
    matrix[:size, :size] = area * (stiff + loss * lean).toarray()
    held[:size, :size] = area * mass.toarray()
    held[size, size] = WATER
    for place in (0.0, THICK):
        face = int(basis.get_dofs(lambda x, at=place: np.isclose(x[0], at, rtol=1e-9, atol=1e-9)).all()[0])
        for row, column, sign in ((face, face, 1), (size, size, 1), (face, size, -1), (size, face, -1)):
            matrix[row, column] += sign * film * area
    rate = -PER_SECOND * np.linalg.solve(held, matrix)
    begin = np.zeros(size + 1)
    begin[size] = start
    path = solve_ivp(
        lambda _, w: rate @ w,
        (0, TIMES[-1] / PER_SECOND),
        begin,
        "Radau",
        TIMES / PER_SECOND,
        rtol=1e-8,
        atol=1e-10 * start,
        jac=rate,
    ).y.T
    probe = basis.probes(PLACES[None])
    return area * (path[:, :size] @ (mass @ np.ones(size))), path[:, size], (probe @ path[:, :size].T).T


def finite_elements(cells: int = 60) -> Case | Missing:
    """Salt and free nitrite in 2 kg of brisket with a fat cap, in 1.5 kg of still brine, for 30 days."""
    what = "Fat on lean with a loss in the lean, still films and a finite bath, by finite elements"
    try:
        import skfem  # noqa: F401
    except ImportError:
        return Missing(what, "scikit-fem")
    piece = meat.piece(thickness=THICK, fat_cap=CAP, weight=WEIGHT)
    bath = Bath(water=WATER, salt=SALT, nitrite=NITRITE)
    stage = Brine(bath=bath, temperature=COLD, lasts=float(TIMES[-1]), lying=False)
    history = simulate(piece, stage, cells=cells, numbers=default_numbers().with_values(STILL))
    numbers = default_numbers()
    labels: list[str] = []
    theirs: list[float] = []
    ours: list[float] = []
    error, in_fat = 0.0, 0.0
    series: list[Series] = []
    for name, ratio, loss, brought in (
        ("salt", 1.0, 0.0, SALT),
        (FREE, numbers["ratio.nitrite"].value, meat.nitrite_loss(), NITRITE),
    ):
        amount, in_bath, levels = by_elements(ratio, loss, brought / WATER)
        profile = history.profile(name, TIMES, basis="water phase")
        mine = meat.level(profile.values) / (brought / WATER)
        at_places = np.array([np.interp(PLACES, profile.depth, row) for row in mine])
        held, left = history.amount(name, TIMES), meat.level(history.bath(name, TIMES)) * WATER
        apart = at_places - levels / (brought / WATER)
        in_fat = max(in_fat, largest(apart[:, PLACES < CAP]))
        error = max(
            error,
            largest((held - amount) / brought, left / brought - in_bath * WATER / brought, apart[:, PLACES > CAP]),
        )
        for n, time in enumerate(TIMES):
            labels.append(f"{name} in the piece, day {time / DAY:.0f}")
            theirs.append(float(amount[n] / brought))
            ours.append(float(held[n] / brought))
        series += both(f"{name}, day 10", 1e3 * PLACES, levels[2] / (brought / WATER), 1e3 * profile.depth, mine[2])
    picture = Lines(
        "Salt (upper) and free nitrite (lower) on day 10", "depth in mm; fat as far as the dotted line", "level over that of the bath at the start",
        tuple(series), (Mark("x", 1e3 * CAP, ""),),
    )  # fmt: skip
    return Case(
        what, "scikit-fem, quadratic elements, marched by the Radau method of scipy to 1e-8", "computed", tuple(labels), tuple(theirs),
        tuple(ours), "of what the bath brought", error, 3e-4, "what the bath brought or its first level: piece, bath, and all across the lean", picture,
        f"Inside the fat, which no answer reads, apart by at most {upward(in_fat)}: 20 cells are few for a steep profile.",
    )  # fmt: skip
