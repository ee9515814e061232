"""Temperatures at one place over time, straight between readings, and the times a rule asks of them: exact, not stepped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..fields import InputError, Problem

SLACK = 1e-3  # K by which a stay at a limit may miss it: a bath set right on a row of a table must not fail by arithmetic (judgement)
COLDEST, HOTTEST = 200.0, 700.0  # K; outside of these a reading is a slip: they catch degC and degF given for K


class Span(NamedTuple):
    """Seconds that a passage took; `done` False: it had not ended when the curve did, so `seconds` is the least it takes."""

    seconds: float
    done: bool


@dataclass(frozen=True, eq=False)
class Curve:
    """Temperatures [K] of one place at `times` [s], both (t,), straight between readings; `place` in words.

    Raises InputError, one sentence each: fewer than two readings, lengths that differ, times that do not grow, what is not finite,
    and temperatures that are no kelvin of a kitchen.

    >>> warm = Curve([0.0, 600.0, 1200.0], [290.0, 340.0, 340.0])
    >>> warm.above(330.0), warm.longest(330.0), warm.hottest
    (720.0, 720.0, 340.0)
    """

    times: NDArray[np.float64]
    kelvin: NDArray[np.float64]
    place: str = "the slowest spot"

    def __init__(self, times: ArrayLike, kelvin: ArrayLike, place: str = "the slowest spot"):
        t, k = np.asarray(times, dtype=float), np.asarray(kelvin, dtype=float)
        problems = []
        if t.ndim != 1 or k.shape != t.shape or len(t) < 2:
            shapes = f"{t.shape} times and {k.shape} temperatures"
            problems.append(
                Problem("times", f"{shapes} were given; give at least two readings, one temperature a time")
            )
        else:
            if not np.all(np.isfinite(t)) or not np.all(np.diff(t) > 0):
                problems.append(Problem("times", "they must be finite and grow; put the readings in order"))
            if not np.all((k >= COLDEST) & (k <= HOTTEST)):
                wrong = k[~((k >= COLDEST) & (k <= HOTTEST))][0]
                said = f"{wrong:g} K lies outside {COLDEST:g} to {HOTTEST:g} K; give kelvin, 60 degC is 333.15 K"
                problems.append(Problem("kelvin", said))
        if problems:
            raise InputError(problems)
        for name, value in (("times", t), ("kelvin", k), ("place", place)):
            object.__setattr__(self, name, value)

    @property
    def hottest(self) -> float:
        """K."""
        return float(self.kelvin.max())

    @property
    def last(self) -> float:
        """K at the end."""
        return float(self.kelvin[-1])

    def above(self, limit: float) -> float:
        """Seconds at or above `limit` [K], in all."""
        lengths, hot = self._parts(limit)
        return float(lengths[hot].sum())

    def longest(self, limit: float) -> float:
        """Seconds of the longest unbroken stay at or above `limit` [K]."""
        lengths, hot = self._parts(limit)
        ends = np.flatnonzero(np.diff(np.concatenate([[False], hot, [False]]).astype(int)))
        total = np.concatenate([[0.0], np.cumsum(lengths)])
        return float(max((total[b] - total[a] for a, b in zip(ends[::2], ends[1::2], strict=True)), default=0.0))

    def falling(self, high: float, low: float, whole: bool = False) -> Span:
        """From the last moment at or above `high` [K] (or, where it never was, from the hottest, of a `whole` curve from the start) to the last at
        or above `low`.
        """
        begin = self._last(high)
        begin = float(self.times[0 if whole else int(np.argmax(self.kelvin))]) if begin is None else begin
        end = self._last(low)
        return Span(0.0 if end is None else max(0.0, end - begin), self.last <= low + SLACK)

    def rising(self, low: float, high: float) -> Span:
        """From the last moment at or below `low` [K] before `high` is first reached to that moment; from the start, if it never was so cold."""
        hot = np.flatnonzero(self.kelvin >= high)
        until = len(self.times) if not len(hot) else int(hot[0]) + 1
        if until < 2:
            return Span(0.0, True)
        t, k = self.times[:until], self.kelvin[:until]
        end = _crossing(t[-2:], k[-2:], high) if len(hot) else float(t[-1])
        cold = np.flatnonzero(k <= low)
        if not len(cold):
            begin = float(t[0])
        elif cold[-1] == until - 1:
            return Span(0.0, False)
        else:
            at = int(cold[-1])
            begin = _crossing(t[at : at + 2], k[at : at + 2], low)
        return Span(end - begin, bool(len(hot)))

    def until(self, high: float) -> float | None:
        """When `high` [K] is first reached; None where it never is."""
        hot = np.flatnonzero(self.kelvin >= high)
        if not len(hot):
            return None
        at = max(int(hot[0]), 1)
        return (
            _crossing(self.times[at - 1 : at + 1], self.kelvin[at - 1 : at + 1], high)
            if hot[0]
            else float(self.times[0])
        )

    def part(self, begin: float, end: float) -> Curve:
        """The curve from `begin` to `end` [s]. Raises InputError where nothing of it lies between."""
        inside = (self.times > begin) & (self.times < end)
        edges = np.clip([begin, end], self.times[0], self.times[-1])
        t = np.concatenate([edges[:1], self.times[inside], edges[1:]])
        return Curve(t, np.interp(t, self.times, self.kelvin), self.place)

    def _last(self, limit: float) -> float | None:
        """The last moment at or above `limit`."""
        hot = np.flatnonzero(self.kelvin >= limit)
        if not len(hot):
            return None
        at = int(hot[-1])
        if at == len(self.times) - 1:
            return float(self.times[-1])
        return _crossing(self.times[at : at + 2], self.kelvin[at : at + 2], limit)

    def _parts(self, limit: float) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Lengths [s] of the parts of the curve that lie wholly on one side of `limit`, in order, and which are at or above it."""
        hot, spans = self.kelvin >= limit, np.diff(self.times)
        rise = np.diff(self.kelvin)
        crosses = hot[1:] != hot[:-1]
        share = np.where(crosses, (limit - self.kelvin[:-1]) / np.where(rise == 0, 1.0, rise), 1.0)
        lengths = np.stack([spans * share, spans * (1.0 - share)], axis=1).ravel()
        return lengths, np.stack([hot[:-1], hot[1:]], axis=1).ravel()


def _crossing(t: NDArray[np.float64], k: NDArray[np.float64], limit: float) -> float:
    """When a straight part passes `limit`."""
    return float(t[0] + (limit - k[0]) / (k[1] - k[0]) * (t[1] - t[0])) if k[1] != k[0] else float(t[1])


def worst(curves: Curve | Sequence[Curve], bad) -> Curve:
    """The curve for which `bad` (a function of one) is largest; the curve itself where there is one. Raises InputError for none."""
    several = [curves] if isinstance(curves, Curve) else list(curves)
    if not several:
        raise InputError([Problem("curves", "no temperatures were given; give one curve at least")])
    return max(several, key=bad) if len(several) > 1 else several[0]
