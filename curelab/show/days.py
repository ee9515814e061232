"""Days and lengths of time with their range, as a cook says them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..forecast.ready import LOOKED
from ..spread.answers import ordered
from ..units import DAY, HOUR

LATER = "later"  # than was looked at, if at all
SOON = 1.5 * DAY  # s; what is sooner is told in hours (judgement)
Dated = Callable[[float], str]  # seconds since the start, as a date


def day(seconds: np.ndarray, dated: Dated | None = None) -> str:
    """Times (d,) since the start: "day 22 (15 to 34)", "hour 12 (8 to 20)", or with `dated` "Tue 24 Mar (Tue 17 Mar to Sun 5 Apr)"."""
    early, middle, late = ordered(seconds)
    if not np.isfinite(middle):
        return "no day in most batches" if np.isfinite(early) else "no day"
    if dated is None:
        size, word = (HOUR, "hour") if middle < SOON else (DAY, "day")
        return f"{word} {count(middle, size)}{bracket(early, late, size)}"
    ends = [dated(each) if np.isfinite(each) else LATER for each in (early, late)]
    return dated(middle) + (f" ({' to '.join(ends)})" if ends[0] != ends[1] else "")


def on(seconds: np.ndarray, dated: Dated | None = None) -> str:
    """The same with its little word: "on day 22 (15 to 34)", "at hour 12 (8 to 20)"."""
    when = day(seconds, dated)
    return f"at {when}" if when.startswith("hour") else f"on {when}"


def span(seconds: np.ndarray, middle: float | None = None) -> str:
    """Lengths (d,): "12 days (8 to 18)", "8 hours (5 to 11)"; `middle` [s] in place of their own."""
    early, own, late = ordered(seconds)
    middle = own if middle is None else middle
    if not np.isfinite(middle):
        return f"more than {LOOKED / DAY:.0f} days"
    size, word = (HOUR, "hour") if middle < SOON else (DAY, "day")
    number = count(middle, size)
    return f"{number} {word}{'' if number == '1' else 's'}{bracket(early, late, size)}"


def count(seconds: float, size: float) -> str:
    """So many of a unit, no finer than it is known: halves below three."""
    number = seconds / size
    return f"{number:.0f}" if number >= 3 else f"{round(2 * number) / 2:g}"


def bracket(early: float, late: float, size: float) -> str:
    """ " (15 to 34)"; nothing where both are said alike."""
    first, last = (count(each, size) if np.isfinite(each) else LATER for each in (early, late))
    return f" ({first} to {last})" if first != last else ""
