"""Exact evolution of a linear network: no time steps, any output times, one symmetric eigenproblem.

With C the capacities and K the Laplacian, y = C^(1/2) w obeys y' = -(C^(-1/2) K C^(-1/2) + loss) y + source, whose matrix is
symmetric: its modes decay independently and are evaluated at any clock reading. What only rounding would spoil is put right
explicitly: a closed part of the network conserves its amount exactly, because its constant mode is known in advance.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from .network import Network

REMEMBERED = 48  # networks; two pieces that lie in a vessel take about 1 MB each
_DEAD = -600.0  # exp of less is as good as zero, but as a denormal number it would slow everything that touches it


@dataclass(frozen=True)
class Modes:
    """Modes of a network; make it with `modes_of`.

    rates (m,) >= 0; shapes (f, m): value of each mode at the free nodes; weights (f, m): projection of a state on the modes.
    """

    network: Network
    rates: np.ndarray
    shapes: np.ndarray
    weights: np.ndarray
    feed: np.ndarray  # (h, f): conductance from each held node to each free node
    free: np.ndarray
    held: np.ndarray

    def at(self, start: np.ndarray, clock: np.ndarray) -> np.ndarray:
        """States (s, t, n) of s independent solutes that begin as start (s, n), at clock readings (s, t) >= 0.

        Held nodes keep their value in `start`. Values are never negative for a start that is not: negative rounding is cut.
        Raises ArithmeticError if more than rounding would have to be cut.
        """
        now = self._now(self.begin(start), clock)
        if len(self.held):
            states = np.empty((*clock.shape, len(self.network.capacity)))
            states[..., self.free] = now @ self.shapes.T
            states[..., self.held] = start[:, None, self.held]
        else:
            states = (now.reshape(-1, len(self.rates)) @ self.shapes.T).reshape(*clock.shape, -1)
        lowest = states.min(initial=0.0)
        if lowest < 0.0 and start.min() >= 0.0:
            if lowest < -1e-9 * start.max() - 1e-290:  # the second part: a few denormal numbers have no tenth digit
                raise ArithmeticError(f"a value of {lowest:.3g} came out below zero (scale {start.max():.3g})")
            np.maximum(states, 0.0, out=states)
        return states

    def _now(self, begun: tuple, clock: np.ndarray) -> np.ndarray:
        """Modal amounts (s, t, m) at clock readings (s, t)."""
        amounts, source, _ = begun
        now = np.multiply.outer(clock, -self.rates)
        np.maximum(now, _DEAD, out=now)
        np.exp(now, out=now)
        now *= amounts[:, None, :]
        if source is not None:
            now += source[:, None, :] * self._phi(clock)
        return now

    def begin(self, start: np.ndarray) -> tuple[np.ndarray, np.ndarray | None, np.ndarray]:
        """What `read` needs of a start (s, n), computed once: modal amounts, modal source, held values."""
        return self._amounts(start), self._source(start), start[:, self.held]

    def onto(self, columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What `read` needs of readings that are weighted sums of node values, columns (n, k), computed once."""
        return self.shapes.T @ columns[self.free], columns[self.held]

    def read(self, begun: tuple, clock: np.ndarray, onto: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        """The readings `at(start, clock) @ columns`, (s, t, k), without the states: cost grows with k instead of n."""
        result = self._now(begun, clock) @ onto[0]
        return result + (begun[2] @ onto[1])[:, None, :] if len(self.held) else result

    def renumbered(self, order: np.ndarray, network: Network) -> Modes:
        """The modes of `network`, which is this one with its node i standing where node order[i] stands here: no new eigenproblem."""
        place = np.searchsorted(self.free, order[self.free])
        return Modes(
            network, self.rates, self.shapes[place], self.weights[place], self.feed[:, place], self.free, self.held
        )

    def integral(self, start: np.ndarray, clock: np.ndarray) -> np.ndarray:
        """Integral (s, t, n) of the states over the clock from 0, exact; the loss and the supply are counted from it."""
        phi = self._phi(clock)
        amounts = self._amounts(start)[:, None, :] * phi
        source = self._source(start)
        if source is not None:
            tau = np.broadcast_to(clock[..., None], phi.shape)
            slow = self.rates * tau < 1e-5
            rates = np.where(self.rates > 0, self.rates, 1.0)
            amounts += source[:, None, :] * np.where(
                slow, 0.5 * tau**2 * (1 - self.rates * tau / 3), (tau - phi) / rates
            )
        result = np.empty((*clock.shape, len(self.network.capacity)))
        result[..., self.free] = amounts @ self.shapes.T
        if len(self.held):
            result[..., self.held] = start[:, None, self.held] * clock[..., None]
        return result

    def lost(self, integral: np.ndarray) -> np.ndarray:
        """Amount (s, t) that the first-order loss has taken, from `integral`."""
        rate = np.where(
            self.network.held, 0.0, self.network.loss * np.where(self.network.held, 0.0, self.network.capacity)
        )
        return integral @ rate

    def supplied(self, integral: np.ndarray) -> np.ndarray:
        """Amount (s, t) that held nodes have given to the others (negative: taken), from `integral`."""
        if not len(self.held):
            return np.zeros(integral.shape[:2])
        outflow = integral[..., self.held] @ self.feed.sum(axis=1)
        return outflow - integral[..., self.free] @ self.feed.sum(axis=0)

    @cached_property
    def slowest(self) -> float:
        """The smallest rate above zero: the long-time approach to equilibrium, per unit clock."""
        return float(self.rates[self.rates > 1e-12 * self.rates.max()].min())

    def _amounts(self, start):
        return start[:, self.free] @ self.weights

    def _source(self, start):
        return (start[:, self.held] @ self.feed) @ self.shapes if len(self.held) else None

    def _phi(self, clock):
        """Integral of exp(-rate * c) for c from 0 to the clock, smooth through rate = 0."""
        tau = clock[..., None]
        rates = np.where(self.rates > 0, self.rates, 1.0)
        return np.where(self.rates > 0, -np.expm1(-self.rates * tau) / rates, tau)


def modes_of(network: Network) -> Modes:
    """Solve the eigenproblem of `network`. Cost grows with the cube of the number of free nodes (60: about 0.3 ms).

    The last networks are remembered by their content, because stages, waters and the positions of a slider often repeat one;
    `modes_of.cache_clear()` forgets them.
    """
    return _solved(_Content(network))


class _Content:
    """A network that is equal to another when all its numbers are."""

    def __init__(self, network: Network):
        self.network = network
        parts = (network.capacity, network.a, network.b, network.conductance, network.loss)
        self.key = b"|".join(part.tobytes() for part in parts)

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Content) and self.key == other.key


@lru_cache(maxsize=REMEMBERED)
def _solved(content: _Content) -> Modes:
    network = content.network
    held = network.held
    free = np.flatnonzero(~held)
    laplacian = network.laplacian()
    root = np.sqrt(network.capacity[free])
    matrix = laplacian[np.ix_(free, free)] / np.outer(root, root)
    matrix[np.diag_indices_from(matrix)] += network.loss[free]
    rates, vectors = np.linalg.eigh(matrix)
    rates = np.maximum(rates, 0.0)
    for number, constant in enumerate(_constant_modes(network, free, root, rates)):
        rates[number] = 0.0
        vectors[:, number] = constant
        vectors[:, number + 1 :] -= np.outer(constant, constant @ vectors[:, number + 1 :])
    return Modes(
        network,
        rates,
        vectors / root[:, None],
        vectors * root[:, None],
        -laplacian[np.ix_(np.flatnonzero(held), free)],
        free,
        np.flatnonzero(held),
    )


modes_of.cache_clear = _solved.cache_clear  # type: ignore[attr-defined]


def _constant_modes(network: Network, free: np.ndarray, root: np.ndarray, rates: np.ndarray) -> list[np.ndarray]:
    """One unit vector for every part of the network that nothing leaves: its equilibrium, known without arithmetic."""
    nearly_zero = np.count_nonzero(rates <= 1e-12 * rates[-1])
    if not nearly_zero:
        return []
    if nearly_zero == 1 and len(free) == len(network.capacity) and not network.loss.any():
        return [root / np.linalg.norm(root)]  # one closed part: the usual case needs no search for parts
    part = _parts(network)
    leaky = set(part[network.held | (network.loss > 0)].tolist())
    result = []
    for number in sorted(set(part.tolist()) - leaky):
        inside = part[free] == number
        vector = np.where(inside, root, 0.0)
        result.append(vector / np.linalg.norm(vector))
    return result


def _parts(network: Network) -> np.ndarray:
    """(n,) the same number for nodes that links connect: the lowest node of each part. (A sparse-graph library costs more to call.)"""
    leader = list(range(len(network.capacity)))

    def find(node: int) -> int:
        while leader[node] != node:
            leader[node] = node = leader[leader[node]]
        return node

    for a, b, conductance in zip(network.a.tolist(), network.b.tolist(), network.conductance.tolist(), strict=True):
        if conductance > 0:
            one, other = find(a), find(b)
            leader[max(one, other)] = min(one, other)
    return np.array([find(node) for node in range(len(leader))])
