"""A body cut into cells along one direction, as a chain of nodes: a slab, the half of a symmetric slab, a cylinder, a sphere.

Every cell stores `capacity * w`; neighbours exchange `conductance * (w_a - w_b)`. The widths are graded, fine at the faces where
profiles are steep, so that few cells serve. Each half cell is a resistance, distance over the area of the face it ends at: exact for the
parabola a profile is near a middle, where the logarithm or 1/r of a steady profile would be far off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

GRADING = 0.75  # 0 = equal widths, 1 = cosine spacing; chosen by the error study in tests/exact, see there
SHAPES = ("slab", "half slab", "cylinder", "sphere")


@dataclass(frozen=True)
class Layer:
    """A uniform layer: width [m], storage [capacity per m3], conductivity [conductance * m per m2], number of cells."""

    width: float
    storage: float
    conductivity: float
    cells: int


@dataclass(frozen=True)
class Chain:
    """Cells of one body.

    edges (n + 1,), centres (n,) in m: depth from the first face of a slab, else distance from the middle plane, axis or point;
    capacity (n,); inner (n - 1,): conductances between neighbours; half (2,): conductance from the outermost cell centres to the
    two faces; area (2,): area of the two faces, zero where there is none (the middle); layer (n,): index of the layer of a cell.
    """

    edges: np.ndarray
    centres: np.ndarray
    capacity: np.ndarray
    inner: np.ndarray
    half: np.ndarray
    area: np.ndarray
    layer: np.ndarray

    def scaled(self, total: float) -> Chain:
        """The same body in the amount that stores `total`: more area, more length, or more spheres."""
        by = total / self.capacity.sum()
        return Chain(
            self.edges, self.centres, self.capacity * by, self.inner * by, self.half * by, self.area * by, self.layer
        )


def graded(cells: int, shape: str = "slab", grading: float | None = None) -> np.ndarray:
    """Edges (cells + 1,) from 0 to 1: fine at both ends of a slab, else at the outer end; `grading` as GRADING, the default."""
    share = GRADING if grading is None else grading
    steps = np.linspace(0.0, 1.0, cells + 1)
    bent = 0.5 - 0.5 * np.cos(np.pi * steps) if shape == "slab" else np.sin(0.5 * np.pi * steps)
    edges = (1.0 - share) * steps + share * bent
    edges[-1] = 1.0
    return edges


def build(layers: list[Layer], shape: str = "slab") -> Chain:
    """Cells across `layers`, listed from the first face (slab) or from the middle outwards, for unit area, length or count."""
    starts = np.concatenate([[0.0], np.cumsum([layer.width for layer in layers])])
    edges = np.concatenate(
        [[0.0]]
        + [start + layer.width * graded(layer.cells, shape)[1:] for start, layer in zip(starts, layers, strict=False)]
    )
    centres = 0.5 * (edges[1:] + edges[:-1])
    owner = np.repeat(np.arange(len(layers)), [layer.cells for layer in layers])
    storage = np.array([layer.storage for layer in layers])[owner]
    conductivity = np.array([layer.conductivity for layer in layers])[owner]
    if shape in ("slab", "half slab"):
        volume, across = np.diff(edges), np.ones_like(edges)
    elif shape == "cylinder":
        volume, across = np.pi * np.diff(edges**2), 2 * np.pi * edges
    elif shape == "sphere":
        volume, across = 4 / 3 * np.pi * np.diff(edges**3), 4 * np.pi * edges**2
    else:
        raise ValueError(f"{shape!r} is not one of {', '.join(SHAPES)}")
    area = np.array([1.0 if shape == "slab" else 0.0, across[-1]])
    outward = (edges[1:] - centres) / (across[1:] * conductivity)
    inward = (centres[1:] - edges[1:-1]) / (across[1:-1] * conductivity[1:])
    first = conductivity[0] / centres[0] * area[0]
    return Chain(
        edges,
        centres,
        storage * volume,
        1.0 / (outward[:-1] + inward),
        np.array([first, 1.0 / outward[-1]]),
        area,
        owner,
    )
