"""The window of a strong brine: from the first day cured in the middle to the last day before too salty. It can be empty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from ..engine.history import History
from ..recipe.criterion import Criterion
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..results import Shown
from ..sources import Numbers
from .answer import LOOK_AHEAD, RESTS_ON, in_corners
from .how_long import horizons


@dataclass(frozen=True, repr=False)
class Window(Shown):
    """From the first day cured at the core to the last day before too salty, s since the brine began (inf: never).

    `slow` and `fast`: (opens, closes) for meat at the two ends of what is published.
    """

    opens: float
    closes: float
    slow: tuple[float, float]
    fast: tuple[float, float]
    cured: str
    too_salty: str
    sentence: str
    rests_on: str = RESTS_ON

    def lines(self) -> list[str]:
        return [self.sentence]

    def rows(self) -> list[dict[str, Any]]:
        """In usual, slow and fast meat, s, inf for never."""
        ends = {"usual": (self.opens, self.closes), "slow": self.slow, "fast": self.fast}
        return [{"meat": meat, "opens_s": opens, "closes_s": closes} for meat, (opens, closes) in ends.items()]

    @property
    def empty(self) -> bool:
        return not self.opens < self.closes


def window(
    pieces: Piece | Sequence[Piece],
    cure: Stage,
    *,
    cured: str = "core salt >= 1.5 %",
    too_salty: str = "average salt >= 3 %",
    at_most: Any = LOOK_AHEAD,
    loss: str = "nordin",
    numbers: Numbers | None = None,
) -> Window:
    """The days in which a cure is cured at the core of every piece and not yet too salty on the whole in any.

    The default criteria are judgement on taste, see the rows `taste.*` in datasets/numbers.csv.
    """
    ready, salty, at_most = Criterion.parse(cured), Criterion.parse(too_salty), units.seconds(at_most)
    ends = np.full((3, 2), np.inf)
    for horizon in horizons(cure.longest, at_most):
        many = in_corners(pieces, cure.lasting(horizon), loss=loss, numbers=numbers)
        found = np.stack([many.first_time(ready), many.first_time(salty, where="any")], axis=1)
        ends = np.where(np.isfinite(ends).all(axis=1, keepdims=True), ends, found)
        if np.isfinite(ends).all():
            break
    usual, slow, fast = (tuple(map(float, pair)) for pair in ends)
    return _told(usual, slow, fast, ready, salty, many.of(0))


def _told(usual, slow, fast, ready: Criterion, salty: Criterion, history: History) -> Window:
    words = _window_words(usual, slow, fast, ready, salty, history.length, history)
    return Window(usual[0], usual[1], slow, fast, str(ready), str(salty), words)


def _last_and_first(history: History, ready: Criterion, salty: Criterion) -> tuple[str, str]:
    """("the middle of ...", "the ... on the whole"): the piece that is cured last, and the one that is too salty first."""
    if len(history.pieces) == 1:
        return "the middle", "the whole"

    def order(criterion: Criterion) -> list[tuple[float, str]]:
        return sorted(
            (history.first_time(criterion, where=number), piece.name) for number, piece in enumerate(history.pieces)
        )

    return f"the middle of the {order(ready)[-1][1]}", f"the {order(salty)[0][1]}"


def _window_words(usual, slow, fast, ready, salty, at_most, history) -> str:
    opens, closes = usual
    day = lambda seconds: units.show(seconds, "time", digits=2)  # noqa: E731
    core, whole = _last_and_first(history, ready, salty)
    mark, limit = units.show(ready.target, "fraction"), units.show(salty.target, "fraction")
    if np.isinf(opens):
        return f"The window is empty: within {day(at_most)} this cure never brings {core} to {mark} {ready.quantity}."
    if np.isinf(closes):
        slowest = f"in slow meat {day(slow[0])}" if np.isfinite(slow[0]) else f"in slow meat not within {day(at_most)}"
        return (
            f"Cured ({mark} {ready.quantity} in {core}) after {day(opens)}; in fast meat {day(fast[0])}, {slowest}. It gets no saltier than "
            f"{limit} with time. It can still spoil: keep it cold, and throw it out if it is slimy, smells off or the brine turns ropy."
        )
    if opens >= closes:
        return (
            f"The window is empty: {whole} is too salty ({limit}) after {day(closes)}, and {core} is cured ({mark}) only after "
            f"{day(opens)}. Use a weaker brine for longer, a thinner piece, or an equilibrium brine; or cure and then soak."
        )
    latest_opening, earliest_closing = max(opens, slow[0], fast[0]), min(closes, slow[1], fast[1])
    told = f"From {day(opens)} to {day(closes)} {core} has {mark} {ready.quantity} and {whole} not yet {limit}"
    if latest_opening < earliest_closing:
        return f"{told}; for slow and fast meat alike from {day(latest_opening)} to {day(earliest_closing)}. Only the clock saves this cure."
    return (
        f"No day is right for every piece. {told}, in usual meat; in fast meat {_pair(fast)}, in slow meat {_pair(slow)}, and you cannot see "
        "which you have. Only the clock saves this cure, and the clock does not know: use an equilibrium brine or a thinner piece."
    )


def _pair(pair: tuple[float, float]) -> str:
    opens, closes = pair
    if not opens < closes:
        return "empty"
    return f"{units.show(opens, 'time', digits=2)} to {units.show(closes, 'time', digits=2)}"
