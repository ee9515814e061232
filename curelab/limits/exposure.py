"""How long meat lay warm without a hurdle, and for how long nobody looked: numbers only, no verdicts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..engine.history import History
from ..engine.run import FREE
from ..sources import Numbers, default_numbers

STEPS = 400  # of each stretch; a change between two of them is placed half a step off at most
SPARSE = 16  # steps at once where nothing changes
_EVEN = np.linspace(0.0, 1.0, STEPS + 1)


@dataclass(frozen=True)
class Exposure:
    """Seconds that a piece was without protection: `unprotected` as `unprotected_time` counts them, `some` and `none` as
    `long_cold_time` does.
    """

    unprotected: float
    some: float
    none: float


Pairs = tuple[tuple[float, float], ...]  # (free nitrite, salt) that only protect together


@dataclass(frozen=True)
class _Limits:
    """K above which time counts (warm: unprotected; cool: some and none) and no hurdle counts (hopeless); pairs; salt and nitrite that count
    alone.
    """

    warm: float
    cool: float
    hopeless: float
    pairs: Pairs
    salt: float
    nitrite: float


def pairs_of(numbers: Numbers) -> Pairs:
    """The pairs of 3 CCR 910.15(b)(3): 120 mg/kg with 3.5 %, or 40 mg/kg with 6 %."""
    return tuple(
        (numbers.si(f"protection.{pair}.nitrite"), numbers.si(f"protection.{pair}.water_phase_salt"))
        for pair in ("mild", "strong")
    )


def paired(free: np.ndarray, salt: np.ndarray, pairs: Pairs) -> np.ndarray:
    """Whether free nitrite [kg/kg green weight] and salt [of the water phase] together make one of the pairs. Either alone
    is none.
    """
    met = np.zeros(np.shape(free), dtype=bool)
    for nitrite, brine in pairs:
        met |= (free >= nitrite) & (salt >= brine)
    return met


def exposures(history: History, numbers: Numbers | None = None) -> tuple[Exposure, ...]:
    """The exposure of every piece, in one pass over all stretches, because its three figures rest on the same readings.

    All stages count that neither cook nor cool, the start included; to a 400th of each stretch. Free nitrite is counted on green weight. Of a draw it is worked out for
    all draws at once.
    """
    numbers = numbers or default_numbers()
    limits = _Limits(
        numbers.si("protection.cold") + 1e-6, numbers.si("growth.nonproteolytic.temperature") - 1e-6,
        numbers.si("growth.proteolytic.temperature"), pairs_of(numbers),
        numbers.si("growth.nonproteolytic.water_phase_salt"), numbers.si("protection.free_nitrite"),
    )  # fmt: skip
    found = history.shared(("exposures", limits), lambda many: _exposed(many, limits))
    return tuple(Exposure(*row) for row in found[0].tolist())


def _exposed(many: History, limits: _Limits) -> np.ndarray:
    """Seconds (d, p, 3) of every draw and piece."""
    total = np.zeros((many.count, len(many.pieces), 3))
    for number, (begin, length, knots, kelvin) in enumerate(many.courses):
        if many.runs[number].heat is not None:
            continue  # cooked or cooled: judged by what its middle goes through, not by its bath
        if length.max() <= 0 or kelvin.max() <= min(limits.warm, limits.cool):
            continue  # too short or too cold to count: nothing needs to be read
        turns = many.turned(number)
        grid = np.concatenate(
            [np.minimum(np.concatenate([knots, turns]), length[:, None]), length[:, None] * _EVEN], axis=1
        )
        grid.sort(axis=1)  # what lies beyond the end of a draw is of no length
        middle, steps = 0.5 * (grid[:, 1:] + grid[:, :-1]), np.diff(grid, axis=1)
        warmth = np.stack([np.interp(t, knots, own) for t, own in zip(middle, kelvin, strict=True)])
        counted = np.stack([warmth > limits.warm, warmth > limits.cool, warmth > limits.cool])
        hurdles = warmth <= limits.hopeless  # warmer than that, none counts
        # Between turns hurdles come and go slowly: first every few steps, then between two that differ.
        last = middle.shape[1] - 1
        near = np.searchsorted(grid[0], turns)
        chosen = np.zeros(last + 1, dtype=bool)
        chosen[[*range(0, last, SPARSE), last, *np.concatenate([near - 1, near]).clip(0, last)]] = True
        sparse = np.flatnonzero(chosen)
        for piece in range(len(many.pieces)):
            bare = np.ones(counted.shape, dtype=bool)
            if (counted & hurdles).any():

                def read(chosen, when=begin[:, None] + middle, piece=piece):
                    return _bare(many, np.take_along_axis(when, chosen, axis=1), piece, limits)

                bare = _between(read, sparse, len(middle), middle.shape[1]) | ~hurdles
            total[:, piece] += (steps * (counted & bare)).sum(axis=2).T
    return total


def _between(read: Callable[[np.ndarray], np.ndarray], sparse: np.ndarray, draws: int, count: int) -> np.ndarray:
    """(3, d, count) of what `read` gives (3, d, t) for numbers (d, t) of steps: read at `sparse` (s,), and in between where that differs."""
    first = read(np.broadcast_to(sparse, (draws, len(sparse))))
    found = first[:, :, np.searchsorted(sparse, np.arange(count), side="right") - 1]
    differs = (first[:, :, 1:] != first[:, :, :-1]).any(axis=0)
    most = int(differs.sum(axis=1).max()) if differs.size else 0
    inside = np.arange(1, int(np.diff(sparse).max(initial=1)))
    if most and len(inside):
        open_ = np.argsort(~differs, axis=1, kind="stable")[:, :most]
        asked = np.minimum(sparse[open_][:, :, None] + inside, sparse[open_ + 1][:, :, None]).reshape(draws, -1)
        for row, values in zip(found, read(asked), strict=True):
            np.put_along_axis(row, asked, values, axis=1)
    return found


def _bare(many: History, times: np.ndarray, piece: int, limits: _Limits) -> np.ndarray:
    """(3, d, t): whether some of the lean has no pair; whether some of it has neither a pair nor salt enough; whether the piece on average
    has neither nitrite nor salt enough.
    """
    free = many.lean_profile(FREE, times, piece, "green weight")
    salt = many.lean_profile("salt", times, piece, "water phase")
    met = paired(free, salt, limits.pairs)
    little = many.average(FREE, times, piece, "green weight") < limits.nitrite
    weak = many.average("salt", times, piece, "water phase") < limits.salt
    return np.stack([~met.all(axis=2), ~(met | (salt >= limits.salt)).all(axis=2), little & weak])


def unprotected_time(history: History, piece: int | str = 0, numbers: Numbers | None = None) -> float:
    """Seconds above `protection.cold` in which some of the lean, its faces included, has not both nitrite and salt
    (`paired`); above `growth.proteolytic.temperature` (10 degC) every second counts, whatever is in the meat. See `exposures`.
    """
    return _of(history, piece, numbers).unprotected


def long_cold_time(history: History, piece: int | str = 0, numbers: Numbers | None = None) -> tuple[float, float]:
    """(some, none): seconds from `growth.nonproteolytic.temperature` (3.3 degC) up in which some of the lean has neither
    a pair (`paired`) nor the salt that stops non-proteolytic C. botulinum alone; and in which the piece on average
    has neither that salt nor `protection.free_nitrite`, as if nothing but cold kept it. See `exposures`.
    """
    found = _of(history, piece, numbers)
    return found.some, found.none


def _of(history: History, piece: int | str, numbers: Numbers | None) -> Exposure:
    names = [each.name for each in history.pieces]
    return exposures(history, numbers)[names.index(piece) if isinstance(piece, str) else piece]


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
