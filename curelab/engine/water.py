"""Water that meat takes up or gives off while it lies in a bath, and what that water carries.

Each place of the lean holds the water that belongs to the salt in its own water (`matter.tissue.water_held`), at once: so water lags as salt
does. Salt itself moves on the network of the stretch, whose capacities are those at its beginning; the water that has moved since carries
the mean of what is at its place and in the bath. Between stretches the capacities follow. Against a nonlinear solve, in which every cell
swells for itself and water moves from cell to cell, finished salt is off by at most 1 %, weight by 0.2 % (`tests/exact/test_water.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..bodies import Body, Solid
from .cases import Cases
from .meat import Meat

ROUNDING = 1e-9
MOST_OF_BATH = 0.5  # of a bath: no more than this is taken up, where it is small against the meat (judgement)


@dataclass(frozen=True, eq=False)
class Swelling:
    """Water that one piece takes up in a stretch: start (d, q): salt, in kg per kg of water, at the places of its lean as the stretch began;
    reach (d,): the share of the published change that the bath can give.
    """

    meat: Meat
    cases: Cases
    start: np.ndarray
    reach: np.ndarray

    @cached_property
    def rows(self) -> np.ndarray:
        """(q + l, r) rows that read the places of the lean, and the integral over each tissue that is not."""
        return self.with_bath[0][:-1]

    @cached_property
    def with_bath(self) -> tuple[np.ndarray, np.ndarray]:
        """These rows and one more, for the bath, and what the bath adds to each; kept with the body, for each piece swells in every bath."""
        body, lean = self.meat.body, tuple(bool(each) for each in self.meat.lean)
        known = body.__dict__.setdefault("_swelling", {})
        if lean not in known:
            others = [body.integral(number) for number in np.flatnonzero(~self.meat.lean).tolist()]
            own = lean_places(body, lean)[0]
            rows = np.concatenate([own, *(other[None] for other in others), np.zeros((1, own.shape[1]))])
            known[lean] = rows, np.append(np.zeros(len(rows) - 1), 1.0)
        return known[lean]

    @cached_property
    def capacity(self) -> np.ndarray:
        """(d, q + l) kg of water, brine side, at each place as the stretch began, and in a unit of each tissue that is not lean."""
        _, volumes, tissue = places(self.meat)
        lean = self.meat.storage[:, tissue] * volumes
        return self.meat.amount[:, None] * np.concatenate([lean, self.meat.storage[:, ~self.meat.lean]], axis=1)

    @cached_property
    def _scale(self) -> np.ndarray:
        """(d, q) kg of water, brine side, for a change of 1 of the green weight, which is what a place weighs raw."""
        _, volumes, tissue = places(self.meat)
        density = self.meat.storage / self.meat.per_tissue
        return self.meat.amount[:, None] * density[:, tissue] * volumes * (self.meat.partition * self.reach)[:, None]

    @cached_property
    def _held(self) -> np.ndarray:
        """(d, q) the change that belongs to the salt at the start."""
        return self.cases.water_held(self.start)

    @property
    def _floor(self) -> np.ndarray:
        """(d, q) the salt below which a place that loses salt gives off no more water. Where the meat was raw, less is a ripple before the
        front: it counts as it is, or the water it seems to bring would stay.
        """
        salted = self.start > (1 + ROUNDING) * self.cases.own_salt[:, None]
        return np.where(salted, np.minimum(self.cases.most_swollen, self.start), -np.inf)

    def of_bath(self, bath: np.ndarray) -> np.ndarray:
        """Share (d, t) of the bath in what the water carries, for the salt per water of the bath (d, t): all in a brine in which meat only
        swells, half in one so strong that it gives water off where the brine is strongest (fitted to the nonlinear solve).
        """
        return 0.5 + 0.5 * np.minimum(1.0, self.cases.most_swollen / np.maximum(bath, 1e-300))

    def taken(self, w: np.ndarray) -> np.ndarray:
        """kg (d, t, q) of water, brine side, taken up at each place since the start, from the salt there (d, t, q or more: `rows`)."""
        now = np.maximum(w[..., : self.start.shape[1]], self._floor[:, None])
        found = self.cases.water_held(now)
        found -= self._held[:, None]
        found *= self._scale[:, None]
        return found


def places(meat: Meat) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows (q, r), volumes (q,) and tissues (q,) of the places of the lean."""
    return lean_places(meat.body, tuple(bool(each) for each in meat.lean))


def lean_places(body: Body | Solid, lean: tuple[bool, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As `places`, of a body whose tissues `lean` count; kept with the body."""
    known = body.__dict__.setdefault("_lean_places", {})
    if lean not in known:
        known[lean] = body.places(np.array(lean))
    return known[lean]


def swellings(meats: tuple[Meat, ...], starts: list[np.ndarray], bath: np.ndarray, cases: Cases) -> tuple[Swelling, ...]:  # fmt: skip
    """One for each piece, from the terms (d, r) of salt as a stretch begins; bath (d,): kg of water of the bath, inf where it is endless."""
    most = np.maximum(cases.most_held(), 0.0) * sum(meat.weight * meat.partition for meat in meats)
    reach = np.minimum(1.0, MOST_OF_BATH * bath / np.maximum(most, 1e-300))
    return tuple(
        Swelling(meat, cases, np.maximum(start @ places(meat)[0].T, 0.0), reach)
        for meat, start in zip(meats, starts, strict=True)
    )
