"""Sums over the nodes of a network: which values are wanted, without writing down the many nodes that do not count."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Rows:
    """k sums over `size` nodes. inner (k, r) or (d, k, r): over the nodes from `begin` on, one after the other; bath (k,) or (d, k): share
    of the last node, None: none.
    """

    size: int
    inner: np.ndarray
    begin: int = 0
    bath: np.ndarray | None = None

    @classmethod
    def of(cls, rows: Rows | np.ndarray | None) -> Rows | None:
        """Rows (k, n) or (d, k, n) over all nodes as such sums."""
        if rows is None or isinstance(rows, Rows):
            return rows
        return cls(rows.shape[-1], rows[..., :-1], 0, rows[..., -1] if rows[..., -1].any() else None)

    @property
    def count(self) -> int:
        """k."""
        return self.inner.shape[-2]

    def over(self, nodes: np.ndarray) -> np.ndarray | None:
        """(k, f) or (d, k, f) over the nodes with these numbers, in order; None where none of them counts."""
        end, held = self.begin + self.inner.shape[-1], self.bath is not None and nodes[-1] == self.size - 1
        if not held and (nodes[0] >= end or nodes[-1] < self.begin):
            return None
        if len(nodes) == end - self.begin and nodes[0] == self.begin and nodes[-1] == end - 1:
            return self.inner
        inside = (nodes >= self.begin) & (nodes < end)
        found = np.zeros((*self.inner.shape[:-1], len(nodes)))
        found[..., inside] = self.inner[..., nodes[inside] - self.begin]
        if held:
            found[..., -1] = self.bath
        return found if found.any() else None

    def of_bath(self, held: np.ndarray) -> np.ndarray | float:
        """(d, t, k) what a bath at `held` (d, t) adds."""
        if self.bath is None:
            return 0.0
        return held[..., None] * (self.bath if self.bath.ndim == 1 else self.bath[:, None])
