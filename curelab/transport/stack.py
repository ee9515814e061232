"""Modes of many networks at once: the same nodes and links, other capacities, conductances and losses in each.

`Modes` solves one network; a `Stack` solves a batch of them, draw by draw along the first axis. Nodes that nothing couples in any
draw fall into parts that are solved alone, with one call to a batched symmetric eigensolver, and only when something in them moves.
A part whose networks differ only in pace shares one basis, and one eigenproblem serves them all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

ALIKE = 1e-12  # relative; matrices in proportion to within this share a basis
MOST_KEPT = 8
UNCOUPLED = 1e-13  # of the largest entry; what is smaller is rounding


@dataclass(frozen=True)
class Part:
    """Nodes that are coupled to each other and to no others, f of them, in every draw.

    matrix (d, f, f): symmetric; root (d, f): square root of the capacities; feed (d, f): conductance from the held node, None where
    there is none; constant (f,): the state that stays as it is when nothing enters or leaves, None where something does; source: makes
    `solved` out of that of a part which differs by a sign or a shift alone, None where there is no such part.
    """

    nodes: np.ndarray
    matrix: np.ndarray
    root: np.ndarray
    feed: np.ndarray | None
    constant: np.ndarray | None
    source: Callable[[], tuple[np.ndarray, np.ndarray]] | None = None
    kept: dict = field(default_factory=dict, compare=False, repr=False)  # shapes of the rows last asked for

    @cached_property
    def solved(self) -> tuple[np.ndarray, np.ndarray]:
        """rates (d, m), vectors (d or 1, f, m)."""
        if self.source is not None:
            return self.source()
        pace = self._pace()
        rates, vectors = np.linalg.eigh(self.matrix if pace is None else self.matrix[:1])
        if pace is not None:
            rates = rates * pace[:, None]
        rates = np.maximum(rates, 0.0)
        if self.constant is not None:
            # Nothing leaves, so the slowest mode is known without arithmetic: equilibrium, kept exactly.
            flat = self.constant * (self.root if pace is None else self.root[:1])
            flat = flat / np.linalg.norm(flat, axis=1, keepdims=True)
            rates[:, 0] = 0.0
            vectors[:, :, 0] = flat
            vectors[:, :, 1:] -= flat[:, :, None] * (flat[:, None, :] @ vectors[:, :, 1:])
        return rates, vectors

    @cached_property
    def inside(self) -> np.ndarray:
        """(d, f, m) value of each mode at the nodes."""
        return self.solved[1] / self.root[:, :, None]

    def _pace(self) -> np.ndarray | None:
        """(d,) pace of each network over that of the first, if pace is all that differs."""
        if len(self.matrix) == 1 or np.ptp(self.root / self.root[:, :1], axis=0).max() > ALIKE:
            return None
        size = np.abs(self.matrix[0]).max()
        if size == 0:
            return None
        pace = np.einsum("dij,ij->d", self.matrix, self.matrix[0]) / (self.matrix[0] ** 2).sum()
        gap = np.abs(self.matrix - pace[:, None, None] * self.matrix[0]).max(axis=(1, 2))
        return pace if np.all(gap <= ALIKE * size * np.abs(pace)) else None

    def amounts(self, start: np.ndarray) -> np.ndarray:
        """Modal amounts (d, s, m) of a start (d, s, f)."""
        return (start * self.root[:, None, :]) @ self.solved[1]

    def shapes(self, rows: np.ndarray) -> np.ndarray:
        """What each mode adds to sums `rows` (k, f) or (d, k, f) over the nodes: (d, k, m)."""
        key = rows.tobytes()
        if key not in self.kept:  # one solute after the other is asked for the same sums
            if len(self.kept) >= MOST_KEPT:
                self.kept.clear()
            self.kept[key] = rows @ self.inside
        return self.kept[key]

    def at(self, start: np.ndarray, clock: np.ndarray, held: np.ndarray | None, rows: np.ndarray | None) -> np.ndarray:
        """(d, s, t, k) sums over the nodes, or all nodes, of a start (d, s, f), with the held node at `held` (d, s)."""
        now = self._evolved(
            self.amounts(start)[:, :, None, :], clock, None if held is None else self._source(held)[:, :, None, :]
        )
        d, s, t, m = now.shape
        return self._summed(now.reshape(d, s * t, m), rows).reshape(d, s, t, -1)

    def along(self, amounts, owner, clock, held, rows) -> np.ndarray:
        """(d, t, k) as `Stack.along`, from modal amounts (d, g, m) of the starts; held (d, t)."""
        d, g, m = amounts.shape
        begun = amounts.reshape(d * g, m).take(owner + g * np.arange(d)[:, None], axis=0)
        return self._summed(self._evolved(begun, clock, None if held is None else self._source(held)), rows)

    def _evolved(self, amounts: np.ndarray, clock: np.ndarray, source: np.ndarray | None) -> np.ndarray:
        """Modal amounts (d, ..., m) at clock readings (d, ...), of amounts and a modal source that broadcast with them."""
        rates = self.solved[0].reshape(len(clock), *(1,) * (clock.ndim - 1), -1)
        now = rates * -clock[..., None]
        fed = None
        if source is not None:
            phi = np.where(rates > 0, -np.expm1(now) / np.where(rates > 0, rates, 1.0), clock[..., None])
            fed = source * phi
        np.exp(now, out=now)
        now *= amounts
        return now if fed is None else now + fed

    def _summed(self, now: np.ndarray, rows: np.ndarray | None) -> np.ndarray:
        """(d, t, k) sums over the nodes, or all nodes, of modal amounts (d, t, m)."""
        if rows is None:
            return now @ self.inside.swapaxes(1, 2)
        return now @ self.shapes(rows).swapaxes(1, 2)

    def _source(self, held: np.ndarray) -> np.ndarray:
        """What the held node at `held` (d, s) feeds into each mode, (d, s, m)."""
        assert self.feed is not None  # parts have a feed wherever a node is held
        return held[..., None] * (self.feed[:, None, :] @ self.inside)

    def given(self, start: np.ndarray, clock: np.ndarray, held: np.ndarray) -> np.ndarray:
        """(d, s, t) what the nodes have sent back along the feed."""
        rates = self.solved[0][:, None, None, :]
        tau = clock[..., None]
        safe = np.where(rates > 0, rates, 1.0)
        phi = np.where(rates > 0, -np.expm1(-rates * tau) / safe, tau)
        slow = rates * tau < 1e-5
        psi = np.where(slow, 0.5 * tau**2 * (1 - rates * tau / 3), (tau - phi) / safe)
        assert self.feed is not None
        integral = self.amounts(start)[:, :, None, :] * phi + self._source(held)[:, :, None, :] * psi
        return (integral @ self.shapes(self.feed[:, None, :])[:, 0, :, None][:, None])[..., 0]

    def flipped(self, sign: np.ndarray) -> Part:
        mine = sign[self.nodes]
        feed = None if self.feed is None else self.feed * mine
        return Part(
            self.nodes, self.matrix * np.outer(mine, mine), self.root, feed, self.constant,
            lambda: (self.solved[0], self.solved[1] * mine[:, None]),
        )  # fmt: skip

    def losing(self, loss: np.ndarray) -> Part:
        """The same nodes with a loss (d, f) >= 0, which takes from all states: none stays."""
        if not loss.any():
            return self
        alike = np.ptp(loss, axis=1).max() <= ALIKE * loss.max()
        return Part(
            self.nodes, self.matrix + loss[:, :, None] * np.eye(len(self.nodes)), self.root, self.feed, None,
            (lambda: (self.solved[0] + loss[:, :1], self.solved[1])) if alike else None,
        )  # fmt: skip

    def of(self, draws: np.ndarray) -> Part:
        def source() -> tuple[np.ndarray, np.ndarray]:
            rates, vectors = self.solved
            return rates[draws], vectors if len(vectors) == 1 else vectors[draws]

        feed = None if self.feed is None else self.feed[draws]
        return Part(self.nodes, self.matrix[draws], self.root[draws], feed, self.constant, source)


@dataclass(frozen=True)
class Stack:
    """Modes of d networks of `size` nodes; make it with `stack_of`. drain (d,): all that leaves the held node, per unit of its w;
    None: no node is held.
    """

    size: int
    parts: tuple[Part, ...]
    drain: np.ndarray | None = None

    def at(self, start: np.ndarray, clock: np.ndarray, rows: np.ndarray | None = None) -> np.ndarray:
        """States (d, s, t, n) of s solutes that begin as start (d, s, n), at clock readings (d, s, t) >= 0.

        `rows` (k, n) or (d, k, n): sums over the nodes to return instead, (d, s, t, k).
        """
        width = self.size if rows is None else rows.shape[-2]
        held = None if self.drain is None else start[..., -1]
        result = np.zeros((*clock.shape, width))
        for part in self._moving(start, held):
            mine = None if rows is None else rows[..., part.nodes]
            if mine is not None and not mine.any():
                continue
            found = part.at(start[..., part.nodes], clock, held, mine)
            if rows is None:
                result[..., part.nodes] = found
            elif len(self.parts) == 1:
                result = found
            else:
                result += found
        if held is not None:
            if rows is None:
                result[..., -1] = held[..., None]
            else:
                share = rows[..., -1] if rows.ndim == 2 else rows[:, None, None, :, -1]
                result = result + held[..., None, None] * share
        return result

    def along(
        self, starts: np.ndarray, owner: np.ndarray | None, clock: np.ndarray, rows: np.ndarray | None, kept: dict
    ) -> np.ndarray:
        """States (d, t, n), or sums `rows` (d, t, k), of one solute that sets out again and again on the same networks: starts (d, g, n);
        owner (d, t): from which of them each clock reading (d, t) counts, None where there is one. `kept`: the modal amounts of these
        starts, part by part, filled at the first reading and used at the next.
        """
        if owner is None:
            return self.at(starts, clock[:, None], rows)[:, 0]
        result = np.zeros((*clock.shape, self.size if rows is None else rows.shape[-2]))
        held = None if self.drain is None else np.take_along_axis(starts[..., -1], owner, axis=1)
        for part in self._moving(starts, None if held is None else starts[..., -1]):
            mine = None if rows is None else rows[..., part.nodes]
            if mine is not None and not mine.any():
                continue
            if int(part.nodes[0]) not in kept:
                kept[int(part.nodes[0])] = part.amounts(starts[..., part.nodes])
            found = part.along(kept[int(part.nodes[0])], owner, clock, held, mine)
            if rows is None:
                result[..., part.nodes] = found
            else:
                result += found
        if held is not None:
            if rows is None:
                result[..., -1] = held
            else:
                result += held[..., None] * (rows[..., -1] if rows.ndim == 2 else rows[:, None, :, -1])
        return result

    def _moving(self, start, held) -> Iterator[Part]:
        """The parts in which there is anything."""
        for part in self.parts:
            fed = held is not None and part.feed is not None and part.feed.any() and held.any()
            if fed or start[..., part.nodes].any():
                yield part

    def supplied(self, start: np.ndarray, clock: np.ndarray) -> np.ndarray:
        """Amount (d, s, t) that the held node has given to the others; zero when no node is held."""
        if self.drain is None:
            return np.zeros(clock.shape)
        held = start[..., -1]
        given = (held * self.drain[:, None])[..., None] * clock
        for part in self._moving(start, held):
            if part.feed is not None:
                given = given - part.given(start[..., part.nodes], clock, held)
        return given

    def flipped(self, sign: np.ndarray) -> Stack:
        """The stack of the networks in which the nodes with sign -1 count the other way round."""
        return Stack(self.size, tuple(part.flipped(sign) for part in self.parts), self.drain)

    def losing(self, loss: np.ndarray) -> Stack:
        """The stack of the networks with a loss (d, n) >= 0: what loses alike everywhere in a part keeps its modes."""
        return replace(self, parts=tuple(part.losing(loss[:, part.nodes]) for part in self.parts))

    def of(self, draws: np.ndarray) -> Stack:
        """The stack of some of the networks."""
        drain = None if self.drain is None else self.drain[draws]
        return Stack(self.size, tuple(part.of(draws) for part in self.parts), drain)


def stack_of(
    capacity: np.ndarray, laplacian: np.ndarray, constant: np.ndarray, loss: np.ndarray | None = None
) -> Stack:
    """Networks as `capacity * dw/dclock = -laplacian @ w - loss * capacity * w`: capacity (d, n) > 0, the last inf in all draws where
    that node is held; laplacian (d, n, n) symmetric, `laplacian @ constant` = 0; loss (d, n) >= 0 or None.

    `constant` (n,) is the state of equilibrium: all ones where nodes are cells, the average where they are terms.
    """
    held = bool(np.isinf(capacity[0, -1]))
    free = capacity.shape[1] - held
    root = np.sqrt(capacity[:, :free])
    matrix = laplacian[:, :free, :free] / root[:, :, None] / root[:, None, :]
    feed = -laplacian[:, -1, :free] if held else None
    parts = []
    for nodes in _coupled(matrix):
        inside = matrix[:, nodes[:, None], nodes]
        fed = None if feed is None else feed[:, nodes]
        # A part that is fed has no state of its own that stays.
        stays = (fed is None or not fed.any()) and constant[nodes].any()
        parts.append(Part(nodes, inside, root[:, nodes], fed, constant[nodes] if stays else None))
    stack = Stack(capacity.shape[1], tuple(parts), laplacian[:, -1, -1] if held else None)
    return stack if loss is None else stack.losing(loss)


def _coupled(matrix: np.ndarray) -> list[np.ndarray]:
    """Node numbers of each part."""
    from scipy.sparse.csgraph import connected_components

    met = np.abs(matrix).max(axis=0)
    count, part = connected_components(met > UNCOUPLED * met.max(), directed=False)
    return [np.flatnonzero(part == number) for number in range(count)]
