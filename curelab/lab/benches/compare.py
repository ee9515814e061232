"""Compare: the batch in hand and another one, side by side under one axis of time."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from textwrap import shorten

import ipywidgets

from ... import files
from ...batch import Batch, load
from ...engine.history import History
from ...fields import InputError, refuse
from ...learn.compare import compare, side_by_side
from ...outcome import Outcome
from ...show import telling
from ...show.answer import ANSWER_FOLLOWS, FOLLOWS, answers, ranges
from ...show.compare import difference, over_days, side
from ...show.section import section
from ...sources import datasets_folder
from ...tomlfile import read_table
from ...units import DAY
from ..controls import Pick, Press
from ..dials import FRIDGE, brine_dial, days_dial, dial
from ..picture import Picture
from ..say import Say
from ..section import SectionPicture
from ..state import State
from ..tables import table
from ..workbench import Bench, row, show_lines, show_section

LONGEST_NAME = 40  # letters of a batch above its stages
PLACES = ("*.toml", "batches/*.toml")


def batch_files(folder: Path) -> list[str]:
    """The batch files in a folder and in its `batches`, by their paths; where there is none, those that are shipped."""
    found = [path for place in PLACES for path in sorted(folder.glob(place)) if _is_batch(path)]
    if found:
        return [path.relative_to(folder).as_posix() for path in found]
    return [str(path) for path in sorted(Path(str(datasets_folder())).glob("demo_*.toml"))]


def _is_batch(path: Path) -> bool:
    try:
        return {"pieces", "stages"} <= set(read_table(path))
    except InputError:
        return False


def _cured(history: History) -> float | None:
    """The day on which the last cure ends; None where nothing is cured."""
    cures = [number for number, stage in enumerate(history.stages) if stage.cures and history.has(number)]
    return history.ends(cures[-1]) / DAY if cures else None


class CompareBench(Bench):
    """The difference in words over both sections; sliders for the batch in hand beside them; folded below: what each needs, and both in figures."""

    here = "compare.ipynb"
    hurries = True
    _fitting = False  # while a page that is being drawn changes what can be picked

    def build(self):
        state = self.state
        self._other: State | None = None
        self._read: tuple[str, tuple | None] | None = None  # the file that `_other` was read from, and its stamp then
        found = batch_files(Path())
        named = state.own.other or next((each for each in found if "loin" in each), found[0])
        other = self.controls["other"] = Pick("Compare it with", self._offered(found, named), named)
        other.observe(lambda change: state.set_own(other=other.value), "value")
        again = self.controls["again"] = Press("Read the files again")
        again.on_press(lambda button: self._again())
        self.controls["mine"] = Pick("Piece of yours", [piece.name for piece in state.batch.pieces])
        self.controls["theirs"] = Pick("Piece of the other", [""])
        for name in ("mine", "theirs"):
            self.controls[name].observe(lambda change: self._picked(), "value")
        if any(stage.cures for stage in state.batch.stages):
            self.controls["days"] = days_dial(state, "Your days in the cure")
            self.controls |= brine_dial(state)
            self.controls["temperature"] = dial(
                state, "Your fridge", "temperature", FRIDGE, lambda batch: batch.stages[state.cure].warmest,
                lambda words: state.edit_stage(state.cure, temperature=words),
            )  # fmt: skip
        self.pictures = {"section": SectionPicture(), "together": Picture()}
        self.table = ipywidgets.HTML()
        for name in ("answer", "needs"):
            self.says[name] = Say("", "answer")
        for name in ("notes", "rests"):
            self.says[name] = Say("", "note")

    def _offered(self, found: list[str], named: str) -> list[tuple[str, str]]:
        own = os.path.normpath(self.state.path) if self.state.path else ""
        return [
            (each, f"{Path(each).name}{', as it was saved' if os.path.normpath(each) == own else ''}")
            for each in dict.fromkeys([*found, named])
        ]

    def _again(self) -> None:
        pick = self.controls["other"]
        pick.refit(self._offered(batch_files(Path()), pick.value), pick.value)
        self._read = None
        self.redraw()

    def _found(self) -> State:
        """The other batch, read anew whenever its file has changed. Raises InputError for a file that cannot be read."""
        name = self.controls["other"].value
        written = files.stamp(name)
        if written is None:
            self._other = None
            raise refuse("file", f'"{name}" is not there any more; pick another batch')
        if self._other is None or self._read != (name, written):
            self._other = None
            self._other, self._read = State(load(name), name), (name, written)
        return self._other

    def _pick(self, name: str, batch: Batch, like: str) -> str:
        """The piece of a batch that is shown: the one picked, else the one of the same name, else the first."""
        pick, names = self.controls[name], [piece.name for piece in batch.pieces]
        if [value for value, _ in pick.options] != names:
            self._fitting = True
            try:
                with pick.hold_trait_notifications():
                    pick.refit(names, next((each for each in (pick.value, like) if each in names), names[0]))
            finally:
                self._fitting = False
        return pick.value

    def _picked(self) -> None:
        if not self._fitting:
            self.redraw()

    def _named(self) -> list[tuple[State, str, str]]:
        """(state, piece, what it is called) of both."""
        state, other = self.state, self._found()
        mine = self._pick("mine", state.batch, "")
        theirs = self._pick("theirs", other.batch, mine)
        names = [mine, theirs] if mine != theirs else [f"{mine} of yours", f"{theirs} of the other"]
        return [(state, mine, names[0]), (other, theirs, names[1])]

    def _seen(self) -> list[tuple[Outcome, str, str]]:
        """(outcome, piece, what it is called) of both."""
        return [(state.shown_outcome(), piece, name) for state, piece, name in self._named()]

    def draw(self):
        named, system = self._named(), self.state.batch.units
        titles = [
            shorten(f"{who}: {state.batch.name}", LONGEST_NAME, placeholder=" …")
            for who, (state, _, _) in zip(("Yours", "The other"), named, strict=True)
        ]
        self.warn(telling.warmth_of((stage for state, _, _ in named for stage in state.batch.stages), system))
        self.waits = self.state.outcome_waits
        if self.waits:
            shown = [(state.alone(), piece, name) for state, piece, name in named]
            self.says["answer"].text = ANSWER_FOLLOWS
            opens = _cured(shown[0][0].usual)
        else:
            both = self._seen()
            shown = [(outcome.spread, piece, name) for outcome, piece, name in both]
            self.says["answer"].text = " ".join(difference(*(side(*each) for each in both)))
            opens = _cured(both[0][0].history)
        show_section(self.pictures["section"], section(shown, system=system, named=titles), opens, system)

    def settled(self, count: int | None) -> Iterator[None]:
        for state in (self._other, self.state):
            if state is not None:
                if self.waits:
                    state.shown_outcome()
                    yield
                yield from state.settled(count)

    def _when_known(self, draw: Callable[[], None], *names: str) -> Callable[[], None]:
        """Draw what is folded from both outcomes; while they are on their way, say that it follows."""

        def either() -> None:
            if not self.waits:
                return draw()
            for name in names:
                self.says[name].text = FOLLOWS
            self.table.value = ""

        return either

    def _draw_needs(self):
        told = []
        for title, (outcome, _, _) in zip(("Yours", "The other"), self._seen(), strict=True):
            told += [
                f"**{title}: {outcome.batch.name}.** {' '.join(said)}" for said in answers(outcome, made={}).values()
            ]
        self.says["needs"].text = "\n".join(told)

    def _draw_together(self):
        named = self._named()
        shown = [
            (state.alone() if self.waits else state.shown_outcome().spread, piece, name) for state, piece, name in named
        ]
        show_lines(self.pictures["together"], over_days(shown))

    def _draw_figures(self):
        batches = [outcome.batch for outcome, _, _ in self._seen()]
        cells, heads, notes = side_by_side(batches, compare(batches), self.state.batch.units)
        self.table.value = table(cells, "", heads)
        self.says["notes"].text = "\n".join(notes)

    def _draw_sure(self):
        (mine, _, _), (other, _, _) = self._seen()
        self.says["rests"].text = "\n".join(
            (ranges(mine.spread.count), mine.spread.meaning, f"The other: {other.spread.meaning}")
        )

    def fail(self, message: str) -> None:
        super().fail(message)
        self.table.value = ""

    def layout(self):
        controls, says = self.controls, self.says
        self.fold("What each of them needs", says["needs"], draw=self._when_known(self._draw_needs, "needs"))
        self.fold("Salt of both over the days", self.pictures["together"], draw=self._draw_together)
        self.fold(
            "Both in figures: days, salt, and how fast the meat took it",
            self.table,
            says["notes"],
            draw=self._when_known(self._draw_figures, "notes"),
        )
        self.fold(
            "How sure: what was varied",
            says["rests"],
            row(self.units, self.bands, at_least=250),
            draw=self._when_known(self._draw_sure, "rests"),
        )
        picks = ("other", "mine", "theirs", "again")  # after what a hand moves while it looks at the picture
        dials = [each for name, each in controls.items() if name not in picks]
        return self.page([says["answer"]], self.pictures["section"], [*dials, *(controls[name] for name in picks)])
