"""Learning from a batch: what its log says, readings to write into it, what it taught carried over, and batches side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import ipywidgets

from ...batch import Batch
from ...fields import refuse
from ...learn.compare import compare, load_all, side_by_side
from ...learn.readings import from_log
from ...learn.update import Update, profile_of, update
from ...learn.words import by_the_plan, days_rows, estimate_rows, residual_rows, what_to_measure
from ...outcome import REPORT_DRAWS  # as many as the command takes, so that both say the same
from ...paper.carry import COUNTS_FROM_THE_PLAN, begun_with, change_rows, changed
from ...recipe.meat_and_fridge import load_profile, save_profile
from ...show import learning as pictures
from ...spread import Spread
from ...spread.spread import LONGEST_WAIT
from ..boxes import buttons
from ..controls import Line, Press
from ..log_form import LogForm
from ..picture import Picture
from ..say import Say
from ..state import QUICK, WORKING_FILE, last
from ..tables import table
from ..workbench import Bench, column, row, show_lines

PROFILE = "my-meat.toml"
HEAD_ROOM = 115.0  # %, so that the words at the two marks do not meet
# Paragraphs and tables that an action fills, and the next action empties.
AFTER = ("filed", "written", "kept", "compared")


class LearningBench(Bench):
    """The answer of a log over two pictures, readings beside them; below them what the fit says, carrying over, and comparing."""

    here = "learning.ipynb"

    def build(self):
        self._of: Batch | None = None  # the batch that `_found` was learned from
        self._found: Update | None = None
        self._remarks: tuple[str, ...] = ()
        self._both: dict[tuple[bool, bool], tuple[Spread, Spread | None]] = {}
        self.pictures = {"read": Picture(), "middle": Picture()}
        for name in ("answer", "details"):
            self.says[name] = Say("", "answer")
        for name in ("rests", "held", "cannot", "begins", *AFTER):
            self.says[name] = Say("", "note")
        self.tables = {name: ipywidgets.HTML() for name in ("estimates", "residuals", "days", "changes", "compared")}
        self._fill(**dict.fromkeys(self.tables, ""))
        self._build_file()
        self._build_log()
        self._build_carry()
        self.files = Line("Batch files, with commas between them", "", f"{WORKING_FILE}, batches/demo_brisket.toml")
        self._button("compare", "Compare", "compared", self._compare)

    def _build_file(self) -> None:
        state = self.state
        self.file = Line("Batch file", state.path or WORKING_FILE)
        self._button("open", "Open", "filed", lambda: state.open(self._name(self.file, WORKING_FILE)))
        self._button("save", "Save", "filed", lambda: state.save(self._name(self.file, WORKING_FILE)))
        self.controls["save"].main = True

    def _build_log(self) -> None:
        self.log = LogForm(self.state, "salometer", partial(self._do, "written"))
        self.reading = self.log.fields
        self.controls |= self.log.controls
        self.says |= {"written": self.log.written, "log": self.log.listed}

    def _build_carry(self) -> None:
        self.keep = {
            "file": Line("Meat-and-fridge file", PROFILE),
            "name": Line("Name, like the butcher", "", "the name of the batch if left empty"),
        }
        self._button("keep", "Save what this batch taught", "kept", self._keep)
        self._button("begin", "Begin with what an earlier batch taught", "kept", self._begin)
        self._button("without", "Take it out again", "kept", self._without)

    # -- what the buttons do -------------------------------------------------------------------------------------------------------

    def _button(self, name: str, words: str, place: str, work: Callable[[], bool | str | None]) -> None:
        button = Press(words)
        button.on_press(lambda pressed: self._do(place, work))
        self.controls[name] = button

    def _do(self, place: str, work: Callable[[], bool | str | None]) -> None:
        """Do one thing and say in its place what came of it. A refusal stands there too, and the page stays: nothing was changed."""
        for name in AFTER:
            self.says[name].tell("", "note")
        self._fill(changes="", compared="")
        said, problems = self.state.attempt(work)
        self.says[place].tell(said, "alert" if problems else "note")

    @staticmethod
    def _name(line: Line, like: str) -> str:
        name = line.value.strip()
        if not name:
            raise refuse("file", f'is not named; type a name like "{like}"')
        return name

    def _keep(self) -> str:
        if self._learned() is None:
            raise refuse("log", "holds nothing to learn from yet, so there is nothing to save")
        assert self._found is not None
        batch, name = self.state.batch, self._name(self.keep["file"], PROFILE)
        save_profile(profile_of(self._found.fit, self.keep["name"].value.strip() or batch.name, batch), name)
        return f"Wrote {name}. To use it, open your next batch above and press **Begin with what an earlier batch taught**."

    def _begin(self) -> bool | str:
        before = self.state.batch
        profile = load_profile(self._name(self.keep["file"], PROFILE))
        if before.meat_and_fridge == profile:
            return f'The batch begins with "{profile.name}" already; nothing was changed.'
        if not self.state.edit(lambda batch: begun_with(batch, profile)):
            return False
        former = f' in the place of "{before.meat_and_fridge.name}"' if before.meat_and_fridge is not None else ""
        more = self._tell_changes(before)
        if any(row.key == "temperature" for row in profile.known):
            more.append(COUNTS_FROM_THE_PLAN)
        return (
            f'This batch now begins with what is known from "{profile.name}"{former}. What '
            f"was learned of the meat is taken a little wider than in the file: the next piece is another animal. {' '.join(more)}"
        ).rstrip()

    def _without(self) -> bool | str:
        before = self.state.batch
        if before.meat_and_fridge is None:
            raise refuse("batch", "holds nothing of earlier batches, so there is nothing to take out")
        if not self.state.edit(lambda batch: batch.but(meat_and_fridge=None)):
            return False
        self._tell_changes(before)
        return f'This batch begins without "{before.meat_and_fridge.name}" again.'

    def _tell_changes(self, before: Batch) -> list[str]:
        """Fill the table of what another meat and fridge changes; return what it does not."""
        after = self.state.batch
        pairs, left = changed(before, after)
        self._fill(changes=table(change_rows(pairs, after.units), "In brackets: 9 times in 10.") if pairs else "")
        return left

    def _compare(self) -> str:
        names = [name.strip() for name in self.files.value.split(",") if name.strip()]
        if not names:
            raise refuse("files", f'are not named; type their names, like "{self.files.placeholder}"')
        batches = load_all(names)
        cells, heads, notes = side_by_side(batches, compare(batches), self.state.batch.units)
        self._fill(compared=table(cells, "", heads))
        return "\n".join(notes)

    def _fill(self, **tables: str) -> None:
        """Put tables in their places; an empty one takes no room."""
        for name, words in tables.items():
            self.tables[name].value = words
            self.tables[name].layout.display = None if words else "none"

    # -- what the page shows -------------------------------------------------------------------------------------------------------

    def _learned(self) -> Update | None:
        """What the log says, in few draws until it is settled; kept while the batch stays as it is. None: nothing to learn from."""
        batch = self.state.batch
        if batch != self._of:
            self._of = self._found = None
            readings, self._remarks = from_log(batch)
            self._found = update(batch, count=QUICK) if readings else None
            self._of = batch
            self._both.clear()
        return self._found

    def _shown(self, long: bool) -> tuple[Spread, Spread | None]:
        """(as planned, as learned), for the pictures."""
        state, found = self.state, self._found
        if found is None:
            return state.spread(state.cure_lasting(LONGEST_WAIT) if long else None), None
        key = (long, state.bands)
        if key not in self._both:
            self._both[key] = pictures.both(found, bands=state.bands, long=long)
        return self._both[key]

    def settled(self, count: int | None) -> Iterator[None]:
        found = self._found
        if found is None:
            yield from super().settled(count)
        elif count is None and found.count < REPORT_DRAWS:
            self._found = yield from last(found.settled(REPORT_DRAWS, QUICK))
            self._both.clear()

    def fail(self, message: str) -> None:
        super().fail(message)
        self._fill(estimates="", residuals="", days="")
        for name in ("held", "cannot", "rests"):
            self.says[name].text = ""

    def draw(self):
        state, batch = self.state, self.state.batch
        if not any(stage.cures for stage in batch.stages):
            raise refuse("stages", "this page learns from a cure, and the batch has none; open a batch that has one")
        found = self._learned()
        readings = found.readings if found is not None else ()
        read = pictures.what_was_read(*self._shown(long=False), readings, batch.units)
        show_lines(self.pictures["read"], read, y_range=pictures.room(read))
        planned, learned = self._shown(long=True)
        ends = found.ends if found is not None else planned.usual.span(state.cure)[0] + batch.stages[state.cure].longest
        if found is not None and not found.told.days:  # no line may say what no sentence does
            learned = None
        middle = pictures.the_whole(planned, learned, state.cure, ends)
        show_lines(self.pictures["middle"], middle, y_range=(0.0, HEAD_ROOM))
        own = batch.meat_and_fridge
        self.says["begins"].text = (
            "This batch begins with nothing of earlier batches." if own is None else
            f'This batch begins with "{own.name}"{f", learned from {own.learned_from}" if own.learned_from else ""}.'
        )  # fmt: skip
        if found is None:
            self._draw_nothing(planned)
        else:
            self._draw_found(found)

    def _draw_nothing(self, planned: Spread) -> None:
        self.says["answer"].text = what_to_measure(self.state.batch)
        self.says["details"].text = ""
        self.says["rests"].text = planned.meaning
        self._fill(estimates="", residuals="", days="")
        self.says["held"].text = "The log holds nothing to learn from yet."
        self.says["cannot"].text = "\n".join(f"- {remark}" for remark in self._remarks)

    def _draw_found(self, found: Update) -> None:
        batch, told = self.state.batch, found.told
        names = [piece.name for piece in batch.pieces]
        self.says["answer"].text = told.headline
        plan = (by_the_plan(found.after, found.begin, found.ends),) if told.days else ()
        self.says["details"].text = " ".join((*plan, *told.details))
        notes = (told.rests_on, pictures.meaning(found, self.state.bands), pictures.taken_as_usual(found))
        self.says["rests"].text = "\n".join(filter(None, notes))
        beside = "Readings beside the fitted model. Off: how far a reading lies from it, counted in its usual scatter; beyond 2 look at it again."
        self._fill(
            estimates=table(
                estimate_rows(found.fit, batch.units), "What the log says of the meat. In brackets: 9 times in 10."
            ),
            days=table(
                days_rows(found.before, found.after, found.begin), f"When it has its salt, in {found.count} draws."
            )
            if told.days
            else "",
            residuals=table(residual_rows(found.fit, names, batch.units), beside),
        )
        self.says["held"].text = " ".join(found.fit.beside)
        cannot = [f"- {words}" for words in (*told.cannot, *found.remarks)]
        head = "**What the readings cannot tell, and what was left out**"
        self.says["cannot"].text = "\n".join([head, *cannot]) if cannot else ""

    def layout(self):
        controls, says, tables = self.controls, self.says, self.tables
        self.fold(
            "What the log says, in figures",
            tables["estimates"],
            tables["days"],
            tables["residuals"],
            says["cannot"],
            says["held"],
            opened=True,
        )
        self.fold("Carry it over to the next batch", row(*self.keep.values(), at_least=260), controls["keep"], says["begins"], row(controls["begin"], controls["without"], at_least=260), says["kept"], tables["changes"], opened=True)  # fmt: skip
        self.fold("Compare batches", self.files, controls["compare"], tables["compared"], says["compared"], opened=True)
        self.fold("How sure: what was varied", says["rests"], row(self.units, self.bands, at_least=250))
        dials = [
            self.file, buttons(controls["open"], controls["save"]), says["filed"], self.log.box(),
        ]  # fmt: skip
        return self.page([says["answer"]], column(*self.pictures.values()), dials, [says["details"]])
