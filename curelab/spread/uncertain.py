"""What is not known exactly, as distributions, and how one draw of it changes a batch.

`datasets/uncertain.csv` holds one row per uncertain input. An input is a published number (its key in numbers.csv), a
condition of the batch (temperature, weights, water uptake, activation energy), or the thickness of one piece.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import ndtr, ndtri

from ..engine.assembly import FILM_TEMPERATURE
from ..fields import Record
from ..matter.solutes import WATER_NODES
from ..recipe.meat_and_fridge import MeatAndFridge
from ..recipe.piece import Piece
from ..recipe.stages import AnyStage, Brine, SealedCure, Soak
from ..sources import Numbers, default_numbers, read_table

Columns = Mapping[str, np.ndarray]
TAIL = 0.005  # a normal or lognormal input is cut at this probability on either side: nothing is without bounds
POINT_95 = float(ndtri(0.95))
MOST_OFF = 0.4  # of the thickness: the most that a ruler can be wrong
GAS_CONSTANT = 8.314462618  # J/(mol K), exact by definition of the kelvin and the mole
# Of the logarithm of obstruction, from one animal to the next: 0.28 over 1.90 in one study (row rival.lean_diffusivity.springer,
# seen in the abstract); that it holds between a cook's own pieces is a judgement.
BETWEEN_PIECES = 0.15
OF_THE_MEAT = ("obstruction.lean", "partition.water_phase", "fat.relative_diffusivity", "water uptake")
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
        return self.scored(ndtri(np.clip(share, TAIL, 1 - TAIL)))

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
        return self.at(ndtr(score))

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
    "ph.beef": "the pH of the beef",
    "ph.pork": "the pH of the pork",
    "film.stirred": "the layer at a face in moving brine",
    "film.still": "the layer at a face in still brine",
    "film.contact": "how well brine gets under the piece",
    "purge.sealed_cure": "the liquid that the salt draws",
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


def inputs_for(pieces: Sequence[Piece], stages: Sequence[AnyStage], loss: str, numbers: Numbers, used: Sequence[str]):
    """The uncertain inputs that this batch depends on, one `thickness of ...` for each piece.

    `used`: keys that a history of the batch looked up. A number that the caller has set (its `how` is "given") is known.
    """
    nitrite = any(_solutes(stage).get("nitrite", 0) > 0 for stage in stages)
    wet = [stage for stage in stages if isinstance(stage, (Brine, Soak))]
    layered = any(piece.fat_cap for piece in pieces)
    asked = [piece for piece in pieces if piece.ph is None]
    needed = {
        "fat.relative_diffusivity": layered,
        "nitrite.loss_multiplier": nitrite and loss != "none",
        "nitrite.takagi.half_life": nitrite and loss == "takagi",
        "ph.beef": nitrite and loss == "nordin" and any(_species(piece) == "beef" for piece in asked),
        "ph.pork": nitrite and loss == "nordin" and any(_species(piece) == "pork" for piece in asked),
        "film.contact": any(stage.lying for stage in wet) and any(piece.shape == "slab" for piece in pieces),
        "purge.sealed_cure": any(isinstance(s, SealedCure) and s.purge is None for s in stages),
        "water uptake": bool(wet),
        "water weight": bool(wet),
        "salt weight": any(isinstance(stage, (Brine, SealedCure)) for stage in stages),
        "cure weight": nitrite or any(_solutes(stage).get("nitrate", 0) > 0 for stage in stages),
    }
    found = []
    for row in uncertain_inputs():
        if row.kind == "piece":
            found += [
                replace(row, key=f"thickness of {piece.name}", remedy=row.remedy.format(piece=piece.name))
                for piece in pieces
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


def _species(piece: Piece) -> str:
    from ..matter.tissue import TISSUES

    return TISSUES[piece.tissue].species


def _solutes(stage: AnyStage) -> dict[str, float]:
    made = stage.bath if isinstance(stage, Brine) else stage
    return {name: getattr(made, name, 0.0) or 0.0 for name in ("salt", "sugar", "nitrate", "nitrite")}


@dataclass(frozen=True)
class Learned:
    """What readings have taught of several inputs at once, as scores: before, each was 0 with deviation 1 and knew nothing of the others.

    middle (p,); covariance (p, p). Thickness and pace, say, are tied: what a fast brine tells is either thin meat or quick meat. asked:
    keys of those that the readings were asked for, the others only vary beside them.
    """

    rows: tuple[Uncertain, ...]
    middle: np.ndarray
    covariance: np.ndarray
    asked: tuple[str, ...]

    def only(self, *keys: str) -> Learned | None:
        """What was asked for and found of these inputs alone; None for nothing."""
        own = [number for number, row in enumerate(self.rows) if row.key in keys and row.key in self.asked]
        if not own:
            return None
        rows = tuple(self.rows[number] for number in own)
        return Learned(rows, self.middle[own], self.covariance[np.ix_(own, own)], tuple(row.key for row in rows))

    @property
    def values(self) -> dict[str, float]:
        """The likeliest value of each that was asked for, in printed units."""
        return {
            row.key: float(row.scored(score))
            for row, score in zip(self.rows, self.middle, strict=True)
            if row.key in self.asked
        }

    def moved(self, usual: Mapping[str, float]) -> dict[str, float]:
        """`usual` values, each moved as far as the readings have moved the middle of what is possible; all that they touched, so that one
        line tells the same story as the draws.
        """
        made = {}
        for row, score in zip(self.rows, self.middle, strict=True):
            before, now = float(row.scored(np.zeros(()))), float(row.scored(score))
            factor = row.distribution.startswith("log")
            made[row.key] = usual[row.key] * now / before if factor else usual[row.key] + now - before
        return made

    def drawn(self, shares: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
        """Values (n,) of those inputs that have `shares` (n,), even over 0 to 1."""
        own = [number for number, row in enumerate(self.rows) if row.key in shares]
        free = np.stack([ndtri(np.clip(shares[self.rows[n].key], TAIL, 1 - TAIL)) for n in own])
        size, shape = np.linalg.eigh(self.covariance[np.ix_(own, own)])
        # Symmetric, so that each input leans on its own shares first.
        root = shape * np.sqrt(np.maximum(size, 0.0)) @ shape.T
        scores = self.middle[own, None] + root @ free
        return {self.rows[n].key: self.rows[n].scored(score) for n, score in zip(own, scores, strict=True)}


@dataclass(frozen=True)
class Draws:
    """Values of every input in every draw, columns (n,) in printed units; made by `draw`, same seed, same draws. `learned`: what
    readings taught, None for nothing.
    """

    inputs: tuple[Uncertain, ...]
    seed: int
    columns: dict[str, np.ndarray]
    learned: Learned | None = None

    @property
    def count(self) -> int:
        return len(next(iter(self.columns.values()))) if self.columns else 0

    def part(self, chosen: slice | np.ndarray) -> dict[str, np.ndarray]:
        """The columns of some draws."""
        return {key: column[chosen] for key, column in self.columns.items()}


def draw(inputs: Sequence[Uncertain], count: int = 512, seed: int = 0, learned: Learned | None = None) -> Draws:
    """Scrambled Sobol points, so that few draws fill the space evenly. A power of two is best balanced; any other count is the
    beginning of the next larger one. `learned`: inputs that readings have tied together. Raises ValueError for no inputs or a count
    below 8.

    >>> draw(uncertain_inputs()[:2], 64, seed=3).columns["ratio.nitrite"].shape
    (64,)
    """
    from scipy.stats import qmc

    if not inputs or count < 8:
        raise ValueError("a spread needs at least one uncertain input and 8 draws")
    points = qmc.Sobol(len(inputs), scramble=True, seed=seed).random_base2(int(np.ceil(np.log2(count))))[:count]
    columns = {row.key: row.at(points[:, k]) for k, row in enumerate(inputs)}
    if learned is not None:
        columns |= learned.drawn({row.key: points[:, k] for k, row in enumerate(inputs)})
    columns = {key: np.clip(column, *default_numbers().bounds(key)) for key, column in columns.items()}
    return Draws(tuple(inputs), seed, columns, learned)


# ---- one draw as a batch: the slow way, which the engine must agree with ---------------------------------------------


def unchecked(record: Any, **changes) -> Any:
    """The record with other values, not read again: a draw may step over what a cook may type."""
    other = copy.copy(record)
    for name, value in changes.items():
        object.__setattr__(other, name, value)
    return other


def thickness_factor(piece: Piece, offset: np.ndarray) -> np.ndarray:
    """Factor on every length of a piece whose thickness is off by `offset` mm."""
    return 1.0 + np.clip(np.asarray(offset) * 1e-3 / piece.thickness, -MOST_OFF, MOST_OFF)


def tilt(offset: np.ndarray | float, kelvin: np.ndarray | float) -> np.ndarray:
    """Factor on a diffusivity whose activation energy is larger by `offset` kJ/mol: none at 3 degC, where films and
    obstruction were measured.
    """
    return np.exp(-1e3 * np.asarray(offset) / GAS_CONSTANT * (1 / np.asarray(kelvin) - 1 / FILM_TEMPERATURE))


def drawn_case(
    pieces: Sequence[Piece], stages: Sequence[AnyStage], numbers: Numbers, values: Mapping[str, float]
) -> tuple[tuple[Piece, ...], tuple[AnyStage, ...], Numbers]:
    """The batch as it is in one draw, for `simulate`."""
    meat, water, salt, cure = (values.get(f"{what} weight", 1.0) for what in ("meat", "water", "salt", "cure"))
    warmer = values.get("temperature", 0.0)
    changed = {key: float(value) for key, value in values.items() if key in numbers}
    if "water uptake" in values:
        for key in numbers:
            if key.startswith("water_change.at_"):
                changed[key] = numbers[key].value + values["water uptake"]
    if "activation energy" in values:
        for node in WATER_NODES:
            key = f"water.salt_diffusivity.{node}C"
            changed[key] = numbers[key].value * float(tilt(values["activation energy"], node + 273.15))
    made: list[Piece] = []
    for piece in pieces:
        by = float(thickness_factor(piece, np.asarray(values.get(f"thickness of {piece.name}", 0.0))))
        made.append(
            unchecked(piece, thickness=piece.thickness * by, fat_cap=piece.fat_cap * by, weight=piece.weight * meat)
        )
    return (
        tuple(made),
        tuple(_drawn_stage(stage, water, salt, cure, warmer) for stage in stages),
        # A draw beyond the hard bounds is cut there; refusing is for what a person types.
        numbers.with_values({key: float(np.clip(value, *numbers.bounds(key))) for key, value in changed.items()}),
    )


def usual_case(
    pieces: Sequence[Piece],
    stages: Sequence[AnyStage],
    numbers: Numbers,
    profile: MeatAndFridge | None,
    learned: Learned | None = None,
    *,
    cold: bool = False,
) -> tuple[tuple[Piece, ...], tuple[AnyStage, ...], Numbers]:
    """The batch at the usual value of everything, or at what earlier batches and its own readings taught of it. `cold`: but no colder than
    planned, which is what a check must be held against.
    """
    values = {row.key: row.value for row in profile.known} if profile is not None else {}
    if learned is not None:
        plain = {row.key: numbers[row.key].value if row.key in numbers else _unmoved(row) for row in learned.rows}
        values |= learned.moved(plain | values)
    if cold:  # a thermometer may make a check harder, never easier: it hung in one place, and a fridge swings
        read = profile is not None or (learned is not None and "temperature" in learned.asked)
        values["temperature"] = max(values.get("temperature", 0.0), 0.0) if read else 0.0
    return drawn_case(pieces, stages, numbers, values) if values else (tuple(pieces), tuple(stages), numbers)


def _unmoved(row: Uncertain) -> float:
    """The value of a condition that changes nothing: a factor of 1, or nothing added."""
    return 1.0 if row.key.endswith(" weight") else 0.0


def _drawn_stage(stage: AnyStage, water: float, salt: float, cure: float, warmer: float) -> AnyStage:
    changes: dict[str, Any] = {}
    if isinstance(stage, Brine) and stage.bath is not None:
        changes["bath"] = unchecked(stage.bath, water=stage.bath.water * water, **_weighed(stage.bath, salt, cure))
    if isinstance(stage, SealedCure):
        changes |= _weighed(stage, salt, cure)
    if isinstance(stage, Soak):
        changes["waters"] = tuple(
            unchecked(each, amount=each.amount * water, temperature=_warmed(each, warmer)) for each in stage.waters
        )
    else:
        changes["temperature"] = _warmed(stage, warmer)
    return unchecked(stage, **changes)


def _weighed(given: Any, salt: float, cure: float) -> dict[str, float]:
    """What is put in, as the scale was off; a cure that is not filled yet has no salt."""
    off = {"salt": salt, "nitrate": cure, "nitrite": cure}
    return {name: getattr(given, name) * by for name, by in off.items() if getattr(given, name) is not None}


def _warmed(held: Record, by: float):
    return tuple((time, kelvin + by) for time, kelvin in held.temperature)  # type: ignore[attr-defined]
