"""What to change where the slowest spot of a piece stays without colour and protection: thinner, split, more nitrite, colder and longer.

Each change is computed in the same draws of the same batch, so that its number stands beside that of the batch as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..engine.simulate import simulate
from ..forecast.ready import ENOUGH, Ready, soak_after
from ..recipe.cutting import sliced
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from .draws import Draws, draw, in_the_middle
from .spread import LONGEST_WAIT, Spread

DRAWS = 64  # behind each change, where the caller asks for no other number
PART = 22  # of them are computed together, so that whoever moves a slider meanwhile is heard soon
STEP = {"metric": 0.005, "us": 0.00635}  # m: no finer than a cook cuts, half a centimetre or a quarter inch (judgement)
THINNEST = 0.015  # m: thinner is no longer a piece to cure whole (judgement)
COLDEST = 274.15  # K: as cold as a fridge can be kept without ice (judgement)
COLDER = 0.5  # K: less is no change that a fridge can hold (judgement)
LEAST_MORE = 1.05  # times the nitrite: less is no change (judgement)
MOST_FAT = 0.4  # of a piece cut thinner: its cap is trimmed so far (judgement)
CELLS = 24  # from a face to the middle, carried by few terms as all draws are


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
    many: Spread,
    stage: int,
    piece: int | str,
    *,
    more_nitrite: float = 1.0,
    salt: float | None = None,
    draws: int = DRAWS,
    system: str = "metric",
) -> tuple[Change, ...]:
    """What each change would give for one piece, the surest first. `more_nitrite`: times as much as is in it now that the rules allow; `system`:
    of the units in which it is cut.
    """
    found = worked_out(many, stage, piece, more_nitrite=more_nitrite, salt=salt, draws=draws, step=draws, system=system)
    return in_order_of_use([each for each in found if each is not None])


def in_order_of_use(made: Sequence[Change]) -> tuple[Change, ...]:
    """Those that are enough first, and of these the one that asks for the least cut; the others by how often they hold."""
    gentle = {kind: number for number, kind in enumerate(("nitrite", "colder", "thinner", "split"))}
    return tuple(
        sorted(made, key=lambda each: (not each.enough, gentle[each.kind] if each.enough else -each.ready.chance))
    )


def worked_out(
    many: Spread,
    stage: int,
    piece: int | str,
    *,
    more_nitrite: float = 1.0,
    salt: float | None = None,
    draws: int = DRAWS,
    step: int = PART,
    system: str = "metric",
) -> Iterator[Change | None]:
    """The same in short steps of at most `step` draws, for whoever wants to do something in between: each change as it is found, None after a step
    without one. A piece that is soaked as planned has the days of the plan with every change, and "colder" would ask for more.
    """
    number = many.number(piece)
    soak = soak_after(many.case.stages, stage)
    planned = soak is not None and many.ready(stage, [number], salt=salt, at_most=LONGEST_WAIT)[0].after is not None
    pieces, stages = many.case.pieces, many.case.stages[: 2 + (soak if planned and soak is not None else stage)]
    own = pieces[number]

    def asked(
        kind: str, value: float, meat: Sequence[Piece] = pieces, line: Sequence[Stage] = stages
    ) -> Generator[None, None, Change]:
        few = _few(many, tuple(meat), tuple(line), stage, draws)
        yield
        yield from few.readying(step, stage, [number], salt=salt, at_most=LONGEST_WAIT)
        return Change(kind, value, few.ready(stage, [number], salt=salt, at_most=LONGEST_WAIT)[0])

    def cut(kind: str, thickness: float) -> Generator[None, None, Change]:
        thin = sliced(own).but(thickness=thickness, fat_cap=min(own.fat_cap, MOST_FAT * thickness))
        return asked(kind, thickness, (*pieces[:number], thin, *pieces[number + 1 :]))

    yield from _thinner(own, STEP[system], cut)
    if more_nitrite > LEAST_MORE:
        factors = {"nitrite": more_nitrite}
        yield (yield from asked("nitrite", more_nitrite, line=[each.times(factors, checked=False) for each in stages]))
    by = COLDEST - min(each.coldest for each in stages)
    if by < -COLDER and not planned:
        yield (yield from asked("colder", COLDEST, line=[each.warmed(by) for each in stages]))


def _thinner(
    own: Piece, whole: float, cut: Callable[[str, float], Generator[None, None, Change]]
) -> Iterator[Change | None]:
    """What the piece split in two gives, and the thickest cut, in steps of `whole` m, that is enough, where there is one that is no split: looked for
    from the split on in steps that double, then by halving.
    """
    steps = np.arange(np.ceil(THINNEST / whole), np.ceil(own.thickness / whole - 1e-9)) * whole
    low, high, best, reach, up = 0, len(steps), None, len(steps), True
    splits = own.shape == "slab" and own.thickness / 2 >= THINNEST
    if splits:
        half = yield from cut("split", own.thickness / 2)
        yield half
        at, reach, up = int(np.searchsorted(steps, half.value - 1e-9)), 1, half.enough
        if not up:
            high = at
        elif steps[at] < half.value + 1e-9:  # a cut as thick
            low, best = at + 1, replace(half, kind="thinner")
        else:
            low = max(at - 1, 0)
    while low < high:
        middle = (low + high) // 2
        middle = min(middle, low + reach - 1) if up else max(middle, high - reach)
        reach *= 2
        found = yield from cut("thinner", float(steps[middle]))
        if found.enough:
            best, low = found, middle + 1
        else:
            high = middle
    if best is not None and not (splits and abs(best.value - own.thickness / 2) < 1e-9):
        yield best


def _few(many: Spread, pieces: tuple[Piece, ...], stages: tuple[Stage, ...], stage: int, draws: int) -> Spread:
    """Other pieces and stages in the first draws of a batch, to be asked about a stage by its number."""
    columns = _first(many, draws) if many.banded else {}
    case = replace(many.case, pieces=pieces, stages=stages, more=(("cells", CELLS),))
    few = Spread(case, Draws(many.draws.inputs, many.draws.seed, columns, many.draws.learned), many.executor)
    # Of the usual case only where its cure would come to rest is read, which a dozen terms tell as well as all cells.
    numbers = in_the_middle(case.numbers, few.inputs)
    usual = simulate(
        pieces, stages[: stage + 1], loss=case.loss, numbers=numbers, cells=CELLS, few=True, segments=1, checked=False
    )
    return few.beside(usual)


def _first(many: Spread, draws: int) -> dict[str, np.ndarray]:
    """The columns of the first draws of a batch, or of more than it has: few draws are the beginning of many."""
    if draws > many.count:
        return draw(many.draws.inputs, draws, many.draws.seed, many.draws.learned).columns
    return many.draws.part(slice(0, draws))
