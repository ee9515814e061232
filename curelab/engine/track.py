"""Solutes on their way through one stretch: legs of unchanging modes, readable at any time of any case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..transport.memory import Kept
from ..transport.modes import Asked
from ..transport.rows import Rows
from ..transport.star import Solved
from .clock import Clock


@dataclass(frozen=True, eq=False)
class Leg:
    """Unchanging modes from `begin` to `end` (d,) in s; start (d, s, n)."""

    begin: np.ndarray
    end: np.ndarray
    modes: Solved
    start: np.ndarray


@dataclass(frozen=True, eq=False)
class Track:
    """Solutes that share their legs. ratios (d, s): how fast each runs on the clock; reserve (d,): kg of dry salt at the start, None where
    everything is dissolved.
    """

    names: tuple[str, ...]
    legs: tuple[Leg, ...]
    clock: Clock
    ratios: np.ndarray
    reserve: np.ndarray | None = None
    kept: Kept = field(default_factory=Kept, repr=False)

    def states(self, times: np.ndarray, place: int, rows: Asked = None) -> np.ndarray:
        """w (d, t, n) of one solute, or (d, t, k) for `rows`: sums (k, n) or (d, k, n) over the nodes. A time on the border of two legs
        belongs to the earlier one.

        A piece that is turned a hundred times still lies in two ways only: legs with the same modes are read together.
        """
        if len(self.legs) == 1:
            return self._group([0], times, None, place, rows)
        ends = np.stack([leg.end for leg in self.legs], axis=1)
        owner = np.minimum((times[:, :, None] > ends[:, None, :-1]).sum(axis=2), len(self.legs) - 1)
        groups: dict[int, list[int]] = {}
        for number, leg in enumerate(self.legs):
            groups.setdefault(id(leg.modes), []).append(number)
        if len(groups) == 1:
            return self._group(list(range(len(self.legs))), times, owner, place, rows)
        rows = Rows.of(rows)
        width = self.legs[0].start.shape[2] if rows is None else rows.count
        result = np.empty((*times.shape, width))
        for numbers in groups.values():
            mine = np.isin(owner, numbers)
            columns = np.flatnonzero(mine.any(axis=0))
            if len(columns):
                inside = np.searchsorted(numbers, owner[:, columns]).clip(0, len(numbers) - 1)
                every = mine[:, columns]
                value = self._group(numbers, times[:, columns], inside, place, rows, every)
                for run in np.split(np.arange(len(columns)), np.flatnonzero(np.diff(columns) > 1) + 1):
                    into = result[:, columns[run[0]] : columns[run[-1]] + 1]
                    here = slice(run[0], run[-1] + 1)
                    np.copyto(into, value[:, here], where=True if every[:, here].all() else every[:, here, None])
        return result

    def _group(
        self,
        numbers: list[int],
        times: np.ndarray,
        owner: np.ndarray | None,
        place: int,
        rows,
        wanted: np.ndarray | None = None,
    ) -> np.ndarray:
        """States at `times` (d, t), each in the leg number `owner` (d, t) of those that are named, which share their modes."""
        legs = [self.legs[number] for number in numbers]
        begin, end = (np.stack([getattr(leg, name) for leg in legs], axis=1) for name in ("begin", "end"))
        end = np.maximum(begin, end)
        if owner is not None:
            begin, end = (np.take_along_axis(each, owner, axis=1) for each in (begin, end))
        since = self.clock(np.clip(times, begin, end)) - self.clock(begin)
        key = (numbers[0], place)
        starts, kept = self.kept.get(key) or (np.stack([leg.start[:, place] for leg in legs], axis=1), Kept())
        self.kept[key] = starts, kept
        tau = self.ratios[:, place, None] * np.maximum(since, 0.0)
        return legs[0].modes.along(starts, owner if len(legs) > 1 else None, tau, rows, kept, wanted)

    def supplied(self, place: int, length: np.ndarray) -> np.ndarray:
        """(d,) kg of one solute that the held bath has given by `length` (d,) s."""
        return self._summed(length, place, lambda leg, start, tau: leg.modes.supplied(start, tau)[:, 0, 0])

    def lost(self, place: int, length: np.ndarray, rates: Sequence[np.ndarray], total: np.ndarray) -> np.ndarray:
        """(d,) kg of one solute that reacted by `length` (d,) s: rates (d, n) of each leg, per unit of its clock; total (d, n): kg in the
        meat for each node.
        """
        own = dict(zip(map(id, self.legs), rates, strict=True))

        def one(leg: Leg, start: np.ndarray, tau: np.ndarray) -> np.ndarray:
            return leg.modes.integral(start, tau, (own[id(leg)] * total)[:, None])[:, 0, 0, 0]

        return self._summed(length, place, one)

    def _summed(self, length: np.ndarray, place: int, one) -> np.ndarray:
        """Sum (d,) of `one(leg, start, clock)` over the legs, each as far as `length` (d,) reaches."""
        found = np.zeros(len(length))
        for leg in self.legs:
            until = np.clip(length, leg.begin, np.maximum(leg.begin, leg.end))[:, None]
            since = np.maximum(self.clock(until) - self.clock(leg.begin[:, None]), 0.0)
            found = found + one(
                leg, leg.start[:, place : place + 1], self.ratios[:, place, None, None] * since[:, None]
            )
        return found

    def undissolved(self, times: np.ndarray) -> np.ndarray:
        """kg (d, t) of dry salt that lies in the bag: only the first leg of a sealed cure has any."""
        if self.reserve is None:
            return np.zeros(times.shape)
        first = self.legs[0]
        tau = self.clock(np.minimum(times, first.end[:, None]))[:, None]
        left = self.reserve[:, None] - first.modes.supplied(first.start, tau)[:, 0]
        return np.where(times <= first.end[:, None], np.maximum(left, 0.0), 0.0)


def chained(
    names: Sequence[str],
    start: np.ndarray,
    ends: Sequence[float],
    modes: Sequence[Solved],
    ratios: np.ndarray,
    clock: Clock,
) -> Track:
    """A track of legs that end at `ends` [s], each on its own modes, from a start (d, s, n)."""
    count = len(start)
    legs: list[Leg] = []
    begin, now = 0.0, start
    for end, each in zip(ends, modes, strict=True):
        if legs:
            now = onwards(legs[-1], ratios, clock)
        legs.append(Leg(np.full(count, begin), np.full(count, end), each, now))
        begin = end
    return Track(tuple(names), tuple(legs), clock, ratios)


def onwards(leg: Leg, ratios: np.ndarray, clock: Clock) -> np.ndarray:
    """w (d, s, n) at the end of a leg."""
    since = clock(leg.end[:, None]) - clock(leg.begin[:, None])
    return leg.modes.at(leg.start, ratios[:, :, None] * since[:, None, :])[:, :, 0]
