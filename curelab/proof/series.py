"""Exact answers for a plane sheet (half thickness 1), cylinder and sphere (radius 1), diffusivity 1, body empty at the start.

Source: J. Crank, The Mathematics of Diffusion, 2nd ed. (Oxford, 1975); equation numbers from memory:
constant surface 4.17 and 4.18 (sheet), 5.22 and 5.23 (cylinder), 6.18 and 6.20 (sphere); stirred bath of limited volume 4.36 and 4.37,
5.32 and 5.33, 6.29 and 6.30; resistance at the surface 4.50 and 4.53, 5.46 and 5.49, 6.41 and 6.43. tests/exact/test_series.py holds
these functions against 15-digit values that were evaluated from the same series by an independent program.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

DIMENSION = {"half slab": 1, "cylinder": 2, "sphere": 3}
NAME = {"half slab": "plane sheet", "cylinder": "cylinder", "sphere": "sphere"}  # as printed in the tables
TERMS = 120  # the last one has died out (below 1e-16) from Fo = 3e-4 on


def _shape(shape: str, q: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Eigenfunctions (m, x): cos, J0, sin(qx)/(qx)."""
    qx = np.multiply.outer(q, x)
    return {"half slab": np.cos, "cylinder": j0, "sphere": lambda u: np.sinc(u / np.pi)}[shape](qx)


def _between(function, gaps) -> np.ndarray:
    return np.array([brentq(function, low, high, xtol=1e-15, rtol=1e-15) for low, high in gaps])


@dataclass(frozen=True)
class Exact:
    """Modes of one problem: unaccomplished fraction = sum of amplitude * shape(q x) * exp(-q^2 Fo); `mean` amplitudes for its mean."""

    shape: str
    q: np.ndarray
    amplitude: np.ndarray
    mean: np.ndarray

    def profile(self, x: np.ndarray, fo: np.ndarray) -> np.ndarray:
        """(t, x) concentration over the final one, at distance x from the middle."""
        return 1 - (np.exp(-np.multiply.outer(fo, self.q**2)) * self.amplitude) @ _shape(
            self.shape, self.q, np.asarray(x)
        )

    def uptake(self, fo: np.ndarray) -> np.ndarray:
        """(t,) amount taken up over the final one."""
        return 1 - np.exp(-np.multiply.outer(fo, self.q**2)) @ self.mean


def constant(shape: str) -> Exact:
    """The surface is held at 1."""
    n = np.arange(1, TERMS + 1)
    if shape == "half slab":
        q = (n - 0.5) * np.pi
        amplitude = 2 / (q * np.sin(q))
    elif shape == "cylinder":
        q = jn_zeros(0, TERMS)
        amplitude = 2 / (q * j1(q))
    else:
        q = n * np.pi
        amplitude = -2 * np.cos(q)
    return Exact(shape, q, amplitude, 2 * DIMENSION[shape] / q**2)


def limited(shape: str, alpha: float) -> Exact:
    """A stirred bath that stores `alpha` times as much as the body; both relative to where they end."""
    n = np.arange(TERMS + 1)
    if shape == "half slab":  # tan q = -alpha q
        q = _between(lambda q: np.sin(q) + alpha * q * np.cos(q), [((k - 0.5) * np.pi, k * np.pi) for k in n[1:]])
        bottom, outer = 1 + alpha + alpha**2 * q**2, np.cos(q)
        return Exact(shape, q, -2 * (1 + alpha) / (bottom * outer), 2 * alpha * (1 + alpha) / bottom)
    if shape == "cylinder":  # alpha q J0(q) + 2 J1(q) = 0
        zeros, tops = jn_zeros(0, TERMS), jn_zeros(1, TERMS)
        q = _between(lambda q: alpha * q * j0(q) + 2 * j1(q), zip(zeros, tops, strict=True))
        bottom = 4 + 4 * alpha + alpha**2 * q**2
        return Exact(shape, q, -4 * (1 + alpha) / (bottom * j0(q)), 4 * alpha * (1 + alpha) / bottom)
    # tan q = 3 q / (3 + alpha q^2)
    gaps = [(k * np.pi, (k + 0.5) * np.pi) for k in n[1:]]
    q = _between(lambda q: (3 + alpha * q**2) * np.sin(q) - 3 * q * np.cos(q), gaps)
    bottom = 9 + 9 * alpha + alpha**2 * q**2
    return Exact(shape, q, -6 * (1 + alpha) * q / (bottom * np.sin(q)), 6 * alpha * (1 + alpha) / bottom)


def resisted(shape: str, ell: float) -> Exact:
    """A bath held at 1 behind a surface resistance; L = half thickness * transfer coefficient / diffusivity."""
    n = np.arange(TERMS + 1)
    if shape == "half slab":  # beta tan beta = L
        gaps = [(k * np.pi, (k + 0.5) * np.pi) for k in n[:-1]]
        q = _between(lambda q: q * np.sin(q) - ell * np.cos(q), gaps)
        bottom, outer = q**2 + ell**2 + ell, np.cos(q)
    elif shape == "cylinder":  # beta J1(beta) = L J0(beta)
        starts = np.concatenate([[0.0], jn_zeros(1, TERMS - 1)])
        q = _between(lambda q: q * j1(q) - ell * j0(q), zip(starts, jn_zeros(0, TERMS), strict=True))
        bottom, outer = q**2 + ell**2, j0(q)
    else:  # beta cot beta + L - 1 = 0
        gaps = [(k * np.pi + 1e-9, (k + 1) * np.pi - 1e-9) for k in n[:-1]]
        q = _between(lambda q: q * np.cos(q) + (ell - 1) * np.sin(q), gaps)
        bottom, outer = q**2 + ell * (ell - 1), np.sin(q) / q
    return Exact(shape, q, 2 * ell / (bottom * outer), 2 * DIMENSION[shape] * ell**2 / (q**2 * bottom))
