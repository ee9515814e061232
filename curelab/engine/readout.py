"""What is read off a history: profiles, the stretches that were run, and the mean of an edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..recipe.stages import Stretch

Times = Any  # whatever `units.seconds` reads: s, "5 d", a timedelta, a quantity of pint, or an array of them; None: at the end


@dataclass(frozen=True)
class Profile:
    """Values across a piece: depth (x,) in m from one face to the other; values (..., x), fractions on `basis`."""

    quantity: str
    basis: str
    depth: np.ndarray
    values: np.ndarray


@dataclass(frozen=True)
class Ran:
    """A stretch that was run: number of its stage from 0, what it was, and when [s since the start]; `knots` [s since the start]: between
    two of them the temperature is a straight line.
    """

    stage: int
    stretch: Stretch
    begin: float
    end: float
    knots: np.ndarray
    kelvin: np.ndarray
    held: bool  # whether it ended because its criterion held

    @property
    def length(self) -> float:
        return self.end - self.begin


def whole_depth(depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(depth from face to face, and which value stands at each): a round piece is read from the middle outwards, and shown whole."""
    if depth[0] < 0.5:
        return depth, np.arange(len(depth))
    numbers = np.arange(len(depth))
    return np.concatenate([1 - depth[::-1], depth]), np.concatenate([numbers[::-1], numbers])


def mean_within(depth: np.ndarray, values: np.ndarray, within: np.ndarray) -> np.ndarray:
    """Mean (t,) of values (t, d) over the outermost `within` (t,), at the face where it is higher; straight between places."""
    least = np.minimum(within, depth[-1] / 2)[:, None]
    means = []
    for x, v in ((depth, values), (depth[-1] - depth[::-1], values[:, ::-1])):
        steps = 0.5 * np.diff(x) * (v[:, 1:] + v[:, :-1])
        before = np.concatenate([np.zeros((len(v), 1)), np.cumsum(steps, axis=1)], axis=1)
        last = np.clip(np.searchsorted(x, least) - 1, 0, len(x) - 2)  # the last place before the border
        here, there = (np.take_along_axis(v, last + k, axis=1) for k in (0, 1))
        part = least - x[last]
        edge = here + (there - here) * part / (x[last + 1] - x[last])
        means.append(((np.take_along_axis(before, last, axis=1) + 0.5 * part * (here + edge)) / least)[:, 0])
    return np.max(means, axis=0)
