"""Two batches beside each other: what differs, in a sentence on the days and one on the salt; and both over the same days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..forecast.ready import Ready
from ..outcome import Outcome
from ..spread import Spread
from ..spread.answers import ordered
from ..units import DAY, capital
from .answer import day, on, too_warm, worth_waiting
from .pictures import PIECE_COLOURS, PIECE_DASHES, Lines, Series, band_note

NOTICED = 0.2  # nobody notices a fifth less salt (Cubero-Castillo 2019)


@dataclass(frozen=True)
class Side:
    """One piece of one batch: name; found: when it is ready, None where nothing cures it; salt: of the meat at the end, (middle, low, high)."""

    name: str
    found: Ready | None
    salt: tuple[float, float, float]


def side(outcome: Outcome, piece: str, name: str) -> Side:
    """What is compared of a piece of a batch that was run; `name`: what it is called."""
    found = next((each for each in outcome.ready if each.piece == piece), None)
    return Side(name, found, outcome.band("average", "salt", len(outcome.history.stages) - 1, piece))


def difference(one: Side, other: Side) -> tuple[str, str]:
    """(a sentence on the days, a sentence on the salt at the end)."""
    return _days(one, other), _salt(one, other)


def _days(one: Side, other: Side) -> str:
    if not (_has_day(one) and _has_day(other)):
        return _without_a_day(one, other)
    assert one.found is not None and other.found is not None
    first, second = (float(ordered(each.ready)[1]) for each in (one.found, other.found))
    count = abs(round(first / DAY) - round(second / DAY))  # as the days are told
    days = f"{day(one.found.ready)} against {day(other.found.ready)}"
    if count == 0:
        return f"{capital(one.name)} and {other.name} are ready on the same day: {days}."
    many = f"{count} day{'' if count == 1 else 's'}"
    return f"{capital(one.name)} is ready {many} {'sooner' if first < second else 'later'} than {other.name}: {days}."


def _has_day(each: Side) -> bool:
    """Whether there is a day on which it can be called ready."""
    found = each.found
    return found is not None and bool(np.isfinite(ordered(found.ready)[1])) and worth_waiting(found)


def _without_a_day(one: Side, other: Side) -> str:
    """Where one of them has no day to be ready on: what there is to say of each, and what keeps it from one."""
    told = []
    for each in (one, other):
        if each.found is None:
            told.append(f"{each.name} is not cured")
        elif too_warm(each.found):
            told.append(f"{each.name} is warm for too long, and no cure helps there")
        elif _has_day(each):
            told.append(f"{each.name} is ready {on(each.found.ready)}")
        elif np.isfinite(ordered(each.found.pull)[1]):
            told.append(f"{each.name} has its salt {on(each.found.pull)}, but does not keep until it is even")
        else:
            told.append(f"{each.name} never has its salt")
    return f"{capital('; '.join(told))}."


def _salt(one: Side, other: Side) -> str:
    salts = [100 * each.salt[0] for each in (one, other)]
    more, less = max(salts), min(salts)
    told = f"{capital(one.name)} ends at {salts[0]:.1f} % salt ({100 * one.salt[1]:.1f} to {100 * one.salt[2]:.1f}), {other.name} at {salts[1]:.1f} %"
    told += f" ({100 * other.salt[1]:.1f} to {100 * other.salt[2]:.1f})"
    if more <= 0 or (more - less) / more < NOTICED:
        return f"{told}: too little apart to taste."
    return f"{told}: {one.name if salts[0] == more else other.name} tastes saltier."


def over_days(shown: Sequence[tuple[Spread, str, str]]) -> Lines:
    """Salt of the whole piece over the days of each: `shown` lists (draws, name of the piece, what it is called)."""
    lines = []
    for number, (many, piece, name) in enumerate(shown):
        times = many.usual.times
        low, middle, high = (
            None if part is None else 100 * part for part in many.at("average", "salt", times, piece).parts
        )
        assert middle is not None
        lines.append(Series(name, times / DAY, middle, PIECE_COLOURS[number % 5], PIECE_DASHES[number % 5], low, high))
    ends = " and ".join(f"{each.label} at {each.y[-1]:.1f} %" for each in lines)
    note = band_note(shown[0][0])
    return Lines(
        f"Salt on the whole: {ends} in the end.", "days since the start", "salt, % of the meat", tuple(lines), (), note
    )
