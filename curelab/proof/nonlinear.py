"""Salt and water in a slab, nonlinear, by a general solver: what the engine's water (`engine/water.py`) is held against.

Half a slab of finite volumes. Every cell holds the water that belongs to its own salt; water moves from cell to cell to bring it there, and
carries the salt of where it passes; salt diffuses through the water that each cell holds. The bath is finite, or endless. Nothing here is
shared with the engine but the curve of water held.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

CELLS = 60


@dataclass(frozen=True)
class Slab:
    """w (n,): kg salt per kg water; water (n,): kg in each cell, for a slab that held 1 kg when it was raw; width (n,): of 1."""

    w: np.ndarray
    water: np.ndarray
    width: np.ndarray

    @classmethod
    def raw(cls, w: float = 0.0) -> Slab:
        width = np.diff(1 - np.cos(0.5 * np.pi * np.linspace(0, 1, CELLS + 1)))
        return cls(np.full(CELLS, w), width.copy(), width)

    @property
    def salt(self) -> float:
        return float(self.w @ self.water)


def stretch(slab: Slab, half: float, diffusivity: float, seconds: float, bath: tuple[float, float] | None, change: Callable) -> Slab:  # fmt: skip
    """The slab after `seconds` in a bath of (kg water per kg of raw water in the slab, inf: endless; kg salt per kg water), None: sealed.

    half [m]: half its thickness; diffusivity [m2/s]; change (w, w at the start): what a cell takes up, of the raw water in it.
    """
    from scipy.integrate import solve_ivp

    width, first = slab.width, slab.w
    edges = np.concatenate([[0.0], np.cumsum(width)])
    centre = 0.5 * (edges[1:] + edges[:-1])
    apart = np.diff(np.concatenate([[0.0], centre])) * half**2
    tail = np.triu(np.ones((CELLS, CELLS)))  # water that passes a face is what all cells behind it take up

    def held(w: np.ndarray) -> np.ndarray:
        return slab.water if bath is None else slab.water + width * change(w, first)

    def rates(_: float, state: np.ndarray) -> np.ndarray:
        w, outside, water_outside = state[:CELLS], state[CELLS], state[CELLS + 1]
        water = held(w)
        thick = water / width
        between = np.concatenate([thick[:1], 0.5 * (thick[1:] + thick[:-1])])
        before = np.concatenate([[outside], w[:-1]])
        diffused = diffusivity * between / apart * (before - w)
        if bath is None:
            diffused[0] = 0.0
        slope = (held(w + 1e-7) - held(w - 1e-7)) / 2e-7
        passing = tail * slope  # (face, cell): water through a face for a change of the salt in a cell
        face = 0.5 * (before + w)
        face[0] = outside
        behind = np.append(face[1:], 0.0)
        matrix = np.diag(water) - (face - w)[:, None] * passing
        matrix[:-1] += (behind[:-1] - w[:-1])[:, None] * passing[1:]
        moved = np.linalg.solve(matrix, diffused - np.append(diffused[1:], 0.0))
        if bath is None or np.isinf(bath[0]):
            return np.append(moved, [0.0, 0.0])
        inward = passing[0] @ moved
        return np.append(moved, [-diffused[0] / water_outside, -inward])  # water takes the bath's own salt along

    start = np.append(first, (0.0, 1.0) if bath is None else (bath[1], min(bath[0], 1e3)))
    end = solve_ivp(rates, (0.0, seconds), start, method="BDF", rtol=1e-6, atol=1e-9).y[:CELLS, -1]
    return Slab(end, held(end), width)
