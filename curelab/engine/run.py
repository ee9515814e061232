"""One stretch with one bath, in every case, readable at any time.

Times here are seconds since the stretch began, (d, t), one row for each case. Longer than others because a stretch is read, in every
quantity and place, and searched, here alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from hashlib import blake2b
from typing import Any
from weakref import proxy

import numpy as np

from ..matter.solutes import SOLUTES
from ..recipe.criterion import TEMPERATURE, Criterion
from ..recipe.stages import Stage, Stretch
from ..transport.memory import PASSING, Kept
from ..transport.modes import Asked
from ..transport.rows import Rows
from ..transport.star import MANY, Solved
from .alike import Alike
from .broth import Lent
from .clock import Clock
from .heat import Heat, warmth_at
from .inside import Inside
from .meat import Meat
from .track import Track
from .water import Swelling

TRACERS = tuple(SOLUTES)
FREE = "free nitrite"
WATER = "water"
QUANTITIES = (*TRACERS, FREE)
COARSE = 160  # times at which a criterion is looked at first
COARSE_WHOLE = 27  # the same, for one on the average of pieces that swell
AT_ONCE = 16  # times that are read at once in many pieces
TERMS_AT_ONCE = 1_200_000  # of all pieces at all times, up to which many pieces are read together
AROUND = 6  # of the times to which halving would come: so many on both sides of a guess are read
EVEN = np.linspace(0.0, 1.0, 10)[1:-1]  # where a step is read when a guess was wrong
SECOND = 1.0  # s to which the time of a criterion is found


Where = int | str | tuple[int | str, ...]  # a piece by its number, "every", "any"; or several of them


Freed = tuple[
    Track, list[np.ndarray], Lent | None
]  # the track of free nitrite, its rates of loss, what its bath was lent


@dataclass(frozen=True, eq=False)
class Lying:
    """How the pieces lie in a bath: shares[piece] (d, f), the weight of the bath in the value at each face, None where sealed; `modes`
    makes the modes for a loss (d, n), None: without one; even: whether first and second face are met alike.
    """

    shares: tuple[np.ndarray, ...] | None
    modes: Callable[[np.ndarray | None], Solved]
    even: bool


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch that was computed.

    begin, longest, length (d,) in s; water (d,) kg of the bath; lying: one for each way the pieces lie; turns [s]. found (d,): s at which
    its criterion holds, inf: it does not; None: it has none. between (d, s, 2): least and most w that a tracer can have anywhere, for
    nothing that spreads leaves what is around it. water_before: what the water of each piece had changed by until then, as a
    fraction of the green weight; swelling: what those that are `alike` take up from here on, None: nothing; heat: what cooking or cooling does in it, where
    nothing swells; lent: what the bath was lent while it takes juice; after: the pieces as heat leaves them, None where there is none.
    """

    stage: Stage
    stretch: Stretch
    index: int
    begin: np.ndarray
    longest: np.ndarray
    length: np.ndarray
    water: np.ndarray
    lying: tuple[Lying, ...]
    turns: np.ndarray
    meats: tuple[Meat, ...]
    slices: tuple[slice, ...]
    alike: tuple[Alike, ...]
    tracks: tuple[Track, ...]
    clock: Clock
    between: np.ndarray
    water_before: tuple[np.ndarray, ...]
    swelling: tuple[Swelling, ...] | None = None
    found: np.ndarray | None = None
    free: Callable[[], Freed | None] | None = None  # makes the track of free nitrite
    heat: Heat | None = None
    lent: Lent | None = None
    after: tuple[Meat, ...] | None = None
    kept: Kept = field(default_factory=Kept, repr=False)
    passing: Kept = field(default_factory=partial(Kept, PASSING), repr=False, init=False)

    @property
    def label(self) -> str:
        return self.stretch.label

    @property
    def end(self) -> np.ndarray:
        """(d,) s since the start of the history."""
        return self.begin + self.length

    def ending_after(self, seconds: np.ndarray) -> Run:
        """The same, ended after so many s (d,) of it; what was computed is kept."""
        made = replace(self, length=np.minimum(seconds, self.length), kept=Kept())
        made.__dict__["_free"] = self._free
        return made

    @property
    def sealed(self) -> bool:
        """Whether nothing can enter or leave the pieces."""
        return self.stretch.sealed

    @property
    def size(self) -> int:
        """Number of nodes, the bath last."""
        return self.slices[-1].stop + 1

    @property
    def tracers(self) -> list[str]:
        """Those that there are any of."""
        return [name for name in TRACERS if name in self._tracers]

    @cached_property
    def _tracers(self) -> dict[str, tuple[Track, int]]:
        return {name: (track, place) for track in self.tracks for place, name in enumerate(track.names)}

    @cached_property
    def _free(self) -> Freed | None:
        return self.free() if self.free is not None else None

    def home(self, name: str) -> tuple[Track, int] | None:
        """The track of a quantity and its place on it; None: there is none of it."""
        if name == FREE:
            return None if self._free is None else (self._free[0], 0)
        return self._tracers.get(name)

    # -- sums over the nodes -------------------------------------------------------------------------------------------

    def states(self, name: str, times: np.ndarray, rows: Asked = None) -> np.ndarray:
        """Terms of w (d, t, n), bath last; or sums `rows` over the nodes, (d, t, k)."""
        rows = Rows.of(rows)
        home = self.home(name)
        if home is None:
            return np.zeros((*times.shape, self.size if rows is None else rows.count))
        return home[0].states(times, home[1], rows)

    def start(self, name: str) -> np.ndarray:
        """Terms of w (d, n) as the stretch begins."""
        home = self.home(name)
        return np.zeros((len(self.begin), self.size)) if home is None else home[0].begun[0][:, home[1]]

    def row(self, piece: int, inner: np.ndarray, bath: np.ndarray | None = None) -> Rows:
        """Rows over all nodes from rows (k, r) or (d, k, r) over the terms of one piece, and what the bath adds (k,)."""
        return Rows(self.size, inner, self.slices[piece].start, bath)

    def _asked(self, times: np.ndarray) -> tuple:
        """What times (d, t) are known by: their digest, for the times of many draws are as large as most answers."""
        last = self.__dict__.get("_last_asked")
        if last is None or last[0] is not times:
            digest = blake2b(times.tobytes(), digest_size=16).digest()
            last = self.__dict__["_last_asked"] = times, (times.shape, digest)
        return last[1]

    def once(self, key: tuple, times: np.ndarray, make: Callable[[], Any], kept: Kept | None = None) -> Any:
        """What `make` makes of these times (d, t), remembered by `key`, because most questions ask at the same times."""
        full, kept = (*key, *self._asked(times)), self.kept if kept is None else kept
        found = kept.get(full)
        if found is None:
            found = kept[full] = make()
        return found

    def whole(self, name: str, times: np.ndarray) -> np.ndarray:
        """Terms of w (d, t, n), for whoever reads several pieces or quantities of them."""
        if times is self.ended_at:
            return self.ended(name)[:, None]
        return self.once(("whole", name), times, lambda: self.states(name, times), self.passing)

    @cached_property
    def _together(self) -> tuple[Inside, ...]:
        run = proxy(self)  # which does not keep the run, so that what is no longer asked is let go at once
        return tuple(Inside(run, some) for some in self.alike)

    @cached_property
    def _alone(self) -> dict[int, Inside]:
        run = proxy(self)
        return {n: Inside(run, some.of((place,))) for some in self.alike for place, n in enumerate(some.numbers)}

    def inside(self, times: np.ndarray) -> Iterable[Inside]:
        """The pieces, as they are read at these times: those that are alike together where there are many, for what the network is at a time
        is most of the work, and the same for all of them; but not where that is much to hold.
        """
        many = len(self.meats) >= MANY and times.size * self.size <= TERMS_AT_ONCE
        return self._together if many or times is self.ended_at else self._alone.values()

    def _of(
        self, piece: int, times: np.ndarray, read: Callable[[Inside], np.ndarray], alone: bool = False
    ) -> np.ndarray:
        """(d, t, ...) of one piece out of what is read of all that are alike, (d, t, p, ...); alone: nobody asks for another one at these times."""
        if alone:
            return read(self._alone[piece])[:, :, 0]
        one = next(each for each in self.inside(times) if piece in each.some.numbers)
        return read(one)[:, :, one.some.numbers.index(piece)]

    def _summed(self, key: tuple, times: np.ndarray, rows: Callable[[], Rows]) -> np.ndarray:
        """States of a quantity, key[0], summed by `rows`, no lower than 0."""
        return self.once(key, times, lambda: np.maximum(self.states(key[0], times, rows()), 0.0))

    def _limits(self, name: str, axes: int) -> tuple[np.ndarray | float, np.ndarray]:
        """Least and most w of a quantity anywhere, each (d, 1, ...) with so many axes; free nitrite may be lost."""
        least, most = self.between[:, TRACERS.index("nitrite" if name == FREE else name)].T.reshape(
            2, -1, *(1,) * (axes - 1)
        )
        return (0.0 if name == FREE else least), most

    def cut(self, name: str, w: np.ndarray) -> np.ndarray:
        """w (d, t, ...) at places, cut in place where a ripple of the terms leaves what is possible; amounts are sums and never cut by it."""
        return np.clip(w, *self._limits(name, w.ndim), out=w)

    def raised(self, name: str, w: np.ndarray, risen: np.ndarray) -> np.ndarray:
        """w (d, t, ...) of the network at places, `risen` times as strong with what moving water brought."""
        if not self._moves:
            return w
        w = w * risen
        return w if self.heat is not None else np.minimum(w, self._limits(name, w.ndim)[1], out=w)

    def between_ended(self) -> np.ndarray:
        """`between` as the stretch ends: vapour alone makes what is left stronger."""
        if self.heat is None:
            return self.between
        drier = np.max([self.heat.thicker(piece, self.ended_at)[:, 0] for piece in range(len(self.meats))], axis=0)
        return self.between * np.stack([np.ones_like(drier), np.maximum(drier, 1.0)], axis=1)[:, None]

    def amount(self, name: str, times: np.ndarray, piece: int) -> np.ndarray:
        """kg (d, t) in one piece."""
        return self._of(piece, times, lambda one: one.amount(name, times))

    def in_juice(self, name: str, times: np.ndarray) -> np.ndarray:
        """kg (d, t) in the juice of all pieces that was given off in this stretch."""
        return sum((self.juice(name, times, n) for n in range(len(self.meats))), np.zeros(times.shape))

    def juice(self, name: str, times: np.ndarray, piece: int) -> np.ndarray:
        """kg (d, t) of a quantity, or of "water", in the juice that one piece gave off in this stretch."""
        if self.heat is None:
            return np.zeros(times.shape)
        if name == WATER:
            return self.heat.juice_given(piece, times) * self.meats[piece].weight[:, None]
        network = self._of(piece, times, lambda one: one.network(name, times))
        return network * (1 - self.heat.kept(piece, times))

    def bath_w(self, name: str, times: np.ndarray) -> np.ndarray:
        """w (d, t) of the bath, in the water that is left in it."""
        w = self.bath(name, times)
        if self.swelling is None or self.stretch.endless:
            return w
        return (w * self.water[:, None] - self._carried(name, times)) / self.bath_water(times)

    def bath(self, name: str, times: np.ndarray) -> np.ndarray:
        """w (d, t) of the bath in the network: what the faces meet."""
        return self._summed((name, "bath"), times, lambda: self.row(0, self.meats[0].body.rows[:1] * 0.0, np.ones(1)))[
            ..., 0
        ]

    def bath_level(self, name: str, times: np.ndarray) -> np.ndarray:
        """w (d, t) of the bath with the juice that has run into it."""
        if not self._catches:
            return self.bath_w(name, times)
        return self.bath_amount(name, times) / (self.water[:, None] + self._juice(times))

    def _lent(self, name: str, times: np.ndarray) -> np.ndarray | float:
        """kg (d, t) that the bath of the network was lent, so that the faces meet the broth with its juice."""
        home = self.home(name)
        lent = self.lent if name != FREE else self._free[2] if self._free is not None else None
        return 0.0 if home is None or lent is None else lent.until(times, home[1])

    @property
    def _catches(self) -> bool:
        """Whether juice runs into the bath."""
        return self.heat is not None and self.heat.heating.catches == "bath"

    def _juice(self, times: np.ndarray) -> np.ndarray:
        """kg (d, t) of juice that all pieces gave off in this stretch."""
        return self.in_juice(WATER, times)

    def bath_water(self, times: np.ndarray) -> np.ndarray:
        """kg (d, t) of water in the bath; that of an endless bath stays."""
        water = np.broadcast_to(self.water[:, None], times.shape)
        if self.swelling is None or self.stretch.endless:
            return water
        return (
            water
            - sum(one.water(times)[0].sum(axis=2) for one in self.inside(times)) / self.meats[0].partition[:, None]
        )

    def bath_amount(self, name: str, times: np.ndarray) -> np.ndarray:
        """kg (d, t) in the bath, dry salt included; zero for an endless bath, which is counted by what it gives."""
        if self.stretch.endless or self.sealed:
            return np.zeros(times.shape)
        home = self.home(name)
        dry = home[0].undissolved(times) if home is not None else 0.0
        caught = self.in_juice(name, times) - self._lent(name, times) if self._catches else 0.0
        gone = self._carried(name, times)
        water = self.water if self.lent is None else self.lent.water
        return self.bath(name, times) * water[:, None] + dry + caught - gone

    # -- water that moves ----------------------------------------------------------------------------------------------

    @cached_property
    def ended_at(self) -> np.ndarray:
        """(d, 1) s at which the stretch ends."""
        return self.length[:, None]

    def taken(self, piece: int, times: np.ndarray) -> np.ndarray:
        """kg (d, t) of water, brine side, that one piece took up since the stretch began."""
        if self.swelling is None:
            return np.zeros(times.shape)
        return self._of(piece, times, lambda one: one.water(times)[0])

    def _carried(self, name: str, times: np.ndarray) -> np.ndarray | float:
        """kg (d, t) of a solute that came with this water into all pieces."""
        if self.swelling is None or self.home(name) is None:
            return 0.0
        return sum(one.brought(name, times)[0].sum(axis=2) for one in self.inside(times))

    @cached_property
    def left(self) -> tuple[Meat, ...]:
        """The pieces as the stretch leaves them."""
        left = tuple(map(self.left_of, range(len(self.meats))))
        return self.meats if all(now is before for now, before in zip(left, self.meats, strict=True)) else left

    def left_of(self, piece: int) -> Meat:
        """A piece as the stretch leaves it."""
        if self.after is not None:
            return self.after[piece]
        taken = self.taken(piece, self.ended_at)[:, 0]
        return self.meats[piece].swollen(taken) if np.any(taken) else self.meats[piece]

    def handed(self, name: str) -> np.ndarray:
        """Terms of w (d, n) as the stretch ends, in the water that is there then."""
        w = self.ended(name)
        if not self._moves or self.home(name) is None:
            return w
        w = w.copy()
        for one in self._together:
            moved = one.meats[0].body.moved(one.touched)
            w[:, one.some.nodes] *= np.where(moved, one.stronger(name, self.ended_at)[:, 0, :, None], 1.0)
        return w

    def handed_by(self, piece: int, name: str) -> np.ndarray:
        """The same (d, r) of one piece."""
        return self.handed(name)[:, self.slices[piece]]

    @property
    def _moves(self) -> bool:
        """Whether water enters or leaves the pieces during the stretch."""
        return self.heat is not None or self.swelling is not None

    @cached_property
    def totals(self) -> np.ndarray:
        """(d, n) kg of solute in all pieces for each node at 1, nothing for the bath."""
        none = np.zeros((len(self.begin), 1))
        return np.concatenate([*[meat.total for meat in self.meats], none], axis=1)

    def ended(self, name: str) -> np.ndarray:
        """Terms of w (d, n) as the stretch ends."""
        found = self.kept.get(("ended", name))
        if found is None:
            found = self.kept["ended", name] = self.states(name, self.length[:, None])[:, 0]
        return found

    @cached_property
    def about(self) -> tuple[int, ...]:
        """Numbers of the pieces that its stage is about."""
        named = self.stage.named
        return tuple(n for n, meat in enumerate(self.meats) if not named or meat.piece.name in named)

    def start_amount(self, name: str, piece: int) -> np.ndarray:
        """kg (d,) in one piece as the stretch begins."""
        return (self.start(name)[:, self.slices[piece]] * self.meats[piece].total).sum(axis=1)

    # -- where it is heading -------------------------------------------------------------------------------------------

    def equilibrium(self, name: str, piece: int = 0) -> np.ndarray:
        """w (d,) at which this stretch would come to rest; for free nitrite that of nitrite as added."""
        key = ("nitrite" if name == FREE else name, piece if self.sealed or self.stage.named else 0)
        found = self.kept.get(("goal", *key))
        if found is None:
            found = self.kept["goal", *key] = self._goal(*key)
        return found

    def _goal(self, name: str, piece: int) -> np.ndarray:
        start = self.start(name)
        if self.stretch.endless:
            return start[:, -1]
        if self.sealed or piece not in self.about:
            return self.start_amount(name, piece) / self.meats[piece].held
        amount, held = (
            sum(each)
            for each in zip(*((self.start_amount(name, n), self.meats[n].held) for n in self.about), strict=True)
        )
        home = self.home(name)
        dry = home[0].reserve if home is not None and home[0].reserve is not None else np.zeros(len(start))
        w = (amount + start[:, -1] * self.water + dry) / (held + self.water)
        return np.where(dry > 0, np.minimum(w, start[:, -1]), w)  # salt that never dissolves leaves the bath saturated

    def resting(self, name: str, piece: int) -> np.ndarray:
        """Fraction (d,) of the meat of a piece if this stretch went on until nothing moves: where it is heading."""
        meat = self.meats[piece]
        taken = np.zeros(len(self.begin))
        if self.swelling is not None:
            own = self._alone[piece].swelling
            salt = self.equilibrium("salt", piece).reshape(-1, 1, 1, 1)
            taken = own.taken(np.broadcast_to(salt, (len(taken), 1, 1, own.start.shape[2])))[:, 0, 0].sum(axis=1)
        others = meat.weight * (1 + self.water_before[piece]) + taken / meat.partition - meat.own_salt
        held = {other: self.equilibrium(other, piece) * (meat.held + taken) for other in TRACERS}
        return held["nitrite" if name == FREE else name] / (others + sum(held.values()))

    # -- water and weight ----------------------------------------------------------------------------------------------

    def water_change(self, piece: int, times: np.ndarray) -> np.ndarray:
        """Water taken up or given off (d, t), as a fraction of the green weight."""
        return self._of(piece, times, lambda one: one.water_change(times))

    def water_ended(self) -> tuple[np.ndarray, ...]:
        """`water_change` (d,) of every piece as the stretch ends."""
        every = {
            n: w
            for one in self._together
            for n, w in zip(one.some.numbers, one.water_change(self.ended_at)[:, 0].T, strict=True)
        }
        return tuple(every[n] for n in range(len(self.meats)))

    def water_ended_of(self, piece: int) -> np.ndarray:
        """The same (d,) of one piece."""
        return self.water_change(piece, self.ended_at)[:, 0]

    def weight(self, piece: int, times: np.ndarray) -> np.ndarray:
        """kg (d, t) of a piece."""
        return self._of(piece, times, lambda one: one.weight(times))

    # -- readings at a place -------------------------------------------------------------------------------------------

    def local(self, name: str, place: str, times: np.ndarray, piece: int) -> np.ndarray:
        """w (d, t) of one piece at the core, on average, or at the surface."""
        return self._of(piece, times, lambda one: one.local(name, place, times))

    def temperature(self, place: str, times: np.ndarray, piece: int) -> np.ndarray:
        """K (d, t) at a place of a piece; where nothing is heated, that of its fridge."""
        if self.heat is None:
            return self.clock.temperature(times) + self.clock.warmer[:, None]
        return warmth_at(self.heat.through[piece], place, times)

    def read(self, name: str, place: str, basis: str, times: np.ndarray, piece: int, alone: bool = False) -> np.ndarray:
        """Fraction (d, t) of a quantity at a place of one piece on a basis; alone: of no other one at these times."""
        if name == TEMPERATURE:
            return self.temperature(place, times, piece)
        return self._of(piece, times, lambda one: one.read(name, place, basis, times), alone)

    def profile(
        self, name: str, basis: str, times: np.ndarray, piece: int, places=slice(None), alone: bool = False
    ) -> np.ndarray:
        """Fractions (d, t, x) at the places of a profile of the body, faces included; `places`: some of them only; alone: of no other piece at
        these times.
        """
        body = self.meats[piece].body
        if name == TEMPERATURE:
            if self.heat is not None:
                return self.heat.through[piece].warmth.profile_at(body.depth[places], times)
            fridge = self.temperature("core", times, piece)[..., None]
            return np.broadcast_to(fridge, (*times.shape, len(body.depth[places]))).copy()
        numbers = np.arange(len(body.depth))[places]
        return self._of(piece, times, lambda one: one.profile(name, basis, times, numbers), alone)

    def places(
        self, name: str, basis: str, times: np.ndarray, piece: int, rows: np.ndarray, tissues: np.ndarray
    ) -> np.ndarray:
        """Fractions (d, t, k) read by rows (k, r) over the terms of a piece, in these tissues (k,)."""
        if len(rows) > times.shape[1]:  # then the modes summed by all rows are more than the terms at all times
            w = self.states(name, times)[..., self.slices[piece]] @ rows.T
        else:
            w = self.states(name, times, self.row(piece, rows))
        one = self._alone[piece]
        w = self.raised(name, self.cut(name, w)[:, :, None], one.risen(name, times, tissues))
        return one.on_basis(name, w, basis, times, one.per_tissue(times, tissues))[:, :, 0]

    def slowest_place(self, name: str, times: np.ndarray, piece: int) -> tuple[np.ndarray, np.ndarray]:
        """(along, depth) (d, t) of the slowest spot, in units of the body."""
        spots = self.meats[piece].spots
        return spots.place(self.states(name, times, self.row(piece, spots.rows)))

    def lean_places(self, piece: int) -> np.ndarray:
        """Numbers of the places of a profile that lie in lean."""
        meat = self.meats[piece]
        return np.flatnonzero(meat.lean[meat.body.within])

    def mirrored(self, piece: int) -> bool:
        """Whether this stretch leaves a piece its own mirror image in every case, if it finds it so."""
        return self.meats[piece].body.sign is not None and all(each.even for each in self.lying)

    # -- criteria ------------------------------------------------------------------------------------------------------

    def margin(
        self, criterion: Criterion, times: np.ndarray, where: int | str = "every", alone: bool = True
    ) -> np.ndarray:
        """(d, t) how far the criterion is met: not negative where it holds in "every" piece, in "any", or in the piece with a number; alone: of
        which no other one is asked for at these times.
        """
        several, read = isinstance(where, str), (criterion.quantity, criterion.place, criterion.basis)
        margins = [
            criterion.margin(self.read(*read, times, piece, alone=alone and not several))
            for piece in (self.about if isinstance(where, str) else [where])
        ]
        return np.max(margins, axis=0) if where == "any" else np.min(margins, axis=0)

    def first_time(self, criterion: Criterion, where: Where = "every", near: float = SECOND) -> np.ndarray:
        """s (d,) since the stretch began when the criterion first holds; inf: it does not. Found to `near` s: up to SECOND on the side where it
        holds, else by a straight line within these. `where`: as in `margin`, or a tuple of them for (d, p) in one pass.

        Looked for on times that grow by 4 %, or 9 % for many pieces, then within one of their steps. A whole piece, which has no ripples and
        costs a reading of all its places where it swells, is looked at on times that grow by 30 %.
        """
        every = where if isinstance(where, tuple) else (where,)
        steps = COARSE if len(self.meats) < MANY else COARSE // 2
        if criterion.place == "average" and self.swelling is not None:
            steps = COARSE_WHOLE
        times = np.concatenate([[0.0], np.geomspace(1e-3, 1.0, steps)]) * self.length[:, None]
        found = [
            self._narrowed(criterion, each, near, times, margins)
            for each, margins in zip(every, self._margins(criterion, times, every), strict=True)
        ]
        return np.stack(found, axis=1) if isinstance(where, tuple) else found[0]

    def _margins(self, criterion: Criterion, times: np.ndarray, every: tuple) -> np.ndarray:
        """(p, d, t) margins at each place of `every`; of many cases or places read in blocks of times, and no further than to where the
        criterion has held in all of them; -inf beyond.
        """
        margins = np.full((len(every), *times.shape), -np.inf)
        step = times.shape[1] if len(every) * len(times) == 1 else AT_ONCE
        for begin in range(0, times.shape[1], step):
            block = slice(begin, begin + step)
            these = times[:, block]
            for number, where in enumerate(every):
                margins[number, :, block] = self.margin(criterion, these, where, alone=len(every) == 1)
            if (margins >= 0).any(axis=2).all():
                break
        return margins

    def _narrowed(self, criterion: Criterion, where, near: float, times, margins) -> np.ndarray:
        """s (d,) at which the criterion first holds, from its margins at times (d, t); inf where it never does.

        The step in which it begins to hold is cut into cells as halving would cut it. Where the cell is, a cubic says; the cells around are
        read, and where it was not there, even steps and then the cubic again.
        """
        holds = margins >= 0
        ever, first = holds.any(axis=1), np.argmax(holds, axis=1)
        begin, end = (_taken(times, np.maximum(first - back, 0)) for back in (1, 0))
        cells = 2.0 ** np.ceil(np.log2(np.maximum((end - begin) / near, 1.0)))
        size = (end - begin) / cells
        low, high = np.zeros(len(cells)), cells
        below, above = (_taken(margins, np.maximum(first - back, 0)) for back in (1, 0))
        numbers = np.maximum(first[:, None] + np.arange(-3, 1), 0)
        place, value = (np.take_along_axis(each, numbers, axis=1) for each in (times, margins))
        place = (place - begin[:, None]) / np.where(size > 0, size, 1.0)[:, None]
        # A reading of many pieces costs by the time, of few by the reading.
        around = AROUND if len(self.meats) < MANY else 1
        guess = True
        while np.any(ever & (high - low > 1)):
            if guess:
                cell = np.floor(_crossing(place, value, low, high))
                asked = cell[:, None] + np.arange(-around, around + 2)
            else:
                asked = np.round(low[:, None] + (high - low)[:, None] * EVEN)
            asked = np.clip(asked, low[:, None], high[:, None])
            found = self.margin(criterion, begin[:, None] + asked * size[:, None], where)
            asked = np.concatenate([low[:, None], asked, high[:, None]], axis=1)
            found = np.concatenate([below[:, None], found, above[:, None]], axis=1)
            at = np.maximum(np.argmax(found >= 0, axis=1), 1)
            low, high, below, above = (_taken(each, at - back) for each in (asked, found) for back in (1, 0))
            numbers = np.clip(at - 2, 0, asked.shape[1] - 4)[:, None] + np.arange(4)
            place, value = (np.take_along_axis(each, numbers, axis=1) for each in (asked, found))
            guess = not guess
        back = (
            np.where(above > below, above / np.where(above > below, above - below, 1.0), 0.0) if near > SECOND else 0.0
        )
        return np.where(ever, begin + (high - back) * size, np.inf)

    # -- what went where -----------------------------------------------------------------------------------------------

    def budget(self, name: str) -> dict[str, np.ndarray]:
        """kg (d,): what was in the meat, added, supplied by an endless bath, lost; what is in meat and bath; and the relative residual.
        `name`: a quantity, or "water"; water that dry salt draws has left the meat before its stretch begins.
        """
        if name == WATER:
            return self._water_budget()
        zero, end = np.zeros((len(self.begin), 1)), self.length[:, None]
        pieces, home = range(len(self.meats)), self.home(name)
        none = np.zeros(len(self.begin))
        before, in_meat = (sum((self.amount(name, at, n)[:, 0] for n in pieces), none) for at in (zero, end))
        added, in_bath = (self.bath_amount(name, at)[:, 0] for at in (zero, end))
        in_juice = self.in_juice(name, end)[:, 0] if self.sealed else none
        supplied = lost = none
        if home is not None and self.stretch.endless:
            supplied = home[0].supplied(home[1], self.length)
            supplied = supplied + np.broadcast_to(self._carried(name, end), end.shape)[:, 0]
        if name == FREE and self._free is not None:
            lost = self._free[0].lost(0, self.length, self._free[1], self.totals)
        brought = before + added + np.maximum(supplied, 0.0)
        taken = np.maximum(-supplied, 0.0)
        scale = np.where(brought > 1e-250, brought, 1.0)
        return {
            "in meat before": before, "added": added, "supplied": supplied, "in meat": in_meat, "in bath": in_bath, "lost": lost,
            **({"in juice": in_juice} if self.heat is not None and self.sealed else {}),
            "residual": (brought - taken - in_meat - in_bath - in_juice - lost) / scale,
        }  # fmt: skip

    def _water_budget(self) -> dict[str, np.ndarray]:
        """As `budget`, of water: what is in the meat, by the pieces as this stretch found and leaves them; vapour is lost."""
        none, endless = np.zeros(len(self.begin)), self.stretch.endless
        before, in_meat = (
            sum((meat.held / meat.partition for meat in meats), none) for meats in (self.meats, self.left)
        )
        added = none if self.sealed or endless else self.water
        in_bath = none if self.sealed or endless else self.bath_water(self.ended_at)[:, 0]
        supplied = sum((self.taken(n, self.ended_at)[:, 0] / meat.partition for n, meat in enumerate(self.meats)), none)
        supplied = supplied if endless else none
        given = juice = none
        if self.heat is not None:
            given = sum(
                (self.heat.given(n, self.ended_at)[:, 0] * meat.weight for n, meat in enumerate(self.meats)), none
            )
            juice = self._juice(self.ended_at)[:, 0]
        in_juice = juice if self.sealed else none
        in_bath = in_bath + (none if self.sealed else juice)
        lost = given - juice
        return {
            "in meat before": before, "added": added, "supplied": supplied, "in meat": in_meat, "in bath": in_bath, "lost": lost,
            **({"in juice": in_juice} if self.heat is not None and self.sealed else {}),
            "residual": (before + added + supplied - in_meat - in_bath - in_juice - lost) / (before + added),
        }  # fmt: skip


def _taken(values: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    """(d,) the value of each row (d, t) with this number (d,)."""
    return np.take_along_axis(values, numbers[:, None], axis=1)[:, 0]


def _crossing(t: np.ndarray, m: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """(d,) cells where the cubic through m (d, 4) at t (d, 4) crosses 0 between low and high (d,); anywhere between them where it does not."""
    slopes = [np.where(np.isfinite(m), m, 0.0).T]  # Newton's divided differences
    for back in (1, 2, 3):
        apart = t.T[back:] - t.T[:-back]
        slopes.append(np.diff(slopes[-1], axis=0) / np.where(apart == 0, 1.0, apart))
    first, second, third, fourth = (each[0] for each in slopes)
    for _ in range(int(np.log2(np.max(high - low, initial=1.0))) + 4):  # to a tenth of a cell
        middle = 0.5 * (low + high)
        value = ((fourth * (middle - t[:, 2]) + third) * (middle - t[:, 1]) + second) * (middle - t[:, 0]) + first
        low, high = np.where(value >= 0, low, middle), np.where(value >= 0, middle, high)
    return 0.5 * (low + high)
