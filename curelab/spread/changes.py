"""What to change where the slowest spot of a piece stays without colour and protection: thinner, split, more nitrite, colder and longer.

Each change is computed in the same draws of the same batch, so that its number stands beside that of the batch as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..forecast.ready import Ready
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from .draws import Draws, draw
from .spread import LONGEST_WAIT, Spread

DRAWS = 64  # behind each change
ENOUGH = 0.9  # of the draws in which the slowest spot must hold (issue: more than 1 of 10 is too often)
STEP = 0.005  # m: no finer than a cook cuts (judgement)
THINNEST = 0.015  # m: thinner is no longer a piece to cure whole (judgement)
COLDEST = 274.15  # K: as cold as a fridge can be kept without ice (judgement)
COLDER = 0.5  # K: less is no change that a fridge can hold (judgement)
CELLS = 24


@dataclass(frozen=True)
class Change:
    """One change and what it comes to. kind: "thinner", "split" (value: thickness in m), "nitrite" (value: times as much) or "colder"
    (value: K).
    """

    kind: str
    value: float
    ready: Ready

    @property
    def enough(self) -> bool:
        return self.ready.chance >= ENOUGH


def changes(
    many: Spread, stage: int, piece: int | str, *, more_nitrite: float = 1.0, salt: float | None = None
) -> tuple[Change, ...]:
    """What each change would give for one piece, the surest first. `more_nitrite`: times as much as is in it now that the rules allow."""
    number = many.number(piece)
    pieces, stages = many.case.pieces, many.case.stages[: stage + 1]
    own = pieces[number]

    def asked(kind: str, value: float, meat: Sequence[Piece] = pieces, line: Sequence[Stage] = stages) -> Change:
        few = _few(many, tuple(meat), tuple(line))
        return Change(kind, value, few.ready(stage, [number], salt=salt, at_most=LONGEST_WAIT)[0])

    def cut(kind: str, thickness: float) -> Change:
        thin = own.but(thickness=thickness, fat_cap=min(own.fat_cap, 0.4 * thickness))
        return asked(kind, thickness, (*pieces[:number], thin, *pieces[number + 1 :]))

    found = []
    if own.shape == "slab" and own.thickness / 2 >= THINNEST:
        found.append(cut("split", own.thickness / 2))
    thinner = _thickest(own.thickness, cut)
    if thinner is not None:
        found.append(thinner)
    if more_nitrite > 1.01:
        found.append(
            asked("nitrite", more_nitrite, line=[each.times({"nitrite": more_nitrite}, False) for each in stages])
        )
    by = COLDEST - min(each.coldest for each in stages)
    if by < -COLDER:
        found.append(asked("colder", COLDEST, line=[each.warmed(by) for each in stages]))
    return tuple(sorted(found, key=lambda each: -each.ready.chance))


def _thickest(thickness: float, cut) -> Change | None:
    """The thickest cut, in whole STEPs, that is enough; None where none is."""
    steps = np.arange(np.ceil(THINNEST / STEP), np.ceil(thickness / STEP)) * STEP
    low, high, best = 0, len(steps), None
    while low < high:
        middle = (low + high) // 2
        found = cut("thinner", float(steps[middle]))
        if found.enough:
            best, low = found, middle + 1
        else:
            high = middle
    return best


def _few(many: Spread, pieces: tuple[Piece, ...], stages: tuple[Stage, ...]) -> Spread:
    """Other pieces and stages in the first draws of a batch."""
    columns = draw(many.draws.inputs, max(DRAWS, 8), many.draws.seed, many.draws.learned).columns if many.banded else {}
    case = replace(many.case, pieces=pieces, stages=stages, more=(("cells", CELLS),))
    return Spread(case, Draws(many.draws.inputs, many.draws.seed, columns, many.draws.learned), many.executor)
