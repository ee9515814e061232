"""The days to check: from when the fastest meat may be done, and how long even the fastest is not too
salty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from .. import units
from ..criterion import Criterion
from ..forecast import Window, time_to, window
from ..outcome import CURED, Outcome
from ..piece import Piece
from ..stages import AnyStage, Brine, SealedCure
from ..units import capital
from . import say_time
from .kitchen_clock import KitchenClock
from .tasks import in_words

SEARCHED = 60 * 1440  # minutes in which an open hour is looked for
HOURLY = 2 * 1440  # minutes; a band narrower than this is told by the hour


@dataclass(frozen=True)
class Check:
    """A question whose day is uncertain; `sentence` tells it with its band.

    key: stable name. stage: number from 0. kind "ready": `earliest` and `latest` are the first open days on
    which the fastest and the slowest meat is there. kind "too salty": `latest` is the last open day on which
    even the fastest meat is not. A day is None where there is none, or where the plan has no dates.
    """

    key: str
    stage: int
    kind: str
    about: str
    earliest: date | None
    latest: date | None
    sentence: str


def checks_of(
    wished: Outcome,
    begins: dict[int, int],
    ends: dict[int, int],
    clock: KitchenClock | None,
    system: str = "metric",
) -> tuple[Check, ...]:
    """Checks of a batch whose stages (numbers from 0) begin and end at these instants.

    Of every stage that waits for a criterion: when that holds. Of every cure and piece: when its middle is
    cured. Of a first cure that ends too salty: until when it is not yet. `clock`: None for days without
    dates.
    """
    batch, history = wished.batch, wished.history
    found = []
    for index in sorted(begins):
        stage = history.stages[index]
        tell = _Teller(index, begins[index], ends[index], clock, system)
        if stage.until is not None:
            spans = [_length(each, index) for each in (history, wished.slow, wished.fast)]
            found.append(tell.ready(f"stage-{index + 1}", f"the {stage.tag}, when {in_words(stage.until)}", spans))
        if not isinstance(stage, (Brine, SealedCure)):
            continue
        # Salt is asked for alone: nitrite weighs next to nothing, and its loss costs most of the time.
        line = [_without_nitrite(each) for each in history.stages[: index + 1]]
        for number, alike in _alike(batch.pieces):
            if str(stage.until) != CURED:
                answer = time_to(CURED, batch.pieces, line, piece=alike[0], loss=batch.loss, numbers=history.numbers)
                about = f"{', '.join(alike)}, cured to the middle"
                spans = [answer.value, answer.low, answer.high]
                found.append(tell.ready(f"stage-{index + 1}-piece-{number}", about, spans))
        if index == 0:
            cure = _without_nitrite(stage)
            assert isinstance(cure, (Brine, SealedCure))
            salty = window(batch.pieces, cure, loss=batch.loss, numbers=history.numbers)
            if np.isfinite([salty.closes, salty.slow[1], salty.fast[1]]).any():
                found.append(tell.too_salty("stage-1-too-salty", salty))
    return tuple(found)


def _alike(pieces: Sequence[Piece]) -> list[tuple[int, list[str]]]:
    """(number of the first from 1, names) of pieces that take salt at the same pace: all the same but for
    name and weight.
    """
    groups: dict[Piece, tuple[int, list[str]]] = {}
    for number, piece in enumerate(pieces, 1):
        groups.setdefault(piece.but(name="piece", weight=1.0), (number, []))[1].append(piece.name)
    return list(groups.values())


def _without_nitrite(stage: AnyStage) -> AnyStage:
    if isinstance(stage, Brine) and stage.bath is not None:
        return stage.but(bath=stage.bath.but(nitrite=0.0, nitrate=0.0))
    return stage.but(nitrite=0.0, nitrate=0.0) if isinstance(stage, SealedCure) else stage


def _length(history, index: int) -> float | None:
    """s a stage took to its criterion; None if it did not come to it."""
    runs = [run for run in history.runs if run.index == index]
    return runs[-1].end - runs[0].begin if runs[-1].reached else None


@dataclass(frozen=True)
class _Teller:
    """Puts elapsed time since a stage began into words: dates by the kitchen's clock, or days without one."""

    index: int
    begin: int
    end: int
    clock: KitchenClock | None
    system: str

    def first_open(self, seconds: float) -> int:
        at = self.begin + math.ceil(seconds / 60)
        spans = self.clock.open(at, at + SEARCHED) if self.clock else []
        return spans[0][0] if spans else at

    def last_open(self, seconds: float) -> int:
        at = self.begin + math.floor(seconds / 60)
        spans = self.clock.open(at - SEARCHED, at) if self.clock else []
        return spans[-1][1] if spans else at

    def day(self, instant: int) -> date | None:
        return self.clock.local(instant).date() if self.clock else None

    def words(self, instant: int, hourly: bool = False) -> str:
        if self.clock is None:
            return f"after {units.show(60 * (instant - self.begin), 'time', digits=2)}"
        local = self.clock.local(instant)
        return say_time.moment(local, self.system) if hourly else say_time.day(local.date(), self.system)

    def ready(self, key: str, about: str, spans: Sequence[float | None]) -> Check:
        """`spans`: s in usual meat and at the two ends of the band, None for never."""
        what = capital(about)
        known = [span for span in spans if span is not None]
        if not known:
            said = f"{what}: in no meat, however long this stage lasts."
            return Check(key, self.index, "ready", about, None, None, said)
        hourly = max(known) - min(known) < 60 * HOURLY
        first = self.first_open(min(known))
        last = self.first_open(max(known)) if len(known) == len(spans) else None
        usual = "never" if spans[0] is None else self.words(self.first_open(spans[0]), hourly)
        slowest = "never" if last is None else self.words(last, hourly)
        said = f"{what}: check from {self.words(first, hourly)} on; usual meat {usual}, the slowest {slowest}."
        for span, which in ((min(known), "the fastest"), (spans[0], "usual")):
            if span is None or self.begin + span / 60 > self.end:
                said += f" The plan ends this stage {self.on(self.end)}, before {which} meat is there."
                break
        return Check(key, self.index, "ready", about, self.day(first), None if last is None else self.day(last), said)

    def too_salty(self, key: str, salty: Window) -> Check:
        last = self.last_open(min(salty.closes, salty.slow[1], salty.fast[1]))
        usual = self.words(self.last_open(salty.closes)) if np.isfinite(salty.closes) else "any day"
        said = (
            f"Not yet too salty (that is when {in_words(Criterion.parse(salty.too_salty))}) up to "
            f"{self.words(last)} even in the fastest meat, up to {usual} in "
            "usual meat."
        )
        if last < self.end:
            said += f" The plan takes it out {self.on(self.end)}, later than that: only a soak can bring it back."
        return Check(key, self.index, "too salty", "too much salt", None, self.day(last), said)

    def on(self, instant: int) -> str:
        return f"on {self.words(instant)}" if self.clock else self.words(instant)
