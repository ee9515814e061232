"""Modes of what meets in one bath, from the modes it has while the bath is held.

In these the matrix is an arrowhead: rates on its diagonal, one row and one column for the bath. Its rates are the zeros of a sum of
poles, one between each two of them, and its modes follow from each zero in one line: as many steps as the matrix has entries, where an
eigenproblem takes their power of 3/2 (O'Leary and Stewart, Journal of Computational Physics 90, 1990). Each zero is sought from the pole
that is nearer to it, whose weight is known, so that what lies close to a pole keeps all its digits (the fixed weight method of Li, LAPACK
Working Note 89, 1994).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from .memory import Kept
from .modes import Part, level

SMALL = 250_000  # of matrices times the cube of their size: an eigenproblem is quicker than the search (measured)
AT_ONCE = 400_000  # numbers that are worked on at once, so that they stay near the processor
TOGETHER = 2  # looks after which most zeros are found, and only the others are looked at
MOST = 60  # looks; 4 are usual, 8 rare
ENOUGH = 1e-7  # of the distance to the pole: the step after it, which is twice as sure, is the last
APART = 1e-15  # relative: poles that coincide are moved apart by so much each
LEAST = 1e-30  # of the largest entry in the column: so little holds a zero at its pole


@dataclass(frozen=True, eq=False)
class Met(Part):
    """Parts `own`, each with the bath held, that meet in a bath, which is the last node. total (d,): all conductance to the bath; whole: whether its
    modes are written as sums of nodes, which is quicker where they are few, or as sums of the modes of the parts. solved: the rates, and the modes
    (d, m, f), one in each row; they are found anew when they were pushed out of the memory: of many draws in many baths they are large.
    """

    own: tuple[Part, ...] = ()
    total: np.ndarray = field(default_factory=lambda: np.zeros(0))
    whole: bool = False
    memory: Kept = field(default_factory=Kept, repr=False)

    @property
    def solved(self) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[override]
        found = self.memory.get("solved")
        if found is None:
            found = self.memory["solved"] = self._found() if self.source is None else self.source()
        return found

    def _found(self) -> tuple[np.ndarray, np.ndarray]:
        bath = self.root[:, -1]
        poles = np.concatenate([part.solved[0] for part in self.own], axis=1)
        column = np.concatenate([part.fed for part in self.own], axis=1) / bath[:, None]
        flat = None if self.constant is None else self._through(self.constant * self.root[:, None], Part.into)[:, 0]
        count, size = self.root.shape
        rates, modes = np.empty((count, size)), np.empty((count, size, size))
        step = max(1, AT_ONCE // size**2)
        for some in (slice(begin, begin + step) for begin in range(0, count, step)):
            corner = self.total[some] / bath[some] ** 2
            rates[some], modes[some] = arrow(poles[some], column[some], corner, flat is not None)
            if flat is not None:
                level(rates[some], modes[some].swapaxes(1, 2), flat[some])
        return rates, self._through(modes, Part.out_of) if self.whole else modes

    def _through(self, values: np.ndarray, way: Callable[[Part, np.ndarray], np.ndarray]) -> np.ndarray:
        """Values (d, k, f) of each part taken `way`, and those of the bath as they are."""
        found, begin = [], 0
        for part in self.own:
            end = begin + len(part.nodes)
            found.append(way(part, values[:, :, begin:end]))
            begin = end
        return np.concatenate([*found, values[:, :, begin:]], axis=2)

    def into(self, values: np.ndarray) -> np.ndarray:
        values = values if self.whole else self._through(values, Part.into)
        return values @ self.solved[1].swapaxes(1, 2)

    def out_of(self, amounts: np.ndarray) -> np.ndarray:
        values = amounts @ self.solved[1]
        return values if self.whole else self._through(values, Part.out_of)

    def losing(self, loss: np.ndarray) -> Part:
        if not loss.any():
            return self
        if loss[:, -1].any():
            raise ValueError("nothing is lost in a bath that parts meet in")
        every = np.split(loss, np.cumsum([len(part.nodes) for part in self.own]), axis=1)
        own = tuple(part.losing(each) for part, each in zip(self.own, every, strict=False))
        return replace(self, own=own, constant=None, source=None, kept=Kept(), memory=Kept())

    def of(self, draws: np.ndarray) -> Part:
        def source() -> tuple[np.ndarray, np.ndarray]:
            rates, modes = self.solved
            return rates[draws], modes[draws]

        own = tuple(part.of(draws) for part in self.own)
        root, total = self.root[draws], self.total[draws]
        return replace(self, own=own, root=root, total=total, source=source, kept=Kept(), memory=Kept())


def met(own: Sequence[Part], bath: np.ndarray, total: np.ndarray, place: int, stays: np.ndarray) -> Met:
    """Parts that meet in a bath of capacity (d,), node number `place`, as one part. own: each with the bath held; total (d,): all conductance to
    the bath; stays (f,): the state of these nodes, the bath last, that stays as it is.
    """
    nodes = np.array([*(n for part in own for n in part.nodes), place])
    root = np.concatenate([*(part.root for part in own), np.sqrt(bath)[:, None]], axis=1)

    def make() -> np.ndarray:
        vectors = made.into(np.eye(len(nodes)) + np.zeros((len(root), 1, 1)))
        return (vectors * made.solved[0][:, None]) @ vectors.swapaxes(1, 2)

    few = len(root) * len(nodes) ** 3 < SMALL
    made = Met(nodes, make, root, None, stays, own=tuple(own), total=total, whole=few)
    return made


def arrow(poles: np.ndarray, column: np.ndarray, corner: np.ndarray, closed: bool) -> tuple[np.ndarray, np.ndarray]:
    """(rates (d, n + 1), modes (d, n + 1, n + 1), one in each row) of the symmetric matrices with `poles` (d, n) > 0 on the diagonal, then `corner`
    (d,), and -column (d, n) beside it; none of their rates may lie below 0. closed: the smallest is 0, and its mode is left to the caller.
    """
    count, size = poles.shape
    if count * size**3 < SMALL:
        matrix = np.zeros((count, size + 1, size + 1))
        matrix[:, np.arange(size), np.arange(size)], matrix[:, -1, -1] = poles, corner
        matrix[:, -1, :-1] = -column  # the lower half is all that is read
        rates, modes = np.linalg.eigh(matrix)
        return np.maximum(rates, 0.0), modes.swapaxes(1, 2)
    order = None
    if np.any(np.diff(poles, axis=1) < 0):
        order = np.argsort(poles, axis=1)
        poles, column = np.take_along_axis(poles, order, axis=1), np.take_along_axis(column, order, axis=1)
    if np.any(np.diff(poles, axis=1) <= APART * poles[:, 1:]):
        poles = poles * (1 + APART * np.arange(size))
    least = LEAST * np.abs(column).max(axis=1, keepdims=True)
    column = np.where(np.abs(column) < least, least, column)
    rates, modes = np.zeros((count, size + 1)), np.zeros((count, size + 1, size + 1))
    _found(poles, column, corner, rates[:, int(closed) :], modes[:, int(closed) :])
    if order is not None:
        np.put_along_axis(modes[:, :, :-1], order[:, None, :], modes[:, :, :-1].copy(), axis=2)
    return rates, modes


def _found(poles: np.ndarray, column: np.ndarray, corner: np.ndarray, rates: np.ndarray, modes: np.ndarray) -> None:
    """Fills in rates (d, m) and modes (d, m, n + 1), those above the last poles."""
    weights, none = column**2, np.zeros((len(poles), 1))
    most = np.maximum(poles[:, -1:], corner[:, None]) + np.sqrt(weights.sum(axis=1, keepdims=True))
    ends, heavy = (np.concatenate(each, axis=1) for each in ((none, poles, most), (none, weights, none)))
    first = ends.shape[1] - 1 - rates.shape[1]
    left, right = ends[:, first:-1], ends[:, first + 1 :]
    before, after = heavy[:, first:-1], heavy[:, first + 1 :]
    half, beside = 0.5 * (right - left), column[:, None, :]
    number = np.arange(first - 1, ends.shape[1] - 2) + np.zeros_like(
        left, dtype=int
    )  # of the pole on the left; outermost ends are none
    value, _, _ = _others(_gaps(poles, left, number)[0], beside, left - corner[:, None], half)
    lower = value > before / half  # the zero lies nearer to the pole on its left
    origin, other = np.where(lower, left, right), np.where(lower, right - left, left - right)
    weight, x = np.where(lower, before, after), np.where(lower, half, -half)
    low, high = np.minimum(x, 0.0), np.maximum(x, 0.0)  # the zero lies between them
    whole, at = _gaps(poles, origin, np.where(lower, number, number + 1))
    base = origin - corner[:, None]
    value, slope = value - np.where(lower, 0.0, (before + after) / half), np.where(lower, after, before) / half**2
    gaps, found, owner = whole, x, None
    todo: Any = (slice(None), slice(None))
    for look in range(MOST):
        if look:
            value, slope, _ = _others(gaps, beside, base[todo], x)
            below = value < weight[todo] / x
            low[todo], high[todo] = np.where(below, x, low[todo]), np.where(below, high[todo], x)
        x, done = _nearer(x, value, slope, other[todo], weight[todo], low[todo], high[todo])
        found[todo] = x
        if done.all():
            break
        if look >= TOGETHER:
            owner = np.nonzero(~done)[0] if owner is None else owner[~done]
            todo = np.nonzero(~done) if look == TOGETHER else tuple(each[~done] for each in todo)
            x, gaps, beside = x[~done], gaps[~done], column[owner]
    _, slope, shape = _others(whole, column[:, None, :], base, found)
    shape[at] = column[at[0], at[2]] / -found[at[:2]]
    size = 1 / np.sqrt(slope + weight / found**2)
    rates[:] = origin + found
    np.multiply(shape, size[..., None], out=modes[..., :-1])
    modes[..., -1] = size


def _gaps(poles: np.ndarray, origin: np.ndarray, number: np.ndarray) -> tuple[np.ndarray, tuple]:
    """(how far each pole lies above an origin (d, m), (d, m, n), but the pole with this number (d, m), the origin itself, so far away that it counts
    for nothing; where in these that is).
    """
    found = poles[:, None, :] - origin[:, :, None]
    there = np.nonzero((number >= 0) & (number < poles.shape[1]))
    at = (*there, number[there])
    found[at] = np.inf
    return found, at


def _others(gaps: np.ndarray, column: np.ndarray, base: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, ...]:
    """(value, slope, mode but for its last entry, 1) of all poles but the origin, at x above it, which itself lies `base` above the corner."""
    shape = gaps - x[..., None]
    np.divide(column, shape, out=shape)
    column = np.broadcast_to(column, shape.shape)
    return base + x + np.einsum("...i,...i->...", shape, column), 1 + np.einsum("...i,...i->...", shape, shape), shape


def _nearer(x, value, slope, other, weight, low, high) -> tuple[np.ndarray, np.ndarray]:
    """(better x, whether that is enough): the zero of a constant and two poles, the origin with its own weight and `other`, which have the value and
    slope of all others at x; the middle between `low` and `high` where that lies outside.
    """
    far = other - x
    level, heavy = value - slope * far, slope * far**2
    turn = level * other + weight + heavy
    root = np.sqrt(np.maximum(turn**2 - 4 * level * weight * other, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        now = np.where(turn > 0, 2 * weight * other / (turn + root), (turn - root) / (2 * level))
    done = np.abs(now - x) <= ENOUGH * np.abs(x)
    inside = (now > low) & (now < high)
    return np.where(inside, now, np.where(done, x, 0.5 * (low + high))), done
