"""Rules of thumb held against the model: the days on an old card beside the day on which the whole has its salt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, log, sqrt

from ..recipe.criterion import Criterion
from ..recipe.piece import Piece
from ..recipe.stages import Bath, Brine, constant
from ..sources import Numbers, read_table
from ..units import DAY
from . import Answer, time_to
from .ready import SHARE

SALTED = Criterion(
    "average", "salt", ">=", SHARE, "equilibrium"
)  # old rules cure to the end, and soak back what is too much


@dataclass(frozen=True)
class Held:
    """One rule: its row in rules_of_thumb.csv, its days (the geometric middle of a range), and the model's day of taking out [s], and
    that on which the middle has as much.
    """

    row: Mapping[str, str]
    days: float
    pull: Answer
    core: Answer

    @property
    def ratio(self) -> float:
        """The model's day over the printed one."""
        return (self.pull.value or float("inf")) / DAY / self.days

    def line(self) -> str:
        """One line of a table."""
        low, high = (f"{each / DAY:.0f}" if each else "never" for each in (self.pull.low, self.pull.high))
        middle = "never" if self.core.value is None else f"{self.core.value / DAY:.0f}"
        return (
            f"{self.row['cut']:42} {self.days:4.0f} d printed   {self.ratio * self.days:4.0f} d computed ({low} to {high})   "
            f"{self.ratio:4.2f} times   middle {middle} d"
        )


def mean_ratio(held: tuple[Held, ...]) -> float:
    """Geometric mean of the ratios."""
    return exp(sum(log(each.ratio) for each in held) / len(held))


def held_against_model(which: str = "", numbers: Numbers | None = None, water: float | None = None) -> tuple[Held, ...]:
    """Every rule whose id starts with `which`, with the day on which the average has SHARE of where the cure ends, and its band.

    The meat lies in as much brine as its row says (or in `water` kg of water for each kg of meat), and is turned as often over the printed days. Thickness is assumed from cut and weight
    (judgement; see the file), so this shows whether rule and model mean the same days, not that either is right.

    >>> print(held_against_model("FB2265-04")[0].line())  # doctest: +ELLIPSIS
    belly of 10 lb ... 15 d printed ... d computed ...
    """
    result = []
    for row in read_table("rules_of_thumb.csv"):
        if not row["rule_id"].startswith(which):
            continue
        piece = Piece(
            name=row["cut"][:60],
            shape=row["shape"],
            thickness=f"{row['thickness_cm']} cm",
            weight=f"{row['weight_lb']} lb",
            tissue=row["tissue"],
        )
        bath = (float(row["water_per_meat"]) if water is None else water) * piece.weight
        strength = float(row["brine_percent"]) / 100
        days = sqrt(float(row["days_low"]) * float(row["days_high"]))
        cure = Brine(
            bath=Bath(water=bath, salt=bath * strength / (1 - strength)),
            temperature=constant(f"{row['temperature_F']} degF"),
            lasts=days * DAY,
            turn_every=days * DAY / (int(row["turns"]) + 1),
        )
        middle = Criterion("core", "salt", ">=", SHARE, "equilibrium")
        pull, core = (time_to(each, piece, cure, numbers=numbers) for each in (SALTED, middle))
        result.append(Held(row, days, pull, core))
    return tuple(result)
