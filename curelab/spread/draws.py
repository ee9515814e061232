"""Draws of what is not known exactly, what readings tie together in them, and the usual case."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .. import normal
from ..engine.drawn import drawn_case
from ..recipe.meat_and_fridge import MeatAndFridge
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..sources import Numbers, default_numbers
from .sobol import sobol
from .uncertain import TAIL, Uncertain, uncertain_inputs

# Behind every band of a report, where the caller asks for no other number: days come out within 1 to 3 % of those of 2,048 draws, as of 256 (measured).
REPORT_DRAWS = 128


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
        free = np.stack([normal.score(np.clip(shares[self.rows[n].key], TAIL, 1 - TAIL)) for n in own])
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

    >>> from curelab.spread.uncertain import uncertain_inputs
    >>> draw(uncertain_inputs()[:2], 64, seed=3).columns["ratio.nitrite"].shape
    (64,)
    """
    if not inputs or count < 8:
        raise ValueError("a spread needs at least one uncertain input and 8 draws")
    points = sobol(len(inputs), count, seed)
    columns = {row.key: row.at(points[:, k]) for k, row in enumerate(inputs)}
    if learned is not None:
        columns |= learned.drawn({row.key: points[:, k] for k, row in enumerate(inputs)})
    columns = {key: np.clip(column, *default_numbers().bounds(key)) for key, column in columns.items()}
    return Draws(tuple(inputs), seed, columns, learned)


def usual_case(
    pieces: Sequence[Piece],
    stages: Sequence[Stage],
    numbers: Numbers,
    profile: MeatAndFridge | None,
    learned: Learned | None = None,
    *,
    cold: bool = False,
) -> tuple[tuple[Piece, ...], tuple[Stage, ...], Numbers]:
    """The batch at the usual value of everything, which is the middle of what is possible, as in the middle draw; or at what earlier batches
    and its own readings taught of it. `cold`: but no colder than planned, which is what a check must be held against.
    """
    numbers = in_the_middle(numbers, uncertain_inputs())
    values = {row.key: row.value for row in profile.known} if profile is not None else {}
    if learned is not None:
        plain = {row.key: numbers[row.key].value if row.key in numbers else _unmoved(row) for row in learned.rows}
        values |= learned.moved(plain | values)
    if cold:  # a thermometer may make a check harder, never easier: it hung in one place, and a fridge swings
        read = profile is not None or (learned is not None and "temperature" in learned.asked)
        values["temperature"] = max(values.get("temperature", 0.0), 0.0) if read else 0.0
    return drawn_case(pieces, stages, numbers, values) if values else (tuple(pieces), tuple(stages), numbers)


def in_the_middle(numbers: Numbers, inputs: Sequence[Uncertain]) -> Numbers:
    """The numbers with every uncertain one at its usual value; one that the caller has set stays."""
    quiet = numbers.tracked()  # looking at a number here is not resting on it
    rows = [row for row in inputs if row.key in quiet and quiet[row.key].how != "given"]
    return numbers.with_values({row.key: row.usual for row in rows}, published=True)


def _unmoved(row: Uncertain) -> float:
    """The value of a condition that changes nothing: a factor of 1, or nothing added."""
    return 1.0 if row.key.endswith(" weight") else 0.0
