"""Run a whole batch: the history with its two corners, the answers a cook asks for, and the verdicts. One place for command and bench."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from .batch import Batch
from .forecast import Answer, Window, corners, soak_needed, time_to, window
from .history import History
from .limits import Verdict, check_all
from .simulate import simulate
from .sources import Numbers, default_numbers
from .stages import Brine, SealedCure, Soak, require_bath
from .weighing import Meaning, StrongBrine, Weighed, explain
from .weighing.vessel import Fit, fits

CURED = "core salt >= 90 % of equilibrium"


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
        for run, theirs in zip(self.history.runs, other.runs, strict=False):
            if time <= run.end + 1e-6:
                share = (time - run.begin) / run.length if run.length else 1.0
                return theirs.begin + share * theirs.length
        return other.length

    @cached_property
    def answers(self) -> tuple[Answer | Window, ...]:
        """When each cure is through to the core, the window of a cure that ends too salty, and the soak that brings it to eating salt."""
        found: list[Answer | Window] = []
        numbers = self.history.numbers
        for index, stage in enumerate(self.history.stages):
            if not isinstance(stage, (Brine, SealedCure)) or not any(run.index == index for run in self.history.runs):
                continue
            before = list(self.history.stages[: index + 1])
            for piece in self.batch.pieces:
                found.append(
                    time_to(CURED, self.batch.pieces, before, piece=piece.name, loss=self.batch.loss, numbers=numbers)
                )
            if index == 0 and self._ends_too_salty(index):
                found.append(window(self.batch.pieces, stage, loss=self.batch.loss, numbers=numbers))
        target = numbers.si("taste.normal_high")
        if any(self.history.average("salt", None, piece.name) > target for piece in self.batch.pieces):
            water = 2 * sum(piece.weight for piece in self.batch.pieces)
            soaks = [stage for stage in self.history.stages if isinstance(stage, Soak)]
            if soaks:
                water = soaks[-1].waters[0].amount
            found.append(soak_needed(f"average salt <= {100 * target:g} %", self.history, water=water)[0])
        return tuple(found)

    def _ends_too_salty(self, index: int) -> bool:
        limit = self.history.numbers.si("taste.too_salty")
        return any(self.history.resting("salt", index, piece.name) > limit for piece in self.batch.pieces)

    @cached_property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Rule set of the batch and process checks; worst first."""
        plan = self.batch.weigh_out
        pick_up = plan.pick_up if isinstance(plan, StrongBrine) and plan.method == "pick-up" else None
        method = "pick-up" if pick_up is not None else None
        return check_all(self.history, self.batch.rules, self.batch.product, method, pick_up, self.history.numbers)

    @cached_property
    def meanings(self) -> tuple[tuple[int, Meaning], ...]:
        """(stage number from 0, what its grams mean) for every cure, from the grams backwards."""
        plan = self.batch.weigh_out
        pick_up = plan.pick_up if isinstance(plan, StrongBrine) else None
        return tuple(
            (index, explain(_grams(stage), self.batch.pieces, pick_up, self.history.numbers))
            for index, stage in enumerate(self.history.stages)
            if isinstance(stage, (Brine, SealedCure))
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
