"""What one stretch with one bath did, readable at any time: legs of exact modes, and the places where a cook looks.

simulate.py makes these; history.py strings them together. Times here are seconds since the run began.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..recipe.criterion import Criterion
from ..recipe.stages import AnyStage
from ..transport.modes import Modes
from .assembly import Body, Clock, Wiring

TRACERS = ("salt", "sugar", "nitrate", "nitrite")
FREE = "free nitrite"
HALVINGS = 4  # of a search that are read at once: fifteen times in one reading cost little more than a single one
QUANTITIES = (*TRACERS, FREE)


@dataclass(frozen=True)
class Leg:
    """Time from `begin` to `end` on unchanging modes; start (s, n) and ratios (s,) of the solutes on it; `reserve`: undissolved kg."""

    begin: float
    end: float
    modes: Modes
    start: np.ndarray
    ratios: np.ndarray
    clock: Clock
    reserve: float = 0.0

    def _tau(self, times, which=slice(None)):
        return self.ratios[which, None] * (self.clock(times) - self._from)

    @cached_property
    def _from(self) -> np.ndarray:
        return self.clock(np.array(self.begin))

    def states(self, times: np.ndarray, which: slice = slice(None)) -> np.ndarray:
        """w (s, t, n) of all solutes or `which`."""
        return self.modes.at(self.start[which], self._tau(times, which))

    @cached_property
    def _begun(self):
        return [self.modes.begin(self.start[n : n + 1]) for n in range(len(self.start))]

    def read(self, times: np.ndarray, place: int, onto) -> np.ndarray:
        """Readings (t, k) of one solute: weighted sums of w, `onto` made by `Modes.onto`."""
        return self.modes.read(self._begun[place], self._tau(times, slice(place, place + 1)), onto)[0]

    def supplied(self, times: np.ndarray) -> np.ndarray:
        """kg (s, t) that a held bath has given since the leg began."""
        return self.modes.supplied(self.modes.integral(self.start, self._tau(times)))

    def lost(self, times: np.ndarray) -> np.ndarray:
        """kg (s, t) that reacted since the leg began."""
        return self.modes.lost(self.modes.integral(self.start, self._tau(times)))


@dataclass(frozen=True)
class Track:
    """Solutes that share their legs."""

    names: tuple[str, ...]
    legs: tuple[Leg, ...]

    def states(self, times: np.ndarray, place: int) -> np.ndarray:
        """w (t, n) of one solute; a time on the border of two legs belongs to the earlier one."""
        which = slice(place, place + 1)
        return self._gather(times, lambda leg, t: leg.states(t, which)[0])

    def at(self, time: float) -> np.ndarray:
        """w (s, n) of all its solutes at one time."""
        owner = min(int(np.searchsorted(self._ends, time, side="left")), len(self.legs) - 1)
        return self.legs[owner].states(np.array([time]))[:, 0]

    def read(self, times: np.ndarray, place: int, onto) -> np.ndarray:
        """Readings (t, k) of one solute; `onto(modes)` gives what `Modes.onto` makes of the columns."""
        return self._gather(times, lambda leg, t: leg.read(t, place, onto(leg.modes)))

    @cached_property
    def _ends(self) -> np.ndarray:
        return np.array([leg.end for leg in self.legs])

    def _gather(self, times: np.ndarray, one) -> np.ndarray:
        """`one(leg, times)` over the legs that own the times, put together in order."""
        if len(self.legs) == 1:
            return one(self.legs[0], times)
        owner = np.minimum(np.searchsorted(self._ends, times, side="left"), len(self.legs) - 1)
        result: np.ndarray | None = None
        for number in sorted(set(owner.tolist())):
            chosen = owner == number
            value = one(self.legs[number], times[chosen])
            if result is None:
                result = np.empty((len(times), value.shape[1]))
            result[chosen] = value
        assert result is not None
        return result

    def total(self, what: str, length: float) -> np.ndarray:
        """Sum (s,) of `supplied` or `lost` over the legs, up to `length`."""
        return sum(
            (getattr(leg, what)(np.array([min(leg.end, length)]))[:, 0] for leg in self.legs if leg.begin < length),
            start=np.zeros(len(self.names)),
        )

    def undissolved(self, times: np.ndarray) -> np.ndarray:
        """kg (t,) of dry salt that lies in the bag (only the first leg of a sealed cure has any)."""
        first = self.legs[0]
        if not first.reserve:
            return np.zeros(len(times))
        return np.where(
            times <= first.end, np.maximum(first.reserve - first.supplied(np.minimum(times, first.end))[0], 0.0), 0.0
        )


@dataclass(frozen=True)
class Run:
    """One stretch with one bath.

    length [s] it lasted (`longest` was allowed); reached: whether its criterion was met (None: it had none) and by how much not;
    water [kg] in the bath; wirings: one for each way the piece lies; turns [s].
    """

    stage: AnyStage
    index: int
    label: str
    begin: float
    longest: float
    length: float
    water: float
    running: bool
    wirings: tuple[Wiring, ...]
    turns: np.ndarray
    bodies: tuple[Body, ...]
    tracks: tuple[Track, ...]
    clock: Clock
    water_before: tuple[float, ...]
    water_target: float | None = None
    reached: bool | None = None
    shortfall: float = 0.0

    @property
    def end(self) -> float:
        return self.begin + self.length

    @cached_property
    def sealed(self) -> bool:
        """Whether nothing can enter or leave the pieces."""
        return not len(self.wirings[0].network.a) or self.wirings[0].bath not in self.wirings[0].network.a

    @cached_property
    def _home(self) -> dict[str, tuple[Track, int]]:
        return {name: (track, place) for track in self.tracks for place, name in enumerate(track.names)}

    def states(self, name: str, times: np.ndarray) -> np.ndarray:
        """w (t, n): kg of solute per kg of water, brine side; cells in the order of the wiring, bath last."""
        if name not in self._home:
            return np.zeros((len(times), len(self.wirings[0].network.capacity)))
        track, place = self._home[name]
        return track.states(times, place)

    def start(self, name: str) -> np.ndarray:
        """w (n,) as the run begins."""
        if name not in self._home:
            return np.zeros(len(self.wirings[0].network.capacity))
        track, place = self._home[name]
        return track.legs[0].start[place]

    @cached_property
    def _columns(self) -> tuple[np.ndarray, dict]:
        """Weighted sums of w that every question needs, (n, k), and where each stands: per piece its amount, the outermost cells,
        the outermost lean, the lean cell nearest to the core, and the core; and the bath."""
        size = len(self.wirings[0].network.capacity)
        columns: list[np.ndarray] = []
        where: dict = {}

        def add(key, nodes, weights):
            column = np.zeros(size)
            column[nodes] = weights
            where[key] = len(columns)
            columns.append(column)

        for piece, (nodes, body) in enumerate(zip(self.wirings[0].slices, self.bodies, strict=True)):
            lean = np.flatnonzero(body.lean) + nodes.start
            add((piece, "amount"), nodes, body.chain.capacity)
            for key, node in (
                ("first", nodes.start),
                ("last", nodes.stop - 1),
                ("lean first", lean[0]),
                ("lean last", lean[-1]),
                ("lean middle", lean[np.argmin(np.abs(body.chain.centres[body.lean] - body.place))]),
            ):
                add((piece, key), node, 1.0)
            add((piece, "core"), nodes, body.core)
        add("bath", self.wirings[0].bath, 1.0)
        return np.array(columns).T, where

    @cached_property
    def _seen(self) -> dict:
        return {}

    def readings(self, name: str, times: np.ndarray) -> np.ndarray:
        """(t, k) of `_columns`; the last few asked for are remembered, because most questions ask at the same times."""
        columns, _ = self._columns
        if name not in self._home:
            return np.zeros((len(times), columns.shape[1]))
        key = (name, times.tobytes())
        if key not in self._seen:
            if len(self._seen) >= 32:
                self._seen.clear()
            track, place = self._home[name]
            self._seen[key] = np.maximum(track.read(times, place, self._onto), 0.0)
        return self._seen[key]

    @cached_property
    def _projections(self) -> dict[int, tuple]:
        return {}

    def _onto(self, modes: Modes) -> tuple:
        """The columns seen by the modes of a leg, made once for each."""
        key = id(modes)  # the legs keep their modes alive as long as this run
        if key not in self._projections:
            self._projections[key] = modes.onto(self._columns[0])
        return self._projections[key]

    def _reading(self, name: str, times: np.ndarray, *keys) -> np.ndarray:
        """(t,) of one column, or (t, n) of several."""
        found = self.readings(name, times)
        where = self._columns[1]
        return found[:, where[keys[0]]] if len(keys) == 1 else found[:, [where[key] for key in keys]]

    def amount(self, name: str, times: np.ndarray, piece: int) -> np.ndarray:
        """kg (t,) in one piece."""
        return self._reading(name, times, (piece, "amount"))

    def bath_w(self, name: str, times: np.ndarray) -> np.ndarray:
        """w (t,) of the bath."""
        return self._reading(name, times, "bath")

    def bath_amount(self, name: str, times: np.ndarray) -> np.ndarray:
        """kg (t,) in the bath, dry salt included; zero for a running bath, which is counted by what it gives."""
        if self.running or self.sealed:
            return np.zeros(len(times))
        return self.bath_w(name, times) * self.water + (
            self._home[name][0].undissolved(times) if name in self._home else 0.0
        )

    def equilibrium(self, name: str, piece: int = 0) -> float:
        """w at which this run would come to rest; for free nitrite that of nitrite as added."""
        key = ("nitrite" if name == FREE else name, piece if self.sealed else 0)
        if key not in self._goals:
            self._goals[key] = self._goal(*key)
        return self._goals[key]

    @cached_property
    def _goals(self) -> dict[tuple[str, int], float]:
        return {}

    def _goal(self, name: str, piece: int) -> float:
        start, bath = self.start(name), self.wirings[0].bath
        if self.running:
            return float(start[bath])
        pieces = [piece] if self.sealed else range(len(self.bodies))
        capacity = [self.bodies[number].chain.capacity for number in pieces]
        amount = sum(float(start[self.wirings[0].slices[n]] @ held) for n, held in zip(pieces, capacity, strict=True))
        water = sum(float(held.sum()) for held in capacity)
        if self.sealed:
            return amount / water
        reserve = self._home[name][0].legs[0].reserve if name in self._home else 0.0
        w = (amount + float(start[bath]) * self.water + reserve) / (water + self.water)
        return min(w, float(start[bath])) if reserve else w  # salt that never dissolves leaves the purge saturated

    def resting(self, name: str, piece: int) -> float:
        """Fraction of the meat of a piece if this run went on until nothing moves: where it is heading."""
        body = self.bodies[piece]
        green = body.piece.weight
        change = self.water_before[piece] if self.water_target is None else self.water_target
        held = {other: self.equilibrium(other, piece) * body.chain.capacity.sum() for other in TRACERS}
        return held["nitrite" if name == FREE else name] / (green * (1 + change) + sum(held.values()))

    def water_change(self, piece: int, times: np.ndarray) -> np.ndarray:
        """Water taken up or given off (t,), as a fraction of the green weight: from what it was towards the target, as salt goes."""
        before = self.water_before[piece]
        if self.water_target is None:
            return np.full(len(times), before)
        held = self.bodies[piece].chain.capacity.sum()
        first = float(self.start("salt")[self.wirings[0].slices[piece]] @ self.bodies[piece].chain.capacity) / held
        goal = self.equilibrium("salt", piece) - first
        if abs(goal) < 1e-12:
            return np.full(len(times), before)
        gone = np.clip((self.amount("salt", times, piece) / held - first) / goal, 0.0, 1.0)
        return before + (self.water_target - before) * gone

    def weight(self, piece: int, times: np.ndarray) -> np.ndarray:
        """kg (t,) of the piece: green weight, water change, and what was taken up."""
        green = self.bodies[piece].piece.weight
        return green * (1 + self.water_change(piece, times)) + sum(self.amount(name, times, piece) for name in TRACERS)

    def faces(self, name: str, times: np.ndarray, piece: int) -> np.ndarray:
        """w (t, 2) at the two ends of the chain; where there is no bath, that of the outermost cell."""
        outer = self._reading(name, times, (piece, "first"), (piece, "last"))
        turned = np.searchsorted(self.turns, times, side="left") % len(self.wirings)
        share = np.array([wiring.face_shares[piece] for wiring in self.wirings])[turned]
        return share * self.bath_w(name, times)[:, None] + (1 - share) * outer

    def local(self, name: str, place: str, times: np.ndarray, piece: int) -> np.ndarray:
        """w (t,) at the core, on average, or at the surface.

        The surface is the saltier of the faces; under a fat cap it is the outermost lean.
        """
        body = self.bodies[piece]
        if place == "average":
            return self.amount(name, times, piece) / body.chain.capacity.sum()
        if place == "core":
            return self._reading(name, times, (piece, "core"))
        ends = self.faces(name, times, piece)
        lean_ends = self._reading(name, times, (piece, "lean first"), (piece, "lean last"))
        sides = [ends[:, 1] if body.lean[-1] else lean_ends[:, 1]]
        if body.chain.area[0] > 0:
            sides.append(ends[:, 0] if body.lean[0] else lean_ends[:, 0])
        return np.max(sides, axis=0)

    def on_basis(self, name: str, w: np.ndarray, basis: str, times: np.ndarray, piece: int, per_tissue) -> np.ndarray:
        """w as a fraction on a named basis; `per_tissue`: kg of solute per kg of green tissue for w = 1, at the place of w."""
        if basis == "equilibrium":
            goal = self.equilibrium(name, piece)
            return w / goal if goal > 0 else np.zeros_like(w)
        if basis == "water phase":
            inside = w * self.bodies[piece].partition
            return inside / (1 + inside)
        green = w * per_tissue
        if basis == "green weight":
            return green
        others = (1 + self.water_change(piece, times)).reshape((-1,) + (1,) * (w.ndim - 1))
        return green / (others + green) if basis == "meat" else _unknown(basis)

    def read(self, name: str, place: str, basis: str, times: np.ndarray, piece: int) -> np.ndarray:
        """Fraction (t,) of a quantity at a place on a basis."""
        body = self.bodies[piece]
        if place == "average":
            per_tissue = body.chain.capacity.sum() / body.tissue_mass.sum()
            if basis == "meat":
                return self.amount(name, times, piece) / self.weight(piece, times)
        else:
            first = int(np.flatnonzero(body.lean)[0])
            per_tissue = body.chain.capacity[first] / body.tissue_mass[first]
        return self.on_basis(name, self.local(name, place, times, piece), basis, times, piece, per_tissue)

    def profile(self, name: str, basis: str, times: np.ndarray, piece: int) -> tuple[np.ndarray, np.ndarray]:
        """(depth (d,) in m from the first face to the other, fractions (t, d)), faces included."""
        body = self.bodies[piece]
        chain = body.chain
        cells = self.states(name, times)[:, self.wirings[0].slices[piece]]
        ends = self.faces(name, times, piece)
        w = np.concatenate([ends[:, :1], cells, ends[:, 1:]], axis=1)
        depth = np.concatenate([chain.edges[:1], chain.centres, chain.edges[-1:]])
        per_tissue = chain.capacity / body.tissue_mass
        values = self.on_basis(
            name, w, basis, times, piece, np.concatenate([per_tissue[:1], per_tissue, per_tissue[-1:]])
        )
        if chain.area[0] == 0:  # measured from the middle: show both halves
            values = np.concatenate([values[:, :0:-1], values[:, 1:]], axis=1)
            depth = chain.edges[-1] + np.concatenate([-depth[:0:-1], depth[1:]])
        return depth, values

    def lean_cells(self, name: str, basis: str, times: np.ndarray, piece: int) -> np.ndarray:
        """Fractions (t, 3) in three cells of the lean: the first, the last, and the one nearest to the core. Far cheaper than `profile`."""
        body = self.bodies[piece]
        w = self._reading(name, times, *((piece, f"lean {which}") for which in ("first", "last", "middle")))
        lean = int(np.flatnonzero(body.lean)[0])
        return self.on_basis(name, w, basis, times, piece, body.chain.capacity[lean] / body.tissue_mass[lean])

    def margin(self, criterion: Criterion, times: np.ndarray, where: int | str = "every") -> np.ndarray:
        """(t,) how far the criterion is met: not negative where it holds in "every" piece, in "any", or in the piece with a number."""
        sign = 1.0 if criterion.sign == ">=" else -1.0
        margins = [
            sign * (self.read(criterion.quantity, criterion.place, criterion.basis, times, piece) - criterion.target)
            for piece in (range(len(self.bodies)) if isinstance(where, str) else [where])
        ]
        return np.max(margins, axis=0) if where == "any" else np.min(margins, axis=0)

    def first_time(self, criterion: Criterion, where: int | str = "every") -> float | None:
        """s since the run began when the criterion first holds (to a second); None if it does not within the run."""
        times = np.concatenate([[0.0], np.geomspace(1e-3, 1.0, 160) * self.length])
        met = np.flatnonzero(self.margin(criterion, times, where) >= 0)
        if not len(met):
            return None
        at = int(met[0])
        if at == 0:
            return 0.0
        low, high = float(times[at - 1]), float(times[at])
        while high - low > 1.0:  # keeps `high` on the side where it holds
            asked = np.array([low, high])
            for _ in range(HALVINGS):  # every middle that so many halvings may ask for, in one reading
                asked = np.insert(asked, range(1, len(asked)), 0.5 * (asked[1:] + asked[:-1]))
            holds = self.margin(criterion, asked, where) >= 0
            first, last = 0, len(asked) - 1
            while last - first > 1 and asked[last] - asked[first] > 1.0:
                middle = (first + last) // 2
                first, last = (first, middle) if holds[middle] else (middle, last)
            low, high = float(asked[first]), float(asked[last])
        return high

    def budget(self, name: str) -> dict[str, float]:
        """kg: what was in the meat, added, supplied by a running bath, lost; what is in meat and bath; and the relative residual."""
        zero, end = np.zeros(1), np.array([self.length])
        pieces = range(len(self.bodies))
        track = self._home[name][0] if name in self._home else None
        place = self._home[name][1] if name in self._home else 0
        before = sum(float(self.amount(name, zero, piece)[0]) for piece in pieces)
        added = float(self.bath_amount(name, zero)[0])
        supplied = float(track.total("supplied", self.length)[place]) if track and self.running else 0.0
        lost = float(track.total("lost", self.length)[place]) if track else 0.0
        in_meat = sum(float(self.amount(name, end, piece)[0]) for piece in pieces)
        in_bath = float(self.bath_amount(name, end)[0])
        brought = before + added + max(supplied, 0.0)
        taken = max(-supplied, 0.0)
        scale = brought if brought > 1e-250 else 1.0
        return {
            "in meat before": before,
            "added": added,
            "supplied": supplied,
            "in meat": in_meat,
            "in bath": in_bath,
            "lost": lost,
            "residual": (brought - taken - in_meat - in_bath - lost) / scale,
        }


def _unknown(basis):
    raise ValueError(f'"{basis}" is not one of meat, green weight, water phase, equilibrium')
