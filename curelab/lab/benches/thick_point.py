"""How long a thick point needs: two thicknesses in the same bath, side by side."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ...batch import Batch
from ...engine.run import FREE
from ...outcome import CURED, CURED_SHARE
from ...show import pictures, telling
from ...show.answer import FOLLOWS, Planned, answer, headline, in_usual_meat, ranges
from ...show.composing import STATIONS
from ...show.section import Section, section
from ...spread import Spread
from ...spread.sensitivity import within
from ...units import DAY
from ..bars import BarPicture
from ..controls import Pick
from ..depthmap import DepthMap
from ..dials import CAP, FRIDGE, THICKNESS, brine_dial, days_dial, dial
from ..picture import Picture
from ..say import Say
from ..section import SectionPicture
from ..stations import station_rows
from ..workbench import Bench, row, show_lines, show_map, show_matters, show_section

HORIZON = 90 * DAY
TURNING = [
    ("never", "never turned"),
    ("1 d", "turned every day"),
    ("2 d", "turned every 2nd day"),
    ("rack", "hangs free, both faces open"),
]


class ThickPoint(Bench):
    """Sliders for thickness, fat, temperature, salt and days beside the section of both pieces; lines and ranks folded below."""

    here = "thick_point.ipynb"
    hurries = True
    _focus = ""  # the control that has the keyboard when the page is made anew

    def shape(self, batch):
        """Its dials are those of the first two pieces."""
        return tuple((piece.name, piece.shape, len(piece.stations)) for piece in batch.pieces[:2])

    def build(self):
        state = self.state
        cure = state.cure
        for number, piece in enumerate(state.batch.pieces[:2]):
            self.controls[f"thickness {number + 1}"] = dial(
                state, f"Thickness of the {piece.name}", "length", THICKNESS,
                lambda batch, n=number: batch.pieces[n].thickness, lambda words, n=number: state.edit_piece(n, thickness=words),
            )  # fmt: skip
        self.controls["fat cap"] = dial(
            state, f"Fat on one face of the {state.batch.pieces[0].name}", "length", CAP, lambda batch: batch.pieces[0].fat_cap,
            lambda words: state.edit_piece(0, fat_cap=words),
        )  # fmt: skip
        self.measures: dict[str, Any] = {}
        self.controls["days"] = days_dial(state)
        self.controls["temperature"] = dial(
            state, "Fridge", "temperature", FRIDGE, lambda batch: batch.stages[cure].warmest,
            lambda words: state.edit_stage(cure, temperature=words),
        )  # fmt: skip
        self.controls |= brine_dial(state)
        if state.batch.stages[cure].wet:
            turning = Pick("Turning", TURNING, self._turning())
            turning.observe(lambda change: self._turn(turning.value), "value")
            self.controls["turning"] = turning
        self.stations: list[Any] = []
        for number in range(len(state.batch.pieces[:2])):
            made, rows = station_rows(state, number, self._restation)
            self.measures |= made
            self.stations += rows
        if self._focus in self.measures:
            self.measures[self._focus].focus, self._focus = True, ""
        self.pictures["section"] = SectionPicture()
        self.by_hand(self.pictures["section"])
        for name in ("profile 1", "profile 2", "nitrite", "middle"):
            self.pictures[name] = Picture()
        if len(state.batch.pieces) < 2:
            del self.pictures["profile 2"]
        self.pictures["map"] = DepthMap()
        self.pictures["matters"] = BarPicture()
        self.says |= {
            "answer": Say("", "answer"),
            "spot": Say("", "answer"),
            "nitrite": Say("", "answer"),
            "rests": Say("", "note"),
        }

    def _turning(self) -> str:
        stage = self.state.batch.stages[self.state.cure]
        if not stage.lying:
            return "rack"
        known = {DAY: "1 d", 2 * DAY: "2 d"}
        return known.get(stage.turn_every or 0.0, "never")

    def _turn(self, how: str) -> None:
        every = None if how in ("never", "rack") else how
        self.state.edit_stage(self.state.cure, lying=how != "rack", turn_every=every)

    def _restation(self, change: Callable[[Batch], Batch], focus: str) -> None:
        self._focus = focus
        self.state.edit(change, step=True)

    def _seen(self) -> tuple[Spread, float]:
        """The cure, left to go on past its end, and when it was to end."""
        now = self.state.batch.stages[self.state.cure].longest
        return self.state.spread(self.state.cure_lasting(max(HORIZON, now))), now

    def sketch(self) -> tuple[Section, float]:
        many, now = self._seen()
        shown = [(many, piece.name, piece.name) for piece in self.state.batch.pieces[:2]]
        return section(shown, system=self.state.batch.units, planned=now), now / DAY

    def draw(self):
        state = self.state
        system, pieces = state.batch.units, state.batch.pieces
        many, now = self._seen()
        show_section(self.pictures["section"], *self.sketch(), system)
        self.warn(telling.warmth(state.batch.stages[state.cure].warmest, system))
        every = list(range(len(pieces[:2])))
        asked, ready = state.soaked(state.batch.filled(), every) or (
            many,
            many.ready(state.cure, every, at_most=many.usual.length - many.usual.begin(state.cure)),
        )
        if self.follows(many, "spot"):
            days = (in_usual_meat(found, piece, system) for found, piece in zip(ready, pieces, strict=False))
            self.says["answer"].text = f"{chr(10).join(days)} {FOLLOWS}"
            return
        first, more = [], []
        for found, piece in zip(ready, pieces, strict=False):
            stands = float(many.at("average", "salt", [now], piece.name, "equilibrium").middle[0])
            made = state.changes(asked, state.cure, piece.name) if found.bare and found.nitrite else None
            plan = Planned(now, stands)
            said = answer(found, piece, many.usual.numbers, plan, system, None, made, state.batch.weighed)
            first.append(headline(found, piece, plan, system, made, many.usual.numbers))
            more.append(" ".join(said))
        self.says["answer"].text = "\n".join(first)
        self.says["spot"].text = "\n".join(more)

    def _draw_lines(self):
        state = self.state
        system, pieces = state.batch.units, state.batch.pieces
        many, now = self._seen()
        profiles = [pictures.profile(many, now, ("salt",), piece.name, system) for piece in pieces[:2]]
        for number, profile in enumerate(profiles):  # one scale for both, so that they can be compared
            show_lines(self.pictures[f"profile {number + 1}"], profile, y_range=pictures.shared_range(*profiles))
        show_lines(self.pictures["middle"], pictures.middles(many, [piece.name for piece in pieces[:2]], now))
        level = CURED_SHARE * many.usual.resting("salt", state.cure, pieces[0].name)
        show_map(
            self.pictures["map"],
            pictures.depth_map(many.usual, "salt", pieces[0].name, level, "cured down to here", system),
        )
        nitrite = pictures.profile(many, now, ("nitrite", FREE), pieces[0].name, system)
        show_lines(self.pictures["nitrite"], nitrite)
        self.says["nitrite"].text = telling.nitrite(many, now, pieces[0].name)

    def _draw_sure(self):
        many, _ = self._seen()
        first = self.state.batch.pieces[0].name
        show_matters(self.pictures["matters"], many, within(CURED, first), f"the days that the {first} needs")
        if self.follows(many, "rests"):
            return
        self.says["rests"].text = "\n".join(
            (ranges(many.count), many.meaning, *self.state.in_own_units(many.usual.assumptions))
        )

    def layout(self):
        self.fold("The whole answer: rest, slowest spot, and what would help", self.says["spot"])
        if self.stations:
            self.fold(STATIONS, *self.stations)
        profiles = [self.pictures[name] for name in ("profile 1", "profile 2") if name in self.pictures]
        self.fold(
            "Lines from face to face, nitrite, and the days until the middle is cured",
            row(*profiles, at_least=320), self.says["nitrite"], row(self.pictures["nitrite"], self.pictures["middle"], at_least=320),
            self.pictures["map"], draw=self._draw_lines,
        )  # fmt: skip
        self.fold("How sure: what was varied, and what matters most", self.pictures["matters"], self.says["rests"], row(self.units, self.bands, at_least=250), draw=self._draw_sure)  # fmt: skip
        return self.page([self.says["answer"]], self.pictures["section"], list(self.controls.values()))
