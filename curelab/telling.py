"""What to say above a live picture: sentences drawn from a trio of histories. Pure; widgets only show them."""

from __future__ import annotations

from . import units
from .criterion import Criterion
from .forecast import DAY, first_time
from .history import History
from .outcome import CURED, CURED_SHARE
from .pictures import Trio
from .runs import FREE


def cured_days(trio: Trio, piece: str, criterion: str = CURED) -> tuple[float | None, ...]:
    """s at which the criterion first holds in a piece: (usual, slow, fast), None where it does not within the history."""
    wanted = Criterion.parse(criterion)
    return tuple(
        None if history is None else first_time(history, wanted, 0.0, _number(history, piece))
        for history in (trio.usual, trio.slow, trio.fast)
    )


def cured(trio: Trio, piece: str, criterion: str = CURED) -> str:
    """When a piece is cured to the middle, with the band if the trio has one."""
    usual, slow, fast = cured_days(trio, piece, criterion)
    horizon = units.show(trio.usual.length, "time", digits=2)
    what = f"the {piece} is cured to the middle"
    if usual is None:
        early = f", in fast meat on {_day(fast)}" if fast is not None else ""
        return f"Within {horizon} the {piece} is **not** cured to the middle{early}."
    if not trio.others:
        return f"On **{_day(usual)}** {what}."
    late = _day(slow) if slow is not None else f"not within {horizon}"
    return f"On **{_day(usual)}** {what} (fast meat {_day(fast)}, slow meat {late})."


def enough(trio: Trio, time: float, piece: str) -> str:
    """Whether the days planned are enough for a piece, and how far it has come then."""
    values = [h.core("salt", min(time, h.length), piece, "equilibrium") for h in (trio.usual, *trio.others)]
    band = f" ({100 * min(values):.0f} to {100 * max(values):.0f})" if trio.others else ""
    there = f"its middle has {100 * values[0]:.0f} %{band} of the salt it will end with"
    days = f"{time / DAY:.3g} days"
    if values[0] < CURED_SHARE:
        return f"{days} are **not enough** for the {piece}: {there}."
    if min(values) < CURED_SHARE:
        return f"{days} are **probably enough** for the {piece}, not if the meat is slow: {there}."
    return f"{days} are **enough** for the {piece}: {there}."


def warmth(kelvin: float, system: str = "metric") -> str:
    """A warning for a fridge that is too warm, or nothing."""
    if kelvin <= 277.15 + 0.3:
        return ""
    limit = "1 to 4 °C" if system == "metric" else "34 to 39 °F"
    return (
        f"Too warm: {units.show(kelvin, 'temperature', system)}. Salt moves faster, and so do the germs: keep it at {limit}, and do not use "
        "meat on the strength of this page that was warmer for more than 4 hours."
    )


def off_by(trio: Trio, time: float, piece: str, days: float = 3.0) -> str:
    """Salt on the whole and in the middle when a cure is taken out early, on time, or late by some days."""
    parts = []
    for label, when in (
        (f"{days:g} days early", time - days * DAY),
        ("on the day", time),
        (f"{days:g} days late", time + days * DAY),
    ):
        if 0 < when <= trio.usual.length:
            whole, core = (100 * read("salt", when, piece) for read in (trio.usual.average, trio.usual.core))
            parts.append(f"{label}: {whole:.2f} % on the whole, {core:.2f} % in the middle")
    return "; ".join(parts).capitalize() + "."


def nitrite(trio: Trio, time: float, piece: str) -> str:
    """Nitrite that has gone in, and what is still free in the middle, at a time."""
    every = (trio.usual, *trio.others)
    inside = [1e6 * h.average("nitrite", min(time, h.length), piece) for h in every]
    free = [1e6 * h.core(FREE, min(time, h.length), piece) for h in every]
    return (
        f"Nitrite on {_day(time)}: {_band(inside)} mg per kg of green weight has gone into the {piece}, and {_band(free)} is still free "
        "in its middle."
    )


def soaked(trio: Trio, soak: int, piece: str) -> str:
    """What a soak has done: average, first bite and middle, before and after."""
    begin, end = trio.usual.span(soak)
    before, after = (100 * trio.usual.average("salt", when, piece) for when in (begin, end))
    bite, core = 100 * trio.usual.first_bite("salt", end, piece), 100 * trio.usual.core("salt", end, piece)
    spent = units.show(end - begin, "time")
    return (
        f"After {spent} of soak the {piece} has **{after:.2f} %** salt on the whole; before it had {before:.2f} %. The outer 5 mm have "
        f"{bite:.2f} %, the middle {core:.2f} %."
    )


def rested(trio: Trio, piece: str) -> str:
    """The spread between outside and middle at the end of all stages."""
    end = trio.usual.length
    bite, core = 100 * trio.usual.first_bite("salt", end, piece), 100 * trio.usual.core("salt", end, piece)
    even = "even enough to slice" if abs(bite - core) < 0.3 else "still uneven: more rest evens it out"
    return f"At the end of all stages: {bite:.2f} % in the outer 5 mm and {core:.2f} % in the middle, {even}."


def _day(seconds: float | None) -> str:
    return (
        "no day"
        if seconds is None
        else f"day {seconds / DAY:.2g}"
        if seconds < 10 * DAY
        else f"day {seconds / DAY:.0f}"
    )


def _band(values: list[float]) -> str:
    return f"{values[0]:.0f}" if len(values) == 1 else f"{values[0]:.0f} ({min(values):.0f} to {max(values):.0f})"


def _number(history: History, piece: str) -> int:
    return [each.name for each in history.pieces].index(piece)
