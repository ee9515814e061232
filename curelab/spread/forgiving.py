"""How forgiving a cure is: what a day too late does to the finished salt, and how often a planned day lands within the wanted taste.

A rest changes no salt on the whole, so the finished salt of a piece is that of the day it is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..engine.history import History
from ..forecast.ready import rest_after
from .spread import Request, Spread

TIMES = 161  # at which the salt on the whole is read
ALIKE = 0.1  # relative: meat whose pace is known is taken to be known so well (judgement: what a logged batch teaches)
CLOSE = 0.02  # of the draws: the earliest day that is as sure but for this counts as the surest (judgement)
FEW = 6  # draws below which nothing is said of meat whose pace is known


@dataclass(frozen=True)
class Forgiving:
    """out: the surest day to take the piece out [s since the start]; low, high: the wanted taste (fractions of the meat); slope: salt gained per s
    there; early, late: by how many s it may be taken out sooner or later in the middle draw (inf: for as long as was looked at); chance:
    share of the draws that land within; known: the same of those whose pace is like the middle one's, None where they are too few.
    right: the share (t,) that lands within, at `times` [s].
    """

    out: float
    low: float
    high: float
    slope: float
    early: float
    late: float
    chance: float
    known: float | None
    times: np.ndarray
    right: np.ndarray

    def lands(self, out: float) -> float:
        """Share of the draws that land within when they are taken out after `out` s."""
        return float(np.interp(out, self.times, self.right))


def taste_around(salt: float, numbers) -> tuple[float, float]:
    """(low, high): as wide as the usual taste is, about the salt that is wanted."""
    wide = (numbers.si("taste.normal_high") / numbers.si("taste.normal_low")) ** 0.5
    return salt / wide, salt * wide


def forgiving(many: Spread, low: float, high: float, piece: int | str = 0) -> Forgiving:
    """Of a spread whose last stage is the cure: its surest day, on which most draws lie between a taste of `low` and `high`, and what lies
    about it.
    """
    times = many.usual.length * np.linspace(0.0, 1.0, TIMES) ** 2  # dense at first, when a strong brine is quick
    number = many.number(piece)
    values = many.readings([Request.of("at", place="average", quantity="salt", times=times, piece=number)])[0]
    middle = np.median(values, axis=0)
    right = ((values >= low) & (values <= high)).mean(axis=0)
    at = int(np.argmax(right >= right.max() - CLOSE))
    out = float(times[at])
    inside = (middle >= low) & (middle <= high)
    before, after = (np.flatnonzero(~part) for part in (inside[:at], inside[at:]))
    first = _where(times, middle, low, int(before[-1])) if len(before) else 0.0
    last = _where(times, middle, high, at + int(after[0]) - 1) if len(after) and after[0] > 0 else np.inf
    last = out if len(after) and after[0] == 0 else last
    then = values[:, at]
    lands = (then >= low) & (then <= high)
    pace = many.draws.columns.get("obstruction.lean")
    like = None if pace is None else np.abs(np.log(pace / np.median(pace))) < ALIKE
    known = float(np.mean(lands[like])) if like is not None and like.sum() >= FEW else None
    slope = float(np.interp(out, times, np.gradient(middle, times)))
    return Forgiving(
        out, low, high, slope, max(out - first, 0.0), max(last - out, 0.0), float(np.mean(lands)), known, times, right
    )


def on_the_way(history: History, stage: int, out: float, times: tuple[float, ...], piece: int) -> np.ndarray:
    """Salt (d, 2, t) on the whole and at the slowest spot when a cure ends after `out` s, and a rest follows, as far as `times` [s]."""
    many = history if history.drawn else history.as_drawn()
    rested = many.pulled(stage, np.full(many.count, out - float(np.max(many.begin(stage)))), rest_after(many, stage))
    asked = np.array(times)
    return np.stack([rested.average("salt", asked, piece), rested.least("salt", asked, piece)], axis=1)


def _where(times: np.ndarray, values: np.ndarray, level: float, number: int) -> float:
    """s between times number and number + 1 at which the values come to a level."""
    low, high = values[number], values[number + 1]
    share = np.clip((level - low) / (high - low), 0.0, 1.0) if high != low else 1.0
    return float(times[number] + share * (times[number + 1] - times[number]))
