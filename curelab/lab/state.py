"""The batch in memory, shared by all benches of a page: open, edit, save. No widgets in here, and no arithmetic of its own.

Every edit makes a new batch through the same records a file is read into, so what the sliders write is what the file says and what
`curelab run` computes. An edit that cannot be is not made: it leaves `problems`, and views show those instead of old numbers.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any, TypeVar

import traitlets as T

from .. import batch as batches
from .. import outcome as outcomes
from ..batch import Batch, Reading
from ..engine.simulate import check, simulate
from ..fields import InputError, refuse
from ..paper.logbook import append_reading, save_keeping_log, undo
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..show.report import words
from ..sources import datasets_folder, default_numbers
from ..spread import Spread, spread
from ..spread.changes import Change, in_order_of_use, worked_out
from ..spread.draws import usual_case
from .own import Own, keep, kept

Whole = TypeVar("Whole")
WORKING_FILE = "my-batch.toml"
MOST_KEPT = 8  # spreads, and answers of what to change
QUICK = 64  # draws while a slider is being moved
SHORT = 32  # draws that are settled together, so that whoever moves a slider meanwhile is heard soon
PAGE_DRAWS = 512  # draws once the sliders rest


class State(T.HasTraits):
    """One batch, where it is kept, whether it differs from its file, and what is wrong with the last edit.

    own: what benches set that is no part of the batch, kept in a file of its own beside that of the batch.
    revision: grows with everything a view must redraw for.
    bands: shade the pictures with how sure it is; words and lines stay as they are.
    strict: let exceptions of views through (tests).
    """

    batch = T.Instance(Batch)
    own = T.Instance(Own)
    path = T.Unicode("")
    saved = T.Bool(True)
    bands = T.Bool(True)
    problems = T.Tuple()
    revision = T.Int(0)
    opened = T.Int(0)  # counts files opened, because a file may hold the very batch that is there

    def __init__(self, batch: Batch | None = None, path: str = "", *, strict: bool = False):
        super().__init__(batch=batch or starting_batch(), path=path, own=kept(path) if path else Own())
        self.strict = strict
        self._kept: dict[Any, Spread] = {}
        self._shown: dict[Any, None] = {}
        self._asked: dict[Any, tuple[Spread, int, str]] = {}
        self._changed: dict[Any, tuple[Change, ...]] = {}
        self._outcome: outcomes.Outcome | None = None
        self.observe(self._bump, ["batch", "own", "bands", "problems"])

    def _bump(self, change: Any) -> None:
        self.revision += 1

    # -- edits -------------------------------------------------------------------------------------------------------------------

    def edit(self, change: Callable[[Batch], Batch]) -> bool:
        """Replace the batch by `change(batch)`. If that cannot be, keep the batch, set `problems` and return False."""
        made = self._try(lambda: change(self.batch))
        if made is None:
            return False
        with self.hold_trait_notifications():
            if made != self.batch:
                self.saved = False
                self.batch = made
            self.problems = ()
        return True

    def _try(self, work: Callable[[], Whole]) -> Whole | None:
        """What `work` gives; None, with its reasons in `problems`, when it refuses."""
        try:
            return work()
        except InputError as error:
            self.problems = tuple(str(problem) for problem in error.problems)
            return None

    def edit_piece(self, number: int, **changes: Any) -> bool:
        """Change fields of one piece."""
        return self.edit(lambda batch: batch.but(pieces=_replaced(batch.pieces, number, **changes)))

    def edit_stage(self, number: int, **changes: Any) -> bool:
        """Change fields of one stage."""
        return self.edit(lambda batch: batch.but(stages=_replaced(batch.stages, number, **changes)))

    def edit_weigh_out(self, **changes: Any) -> bool:
        """Change fields of the weigh-out."""

        def change(batch: Batch) -> Batch:
            assert batch.weigh_out is not None
            return batch.but(weigh_out=batch.weigh_out.but(**changes))

        return self.edit(change)

    def set_own(self, **changes: Any) -> bool:
        """Change what a bench sets beside the batch, and keep it where the batch has a file."""
        made = self._try(lambda: self.own.but(**changes))
        if made is None:
            return False
        with self.hold_trait_notifications():
            self.own, self.problems = made, ()
        self._keep_own()
        return True

    def _keep_own(self) -> None:
        if self.path:
            with contextlib.suppress(InputError):  # a folder that cannot be written to still lets a slider move
                keep(self.own, self.path)

    # -- files -------------------------------------------------------------------------------------------------------------------

    def open(self, path: str | Path) -> bool:
        """Take the batch from a file; on a fault keep what there is and set `problems`."""
        found = self._try(lambda: batches.load(path))
        if found is None:
            return False
        with self.hold_trait_notifications():
            self.batch, self.path, self.problems = found, str(path), ()
            self.own, self.saved = kept(path), True
            self.opened += 1
        self.revision += 1
        return True

    def save(self, path: str | Path | None = None) -> bool:
        """Write the batch to `path` (default: where it came from). Another file is never overwritten by a new name."""
        target = Path(path or self.path or WORKING_FILE)

        def write() -> Batch:
            if self.path and target.exists() and target.resolve() == Path(self.path).resolve():
                return save_keeping_log(self.batch, target)  # what others logged meanwhile stays
            batches.save(self.batch, target)
            return self.batch

        done = self._take(write, str(target))
        if done:
            self._keep_own()
        return done

    def log(self, reading: Reading) -> bool:
        """Write a reading into the file of the batch, which must have one and hold no unsaved changes."""
        return self._take(lambda: append_reading(self._file(), reading))

    def unlog(self) -> bool:
        """Take the last reading out of the file again, if this tool wrote it."""

        def take_out() -> Batch:
            undo(self._file())
            return batches.load(self.path)

        return self._take(take_out)

    def _file(self) -> str:
        if not self.path or not self.saved:
            raise refuse("log", "the log lives in the batch file: save the batch first")
        return self.path

    def _take(self, work: Callable[[], Batch], path: str | None = None) -> bool:
        """Hold what is in the file now."""
        written = self._try(work)
        if written is None:
            return False
        with self.hold_trait_notifications():
            self.batch, self.path, self.saved, self.problems = written, path or self.path, True, ()
        return True

    # -- results -----------------------------------------------------------------------------------------------------------------

    def spread(self, stages: tuple[Stage, ...] | None = None, pieces: tuple[Piece, ...] | None = None) -> Spread:
        """The draws of `stages` and `pieces` (default: those of the batch): few at once (`QUICK`), all of them (`PAGE_DRAWS`) once they
        have been `settled`.
        """
        wanted = self.batch.filled() if stages is None else stages
        meat = pieces or self.batch.pieces
        key = (meat, wanted, self.batch.loss, self.batch.meat_and_fridge)
        if key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            case = usual_case(meat, wanted, default_numbers(), self.batch.meat_and_fridge)
            check(meat, wanted, self.batch.loss)
            usual = simulate(case[0], case[1], loss=self.batch.loss, numbers=case[2], checked=False)
            self._kept[key] = spread(
                meat,
                wanted,
                count=QUICK,
                loss=self.batch.loss,
                known=self.batch.meat_and_fridge,
                used=usual.numbers.used,
            ).beside(usual)
        self._shown[key] = None
        return self._kept[key]

    def settled(self) -> Iterator[None]:
        """Compute what was shown since `showing` in all draws, in steps short enough that the user can interrupt."""
        for key in list(self._shown):
            quick = self._kept.get(key)
            if quick is not None and quick.count < PAGE_DRAWS:
                full = quick.widened(PAGE_DRAWS)
                yield from full.prepared(quick, SHORT)
                self._kept[key] = full
        yield from self._settled_changes()
        if self._outcome is not None and self._outcome.draws < outcomes.REPORT_DRAWS:
            self._outcome = yield from last(self._outcome.settled(outcomes.REPORT_DRAWS, SHORT))

    def changes(self, many: Spread, stage: int, piece: str) -> tuple[Change, ...] | None:
        """What would help the slowest spot of a piece; None until it has been `settled`."""
        key = (many.case.pieces, many.case.stages, stage, piece)
        self._asked[key] = many, stage, piece
        return self._changed.get(key)

    def _settled_changes(self) -> Iterator[None]:
        for key, (many, stage, piece) in list(self._asked.items()):
            if key not in self._changed:
                found = []
                for each in worked_out(many, stage, piece, more_nitrite=outcomes.more_nitrite(self.batch)):
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

    def shown_outcome(self) -> outcomes.Outcome:
        """The outcome of the batch, its log taken up, with few draws behind its bands until it is settled; kept while the batch stays as it
        is.
        """
        if self._outcome is None:
            self._outcome = outcomes.run(self.batch, draws=QUICK)
        return self._outcome

    def report(self) -> str:
        """What `curelab run` prints for this batch. Made anew each time: a history lists the sources of all that was asked of it."""
        return words(outcomes.run(self.batch), long=True)

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


def last(steps: Iterator[Whole]) -> Generator[None, None, Whole]:
    """Take every step, giving way after each, and return what the last one gave."""
    given = []
    for each in steps:
        given = [each]
        yield
    return given[0]


def _replaced(items: tuple, number: int, **changes: Any) -> tuple:
    return tuple(item.but(**changes) if n == number else item for n, item in enumerate(items))


def starting_batch() -> Batch:
    """The commented batch of `curelab new`."""
    return batches.load(str(datasets_folder() / "new_batch.toml"))


def opened(path: str | Path = WORKING_FILE) -> State:
    """The state of a bench: the working file if it is there and sound, else the starting batch (problems then say why)."""
    state = State(path="")
    if Path(path).exists():
        state.open(path)
    return state


__all__ = ["WORKING_FILE", "State", "opened", "starting_batch"]
