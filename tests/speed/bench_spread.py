"""What bands cost, one row per case; run with OPENBLAS_NUM_THREADS=1 for one core. Nothing is asserted here.

OPENBLAS_NUM_THREADS=1 python tests/speed/bench_spread.py
"""

from __future__ import annotations

import resource
import time

import numpy as np

from curelab import Bath, Brine, Piece, Rest, Soak, Water
from curelab.spread import spread

BATH = Bath(water="2 kg", salt="90 g", nitrite="0.5 g")
AFTER = (
    Rest(temperature="4 degC", lasts="2 d"),
    Soak(
        waters=(
            Water(amount="4 kg", lasts="1 h", temperature="8 degC"),
            Water(amount="4 kg", lasts="1 h", temperature="8 degC"),
        )
    ),
)
POINT = Piece(name="point", thickness="6 cm", weight="2 kg")
FLAT = Piece(name="flat", thickness="4 cm", weight="1.5 kg")
FLOATING = Brine(bath=BATH, temperature="3 degC", lasts="8 d", lying=False)
TURNED = Brine(bath=BATH, temperature="3 degC", lasts="8 d", turn_every="2 d")
LOGGED = TURNED.but(temperature=[["0 h", "2 degC"], ["40 h", "4 degC"], ["41 h", "6 degC"], ["60 h", "3 degC"]])
CASES = {
    "one piece, all faces in brine": ((POINT,), (FLOATING, *AFTER)),
    "one piece, lying, turned": ((POINT,), (TURNED, *AFTER)),
    "one piece, fat cap, lying, turned": ((POINT.but(fat_cap="6 mm"),), (TURNED, *AFTER)),
    "two pieces, all faces in brine": ((POINT, FLAT), (FLOATING, *AFTER)),
    "two pieces, lying, turned": ((POINT, FLAT), (TURNED, *AFTER)),
    "one piece, fridge log, turned": ((POINT,), (LOGGED, *AFTER)),
}


def bands(pieces, stages, count: int) -> float:
    """s for bands of salt, nitrite and free nitrite at 60 times x 40 depths."""
    length = sum(stage.longest for stage in stages)
    begin = time.perf_counter()
    many = spread(pieces, stages, count=count, seed=1)
    found = many.profiles(("salt", "nitrite", "free nitrite"), np.linspace(0.0, length, 60), depths=40)
    took = time.perf_counter() - begin
    assert found["salt"].middle.shape == (60, 40)
    return took


def main() -> None:
    bands(*CASES["one piece, all faces in brine"], 64)  # imports and first calls
    print(f"{'bands of 3 solutes, 60 times x 40 depths':42}{'draws':>8}{'ms':>9}")
    name = "one piece, all faces in brine"
    took = bands(*CASES[name], 10_000)
    print(
        f"{name:42}{10_000:8}{1000 * took:9.0f}   peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
    )
    for name, (pieces, stages) in CASES.items():
        best = min(bands(pieces, stages, 500) for _ in range(3))
        print(f"{name:42}{500:8}{1000 * best:9.0f}")
    for question in ("time_to", "window"):
        many = spread(*CASES["one piece, lying, turned"], count=500)
        begin = time.perf_counter()
        many.time_to("core salt >= 90 % of equilibrium", 0) if question == "time_to" else many.window()
        print(f"{question + ', lying, turned':42}{500:8}{1000 * (time.perf_counter() - begin):9.0f}")


if __name__ == "__main__":
    main()
