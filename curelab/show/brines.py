"""Several brines on one time axis, each with its pull and its rest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..spread import Request, Spread
from ..spread.forgiving import on_the_way
from ..units import DAY, capital
from .pictures import PIECE_COLOURS, Lines, Mark, Series, band_note


def in_and_rested(ways: Sequence[tuple[str, Spread, float]], piece: str, taste: tuple[float, float]) -> Lines:
    """Salt on the whole and in the slowest spot over the days in several brines, each taken out on its day [s] and rested: (name, draws,
    day) on one time axis; `taste`: the wanted ends (fractions).
    """
    end = min(max(max(out for _, _, out in ways) * 1.6, 20 * DAY), 120 * DAY)
    times = np.linspace(0.0, end, 81)[1:]
    lines, said = [], []
    for (name, many, out), colour in zip(ways, PIECE_COLOURS, strict=False):
        asked = Request.of(on_the_way, stage=0, out=out, times=times, piece=many.number(piece))
        found = many.band(asked)
        for row, (place, dash) in enumerate((("whole", ""), ("slowest spot", "8 4"))):
            one_band = row == 0 and found.low is not None  # four would hide each other
            shown = (100 * found.low[row], 100 * found.high[row]) if one_band else (None, None)
            lines.append(Series(f"{name}, {place}", times / DAY, 100 * found.middle[row], colour, dash, *shown))
        said.append(f"{name} brine taken out on day {out / DAY:.2g}")
    marks = (Mark("y", 100 * taste[0], "wanted from"), Mark("y", 100 * taste[1], "to"))
    return Lines(
        f"{capital(', '.join(said))}, then rested.", "days since the start", f"salt in the {piece}, % of the meat", tuple(lines), marks,
        band_note(many),
    )  # fmt: skip
