"""A batch of networks with the same nodes: what each stores, how they are linked, and a first-order loss where there is one.

A node holds `capacity * w`. A link carries `conductance * (w[a] - w[b])` from a to b: the one sign convention of this package, kept by a
Laplacian whose rows vanish on the state of equilibrium. `loss` takes `loss * capacity * w` out of a node for good. The last node is the
bath; where its capacity is infinite it is held: its w never changes, and what it gives or takes is counted. All rates are per unit of a
clock that the caller chooses.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np


@dataclass(frozen=True, eq=False)
class Part:
    """Nodes that are linked among themselves: capacity (d, r), stiffness (d, r, r), equilibrium (r,): the state of which w is 1
    everywhere; sign (r,): parity of each node, None for none: nodes of unlike parity are not linked inside a part. inner: the stiffness, or
    what makes it, because it is large. shared: what is common to this part and to all that are in proportion to it, contacts included; None:
    nothing is.
    """

    capacity: np.ndarray
    inner: np.ndarray | Callable[[], np.ndarray]
    equilibrium: np.ndarray
    sign: np.ndarray | None = None
    shared: dict | None = None

    @property
    def stiffness(self) -> np.ndarray:
        return self.inner() if callable(self.inner) else self.inner


@dataclass(frozen=True, eq=False)
class Contact:
    """What links a part to the bath: matrix (d, r, r) on its nodes, column (d, r) to the bath, and total (d,) of all its conductance. linked: the
    matrix, or what makes it. kind: of the same kind is what links a part in proportion, in the same proportion; None: nothing is.
    """

    part: int
    linked: np.ndarray | Callable[[], np.ndarray]
    column: np.ndarray
    total: np.ndarray
    kind: Hashable = None

    @property
    def matrix(self) -> np.ndarray:
        return self.linked() if callable(self.linked) else self.linked


@dataclass(frozen=True, eq=False)
class Network:
    """d networks of n nodes, the bath last: capacity (d, n) > 0, laplacian (d, n, n), equilibrium (n,), loss (d, n) >= 0 or None; blocks:
    nodes that may be linked to each other, the bath in none.
    """

    capacity: np.ndarray
    laplacian: np.ndarray
    equilibrium: np.ndarray
    blocks: tuple[np.ndarray, ...]
    loss: np.ndarray | None = None

    @property
    def held(self) -> bool:
        """Whether the bath is held."""
        return bool(np.isinf(self.capacity[0, -1]))


def assemble(parts: Sequence[Part], bath: np.ndarray, contacts: Sequence[Contact]) -> Network:
    """Parts in one bath of capacity (d,), inf where it is held. A part without a contact is closed."""
    count = len(bath)
    starts = np.cumsum([0] + [len(part.equilibrium) for part in parts])
    size = int(starts[-1]) + 1
    laplacian = np.zeros((count, size, size))
    slices = [slice(int(a), int(b)) for a, b in pairwise(starts)]
    for nodes, part in zip(slices, parts, strict=True):
        laplacian[:, nodes, nodes] = part.stiffness
    for contact in contacts:
        nodes = slices[contact.part]
        laplacian[:, nodes, nodes] += contact.matrix
        laplacian[:, nodes, -1] -= contact.column
        laplacian[:, -1, nodes] -= contact.column
        laplacian[:, -1, -1] += contact.total
    capacity = np.empty((count, size))
    for nodes, part in zip(slices, parts, strict=True):
        capacity[:, nodes] = part.capacity
    capacity[:, -1] = bath
    blocks = []
    for nodes, part in zip(slices, parts, strict=True):
        numbers = np.arange(nodes.start, nodes.stop)
        sides = [numbers] if part.sign is None else [numbers[part.sign > 0], numbers[part.sign < 0]]
        blocks += [side for side in sides if len(side)]
    equilibrium = np.concatenate([*[part.equilibrium for part in parts], [1.0]])
    return Network(capacity, laplacian, equilibrium, tuple(blocks))
