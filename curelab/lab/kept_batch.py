"""The batch in memory and its file: edit, undo, open, save, log. No widgets in here, no results, and no arithmetic of its own.

Every edit makes a new batch through the same records a file is read into, so what the sliders write is what the file says and what
`curelab run` computes. An edit that cannot be is not made: it leaves `problems`, and views show those instead of old numbers.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import traitlets as T

from .. import batch as batches
from .. import files
from ..batch import Batch, Reading
from ..compose import change_piece, template_text
from ..compose.sound import replaced
from ..fields import InputError, Problem, refuse, sentences
from ..paper.fridge_log import with_temperatures
from ..paper.logbook import append_reading, save_keeping_log, undo
from ..sources import datasets_folder
from ..tomlfile import table_of
from .hand import Hand, free_path
from .own import Own, keep, kept

Whole = TypeVar("Whole")
WORKING_FILE = "my-batch.toml"
SHIPPED = "batches"  # the folder of batches that come with the lab
STEP = 1.0  # s; changes that follow each other faster are one step of undo, as those of a slider are
MOST_STEPS = 100  # of undo


class KeptBatch(T.HasTraits):
    """One batch, where it is kept, whether it differs from its file, and what is wrong with the last edit.

    faults: why a field of a form holds what the batch does not, by its control. No number stands on the page then: it would be an old one.
    refused: the problems of the last edit that was not made.
    own: what benches set that is no part of the batch, kept in a file of its own beside that of the batch.
    revision: grows with everything a view must redraw for.
    unkept: why the last change could not be saved by itself; "" where it was, or nothing is saved by itself.
    hand: where the batch in hand is noted, for a state that saves by itself and shares its batch with other pages; None for any other.
    """

    batch = T.Instance(Batch)
    own = T.Instance(Own)
    path = T.Unicode("")
    saved = T.Bool(True)
    problems = T.Tuple()
    revision = T.Int(0)
    unkept = T.Unicode("")
    opened = T.Int(0)  # counts files opened, because a file may hold the very batch that is there
    redrawn_for: tuple[str, ...] = ("batch", "own", "problems")

    def __init__(self, batch: Batch | None = None, path: str = ""):
        super().__init__(batch=batch or starting_batch(), path=path, own=kept(path) if path else Own())
        self.hand: Hand | None = None
        self.shape_of: Callable[[Batch], Any] = lambda batch: None  # what the controls of a page hang on
        self.reshaped: Callable[[], Any] = lambda: None  # makes them anew
        self.faults: dict[Any, str] = {}
        self.refused: tuple[Problem, ...] = ()
        self._past: list[Batch] = []  # what undo goes back to, the last one first to go
        self._begun = self.batch  # as it stood in the file when this change began
        self._stamp = files.stamp(path)
        self._refused: tuple[str, Any] | None = None  # the file that could not be opened last, as it was
        self._moved = -STEP
        self.let_go()

    def let_go(self) -> None:
        """Forget whoever follows this state, and what stood wrong in their fields."""
        self.unobserve_all()
        self.faults.clear()
        self.observe(self._bump, self.redrawn_for)

    def _bump(self, change: Any) -> None:
        self.revision += 1

    # -- edits -------------------------------------------------------------------------------------------------------------------

    def edit(self, change: Callable[[Batch], Batch], *, step: bool = False) -> bool:
        """Replace the batch by `change(batch)`. If that cannot be, keep the batch, set `problems` and return False.

        step: a step of undo of its own, however fast it follows another change.
        """
        made = self._try(lambda: change(self.batch))
        if made is None:
            return False
        if made != self.batch:
            now = time.monotonic()
            if step or now - self._moved > STEP or not self._past:
                self._past = [*self._past[1 - MOST_STEPS :], self.batch]
            self._moved = -STEP if step else now
            self._put(made, saved=False)
        self.problems = tuple(self.faults.values())
        return True

    def fault(self, control: Any, sentence: str) -> None:
        """Note that a control holds what the batch cannot."""
        self.faults[control] = sentence
        self.problems = tuple(self.faults.values())

    def undo(self) -> bool:
        """Go back to the batch before the last change. What was logged since then stays. False where there is no change to take back."""
        if not self._past:
            return False
        before = self._try(lambda: self._past[-1].but(log=self.batch.log))
        if before is None:
            return False
        self._past.pop()
        self._moved = -STEP
        self.faults.clear()
        self._put(before, saved=False)
        self.problems = ()
        return True

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to take back."""
        return bool(self._past)

    @property
    def shipped(self) -> bool:
        """Whether the batch in hand is one that came with the lab: a change of it is saved beside the pages."""
        return Path(self.path).parent.name == SHIPPED

    def _put(self, batch: Batch, **more: Any) -> None:
        """Hold another batch. Controls that were made for other pieces and stages follow no more: they are made anew."""
        new = self.shape_of(batch) != self.shape_of(self.batch)
        if new:
            self.let_go()
        with self.hold_trait_notifications():
            for name, value in more.items():
                setattr(self, name, value)
            self.batch = batch
        if new:
            self.reshaped()

    def _try(self, work: Callable[[], Whole]) -> Whole | None:
        """What `work` gives; None, with its reasons in `problems`, when it refuses."""
        try:
            return work()
        except InputError as error:
            self.refused = error.problems
            self.problems = (*self.faults.values(), *map(str, error.problems))
            return None

    def attempt(self, work: Callable[[], bool | str | None]) -> tuple[str, tuple[Problem, ...]]:
        """Do something that may be refused, and leave the page as it is then: (what it says or why not, the problems)."""
        before, said = self.problems, ""
        problems: tuple[Problem, ...] = ()
        with self.hold_trait_notifications():
            try:
                done = work()
                if done is False:
                    problems, self.problems = self.refused, before
                said = done if isinstance(done, str) else ""
            except InputError as error:
                problems = error.problems
        return sentences(problems) if problems else said, problems

    def edit_piece(self, number: int, **changes: Any) -> bool:
        """Change fields of one piece; stages that name it use its new name."""
        return self.edit(lambda batch: change_piece(batch, number, **changes))

    def edit_stage(self, number: int, **changes: Any) -> bool:
        """Change fields of one stage."""
        return self.edit(
            lambda batch: batch.but(stages=replaced(batch.stages, number, batch.stages[number].but(**changes)))
        )

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
            self.own, self.problems = made, tuple(self.faults.values())
        self._keep_own()
        return True

    def _keep_own(self) -> None:
        if self.path:
            with contextlib.suppress(InputError):  # a folder that cannot be written to still lets a slider move
                keep(self.own, self.path)

    # -- files -------------------------------------------------------------------------------------------------------------------

    def open(self, path: str | Path) -> bool:
        """Take the batch from a file; on a fault keep what there is and set `problems`."""
        found = self._try(lambda: self._loaded(path))
        if found is None:
            return False
        own = kept(path)
        self._past, self._begun, self._stamp = [], found, files.stamp(path)
        self.faults.clear()
        self._put(found, path=str(path), problems=(), own=own, saved=True, unkept="", opened=self.opened + 1)
        self.revision += 1
        self._take_in_hand()
        return True

    def _loaded(self, path: str | Path) -> Batch:
        """The batch of a file, once what is in hand is in its own. Raises InputError."""
        self._keep_first()
        try:
            return batches.load(path)
        except InputError:
            self._refused = str(path), files.stamp(path)
            raise

    def _keep_first(self) -> None:
        """Keep what is in hand before another batch comes. Raises InputError where it cannot be kept."""
        self.keep()
        if self.unkept:
            raise refuse(Path(self.path).name, self.unkept)

    def begin(self, content: bytes, name: str) -> None:
        """Write the bytes of a batch file as a new file beside the one in hand, and open it. What was in hand is kept in its own file first.

        name: for the file, to which a number is added where it is taken. Raises InputError with every problem at once; nothing is changed then.
        """
        self._keep_first()
        batches.from_table(table_of(content, name))
        target = free_path(Path(Path(name).name).with_suffix(".toml"))
        files.write(target, content)
        self.open(target)

    def begin_template(self, name: str) -> None:
        """`begin` one of the invented templates of `compose`."""
        self.begin(template_text(name).encode("utf-8"), f"{name.replace(' ', '-')}.toml")

    def save(self, path: str | Path | None = None) -> bool:
        """Write the batch to `path` (default: where it came from). Another file is never overwritten by a new name."""
        target = Path(path or self.path or WORKING_FILE)
        done = self._take(lambda: self._written(target), str(target))
        if done:
            self.unkept = ""
            self._keep_own()
            self._take_in_hand()
        return done

    def _written(self, target: Path) -> Batch:
        if self.path and os.path.exists(target) and os.path.realpath(target) == os.path.realpath(self.path):
            return save_keeping_log(self.batch, target, begun=self._begun)  # what others changed meanwhile stays
        batches.save(self.batch, target)
        return self.batch

    def keep(self) -> None:
        """Save what was changed by itself, where this state does that; `unkept` says why it could not be. What came with the lab stays as
        it came: a batch from there is saved beside the pages.
        """
        if self.hand is None or self.saved:
            return
        target = Path(self.path)
        if not self.path or self.shipped:
            target = free_path(Path(target.name or WORKING_FILE))
        try:
            written = self._written(target)
        except InputError as error:
            self.unkept = error.said()
            return
        self._begun, self._stamp = written, files.stamp(target)
        if written == self.batch:
            self.path, self.saved, self.unkept = str(target), True, ""
        else:
            self._put(written, path=str(target), saved=True, unkept="")
        self._keep_own()
        self._take_in_hand()

    def _take_in_hand(self) -> None:
        if self.hand is not None and self.path:
            self.hand.take(self.path)

    def elsewhere(self) -> str | None:
        """The file that another page has in hand by now, or that was changed there; None where nothing is new, or unsaved changes stand here."""
        if self.hand is None or not self.saved:
            return None
        path = self.hand.file() or self.path
        if (
            not path
            or not os.path.exists(path)
            or (path, files.stamp(path)) in ((self.path, self._stamp), self._refused)
        ):
            return None
        return path

    def log(self, reading: Reading) -> bool:
        """Write a reading into the file of the batch, which must have one and hold no unsaved changes."""
        return self._take(lambda: append_reading(self._file(), reading))

    def unlog(self) -> bool:
        """Take the last reading out of the file again, if this tool wrote it."""

        def take_out() -> Batch:
            undo(self._file())
            return batches.load(self.path)

        return self._take(take_out)

    def take_temperatures(self, content: bytes, **asked: Any) -> tuple[str, ...]:
        """Take a thermometer's file as the fridge log, as a change that undo takes back. Returns what was done, in sentences. Raises InputError."""
        found = with_temperatures(self.batch, content, **asked)
        self.edit(lambda batch: found.batch, step=True)
        return found.lines

    def _file(self) -> str:
        self.keep()
        if self.unkept:
            raise refuse("log", self.unkept)
        if not self.path or not self.saved:
            raise refuse("log", "the log lives in the batch file: save the batch first")
        return self.path

    def _take(self, work: Callable[[], Batch], path: str | None = None) -> bool:
        """Hold what is in the file now."""
        written = self._try(work)
        if written is None:
            return False
        self._begun, self._stamp = written, files.stamp(path or self.path)
        self._put(written, path=path or self.path, saved=True, problems=tuple(self.faults.values()))
        return True


def starting_batch() -> Batch:
    """The commented batch of `curelab new`."""
    return batches.load(str(datasets_folder() / "new_batch.toml"))


__all__ = ["WORKING_FILE", "KeptBatch", "starting_batch"]
