"""Pieces of one body, lean in the same tissues: their terms mean the same, so they are read at once, along an axis of pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .meat import Meat


@dataclass(frozen=True, eq=False)
class Alike:
    """p pieces of one vessel: their numbers in it, and the numbers of their nodes (p, r)."""

    numbers: tuple[int, ...]
    nodes: np.ndarray

    def terms(self, w: np.ndarray) -> np.ndarray:
        """Their terms (..., p, r) of w (..., n)."""
        first, last = self.nodes[0, 0], self.nodes[-1, -1] + 1
        if last - first == self.nodes.size:  # one after the other: no copy
            return w[..., first:last].reshape(*w.shape[:-1], *self.nodes.shape)
        return w[..., self.nodes]

    def read(self, w: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Sums (..., p, k) over their terms by `rows` (k, r), of w (..., n)."""
        return self.terms(w) @ np.ascontiguousarray(rows.T)  # as it lies else, each product is twice as slow

    @cached_property
    def _some(self) -> dict[tuple[int, ...], Alike]:
        return {tuple(range(len(self.numbers))): self}

    def of(self, places: tuple[int, ...]) -> Alike:
        """Some of them."""
        if places not in self._some:
            self._some[places] = Alike(tuple(self.numbers[n] for n in places), self.nodes[list(places)])
        return self._some[places]


def alike(meats: Sequence[Meat], slices: Sequence[slice]) -> tuple[Alike, ...]:
    """The groups of these pieces, in the order of the first of each; slices: where the nodes of each lie."""
    groups: dict[tuple, list[int]] = {}
    for number, meat in enumerate(meats):
        groups.setdefault((id(meat.body), meat.lean.tobytes()), []).append(number)
    return tuple(
        Alike(tuple(some), np.array([np.arange(slices[n].start, slices[n].stop) for n in some]))
        for some in groups.values()
    )
