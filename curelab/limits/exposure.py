"""How long meat lay warm without a hurdle, and for how long nobody looked: numbers only, no verdicts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..engine.history import History
from ..engine.run import FREE
from ..sources import Numbers, default_numbers

STEPS = 400  # of each stretch; a change between two of them is placed half a step off at most


@dataclass(frozen=True)
class Exposure:
    """Seconds that a piece was without protection: `unprotected` as `unprotected_time` counts them, `some` and `none` as
    `long_cold_time` does.
    """

    unprotected: float
    some: float
    none: float


Pairs = tuple[tuple[float, float], ...]  # (free nitrite, salt) that only protect together


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


def exposures(history: History, numbers: Numbers | None = None, steps: int = STEPS) -> tuple[Exposure, ...]:
    """The exposure of every piece, in one pass over all stretches, because its three figures rest on the same readings.

    All stages count, the start included; to a 400th of each stretch. Free nitrite is counted on green weight.
    """
    numbers = numbers or default_numbers()
    warm = numbers.si("protection.cold") + 1e-6
    hopeless = numbers.si("growth.proteolytic.temperature")
    pairs = pairs_of(numbers)
    cool = numbers.si("growth.nonproteolytic.temperature") - 1e-6  # at it counts as well
    enough = numbers.si("growth.nonproteolytic.water_phase_salt")
    least = numbers.si("protection.free_nitrite")
    total = np.zeros((len(history.pieces), 3))
    for ran in history.ran:
        if ran.length <= 0 or ran.kelvin.max() <= min(warm, cool):
            continue  # too short or too cold to count: nothing needs to be read
        grid = np.unique(np.concatenate([ran.knots, np.linspace(ran.begin, ran.end, steps + 1)]))
        middle, lengths = 0.5 * (grid[1:] + grid[:-1]), np.diff(grid)
        kelvin = np.interp(middle, ran.knots, ran.kelvin)
        counted = np.stack([kelvin > warm, kelvin > cool, kelvin > cool])
        hurdles = kelvin <= hopeless  # warmer than that, none counts
        for piece in range(len(history.pieces)):
            bare = np.ones(counted.shape, dtype=bool)
            if (counted & hurdles).any():
                bare[:2, hurdles] = _bare(history, middle, piece, pairs, enough)[:, hurdles]
                free = history.average(FREE, middle, piece, "green weight")
                salt = history.average("salt", middle, piece, "water phase")
                bare[2, hurdles] = ((free < least) & (salt < enough))[hurdles]
            total[piece] += [float(lengths[row].sum()) for row in counted & bare]
    return tuple(Exposure(*row) for row in total.tolist())


def _bare(history: History, times: np.ndarray, piece: int, pairs: Pairs, enough: float) -> np.ndarray:
    """(2, t): whether some of the lean has no pair; whether some of it has neither a pair nor salt `enough`."""
    free = history.lean_profile(FREE, times, piece, "green weight")
    salt = history.lean_profile("salt", times, piece, "water phase")
    met = paired(free, salt, pairs)
    return np.stack([~met.all(axis=1), ~(met | (salt >= enough)).all(axis=1)])


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
        if len(log) == 1 and log[0][0] == 0:
            continue
        holes = np.diff(np.clip([0.0, *[time for time, _ in log], ran.length], 0.0, ran.length))
        total += float(holes[holes > gap * (1 + 1e-9)].sum())
    return total
