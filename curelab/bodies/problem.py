"""What a body of many nodes poses: matrices, and quick solutions of them, by halves where the body is its own mirror image: an even and an odd half
take an eighth of the work each, for a banded factor takes the nodes times the square of the band.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.linalg as la
import scipy.sparse as sp

ROUNDING = 1e-12  # of a column: less of it in a half is nothing


@dataclass(frozen=True, eq=False)
class Problem:
    """A body of n nodes. mass (n,): what each stores; stiffness: one (n, n) for each way its tissues may conduct, the usual one first;
    first, second, rest (n,): area of its nodes in the faces that may lie on a wall, and in all others; flipped (n,): the node that each
    one changes places with when the body is turned over, None where it is not its own mirror image; order (n,): nodes, so that those that
    are linked lie near each other.
    """

    mass: np.ndarray
    stiffness: tuple[sp.csr_array, ...]
    first: np.ndarray
    second: np.ndarray
    rest: np.ndarray
    flipped: np.ndarray | None
    order: np.ndarray

    @property
    def turns(self) -> bool:
        """Whether it has a face to lie on."""
        return bool(self.first.any() or self.second.any())

    def film(self, way: tuple[float, float, float]) -> np.ndarray:
        """(n,) of films on the first, the second and all other faces."""
        return way[0] * self.first + way[1] * self.second + way[2] * self.rest

    @cached_property
    def _frames(self) -> dict[bool, list[sp.csr_array]]:
        """Of all states, and by halves: (n, k) sums of nodes, in order, that carry them; by halves the even and the odd states."""
        count, ones = len(self.mass), np.ones(len(self.mass))
        found = {False: [sp.csr_array((ones, (self.order, np.arange(count))), (count, count))], True: []}
        if self.flipped is not None:
            half = self.order[self.order <= self.flipped[self.order]]
            for side in (1.0, -1.0):
                own = half if side > 0 else half[half != self.flipped[half]]
                number, apart = np.arange(len(own)), own != self.flipped[own]
                rows, columns = np.append(own, self.flipped[own][apart]), np.append(number, number[apart])
                signs = np.append(ones[: len(own)], side * ones[: int(apart.sum())])
                found[True].append(sp.csr_array((signs, (rows, columns)), (count, len(own))))
        return found

    @cached_property
    def _known(self) -> dict[tuple[int, bool], list[np.ndarray]]:
        return {}

    def _bands(self, way: int, halves: bool) -> list[np.ndarray]:
        """A stiffness in each of these frames, as its lower bands (b, k)."""
        if (way, halves) not in self._known:
            found = self._known[way, halves] = []
            for frame in self._frames[halves]:
                entries = (frame.T @ self.stiffness[way] @ frame).tocoo()
                apart = entries.row - entries.col
                bands = np.zeros((int(apart.max()) + 1, frame.shape[1]))
                below = apart >= 0
                bands[apart[below], entries.col[below]] = entries.data[below]
                found.append(bands)
        return self._known[way, halves]

    def by_halves(self, film: np.ndarray) -> bool:
        """Whether even and odd states do not meet through a film (n,)."""
        return self.flipped is not None and np.allclose(film, film[self.flipped], rtol=1e-9, atol=0.0)

    def factor_bytes(self, film: np.ndarray) -> int:
        """What `solver` holds at most."""
        return sum(bands.nbytes for bands in self._bands(0, self.by_halves(film)))

    def solver(self, rate: float, film: np.ndarray, way: int = 0) -> Callable[[np.ndarray], np.ndarray]:
        """Solves (rate * mass + stiffness + film) v = f for columns f (n, k)."""
        halves, factors = self.by_halves(film), {}

        def solved(columns: np.ndarray) -> np.ndarray:
            found = np.zeros(columns.shape)
            for number, frame in enumerate(self._frames[halves]):
                loads = frame.T @ columns
                asked = np.abs(loads).max(axis=0) > ROUNDING * np.abs(columns).max(axis=0)
                if not asked.any():
                    continue
                if number not in factors:
                    bands = self._bands(way, halves)[number].copy()
                    bands[0] += abs(frame).T @ (rate * self.mass + film)
                    factors[number] = la.cholesky_banded(bands, overwrite_ab=True, lower=True, check_finite=False)
                found[:, asked] += frame @ la.cho_solve_banded(
                    (factors[number], True), loads[:, asked], check_finite=False
                )
            return found

        return solved
