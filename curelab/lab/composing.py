"""The cards of the page "My batch": one for each piece, for the weigh-out and for each stage, with buttons that move, double and take out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from ..batch import Batch
from ..compose import (
    TEMPLATES,
    WAYS,
    add_piece,
    add_stage,
    cure_by,
    duplicate_piece,
    duplicate_stage,
    move_piece,
    move_stage,
    remove_piece,
    remove_stage,
    split_piece,
    way_of,
)
from ..compose.stages import KINDS, end_stage, waits_by
from ..fields import InputError, sentences
from ..show.composing import BUTTONS, BY_CLOCK, BY_THERMOMETER, OWN_GRAMS, piece_title, stage_title, started
from .boxes import buttons, column
from .controls import Line, Pick, Press
from .lasting import Lasting
from .say import Say
from .state import State
from .stations import station_rows

EDITS: dict[str, tuple[Callable[..., Batch], ...]] = {
    "piece": (move_piece, duplicate_piece, remove_piece),
    "stage": (move_stage, duplicate_stage, remove_stage),
}


def shape_of(batch: Batch) -> Any:
    """What the cards hang on: names and shapes of pieces, their stations, kinds of stages, their end rule, whether they are weighed and their waters, method and cure mix."""
    plan = batch.weigh_out
    return (
        tuple((piece.name, piece.shape, len(piece.stations), bool(piece.fatty)) for piece in batch.pieces),
        tuple(
            (stage.tag, stage.until is None, stage.weighed, len(getattr(stage, "waters", ()))) for stage in batch.stages
        ),
        None if plan is None else (plan.tag, plan.cure is None),
    )


class Composing:
    """Controls that put a batch together. tell: says why something cannot be, while the page stays as it is. controls: by name; `focus`: the name of the one that has the keyboard when the page is made anew."""

    def __init__(self, state: State, tell: Callable[[str], Any]) -> None:
        self.state, self._tell, self.focus = state, tell, ""
        self._begun = Lasting(state)
        self._template = next(iter(TEMPLATES))  # that was picked last
        self.controls: dict[str, Any] = {}

    def edit(self, change: Callable[[Batch], Batch], focus: str = "") -> None:
        """Change the batch as one step of undo; the page is made anew where it must be, and the keyboard goes to `focus`."""
        self.focus = focus
        said, problems = self.state.attempt(partial(self.state.edit, change, step=True))
        if problems:
            self._tell(said)

    def make(self) -> None:
        """All controls anew for the batch as it is."""
        self.controls = {}
        batch = self.state.batch
        for number in range(len(batch.pieces)):
            self._buttons("piece", number, len(batch.pieces), batch.pieces[number].name)
        for number, stage in enumerate(batch.stages):
            self._buttons("stage", number, len(batch.stages), f"stage {number + 1}, {stage.tag}")
            self._ends(number)
        self._press("add piece", "Add a piece", lambda: self.edit(add_piece, "add piece"))
        kinds = Pick("Kind of stage", list(KINDS), "rest")
        self.controls["kind"] = kinds
        self._press("add stage", "Add this stage", lambda: self.edit(lambda b: add_stage(b, kinds.value), "add stage"))
        way = way_of(batch)
        ways = Pick("Way of curing", [*([] if way else [("", OWN_GRAMS)]), *WAYS], way or "")
        ways.observe(lambda change: self._cure_by(ways), "value")
        self.state.observe(lambda change: self._follow(ways), "batch")
        self.controls["way"] = ways
        names = Pick("Invented template", list(TEMPLATES), self._template)
        names.observe(lambda change: setattr(self, "_template", names.value), "value")
        self.controls["template"] = names
        self._press("begin", "Start a new batch from it", lambda: self._begin(names.value))
        self.begun = self._begun.make()
        for number, piece in enumerate(batch.pieces):
            if piece.solid() is not None:
                self._split(number)
        self._hand_keyboard_to(self.controls)

    def _begin(self, name: str) -> None:
        """Begin with a template, and say beside the button what is in hand now, or why not."""
        self.state.keep()
        before = Path(self.state.path).name
        try:
            self.state.begin_template(name)
        except InputError as error:
            self._begun.tell(error.said(), lambda batch: batch, "alert")
            return
        self._begun.tell(started(name, Path(self.state.path).name, before), lambda batch: batch.known_by)

    def _cure_by(self, ways: Pick) -> None:
        if ways.value:
            self.edit(lambda batch: cure_by(batch, ways.value))
            self._follow(ways)  # back to the way that it is, where the other one cannot be

    def _follow(self, ways: Pick) -> None:
        way = way_of(self.state.batch) or ""
        if way in [value for value, _ in ways.options]:
            ways.value = way

    def _press(self, key: str, label: str, act: Callable[[], Any], spoken: str = "") -> None:
        button = Press(label, spoken=spoken)
        button.on_press(lambda pressed: act())
        self.controls[key] = button

    def _buttons(self, what: str, number: int, count: int, name: str) -> None:
        """Earlier, later, double, remove."""
        move, double, remove = EDITS[what]
        acts = (
            (number > 0, lambda b: move(b, number, number - 1), f"{what} {number} earlier"),
            (number < count - 1, lambda b: move(b, number, number + 1), f"{what} {number + 2} later"),
            (True, lambda b: double(b, number), f"{what} {number + 2} double"),
            (count > 1, lambda b: remove(b, number), f"add {what}"),
        )
        for label, (able, change, focus) in zip(BUTTONS, acts, strict=True):
            key = f"{what} {number + 1} {label.split()[-1].lower()}"
            self._press(key, label, partial(self.edit, change, focus), f"{label}: {name}")
            self.controls[key].disabled = not able
            self.controls[key].small = True

    def _ends(self, number: int) -> None:
        """Whether a stage ends by the clock or by a thermometer, where its kind can do both."""
        stage = self.state.batch.stages[number]
        if waits_by(stage, self.state.batch.units) is not None:
            ends = Pick("Ends", [(False, BY_CLOCK), (True, BY_THERMOMETER)], stage.until is not None)
            ends.observe(lambda change: self.edit(lambda b: end_stage(b, number, ends.value)), "value")
            self.controls[f"stage {number + 1} ends"] = ends

    def ending(self, number: int) -> list[Any]:
        """The control that says by what a stage ends; none where there is no choice."""
        key = f"stage {number + 1} ends"
        return [self.controls[key]] if key in self.controls else []

    def _split(self, number: int) -> None:
        piece = self.state.batch.pieces[number]
        at = Line("Cut in two at, from its head", "", "5 in" if self.state.batch.units == "us" else "12 cm")
        self.controls[f"piece {number + 1} at"] = at
        self._press(
            f"piece {number + 1} split", "Cut in two", lambda: self._cut(number, at),
            f"Cut in two: {piece.name}",
        )  # fmt: skip
        if any(station.seam for station in piece.stations):
            self._press(
                f"piece {number + 1} seam", "Part along the seam",
                lambda: self.edit(lambda b: split_piece(b, number, along="seam"), "add piece"), f"Part along the seam: {piece.name}",
            )  # fmt: skip

    def _cut(self, number: int, at: Line) -> None:
        """Cut a piece in two; why it cannot be is said under the field, and the page stays, for nothing was changed."""
        self.focus = "add piece"
        edit = partial(self.state.edit, lambda b: split_piece(b, number, at=at.value), step=True)
        at.problem = sentences(problem.sentence for problem in self.state.attempt(edit)[1])

    def stations(self, number: int) -> list[Any]:
        """A row for each station of a piece."""
        controls, rows = station_rows(self.state, number, self.edit)
        self.controls |= controls
        self._hand_keyboard_to(controls)
        return rows

    def _hand_keyboard_to(self, controls: Mapping[str, Any]) -> None:
        """Once: a page that is made anew for another reason leaves the keyboard where it is."""
        if self.focus in controls:
            controls[self.focus].focus, self.focus = True, ""

    def card(self, what: str, number: int, *inside: Any) -> Any:
        """A piece or a stage under its title and its buttons."""
        batch = self.state.batch
        title = piece_title(batch, number) if what == "piece" else stage_title(batch, number)
        line = buttons(*(self.controls[f"{what} {number + 1} {label.split()[-1].lower()}"] for label in BUTTONS), gap=6)
        return column(Say(f"**{title}**", "note"), line, *inside)

    def splitting(self, number: int) -> list[Any]:
        """The controls that cut a piece in two; none for a shape without a length."""
        keys = (f"piece {number + 1} {what}" for what in ("at", "split", "seam"))
        return [self.controls[key] for key in keys if key in self.controls]


__all__ = ["Composing", "shape_of"]
