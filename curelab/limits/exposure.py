"""How much of the time that bare meat keeps was used up at the place of the lean where it was most, and what nitrite came to every place.

Numbers only, no verdicts. The clocks and what slows them stand in `keeping`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..engine.history import History
from ..engine.run import FREE
from ..sources import Numbers, default_numbers
from . import keeping
from .cooling import rules
from .keeping import Clock, Hurdles

PARTS = 32  # of a stretch between which salt and nitrite are read; they change most at its beginning
LONG = 0.1  # of the whole time: a stretch that is shorter is read in so much fewer parts, for less harm comes in it
LEAST_PARTS = 4
FINE = 400  # times in each stretch at which the temperature is read, beside the knots of its log
_EVEN = np.linspace(0.0, 1.0, FINE + 1)


@dataclass(frozen=True)
class Exposure:
    """Of a piece: `cold` and `warm`, the share of the time to harm that was used up on either clock, where it was most (1: harm was seen by
    then), read strictly; `harm`: the same on the cold clock, read leniently (`keeping`); `place`: depth of the place of `cold`, as a share of the
    thickness; `nitrite`: the most free nitrite [of the green weight] that the place with least of it ever held, and `bare`, its depth; `salt`:
    the same of salt [of the water phase].
    """

    cold: float
    warm: float
    harm: float
    place: float
    nitrite: float
    bare: float
    salt: float


def exposures(history: History, numbers: Numbers | None = None) -> tuple[Exposure, ...]:
    """The exposure of every piece, in one pass over all stretches, from the start until its middle is hot (where its come-up is over); nothing is
    cut off but what lies below the freezing point of raw meat. Smoke and whatever else is to cook it counts while it is too cold for the
    come-up, which adds up what is warmer (`cooked`); raw meat that is chilled, held, or waits for other pieces counts at what surrounds it. Of a
    draw it is worked out for all draws at once.
    """
    numbers = numbers or default_numbers()
    warm = keeping.clock("warm", numbers)
    cold = [(keeping.clock("cold", numbers), keeping.hurdles(numbers, lenient)) for lenient in (False, True)]
    clocks = [warm, *(clock for clock, _ in cold)]
    key = (
        "exposures",
        *(slowed for _, slowed in cold),
        *((clock.begins, *map(float, clock.seconds)) for clock in clocks),
    )
    found = history.shared(key, lambda many: _exposed(many, cold, warm))
    return tuple(Exposure(*row) for row in found[0].tolist())


def _exposed(many: History, cold: list[tuple[Clock, Hurdles]], warm: Clock) -> np.ndarray:
    """(d, p, 7): the fields of `Exposure` of every draw and piece; `cold`: the strict reading, then the lenient one."""
    pieces = range(len(many.pieces))
    lean = [_lean_depths(many, piece) for piece in pieces]
    used = [np.zeros((len(cold), many.count, len(depth))) for depth in lean]
    most = [np.zeros((many.count, len(depth))) for depth in lean]
    saltiest = [np.zeros((many.count, len(depth))) for depth in lean]
    warm_used = np.zeros((many.count, len(many.pieces)))
    cooked = np.zeros((len(many.pieces), many.count), dtype=bool)
    (come_up,) = rules("come-up")
    for number, (_, length, knots, kelvin) in enumerate(many.courses):
        if length.max() <= 0:
            continue
        border = length[:, None] * np.linspace(0.0, 1.0, _parts(length, many.runs[-1].end) + 1) ** 1.5
        harms: list[np.ndarray] = []
        for piece in pieces:
            raw = ~cooked[piece]
            heat, around = many.runs[number].heat, kelvin
            if heat is not None:
                around = heat.through[piece].warmth.bath(np.broadcast_to(knots, (many.count, len(knots))))
                cooked[piece] |= _made_hot(many, number, piece, come_up.end or np.inf)
            # What is to cook it is judged by the come-up as soon as it is warm enough for that.
            all_of_it = raw & ~(cooked[piece] | _cooks(many, number, piece))
            if not raw.any() or (not all_of_it.any() and around.min() > come_up.begin):
                continue
            if heat is not None or not harms:  # else as warm around all of them
                course = (length, knots, around)
                harms = [harm(course, border, warm, come_up.begin)]
                harms += [harm(course, border, clock, slowed.hopeless) for clock, slowed in cold]
            heeding, heedless = harms[0]
            warm_used[:, piece] += raw * heeding[:, -1] + all_of_it * heedless[:, -1]
            run, within = many.runs[number], 0.5 * (border[:, 1:] + border[:, :-1])
            free = run.profile(FREE, "green weight", within, piece, run.lean_places(piece))
            salt = run.profile("salt", "water phase", within, piece, run.lean_places(piece))
            for reading, (_, slowed) in enumerate(cold):
                heeding, heedless = harms[1 + reading]
                heeding, heedless = raw[:, None] * heeding, all_of_it[:, None] * heedless
                used[piece][reading] += np.einsum("dt,dtx->dx", np.diff(heeding), slowed.left_over(salt, free))
                used[piece][reading] += heedless[:, -1:]
            for largest, held in ((most[piece], free), (saltiest[piece], salt)):
                np.maximum(largest, all_of_it[:, None] * held.max(axis=1), out=largest)
    rows = np.zeros((many.count, len(many.pieces), 7))
    for piece in pieces:
        strict, lenient = used[piece]
        worst, bare = _most_central(strict, lean[piece]), _most_central(-most[piece], lean[piece])
        last = many.lean_profile("salt", None, piece, "water phase")[:, 0]
        salt = np.maximum(saltiest[piece], last)
        rows[:, piece] = np.stack(
            [
                strict.max(axis=1),
                warm_used[:, piece],
                lenient.max(axis=1),
                lean[piece][worst],
                most[piece].min(axis=1),
                lean[piece][bare],
                salt.min(axis=1),
            ],
            axis=1,
        )
    return rows


def _parts(length: np.ndarray, whole: np.ndarray) -> int:
    """In how many parts a stretch of so many s (d,) is read, of a batch of so many in all."""
    share = float(np.max(length / np.maximum(whole, 1e-9)))
    return int(np.clip(np.ceil(PARTS * share / LONG), LEAST_PARTS, PARTS))


def _made_hot(many: History, number: int, piece: int, hot: float) -> np.ndarray:
    """Whether (d,) the middle of a piece comes to `hot` K in a stretch, by its number in `courses`, that is to cook it or follows one that was."""
    none = np.zeros(many.count, dtype=bool)
    _, length, _, kelvin = many.courses[number]
    cooks = any(_cooks(many, earlier, piece) for earlier in range(number + 1))
    if not cooks or not many.stages[many.runs[number].index].is_about(many.pieces[piece].name) or kelvin.max() < hot:
        return none
    middle = many.runs[number].temperature("core", length[:, None] * _EVEN[:: FINE // PARTS], piece)
    return middle.max(axis=1) >= hot


def _cooks(many: History, number: int, piece: int) -> bool:
    """Whether a stretch is to cook a piece."""
    stage = many.stages[many.runs[number].index]
    return stage.aim == "cook" and stage.is_about(many.pieces[piece].name)


def _most_central(values: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """Number (d,) of the largest of values (d, x); of several as large, the one nearest to the middle."""
    top = values.max(axis=1, keepdims=True)
    return np.where(values >= top - 1e-9 * np.abs(top), np.abs(depth - 0.5), np.inf).argmin(axis=1)


def _lean_depths(many: History, piece: int) -> np.ndarray:
    """Depth (x,) of the places of `lean_profile`, as a share of the thickness (of a round piece: 0.5 is its middle)."""
    return many.depths(piece)[many.runs[0].lean_places(piece)]


def between(times: np.ndarray, grid: np.ndarray, values: np.ndarray) -> np.ndarray:
    """(d, t) what `values` (d, n) over a grid (n,) or (d, n) that does not fall come to at times (d, t), straight between; beyond the grid as at its ends."""
    own = np.broadcast_to(grid, values.shape)
    times = np.clip(times, own[:, :1], own[:, -1:])
    if grid.ndim == 1 or (grid == grid[0]).all():
        after = np.searchsorted(own[0], times, side="right")
    else:  # one row behind the other
        rows = np.arange(len(own))[:, None]
        shift = rows * (1.0 + np.ptp(own))
        after = np.searchsorted((own + shift).ravel(), (times + shift).ravel(), side="right")
        after = after.reshape(times.shape) - rows * own.shape[1]
    after = np.clip(after, 1, own.shape[1] - 1)
    begin, end, low, high = (np.take_along_axis(x, at, axis=1) for x in (own, values) for at in (after - 1, after))
    return low + (high - low) * np.divide(times - begin, end - begin, out=np.zeros(times.shape), where=end > begin)


def finely(length: np.ndarray, knots: np.ndarray, kelvin: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(times (d, n) in s from 0 to `length` (d,), the knots (k,) of the log and FINE even steps among them; K (d, n - 1) in the middle between
    two), of a course whose temperature is `kelvin` (d, k) at its knots.
    """
    own = np.minimum(np.broadcast_to(knots, (len(length), len(knots))), length[:, None])
    times = np.concatenate([own, length[:, None] * _EVEN], axis=1)
    times.sort(axis=1)  # what lies beyond the end of a draw is of no length
    return times, between(0.5 * (times[:, 1:] + times[:, :-1]), knots, kelvin)


def harm(
    course: tuple[np.ndarray, np.ndarray, np.ndarray], times: np.ndarray, clock: Clock, hopeless: float = np.inf
) -> np.ndarray:
    """(2, d, t): harm of bare meat from the beginning of a course to `times` (d, t) in s, while it is at most `hopeless` K and while it is above.

    course: (length (d,) in s, knots (k,) of its log, K (d, k) at them). What lies before it or after it adds nothing.
    """
    length, _, kelvin = course
    if (kelvin == kelvin[:, :1]).all():  # as warm all the time
        warmth, grown = kelvin[:, :1], np.clip(times, 0.0, length[:, None]) * clock.pace(kelvin[:, :1])
        return np.stack([grown * (warmth <= hopeless), grown * (warmth > hopeless)])
    grid, warmth = finely(*course)
    pace = clock.pace(warmth) * np.diff(grid, axis=1)
    total = np.zeros((2, *times.shape))
    for part, counts in enumerate((warmth <= hopeless, warmth > hopeless)):
        if counts.any():
            grown = np.concatenate([np.zeros((len(pace), 1)), np.cumsum(pace * counts, axis=1)], axis=1)
            total[part] = between(times, grid, grown)
    return total


def uncovered_time(history: History, numbers: Numbers | None = None, now: float | None = None) -> float:
    """Seconds that fridge logs leave uncovered: before the first reading, after the last, and between two, wherever
    that is longer than `protection.log_gap`. A temperature given once, from the start, is a plan and covers all. now: s since the start at which
    it is asked, after which nothing can have been read yet; None: all of it is over.
    """
    gap = (numbers or default_numbers()).si("protection.log_gap")
    total = 0.0
    for ran in history.ran:
        log = ran.stretch.temperature
        if ran.stretch.heating is not None:
            continue  # a program is no log
        if len(log) == 1 and log[0][0] == 0:
            continue
        over = ran.length if now is None else np.clip(max(now - ran.begin, log[-1][0]), 0.0, ran.length)
        holes = np.diff(np.clip([0.0, *[time for time, _ in log], over], 0.0, over))
        total += float(holes[holes > gap * (1 + 1e-9)].sum())
    return total
