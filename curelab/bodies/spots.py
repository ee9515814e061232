"""The slowest spot of a body: the place that follows the bath last, found anew at every time among those that lie deep."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

NEAR = 1e-3  # of the highest value: nobody can tell such values apart
DEEP = 0.75  # of the longest lag behind the bath: places that follow it more closely are no core, whatever they hold


@dataclass(frozen=True, eq=False)
class Spots:
    """Where a core may lie. rows (k, r), or (d, k, r) where the place hangs on the conductivities: the values at k places, in a grid of
    `shape` (i, j); deep (k,): which of them count; deepest: the one that lags most; along, depth (i, j): where they lie.
    """

    rows: np.ndarray
    shape: tuple[int, int] = (1, 1)
    deep: np.ndarray | None = None
    deepest: int = 0
    along: np.ndarray | None = None
    depth: np.ndarray | None = None

    def value(self, values: np.ndarray) -> np.ndarray:
        """(d, t) at the slowest spot, from values (d, t, k) at the places: the least of those that count where the deepest lies below their
        mean, for what comes in has yet to reach it, else the most. Between places it is read off parabolas.
        """
        if self.deep is None:
            return values[..., 0]
        return self._found(values)[0]

    def place(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(along, depth) (d, t) of the slowest spot: the nearest place of the grid; the deepest one while others are as low but for NEAR."""
        assert self.along is not None and self.depth is not None
        found, at = self._found(values)
        near = np.abs(values[..., self.deepest] - found) <= NEAR * np.abs(values).max(axis=-1)
        at = np.where(near, self.deepest, at)
        return self.along.ravel()[at], self.depth.ravel()[at]

    def _found(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        assert self.deep is not None
        sign = np.where(values[..., self.deepest] <= values[..., self.deep].mean(axis=-1), 1.0, -1.0)
        low = np.where(self.deep, sign[..., None] * values, np.inf)
        at = np.argmin(low, axis=-1)
        least = _taken(low, at)
        found = least
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
                gain = least - level + 0.25 * slope**2 / bend
                inside = (middles[at] >= 0) & (bend > 0) & (beyond >= -h) & (beyond <= k)
            found = found - np.where(inside, gain, 0.0)
        return sign * found, at

    @cached_property
    def _lines(self) -> list[tuple[np.ndarray, int, np.ndarray]]:
        """(middle (k,), step, coordinate (k,)) along each axis: of the three places that a parabola goes through, near each place, itself the
        middle or, at a border of what counts, the one at the end; -1: there are no three.
        """
        assert self.deep is not None and self.along is not None and self.depth is not None
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
