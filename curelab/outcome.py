"""Run a whole batch: the history with its two corners, the answers a cook asks for, and the verdicts. One place for command and bench."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from . import units
from .batch import Batch
from .criterion import Criterion
from .forecast import Answer, Window, corners, soak_needed, time_to, window
from .history import History
from .limits import Verdict, check_all
from .piece import Piece
from .simulate import simulate
from .sources import Numbers, default_numbers
from .stages import Brine, SealedCure, Soak, require_bath
from .weighing import Meaning, StrongBrine, Weighed, explain
from .weighing.vessel import Fit, fits

CURED = "core salt >= 90 % of equilibrium"
CURED_SHARE = Criterion.parse(CURED).target


@dataclass(frozen=True)
class Cured:
    """How far one cure has brought the middle of one piece.

    stage: its number from 0; lasted [s]; share: (usual, slow, fast or the other way) of the salt it is heading for; needs: how long it
    takes to nine tenths.
    """

    stage: int
    piece: Piece
    lasted: float
    share: tuple[float, float, float]
    needs: Answer

    def sentence(self, system: str = "metric") -> str:
        """What a cook must know first: is it enough, and if not, what is."""
        name, days = self.piece.name, units.roughly(self.lasted)
        thick = units.show(self.piece.thickness, "length", system, digits=2)
        usual, low, high = self.share
        there = f"its middle has {100 * usual:.0f} % ({100 * low:.0f} to {100 * high:.0f}) of the salt it will end with"
        span = ""
        if self.needs.value is not None and self.needs.low is not None and self.needs.high is not None:
            needed = units.roughly(self.needs.value)
            span = f"{needed} ({units.roughly(self.needs.low)} in fast meat, {units.roughly(self.needs.high)} in slow)"
        if usual < CURED_SHARE:
            need = f"It needs about {span}." if span else "No time is enough."
            return (
                f"{days.capitalize()} {'is' if days.startswith('1 ') else 'are'} NOT enough for the {name} ({thick}): {there}. {need} Cut it thinner if you can: half as thick "
                "needs a quarter of the time."
            )
        if low < CURED_SHARE:
            return (
                f"The {name} ({thick}) is probably cured to the middle after {days}: {there}. The slowest meat needs "
                f"{units.roughly(self.needs.high) if self.needs.high else 'longer'}, and you cannot see which you have."
            )
        return f"The {name} ({thick}) is cured to the middle after {days}, even in slow meat: {there}."


@dataclass(frozen=True)
class Outcome:
    """What came of a batch. `slow` and `fast`: the same batch in meat at the two ends of what is published."""

    batch: Batch
    weighed: Weighed | None
    history: History
    slow: History
    fast: History

    def band(
        self, place: str, quantity: str, time: float, piece: str, basis: str | None = None
    ) -> tuple[float, float, float]:
        """(value, low, high) of a reading: as usual, and between the two corners."""
        value = self.history.at(place, quantity, time, piece, basis)
        # Stages that end by a criterion end at other times in other meat: compare the same stage by its end.
        ends = [
            other.at(place, quantity, self._same_time(other, time), piece, basis) for other in (self.slow, self.fast)
        ]
        return value, min(value, *ends), max(value, *ends)

    def _same_time(self, other: History, time: float) -> float:
        """The moment in another history that is as far into the same stage; stages that end by a criterion take other times there."""
        for index in sorted({run.index for run in self.history.runs}):
            begin, end = self.history.span(index)
            if time <= end + 1e-6:
                theirs_begin, theirs_end = other.span(index)
                share = (time - begin) / (end - begin) if end > begin else 1.0
                return theirs_begin + share * (theirs_end - theirs_begin)
        return other.length

    @cached_property
    def cured(self) -> tuple[Cured, ...]:
        """For every cure and piece: how far the middle has come when the cure ends, and how long it would need."""
        found = []
        for index, stage in enumerate(self.history.stages):
            if not isinstance(stage, (Brine, SealedCure)) or not any(run.index == index for run in self.history.runs):
                continue
            before = list(self.history.stages[: index + 1])
            begin, end = self.history.span(index)
            for piece in self.batch.pieces:
                share = self.band("core", "salt", end, piece.name, "equilibrium")
                needs = time_to(
                    CURED,
                    self.batch.pieces,
                    before,
                    piece=piece.name,
                    loss=self.batch.loss,
                    numbers=self.history.numbers,
                )
                found.append(Cured(index, piece, end - begin, share, needs))
        return tuple(found)

    @cached_property
    def answers(self) -> tuple[Answer | Window, ...]:
        """When each cure is through to the core, the window of a cure that ends too salty, and the soak that brings it to eating salt."""
        found: list[Answer | Window] = [each.needs for each in self.cured]
        numbers = self.history.numbers
        first = self.history.stages[0]
        if isinstance(first, (Brine, SealedCure)) and self._ends_too_salty(0):
            found.append(window(self.batch.pieces, first, loss=self.batch.loss, numbers=numbers))
        target = numbers.si("taste.normal_high")
        if any(self.history.average("salt", None, piece.name) > target for piece in self.batch.pieces):
            water = 2 * sum(piece.weight for piece in self.batch.pieces)
            soaks = [stage for stage in self.history.stages if isinstance(stage, Soak)]
            if soaks:
                water = soaks[-1].waters[0].amount
            wanted = f"average salt <= {100 * target:g} %"
            found.append(soak_needed(wanted, self.history, water=water, system=self.batch.units)[0])
        return tuple(found)

    def _ends_too_salty(self, index: int) -> bool:
        limit = self.history.numbers.si("taste.too_salty")
        return any(self.history.resting("salt", index, piece.name) > limit for piece in self.batch.pieces)

    @cached_property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Rule set of the batch and process checks, in usual, slow and fast meat; worst first."""
        plan = self.batch.weigh_out
        pick_up = plan.pick_up if isinstance(plan, StrongBrine) and plan.counted == "pick-up" else None
        method = "pick-up" if pick_up is not None else None
        numbers, corners = self.history.numbers, (self.slow, self.fast)
        return check_all(self.history, self.batch.rules, self.batch.product, method, pick_up, numbers, corners)

    @cached_property
    def meanings(self) -> tuple[tuple[int, Meaning], ...]:
        """(stage number from 0, what its grams mean) for every cure, from the grams backwards."""
        plan = self.batch.weigh_out
        pick_up = plan.pick_up if isinstance(plan, StrongBrine) else None
        return tuple(
            (index, explain(_grams(stage), self.batch.pieces, pick_up, self.history.numbers))
            for index, stage in enumerate(self.history.stages)
            if isinstance(stage, SealedCure)
            or (isinstance(stage, Brine) and not stage.running)  # an endless brine has no sum
        )

    @cached_property
    def vessel(self) -> Fit | None:
        """How pieces and brine stand in the vessel, if there is one."""
        brines = [stage for stage in self.history.stages if isinstance(stage, Brine)]
        return (
            fits(self.batch.vessel, self.batch.pieces, require_bath(brines[0]))
            if self.batch.vessel and brines
            else None
        )


def _grams(stage: Brine | SealedCure) -> Any:
    return require_bath(stage) if isinstance(stage, Brine) else stage


def run(batch: Batch, *, numbers: Numbers | None = None) -> Outcome:
    """Simulate a batch as it stands. Raises InputError for what cannot be run."""
    base = numbers or default_numbers()
    stages = batch.filled()
    usual, slow, fast = (
        simulate(batch.pieces, stages, loss=batch.loss, numbers=each) for each in (base, *corners(base))
    )
    return Outcome(batch, batch.weighed, usual, slow, fast)
