"""A body of unit size and diffusivity on the network, as the exact problems pose it."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.bodies.chain import Chain, Layer, build
from curelab.transport.modes import Modes, modes_of
from curelab.transport.network import Contact, assemble, face_share


class UnitBody:
    """A half slab, cylinder or sphere of size 1 and diffusivity 1, empty, in a bath at such a level that all ends at 1.

    `bath`: how much the bath stores, relative to the body; `ell`: transfer coefficient of the surface.
    """

    def __init__(self, shape: str, cells: int, bath: float = np.inf, ell: float = np.inf):
        self.chain: Chain = build([Layer(1.0, 1.0, 1.0, cells)], shape)
        contact = Contact(0, 1, 0, ell)
        held = self.chain.capacity.sum()
        self.modes: Modes = modes_of(assemble([self.chain], [bath * held], [contact]))
        self.share = face_share(self.chain, contact)
        self.begin = np.zeros((1, cells + 1))
        self.begin[0, -1] = 1.0 if np.isinf(bath) else (1 + bath) / bath

    def states(self, fo) -> np.ndarray:
        """(t, n) with the bath last."""
        return self.modes.at(self.begin, np.atleast_1d(np.asarray(fo, dtype=float))[None])[0]

    def cells(self, fo) -> np.ndarray:
        return self.states(fo)[:, :-1]

    def uptake(self, fo) -> np.ndarray:
        return self.cells(fo) @ self.chain.capacity / self.chain.capacity.sum()

    def face(self, fo) -> np.ndarray:
        states = self.states(fo)
        return self.share * states[:, -1] + (1 - self.share) * states[:, -2]

    def centre(self, fo) -> np.ndarray:
        """At the middle: the profile is level there, so a parabola in the squared distance through two cells."""
        a, b = self.chain.centres[:2] ** 2
        cells = self.cells(fo)
        return (cells[:, 0] * b - cells[:, 1] * a) / (b - a)


@pytest.fixture(scope="session")
def unit_body():
    return UnitBody
