"""What is read off a history: profiles, the stretches that were run, and the mean of an edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from ..recipe.stages import Stretch
from ..results import Shown

Times = Any  # whatever `units.seconds` reads: s, "5 d", a timedelta, a quantity of pint, or an array of them; None: at the end


@dataclass(frozen=True, repr=False)
class Profile(Shown):
    """Values across a piece: depth (x,) in m from one face to the other; values (..., x), fractions on `basis` or K; times [s] as they were asked
    for, None: at the end.
    """

    quantity: str
    basis: str
    depth: np.ndarray
    values: np.ndarray
    times: Any = None

    def lines(self) -> list[str]:
        kind = "temperature" if self.quantity == "temperature" else "fraction"
        least, most = (units.show(float(each), kind) for each in (self.values.min(), self.values.max()))
        shape = " x ".join(map(str, self.values.shape))
        across = units.show(float(self.depth[-1]), "length")
        return [f"Profile of {self.quantity} ({self.basis}) through {across}: {least} to {most}, {shape} values"]

    def rows(self) -> list[dict[str, Any]]:
        """One for each (draw,) time and depth."""
        lead = self.values.shape[:-1]
        times = None if self.times is None or not lead else np.broadcast_to(self.times, lead)
        found = []
        for place in np.ndindex(lead):
            head = {"draw": place[0]} if len(lead) > 1 else {}
            when = self.times if times is None else times[place]
            head |= {} if when is None else {"time_s": float(when)}
            values = zip(self.depth.tolist(), self.values[place].tolist(), strict=True)
            found += [head | {"depth_m": depth, "fraction": value} for depth, value in values]
        return found


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
