"""What a page shows: the batch that it holds (`kept_batch`) and its results, kept as long as they hold. No widgets, and no arithmetic of its own."""

from __future__ import annotations

import os
from collections.abc import Generator, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import traitlets as T

from .. import outcome as outcomes
from ..batch import Batch
from ..engine.history import History
from ..engine.simulate import check, simulate
from ..forecast.ready import Ready, soak_after, wanted_after, wanted_of
from ..paper.moments import elapsed
from ..recipe.criterion import TEMPERATURE
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..show.own_units import own_units
from ..sources import default_numbers
from ..spread import Spread, spread
from ..spread.changes import Change, in_order_of_use, worked_out
from ..spread.draws import usual_case
from .hand import Hand, in_hand
from .kept_batch import WORKING_FILE, KeptBatch, starting_batch

Whole = TypeVar("Whole")
MOST_KEPT = 8  # spreads, and answers of what to change
FEW = 32  # draws of a picture soon after a slider rests, or at once where no page waits; all of them follow
QUICK = 64  # draws of an outcome, and of a log, until they are settled
SHORT = 32  # draws that are settled together, so that whoever moves a slider meanwhile is heard soon
PAGE_DRAWS = 512  # draws once the sliders rest


class State(KeptBatch):
    """The batch of a page and its results.

    bands: shade the pictures with how sure it is; words and lines stay as they are.
    strict: let exceptions of views through (tests).
    """

    bands = T.Bool(True)
    redrawn_for = (*KeptBatch.redrawn_for, "bands")

    def __init__(self, batch: Batch | None = None, path: str = "", *, strict: bool = False):
        super().__init__(batch, path)
        self.strict = strict
        self.hurried = (
            False  # somebody waits: what has no draws yet is shown as the usual case alone, until it is `settled`
        )
        self._kept: dict[Any, Spread] = {}
        self._shown: dict[Any, None] = {}
        self._asked: dict[Any, tuple[Spread, int, str]] = {}
        self._changed: dict[Any, tuple[Change, ...]] = {}
        self._outcome: outcomes.Outcome | None = None
        self._held: tuple[Any, tuple[Stage, ...]] | None = None

    # -- results -----------------------------------------------------------------------------------------------------------------

    def spread(self, stages: tuple[Stage, ...] | None = None, pieces: tuple[Piece, ...] | None = None) -> Spread:
        """The draws of `stages` and `pieces` (default: those of the batch): few at once (`FEW`), all of them (`PAGE_DRAWS`) once they
        have been `settled`. In a hurry the usual case alone, on few terms, which is not `banded`.
        """
        wanted = self.batch.filled() if stages is None else stages
        meat = pieces or self.batch.pieces
        key = (meat, wanted, self.batch.loss, self.batch.meat_and_fridge)
        if key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            check(meat, wanted, self.batch.loss)
            self._kept[key] = Spread.single(_usual(key, few=True)) if self.hurried else _drawn(key, FEW)
        self._shown[key] = None
        return self._kept[key]

    def by_clock(self, stages: tuple[Stage, ...]) -> Spread:
        """`spread`, with what waits for salt lasting as long in every draw as in the usual case: nobody sees salt from outside."""
        if all(stage.until is None or stage.until.quantity == TEMPERATURE for stage in stages):
            return self.spread(stages)
        key = (self.batch.pieces, stages, self.batch.loss, self.batch.meat_and_fridge)
        if self._held is None or self._held[0] != key:
            self._held = key, _usual(key, few=True).held(stages, by_probe=True)
        return self.spread(self._held[1])

    def soaked(self, stages: tuple[Stage, ...], pieces: Sequence[int]) -> tuple[Spread, tuple[Ready, ...]] | None:
        """When pieces are ready that are soaked as planned, after a cure that ends too salty, and the draws behind it; None for other batches."""
        soak = soak_after(stages, self.cure)
        if soak is None:
            return None
        many = self.by_clock(stages)
        if wanted_of(many.usual, self.cure, 0).basis == "equilibrium":
            return None
        aim = wanted_after(stages[soak], many.usual.numbers)
        return many, tuple(replace(each, wanted=aim) for each in many.ready(self.cure, pieces))

    def ready(self, stages: tuple[Stage, ...]) -> tuple[Ready, ...]:
        """When each piece is ready by the last cure of these stages, in as many draws as a report has; nothing where nothing cures."""
        cures = [number for number, stage in enumerate(stages) if stage.cures]
        found = self.by_clock(stages).ready(cures[-1]) if cures else ()
        return tuple(each.in_first(outcomes.REPORT_DRAWS) for each in found)

    def alone(self) -> Spread:
        """The usual case of the batch alone, on few terms: not kept, and never settled."""
        batch = self.batch
        return Spread.single(_usual((batch.pieces, batch.filled(), batch.loss, batch.meat_and_fridge), few=True))

    def settled(self, count: int | None = None) -> Iterator[None]:
        """Compute what was shown since `showing` in so many draws (default: all), in steps short enough that the user can interrupt."""
        wanted = PAGE_DRAWS if count is None else count
        for key in list(self._shown):
            quick = self._kept.get(key)
            if quick is not None and quick.count < wanted:
                full = quick.widened(wanted) if quick.banded else _drawn(key, wanted)
                yield
                yield from full.prepared(quick, SHORT)
                self._kept[key] = full
        if wanted < PAGE_DRAWS:
            return
        yield from self._settled_changes()
        if self._outcome is not None and self._outcome.draws < outcomes.REPORT_DRAWS:
            self._outcome = yield from last(self._outcome.settled(outcomes.REPORT_DRAWS, SHORT))

    @property
    def bare(self) -> bool:
        """Whether something is shown as the usual case alone, until it is `settled`."""
        return any(key in self._kept and not self._kept[key].banded for key in self._shown)

    def changes(self, many: Spread, stage: int, piece: str) -> tuple[Change, ...] | None:
        """What would help the slowest spot of a piece; None until it has been `settled`."""
        key = (many.case.pieces, many.case.stages, stage, piece)
        self._asked[key] = many, stage, piece
        return self._changed.get(key)

    def _settled_changes(self) -> Iterator[None]:
        for key, (many, stage, piece) in list(self._asked.items()):
            if key not in self._changed:
                found = []
                for each in worked_out(
                    many, stage, piece, more_nitrite=outcomes.more_nitrite(self.batch), system=self.batch.units
                ):
                    found += [each] if each is not None else []
                    yield
                self._changed[key] = in_order_of_use(found)

    def showing(self) -> None:
        """Forget what was shown before: a view begins to draw."""
        self._shown.clear()
        self._asked.clear()
        if len(self._changed) >= MOST_KEPT:
            self._changed.clear()
        if self._outcome is not None and self._outcome.batch != self.batch:
            self._outcome = None

    @property
    def outcome_waits(self) -> bool:
        """Whether the outcome is not there yet, and somebody waits."""
        return self.hurried and self._outcome is None

    def shown_outcome(self) -> outcomes.Outcome:
        """The outcome of the batch, its log taken up, with few draws behind its bands until it is settled; kept while the batch stays as it
        is.
        """
        if self._outcome is None:
            self._outcome = replace(outcomes.run(self.batch, draws=QUICK, now=self._now()), passing=True)
        return self._outcome

    def assumed(self) -> tuple[str, ...]:
        """What was taken for granted in all that was shown since `showing`, one sentence each."""
        shown = [self._kept[key].usual for key in self._shown if key in self._kept]
        shown += [self._outcome.history] if self._outcome is not None else []
        return self.in_own_units(dict.fromkeys(sentence for each in shown for sentence in each.assumptions))

    def in_own_units(self, sentences: Iterable[str]) -> tuple[str, ...]:
        """Sentences of a history, which knows no units, in those of the batch."""
        return tuple(own_units(each, self.batch.units) for each in sentences)

    def _now(self) -> float | None:
        return elapsed(self.batch, datetime.now(UTC))

    # -- what benches ask for ------------------------------------------------------------------------------------------------------

    @property
    def cure(self) -> int:
        """Number of the first stage that cures."""
        return next(n for n, stage in enumerate(self.batch.stages) if stage.cures)

    @property
    def soak(self) -> int | None:
        """Number of the first soak, if there is one."""
        return next((n for n, stage in enumerate(self.batch.stages) if stage.desalts), None)

    def cure_lasting(self, seconds: float) -> tuple[Stage, ...]:
        """The stages up to the cure, with the cure made to last; for pictures that look past its end."""
        filled = self.batch.filled()
        return (*filled[: self.cure], filled[self.cure].lasting(seconds))


def _usual(key: Any, few: bool = False) -> History:
    """The usual case of what a spread is kept by."""
    pieces, stages, loss, known = key
    case = usual_case(pieces, stages, default_numbers(), known)
    return simulate(case[0], case[1], loss=loss, numbers=case[2], checked=False, few=few)


def _drawn(key: Any, count: int) -> Spread:
    """So many draws of it, beside its usual case."""
    pieces, stages, loss, known = key
    usual = _usual(key)
    return spread(pieces, stages, count=count, loss=loss, known=known, used=usual.numbers.used).beside(usual)


def last(steps: Iterator[Whole]) -> Generator[None, None, Whole]:
    """Take every step, giving way after each, and return what the last one gave."""
    given = []
    for each in steps:
        given = [each]
        yield
    return given[0]


def opened(path: str | Path = WORKING_FILE) -> State:
    """The state of a page: the batch in hand in this folder, else the working file, if it is there and sound, else the starting batch
    (problems then say why). Its changes are saved by themselves.
    """
    state = State(path="")
    state.hand = Hand(Path(path).parent)
    chosen = in_hand(Path(path).parent) or Path(path)
    if os.path.exists(chosen):
        state.open(chosen)
    return state


__all__ = ["WORKING_FILE", "State", "opened", "starting_batch"]
