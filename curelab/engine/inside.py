"""What is inside pieces that are alike, read at once at any time of a stretch: amounts, water, places, profiles.

Every answer is (d, t, p, ...): cases, times in s since the stretch began, pieces. What is the same for several readings is remembered by
the run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from .alike import Alike
from .meat import Meat
from .water import Swelling

if TYPE_CHECKING:
    from .run import Run

PLACES_AT_ONCE = 2_000_000  # values among which the slowest spot is looked for at once
BLOCK = 400_000  # terms of many pieces that are read at once: each is read at two or three places


@dataclass(frozen=True, eq=False)
class Inside:
    """Alike pieces of one run."""

    run: Run
    some: Alike

    @cached_property
    def meats(self) -> tuple[Meat, ...]:
        return tuple(self.run.meats[n] for n in self.some.numbers)

    @cached_property
    def swelling(self) -> Swelling:
        """What they take up, where anything swells."""
        assert self.run.swelling is not None
        every = zip(self.run.alike, self.run.swelling, strict=True)
        group, swelling = next(each for each in every if self.some.numbers[0] in each[0].numbers)
        return swelling.of(tuple(map(group.numbers.index, self.some.numbers)))

    @cached_property
    def _columns(self) -> dict[str, np.ndarray]:
        return {}

    def _column(self, name: str) -> np.ndarray:
        """(d, p, ...) of what each of them has, by its name in `Meat`."""
        if name not in self._columns:
            self._columns[name] = _side_by_side([getattr(meat, name) for meat in self.meats], axis=1)
        return self._columns[name]

    def _each(self, read: Callable[[int], np.ndarray]) -> np.ndarray:
        """(d, t, p, ...) of what `read` makes of the number of each piece, (d, t, ...)."""
        return _side_by_side([read(n) for n in self.some.numbers], axis=2)

    def _once(self, key: tuple, times: np.ndarray, make: Callable[[], Any], passing: bool = False) -> Any:
        kept = self.run.passing if passing else self.run.kept
        return self.run.once((*key, self.some.numbers), times, make, kept)

    def _in_blocks(
        self, times: np.ndarray, make: Callable[[np.ndarray], tuple[np.ndarray, ...]]
    ) -> tuple[np.ndarray, ...]:
        """What `make` makes of these times, (d, t, ...) each: not of all at once where many pieces are read at many places."""
        step = max(1, BLOCK // (len(times) * self.some.nodes.size))
        if len(self.some.numbers) == 1 or step >= times.shape[1]:
            return make(times)
        parts = [make(times[:, begin : begin + step]) for begin in range(0, times.shape[1], step)]
        return tuple(np.concatenate(each, axis=1) for each in zip(*parts, strict=True))

    def _states(self, name: str, times: np.ndarray, rows: np.ndarray, bath: bool = False) -> np.ndarray:
        """Sums (d, t, p, k) over the terms of each by `rows` (k, r), and behind them what the bath is at, where `bath` asks for it."""
        run, one = self.run, len(self.some.numbers) == 1 and times is not self.run.ended_at
        if one:
            more = (np.concatenate([rows, rows[:1] * 0.0]), np.append(np.zeros(len(rows)), 1.0)) if bath else (rows,)
            return run.states(name, times, run.row(self.some.numbers[0], *more))[:, :, None]
        whole = run.whole(name, times)
        found = self.some.read(whole, rows)
        if not bath:
            return found
        return np.concatenate([found, np.broadcast_to(whole[:, :, None, -1:], (*found.shape[:3], 1))], axis=3)

    def _sums(self, name: str, times: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Sums (d, t, p) over the terms of each by a row of its own, (d or 1, p, r)."""
        if len(self.some.numbers) == 1:
            return self.run.states(name, times, self.run.row(self.some.numbers[0], rows))
        return np.einsum("dtpr,dpr->dtp", self.some.terms(self.run.whole(name, times)), rows)

    # -- water that moves ----------------------------------------------------------------------------------------------

    def _lean(self, name: str, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """w (d, t, p, q + l) at the places of the lean, the integral over each tissue that is not lean; and of the bath (d, t). As it is, rounding
        below 0 included: it is summed to amounts.
        """
        w = self._once(
            (name, "lean"), times, lambda: self._states(name, times, self.swelling.rows, bath=True), passing=True
        )
        return w[..., :-1], w[:, :, 0, -1]

    def _places(self, times: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """kg of water, brine side, that each place of the lean took up since the stretch began (d, t, p, q), and all of a piece (d, t, p); water
        in the lean over what it held then (d, t, p); the share of the bath (d, t) in what this water carries.
        """

        def make() -> tuple[np.ndarray, ...]:
            lean, bath = self._lean("salt", times)
            each = self.swelling.taken(lean)
            whole = each.sum(axis=3)
            return each, whole, 1 + whole / self.swelling.held[:, None], self.swelling.of_bath(bath)

        return self._once(("places",), times, make, passing=True)

    def water(self, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """kg of water, brine side, that the lean took up since the stretch began; water in it over what it held then."""
        return self._once(("water",), times, lambda: self._in_blocks(times, lambda some: self._places(some)[1:3]))

    def brought(self, name: str, times: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """kg of a solute that came with this water, which mixes on its way with what is there; w in the lean, with all that it holds and all
        its water, over that of the network; kg in the pieces without it.
        """

        def make(times: np.ndarray) -> tuple[np.ndarray, ...]:
            each, whole, swollen, share = self._places(times)
            lean, bath = self._lean(name, times)
            swelling, count = self.swelling, each.shape[3]
            carried = (1 - share)[..., None] * np.einsum("dtpq,dtpq->dtp", each, lean[..., :count])
            carried += (share * bath)[..., None] * whole
            every = own = np.einsum("dtpq,dpq->dtp", lean, swelling.capacity)
            if not self.meats[0].swells.all():
                own = np.einsum("dtpq,dpq->dtp", lean[..., :count], swelling.capacity[..., :count])
            counts = own > 1e-9 * bath[..., None] * swelling.held[:, None]  # what is less is rounding
            more = np.where(counts, carried, 0.0) / np.where(counts, own, 1.0)
            return carried, (1 + more) / swollen, every

        return self._once((name, "brought"), times, lambda: self._in_blocks(times, make))

    @property
    def touched(self) -> np.ndarray:
        """(l,) the tissues whose water changes."""
        meat = self.meats[0]
        return meat.swells if self.run.heat is None else np.ones_like(meat.swells)

    def stronger(self, name: str, times: np.ndarray) -> np.ndarray:
        """w in these tissues over that of the network: by what water brought, or by vapour that left; 1 where no water moves."""
        heat = self.run.heat
        if heat is not None:
            return self._each(lambda n: heat.thicker(n, times))
        if self.run.swelling is None or self.run.home(name) is None:
            return np.ones((len(self.run.begin), 1, len(self.some.numbers)))
        return self.brought(name, times)[1]

    def _water_left(self, times: np.ndarray) -> np.ndarray:
        """Water in these tissues over what they held as the stretch began."""
        heat = self.run.heat
        if heat is not None:
            return self._each(lambda n: heat.kept(n, times) / heat.thicker(n, times))
        if self.run.swelling is None:
            return np.ones((len(self.run.begin), 1, len(self.some.numbers)))
        return self.water(times)[1]

    def water_change(self, times: np.ndarray) -> np.ndarray:
        """Water taken up or given off, as a fraction of the green weight: it follows the salt in the water of each place, or the heat."""
        run = self.run
        before = _side_by_side([run.water_before[n] for n in self.some.numbers], axis=1)[:, None]
        if run.heat is not None:
            return before - self._each(lambda n: run.heat.given(n, times))  # type: ignore[union-attr]
        if run.swelling is None:
            return np.broadcast_to(before, (*times.shape, len(self.some.numbers)))
        return before + self.water(times)[0] / (self._column("partition") * self._column("weight"))[:, None]

    def held_water(self, times: np.ndarray) -> np.ndarray:
        """kg of water, brine side."""
        held = self._column("held")[:, None]
        if self.run.heat is not None:
            return held * self._water_left(times)
        if self.run.swelling is None:
            return np.broadcast_to(held, (*times.shape, len(self.some.numbers)))
        return held + self.water(times)[0]

    # -- amounts and weight --------------------------------------------------------------------------------------------

    def network(self, name: str, times: np.ndarray) -> np.ndarray:
        """kg in the water that a piece held as the stretch began."""
        return self._once(
            (name, "network"), times, lambda: np.maximum(self._sums(name, times, self._column("total")), 0.0)
        )

    def amount(self, name: str, times: np.ndarray) -> np.ndarray:
        """kg."""
        heat = self.run.heat
        if heat is not None:
            return self.network(name, times) * self._each(lambda n: heat.kept(n, times))
        if self.run.swelling is None or self.run.home(name) is None:
            return self.network(name, times)
        carried, _, held = self.brought(name, times)
        return np.maximum(held + carried, 0.0)

    def weight(self, times: np.ndarray) -> np.ndarray:
        """kg: green weight, in which a piece's own salt is, water change, and what was taken up."""

        def make() -> np.ndarray:
            held = sum(self.amount(name, times) for name in self.run.tracers)
            dry = self._column("weight")[:, None] * (1 + self.water_change(times))
            return dry + held - self._column("own_salt")[:, None]

        return self._once(("weight",), times, make)

    # -- places --------------------------------------------------------------------------------------------------------

    def _shares(self, times: np.ndarray) -> np.ndarray:
        """(d, t, p, f) weight of the bath in the value at each face, as the pieces lie at these times."""
        run, numbers = self.run, self.some.numbers
        found = []
        for each in run.lying:
            if each.shares is None:
                return np.zeros((1, 1, 1, len(self.meats[0].body.faces)))
            found.append(_side_by_side([each.shares[n] for n in numbers], axis=1)[:, None])
        if len(found) == 1 or not len(run.turns):
            return found[0]
        turned = np.searchsorted(run.turns, times, side="left") % len(found)
        return np.where((turned == 0)[..., None, None], *found)

    def per_tissue(self, times: np.ndarray, tissues: np.ndarray) -> np.ndarray:
        """kg (d, t, p, k) of solute per kg of green tissue for w = 1, in these tissues (k,)."""
        left = np.where(self.touched[tissues], self._water_left(times)[..., None], 1.0)
        return self._column("per_tissue")[:, None, :, tissues] * left

    def risen(self, name: str, times: np.ndarray, tissues: np.ndarray) -> np.ndarray:
        """(d, t, p, k) as `stronger`, in these tissues (k,); 1 in those whose water stays."""
        return np.where(self.touched[tissues], self.stronger(name, times)[..., None], 1.0)

    def local(self, name: str, place: str, times: np.ndarray) -> np.ndarray:
        """w at the core, on average, or at the surface: the saltier of the faces; under a fat cap the outermost lean."""
        if place == "average":
            return self.amount(name, times) / self.held_water(times)
        if place == "core":
            return self.run.raised(name, self._slowest(name, times), self.stronger(name, times))
        meat = self.meats[0]
        rims = meat.body.rims(meat.lean)
        rows = np.array([row for _, row in rims])
        inside = self._once(
            (name, "rims"), times, lambda: self.run.cut(name, self._states(name, times, rows)), passing=True
        )
        bath, share, risen = self.run.bath(name, times)[..., None], self._shares(times), self.stronger(name, times)
        sides = [
            inside[..., n] * risen if face is None else _at_face(share[..., face], bath, inside[..., n], risen)
            for n, (face, _) in enumerate(rims)
        ]
        return np.max(sides, axis=0)

    def _slowest(self, name: str, times: np.ndarray) -> np.ndarray:
        """w at the slowest spot, found anew at every time."""

        def one(number: int) -> np.ndarray:
            spots = self.run.meats[number].spots
            rows = self.run.row(number, spots.rows)
            found = np.empty(times.shape)
            step = max(1, PLACES_AT_ONCE // (len(times) * rows.count))
            for begin in range(0, times.shape[1], step):
                block = slice(begin, begin + step)
                found[:, block] = spots.value(self.run.states(name, times[:, block], rows))
            return found

        def make() -> np.ndarray:
            if len(self.some.numbers) == 1 or self.meats[0].spots.lag is not None:
                return self.run.cut(name, self._each(one))
            rows = [np.broadcast_to(meat.spots.rows[..., 0, :], meat.capacity.shape) for meat in self.meats]
            return self.run.cut(name, self._sums(name, times, np.stack(rows, axis=1)))

        return self._once((name, "core"), times, make)

    def on_basis(self, name: str, w: np.ndarray, basis: str, times: np.ndarray, per_tissue: np.ndarray) -> np.ndarray:
        """w (d, t, p, ...) as a fraction on a named basis; `per_tissue`: kg of solute per kg of green tissue for w = 1, broadcasts with w."""
        more = (1,) * (w.ndim - 3)
        if basis == "equilibrium":
            goals = [self.run.equilibrium(name, n) for n in self.some.numbers]
            goal = _side_by_side(goals, axis=1).reshape(-1, 1, len(goals), *more)
            return np.where(goal > 0, w / np.where(goal > 0, goal, 1.0), 0.0)
        if basis == "water phase":
            inside = w * self._column("partition").reshape(-1, 1, len(self.some.numbers), *more)
            return inside / (1 + inside)
        green = w * per_tissue
        if basis == "green weight":
            return green
        others = 1 + self.water_change(times)
        if name == "salt":
            others = others - (self._column("own_salt") / self._column("weight"))[:, None]
        whole = others.reshape(*others.shape, *more) + green
        return np.divide(green, whole, out=whole)

    def read(self, name: str, place: str, basis: str, times: np.ndarray) -> np.ndarray:
        """Fraction of a quantity at a place on a basis."""

        def make() -> np.ndarray:
            if place == "average":
                if basis == "meat":
                    return self.amount(name, times) / self.weight(times)
                per_tissue = self.held_water(times) / self._column("weight")[:, None]
            else:
                per_tissue = self.per_tissue(times, np.flatnonzero(self.meats[0].lean)[:1])[..., 0]
            return self.on_basis(name, self.local(name, place, times), basis, times, per_tissue)

        return self._once(("read", name, place, basis), times, make)

    def profile(self, name: str, basis: str, times: np.ndarray, numbers: np.ndarray) -> np.ndarray:
        """Fractions (d, t, p, x) at some places of a profile, by their `numbers`, faces included."""

        tissues = self.meats[0].body.within[numbers]

        def make(times: np.ndarray) -> tuple[np.ndarray]:
            w = self._across(name, times, numbers, tissues)
            return (self.on_basis(name, w, basis, times, self.per_tissue(times, tissues)),)

        if len(self.some.numbers) == 1:
            return make(times)[0]
        key = (name, "profile", basis, numbers.tobytes())
        return self._once(key, times, lambda: self._in_blocks(times, make), passing=True)[0]

    def _across(self, name: str, times: np.ndarray, numbers: np.ndarray, tissues: np.ndarray) -> np.ndarray:
        """w of the same."""
        body = self.meats[0].body
        w = self.run.cut(name, self._states(name, times, body.rows[numbers], bath=True))
        w, bath = w[..., :-1], w[..., -1]
        risen, share = self.risen(name, times, tissues), self._shares(times)
        faces = {
            place: _at_face(share[..., face], bath, w[..., place], risen[..., place])
            for point, face in body.at_face.items()
            for place in np.flatnonzero(numbers == point)
        }
        w = self.run.raised(name, w, risen)
        for place, value in faces.items():
            w[..., place] = value
        return w


def _side_by_side(columns: list[np.ndarray], axis: int) -> np.ndarray:
    """Stacked along an axis of pieces; a view where there is one."""
    return np.expand_dims(columns[0], axis) if len(columns) == 1 else np.stack(columns, axis=axis)


def _at_face(share: np.ndarray, bath: np.ndarray, inside: np.ndarray, risen: np.ndarray) -> np.ndarray:
    """w at a face, from `share`, the weight of the bath, the bath and the outermost value inside in the network, and how much more that is
    with what water brought; no saltier than the bath, or than without it.
    """
    level = share * bath + (1 - share) * inside
    return np.minimum(level * risen, np.maximum(bath, level))
