"""Ten questions to ask before and after lessons 2, 3 and 6. Which answer is right is worked out when it is asked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from . import cold, equilibrium, strong
from .kitchen import MEAT, SALT


@dataclass(frozen=True)
class Ten:
    """One of ten. `lesson`: the one that teaches it; `right`: number of the right option, from 0, asked of the library; `settled`: words of that
    lesson which settle it, so that whoever has read them can know.
    """

    lesson: str
    ask: str
    options: tuple[str, ...]
    right: Callable[[], int]
    settled: str


def _nearest(value: float, options: Sequence[float]) -> int:
    return min(range(len(options)), key=lambda place: abs(options[place] - value))


def _step(value: float, *bounds: float) -> int:
    """How many of the bounds, in growing order, a value lies above."""
    return sum(value > bound for bound in bounds)


def _thick_and_thin() -> int:
    thin, thick = (equilibrium.end(SALT * MEAT, MEAT, cm) for cm in (3.0, 6.0))
    return 2 if abs(thick / thin - 1) < 0.02 else 0 if thin > thick else 1


def _late() -> int:
    first = strong.day_of(strong.right())
    return _step(strong.on_day(first + 1) / strong.on_day(first), 0.95, 1.08)


def _middle() -> int:
    first = strong.day_of(strong.right())
    return 2 - _step(strong.on_day(first, place="core") / strong.on_day(first), 0.25, 0.75)


def _night() -> int:
    return 2 if cold.bare(3.0, cold.DAYS, cold.NIGHT).warm > 1 else 0


TEN: tuple[Ten, ...] = (
    Ten(
        "equilibrium",
        "Meat of 3 cm lies in a weak brine. You forget it from day 10 to day 20. How much saltier does it get?",
        ("hardly at all", "half as salty again", "twice as salty"),
        lambda: _step(equilibrium.on_day(20) / equilibrium.on_day(10), 1.1, 1.8),
        "On day 10 the meat has",
    ),
    Ten(
        "equilibrium",
        "There are 2 kg of meat, 2 kg of water and 90 g of salt. How salty is the meat in the end?",
        ("1.9 %", "2.25 %", "4.5 %"),  # right; shared by weight; all of it in the meat
        lambda: _nearest(equilibrium.end(SALT * MEAT, MEAT), (1.9, 2.25, 4.5)),
        "The meat ends a little lower",
    ),
    Ten(
        "equilibrium",
        "You take twice the water and the same salt. How salty is the meat in the end?",
        ("half as salty", "two thirds as salty", "as salty as before"),
        lambda: _nearest(equilibrium.end(SALT * MEAT, 2 * MEAT) / equilibrium.end(SALT * MEAT, MEAT), (1 / 2, 2 / 3, 1)),
        "It is not half",
    ),
    Ten(
        "equilibrium",
        "A thin and a thick piece lie in the same weak brine until nothing moves. Which is saltier?",
        ("the thin one", "the thick one", "both are alike"),
        _thick_and_thin,
        "Thick meat ends where thin meat ends",
    ),
    Ten(
        "strong",
        "Meat in a strong brine is right on day 2. It comes out a day late. What of its salt?",
        ("it has less", "it is nearly the same", "it has clearly more"),
        _late,
        "A day late adds",
    ),
    Ten(
        "strong",
        "The brine is twice as strong. How long until the meat is right?",
        ("a quarter of the time or less", "half the time", "as long as before"),
        lambda: _step(strong.day_of(strong.right(), 6, 200) / strong.day_of(strong.right(), 6, 100), 0.3, 0.8),
        "It leaves less than a quarter",
    ),
    Ten(
        "strong",
        "Meat of 6 cm comes out of a strong brine and is right on the whole. How much salt has its middle?",
        ("as much as the whole", "about half of that", "nearly none"),
        _middle,
        "the middle has only",
    ),
    Ten(
        "cold",
        "Poison was found in bare food after 14 days at 5 °C. After how many days at 3 °C?",
        ("10", "17", "35"),
        lambda: _nearest(cold.harm(3), (10, 17, 35)),
        "Poison was found after",
    ),
    Ten(
        "cold",
        "Bare meat was at 15 °C for 14 hours. It smells fresh. What do you do?",
        ("cool it and go on", "cook it well at once", "throw it away"),
        _night,
        "A good smell tells nothing",
    ),
    Ten(
        "cold",
        "Bare meat was too warm for 4 days: 29 parts in 100 of its time are used up. Now it lies cold, 7 days at 3 °C. How many are used up then?",
        ("still 29", "about 49", "about 20"),  # cold does nothing; all days add up; cold heals
        lambda: _nearest(cold.used(3, 7) + cold.used(5, 4), (29, 49, 20)),
        "All days add up",
    ),
)  # fmt: skip
