"""Rules of thumb held against the model: what the days on an old card really reach, at the core and on the whole."""

from __future__ import annotations

from dataclasses import dataclass

from ..recipe.piece import Piece
from ..recipe.stages import Bath, Brine, constant
from ..sources import Numbers, read_table
from ..units import DAY
from . import Reached, reached


@dataclass(frozen=True)
class Held:
    """One rule: its row in rules_of_thumb.csv, and the part of the equilibrium salt that its days reach."""

    row: dict[str, str]
    core: Reached
    average: Reached

    def line(self) -> str:
        """One line of a table."""
        core, whole = self.core, self.average
        return (
            f"{self.row['cut']:42} {float(self.row['days']):4.0f} d {float(self.row['thickness_cm']):5.1f} cm"
            f"   middle {100 * core.value:3.0f} % ({100 * core.low:.0f} to {100 * core.high:.0f})"
            f"   whole {100 * whole.value:3.0f} % ({100 * whole.low:.0f} to {100 * whole.high:.0f})"
        )


def held_against_model(which: str = "", numbers: Numbers | None = None) -> tuple[Held, ...]:
    """Every rule whose id starts with `which`: part of the equilibrium salt at the core and on average, with the band.

    The meat lies in four times its weight of brine (at least as much as it can take up counts the same) and is turned every second day.
    Thickness is assumed from cut and weight (judgement; see the file), so this shows whether rule and model
    roughly agree, not that either is right.

    >>> print(held_against_model("FB2265-04")[0].line())  # doctest: +ELLIPSIS
    belly of 10 lb ... 15 d   4.5 cm   middle ... whole ...
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
        water = 4 * piece.weight
        strength = float(row["brine_percent"]) / 100
        cure = Brine(
            bath=Bath(water=water, salt=water * strength / (1 - strength)),
            temperature=constant(f"{row['temperature_F']} degF"),
            lasts=float(row["days"]) * DAY,
            turn_every=2 * DAY,
        )
        days = [float(row["days"]) * DAY]
        core, whole = (reached(piece, cure, days, place=place, numbers=numbers)[0] for place in ("core", "average"))
        result.append(Held(row, core, whole))
    return tuple(result)
