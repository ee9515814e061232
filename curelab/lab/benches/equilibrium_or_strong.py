"""Equilibrium or strong brine: the same piece in both on one time axis, rest included, and how much each forgives."""

from __future__ import annotations

import numpy as np

from ... import units
from ...fields import refuse
from ...forecast.ready import Ready
from ...limits.verdict import SURE
from ...outcome import CURED_SHARE
from ...show import pictures, telling
from ...show.answer import (
    FOLLOWS,
    Planned,
    answer,
    danger,
    how_forgiving,
    in_usual_meat,
    ranges,
    to_be_as_sure,
    worth_waiting,
)
from ...show.brines import in_and_rested
from ...show.section import section
from ...spread import Spread
from ...spread.answers import ordered
from ...spread.forgiving import forgiving, taste_around
from ...units import DAY
from ...weighing import EquilibriumBrine, StrongBrine, weigh
from ..controls import Press
from ..dials import STRENGTH, TARGET, THICKNESS, days_dial, dial
from ..picture import Picture
from ..say import Say
from ..section import SectionPicture
from ..workbench import Bench, column, row, show_lines, show_section

HORIZON = 60 * units.DAY


class EquilibriumOrStrong(Bench):
    """Two cures of the same pieces: the batch's own equilibrium brine, and a strong one in the same water that waits to be chosen."""

    here = "equilibrium_or_strong.ipynb"
    hurries = True

    def build(self):
        state = self.state
        self.controls["thickness"] = dial(
            state, f"Thickness of the {state.batch.pieces[0].name}", "length", THICKNESS, lambda batch: batch.pieces[0].thickness,
            lambda words: state.edit_piece(0, thickness=words),
        )  # fmt: skip
        self.controls["salt"] = dial(
            state, "Equilibrium brine: salt, of meat and water", "fraction", TARGET, lambda batch: self.equilibrium(batch).salt,
            lambda words: state.edit(lambda batch: batch.but(weigh_out=self.equilibrium(batch).but(salt=words))),
        )  # fmt: skip
        self.controls["strength"] = dial(
            state,
            "Strong brine: salt, of brine",
            "fraction",
            STRENGTH,
            lambda batch: state.own.strong,
            lambda words: state.set_own(strong=words),
        )
        self.controls["days"] = days_dial(state)
        choose = Press("Put the strong brine into my batch")
        choose.on_press(lambda button: self._choose())
        self.controls["choose"] = choose
        self.pictures["section"] = SectionPicture()
        for name in ("together", "equilibrium salt", "strong salt", "equilibrium nitrite", "strong nitrite"):
            self.pictures[name] = Picture()
        self.says |= {
            name: Say("", "answer")
            for name in ("answer", "strong answer", "spot", "equilibrium nitrite", "strong nitrite")
        }
        self.says["rests"] = Say("", "note")
        self.says["chosen"] = Say("", "note")

    def _choose(self) -> None:
        if self.state.edit(lambda batch: batch.but(weigh_out=self.strong_brine(batch)), step=True):
            strength = units.text(self.state.own.strong, "fraction")
            self.tell("chosen", f"Your batch now uses the {strength} brine. Undo takes that back.")

    @staticmethod
    def equilibrium(batch) -> EquilibriumBrine:
        """The equilibrium brine of the batch, or one with its water, cure mix and nitrite."""
        plan = batch.weigh_out
        if isinstance(plan, EquilibriumBrine):
            return plan
        water = getattr(plan, "water", sum(piece.weight for piece in batch.pieces))
        return EquilibriumBrine(
            water=water, salt="2.2 %", nitrite=plan.nitrite if plan else 0.0, cure=plan.cure if plan else None
        )

    def strong_brine(self, batch) -> StrongBrine:
        """A strong brine with the same water, cure mix and nitrite."""
        calm = self.equilibrium(batch)
        return StrongBrine(water=calm.water, strength=self.state.own.strong, nitrite=calm.nitrite, cure=calm.cure)

    def spread(self, plan) -> Spread:
        """The first piece alone, in its share of the water, in the cure of the batch with another weigh-out, over two months."""
        batch = self.state.batch
        piece = batch.pieces[0]
        alone = plan.but(water=plan.water * piece.weight / sum(each.weight for each in batch.pieces))
        stage = batch.stages[self.state.cure]
        if not (stage.cures and stage.wet):
            raise refuse(
                "stages", "this page compares brines, and the batch is cured without one; open a batch that has a brine"
            )
        made = stage.but(bath=weigh(alone, piece).bath())
        return self.state.spread((made.lasting(max(HORIZON, stage.longest)),), (piece,))

    def _seen(self) -> tuple[dict[str, Spread], float]:
        """Both brines, and the salt that both are to end at: what the cook asked of the equilibrium brine."""
        batch = self.state.batch
        both = {"equilibrium": self.spread(self.equilibrium(batch)), "strong": self.spread(self.strong_brine(batch))}
        return both, float(both["equilibrium"].usual.resting("salt", 0, batch.pieces[0].name))

    def draw(self):
        batch = self.state.batch
        piece, system = batch.pieces[0], batch.units
        now = batch.stages[self.state.cure].longest
        both, wanted = self._seen()
        drawn = section(
            [(many, piece.name, f"{name} brine") for name, many in both.items()], system=system, planned=now
        )
        show_section(self.pictures["section"], drawn, now / DAY, system)
        self.warn(telling.warmth(batch.stages[self.state.cure].warmest, batch.units))
        self.tell_again("chosen")
        ready = {name: self._ready(many, wanted) for name, many in both.items()}
        rough = next((many for many in both.values() if not many.banded), both["strong"])
        if self.follows(rough, "spot", "rests"):
            for name, found in ready.items():
                answered = self.says["answer" if name == "equilibrium" else "strong answer"]
                answered.text = f"**{name.capitalize()} brine.** {in_usual_meat(found, piece, system)} {FOLLOWS}"
            return
        taste, spots = taste_around(wanted, both["equilibrium"].usual.numbers), []
        alone = f", the {piece.name} alone in its share of the water" if len(batch.pieces) > 1 else ""
        for name, many in both.items():
            found = ready[name]
            kind = forgiving(many, *taste)
            unsure = kind.chance < SURE and worth_waiting(found)
            sure = f" {to_be_as_sure(kind)}" if unsure and name == "strong" else ""
            plan = Planned(now, float(many.at("average", "salt", [now], 0, "equilibrium").middle[0]))
            said, *spot = answer(found, piece, many.usual.numbers, plan, system)
            head = (
                f"**{name.capitalize()} brine{alone}.** {said}",
                danger(found),
                how_forgiving(kind, now, found) + sure,
            )
            self.says["answer" if name == "equilibrium" else "strong answer"].text = " ".join(filter(None, head))
            spots.append(f"**{name.capitalize()} brine.** {' '.join(spot)}")
        self.says["spot"].text = "\n".join(spots)
        level = f"core salt >= {100 * CURED_SHARE * wanted:.3g} %"
        window = both["strong"].window(cured=level, at_most=None)
        self.says["rests"].text = (
            f"Shown: the {piece.name} alone, in its share of the water. Wanted: {100 * wanted:.1f} % salt, where the equilibrium brine ends, "
            f"and a taste about it as wide as the usual one (judgement). {ranges(both['strong'].count)} {both['strong'].meaning}\n"
            f"Strong brine without a rest: {window.told}"
        )

    @staticmethod
    def _ready(many: Spread, wanted: float) -> Ready:
        return many.ready(0, salt=wanted, at_most=many.usual.length)[0]

    def _draw_together(self):
        both, wanted = self._seen()
        outs = {name: ordered(self._ready(many, wanted).pull)[1] for name, many in both.items()}
        ways = [
            (name, many, outs[name] if np.isfinite(outs[name]) else many.usual.length) for name, many in both.items()
        ]
        taste = taste_around(wanted, both["equilibrium"].usual.numbers)
        show_lines(self.pictures["together"], in_and_rested(ways, self.state.batch.pieces[0].name, taste))

    def _draw_days(self):
        batch = self.state.batch
        piece, now = batch.pieces[0].name, batch.stages[self.state.cure].longest
        for name, many in self._seen()[0].items():
            show_lines(self.pictures[f"{name} salt"], pictures.over_time(many, "salt", piece, now=now))
            free = pictures.over_time(many, "free nitrite", piece, now=now, places=("surface", "core"))
            show_lines(self.pictures[f"{name} nitrite"], free)
            self.says[f"{name} nitrite"].text = telling.nitrite(many, now, piece)

    def layout(self):
        sides = [
            column(
                Say(f"**{name.capitalize()} brine**", "note"),
                self.pictures[f"{name} salt"],
                self.says[f"{name} nitrite"],
                self.pictures[f"{name} nitrite"],
            )
            for name in ("equilibrium", "strong")
        ]
        self.fold(
            "Both brines on one axis, with their rest", self.pictures["together"], draw=self._draw_together, opened=True
        )
        self.fold("Salt and nitrite over the days", row(*sides, at_least=320), draw=self._draw_days)
        self.fold("How sure: what was varied", self.says["rests"], row(self.units, self.bands, at_least=250))
        lead = [self.says["answer"], self.says["strong answer"]]
        below = [self.says["chosen"], self.says["spot"]]
        return self.page(lead, self.pictures["section"], list(self.controls.values()), below)
