"""The diffusion clock: how far salt would have spread in free water, m2, against time, for a temperature that may change.

Obstruction, films and geometry belong to the network, so every solute and every temperature runs on the same one: a solute's own clock is
its ratio times this one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..recipe.stages import Log
from .cases import Cases

STEP = 0.5  # K between two knots, at most


@dataclass(frozen=True, eq=False)
class Clock:
    """knots (k,) in s; kelvin (k,) as planned; warmer (d,) K on top of it; readings (d, k) in m2."""

    knots: np.ndarray
    kelvin: np.ndarray
    warmer: np.ndarray
    readings: np.ndarray

    @classmethod
    def of(cls, log: Log, length: float, cases: Cases) -> Clock:
        """Straight lines between the points of the log, level before the first and after the last; 0 to `length` s."""
        times = np.array([time for time, _ in log])
        kelvin = np.array([value for _, value in log])
        ends = np.concatenate([[0.0], times[(times > 0) & (times < length)], [length]])
        steps = np.maximum(1, np.ceil(np.abs(np.diff(np.interp(ends, times, kelvin))) / STEP)).astype(int)
        knots = np.concatenate(
            [[0.0], *[np.linspace(a, b, n + 1)[1:] for a, b, n in zip(ends, ends[1:], steps, strict=False)]]
        )
        at_knots = np.interp(knots, times, kelvin)
        steps_made = _steps(knots, at_knots + cases.warmer[:, None], cases.water_diffusivity)
        readings = np.concatenate([np.zeros((len(steps_made), 1)), np.cumsum(steps_made, axis=1)], axis=1)
        return cls(knots, at_knots, cases.warmer, readings)

    def __call__(self, times: np.ndarray) -> np.ndarray:
        """Readings (d, t) at times (d, t); between knots the rate is taken as even."""
        if len(self.knots) == 2:
            return self.readings[:, 1:] * (times / self.knots[1])
        if len(times) > 1 and (times == times[0]).all():  # as most are: looked up once for all cases
            step, share = self._within(times[0])
            low = self.readings[:, step]
            return low + share * (self.readings[:, step + 1] - low)
        step, share = self._within(times)
        low = np.take_along_axis(self.readings, step, axis=1)
        return low + share * (np.take_along_axis(self.readings, step + 1, axis=1) - low)

    def _within(self, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Number of the knot before each time, and which share of the way to the next one it stands at."""
        step = np.clip(np.searchsorted(self.knots, times, side="right") - 1, 0, len(self.knots) - 2)
        return step, (times - self.knots[step]) / (self.knots[step + 1] - self.knots[step])

    def mean(self, rate: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
        """(d,) mean over the whole log, weighted by time, of a rate (d, k) at temperatures (d, k) in K."""
        return _steps(self.knots, self.kelvin + self.warmer[:, None], rate).sum(axis=1) / self.knots[-1]

    def temperature(self, times: np.ndarray) -> np.ndarray:
        """K as planned, in the shape of `times`."""
        return np.interp(times, self.knots, self.kelvin)

    @cached_property
    def steady(self) -> bool:
        """Whether the temperature never changes."""
        return bool(np.ptp(self.kelvin) == 0)


def _steps(knots: np.ndarray, warm: np.ndarray, rate: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Integral (d, k - 1) of a rate between knots, by Simpson's rule, for temperatures `warm` (d, k) there."""
    every = rate(np.concatenate([warm, 0.5 * (warm[:, 1:] + warm[:, :-1])], axis=1))
    edge, middle = every[:, : len(knots)], every[:, len(knots) :]
    return np.diff(knots) * (edge[:, 1:] + edge[:, :-1] + 4 * middle) / 6
