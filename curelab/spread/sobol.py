"""Scrambled Sobol points: few draws that fill the space evenly.

Direction numbers: Joe & Kuo, SIAM J. Sci. Comput. 30 (2008), 2635-2654 (`sobol_directions.csv`). Scrambled by a random lower triangular
matrix and a random shift for each dimension (Matousek, J. Complexity 14 (1998), 527-556). A test holds every point against scipy.stats.qmc, which
is not used here because it takes longer to import than a batch takes to compute.
"""

from __future__ import annotations

import numpy as np

from ..sources import read_table

BITS = 30


def sobol(dimensions: int, count: int, seed: int) -> np.ndarray:
    """The first `count` points (n, dimensions) of a sequence, between 0 and 1; the same seed gives the same points.

    Raises ValueError for more dimensions than the table has.

    >>> sobol(2, 4, seed=1).shape
    (4, 2)
    """
    directions = _directions(dimensions)
    generator = np.random.default_rng(seed)
    places = 2 ** np.arange(BITS, dtype=np.uint64)
    shift = generator.integers(2, size=(dimensions, BITS), dtype=np.uint32).astype(np.uint64) @ places
    lower = np.tril(generator.integers(2, size=(dimensions, BITS, BITS), dtype=np.uint32)).astype(np.uint64)
    lower[:, range(BITS), range(BITS)] = 1
    bits = (
        directions[:, :, None] >> np.arange(BITS - 1, -1, -1, dtype=np.uint64)
    ) & 1  # (d, j, k), the first bit first
    mixed = np.einsum("dpk,djk->djp", lower, bits) % 2
    scrambled = mixed @ places[::-1]
    numbers = np.arange(count, dtype=np.uint64)
    gray = numbers ^ (numbers >> np.uint64(1))
    points = np.broadcast_to(shift, (count, dimensions)).copy()
    for bit in range(int(count).bit_length()):
        points ^= np.where((gray >> np.uint64(bit) & np.uint64(1))[:, None] > 0, scrambled[:, bit], np.uint64(0))
    return points.astype(float) / 2**BITS


def _directions(dimensions: int) -> np.ndarray:
    """Direction numbers (d, BITS), from the starts and the primitive polynomial of each dimension."""
    rows = read_table("sobol_directions.csv")
    if dimensions > len(rows):
        raise ValueError(f"there are Sobol points in up to {len(rows)} dimensions, and {dimensions} were asked for")
    found = np.zeros((dimensions, BITS), dtype=np.uint64)
    for dimension, row in enumerate(rows[:dimensions]):
        polynomial, numbers = int(row["polynomial"]), [int(each) for each in row["starts"].split()]
        degree = polynomial.bit_length() - 1
        if not degree:
            numbers = [1] * BITS  # the first dimension counts in halves
        for j in range(len(numbers), BITS):
            new = numbers[j - degree] ^ numbers[j - degree] << degree
            for k in range(1, degree):
                new ^= (polynomial >> (degree - k) & 1) * (numbers[j - k] << k)
            numbers.append(new)
        found[dimension] = [number << (BITS - 1 - j) for j, number in enumerate(numbers[:BITS])]
    return found
