"""The assembled network: nodes with a capacity, links with a conductance, and a first-order loss where there is one.

A node holds `capacity * w`. A link carries `conductance * (w[a] - w[b])` from a to b, so a positive flux always runs from `a` to `b`:
the one sign convention of this package. `loss` takes `loss * capacity * w` out of a node for good. A node of infinite capacity is
held: its w never changes, and what it gives or takes is counted. All rates are per unit of a clock that the caller chooses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..bodies.chain import Chain


@dataclass(frozen=True)
class Network:
    """capacity (n,) > 0, inf where held; a, b (m,) node numbers and conductance (m,) >= 0 of the links; loss (n,) >= 0."""

    capacity: np.ndarray
    a: np.ndarray
    b: np.ndarray
    conductance: np.ndarray
    loss: np.ndarray

    @property
    def held(self) -> np.ndarray:
        return np.isinf(self.capacity)

    def with_loss(self, loss: np.ndarray) -> Network:
        return Network(self.capacity, self.a, self.b, self.conductance, loss)

    def laplacian(self) -> np.ndarray:
        """(n, n) symmetric matrix K with rows that sum to zero: `capacity * dw/dclock = -K w - loss * capacity * w`."""
        size = len(self.capacity)
        matrix = np.zeros((size, size))
        np.add.at(matrix, (self.a, self.b), -self.conductance)
        np.add.at(matrix, (self.b, self.a), -self.conductance)
        matrix[np.arange(size), np.arange(size)] = -matrix.sum(axis=1)
        return matrix

    def stored(self, w: np.ndarray) -> np.ndarray:
        """Amount in all nodes that are not held, for w (..., n)."""
        return np.where(self.held, 0.0, w) @ np.where(self.held, 0.0, self.capacity)


@dataclass(frozen=True)
class Contact:
    """A face of a chain against a bath: `face` 0 or 1, and the conductance per area of the layer between (inf: none)."""

    chain: int
    face: int
    bath: int
    per_area: float


def assemble(chains: list[Chain], baths: list[float], contacts: list[Contact]) -> Network:
    """Network of the chains' cells, in order, then one node for each bath capacity. Faces without a contact are closed."""
    starts = np.cumsum([0] + [len(chain.capacity) for chain in chains])
    capacity = np.concatenate([chain.capacity for chain in chains] + [np.array(baths, dtype=float)])
    a = [start + np.arange(len(chain.inner)) for start, chain in zip(starts, chains, strict=False)]
    b = [nodes + 1 for nodes in a]
    conductance = [chain.inner for chain in chains]
    for contact in contacts:
        chain = chains[contact.chain]
        a.append(np.array([starts[-1] + contact.bath]))
        b.append(np.array([starts[contact.chain] + (0, len(chain.capacity) - 1)[contact.face]]))
        conductance.append(np.array([face_conductance(chain, contact)]))
    return Network(capacity, np.concatenate(a), np.concatenate(b), np.concatenate(conductance), np.zeros(len(capacity)))


def face_conductance(chain: Chain, contact: Contact) -> float:
    """From the outermost cell centre to the bath: the half cell and the layer outside it, in series."""
    half, outside = chain.half[contact.face], contact.per_area * chain.area[contact.face]
    return half if np.isinf(outside) else half * outside / (half + outside)


def face_share(chain: Chain, contact: Contact) -> float:
    """Weight of the bath in the value at the face itself: w_face = share * w_bath + (1 - share) * w_cell."""
    half, outside = chain.half[contact.face], contact.per_area * chain.area[contact.face]
    return 1.0 if np.isinf(outside) else outside / (half + outside)
