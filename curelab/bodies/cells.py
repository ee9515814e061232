"""A body cut into cells along one direction: a slab, a cylinder, a sphere. Geometry alone: volumes, distances, areas.

The widths are graded, fine at the faces where profiles are steep, so that few cells serve. Each half cell is a resistance, distance over
the area of the face it ends at: exact for the parabola a profile is near a middle, where the logarithm or 1/r of a steady profile would
be far off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

GRADING = 0.75  # 0 = equal widths, 1 = cosine spacing; chosen by the error study in tests/exact, see there
SHAPES = ("slab", "half slab", "cylinder", "sphere")


@dataclass(frozen=True)
class Cells:
    """Cells of one body, for unit area, unit length or one ball.

    edges (n + 1,), centres (n,) in m: depth from the first face of a slab, else distance from the middle plane, axis or point; volume
    (n,); outward, inward (n,): resistance for unit conductivity from the centre to the outer and to the inner edge of a cell, inf where
    there is no area to cross; area (2,): area of the two faces, zero where there is none (the middle); layer (n,): number of the layer.
    """

    edges: np.ndarray
    centres: np.ndarray
    volume: np.ndarray
    outward: np.ndarray
    inward: np.ndarray
    area: np.ndarray
    layer: np.ndarray

    @property
    def mirrored(self) -> bool:
        """Whether the body is its own mirror image."""
        return self.area[0] > 0 and bool(
            np.allclose(self.volume, self.volume[::-1], rtol=1e-12)
            and np.allclose(self.outward, self.inward[::-1], rtol=1e-9)
        )


def graded(cells: int, shape: str = "slab", grading: float | None = None) -> np.ndarray:
    """Edges (cells + 1,) from 0 to 1: fine at both ends of a slab, else at the outer end; `grading` as GRADING, the default."""
    share = GRADING if grading is None else grading
    steps = np.linspace(0.0, 1.0, cells + 1)
    bent = 0.5 - 0.5 * np.cos(np.pi * steps) if shape == "slab" else np.sin(0.5 * np.pi * steps)
    edges = (1.0 - share) * steps + share * bent
    edges[-1] = 1.0
    return edges


def cut(widths: Sequence[float], counts: Sequence[int], shape: str = "slab") -> Cells:
    """Cells across layers of `widths` [m], so many in each, from the first face (slab) or from the middle outwards.

    Raises ValueError for another shape.
    """
    starts = np.concatenate([[0.0], np.cumsum(widths)])
    edges = np.concatenate(
        [[0.0]]
        + [
            start + width * graded(count, shape)[1:]
            for start, width, count in zip(starts, widths, counts, strict=False)
        ]
    )
    centres = 0.5 * (edges[1:] + edges[:-1])
    if shape in ("slab", "half slab"):
        volume, across = np.diff(edges), np.ones_like(edges)
    elif shape == "cylinder":
        volume, across = np.pi * np.diff(edges**2), 2 * np.pi * edges
    elif shape == "sphere":
        volume, across = 4 / 3 * np.pi * np.diff(edges**3), 4 * np.pi * edges**2
    else:
        raise ValueError(f"{shape!r} is not one of {', '.join(SHAPES)}")
    area = np.array([1.0 if shape == "slab" else 0.0, across[-1]])
    inner = across[:-1].copy()
    inner[0] = area[0]
    with np.errstate(divide="ignore"):
        inward = (centres - edges[:-1]) / inner
    return Cells(
        edges, centres, volume, (edges[1:] - centres) / across[1:], inward, area, np.repeat(np.arange(len(widths)), counts)
    )  # fmt: skip
