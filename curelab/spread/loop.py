"""A batch in many draws, one `simulate` after the other: for inputs that the vectorised engine does not know, and its yardstick."""

from __future__ import annotations

import numpy as np

from ..engine.simulate import simulate
from ..forecast import first_time
from ..recipe.criterion import default_basis
from ..sources import default_numbers
from .uncertain import drawn_case

CELLS = 24  # from a face to the middle


class Loop:
    """The same readings from `simulate`, draw after draw: slow, for inputs that the vectorised engine does not know, and
    the yardstick of its tests.
    """

    def __init__(self, pieces, stages, columns, *, loss="nordin", cells=CELLS, numbers=None):
        base = numbers or default_numbers()
        self.count = len(next(iter(columns.values())))
        self.histories = []
        for number in range(self.count):
            case = drawn_case(pieces, stages, base, {key: float(column[number]) for key, column in columns.items()})
            self.histories.append(simulate(case[0], case[1], loss=loss, cells=cells, numbers=case[2]))

    def _each(self, times, one):
        rows = []
        for number, history in enumerate(self.histories):
            asked = np.asarray(history.length if times is None else times, dtype=float)
            mine = np.atleast_1d(asked[number] if asked.ndim == 2 else asked)
            rows.append(one(history, np.minimum(mine, history.length)))
        return np.array(rows)

    def release(self) -> None:
        self.histories.clear()

    @property
    def length(self) -> np.ndarray:
        return np.array([history.length for history in self.histories])

    def ends(self, index: int) -> np.ndarray:
        return np.array([history.span(index)[1] for history in self.histories])

    def at_end(self, place, quantity, stage, piece=0, basis=None):
        return self.at(place, quantity, self.ends(stage)[:, None], piece, basis)

    def begin(self, index: int) -> np.ndarray:
        return np.array([history.span(index)[0] for history in self.histories])

    def at(self, place, quantity, times=None, piece=0, basis=None):
        return self._each(times, lambda h, t: h.at(place, quantity, t, piece, basis))

    def profile(self, quantity, times=None, piece=0, basis=None):
        on = basis or default_basis(quantity)
        values = self._each(times, lambda h, t: h.profile(quantity, t, piece, on).values)
        return values if self._whole(piece) else values[..., values.shape[-1] // 2 :]

    def depths(self, piece=0):
        history = self.histories[0]
        depth = history.profile("salt", 0.0, piece).depth
        depth = depth / depth[-1]
        return depth if self._whole(piece) else depth[len(depth) // 2 :]

    def _whole(self, piece: int) -> bool:
        """A slab is read from face to face, a round piece from the middle outwards."""
        return self.histories[0].pieces[piece].shape == "slab"

    def first_bite(self, quantity, times=None, piece=0):
        return self._each(times, lambda h, t: h.first_bite(quantity, t, piece))

    def weight(self, times=None, piece=0):
        return self._each(times, lambda h, t: h.weight(t, piece))

    def bath(self, quantity, times=None):
        return self._each(times, lambda h, t: h.bath(quantity, t))

    def first_time(self, criterion, index=0, where="every", rounds=1):
        found = [first_time(h, criterion, h.span(index)[0], where) for h in self.histories]
        return np.array([np.inf if value is None else value for value in found])
