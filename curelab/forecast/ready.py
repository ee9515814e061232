"""When a piece is ready, as the trade means it: the day to take it out, the rest until it is even, and what its slowest spot holds.

(a) In and out: the whole has its salt when the average is at SHARE of where the cure ends, or, in a brine that ends too salty, at the salt
wanted; a rest then evens it out, until the slowest spot is at SHARE of the average. In a sealed cure the bag is both, and there is one day.
Where a soak is planned after a brine that ends too salty, the plan says when it comes out, and what is asked is the salt after the soak.
(b) The slowest spot: from when to when it has colour and protection, which is free nitrite and salt in its water, through cure and rest; and
how much of the time that bare meat keeps is used up there by the day the piece is ready.
Pure functions of a history, in one case or in many.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..engine.history import FREE, History
from ..limits import exposure, keeping
from ..recipe.criterion import Criterion
from ..recipe.stages import Rest, Stage
from ..results import Shown
from ..sources import Numbers
from ..units import DAY, show

SHARE = 0.9  # of the end that counts as salted, and of the average that counts as even (convention; trade days come out at it)
ENOUGH = 0.9  # of the draws in which the slowest spot must hold
LOOKED = 120 * DAY  # the longest rest that is looked at (judgement: nobody rests raw meat longer)
NEAR = 60.0  # s to which the pull is found
WAY_IN = np.linspace(0.0, 1.0, 31)[1:] ** 2  # shares of the cure at which the slowest spot is read
WAY_ON = np.append(1.0, np.geomspace(0.02, 1.0, 34) ** 1.5 * LOOKED)  # s of rest
IN_BAG = np.geomspace(0.01, 1.0, 88) ** 1.5
HELD = ((FREE, "green weight"), ("salt", "water phase"))  # what the slowest spot is asked for
COLUMNS = ("pull", "ready", "first", "last", "most", "most_salt", "then", "then_salt", "exposed", "warmed")
SOAKED = ("soaked", "after")  # two more where a soak is planned


@dataclass(frozen=True, repr=False)
class Ready(Shown):
    """What became of one piece in every draw, s (d,) since the start, inf for not within what was looked at.

    pull: the whole has its salt; ready: it is even as well. first, last: between these the slowest spot has colour and protection; last
    is inf where that still held when the look ended. most: the highest free nitrite there (a fraction of the green weight); most_salt: the most salt in its water; then,
    then_salt: the same on the ready day. exposed: the
    share of the time to harm that is used up there by the ready day (`limits.keeping`, cold clock, read strictly; 1: harm was seen by then); warmed: the same on
    the warm clock, by the ready day or the end of what was looked at; of either `allowed` is in order. wanted: what the pull waited for; bag: whether the cure is its own rest; nitrite: whether there is any.
    With a planned soak the pull is that of the plan, first and last count from the end of the soak, which is `soaked`, and `after` is the salt of the
    whole then, wanted to be `wanted` (fractions of the meat); both None without one.
    """

    piece: str
    stage: int
    wanted: Criterion
    bag: bool
    nitrite: bool
    pull: np.ndarray
    ready: np.ndarray
    first: np.ndarray
    last: np.ndarray
    most: np.ndarray
    most_salt: np.ndarray
    then: np.ndarray
    then_salt: np.ndarray
    exposed: np.ndarray
    warmed: np.ndarray
    allowed: float
    soaked: np.ndarray | None = None
    after: np.ndarray | None = None

    def lines(self) -> list[str]:
        """In the middle draw, and how often the slowest spot holds; `show.answer` has the words for a cook."""
        pull, ready = (np.sort(each)[(len(each) - 1) // 2] for each in (self.pull, self.ready))
        holds = (
            f"its slowest spot is pink and protected then in {100 * self.chance:.0f} %"
            if self.nitrite
            else "no nitrite"
        )
        return [
            f"{self.piece}: out after {show(pull, 'time')}, ready after {show(ready, 'time')}; {holds} of {len(self.pull)}"
        ]

    def rows(self) -> list[dict[str, Any]]:
        """One for each draw, s."""
        names = ("pull", "rest", "ready", "first", "last")
        return [
            {"piece": self.piece, "draw": draw, **{f"{name}_s": float(getattr(self, name)[draw]) for name in names}}
            for draw in range(len(self.pull))
        ]

    def in_first(self, draws: int) -> Ready:
        """The same in the first draws alone."""
        arrays: dict[str, Any] = {
            name: each[:draws] for name, each in vars(self).items() if isinstance(each, np.ndarray)
        }
        return replace(self, **arrays)

    @property
    def rest(self) -> np.ndarray:
        """s (d,) of rest, after the soak where there is one; inf where it is never even."""
        known, since = np.isfinite(self.ready), self.pull if self.soaked is None else self.soaked
        return np.where(known, self.ready - np.where(known, since, 0.0), np.inf)

    @property
    def holds(self) -> np.ndarray:
        """(d,) whether the slowest spot has colour and protection on the day the piece is ready, and was not bare too long before."""
        return self._there & self.keeps

    @property
    def _there(self) -> np.ndarray:
        return np.isfinite(self.ready) & (self.first <= self.ready) & (self.ready <= self.last)

    @property
    def keeps(self) -> np.ndarray:
        """(d,) whether what the slowest spot goes through until the piece is ready is in order."""
        return (self.exposed <= self.allowed) & (self.warmed <= self.allowed)

    @property
    def chance(self) -> float:
        """Share of the draws in which it holds."""
        return float(np.mean(self.holds))

    @property
    def bare(self) -> bool:
        """Whether there is nitrite, and it fails in more than 1 of 10 all the same, or it is bare too long: something is to be changed."""
        return (self.nitrite and self.chance < ENOUGH) or float(np.mean(self.keeps)) < ENOUGH


def wanted_of(history: History, stage: int, piece: int | str, salt: float | None = None) -> Criterion:
    """What the pull waits for: SHARE of where the cure ends; where that is too salty to eat, the `salt` wanted on the whole (default: the
    upper end of the usual taste).
    """
    numbers, end = history.numbers, float(np.max(history.resting("salt", stage, piece)))
    wanted = numbers.si("taste.normal_high") if salt is None else salt
    if end <= numbers.si("taste.too_salty") or wanted >= SHARE * end:
        return Criterion("average", "salt", ">=", SHARE, "equilibrium")
    return Criterion("average", "salt", ">=", wanted, "meat")


def soak_after(stages: Sequence[Stage], stage: int) -> int | None:
    """Number of the last soak after a cure, before anything heats or cures again; None where none is planned."""
    ends = (n for n, each in enumerate(stages) if n > stage and (each.heats or each.cures))
    soaks = [n for n, each in enumerate(stages[: next(ends, len(stages))]) if n > stage and each.desalts]
    return max(soaks, default=None)


def wanted_after(stage: Stage, numbers: Numbers) -> Criterion:
    """The salt of the whole that a soak is to bring a piece down to: what it waits for, else the upper end of the usual taste."""
    aim = Criterion("average", "salt", "<=", numbers.si("taste.normal_high"), "meat")
    own = stage.until
    return own if own is not None and replace(own, target=aim.target) == aim else aim


def ready_columns(
    history: History, stage: int, wanted: Sequence[Criterion], pieces: Sequence[int], cold: float | None = None, soak: int | None = None
) -> np.ndarray:  # fmt: skip
    """COLUMNS (d, p, 10) of these pieces in a history whose stage number `stage`, a cure, is its last and lasts as long as is looked at.

    wanted: for each piece, what its pull waits for; cold: K of the rest, None: as the cure ends. soak: number of the soak after the cure, in a history
    as it is planned: then COLUMNS and SOAKED (d, p, 12), counted on the plan's pull and soak.
    """
    *_, columns = ready_in_steps(history, stage, wanted, pieces, cold, soak)
    assert columns is not None
    return columns


def ready_in_steps(
    history: History, stage: int, wanted: Sequence[Criterion], pieces: Sequence[int], cold: float | None = None, soak: int | None = None
) -> Iterator[np.ndarray | None]:  # fmt: skip
    """`ready_columns` in short steps, None after each, for whoever wants to do something in between; the columns come last."""
    many = history if history.drawn else history.as_drawn()
    if soak is not None:
        yield from _soaked(many, stage, soak, pieces, cold)
        return
    bag = many.stages[stage].stretches[-1].purge is not None
    pulls = np.empty((many.count, len(pieces)))
    for goal in dict.fromkeys(wanted):  # in one pass where all wait for the same
        mine = [place for place, each in enumerate(wanted) if each == goal]
        pulls[:, mine] = many.first_time(goal, stage, tuple(pieces[place] for place in mine), NEAR)
        yield None
    rest = rest_after(many, stage, cold)
    made = []
    for pull, piece in zip(pulls.T, pieces, strict=True):
        made.append(_in_bag(many, stage, pull, piece) if bag else _in_brine(many, stage, pull, piece, rest))
        yield None
    yield np.stack([np.stack(columns, axis=1) for columns in made], axis=1)


def ready_of(columns: np.ndarray, history: History, stage: int, wanted: Sequence[Criterion], pieces: Sequence[int]) -> tuple[Ready, ...]:  # fmt: skip
    """`ready_columns` (d, p, 10 or 12) as records; `history`: any one of the batch."""
    bag = history.stages[stage].stretches[-1].purge is not None
    nitrite = any(made.nitrite for each in history.stages[: stage + 1] if (made := each.put_in) is not None)
    return tuple(
        Ready(
            history.pieces[piece].name, stage, goal, bag, nitrite, allowed=history.numbers.si("protection.share"),
            **dict(zip((*COLUMNS, *SOAKED)[: columns.shape[-1]], np.moveaxis(columns[:, number], -1, 0), strict=True)),
        )
        for number, (goal, piece) in enumerate(zip(wanted, pieces, strict=True))
    )  # fmt: skip


def cold_of_rest(stages: Sequence[Stage], stage: int) -> float | None:
    """K of the rest that is planned after a cure; None where none is."""
    after = stages[stage + 1] if stage + 1 < len(stages) else None
    rests = after is not None and not after.heats and all(stretch.sealed for stretch in after.stretches)
    return after.logs[0][0][1] if after is not None and rests else None


def rest_after(history: History, stage: int, cold: float | None = None) -> Rest:
    """A rest of LOOKED after a cure, at `cold` K; None: as cold as the cure ends."""
    return Rest(temperature=history.stages[stage].logs[-1][-1][1] if cold is None else cold, lasts=LOOKED)


def first_even(many: History, stage: int, piece: int, out: np.ndarray) -> np.ndarray:
    """s (d,) of rest until a piece is even that was taken out of a cure at `out` (d,) s since the start; inf: not within LOOKED."""
    return _rested(many.pulled(stage, out - many.begin(stage), rest_after(many, stage), piece), out)


def _rested(rested: History, out: np.ndarray) -> np.ndarray:
    even = rested.least("salt", out[:, None] + WAY_ON, 0, "equilibrium")
    return _evened(np.broadcast_to(WAY_ON, even.shape), even)


def _in_brine(many: History, stage: int, pull: np.ndarray, piece: int, rest: Rest) -> list[np.ndarray]:
    begin, end = many.span(stage)
    out = np.minimum(pull, end)
    rested = many.pulled(stage, out - begin, rest, piece)
    way_in, way_on = begin[:, None] + (out - begin)[:, None] * WAY_IN, out[:, None] + WAY_ON
    ready = np.where(np.isfinite(pull), pull + _rested(rested, out), np.inf)
    free, salt = (
        np.concatenate([many.least(name, way_in, piece, basis), rested.least(name, way_on, 0, basis)], axis=1)
        for name, basis in HELD
    )
    courses = [*many.courses[:-1], *rested.courses]
    return [pull, ready, *_kept(many.numbers, courses, np.concatenate([way_in, way_on], axis=1), free, salt, ready)]


def _soaked(
    many: History, stage: int, soak: int, pieces: Sequence[int], cold: float | None
) -> Iterator[np.ndarray | None]:
    """The columns of pieces that come out and are soaked as planned, in steps as `ready_in_steps` gives them."""
    begin, out = many.span(stage)
    soaked = many.ends(soak)
    rested = many.instead(soak + 1, [rest_after(many, soak, cold)])
    yield None
    parts = [begin[:, None] + (out - begin)[:, None] * WAY_IN, out[:, None] + (soaked - out)[:, None] * WAY_IN]
    times = np.concatenate([*parts, soaked[:, None] + WAY_ON], axis=1)
    made = []
    for piece in pieces:
        even = rested.least("salt", soaked[:, None] + WAY_ON, piece, "equilibrium")
        ready = soaked + _evened(np.broadcast_to(WAY_ON, even.shape), even)
        free, salt = (rested.least(name, times, piece, basis) for name, basis in HELD)
        kept = _kept(many.numbers, rested.courses, times, free, salt, ready, since=soaked)
        after = many.average("salt", soaked[:, None], piece)[:, 0]
        made.append(np.stack([out, ready, *kept, soaked, after], axis=1))
        yield None
    yield np.stack(made, axis=1)


def _in_bag(many: History, stage: int, pull: np.ndarray, piece: int) -> list[np.ndarray]:
    begin, end = many.span(stage)
    times = begin[:, None] + (end - begin)[:, None] * IN_BAG
    average, slowest = (read("salt", times, piece, "equilibrium") for read in (many.average, many.least))
    even = _evened(times, slowest / np.maximum(average, 1e-12))
    ready = np.maximum(pull, even)
    free, salt = (many.least(name, times, piece, basis) for name, basis in HELD)
    return [ready, ready, *_kept(many.numbers, many.courses, times, free, salt, ready)]


def _evened(times: np.ndarray, share: np.ndarray) -> np.ndarray:
    """s (d,) at which share (d, t) first comes to SHARE: what is missing of the whole dies out like exp, so its logarithm is straight."""
    missing = np.log(np.maximum(1 - share, 1e-9))
    return _crossing(times, np.log(1 - SHARE) - missing)


def _kept(
    numbers: Numbers, courses, times: np.ndarray, free: np.ndarray, salt: np.ndarray, ready: np.ndarray, since: np.ndarray | None = None
) -> tuple[np.ndarray, ...]:  # fmt: skip
    """(first, last, most, most_salt, then, then_salt, exposed, warmed): between which s (d,) the slowest spot has colour and protection, the highest
    free nitrite and salt in its water there and those of the ready day, and what it goes through until the piece is `ready` (d,); free nitrite and salt [of the water phase] there at times (d, t) and as warm as `courses`. since: s (d,) before which
    colour and protection are not counted, for a soak takes them out again.
    """
    margin = np.minimum(free / numbers.si("colour.nitrite_minimum"), salt / numbers.si("protection.slowest_salt")) - 1.0
    margin = margin if since is None else np.where(times < since[:, None], -1.0, margin)
    first = _crossing(times, margin)
    lost = np.where(np.isfinite(first)[:, None] & (times >= first[:, None]), -margin, -1.0)
    used = _used(numbers, courses, times, salt, free)
    warmth = _harm(courses, times, keeping.clock("warm", numbers))[0]
    over = np.maximum(used, warmth) - numbers.si("protection.share")
    until = np.minimum(_crossing(times, lost - 1e-12), _crossing(times, over))
    at_ready = [exposure.between(ready[:, None], times, each)[:, 0] for each in (free, salt, used, warmth)]
    then, then_salt, exposed, warmed = at_ready
    exposed = np.where(np.isfinite(ready), exposed, np.inf)
    return first, until, free.max(axis=1), salt.max(axis=1), then, then_salt, exposed, warmed


def _used(numbers: Numbers, courses, times: np.ndarray, salt: np.ndarray, free: np.ndarray) -> np.ndarray:
    """Share (d, t) of the time to harm used up by `times` (d, t) where salt [of the water phase] and free nitrite are (d, t) there; straight
    between them, and nothing of either before the first.
    """
    clock, slowed = keeping.clock("cold", numbers), keeping.hurdles(numbers)
    border = np.concatenate([np.zeros((len(times), 1)), times], axis=1)
    bare, hopeless = _harm(courses, border, clock, slowed.hopeless)
    left = np.concatenate([np.ones((len(times), 1)), slowed.left_over(salt, free)], axis=1)
    steps = np.diff(bare) * 0.5 * (left[:, 1:] + left[:, :-1]) + np.diff(hopeless)
    return np.cumsum(steps, axis=1)


def _harm(courses, times: np.ndarray, clock: keeping.Clock, hopeless: float = np.inf) -> np.ndarray:
    """(2, d, t): `exposure.harm` over all `courses`, as `History.courses` has them, to `times` (d, t) s since the start."""
    total = np.zeros((2, *times.shape))
    for begin, length, knots, kelvin in courses:
        total += exposure.harm((length, knots, kelvin), times - begin[:, None], clock, hopeless)
    return total


def _crossing(times: np.ndarray, margin: np.ndarray) -> np.ndarray:
    """s (d,) at which margin (d, t) is first not negative, straight between times; inf: it never is."""
    holds = margin >= 0
    at = np.argmax(holds, axis=1)
    rows, before = np.arange(len(at)), np.maximum(at - 1, 0)
    low, high = margin[rows, before], margin[rows, at]
    share = np.where(at > 0, low / np.where(high == low, 1.0, low - high), 1.0)
    found = times[rows, before] + share * (times[rows, at] - times[rows, before])
    return np.where(holds.any(axis=1), found, np.inf)
