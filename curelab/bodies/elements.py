"""Finite elements on a grid that was bent into a shape: volumes, gradients and faces of a body in two or three dimensions.

The elements are quadratic along each axis, with values at the ends and the middle of their sides; volumes and stiffness are summed over
the same places (Gauss, Lobatto and Legendre's rule of three points). So what a node stores is its own, what leaves through a face leaves
from its nodes, and a smooth state is carried with an error that falls with the fourth power of the spacing (Maday and Patera, Spectral
element methods, in State-of-the-art surveys on computational mechanics, ASME 1989).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import scipy.sparse as sp

SLOPES = np.array(
    [[-1.5, 2.0, -0.5], [-0.5, 0.0, 0.5], [0.5, -2.0, 1.5]]
)  # at three places of a side, from the values there
WEIGHTS = np.array([1.0, 4.0, 1.0]) / 3.0  # Simpson's rule over a side from -1 to 1


@dataclass(frozen=True, eq=False)
class Elements:
    """Elements of one body over n nodes, in a grid of odd numbers of places along each axis.

    shape: places along each axis; points (n, a) [m]; tissue: the number of the tissue of each element, in a grid of its own; share: how
    many times the body is as large as the grid, 2 where the grid is one half of it; round: whether the last coordinate is the distance
    from an axis around which the grid is turned.
    """

    shape: tuple[int, ...]
    points: np.ndarray
    tissue: np.ndarray
    share: float = 1.0
    round: bool = False

    @property
    def count(self) -> int:
        """n."""
        return len(self.points)

    @cached_property
    def _numbers(self) -> np.ndarray:
        """(e, 3 ** a) nodes of each element."""
        return _windows(np.arange(self.count).reshape(self.shape))

    @cached_property
    def _bent(self) -> tuple[np.ndarray, np.ndarray]:
        """(weight (e, q), gradient (e, q, m, a)): the volume at place q of an element, and the slope there for node m at 1."""
        axes = self.points.shape[1]
        places = self.points[self._numbers]
        local = np.stack([_along(SLOPES, axis, axes) for axis in range(axes)], axis=-1)
        jacobian = np.einsum("qmb,ema->eqab", local, places)
        weight = np.linalg.det(jacobian) * _product([WEIGHTS] * axes) * self.share
        if not np.all(weight > 0):
            raise ValueError("the grid folds over itself")
        gradient = np.einsum("qmb,eqba->eqma", local, np.linalg.inv(jacobian))
        if self.round:
            weight = weight * (2 * np.pi * places[..., -1])
        return weight, gradient

    @property
    def weights(self) -> np.ndarray:
        """(l, e * q) volume at each place of each element, in each tissue."""
        weight, own = self._bent[0].ravel(), np.repeat(self.tissue.ravel(), self._numbers.shape[1])
        return np.array([weight * (own == number) for number in range(int(own.max()) + 1)])

    @cached_property
    def volumes(self) -> np.ndarray:
        """(l, n) volume of each node in each tissue [m3]."""
        return np.array([np.bincount(self._numbers.ravel(), weight, self.count) for weight in self.weights])

    def slopes(self, values: np.ndarray) -> np.ndarray:
        """(a, e * q, k) along each axis at the places of the elements, of values (n, k) at the nodes."""
        found = np.moveaxis(self._bent[1], -1, 0) @ values[self._numbers]
        return found.reshape(len(found), -1, values.shape[1])

    @cached_property
    def _gradients(self) -> tuple[sp.csr_array, ...]:
        """For each axis (e * q, n): the slopes at the places of the elements."""
        from scipy.sparse import csr_array  # where terms are made, and nowhere else

        gradient = self._bent[1]
        every, places, _, axes = gradient.shape
        columns = np.repeat(self._numbers[:, None, :], places, axis=1).ravel()
        starts = np.arange(0, every * places**2 + 1, places)
        size = (every * places, self.count)
        return tuple(csr_array((gradient[..., a].ravel(), columns, starts), size) for a in range(axes))

    def stiffness(self, conductivity: np.ndarray) -> sp.csr_array:
        """(n, n) for the conductivity (l,) of each tissue."""
        led = conductivity @ self.weights
        return sum(slope.T @ (slope.multiply(led[:, None])).tocsr() for slope in self._gradients)  # type: ignore[return-value]

    def face(self, axis: int, end: int) -> np.ndarray:
        """(n,) area of each node [m2] on the face at the beginning, 0, or the end, -1, of an axis."""
        numbers = np.take(np.arange(self.count).reshape(self.shape), [end], axis=axis).squeeze(axis)
        axes = self.points.shape[1] - 1
        every = _windows(numbers)
        places = self.points[every]
        local = np.stack([_along(SLOPES, own, axes) for own in range(axes)], axis=-1)
        sides = np.einsum("qmb,ema->eqba", local, places)
        area = np.sqrt(np.linalg.det(sides @ sides.swapaxes(2, 3))) * _product([WEIGHTS] * axes) * self.share
        if self.round:
            area = area * (2 * np.pi * places[..., -1])
        return np.bincount(every.ravel(), area.ravel(), self.count)


def _windows(numbers: np.ndarray) -> np.ndarray:
    """(e, 3 ** a) nodes of each element of a grid of numbers, the last axis running first."""
    axes, pick = numbers.ndim, [np.arange(0, size - 2, 2) for size in numbers.shape]
    corner = np.ix_(*pick)
    every = [
        numbers[tuple(index + step for index, step in zip(corner, steps, strict=True))]
        for steps in product(range(3), repeat=axes)
    ]
    return np.stack(every, axis=-1).reshape(-1, 3**axes)


def _along(matrix: np.ndarray, axis: int, axes: int) -> np.ndarray:
    """A matrix (3, 3) that works along one of the axes of an element."""
    return _product([matrix if own == axis else np.eye(3) for own in range(axes)])


def _product(factors: list[np.ndarray]) -> np.ndarray:
    """Kronecker product, the first factor running slowest."""
    found = np.ones((1,) * factors[0].ndim)
    for factor in factors:
        found = np.kron(found, factor)
    return found
