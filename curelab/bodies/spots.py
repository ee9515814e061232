"""The slowest spot of a body: the place that follows the bath last, found anew at every time among those that lie deep."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

NEAR = 1e-3  # of the highest value: nobody can tell such values apart
DEEP = 0.75  # of the longest lag behind the bath: places that follow it more closely are no core, whatever they hold


@dataclass(frozen=True, eq=False)
class Spots:
    """Where a core may lie. rows (k, r), or (d, k, r) where the place hangs on the conductivities: the values at k places. In three dimensions
    these are those of a grid of `shape` (i, j), and behind them the mean of all that counts; lag (i * j,): how far each lags behind the bath,
    below 0 for what does not count; None where there is one place; along, depth (i, j): where they lie.
    """

    rows: np.ndarray
    shape: tuple[int, int] = (1, 1)
    lag: np.ndarray | None = None
    along: np.ndarray | None = None
    depth: np.ndarray | None = None

    def value(self, values: np.ndarray) -> np.ndarray:
        """(d, t) at the slowest spot, from values (d, t, k) at the places: the least of those that lie deep while the one that lags most is below
        their mean or that of all, for what comes in has yet to reach it, else the most. Between places it is read off parabolas.
        """
        return values[..., 0] if self.lag is None else self._found(values)[0]

    def place(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(along, depth) (d, t) of the slowest spot: the nearest place of the grid; the deepest one while others are as low but for NEAR."""
        assert self.along is not None and self.depth is not None
        found, at = self._found(values)
        near = np.abs(values[..., self.deepest] - found) <= NEAR * np.abs(values[..., :-1]).max(axis=-1)
        at = np.where(near, self.deepest, at)
        return self.along.ravel()[at], self.depth.ravel()[at]

    def _found(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        values, mean = values[..., :-1], values[..., -1]
        # The mean of all beside that of the deep ones: under fat others of them hold less at first than the one that lags most. That of the deep ones
        # beside the mean of all: a soak that has only begun has not been heard of down there.
        sign = np.where(values[..., self.deepest] <= np.maximum(mean, values[..., self.deep].mean(axis=-1)), 1.0, -1.0)
        low = np.where(self.deep, sign[..., None] * values, np.inf)
        at = np.argmin(low, axis=-1)
        found = lowest = _taken(low, at)
        for middles, step, coordinate in self._lines:
            middle = middles[at]
            before, middle, after = (np.maximum(middle, step) + side * step for side in (-1, 0, 1))
            h, k = (coordinate[b] - coordinate[a] for a, b in ((before, middle), (middle, after)))
            level = _taken(low, middle)
            # Of places that do not count, where there are no three.
            with np.errstate(invalid="ignore", divide="ignore"):
                down, up = (level - _taken(low, before)) / h, (_taken(low, after) - level) / k
                slope, bend = (down * k + up * h) / (h + k), (up - down) / (h + k)
                beyond = -0.5 * slope / bend
                gain = lowest - level + 0.25 * slope**2 / bend
                inside = (middles[at] >= 0) & (bend > 0) & (beyond >= -h) & (beyond <= k)
            found = found - np.where(inside, gain, 0.0)
        return sign * found, at

    @cached_property
    def deepest(self) -> int:
        """The place that lags most."""
        assert self.lag is not None
        return int(np.argmax(self.lag))

    @cached_property
    def deep(self) -> np.ndarray:
        """(k,) which places count."""
        assert self.lag is not None
        return self.lag >= DEEP * self.lag.max()

    @cached_property
    def _lines(self) -> list[tuple[np.ndarray, int, np.ndarray]]:
        """(middle (k,), step, coordinate (k,)) along each axis: of the three places that a parabola goes through, near each place, itself the
        middle or, at a border of what counts, the one at the end; -1: there are no three.
        """
        assert self.along is not None and self.depth is not None
        found, every = [], np.arange(self.deep.size)
        for coordinate, number, step, count in (
            (self.along, every // self.shape[1], self.shape[1], self.shape[0]),
            (self.depth, every % self.shape[1], 1, self.shape[1]),
        ):
            if count < 3:
                continue
            middles = np.full(len(every), -1)
            for shift in (1, -1, 0):
                middle = np.clip(every + shift * step, step, len(every) - 1 - step)
                three = self.deep[middle - step] & self.deep[middle] & self.deep[middle + step]
                middles = np.where(three & (number + shift > 0) & (number + shift < count - 1), middle, middles)
            found.append((middles, step, coordinate.ravel()))
        return found


def _taken(values: np.ndarray, at: np.ndarray) -> np.ndarray:
    return np.take_along_axis(values, at[..., None], axis=-1)[..., 0]
