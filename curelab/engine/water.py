"""Water that meat takes up or gives off while it lies in a bath, and what that water carries.

Each place of the lean holds the water that belongs to the salt in its own water (`matter.tissue.water_held`), at once: so water lags as salt
does. Salt itself moves on the network of the stretch, whose capacities are those at its beginning; the water that has moved since carries
the mean of what is at its place and in the bath. Between stretches the capacities follow. Against a nonlinear solve, in which every cell
swells for itself and water moves from cell to cell, finished salt is off by at most 1 %, weight by 0.2 % (`tests/exact/test_water.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np

from ..bodies import Body, Solid
from ..transport.memory import PASSING, Kept
from .alike import Alike
from .cases import Cases
from .meat import Meat

ROUNDING = 1e-9
MOST_OF_BATH = 0.5  # of a bath: no more than this is taken up, where it is small against the meat (judgement)


@dataclass(frozen=True, eq=False)
class Swelling:
    """Water that p alike pieces (`Alike`) take up in a stretch: start (d, p, q): salt, in kg per kg of water, at the places of their lean as
    the stretch began; reach (d,): the share of the published change that the bath can give.
    """

    meats: tuple[Meat, ...]
    cases: Cases
    start: np.ndarray
    reach: np.ndarray
    kept: Kept = field(default_factory=partial(Kept, PASSING), repr=False)  # small to work out, large to keep

    @property
    def rows(self) -> np.ndarray:
        """(q + l, r) rows that read the places of the lean, and the integral over each tissue that is not."""
        return self.with_bath[0][:-1]

    @property
    def with_bath(self) -> tuple[np.ndarray, np.ndarray]:
        """These rows and one more, for the bath, and what the bath adds to each; kept with the body, for each piece swells in every bath."""
        body, lean = self.meats[0].body, self.meats[0].lean
        known, kind = body.__dict__.setdefault("_swelling", {}), tuple(lean.tolist())
        if kind not in known:
            own = lean_places(body, kind)[0]
            others = [body.integral(number)[None] for number in np.flatnonzero(~lean).tolist()]
            rows = np.concatenate([own, *others, np.zeros((1, own.shape[1]))])
            known[kind] = rows, np.append(np.zeros(len(rows) - 1), 1.0)
        return known[kind]

    def _remembered(
        self, name: str, make: Callable[[], tuple[np.ndarray, np.ndarray]]
    ) -> tuple[np.ndarray, np.ndarray]:
        found = self.kept.get(name)
        if found is None:
            found = self.kept[name] = make()
        return found

    @property
    def _held_by(self) -> tuple[np.ndarray, np.ndarray]:
        """`capacity`, and (d, p, q) the same for a change of 1 of the green weight, which is what a place weighs raw."""
        return self._remembered("held by", self._holding)

    def _holding(self) -> tuple[np.ndarray, np.ndarray]:
        _, volumes, tissue = places(self.meats[0])
        lean = self.meats[0].lean
        amount, storage, per_tissue, partition = (
            np.stack([getattr(meat, name) for meat in self.meats], axis=1)
            for name in ("amount", "storage", "per_tissue", "partition")
        )
        here = amount[..., None] * storage[:, :, tissue] * volumes
        others = amount[..., None] * storage[:, :, ~lean]
        scale = here / per_tissue[:, :, tissue] * (partition * self.reach[:, None])[..., None]
        return np.concatenate([here, others], axis=2), scale

    @property
    def capacity(self) -> np.ndarray:
        """(d, p, q + l) kg of water, brine side, at each place as the stretch began, and in a unit of each tissue that is not lean."""
        return self._held_by[0]

    @cached_property
    def held(self) -> np.ndarray:
        """(d, p) kg of water, brine side, in what swells."""
        return np.stack([meat.held_swelling for meat in self.meats], axis=1)

    @property
    def _begun(self) -> tuple[np.ndarray, np.ndarray]:
        """(d, p, q) the change that belongs to the salt at the start; and the salt below which a place that loses salt gives off no more
        water. Where the meat was raw, less is a ripple before the front: it counts as it is, or the water it seems to bring would stay.
        """
        return self._remembered("begun", self._beginning)

    def _beginning(self) -> tuple[np.ndarray, np.ndarray]:
        salted = self.start > (1 + ROUNDING) * self.cases.own_salt[:, None, None]
        floor = np.where(salted, np.minimum(self.cases.most_swollen, self.start), -np.inf)
        return self.cases.water_held(self.start), floor

    def of_bath(self, bath: np.ndarray) -> np.ndarray:
        """Share (d, t) of the bath in what the water carries, for the salt per water of the bath (d, t): all in a brine in which meat only
        swells, half in one so strong that it gives water off where the brine is strongest (fitted to the nonlinear solve).
        """
        return 0.5 + 0.5 * np.minimum(1.0, self.cases.most_swollen / np.maximum(bath, 1e-300))

    def taken(self, w: np.ndarray) -> np.ndarray:
        """kg (d, t, p, q) of water, brine side, taken up at each place since the start, from the salt there (d, t, p, q or more: `rows`)."""
        before, floor = self._begun
        found = self.cases.water_held(np.maximum(w[..., : self.start.shape[2]], floor[:, None]))
        found -= before[:, None]
        found *= self._held_by[1][:, None]
        return found

    def of(self, places: tuple[int, ...]) -> Swelling:
        """Some of the pieces."""
        if len(places) == len(self.meats):
            return self
        known = self.__dict__.setdefault("_some", {})
        if places not in known:
            chosen = tuple(self.meats[n] for n in places)
            made = Swelling(chosen, self.cases, self.start[:, list(places)], self.reach)
            known[places] = made
        return known[places]


def places(meat: Meat) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows (q, r), volumes (q,) and tissues (q,) of the places of the lean."""
    return lean_places(meat.body, tuple(meat.lean.tolist()))


def lean_places(body: Body | Solid, lean: tuple[bool, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As `places`, of a body whose tissues `lean` count; kept with the body."""
    known = body.__dict__.setdefault("_lean_places", {})
    if lean not in known:
        known[lean] = body.places(np.array(lean))
    return known[lean]


def swellings(meats: Sequence[Meat], every: Sequence[Alike], start: np.ndarray, bath: np.ndarray, cases: Cases) -> tuple[Swelling, ...]:  # fmt: skip
    """One for each group of pieces, from the terms (d, n) of salt as a stretch begins; bath (d,): kg of water of the bath, inf where it is
    endless.
    """
    most = np.maximum(cases.most_held(), 0.0) * sum(meat.weight * meat.partition for meat in meats)
    reach = np.minimum(1.0, MOST_OF_BATH * bath / np.maximum(most, 1e-300))
    found = []
    for some in every:
        own = tuple(meats[number] for number in some.numbers)
        found.append(Swelling(own, cases, np.maximum(some.read(start, places(own[0])[0]), 0.0), reach))
    return tuple(found)
