"""How long cold, salt and nitrite carry a piece if its cure goes on, whatever the plan says: for answers that ask a cook to wait."""

from __future__ import annotations

import numpy as np

from ..engine.history import History
from ..engine.simulate import simulate
from ..recipe.stages import Rest
from ..sources import Numbers, default_numbers
from ..units import DAY
from .exposure import running

LOOKED = 240 * DAY  # how long the cure is looked at (judgement: longer than any answer asks to wait)


def carried(
    history: History, stage: int, piece: int = 0, numbers: Numbers | None = None, pull: float = np.inf
) -> tuple[float, float]:
    """(vouched, harm): s since the start up to which the slowest place of a piece is in order by the cold clock, and from which harm is printed,
    if stage number `stage` of a history without draws goes on as it is until `pull` [s since the start] and the piece then rests as cold; inf:
    not within LOOKED.
    """
    numbers = numbers or default_numbers()
    begin = float(history.span(stage)[0])
    if pull - begin < LOOKED:
        cured = history.lasting(stage, max(pull - begin, 60.0))
        kept = Rest(temperature=float(cured.ran[-1].kelvin[-1]), lasts=LOOKED)
        on = simulate((), kept, after=cured)
    else:
        on = history.lasting(stage, LOOKED)
    times, shares = running(on, piece, numbers)

    def reaches(share: float) -> float:
        return float(np.interp(share, shares, times)) if shares[-1] > share else np.inf

    return reaches(numbers.si("protection.share")), reaches(1.0)
