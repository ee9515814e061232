"""How long meat lay warm without a hurdle, and for how long nobody looked: numbers only, no verdicts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..history import History
from ..runs import FREE, Run
from ..sources import Numbers, default_numbers
from ..stages import Soak

STEPS = 400  # of each run; a change between two of them is placed half a step off at most


def knots(run: Run) -> np.ndarray:
    """Times [s] in a run between which its temperature is a straight line."""
    return np.unique(np.append(np.minimum(run.clock.knots, run.length), run.length))


def lean_profile(run: Run, quantity: str, basis: str, times: np.ndarray, piece: int) -> np.ndarray:
    """Fractions (t, d) at every depth of the lean, its faces included, at times [s] since the run began."""
    _, values = run.profile(quantity, basis, times, piece)
    lean = run.bodies[piece].lean
    mask = np.concatenate([lean[:1], lean, lean[-1:]])
    if values.shape[1] != len(mask):  # measured from the middle: both halves are given, without the inner face
        mask = np.concatenate([mask[:0:-1], mask[1:]])
    return values[:, mask]


def paired(free: np.ndarray, salt: np.ndarray, numbers: Numbers) -> np.ndarray:
    """Whether free nitrite [kg/kg green weight] and salt [of the water phase] together make one of the pairs of
    3 CCR 910.15(b)(3): 120 mg/kg with 3.5 %, or 40 mg/kg with 6 %. Either alone is none.
    """
    met = np.zeros(np.shape(free), dtype=bool)
    for pair in ("mild", "strong"):
        nitrite, brine = (numbers.si(f"protection.{pair}.{what}") for what in ("nitrite", "water_phase_salt"))
        met |= (free >= nitrite) & (salt >= brine)
    return met


def unprotected_time(history: History, piece: int | str = 0, numbers: Numbers | None = None) -> float:
    """Seconds above `protection.cold` in which some of the lean, its faces included, has not both nitrite and salt
    (`paired`); above `growth.proteolytic.temperature` (10 degC) every second counts, whatever is in the meat.

    All stages count, the start included; to a 400th of each run. Free nitrite is counted on green weight.
    """
    numbers = numbers or default_numbers()

    def bare(run, times, number):
        free, salt = _both(run, times, number)
        return ~paired(free, salt, numbers).all(axis=1)

    return _time(history, piece, numbers, numbers.si("protection.cold") + 1e-6, bare)


def long_cold_time(history: History, piece: int | str = 0, numbers: Numbers | None = None) -> tuple[float, float]:
    """(some, none): seconds from `growth.nonproteolytic.temperature` (3.3 degC) up in which some of the lean has neither
    a pair (`paired`) nor the salt that stops non-proteolytic C. botulinum alone; and in which the piece on average
    has neither that salt nor `protection.free_nitrite`, as if nothing but cold kept it.
    """
    numbers = numbers or default_numbers()
    enough = numbers.si("growth.nonproteolytic.water_phase_salt")
    least = numbers.si("protection.free_nitrite")

    def some(run, times, number):
        free, salt = _both(run, times, number)
        return ~(paired(free, salt, numbers) | (salt >= enough)).all(axis=1)

    def none(run, times, number):
        free = run.read(FREE, "average", "green weight", times, number)
        return (free < least) & (run.read("salt", "average", "water phase", times, number) < enough)

    from_here = numbers.si("growth.nonproteolytic.temperature") - 1e-6  # at it counts as well
    first = _time(history, piece, numbers, from_here, some)
    return first, _time(history, piece, numbers, from_here, none)


def uncovered_time(history: History, numbers: Numbers | None = None) -> float:
    """Seconds that fridge logs leave uncovered: before the first reading, after the last, and between two, wherever
    that is longer than `protection.log_gap`. A temperature given once, from the start, is a plan and covers all.
    """
    gap = (numbers or default_numbers()).si("protection.log_gap")
    total, waters = 0.0, 0
    for run in history.runs:
        if isinstance(run.stage, Soak):  # every water has a run and a log of its own
            waters = waters + 1 if run.begin > history.span(run.index)[0] else 0
            log = run.stage.waters[waters].temperature
        else:
            log = run.stage.temperature
        if len(log) == 1 and log[0][0] == 0:
            continue
        holes = np.diff(np.clip([0.0, *[time for time, _ in log], run.length], 0.0, run.length))
        total += float(holes[holes > gap * (1 + 1e-9)].sum())
    return total


def _both(run: Run, times: np.ndarray, piece: int) -> tuple[np.ndarray, np.ndarray]:
    return (
        lean_profile(run, FREE, "green weight", times, piece),
        lean_profile(run, "salt", "water phase", times, piece),
    )


def _time(
    history: History,
    piece: int | str,
    numbers: Numbers,
    limit: float,
    bare: Callable[[Run, np.ndarray, int], np.ndarray],
) -> float:
    """s above `limit` [K] in which the meat is bare, or so warm that no hurdle counts."""
    names = [each.name for each in history.pieces]
    number = names.index(piece) if isinstance(piece, str) else piece
    hopeless = numbers.si("growth.proteolytic.temperature")
    total = 0.0
    for run in history.runs:
        if run.length <= 0:
            continue
        grid = np.unique(np.concatenate([knots(run), np.linspace(0.0, run.length, STEPS + 1)]))
        middle, steps = 0.5 * (grid[1:] + grid[:-1]), np.diff(grid)
        kelvin = run.clock.temperature(middle)
        counted = kelvin > limit
        if not counted.any():
            continue
        lost = kelvin[counted] > hopeless
        lost |= bare(run, middle[counted], number)
        total += float(steps[counted][lost].sum())
    return total
