"""How much of the time that bare meat keeps was used up at the place of the lean where it was most, and what nitrite came to every place.

Numbers only, no verdicts. The clocks and what slows them stand in `keeping`.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass

import numpy as np

from ..engine.history import History
from ..engine.run import FREE
from ..sources import Numbers, default_numbers
from . import keeping
from .keeping import Clock, Hurdles

PARTS = 32  # of each stretch between which salt and nitrite are read; they change most at its beginning
FINE = 400  # times in each stretch at which the temperature is read, beside the knots of its log
_GRADED = np.linspace(0.0, 1.0, PARTS + 1) ** 1.5
_EVEN = np.linspace(0.0, 1.0, FINE + 1)


@dataclass(frozen=True)
class Exposure:
    """Of a piece: `cold` and `warm`, the share of the time to harm that was used up on either clock, where it was most (1: harm was seen by
    then); `place`: depth of that place on the cold clock, as a share of the thickness; `nitrite`: the most free nitrite [of the green weight]
    that the place with least of it ever held, and `bare`, its depth; `salt`: the same of salt [of the water phase].
    """

    cold: float
    warm: float
    place: float
    nitrite: float
    bare: float
    salt: float


def exposures(history: History, numbers: Numbers | None = None) -> tuple[Exposure, ...]:
    """The exposure of every piece, in one pass over all stretches, from the start until it is cooked; nothing is cut off but what lies below the
    freezing point of raw meat. While it cooks its own middle is judged (`cooked`); raw meat that is chilled, held, or waits for other pieces
    counts at what surrounds it. Of a draw it is worked out for all draws at once.
    """
    numbers = numbers or default_numbers()
    cold, warm, slowed = keeping.clock("cold", numbers), keeping.clock("warm", numbers), keeping.hurdles(numbers)
    key = (
        "exposures",
        astuple(slowed),
        *(tuple(map(float, part)) for part in (cold.seconds, warm.seconds)),
        cold.begins,
        warm.begins,
    )
    found = history.shared(key, lambda many: _exposed(many, cold, warm, slowed))
    return tuple(Exposure(*row) for row in found[0].tolist())


def _exposed(many: History, cold: Clock, warm: Clock, slowed: Hurdles) -> np.ndarray:
    """(d, p, 6): the fields of `Exposure` of every draw and piece."""
    pieces = range(len(many.pieces))
    lean = [_lean_depths(many, piece) for piece in pieces]
    cold_used = [np.zeros((many.count, len(depth))) for depth in lean]
    most = [np.zeros((many.count, len(depth))) for depth in lean]
    saltiest = [np.zeros((many.count, len(depth))) for depth in lean]
    warm_used = np.zeros((many.count, len(many.pieces)))
    for number, (begin, length, knots, kelvin) in enumerate(many.courses):
        if length.max() <= 0:
            continue
        around = _paces(length, knots, kelvin, cold, warm, slowed.hopeless)
        for piece in pieces:
            if _cooked_by(many, number, piece):
                continue
            heat = many.runs[number].heat
            if heat is not None:
                own = heat.through[piece].warmth.bath(np.broadcast_to(knots, (many.count, len(knots))))
                around = _paces(length, knots, own, cold, warm, slowed.hopeless)
            border, heeding, heedless, always = around
            warm_used[:, piece] += always
            when = begin[:, None] + 0.5 * (border[:, 1:] + border[:, :-1])
            free = many.lean_profile(FREE, when, piece, "green weight")
            salt = many.lean_profile("salt", when, piece, "water phase")
            cold_used[piece] += np.einsum("dt,dtx->dx", heeding, slowed.left_over(salt, free)) + heedless[:, None]
            np.maximum(most[piece], free.max(axis=1), out=most[piece])
            np.maximum(saltiest[piece], salt.max(axis=1), out=saltiest[piece])
    rows = np.zeros((many.count, len(many.pieces), 6))
    for piece in pieces:
        worst, bare = _most_central(cold_used[piece], lean[piece]), _most_central(-most[piece], lean[piece])
        last = many.lean_profile("salt", None, piece, "water phase")[:, 0]
        salt = np.maximum(saltiest[piece], last)
        rows[:, piece] = np.stack(
            [
                cold_used[piece].max(axis=1),
                warm_used[:, piece],
                lean[piece][worst],
                most[piece].min(axis=1),
                lean[piece][bare],
                salt.min(axis=1),
            ],
            axis=1,
        )
    return rows


def _cooked_by(many: History, number: int, piece: int) -> bool:
    """Whether a piece is cooked in a stretch, by its number in `courses`, or was before."""
    name, last = many.pieces[piece].name, many.runs[number].index
    return any(stage.aim == "cook" and stage.is_about(name) for stage in many.stages[: last + 1])


def _most_central(values: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """Number (d,) of the largest of values (d, x); of several as large, the one nearest to the middle."""
    top = values.max(axis=1, keepdims=True)
    return np.where(values >= top - 1e-9 * np.abs(top), np.abs(depth - 0.5), np.inf).argmin(axis=1)


def _lean_depths(many: History, piece: int) -> np.ndarray:
    """Depth (x,) of the places of `lean_profile`, as a share of the thickness (of a round piece: 0.5 is its middle)."""
    return many.depths(piece)[many.runs[0].lean_places(piece)]


def _paces(length, knots, kelvin, cold: Clock, warm: Clock, hopeless: float) -> tuple[np.ndarray, ...]:
    """(borders (d, PARTS + 1) of the parts of a stretch in s; cold harm (d, PARTS) in each while hurdles count; cold harm (d,) while none
    does; warm harm (d,)).
    """
    grid = np.concatenate(
        [np.minimum(np.broadcast_to(knots, (len(length), len(knots))), length[:, None]), length[:, None] * _EVEN],
        axis=1,
    )
    grid.sort(axis=1)  # what lies beyond the end of a draw is of no length
    middle, steps = 0.5 * (grid[:, 1:] + grid[:, :-1]), np.diff(grid, axis=1)
    warmth = np.stack([np.interp(t, knots, own) for t, own in zip(middle, kelvin, strict=True)])
    harm = cold.pace(warmth) * steps
    counts = warmth <= hopeless
    border = length[:, None] * _GRADED
    heeding = np.zeros((len(length), PARTS))
    for draw in range(len(length)):
        part = np.clip(np.searchsorted(border[draw], middle[draw], side="right") - 1, 0, PARTS - 1)
        heeding[draw] = np.bincount(part, (harm * counts)[draw], PARTS)
    return border, heeding, (harm * ~counts).sum(axis=1), (warm.pace(warmth) * steps).sum(axis=1)


def uncovered_time(history: History, numbers: Numbers | None = None) -> float:
    """Seconds that fridge logs leave uncovered: before the first reading, after the last, and between two, wherever
    that is longer than `protection.log_gap`. A temperature given once, from the start, is a plan and covers all.
    """
    gap = (numbers or default_numbers()).si("protection.log_gap")
    total = 0.0
    for ran in history.ran:
        log = ran.stretch.temperature
        if ran.stretch.heating is not None:
            continue  # a program is no log
        if len(log) == 1 and log[0][0] == 0:
            continue
        holes = np.diff(np.clip([0.0, *[time for time, _ in log], ran.length], 0.0, ran.length))
        total += float(holes[holes > gap * (1 + 1e-9)].sum())
    return total
