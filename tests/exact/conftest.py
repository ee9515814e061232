"""A body of unit size and diffusivity on the network, as the exact problems pose it."""

from __future__ import annotations

import numpy as np
import pytest

from curelab.bodies import layered
from curelab.transport.modes import modes_of


@pytest.fixture(scope="session")
def unit_body(one_body):
    class UnitBody:
        """A half slab, cylinder or sphere of size 1 and diffusivity 1, empty, in a bath at such a level that all ends at 1.

        `bath`: how much the bath stores, relative to the body; `ell`: transfer coefficient of the surface.
        """

        def __init__(self, shape: str, cells: int, bath: float = np.inf, ell: float = np.inf):
            self.body = layered((1.0,), (0,), shape, counts=(cells,))
            self.network = one_body(self.body, [1.0], [1.0], bath * self.body.volumes[0], [ell])
            self.modes = modes_of(self.network)
            self.share = self.body.faces[0].share(np.array([ell]), np.ones((1, 1)), np.ones(1))[0]
            self.begin = np.zeros(cells + 1)
            self.begin[-1] = 1.0 if np.isinf(bath) else (1 + bath) / bath
            self.centres = 2 * self.body.depth[:-1] - 1  # of the cells; the last place is the face

        def terms(self, fo) -> np.ndarray:
            """(t, r + 1) with the bath last."""
            return self.modes.at(self.begin[None, None], np.atleast_1d(np.asarray(fo, dtype=float))[None, None])[0, 0]

        def states(self, fo) -> np.ndarray:
            """(t, n + 1) values in the cells, and the bath last."""
            return np.concatenate([self.cells(fo), self.terms(fo)[:, -1:]], axis=1)

        def cells(self, fo) -> np.ndarray:
            return self.terms(fo)[:, :-1] @ self.body.rows[:-1].T

        def uptake(self, fo) -> np.ndarray:
            return self.terms(fo)[:, :-1] @ self.body.mean / self.body.volumes[0]

        def face(self, fo) -> np.ndarray:
            terms = self.terms(fo)
            return self.share * terms[:, -1] + (1 - self.share) * (terms[:, :-1] @ self.body.faces[0].row)

        def centre(self, fo) -> np.ndarray:
            """At the middle, as a core is read."""
            return self.terms(fo)[:, :-1] @ self.body.core(np.ones((1, 1)), np.array([True]))[0]

    return UnitBody
