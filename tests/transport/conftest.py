"""Networks written link by link, from which the batch of matrices that the library solves is made here, apart from the library."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from curelab.transport.network import Network


@dataclass(frozen=True)
class Links:
    """capacity (n,), inf for the last where it is held; links from a to b; loss (n,)."""

    capacity: np.ndarray
    a: np.ndarray
    b: np.ndarray
    conductance: np.ndarray
    loss: np.ndarray

    @property
    def free(self) -> np.ndarray:
        return np.isfinite(self.capacity)

    @property
    def laplacian(self) -> np.ndarray:
        size = len(self.capacity)
        made = np.zeros((size, size))
        for a, b, conductance in zip(self.a, self.b, self.conductance, strict=True):
            made[a, a] += conductance
            made[b, b] += conductance
            made[a, b] -= conductance
            made[b, a] -= conductance
        return made

    @property
    def generator(self) -> np.ndarray:
        """dw/dclock = generator @ w, written from the definition, link by link."""
        size = len(self.capacity)
        result = np.zeros((size, size))
        for a, b, conductance in zip(self.a, self.b, self.conductance, strict=True):
            for here, there in ((a, b), (b, a)):
                if self.free[here]:
                    result[here, here] -= conductance / self.capacity[here]
                    result[here, there] += conductance / self.capacity[here]
        return result - np.diag(np.where(self.free, self.loss, 0.0))


def batch_of(*several: Links) -> Network:
    """Networks with the same nodes as one batch; any nodes may be linked."""
    size = len(several[0].capacity)
    loss = np.array([each.loss for each in several])
    return Network(
        np.array([each.capacity for each in several]), np.array([each.laplacian for each in several]), np.ones(size),
        tuple(np.array([node]) for node in range(size - 1)), loss if loss.any() else None,
    )  # fmt: skip


@pytest.fixture(scope="session")
def links():
    return Links


@pytest.fixture(scope="session")
def batch():
    return batch_of
