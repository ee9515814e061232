"""Few smooth terms instead of many cells.

What happens along a body is smooth but for the first hours at a face, so a dozen polynomials carry it as well as dozens of cells do: the
equations of the cells are projected on them (Galerkin). Every term lies in one tissue; terms are orthonormal in the volume, and they keep
parity where the body is its own mirror image: even terms never meet odd ones between equal faces, and a body that is turned over only
changes the sign of its odd terms. As many terms as cells lose nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .cells import Cells, graded

BEND = (
    0.5  # of the variable of the polynomials, finer at the faces; chosen by the error in the first hours, tests/bodies
)
TABLE = 2000


def terms_of(cells: Cells, tissues: Sequence[int], counts: Sequence[int] | None) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:  # fmt: skip
    """(values (n, r) of each term in each cell, tissue (r,), sign (r,): 1 for even and -1 for odd terms, None without a mirror).

    `tissues`: the number of the tissue of each layer; `counts`: how many terms in each layer, None: as many as cells. Raises ValueError
    for more terms than cells, or none.
    """
    layers = [np.flatnonzero(cells.layer == number) for number in range(len(tissues))]
    if counts is not None and any(not 1 <= k <= len(own) for k, own in zip(counts, layers, strict=True)):
        raise ValueError(f"{tuple(counts)} terms do not go on layers of {tuple(map(len, layers))} cells")
    root = np.sqrt(cells.volume)[:, None]
    size = len(root)
    columns = []
    for number, own in enumerate(layers):
        if counts is None:
            inside = np.eye(len(own))
        else:
            inside = np.linalg.qr(root[own] * _polynomials(cells, own, counts[number]))[0]
        column = np.zeros((size, inside.shape[1]))
        column[own] = inside
        columns.append(column)
    numbers = [np.full(column.shape[1], tissue) for column, tissue in zip(columns, tissues, strict=True)]
    if not (cells.mirrored and tuple(tissues) == tuple(tissues)[::-1]):
        return np.concatenate(columns, axis=1) / root, np.concatenate(numbers), None
    found: list[tuple[np.ndarray, int, float]] = []
    for number in range((len(layers) + 1) // 2):
        # A layer and its mirror image share their terms; the layer across the middle is its own.
        half = columns[number] if number < len(layers) // 2 else _half(columns[number], counts is None)
        for side in (1.0, -1.0):
            both = half + side * half[::-1]
            norms = np.sqrt((both**2).sum(axis=0))
            kept = both[:, norms > 1e-6] / norms[norms > 1e-6]
            found.append((kept, tissues[number], side))
    found.sort(key=lambda part: -part[2])
    return (
        np.concatenate([part for part, _, _ in found], axis=1) / root,
        np.concatenate([np.full(part.shape[1], tissue) for part, tissue, _ in found]),
        np.concatenate([np.full(part.shape[1], side) for part, _, side in found]),
    )


def _half(column: np.ndarray, single: bool) -> np.ndarray:
    """Of the terms of a layer across the middle those that are not the mirror image of one before; polynomials are even or odd already."""
    return column[:, : (column.shape[1] + 1) // 2] if single else column


def _polynomials(cells: Cells, own: np.ndarray, count: int) -> np.ndarray:
    """(cells, count) Legendre polynomials in a variable that is finer at the faces; of even degree where there is a middle."""
    left, right = cells.edges[own[0]], cells.edges[own[-1] + 1]
    x = (cells.centres[own] - left) / (right - left)
    shape = "slab" if cells.area[0] > 0 else "cylinder"  # any shape with a middle
    place = np.interp(x, graded(TABLE, shape, BEND), np.linspace(0.0, 1.0, TABLE + 1))
    if shape == "slab" or own[0] > 0:
        return _legendre(2 * place - 1, count)
    return _legendre(place, 2 * count - 1)[:, ::2]


def _legendre(x: np.ndarray, count: int) -> np.ndarray:
    """(n, count) the first Legendre polynomials at x (n,), by Bonnet's recursion. (numpy's own take 10 ms to import.)"""
    found = [np.ones_like(x), x]
    for degree in range(2, count):
        found.append((found[-1] * x * (2 * degree - 1) - found[-2] * (degree - 1)) / degree)
    return np.stack(found[:count], axis=1)
