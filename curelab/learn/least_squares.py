"""Least squares between bounds: the steps of Levenberg and Marquardt, cut off at the bounds.

scipy.optimize.least_squares does the same; importing it takes a third as long as a whole report. It stays for profiles (`profile`), and a
test holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

MOST_STEPS = 200
DAMPED = 1e-2  # the least damping once a step has helped less than it promised
LEAST_CURVED = 0.1  # what bends is left out of the curvature where so little of it would be left (priors give it 1)
FAR = 1e-5  # of the sum, or of 1: after a step that promises to lessen it by more, rough slopes do
LITTLE = 1e-11  # of the sum, or of 1: a step that promises to lessen it by no more ends the search; less is rounding


@dataclass(frozen=True)
class Settled:
    """x (n,) where the sum of squares is least; success: whether it was found, and what to say if not."""

    x: np.ndarray
    success: bool
    message: str = ""


Ask = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


def least_squares(ask: Ask, start: np.ndarray, low: np.ndarray, high: np.ndarray, rough: Ask | None = None) -> Settled:
    """Where the squares of what is off add up to least, between bounds (n,). ask: x (n,) to what is off (r,) and its slopes (r, n); rough: the same
    with slopes that are less sure and cheaper, for as long as the end is far.

    Each step is the best within the bounds for what is off as a straight line of x, damped (Marquardt, J. SIAM 11 (1963), 431-441), and counts
    only if it lessens the sum. How much less it helps than it promised says how much the next one is damped (Nielsen, report
    IMM-REP-1999-05, Technical University of Denmark). How the slopes bend is learned from step to step (`_bent`): where much is left over,
    straight lines alone come near by half of the way each time.
    """
    x, damping, grow = np.clip(start, low, high), 0.0, 2.0
    near = sure = rough is None
    off, slopes = (rough or ask)(x)
    bend = np.zeros((len(x), len(x)))
    for _ in range(MOST_STEPS):
        downhill = -(slopes.T @ off)
        square = slopes.T @ slopes
        square += bend * (np.linalg.eigvalsh(square + bend)[0] > LEAST_CURVED)
        step = _within(square + damping * np.diag(np.diag(square)), downhill, low - x, high - x)
        promised = float(2 * downhill @ step - step @ square @ step)
        share = promised / max(1.0, float(off @ off))
        near = near or share <= FAR
        if near and not sure:  # what rough slopes taught of damping and bending goes with them
            (off, slopes), sure, damping, grow, bend = ask(x), True, 0.0, 2.0, 0.0 * bend
            continue
        if share <= LITTLE:
            return Settled(x, True)
        there = np.clip(x + step, low, high)  # the sum may round beyond
        off_there, slopes_there = (rough if rough and not near else ask)(there)
        kept = float(off @ off - off_there @ off_there) / promised
        bend = _bent(bend, there - x, slopes_there.T @ off_there + downhill, (slopes_there - slopes).T @ off_there)
        if kept > 0:
            x, off, slopes, sure, grow = there, off_there, slopes_there, near, 2.0
            damping = max(damping, DAMPED * (kept < 0.25)) * max(1 / 3, 1 - (2 * kept - 1) ** 3)
        else:
            damping, grow = max(damping * grow, DAMPED), 2 * grow
    return Settled(x, False, f"{MOST_STEPS} steps did not come to an end")


def _bent(bend: np.ndarray, step: np.ndarray, more: np.ndarray, bent: np.ndarray) -> np.ndarray:
    """What the slopes' own change adds to the curvature (n, n), after a step (n,) by which the gradient grew by `more` (n,), of which `bent`
    (n,) came of that change (Dennis, Gay and Welsch, ACM Transactions on Mathematical Software 7 (1981), 348-368).
    """
    along = float(more @ step)
    if along <= 1e-12 * np.linalg.norm(more) * np.linalg.norm(step):
        return bend
    known = float(step @ bend @ step)
    bend = bend * min(1.0, abs(float(bent @ step) / known) if known else 1.0)
    missing = bent - bend @ step
    both = np.outer(missing, more)
    return bend + (both + both.T) / along - float(missing @ step) / along**2 * np.outer(more, more)


def _within(square: np.ndarray, downhill: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """The step s (n,) between `low` and `high`, 0 among them, for which s @ square @ s / 2 - downhill @ s is least: what meets a bound on the
    way is held there, and let go where that lessens it (the active-set method; Nocedal and Wright, Numerical Optimization, 2006, 16.5).
    """
    step, held = np.zeros(len(low)), np.zeros(len(low), dtype=bool)
    for _ in range(MOST_STEPS):
        free = ~held
        wanted = step.copy()
        wanted[free] = np.linalg.solve(
            square[np.ix_(free, free)], downhill[free] - square[np.ix_(free, held)] @ step[held]
        )
        way = wanted - step
        room = np.where(way > 0, high - step, step - low)
        share = np.where(np.abs(way) > room, room / np.where(way == 0, 1.0, np.abs(way)), 1.0)
        first = int(np.argmin(share))
        step = step + share[first] * way
        if share[first] < 1:
            step[first] = high[first] if way[first] > 0 else low[first]
            held[first] = True
            continue
        push = np.where(held, downhill - square @ step, 0.0)
        inwards = np.where(step >= high, -push, push)
        if inwards.max(initial=0.0) <= 0:
            break
        held[int(np.argmax(inwards))] = False
    return step
