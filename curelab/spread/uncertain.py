"""What is not known exactly, as distributions.

`datasets/uncertain.csv` holds one row per uncertain input. An input is a published number (its key in numbers.csv), a
condition of the batch (temperature, weights, water uptake, activation energy), or a measure of one piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .. import normal
from ..engine.cases import OF_PIECES
from ..recipe.meat_and_fridge import MeatAndFridge
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..sources import Numbers, read_table

TAIL = 0.005  # a normal or lognormal input is cut at this probability on either side: nothing is without bounds
POINT_95 = float(normal.score(0.95))
# Of the logarithm of obstruction, from one animal to the next: 0.28 over 1.90 in one study (row rival.lean_diffusivity.springer,
# seen in the abstract); that it holds between a cook's own pieces is a judgement.
BETWEEN_PIECES = 0.15
OF_THE_MEAT = ("obstruction.lean", "partition.water_phase", "fat.relative_diffusivity", "water uptake")
PACES = ("obstruction.", "ratio.", "frozen_thawed.", "fat.relative_diffusivity")  # factors of one product
EVENLY = (np.arange(256) + 0.5) / 256
DISTRIBUTIONS = ("uniform", "loguniform", "triangular", "normal", "lognormal")


@dataclass(frozen=True)
class Uncertain:
    """One uncertain input: key, distribution and its ends, in the unit as printed.

    low and high: least and most of a uniform, loguniform or triangular input (which has a mode), the 5 and 95 % points
    of a normal or lognormal one. remedy: what a cook can do about it. Raises ValueError for ends out of order.
    """

    key: str
    kind: str
    distribution: str
    low: float
    mode: float | None
    high: float
    unit: str
    meaning: str
    remedy: str
    source: str
    how: str

    def __post_init__(self) -> None:
        if self.distribution not in DISTRIBUTIONS:
            raise ValueError(f"{self.key}: {self.distribution!r} is not one of {', '.join(DISTRIBUTIONS)}")
        if (self.distribution == "triangular") != (self.mode is not None):
            raise ValueError(f"{self.key}: a triangular input, and no other, has a mode")
        middle = (self.low + self.high) / 2 if self.mode is None else self.mode
        if not (np.isfinite(middle) and self.low <= middle <= self.high and self.low < self.high):
            raise ValueError(f"{self.key}: low, mode and high are not in order")
        if self.distribution.startswith("log") and self.low <= 0:
            raise ValueError(f"{self.key}: a {self.distribution} input is above zero")

    def at(self, share: np.ndarray) -> np.ndarray:
        """The value that this share of all possible ones lies below (the quantile function), share 0 to 1.

        >>> row = next(row for row in uncertain_inputs() if row.key == "film.still")
        >>> [f"{value:.1e}" for value in row.at(np.array([0.5, 0.95]))]
        ['9.5e-07', '3.0e-06']
        """
        share = np.asarray(share, dtype=float)
        low, high = self.low, self.high
        if self.distribution == "uniform":
            return low + (high - low) * share
        if self.distribution == "loguniform":
            return np.exp(np.log(low) + np.log(high / low) * share)
        if self.distribution == "triangular":
            assert self.mode is not None
            turn = (self.mode - low) / (high - low)
            rising = low + np.sqrt(share * (high - low) * (self.mode - low))
            return np.where(share < turn, rising, high - np.sqrt((1 - share) * (high - low) * (high - self.mode)))
        return self.scored(normal.score(np.clip(share, TAIL, 1 - TAIL)))

    def scored(self, score: np.ndarray) -> np.ndarray:
        """The value at a score: a normal deviate, 0 in the middle of what is possible; here nothing is cut off.

        >>> row = next(row for row in uncertain_inputs() if row.key == "temperature")
        >>> [round(float(row.scored(score)), 2) for score in (0.0, POINT_95)]
        [0.0, 1.5]
        """
        score = np.asarray(score, dtype=float)
        if self.distribution == "normal":
            return 0.5 * (self.low + self.high) + 0.5 * (self.high - self.low) * score / POINT_95
        if self.distribution == "lognormal":
            middle, reach = 0.5 * np.log(self.low * self.high), 0.5 * np.log(self.high / self.low)
            return np.exp(middle + reach * score / POINT_95)
        return self.at(normal.below(score))

    @property
    def usual(self) -> float:
        """The value in the usual case: the middle of what is possible. Paces multiply, and the middle of a product lies near the product of
        the means of their logarithms; of those that are even in their logarithm that is the middle too.

        >>> row = next(row for row in uncertain_inputs() if row.key == "ratio.nitrite")
        >>> round(row.usual, 3), round(float(row.scored(np.zeros(()))), 3)
        (0.677, 0.712)
        """
        if self.key.startswith(PACES) and not self.distribution.startswith("log"):
            return float(np.exp(np.log(self.at(EVENLY)).mean()))
        return float(self.scored(np.zeros(())))

    @property
    def label(self) -> str:
        """The input in words."""
        return _WORDS.get(self.key, self.key)


_WORDS = {
    "obstruction.lean": "how fast meat takes salt",
    "ratio.nitrite": "the pace of nitrite",
    "ratio.nitrate": "the pace of nitrate",
    "ratio.sugar": "the pace of sugar",
    "fat.relative_diffusivity": "how much fat holds salt back",
    "frozen_thawed.multiplier": "what freezing did to the meat",
    "partition.water_phase": "how evenly meat and brine share salt",
    "nitrite.loss_multiplier": "how fast nitrite is lost",
    "nitrite.takagi.half_life": "the half-life of nitrite",
    "nitrite.first_day.left": "what nitrite outlasts its first day",
    "ph.beef": "the pH of the beef",
    "ph.pork": "the pH of the pork",
    "film.stirred": "the layer at a face in moving brine",
    "film.still": "the layer at a face in still brine",
    "film.contact": "how well brine gets under the piece",
    "purge.per_salt": "the liquid that the salt draws",
    "obstruction.cooked": "how fast salt moves in cooked meat",
    "heat.parallel": "how well the meat conducts heat",
    "heat.film.simmer": "how well the water gives its heat",
    "heat.film.bag_in_water": "how well the bath heats the bag",
    "heat.film.steam": "how well the steam heats",
    "heat.film.ice_water": "how well the ice water cools",
    "heat.film.fridge_air": "how well the fridge cools",
    "heat.film.moving_air": "how well the moving air cools",
    "heat.film.smoke": "how well the smoke heats",
    "heat.film.oven": "how well the oven heats",
    "heat.radiant": "how much heat is radiated",
    "heat.wet_skin": "how long the skin stays wet",
    "heat.wetness": "how wet the skin is",
    "juice.width": "how much juice runs out",
    "activation energy": "how much faster warm meat cures",
    "temperature": "the temperature",
}


def uncertain_inputs() -> tuple[Uncertain, ...]:
    """Every row of uncertain.csv."""
    return tuple(
        Uncertain(
            row["key"], row["kind"], row["distribution"], float(row["low"]),
            float(row["mode"]) if row["mode"] else None, float(row["high"]),
            row["unit"], row["meaning"], row["remedy"], row["source"], row["how"],
        )
        for row in read_table("uncertain.csv")
    )  # fmt: skip


def inputs_for(
    pieces: Sequence[Piece], stages: Sequence[Stage], loss: str, numbers: Numbers, used: Sequence[str]
) -> tuple[Uncertain, ...]:
    """The uncertain inputs that this batch depends on, one `thickness of ...` for each piece, and so on for what else was measured.

    `used`: keys that a history of the batch looked up. A number that the caller has set (its `how` is "given") is known.
    """
    put_in = [made for stage in stages if (made := stage.put_in) is not None]
    stretches = [stretch for stage in stages for stretch in stage.stretches]
    nitrite, nitrate = (any(getattr(made, name) for made in put_in) for name in ("nitrite", "nitrate"))
    wet = any(stretch.water is not None for stretch in stretches)
    species = (
        {piece.species for piece in pieces if piece.known_ph is None}
        if nitrite and loss in ("nordin", "first day")
        else set()
    )
    needed = {
        "fat.relative_diffusivity": any(piece.fatty for piece in pieces),
        "nitrite.loss_multiplier": nitrite and loss != "none",
        "nitrite.takagi.half_life": nitrite and loss == "takagi",
        "nitrite.first_day.left": nitrite and loss == "first day",
        "ph.beef": "beef" in species,
        "ph.pork": "pork" in species,
        "film.contact": any(stretch.lying for stretch in stretches) and any(piece.lies_flat for piece in pieces),
        "purge.per_salt": any(stretch.purge == "published" for stretch in stretches),
        "water uptake": wet,
        "water weight": wet,
        "salt weight": any(stage.cures for stage in stages),
        "cure weight": nitrite or nitrate,
    }
    found = []
    for row in uncertain_inputs():
        if row.kind == "piece":
            found += [
                replace(row, key=f"{row.key} of {piece.name}", remedy=row.remedy.format(piece=piece.name))
                for piece in pieces
                if piece.ruler()[OF_PIECES.index(f"{row.key} of ")]
            ]
        elif row.kind == "condition":
            found += [row] if needed.get(row.key, True) else []
        elif row.key in used and needed.get(row.key, True) and numbers[row.key].how != "given":
            found.append(row)
    return tuple(found)


def with_known(inputs: Sequence[Uncertain], profile: MeatAndFridge | None) -> tuple[Uncertain, ...]:
    """The inputs of a batch with what earlier batches taught as priors (None: as they are).

    Factors of the meat are widened by BETWEEN_PIECES, as the next piece is another animal. What this batch does not depend on is left
    out.
    """
    mine = {row.key: row for row in profile.known} if profile is not None else {}
    result = []
    for row in inputs:
        if profile is not None and row.key in mine:
            own = mine[row.key]
            logs = row.distribution.startswith("log")
            low, high = (np.log([own.low, own.high]) if logs else np.array([own.low, own.high])).tolist()
            if row.key in OF_THE_MEAT and logs:
                more = float(np.hypot(0.5 * (high - low), POINT_95 * BETWEEN_PIECES))
                low, high = 0.5 * (low + high) - more, 0.5 * (low + high) + more
            if logs:
                low, high = float(np.exp(low)), float(np.exp(high))
            row = replace(
                row, distribution="lognormal" if logs else "normal", low=low, mode=None, high=high,
                meaning="low and high are the 5 and 95 % points", source=f'carried over from "{profile.name}"', how="derived",
            )  # fmt: skip
        result.append(row)
    return tuple(result)
