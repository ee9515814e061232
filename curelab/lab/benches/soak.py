"""The soak: how much water, how often changed, how long and how cold, from the cured profile on; and what a rest afterwards does."""

from __future__ import annotations

from typing import Any

from ... import units
from ...compose.sound import replaced
from ...engine.run import FREE
from ...fields import InputError
from ...forecast.ready import LOOKED, Ready
from ...show import pictures, telling
from ...show.answer import FOLLOWS, Planned, answer
from ...show.section import section
from ...spread import Spread
from ...spread.sensitivity import at_end_of
from ...units import DAY
from ..bars import BarPicture
from ..boxes import buttons
from ..controls import Pick, Press
from ..dials import HOURS, REST, TARGET, WATER, Scale, brine_dial, days_dial, dial
from ..picture import Picture
from ..questions import soak
from ..say import Say
from ..section import SectionPicture
from ..tried import with_soak
from ..workbench import Bench, row, show_lines, show_matters, show_section

COUNT = {"metric": Scale("", 1, 8, 1), "us": Scale("", 1, 8, 1)}
WARMTH = {"metric": Scale("degC", 1, 20, 1), "us": Scale("degF", 34, 68, 2)}

RAW, PLATE = "of the meat, after the soak", "on the plate, once it is cooked"
NEEDLESS = "No soak is needed: it has no more salt than you want."
TO_SEE_ONE = "To see a soak at work, begin another batch. Yours stays in its own file."
BEFORE = "The cure before, and the rest afterwards"
SOAKED = "strong brine and soak"  # the template
TRIED = (
    "Your batch has no soak yet. This one is only tried out; it goes into the batch when you move one of its sliders."
)


class SoakBench(Bench):
    """Sliders for the soak beside the section; folded below: the profile before and after, and surface, average and middle by the hour."""

    here = "soak.ipynb"
    hurries = True

    def shape(self, batch):
        """Each way of curing has a dial of its own, and a batch that is cooked can be asked for the salt of its slices."""
        return type(batch.weigh_out), any(stage.aim == "cook" for stage in batch.stages)

    def build(self):
        state = self.state
        first = lambda batch: with_soak(batch).stages[self._soak(batch)].waters[0]  # noqa: E731
        self.controls["days"] = days_dial(state, "Days in the cure before")
        self.controls |= brine_dial(state)
        self.controls["water"] = dial(
            state,
            "Water each time",
            "water",
            WATER,
            lambda batch: first(batch).amount,
            lambda words: self._waters(amount=words),
        )
        self.controls["count"] = dial(
            state,
            "Waters",
            "plain",
            COUNT,
            lambda batch: len(with_soak(batch).stages[self._soak(batch)].waters),
            lambda words: self._waters(count=int(words)),
        )
        self.controls["hours"] = dial(
            state,
            "Hours in each",
            "time",
            HOURS,
            lambda batch: first(batch).lasts,
            lambda words: self._waters(lasts=words),
        )
        self.controls["temperature"] = dial(
            state, "Water temperature", "temperature", WARMTH, lambda batch: first(batch).temperature[0][1],
            lambda words: self._waters(temperature=words),
        )  # fmt: skip
        if self._rest(state.batch) is not None:
            self.controls["rest"] = dial(
                state, "Rest afterwards", "time", REST, lambda batch: with_soak(batch).stages[self._rest(batch)].longest,
                lambda words: self._change(self._rest(state.batch), lasts=words, until=None, at_most=None),
            )  # fmt: skip
        self._build_question()
        for name in ("profile", "hours", "nitrite"):
            self.pictures[name] = Picture()
        self.pictures |= {"section": SectionPicture(), "matters": BarPicture()}
        self.says |= {
            "cure": Say("", "note"),
            "answer": Say("", "answer"),
            "after": Say("", "answer"),
            "needed": Say("", "answer"),
            "rests": Say("", "note"),
        }

    def _build_question(self):
        """The salt that is wanted, and the button that asks how much soak it takes."""
        state = self.state
        self.controls["target"] = dial(
            state,
            "Salt I want, of the meat",
            "fraction",
            TARGET,
            lambda batch: state.own.target,
            lambda words: state.set_own(target=words),
        )
        if any(stage.aim == "cook" for stage in state.batch.stages):
            self.controls["aim"] = Pick("That salt is", [RAW, PLATE], RAW)
        self.begin = Press("Begin a batch that needs a soak")
        self.begin.on_press(lambda button: self._begin())
        note = Say(TO_SEE_ONE, "note")
        self.to_see = buttons(self.begin, note)
        note.layout.flex = "0 1 auto"  # on a narrow page it wraps
        ask = Press("How much soak would it take?")
        ask.on_press(lambda button: self._ask())
        self.controls["ask"] = ask

    @staticmethod
    def _soak(batch) -> int:
        return next(n for n, stage in enumerate(with_soak(batch).stages) if stage.desalts)

    def _rest(self, batch) -> int | None:
        after, stages = self._soak(batch) + 1, with_soak(batch).stages
        return after if after < len(stages) and not stages[after].wet and not stages[after].cures else None

    def _waters(self, count: int | None = None, **changes) -> None:
        number = self._soak(self.state.batch)
        waters = with_soak(self.state.batch).stages[number].waters
        one = waters[0].but(**changes)
        self._change(number, waters=(one,) * (count or len(waters)), until=None)

    def _change(self, number: int, **changes) -> None:
        """Change a stage of what is shown; a soak that was only tried out goes into the batch with that."""

        def change(batch):
            stages = with_soak(batch).stages
            return batch.but(stages=replaced(stages, number, stages[number].but(**changes)))

        self.state.edit(change)

    def _begin(self) -> None:
        try:
            self.state.begin_template(SOAKED)
        except InputError as error:
            self.refuse(error.said())

    def about(self) -> Any:
        return self.state.batch, self.state.own.target, self._on_the_plate

    @property
    def _on_the_plate(self) -> bool:
        """Whether the salt that is wanted is that of the slice, once it is cooked."""
        return "aim" in self.controls and self.controls["aim"].value == PLATE

    def _ask(self) -> None:
        batch = with_soak(self.state.batch)
        self.ask("needed", self.controls["ask"], soak, batch, self.state.own.target, self._on_the_plate)

    def _seen(self) -> tuple[Spread, int]:
        """All stages, and the number of the soak."""
        batch = self.state.batch
        return self.state.by_clock(with_soak(batch).filled()), self._soak(batch)

    def draw(self):
        state = self.state
        batch = state.batch
        piece = batch.pieces[0].name
        many, number = self._seen()
        begin, end = many.usual.span(number)
        wanted = (state.own.target, f"{100 * state.own.target:.1f} %, as you want it")
        shown = [(many, each.name, each.name) for each in batch.pieces[:2]]
        show_section(
            self.pictures["section"], section(shown, system=batch.units, wanted=wanted), end / DAY, batch.units
        )
        self.warn(telling.warmth_of(with_soak(batch).stages, batch.units))
        self.tell_again("needed", TRIED if state.soak is None else "")
        enough = many.usual.average("salt", begin, piece) <= state.own.target
        self.to_see.layout.display = "flex" if enough and state.soak is None else "none"
        rested = telling.rested(many, piece, batch.units)
        self.says["answer"].text = telling.soaked(many, number, piece)
        self.says["after"].text = NEEDLESS if enough else rested
        if self.follows(many, "cure"):
            self.says["after"].text += f" {FOLLOWS}"
            return
        found = self._ready()
        if found is None:
            return
        out = Planned(batch.stages[state.cure].longest)
        inside = [telling.soaked_inside(many, number, piece, batch.units), *([rested] if enough else [])]
        cured = answer(found, batch.pieces[0], many.usual.numbers, out, batch.units)[:2]
        self.says["cure"].text = " ".join((*inside, *cured))

    def _ready(self) -> Ready | None:
        """When the first piece is ready: with its soak, where the cure ends too salty; None while ranges are worked out."""
        state = self.state
        if soaked := state.soaked(with_soak(state.batch).filled(), [0]):
            return soaked[1][0]
        cure = state.spread(state.cure_lasting(LOOKED))  # stays while only the soak is changed
        return None if self.follows(cure, "cure") else cure.ready(state.cure, [0], at_most=LOOKED)[0]

    def _draw_lines(self):
        many, number = self._seen()
        batch = self.state.batch
        piece = batch.pieces[0].name
        begin, end = many.usual.span(number)
        show_lines(self.pictures["profile"], pictures.before_and_after(many, begin, end, piece, batch.units))
        nitrite = pictures.profile(many, end, ("nitrite", FREE), piece, batch.units)
        show_lines(self.pictures["nitrite"], nitrite)
        show_lines(self.pictures["hours"], pictures.soak_hours(many, begin, piece, self.state.own.target))

    def _draw_sure(self):
        many, number = self._seen()
        piece = self.state.batch.pieces[0].name
        ask = at_end_of("average", "salt", number, piece)
        show_matters(self.pictures["matters"], many, ask, f"the salt of the {piece} after the soak")
        if self.follows(many, "rests"):
            return
        begin = units.show(many.usual.begin(number), "time", digits=2)
        self.says["rests"].text = (
            f"The sentences are of the {piece}, after {begin} of cure and rest. The surface falls first and the middle lags. Soak "
            f"in the fridge: cold water takes longer, and it keeps the meat safe. " + many.meaning
        )

    def layout(self):
        before = [name for name in ("days", "salt", "strength", "rest") if name in self.controls]
        self.fold(BEFORE, row(*(self.controls[name] for name in before), at_least=250))
        lines = row(*(self.pictures[name] for name in ("profile", "hours", "nitrite")), at_least=420)
        self.fold("Lines from face to face, and hour by hour", lines, draw=self._draw_lines)
        self.fold("How sure: what was varied, and what matters most", self.pictures["matters"], self.says["rests"], row(self.units, self.bands, at_least=250), draw=self._draw_sure)  # fmt: skip
        return self.page(
            [self.says["answer"], self.says["after"], self.to_see],
            self.pictures["section"],
            [control for name, control in self.controls.items() if name not in before],
            [self.says["needed"], self.says["cure"]],
        )
