"""Modes of many networks at once: the same nodes and links, other capacities, conductances and losses in each.

`Modes` solves one network; a `Stack` solves a sheaf of them, draw by draw along the first axis, with one call to a
batched symmetric eigensolver. Where the networks differ only in pace (every capacity and every conductance in
proportion, one loss for all nodes) they share one basis, and one eigenproblem serves them all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

ALIKE = 1e-12  # relative; networks in proportion to within this share a basis


@dataclass(frozen=True)
class Stack:
    """Modes of d networks of n nodes; make it with `stack_of`.

    rates (d, m): per unit clock; shapes, weights (d or 1, f, m): as in `Modes`, for the f nodes that are not held;
    feed (d, f): conductance from the held node, the last of the n, to each of the others; None: no node is held.
    """

    rates: np.ndarray
    shapes: np.ndarray
    weights: np.ndarray
    feed: np.ndarray | None = None

    def at(self, start: np.ndarray, clock: np.ndarray, rows: np.ndarray | None = None) -> np.ndarray:
        """States (d, s, t, n) of s solutes that begin as start (d, s, n), at clock readings (d, s, t) >= 0.

        `rows` (k, n) or (d, k, n): sums over the nodes to return instead, (d, s, t, k). Values below zero by rounding
        are cut. Raises ArithmeticError if more than rounding would have to be cut.
        """
        parts = self._decayed(start, clock)
        last = None if self.feed is None else start[..., -1]
        if rows is None:
            states = _spread(parts, self.shapes)
            if last is not None:
                held = np.broadcast_to(last[..., None, None], (*states.shape[:3], 1))
                states = np.concatenate([states, held], axis=-1)
            low = states.min(initial=0.0)
            if low < 0.0:
                scale = np.abs(start).max()
                if low < -1e-9 * scale and start.min() >= 0.0:
                    raise ArithmeticError(f"a value of {low:.3g} came out below zero (scale {scale:.3g})")
                if start.min() >= 0.0:
                    np.maximum(states, 0.0, out=states)
            return states
        free = rows if last is None else rows[..., :-1]
        states = _spread(parts, free @ self.shapes)
        if last is None:
            return states
        share = rows[..., -1] if rows.ndim == 2 else rows[:, None, None, :, -1]
        return states + last[..., None, None] * share

    def supplied(self, start: np.ndarray, clock: np.ndarray) -> np.ndarray:
        """Amount (d, s, t) that the held node has given to the others; zero when no node is held."""
        if self.feed is None:
            return np.zeros(clock.shape)
        rates, tau = self.rates[:, None, None, :], clock[..., None]
        safe = np.where(rates > 0, rates, 1.0)
        phi = np.where(rates > 0, -np.expm1(-rates * tau) / safe, tau)
        slow = rates * tau < 1e-5
        psi = np.where(slow, 0.5 * tau**2 * (1 - rates * tau / 3), (tau - phi) / safe)
        amounts = (start[..., :-1] @ self.weights)[:, :, None, :] * phi + self._source(start)[:, :, None, :] * psi
        integral = _spread(amounts, self.shapes)
        given = start[..., -1] * self.feed.sum(axis=1)[:, None]
        return given[..., None] * clock - (integral @ self.feed[:, None, :, None])[..., 0]

    def renumbered(self, order: np.ndarray) -> Stack:
        """The modes of the same networks when node k is the one that was number order[k] (the held one stays last)."""
        free = order if self.feed is None else order[:-1]
        feed = None if self.feed is None else self.feed[:, free]
        return replace(self, shapes=self.shapes[:, free], weights=self.weights[:, free], feed=feed)

    def of(self, draws: np.ndarray) -> Stack:
        """The stack of some of the networks."""
        feed = None if self.feed is None else self.feed[draws]
        if len(self.shapes) == 1 and len(self.rates) > 1:
            return Stack(self.rates[draws], self.shapes, self.weights, feed)
        return Stack(self.rates[draws], self.shapes[draws], self.weights[draws], feed)

    def _decayed(self, start, clock):
        free = start if self.feed is None else start[..., :-1]
        decay = self.rates[:, None, None, :] * -clock[..., None]
        if self.feed is not None:
            rates = np.where(self.rates > 0, self.rates, 1.0)[:, None, None, :]
            phi = np.where(self.rates[:, None, None, :] > 0, -np.expm1(decay) / rates, clock[..., None])
        np.exp(decay, out=decay)
        decay *= (free @ self.weights)[:, :, None, :]
        return decay if self.feed is None else decay + self._source(start)[:, :, None, :] * phi

    def _source(self, start):
        assert self.feed is not None
        return (start[..., -1:] * self.feed[:, None, :]) @ self.shapes


def _spread(parts: np.ndarray, shapes: np.ndarray) -> np.ndarray:
    """(d, s, t, k) from parts (d, s, t, m) and shapes (d or 1, k, m), in one product for each draw, or one for all."""
    d, s, t, m = parts.shape
    if len(shapes) == 1:
        return (parts.reshape(-1, m) @ shapes[0].T).reshape(d, s, t, -1)
    return (parts.reshape(d, s * t, m) @ shapes.swapaxes(1, 2)).reshape(d, s, t, -1)


def stack_of(
    capacity: np.ndarray,
    a: np.ndarray,
    b: np.ndarray,
    conductance: np.ndarray,
    loss: np.ndarray | None = None,
    mirror: np.ndarray | None = None,
) -> Stack:
    """Solve connected networks: capacity (d, n) > 0, the last node inf in all where it is held; a, b (m,) the ends of
    the links, no pair twice; conductance (d, m) > 0; loss (d, n) >= 0 per unit clock. `mirror` (n,): if every network stays the
    same when node k and node mirror[k] change places, the order that says so; it halves the problem.

    Cost: one eigenproblem of n nodes for each draw (25 nodes: 0.05 ms), or one for all where only the pace differs.
    """
    held = bool(np.isinf(capacity[0, -1]))
    free = capacity.shape[1] - held
    loss = None if loss is None or not loss.any() else loss
    shift = np.zeros(len(capacity)) if loss is None else loss[:, 0]
    even = loss is None or bool(np.all(np.ptp(loss, axis=1) <= ALIKE * np.abs(shift)))
    pace = _pace(capacity, conductance) if even and not held else None
    if pace is not None:
        rates, vectors, root = _solved(capacity[:1], a, b, conductance[:1], None, free)
        return Stack(rates * pace[:, None] + shift[:, None], vectors / root[..., None], vectors * root[..., None])
    rates, vectors, root = _solved(capacity, a, b, conductance, loss, free, mirror)
    feed = None
    if held:
        feed = np.zeros((len(capacity), free))
        for link in np.flatnonzero((a == free) | (b == free)):
            feed[:, a[link] if b[link] == free else b[link]] += conductance[:, link]
    return Stack(rates, vectors / root[..., None], vectors * root[..., None], feed)


def _pace(capacity: np.ndarray, conductance: np.ndarray) -> np.ndarray | None:
    """(d,) pace of each network over that of the first, if pace is all that differs."""
    stored, led = capacity / capacity[0], conductance / conductance[0]
    if np.any(np.ptp(stored, axis=1) > ALIKE * stored[:, 0]) or np.any(np.ptp(led, axis=1) > ALIKE * led[:, 0]):
        return None
    return led[:, 0] / stored[:, 0]


def _folded(matrix: np.ndarray, mirror: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Modes of matrices (d, n, n) that stay the same when node k and node mirror[k] change places: even modes first, then
    odd ones. Two problems of half the size cost a quarter of one.
    """
    alone = np.flatnonzero(mirror == np.arange(len(mirror)))
    left = np.flatnonzero(np.arange(len(mirror)) < mirror)
    right = mirror[left]
    same, cross = matrix[:, left[:, None], left], matrix[:, left[:, None], right]
    to_alone = np.sqrt(2.0) * matrix[:, left[:, None], alone]
    inner = matrix[:, alone[:, None], alone]
    even = np.concatenate(
        [np.concatenate([same + cross, to_alone], axis=2), np.concatenate([to_alone.swapaxes(1, 2), inner], axis=2)],
        axis=1,
    )
    (even_rates, u), (odd_rates, v) = np.linalg.eigh(even), np.linalg.eigh(same - cross)
    half, count = len(left), even.shape[1]
    vectors = np.zeros(matrix.shape)
    vectors[:, left, :count] = vectors[:, right, :count] = u[:, :half] / np.sqrt(2.0)
    vectors[:, alone, :count] = u[:, half:]
    vectors[:, left, count:] = v / np.sqrt(2.0)
    vectors[:, right, count:] = -v / np.sqrt(2.0)
    return np.concatenate([even_rates, odd_rates], axis=1), vectors


def _solved(capacity, a, b, conductance, loss, free, mirror=None):
    size = capacity.shape[1]
    matrix = np.zeros((len(capacity), size, size))
    matrix[:, a, b] = matrix[:, b, a] = -conductance
    inside = np.arange(free)
    total = -matrix.sum(axis=2)[:, :free]
    matrix = matrix[:, :free, :free]
    matrix[:, inside, inside] = total
    root = np.sqrt(capacity[:, :free])
    matrix = matrix / root[:, :, None] / root[:, None, :]
    if loss is not None:
        matrix[:, inside, inside] += loss[:, :free]
    rates, vectors = np.linalg.eigh(matrix) if mirror is None else _folded(matrix, mirror[:free])
    np.maximum(rates, 0.0, out=rates)
    if loss is None and free == size:
        # Nothing leaves, so the slowest mode is known without arithmetic: equilibrium, kept exactly.
        constant = root / np.linalg.norm(root, axis=1, keepdims=True)
        rates[:, 0] = 0.0
        vectors[:, :, 0] = constant
        overlap = constant[:, None, :] @ vectors[:, :, 1:]
        vectors[:, :, 1:] -= constant[:, :, None] * overlap
    return rates, vectors, root
