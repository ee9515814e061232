"""Where a function of one number crosses 0: Brent's method (Algorithms for Minimization without Derivatives, 1973, chapter 4).

scipy.optimize.brentq is the same; importing it takes longer than most batches take to compute. A test holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Callable

MOST_STEPS = 100
ROUNDING = 8.9e-16  # of the root, which no step can beat


def root(function: Callable[[float], float], low: float, high: float, near: float) -> float:
    """Where `function` is 0 between `low` and `high`, at which it has unlike signs, to `near`. Raises ValueError for like signs."""
    before, now = low, high  # the last two guesses
    at_before, at_now = function(before), function(now)
    if at_before and at_now and not _apart(at_before, at_now):
        raise ValueError(f"{at_before:g} at {low:g} and {at_now:g} at {high:g}: nothing says that 0 lies between them")
    across, at_across, earlier, step = (
        before,
        at_before,
        now - before,
        now - before,
    )  # the root lies between `now` and `across`
    for _ in range(MOST_STEPS):
        if at_before and at_now and _apart(at_before, at_now):
            across, at_across, earlier, step = before, at_before, now - before, now - before
        if abs(at_across) < abs(at_now):
            before, now, across, at_before, at_now, at_across = now, across, now, at_now, at_across, at_now
        least, half = 0.5 * (near + ROUNDING * abs(now)), 0.5 * (across - now)
        if at_now == 0 or abs(half) < least:
            break
        guess = _guess(before, now, across, at_before, at_now, at_across) if abs(earlier) > least else None
        if guess is not None and 2 * abs(guess) < min(abs(earlier), 3 * abs(half) - least):
            earlier, step = step, guess
        else:
            earlier = step = half
        before, at_before = now, at_now
        now += step if abs(step) > least else least if half > 0 else -least
        at_now = function(now)
    return now


def _apart(one: float, other: float) -> bool:
    """Whether two numbers lie on both sides of 0; their product may be too small to tell."""
    return (one < 0) != (other < 0)


def _guess(before: float, now: float, across: float, at_before: float, at_now: float, at_across: float) -> float | None:
    """Step from `now` to where the line, or the inverse parabola, through what is known is 0; None where it would lead away."""
    if abs(at_now) >= abs(at_before):
        return None
    if before == across:
        return -at_now * (now - before) / (at_now - at_before)
    back, over = (at_before - at_now) / (before - now), (at_across - at_now) / (across - now)
    return -at_now * (at_across * over - at_before * back) / (over * back * (at_across - at_before))
