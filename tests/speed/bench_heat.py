"""What a stage of heat costs after its basis, in one case and in 64 draws: CPU time, the quickest of five. Figures, not tests."""

from __future__ import annotations

import time

from curelab import BagCook, Bath, Brine, Chill, Piece, Simmer, Smoke, extend, simulate
from curelab.sources import default_numbers
from curelab.spread.draws import draw
from curelab.spread.uncertain import inputs_for

CURE = Brine(bath=Bath(water="6 kg", salt="200 g", nitrite="0.7 g"), temperature="3 degC", lasts="10 d", lying=False)
STAGES = (
    Simmer(water="6 kg", temperature=[["0 h", "20 degC"], ["1 h", "88 degC"]], until="core temperature >= 80 degC", at_most="8 h"),
    BagCook(temperature="75 degC", lasts="6 h"),
    Smoke(temperature="95 degC", humidity="10 %", lasts="6 h"),
    Chill(medium="ice water", temperature="1 degC", until="core temperature <= 4 degC", at_most="24 h"),
)  # fmt: skip
FLAT = Piece(name="flat", thickness="5 cm", weight="1.5 kg")
POINT = Piece(name="point", thickness="9 cm", weight="2 kg", shape="cylinder")
BLOCK = Piece(name="block", shape="block", thickness="6 cm", width="14 cm", length="22 cm", weight="1.9 kg")


def cost(history, stage) -> float:
    """s to compute a stage and to read weight, salt and temperature in the middle at its end."""
    begin = time.process_time()
    more = extend(history, stage)
    more.weight(), more.core("salt"), more.temperature(place="core")
    return time.process_time() - begin


def main() -> None:
    for pieces in ((FLAT,), (FLAT, POINT), (BLOCK,)):
        used = simulate(pieces, (CURE, *STAGES)).numbers.used
        inputs = inputs_for(pieces, (CURE, *STAGES), "nordin", default_numbers(), used)
        for count in (1, 64):
            drawn = {} if count == 1 else {"draws": draw(inputs, count, seed=0).columns}
            history = simulate(pieces, CURE, **drawn)
            for stage in STAGES:
                best = min(cost(history, stage) for _ in range(5))
                print(f"{' and '.join(piece.name for piece in pieces)}, {count}: {stage.tag} {1e3 * best:.1f} ms")


if __name__ == "__main__":
    main()
