"""A chain of links laid into a kitchen's hours: when each begins, moved as little as can be. Whole
minutes, no word of meat.

At every border between two links there is something to do, so it must lie in the kitchen's hours. A link keeps to its
bounds; one with `give` may be shortened or drawn out, all by the same share and by no more than is needed.
Feasible borders are worked out from the far end first, so that a border is never put where what follows
cannot be done any more.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..units import MINUTES_A_DAY
from .kitchen_clock import KitchenClock, Spans, intersect, later, nearest

# By how much links with give are shortened (drawn out by the inverse), the least first; halved or doubled
# at most (judgement).
GIVES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5)
MARGIN = 45 * MINUTES_A_DAY  # minutes searched beyond the chain for the nearest plan that is possible


@dataclass(frozen=True)
class Link:
    """One link: `nominal` minutes, at most `longest`; gives: may be drawn out or shortened; waits: may be
    drawn out but not shortened.
    """

    name: str
    nominal: int
    longest: int | None = None
    gives: bool = False
    waits: bool = False

    def bounds(self, give: float) -> tuple[int, int]:
        """(least, most) minutes."""
        if not self.gives:
            return self.nominal, max(self.nominal, self.longest or 0)
        least = self.nominal if self.waits else max(1, math.ceil(self.nominal * (1 - give)))
        return least, max(self.nominal, math.floor(self.nominal / (1 - give)))


class Impossible(Exception):
    """No way to lay the chain with its anchor; `best`: the nearest anchor that works, None: nowhere near;
    `stuck`: the name of a link that fits nowhere, "" if each fits alone.
    """

    def __init__(self, best: int | None, stuck: str):
        super().__init__(stuck)
        self.best, self.stuck = best, stuck


def lay(links: Sequence[Link], anchor: int, border: int, clock: KitchenClock, free_end: bool = False) -> list[int]:
    """Instants of the len(links) + 1 borders, with border number `border` at `anchor`. `free_end`: the last
    border may lie outside the hours.

    Raises Impossible.
    """
    reach = 2 * sum(link.bounds(0.5)[1] for link in links) + MARGIN
    hours = clock.open(anchor - reach, anchor + reach)
    everything = [(anchor - reach, anchor + reach)]
    allowed = lambda n: everything if free_end and n == len(links) else hours  # noqa: E731
    for give in GIVES:
        before, after = _sets(links, border, give, allowed)
        if _at(intersect(before[-1], after[0]), anchor):
            return _walk(links, anchor, border, give, before, after)
    possible = intersect(before[-1], after[0])
    return _refuse(possible, anchor, links, before, after, border)


def _sets(
    links: Sequence[Link], border: int, give: float, allowed: Callable[[int], Spans]
) -> tuple[list[Spans], list[Spans]]:
    """Borders from which the beginning, and those from which the end, can be reached: for 0..border and
    for border..last.
    """
    before = [allowed(0)]
    for n in range(border):
        before.append(intersect(allowed(n + 1), later(before[-1], *links[n].bounds(give))))
    after = [allowed(len(links))]
    for n in reversed(range(border, len(links))):
        least, most = links[n].bounds(give)
        after.insert(0, intersect(allowed(n), later(after[0], -most, -least)))
    return before, after


def _walk(links, anchor, border, give, before, after) -> list[int]:
    borders = [anchor]
    for n in reversed(range(border)):
        least, most = links[n].bounds(give)
        near = nearest(intersect(before[n], [(borders[0] - most, borders[0] - least)]), borders[0] - links[n].nominal)
        assert near is not None
        borders.insert(0, near)
    for n in range(border, len(links)):
        least, most = links[n].bounds(give)
        near = nearest(
            intersect(after[n + 1 - border], [(borders[-1] + least, borders[-1] + most)]),
            borders[-1] + links[n].nominal,
        )
        assert near is not None
        borders.append(near)
    return borders


def _at(spans: Spans, instant: int) -> bool:
    return any(first <= instant <= last for first, last in spans)


def _refuse(possible, anchor, links, before, after, border):
    stuck = next((links[n].name for n in range(border) if not before[n + 1]), "")
    stuck = stuck or next((links[border + n].name for n in reversed(range(len(after) - 1)) if not after[n]), "")
    raise Impossible(nearest(possible, anchor), stuck)
