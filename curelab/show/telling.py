"""What to say above a live picture: sentences drawn from a history and its draws. Pure; widgets only show them."""

from __future__ import annotations

import numpy as np

from .. import units
from ..engine.run import FREE
from ..outcome import CURED, CURED_SHARE, SURE
from ..recipe.times import COLD
from ..spread import Spread
from ..spread.answers import in_ten


def cured(many: Spread, piece: str, criterion: str = CURED) -> str:
    """When a piece is cured to the middle, with the days in 8 cases of 10 if there are draws."""
    middle, early, late = many.until(criterion, piece)
    horizon = units.show(many.usual.length, "time", digits=2)
    what = f"the {piece} is cured to the middle"
    if not np.isfinite(middle):
        soonest = f"; in 1 case of 10 by {units.day(early, 2)}" if early is not None and np.isfinite(early) else ""
        return f"Within {horizon} the {piece} is **not** cured to the middle in {'most cases' if soonest else 'the middle case'}{soonest}."
    if early is None or late is None:
        return f"On **{units.day(middle, 2)}** {what}."
    last = units.day(late, 2) if np.isfinite(late) else f"later than {horizon}"
    return f"On **{units.day(middle, 2)}** {what} ({units.day(early, 2)} to {last} in 8 cases of 10)."


def enough(many: Spread, time: float, piece: str) -> str:
    """Whether the days planned are enough for a piece, and how far it has come then."""
    usual, low, high = many.at("core", "salt", [time], piece, "equilibrium")
    share = float(usual[0])
    days = f"{time / units.DAY:.3g} days"
    all_of_it = 1.0  # early on the brine is stronger than it ends, and the middle of a thin piece may pass what it comes back to
    low, high = (None if each is None else np.minimum(each, all_of_it) for each in (low, high))
    there = f"its middle has {100 * min(share, all_of_it):.0f} %{_between(low, high, 100)} of the salt that this cure would bring it to"
    chance = many.chance(CURED, time, piece) if many.banded else None
    if share < CURED_SHARE:
        hope = f", cured to the middle {in_ten(chance)}" if chance else ""
        return f"{days} are **not enough** for the {piece}: {there}{hope}."
    if chance is not None and chance < SURE:
        return f"{days} **may not be enough** for the {piece}: cured to the middle only {in_ten(chance)}; {there}."
    return f"{days} are **enough** for the {piece}: {there}."


def warmth(kelvin: float, system: str = "metric") -> str:
    """A warning for a fridge that is too warm, or nothing."""
    if kelvin <= 277.15 + 0.3:
        return ""
    return (
        f"Too warm: {units.show(kelvin, 'temperature', system)}. Salt moves faster, and so do the germs: keep it at {COLD[system]}, and do not use "
        "meat on the strength of this page that was warmer for more than 4 hours."
    )


def off_by(many: Spread, time: float, piece: str, days: float = 3.0) -> str:
    """Salt on the whole and in the middle when a cure is taken out early, on time, or late by some days."""
    parts = []
    for label, when in (
        (f"{days:g} days early", time - days * units.DAY),
        ("on the day", time),
        (f"{days:g} days late", time + days * units.DAY),
    ):
        if 0 < when <= many.usual.length:
            whole, core = (
                f"{100 * middle[0]:.1f} %{_between(low, high, 100, 1)}"
                for middle, low, high in (many.at(place, "salt", [when], piece) for place in ("average", "core"))
            )
            parts.append(f"{label}: {whole} on the whole, {core} in the middle")
    return "; ".join(parts).capitalize() + "."


def nitrite(many: Spread, time: float, piece: str) -> str:
    """Nitrite that has gone in, and what is still free in the middle, at a time."""
    inside, free = (
        f"{1e6 * middle[0]:.0f}{_between(low, high, 1e6)}"
        for middle, low, high in (
            many.at("average", "nitrite", [time], piece),
            many.at("core", FREE, [time], piece),
        )
    )
    return f"Nitrite on {units.day(time, 2)}: {inside} mg per kg of green weight has gone into the {piece}, and {free} is still free in its middle."


def soaked(many: Spread, soak: int, piece: str) -> str:
    """What a soak has done: average, first bite and middle, before and after."""
    begin, end = many.usual.span(soak)
    spent = units.show(end - begin, "time")
    before, after, bite, core = (
        (f"{100 * middle[0]:.2f} %", _between(low, high, 100, 1))
        for middle, low, high in (
            many.at(place, "salt", [when], piece)
            for place, when in (("average", begin), ("average", end), ("first bite", end), ("core", end))
        )
    )
    return (
        f"After {spent} of soak the {piece} has **{after[0]}**{after[1]} salt on the whole; before it had {before[0]}{before[1]}. The outer "
        f"5 mm have {bite[0]}{bite[1]}, the middle {core[0]}{core[1]}."
    )


def rested(many: Spread, piece: str) -> str:
    """The spread between outside and middle at the end of all stages."""
    bite, core = (
        100 * many.at(place, "salt", [many.usual.length], piece).middle[0] for place in ("first bite", "core")
    )
    even = "even enough to slice" if abs(bite - core) < 0.3 else "still uneven: more rest evens it out"
    return f"At the end of all stages: {bite:.2f} % in the outer 5 mm and {core:.2f} % in the middle, {even}."


def _between(low, high, factor: float, digits: int = 0) -> str:
    """The band of one reading, in brackets; nothing without draws."""
    return "" if low is None else f" ({factor * low[0]:.{digits}f} to {factor * high[0]:.{digits}f})"
