"""Solutes on their way through one stretch: legs of unchanging modes, readable at any time of any case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from itertools import pairwise

import numpy as np

from ..transport.memory import PASSING, Kept
from ..transport.modes import Asked, Begun
from ..transport.rows import Rows
from ..transport.star import Solved, Star
from .clock import Clock

EVEN = 1e-9  # relative, up to which legs last alike: what is left over of two long readings of a clock is rounding
OFTEN = 6  # times that networks are to follow upon others for it to be written down how the modes of those are made of the modes of these (measured)


@dataclass(frozen=True, eq=False)
class Leg:
    """Unchanging modes from `begin` to `end` (d,) in s."""

    begin: np.ndarray
    end: np.ndarray
    modes: Solved


@dataclass(frozen=True, eq=False)
class Track:
    """Solutes that share their legs. ratios (d, s): how fast each runs on the clock; begun: w (d, s, n) at the start of the first legs, from
    which that of the others follows when it is asked for; reserve (d,): kg of dry salt at the start, None where everything is dissolved.
    """

    names: tuple[str, ...]
    legs: tuple[Leg, ...]
    clock: Clock
    ratios: np.ndarray
    begun: tuple[np.ndarray, ...]
    reserve: np.ndarray | None = None
    kept: Kept = field(default_factory=Kept, repr=False)

    @cached_property
    def _starts(self) -> list[Begun]:
        """What the legs that were reached so far begin with: all solutes at once, for they share their modes."""
        return [leg.modes.begin(each) for leg, each in zip(self.legs, self.begun, strict=False)]

    @cached_property
    def _often(self) -> bool:
        """Whether the same networks follow upon each other often."""
        pairs = list(pairwise(id(leg.modes) for leg in self.legs))
        return len(pairs) >= OFTEN * len(set(pairs))

    @cached_property
    def _lasts(self) -> np.ndarray:
        """(d, l) how long each leg lasts on the clock, which is quicker read for all of them at once."""
        begin, end = (np.stack([getattr(leg, name) for leg in self.legs], axis=1) for name in ("begin", "end"))
        return self.clock(end) - self.clock(begin)

    def starts(self, count: int) -> list[Begun]:
        """What the first `count` legs begin with."""
        while len(self._starts) < count:
            last = len(self._starts) - 1
            modes, tau = self.legs[last].modes, self.ratios * self._lasts[:, last, None]
            if isinstance(modes, Star):
                passed = self._turned(last, count - 1)
                begun, ended = modes.turning(self._starts[-1], tau, [leg.modes.sign for leg in passed])  # type: ignore[union-attr]
                self._starts.extend(begun)
                modes = passed[-1].modes
            else:
                ended = modes.after(self._starts[-1], tau)
            further = self.legs[len(self._starts)].modes
            self._starts.append(modes.onto(ended, further, self.kept if self._often else None))
        return self._starts[:count]

    def _turned(self, first: int, end: int) -> tuple[Leg, ...]:
        """The legs from number `first` to before number `end`, as long as they last alike and the pieces of a star are only turned over."""
        lasts, modes, last = self._lasts, self.legs[first].modes, first + 1
        assert isinstance(modes, Star)
        near = EVEN * lasts[:, first]
        while (
            last < end
            and modes.turned(self.legs[last].modes)
            and (np.abs(lasts[:, last] - lasts[:, first]) <= near).all()
        ):
            last += 1
        return self.legs[first:last]

    def states(self, times: np.ndarray, place: int, rows: Asked = None) -> np.ndarray:
        """w (d, t, n) of one solute, or (d, t, k) for `rows`: sums (k, n) or (d, k, n) over the nodes. A time on the border of two legs
        belongs to the earlier one.

        A piece that is turned a hundred times still lies in two ways only: legs with the same modes are read together. Legs after the last time
        are not computed.
        """
        if len(self.legs) == 1:
            return self._group([0], times, None, place, rows)
        owner = self._owners(times)
        groups: dict[int, list[int]] = {}
        reached = max(int(owner.max(initial=0)) + 1, len(self._starts))
        for number, leg in enumerate(self.legs[:reached]):
            groups.setdefault(id(leg.modes), []).append(number)
        if len(groups) == 1:
            return self._group(list(next(iter(groups.values()))), times, owner, place, rows)
        rows = Rows.of(rows)
        width = self.begun[0].shape[2] if rows is None else rows.count
        result = np.empty((*times.shape, width))
        for numbers in groups.values():
            within = np.full(reached, -1)
            within[numbers] = np.arange(len(numbers))
            inside = within[owner]
            mine = inside >= 0
            columns = np.flatnonzero(mine.any(axis=0))
            if len(columns):
                every = mine[:, columns]
                value = self._group(numbers, times[:, columns], np.maximum(inside[:, columns], 0), place, rows, every)
                for run in np.split(np.arange(len(columns)), np.flatnonzero(np.diff(columns) > 1) + 1):
                    into = result[:, columns[run[0]] : columns[run[-1]] + 1]
                    here = slice(run[0], run[-1] + 1)
                    np.copyto(into, value[:, here], where=True if every[:, here].all() else every[:, here, None])
        return result

    def _owners(self, times: np.ndarray) -> np.ndarray:
        """Number of the leg that owns each time (d, t)."""
        found = self.kept.get("ends")
        if found is None:
            found = self.kept["ends"] = np.stack([leg.end for leg in self.legs[:-1]], axis=1)
        if np.ptp(found, axis=0).max() == 0:
            return np.searchsorted(found[0], times)
        return (times[:, :, None] > found[:, None]).sum(axis=2)

    def _span(self, numbers: list[int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(d, g) begin and end of some legs, and what the clock says as they begin."""
        key = "span", numbers[0], len(numbers)
        found = self.kept.get(key)
        if found is None:
            begin, end = (np.stack([getattr(self.legs[n], name) for n in numbers], axis=1) for name in ("begin", "end"))
            found = self.kept[key] = begin, np.maximum(begin, end), self.clock(begin)
        return found

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
        begin, end, before = self._span(numbers)
        if owner is not None:
            begin, end, before = (np.take_along_axis(each, owner, axis=1) for each in (begin, end, before))
        since = self.clock(np.clip(times, begin, end)) - before
        tau = self.ratios[:, place, None] * np.maximum(since, 0.0)
        begun, many, kept = self._begun(numbers, owner, place)
        return self.legs[numbers[0]].modes.along(begun, many, tau, rows, kept, wanted)

    def _begun(self, numbers: list[int], owner: np.ndarray | None, place: int) -> tuple[Begun, np.ndarray | None, Kept]:
        """Where g legs set out that are read, which of them (d, t) each time has, None where there is one, and what is remembered of
        these. Of the legs that `owner` (d, t) names, or a start for each time, where that is less: meat is turned more often than it is read.
        """
        used = np.zeros(1, dtype=int) if owner is None else np.unique(owner)
        each_time = owner is not None and len(used) > owner.shape[1]
        key = (numbers[0], place, owner.tobytes() if owner is not None and each_time else used.tobytes())
        found = self.kept.get(key)
        if found is None:
            every = self.starts(numbers[int(used[-1])] + 1)
            put = partial(np.stack, axis=1)
            if owner is not None and each_time:
                put = partial(_at_each_time, used, owner)
            found = self.kept[key] = (
                Begun.of([every[numbers[each]] for each in used.tolist()], place, put),
                Kept(PASSING),
            )
        if owner is None or len(used) == 1:
            return found[0], None, found[1]
        many = np.broadcast_to(np.arange(owner.shape[1]), owner.shape) if each_time else np.searchsorted(used, owner)
        return found[0], many, found[1]

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
        for leg, begun in zip(self.legs, self.starts(len(self.legs)), strict=True):
            start = leg.modes.state(begun)[:, place]
            until = np.clip(length, leg.begin, np.maximum(leg.begin, leg.end))[:, None]
            since = np.maximum(self.clock(until) - self.clock(leg.begin[:, None]), 0.0)
            found = found + one(leg, start[:, None], self.ratios[:, place, None, None] * since[:, None])
        return found

    def undissolved(self, times: np.ndarray) -> np.ndarray:
        """kg (d, t) of dry salt that lies in the bag: only the first leg of a sealed cure has any."""
        if self.reserve is None:
            return np.zeros(times.shape)
        first = self.legs[0]
        tau = self.clock(np.minimum(times, first.end[:, None]))[:, None]
        left = self.reserve[:, None] - first.modes.supplied(self.begun[0], tau)[:, 0]
        return np.where(times <= first.end[:, None], np.maximum(left, 0.0), 0.0)


def _at_each_time(used: np.ndarray, owner: np.ndarray, starts: Sequence[np.ndarray]) -> np.ndarray:
    """(d, t, ...) of starts (d, ...), by the numbers `used` of theirs that `owner` (d, t) names."""
    found = np.empty((*owner.shape, *starts[0].shape[1:]))
    for number, start in zip(used.tolist(), starts, strict=True):
        cases, columns = np.nonzero(owner == number)
        found[cases, columns] = start[cases]
    return found


def chained(
    names: Sequence[str],
    start: np.ndarray,
    ends: Sequence[float],
    modes: Sequence[Solved],
    ratios: np.ndarray,
    clock: Clock,
) -> Track:
    """A track of legs that end at `ends` [s], each on its own modes, from a start (d, s, n)."""
    begins, finish = ([np.full(len(start), time) for time in times] for times in ([0.0, *ends[:-1]], ends))
    return Track(tuple(names), tuple(map(Leg, begins, finish, modes)), clock, ratios, (start,))


def onwards(leg: Leg, start: np.ndarray, ratios: np.ndarray, clock: Clock) -> np.ndarray:
    """w (d, s, n) of solutes with these ratios (d, s) at the end of a leg that they begin as start (d, s, n)."""
    since = clock(leg.end[:, None]) - clock(leg.begin[:, None])
    return leg.modes.at(start, ratios[:, :, None] * since[:, None, :])[:, :, 0]
