"""The days to check: from when a piece may be done, and how long it is not too salty yet, from the draws of a batch."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from .. import units
from ..forecast.ready import soak_after
from ..outcome import Outcome
from ..recipe.criterion import Criterion
from ..recipe.piece import alike_pieces
from ..recipe.stages import Stage
from ..show.answer import HEAD, answers
from ..spread import Windows
from ..spread.answers import ordered
from ..units import MINUTES_A_DAY, capital
from . import say_time
from .kitchen_clock import KitchenClock
from .tasks import in_words, the

SEARCHED = 60 * MINUTES_A_DAY  # minutes in which an open hour is looked for
NEAR_ENOUGH = 5  # minutes; a plan that ends a stage so shortly before the middle case is no plan to warn of (judgement)
HOURLY = 2 * MINUTES_A_DAY  # minutes; a band narrower than this is told by the hour


@dataclass(frozen=True)
class Check:
    """A question whose day is uncertain; `sentence` tells it with its band.

    key: stable name. stage: number from 0. kind "ready" or "take out": `earliest` and `latest` are the first open days by which it is there in 1
    simulated batch of 10 and in 9. kind "too salty": `latest` is the last open day on which 9 of 10 are not. A day is None where there is
    none, or where the plan has no dates.
    """

    key: str
    stage: int
    kind: str
    about: str
    earliest: date | None
    latest: date | None
    sentence: str


def checks_of(
    known: Outcome,
    begins: dict[int, int],
    ends: dict[int, int],
    clock: KitchenClock | None,
    system: str = "metric",
) -> tuple[Check, ...]:
    """Checks of a batch whose stages (numbers from 0) begin and end at these instants; `known`: all that is known of it.

    Of every stage that waits for a criterion: when that holds. Of the last cure and every piece: when it can
    come out. Of a first cure that ends too salty: until when it is not yet. `clock`: None for days without
    dates.
    """
    history = known.history
    found = []
    for index in sorted(begins):
        stage = history.stages[index]
        tell = _Teller(index, begins[index], ends[index], clock, system)
        if stage.until is not None:
            took, missed = known.waited(index)
            spans = _spans(np.where(missed, np.inf, took))
            several = len(history.pieces) > 1
            of = f" of {the(stage.named)}" if stage.named and several else " of all pieces" if several else ""
            found.append(
                tell.ready(
                    f"stage-{index + 1}",
                    f"the {stage.tag}{of}, when {in_words(stage.until, system)}",
                    spans,
                    _room(stage),
                )
            )
        if not stage.cures:
            continue
        if index == known.last_cure:
            found += _taken_out(known, tell)
        if index == 0:
            soaked = soak_after(history.stages, 0) is not None
            found += [tell.too_salty("stage-1-too-salty", salty, soaked) for salty in known.windows]
    return tuple(found)


def _spans(seconds: np.ndarray) -> list[float | None]:
    """(middle, 10 % and 90 % point) of seconds (d,), None for never."""
    early, middle, late = (float(value) if np.isfinite(value) else None for value in ordered(seconds))
    return [middle, early, late]


def _room(stage: Stage) -> str:
    """How long a stage waits at most, and in what: another water, or more of them, may do what this does not."""
    return f"within {units.roughly(stage.longest)}{' in this water' if stage.desalts else ''}"


def _taken_out(known: Outcome, tell: _Teller) -> list[Check]:
    """For pieces that take salt alike: the days on which they may come out, and the whole answer as a sentence."""
    begin, pieces = known.history.begin(tell.index), known.batch.pieces
    dated = tell.dated(begin) if tell.clock else None
    checks = []
    for alike, (names, lines) in zip(alike_pieces(pieces), answers(known, dated).items(), strict=True):
        _, early, late = _spans(known.ready[alike[0]].pull - begin)
        first, last = (None if each is None else tell.day(tell.first_open(each)) for each in (early, late))
        key = f"stage-{tell.index + 1}-piece-{alike[0] + 1}"
        checks.append(
            Check(key, tell.index, "take out", f"{names}: it may come out", first, last, " ".join(lines[:HEAD]))
        )
    return checks


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

    def dated(self, begin: float) -> Callable[[float], str]:
        """Seconds since the start of the batch, at which this stage began after `begin` s, as a date; soon after, with its half hour."""

        def told(seconds: float) -> str:
            after = (seconds - begin) / 60
            soon = after < HOURLY
            return self.words(self.begin + (30 * math.ceil(after / 30) if soon else math.ceil(after)), soon)

        return told

    def words(self, instant: int, hourly: bool = False) -> str:
        if self.clock is None:
            return f"after {units.show(60 * (instant - self.begin), 'time', digits=2)}"
        local = self.clock.local(instant)
        return say_time.moment(local, self.system) if hourly else say_time.day(local.date(), self.system)

    def ready(self, key: str, about: str, spans: Sequence[float | None], room: str) -> Check:
        """`spans`: s in usual meat and at the two ends of the band, None for never; `room`: within what."""
        what = capital(about).replace(", when ", " ends when ", 1)
        known = [span for span in spans if span is not None]
        if not known:
            said = f"{what}: not in 9 of 10 simulated batches {room}."
            return Check(key, self.index, "ready", about, None, None, said)
        hourly = max(known) - min(known) < 60 * HOURLY
        first = self.first_open(min(known))
        last = self.first_open(max(known)) if len(known) == len(spans) else None
        said = f"{what}. 1 in 10 {self.by(first, hourly)}"
        if spans[0] is not None:
            said += f". Half {self.by(self.first_open(spans[0]), hourly)}"
        if last is not None:
            said += f". 9 in 10 {self.by(last, hourly)}."
        else:
            said += f"; {'half' if spans[0] is None else '9 in 10'} not within the time looked at."
        for span, cases in ((min(known), "any of these"), (spans[0], "half are there")):
            if span is None or self.begin + span / 60 > self.end + NEAR_ENOUGH:
                said += f" The plan ends this stage {self.on(self.end)}, before {cases}."
                break
        return Check(key, self.index, "ready", about, self.day(first), None if last is None else self.day(last), said)

    def too_salty(self, key: str, salty: Windows, soaked: bool) -> Check:
        early, middle, _ = ordered(salty.closes)
        said = f"Too salty is when {in_words(Criterion.parse(salty.too_salty))}."
        if not np.isfinite(early):
            said += " 9 of 10 simulated batches never are."
            return Check(key, self.index, "too salty", "too much salt", None, None, said)
        last, hourly = self.last_open(early), early < 60 * HOURLY
        said += f" 1 in 10 simulated batches is {self.by(last, hourly)}."
        if np.isfinite(middle):
            said += f" Half are {self.by(self.last_open(middle), hourly)}."
        if last < self.end:
            back = ", and soaks it" if soaked else ": only a soak can bring it back"
            said += f" The plan takes it out {self.on(self.end)}, later than that{back}."
        return Check(key, self.index, "too salty", "too much salt", None, self.day(last), said)

    def by(self, instant: int, hourly: bool) -> str:
        return f"by {self.words(instant, hourly)}" if self.clock else self.words(instant)

    def on(self, instant: int) -> str:
        return f"on {self.words(instant)}" if self.clock else self.words(instant)
