"""To the plate: cook, chill, slice, and when to begin, from the meat as it was cured on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

import numpy as np

from ... import units
from ...batch import Batch
from ...compose.sound import replaced
from ...engine.history import History
from ...fields import InputError
from ...forecast.answer import in_corners
from ...learn.warm_log import judged_log
from ...limits import check_cooked
from ...limits.checks import check_cooked_in_all
from ...limits.verdict import SIGNS, in_draws
from ...outcome import CHECKED, REPORT_DRAWS
from ...paper.moments import serving
from ...recipe.cook import COLD_IN
from ...recipe.criterion import TEMPERATURE
from ...recipe.piece import Piece
from ...recipe.stages import Stage
from ...show import pictures
from ...show.answer import ranges
from ...show.dangers import failing, failing_in
from ...show.fate import fate
from ...show.plate import plate_sentences
from ...show.section import section
from ...show.to_the_plate import (  # fmt: skip
    SAFE_FOLLOWS,
    begin,
    begin_to_cure,
    cautions,
    cook_of,
    counted,
    hours,
    in_usual_meat,
    never,
    on_the_plate,
)
from ...spread import Chance, Spread
from ...spread.lead import lead_of
from ...spread.sensitivity import at_end_of
from ..bars import BarPicture
from ..controls import Line, Pick, Press
from ..dials import HOURS, TARGET, THICKNESS, WATER, Scale, dial
from ..picture import Picture
from ..questions import portion, salt_of_the_plate
from ..say import Say
from ..section import SectionPicture
from ..tried import TENDER, with_cook
from ..workbench import Bench, row, show_lines, show_matters, show_section

HEAT = {"metric": Scale("degC", 50, 100, 1), "us": Scale("degF", 122, 212, 1)}
MIDDLE = {"metric": Scale("degC", 50, 96, 1), "us": Scale("degF", 122, 205, 1)}
MOMENTS = 41  # of a cook at which it is looked for
DRAWN = 3  # pieces; more would be too small to see
STATIONS = "This piece was measured at its stations. To cut it thinner, change those."
TRIED = "Your batch is not cooked yet. This cook is only tried out; it goes into the batch when you move one of its sliders."


def _half_way(usual: History, stage: int, piece: str) -> float:
    """When in a stage [s] the middle of a piece is half-way to how warm it ends: there is most to see."""
    times = np.linspace(*usual.span(stage), MOMENTS)
    middle = usual.temperature(times, "core", piece)
    return float(times[np.argmin(np.abs(middle - 0.5 * (middle[0] + middle[-1])))])


class PlateBench(Bench):
    """Sliders for the cook and the chill beside the section, coloured by temperature; folded below: the slice, its salt, the checks, the portion."""

    here = "plate.ipynb"
    hurries = True
    _lost = False  # whether the meat is not to be served
    _held: tuple[Any, Sequence[Chance]] = (None, ())  # draws, and how often each check of heat comes out how in them
    _checked: tuple[Any, ...] = (
        None,
    )  # the usual case, its batch, the checks of heat in its corners too, and what else fails

    def build(self):
        state = self.state
        self._build_dials()
        names = [piece.name for piece in self._cooked(state.batch)]
        if len(names) > 1:
            pick = self.controls["piece"] = Pick("Piece that the sliders set", names, self._piece(state.batch).name)
            pick.observe(lambda change: state.set_own(piece=pick.value), "value")
        serve = self.controls["serve"] = Line(
            "Serve on", self._served(state.batch) or "", "Sunday 13:00", help="Left empty: counted back from the table."
        )
        serve.observe(lambda change: self._serve(serve), "value")
        self.controls["ask salt"] = Press("How much water, or how long a soak?")
        self.controls["ask salt"].on_press(lambda button: self._ask_salt())
        self.controls["ask portion"] = Press("How thick may a portion be?")
        self.controls["ask portion"].on_press(lambda button: self._ask_portion())
        self.pictures = {"section": SectionPicture(), "slice": Picture(), "matters": BarPicture()}
        for name in ("answer", "slice", "salt", "portion"):
            self.says[name] = Say("", "answer")
        for name in ("tried", "hours", "checks", "rests"):
            self.says[name] = Say("", "note")
        state.observe(lambda change: self._fit(), ["batch", "own"])
        self._fit()

    def _build_dials(self):
        state, stage = self.state, lambda batch: self._stage(batch)
        self.controls["heat"] = dial(
            state, "Water or air around it", "temperature", HEAT, lambda batch: stage(batch).temperature[-1][1], self._heat_to,
        )  # fmt: skip
        self.controls["middle"] = dial(
            state, "Middle to reach", "temperature", MIDDLE,
            lambda batch: stage(batch).until.target if self._waits(batch) else units.read(TENDER[1], "temperature"),
            lambda words: self._change(self._cook, until=f"core temperature >= {words}"),
        )  # fmt: skip
        self.controls["hours"] = dial(
            state, "Hours in the cook", "time", HOURS, lambda batch: stage(batch).longest,
            lambda words: self._change(self._cook, lasts=words, until=None, at_most=None),
        )  # fmt: skip
        self.controls["water"] = dial(
            state, "Water in the pot", "water", WATER, lambda batch: stage(batch).stretches[0].water or 1.0,
            lambda words: self._change(self._cook, water=words),
        )  # fmt: skip
        chill = Pick("Chill in", list(COLD_IN), self._chilled(state.batch))
        chill.observe(lambda change: self._chill_in(chill.value), "value")
        self.controls["chill"] = chill
        self.controls["portion"] = dial(
            state, "Portion, as thick as", "length", THICKNESS, lambda batch: self._piece(batch).thickness,
            lambda words: state.edit_piece(state.batch.pieces.index(self._piece(state.batch)), thickness=words),
        )  # fmt: skip
        self.controls["target"] = dial(
            state, "Salt I want, of the slice", "fraction", TARGET, lambda batch: state.own.target, lambda words: state.set_own(target=words),
        )  # fmt: skip

    # -- which cook ----------------------------------------------------------------------------------------------------------------

    @staticmethod
    def _cooked(batch: Batch) -> list[Piece]:
        stages = with_cook(batch).stages
        return [piece for piece in batch.pieces if cook_of(stages, piece) is not None]

    def _piece(self, batch: Batch) -> Piece:
        """The piece whose cook the sliders set."""
        there = self._cooked(batch)
        return next((piece for piece in there if piece.name == self.state.own.piece), there[0])

    def _cook(self, batch: Batch) -> int:
        found = cook_of(with_cook(batch).stages, self._piece(batch))
        assert found is not None
        return found

    def _chill(self, batch: Batch) -> int | None:
        """Number of the chill after that cook."""
        name, first = self._piece(batch).name, self._cook(batch)
        stages = with_cook(batch).stages
        return next(
            (n for n, each in enumerate(stages) if n > first and each.aim == "chill" and each.is_about(name)), None
        )

    def _stage(self, batch: Batch) -> Stage:
        return with_cook(batch).stages[self._cook(batch)]

    def _waits(self, batch: Batch) -> bool:
        """Whether the cook waits for the middle."""
        until = self._stage(batch).until
        return until is not None and until.quantity == TEMPERATURE

    def _chilled(self, batch: Batch) -> str:
        number = self._chill(batch)
        return next(iter(COLD_IN)) if number is None else with_cook(batch).stages[number].medium

    # -- edits ---------------------------------------------------------------------------------------------------------------------

    def _change(self, which, **changes) -> None:
        """Change a stage of what is shown; a cook that was only tried out goes into the batch with that."""

        def change(batch: Batch) -> Batch:
            stages, number = with_cook(batch).stages, which(batch)
            made = stages[number].but(**changes)
            found = [piece.weight for piece in batch.pieces if made.is_about(piece.name)]
            if problems := made.problems(sum(found)):
                raise InputError(problems)
            return batch.but(stages=replaced(stages, number, made))

        self.state.edit(change)

    def _heat_to(self, words: str) -> None:
        """The end of the program; what comes before stays."""
        log = self._stage(self.state.batch).temperature
        end = (log[-1][0], units.read(words, "temperature"))
        self._change(self._cook, temperature=words if len(log) == 1 else [*log[:-1], end])

    def _chill_in(self, medium: str) -> None:
        if self._chill(self.state.batch) is None or medium == self._chilled(self.state.batch):
            return
        self._change(self._chill, medium=medium, temperature="1 degC" if medium == "ice water" else "3 degC")

    def _serve(self, line: Line) -> None:
        words = line.value.strip()
        try:
            wanted = serving(words, datetime.now(), self._served(self.state.batch)) if words else None
        except InputError as error:  # the batch is sound; only this field is not
            line.problem = str(error)
            return
        line.problem = ""
        if wanted and (plan := self.state.batch.plan) is not None and plan.serve:  # then all dates hang on it
            self.state.edit(lambda batch: batch.but(plan=plan.but(serve=wanted)), step=True)
        else:
            self.state.set_own(serve=wanted)

    def _served(self, batch: Batch) -> str | None:
        """When it is to be served: by the plan of the batch, else as this page was told."""
        return (batch.plan.serve if batch.plan else None) or self.state.own.serve

    def _fit(self) -> None:
        """Show the sliders that the cook of this piece has, and its values in the others."""
        if self.state.problems:
            return
        batch = self.state.batch
        shown = {"middle": self._waits(batch), "hours": not self._waits(batch), "water": self._stage(batch).wet}
        for name, here in shown.items():
            self.controls[name].layout.display = None if here else "none"
        # It is thinner at each of its stations, which this page does not know of.
        measured = self._piece(batch).solid() is not None
        self.controls["portion"].layout.display = "none" if measured else None
        self.controls["ask portion"].disabled = measured
        self.controls["ask portion"].help = STATIONS if measured else ""
        self.controls["chill"].disabled = self._chill(batch) is None
        self.controls["chill"].value = self._chilled(batch)

    # -- questions -----------------------------------------------------------------------------------------------------------------

    def _ask_salt(self) -> None:
        batch = with_cook(self.state.batch)
        self.ask("salt", self.controls["ask salt"], salt_of_the_plate, batch, self.state.own.target)

    def _ask_portion(self) -> None:
        batch = with_cook(self.state.batch)
        number = batch.pieces.index(self._piece(batch))
        self.ask("portion", self.controls["ask portion"], portion, batch, number)

    # -- what the page shows -------------------------------------------------------------------------------------------------------

    def settled(self, count: int | None) -> Iterator[None]:
        """Hold the checks against as many draws as the report does, too."""
        yield from super().settled(count)
        many = self._seen()
        yield from self._check(many)
        if count is None and self._held[0] is not many:
            for chances in many.judged(draws=CHECKED, checks=lambda each: check_cooked(each, self.state.batch.units)):
                self._held = many, chances
                yield

    def _check(self, many: Spread) -> Iterator[None]:
        """Work out what hangs on the usual case and its corners, in steps; kept while that stays."""
        usual, batch = many.usual, with_cook(self.state.batch)
        if self._checked[0] is usual and self._checked[1] == batch:
            return
        ends = in_corners(batch.pieces, batch.filled(), loss=batch.loss)
        yield
        cooked = check_cooked_in_all(usual, (ends.of(1), ends.of(2)), batch.units)
        yield
        self._checked = usual, batch, cooked, failing_in(usual, batch)

    def _seen(self) -> Spread:
        return self.state.spread(with_cook(self.state.batch).filled())

    def draw(self):
        state = self.state
        batch, many = with_cook(state.batch), self._seen()
        usual, system = many.usual, batch.units
        first = next(n for n, each in enumerate(usual.stages) if each.aim == "cook")
        alone = Spread.single(usual)  # by the clock a band would mix batches in the pot with batches in the ice
        shown = [(alone, piece.name, piece.name) for piece in self._cooked(batch)[:DRAWN]]
        wanted = (state.own.target, "saltier than you want from here in")
        drawn = section(shown, (TEMPERATURE, "salt"), system, wanted=wanted, since=usual.begin(first))
        opens = _half_way(usual, self._cook(batch), self._piece(batch).name) - usual.begin(first)
        tried = [TRIED] if batch is not state.batch else []
        self.says["caution"].text = cautions(usual.stages, system)
        for name in ("salt", "portion"):
            self.tell_again(name)
        if self.follows(many, "hours", "checks", "tried"):
            show_section(self.pictures["section"], drawn, opens / units.DAY, system)
            self._lost = False
            self.says["answer"].text = in_usual_meat(usual, first)
            self.warn(SAFE_FOLLOWS if self.says["trouble"].text else "")  # keeps its room
            return
        # All is worked out first, so that picture and words change together.
        list(self._check(many))
        *_, cooked, others = self._checked
        chances = {each.name: each for each in self._held[1]} if self._held[0] is many else {}
        verdicts = in_draws(cooked, chances)
        found = lead_of(many, batch.plan, self._served(batch), REPORT_DRAWS)
        assert found is not None
        missed = never(usual, system)
        ready = () if found.serve is None else state.ready(batch.filled())
        said = missed or " ".join(filter(None, [begin(found), begin_to_cure(ready, usual, found.high, found.serve)]))
        parts = [] if missed else hours(found)
        show_section(self.pictures["section"], drawn, opens / units.DAY, system)
        told = {each.name for each in verdicts}
        cure = [each for each in others if each.name not in told]
        every = (*judged_log(batch), *verdicts, *cure)  # what a thermometer read in the fridge counts here, too
        becomes = fate(every)
        self._lost = becomes is not None and not becomes.serve
        self.says["answer"].text = becomes.sentence if self._lost else f"{said} {on_the_plate(usual)}"
        self.says["hours"].text = "\n".join(parts)
        self.says["tried"].text = " ".join([counted(verdicts), *tried])
        self.warn(" ".join(failing(every)))
        judged = (f"{SIGNS[each.outcome]}: {each.sentence} [{each.source}]" for each in verdicts)
        self.says["checks"].text = "\n".join(judged)

    def _draw_slice(self):
        batch, many = self.state.batch, self._seen()
        profile = pictures.profile(many, many.usual.length, ("salt",), self._piece(batch).name, batch.units)
        show_lines(self.pictures["slice"], profile)
        if self.follows(many, "slice"):
            return
        answer = self.says["answer"].text  # what becomes of meat that is not served is no slice
        self.says["slice"].text = answer if self._lost else "\n".join(plate_sentences(many.usual, batch.units))

    def _draw_sure(self):
        many = self._seen()
        name = self._piece(self.state.batch).name
        show_matters(self.pictures["matters"], many, at_end_of("average", "salt", len(many.usual.stages) - 1, name), f"the salt of the {name} on the plate")  # fmt: skip
        if self.follows(many, "rests"):
            return
        self.says["rests"].text = "\n".join(
            (ranges(many.count), many.meaning, *self.state.in_own_units(many.usual.assumptions))
        )

    def layout(self):
        controls, says = self.controls, self.says
        self.fold("The slice: salt from face to face, tenderness, sodium, what is left", says["slice"], self.pictures["slice"], draw=self._draw_slice)  # fmt: skip
        self.fold("Make the salt right: more water, or a soak before the cook", controls["target"], controls["ask salt"], says["salt"])  # fmt: skip
        self.fold("Stage by stage: how long each takes", says["hours"])
        self.fold("Cooked and cold in time: what the rules say", says["checks"])
        self.fold("How thick a portion cools in time", controls["ask portion"], says["portion"])
        self.fold("How sure: what was varied, and what matters most", self.pictures["matters"], says["rests"], row(self.units, self.bands, at_least=250), draw=self._draw_sure)  # fmt: skip
        named = ("piece", "heat", "middle", "hours", "water", "chill", "portion", "serve")
        dials = [controls[name] for name in named if name in controls]
        return self.page([says["answer"]], self.pictures["section"], dials, [says["tried"]])
