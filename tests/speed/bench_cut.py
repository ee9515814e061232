"""What a cut in three dimensions costs beside a slab: CPU time on one thread, the least of several; run by hand, results in DEVELOPERS.md.

OPENBLAS_NUM_THREADS=1 python tests/speed/bench_cut.py
"""

from __future__ import annotations

import os
import resource
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ["CURELAB_CACHE"] = "off"

import numpy as np

from curelab import Bath, Brine, Piece, simulate
from curelab.bodies import Outline, solid
from curelab.bodies.outline import cylinder, grid
from curelab.bodies.reduced import reduced
from curelab.bodies.solid import _basis, problem
from curelab.recipe.stages import Rest, Soak, Water
from curelab.transport.modes import forget

DAY = 86400.0
ROWS = [
    {"at": f"{at} cm", "thickness": f"{thick} cm", "width": f"{wide} cm"}
    for at, thick, wide in ((0, 3, 16), (15, 5.5, 18), (26, 8, 17), (30, 6, 14))
]
CUT = Piece(shape="cut", stations=ROWS, weight="2.6 kg")
CAPPED = CUT.but(fat_cap="6 mm")
SLAB = Piece(thickness="8 cm", weight="2.6 kg")
# Nine stretches: a brine, a rest, a sealed rest warmer, six waters.
STAGES = (
    Brine(bath=Bath(water="3 kg", salt="150 g", nitrite="0.5 g"), temperature="3 degC", lasts="20 d", turn_every="5 d"),
    Rest(temperature="3 degC", lasts="5 d"),
    Rest(temperature="5 degC", lasts="2 d"),
    Soak(waters=[Water(amount="4 kg", lasts="4 h", temperature="4 degC")] * 6),
)
OUTLINE = Outline(
    (0.0, 1.875, 3.25, 3.75),
    (0.375, 0.6875, 1.0, 0.75),
    (2.0, 2.25, 2.125, 1.75),
    ((0.0, 0.375), (0.0, 0.6875), (0.0, 1.0), (0.0, 0.75)),
    ((0,),) * 4,
    True,
)


def least(call, times: int) -> float:
    found = []
    for _ in range(times):
        forget()
        begin = time.process_time()
        call()
        found.append(time.process_time() - begin)
    return min(found)


def chain(piece: Piece, **more) -> None:
    history = simulate(piece, STAGES, **more)
    times = np.linspace(0.1, 27.9, 40) * DAY
    for place in ("core", "average", "surface"):
        history.at(place, "salt", times)
    history.core("free nitrite", times)


def main() -> None:
    print("terms made anew:")
    before = None
    for fine in (0.65, 1.0, 2.15):
        posed = problem(grid(OUTLINE, fine), (1.0,), ((1.0,),))
        took = least(lambda: reduced(problem(grid(OUTLINE, fine), (1.0,), ((1.0,),))), 2 if fine < 1.2 else 1)  # noqa: B023
        power = (
            "" if before is None else f", power {np.log(took / before[1]) / np.log(len(posed.mass) / before[0]):.2f}"
        )
        start = (len(posed.mass), took) if before is None else before
        over = np.log(took / start[1]) / np.log(len(posed.mass) / start[0]) if before else 0.0
        print(
            f"  {len(posed.mass):6d} nodes {took:6.2f} s{power}; over all {over:.2f}; {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
        )
        before = before or (len(posed.mass), took)
        if fine == 1.0:
            print("    error, of the usual terms and of those for draws:", *reduced(posed).error)
            print(f"    peak so far {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    print(
        f"  a round section with ends: {least(lambda: (_basis.cache_clear(), solid.cache_clear(), solid(cylinder(3.0))), 3):.2f} s"
    )
    chain(CUT), chain(SLAB), chain(CAPPED)
    slab, cut, capped = (least(lambda: chain(piece), 9) for piece in (SLAB, CUT, CAPPED))  # noqa: B023
    print(f"nine stretches: slab {1e3 * slab:.1f} ms, cut {1e3 * cut:.1f} ms, ratio {cut / slab:.2f}")
    print(f"  under a cap of 6 mm {1e3 * capped:.1f} ms, ratio {capped / slab:.2f}")
    middle = np.random.default_rng(0)
    for count in (64, 500):
        draws = {"obstruction.lean": middle.uniform(0.2, 0.6, count), "film.still": middle.uniform(4e-7, 2e-6, count)}
        chain(CUT, draws=draws)
        times = [least(lambda: chain(piece, draws=draws), 5) for piece in (SLAB, CUT)]  # noqa: B023
        print(f"{count} draws: slab {times[0]:.2f} s, cut {times[1]:.2f} s")


if __name__ == "__main__":
    main()
