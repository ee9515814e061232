"""Where the colours of a section end, and the axes of its charts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

# Shares of places and days: the darkest colour is for as much as the first of them holds, or more; a chart has room for the second. Judgement:
# right under a dry cure meat holds several times what it does when it is cured, and would leave all else pale.
COLOURED, CHARTED = 0.9, 0.995
ABOVE = 1.15  # times what counts as enough, so that it is told from what is more; judgement
ROUND = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)


def ends(values: Sequence[np.ndarray], levels: Sequence[float]) -> tuple[float, float]:
    """(the value of the darkest colour, the highest of a chart) for what each piece holds at its places and times; levels: what counts as enough
    in each, inf or nan for nothing. Both are round numbers.
    """
    enough = [ABOVE * level for level in levels if np.isfinite(level)]
    held = ([float(np.quantile(each, share)) for each in values] for share in (COLOURED, CHARTED))
    most, top = (_rounded_up(max([*enough, *each])) for each in held)
    return most, top


def _rounded_up(value: float) -> float:
    if value <= 0:
        return 1.0
    step = 10.0 ** np.floor(np.log10(value))
    return float(next(step * k for k in ROUND if step * k >= value * (1 - 1e-9)))


__all__ = ["ends"]
