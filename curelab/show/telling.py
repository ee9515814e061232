"""What to say above a live picture: sentences drawn from a history and its draws. Pure; widgets only show them."""

from __future__ import annotations

from collections.abc import Iterable

from .. import units
from ..engine.history import FIRST_BITE
from ..engine.run import FREE
from ..recipe.stages import Stage
from ..recipe.times import COLD
from ..spread import Spread


def warmth(kelvin: float, system: str = "metric") -> str:
    """A warning for a fridge that is too warm, or nothing."""
    if kelvin <= 277.15 + 0.3:
        return ""
    return (
        f"Too warm: {units.show(kelvin, 'temperature', system)}. Salt moves faster, and so do the germs: keep it at {COLD[system]}. "
        "Warmer for over 4 hours: do not trust this page for that meat."
    )


def warmth_of(stages: Iterable[Stage], system: str = "metric") -> str:
    """The same for stages, but for those that cook: a pot is no fridge."""
    return warmth(max((stage.warmest for stage in stages if stage.cures or not stage.heats), default=0.0), system)


def nitrite(many: Spread, time: float, piece: str) -> str:
    """Nitrite that has gone in, and what is still free in the middle, at a time."""
    inside, free = (
        f"{1e6 * middle[0]:.0f}{_between(low, high, 1e6)}"
        for middle, low, high in (
            many.at("average", "nitrite", [time], piece),
            many.at("core", FREE, [time], piece),
        )
    )
    return f"Nitrite on {units.day(time, 2)}: the {piece} took in {inside} mg per kg of its raw weight. In its middle {free} is still free."


def soaked(many: Spread, soak: int, piece: str) -> str:
    """What a soak has done on the whole."""
    begin, end = many.usual.span(soak)
    before, after = (_percent(many, "average", when, piece) for when in (begin, end))
    spent = units.roughly(end - begin)
    return f"After {spent} of soak the {piece} has {after} salt on the whole; before it had {before}."


def soaked_inside(many: Spread, soak: int, piece: str, system: str = "metric") -> str:
    """What a soak has left outside and in the middle."""
    bite, core = (_percent(many, place, many.usual.span(soak)[1], piece) for place in ("first bite", "core"))
    return f"When the soak ends, the outer {_bite(system)} have {bite} salt, the middle {core}."


def rested(many: Spread, piece: str, system: str = "metric") -> str:
    """The spread between outside and middle at the end of all stages."""
    bite, core = (
        100 * many.at(place, "salt", [many.usual.length], piece).middle[0] for place in ("first bite", "core")
    )
    even = "even enough to slice" if abs(bite - core) < 0.3 else "too uneven: rest it longer"
    return f"At the end: {bite:.1f} % in the outer {_bite(system)}, {core:.1f} % in the middle, {even}."


def _bite(system: str) -> str:
    return units.show(FIRST_BITE, "length", system, digits=1)


def _percent(many: Spread, place: str, when: float, piece: str) -> str:
    middle, low, high = many.at(place, "salt", [when], piece)
    return f"**{100 * middle[0]:.1f} %**{_between(low, high, 100, 1)}"


def _between(low, high, factor: float, digits: int = 0) -> str:
    """The band of one reading, in brackets; nothing without draws."""
    return "" if low is None else f" ({factor * low[0]:.{digits}f} to {factor * high[0]:.{digits}f})"
