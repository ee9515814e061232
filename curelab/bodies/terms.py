"""A chain in few smooth terms instead of many cells, for batches of like chains.

What happens along a chain is smooth but for the first hours at a face, so a dozen polynomials carry it as well as dozens of cells do:
the equations of the cells are projected on them (Galerkin). The terms are orthonormal in the capacities, so that a state is read and
an amount is summed by products alone, and they keep parity where the chain is its own mirror image: even terms never meet odd ones
between equal faces, and a chain that is turned over only changes the sign of its odd terms. As many terms as cells lose nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .chain import Chain, graded

BEND = 0.5  # of the variable of the polynomials, finer at the faces; chosen by the error in the first hours, tests/transport
TABLE = 2000
ROUNDING = 1e-12


@dataclass(frozen=True)
class Terms:
    """Terms on a chain of n cells in layers; make them with `terms_of`.

    values (n, r): each term in each cell, orthonormal: values.T @ diag(capacity / total) @ values = 1;
    average (r,): the mean of a state, weighed by capacity, and so also the terms of the constant state 1;
    stiffness (l, r, r): the links inside each layer; joints (l - 1, r): the step of each term from one layer to the next;
    sign (r,): 1 for even terms and -1 for odd ones, None where the chain is not its own mirror image.
    """

    values: np.ndarray
    average: np.ndarray
    stiffness: np.ndarray
    joints: np.ndarray
    sign: np.ndarray | None


def terms_of(chain: Chain, counts: Sequence[int] | None) -> Terms:
    """Terms of a chain: `counts`, how many in each layer; None: as many as cells, in which case nothing is lost.

    Raises ValueError for more terms than cells, or none.

    >>> from curelab.bodies.chain import Layer, build
    >>> terms = terms_of(build([Layer(1.0, 1.0, 1.0, 30)]), [6])
    >>> terms.values.shape, terms.sign.tolist()
    ((30, 6), [1.0, 1.0, 1.0, -1.0, -1.0, -1.0])
    """
    share = chain.capacity / chain.capacity.sum()
    root = np.sqrt(share)[:, None]
    layers = [np.flatnonzero(chain.layer == number) for number in range(chain.layer[-1] + 1)]
    if counts is not None and any(not 1 <= k <= len(cells) for k, cells in zip(counts, layers, strict=True)):
        raise ValueError(f"{tuple(counts)} terms do not go on layers of {tuple(map(len, layers))} cells")
    columns = []
    for number, cells in enumerate(layers):
        count = None if counts is None else counts[number]
        column = np.zeros((len(root), len(cells) if count is None else count))
        column[cells] = np.linalg.qr(root[cells] * _polynomials(chain, cells, count))[0]
        columns.append(column)
    whole = np.concatenate(columns, axis=1)
    sign = None
    if chain.area[0] > 0 and _is_mirrored(chain):
        even, odd = (_spanned(0.5 * (whole + side * whole[::-1])) for side in (1, -1))
        whole = np.concatenate([even, odd], axis=1)
        sign = np.concatenate([np.ones(even.shape[1]), -np.ones(odd.shape[1])])
    values = whole / root
    average = share @ values
    average[np.abs(average) < ROUNDING] = (
        0.0  # else a part of the network would take its rounding error for a state that stays
    )
    steps = np.diff(values, axis=0)
    same = chain.layer[1:] == chain.layer[:-1]
    stiffness = [
        (steps[inside].T * chain.inner[inside]) @ steps[inside]
        for inside in (same & (chain.layer[1:] == number) for number in range(len(layers)))
    ]
    return Terms(values, average, np.array(stiffness), steps[~same], sign)


def _polynomials(chain: Chain, cells: np.ndarray, count: int | None) -> np.ndarray:
    """(cells, count) Legendre polynomials in a variable that is finer at the faces; of even degree where there is a middle."""
    if count is None:
        return np.eye(len(cells))
    left, right = chain.edges[cells[0]], chain.edges[cells[-1] + 1]
    x = (chain.centres[cells] - left) / (right - left)
    shape = "slab" if chain.area[0] > 0 else "cylinder"  # any shape with a middle
    place = np.interp(x, graded(TABLE, shape, BEND), np.linspace(0.0, 1.0, TABLE + 1))
    if shape == "slab" or cells[0] > 0:
        return np.polynomial.legendre.legvander(2 * place - 1, count - 1)
    return np.polynomial.legendre.legvander(place, 2 * count - 2)[:, ::2]


def _is_mirrored(chain: Chain) -> bool:
    return bool(
        np.allclose(chain.capacity, chain.capacity[::-1], rtol=1e-12)
        and np.allclose(chain.inner, chain.inner[::-1], rtol=1e-9)
    )


def _spanned(columns: np.ndarray) -> np.ndarray:
    """Orthonormal columns that span the same; those of a projection are all there or not at all."""
    vectors, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return vectors[:, sizes > 0.5]
