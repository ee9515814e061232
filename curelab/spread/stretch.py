"""One run of many draws at once, readable at any time: what `runs.Run` is for one draw, with the draws along the first axis.

Times are seconds since the run began, (d, t), one row for each draw. Readings follow `runs.Run` line by line; a test holds the two
together to 1e-10.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..assembly import Body
from ..criterion import Criterion
from ..runs import FREE, TRACERS
from ..stages import AnyStage
from ..transport.stack import Stack


@dataclass(frozen=True)
class Cut:
    """One piece cut into cells, in every draw.

    body: the piece as planned (its cells, and which are lean); capacity (d, n), inner (d, n - 1), half (d, 2), area (d, 2) as in a
    Chain; tissue_mass (d, n); weight, partition, size (d,): green kg, partition, and factor on every length; core (d or 1, n).
    """

    body: Body
    capacity: np.ndarray
    inner: np.ndarray
    half: np.ndarray
    area: np.ndarray
    tissue_mass: np.ndarray
    weight: np.ndarray
    partition: np.ndarray
    size: np.ndarray
    core: np.ndarray

    @cached_property
    def held(self) -> np.ndarray:
        """(d,) capacity of the whole piece."""
        return self.capacity.sum(axis=1)


@dataclass(frozen=True)
class Wires:
    """The links of one run as the pieces lie: for each block of connected nodes its node numbers and a Stack without
    loss; shares[piece] (d, 2): weight of the bath in the value at a face; `solve` makes the stacks for a loss (d, n).
    """

    shares: tuple[np.ndarray, ...]
    solve: Callable[[np.ndarray | None], tuple[tuple[np.ndarray, Stack], ...]]


@dataclass(frozen=True)
class Leg:
    """Unchanging modes from `begin` to `end` (d,); start (d, s, n); `tau(times)` gives clock readings (d, s, t)."""

    begin: np.ndarray
    end: np.ndarray
    blocks: tuple[tuple[np.ndarray, Stack], ...]
    start: np.ndarray
    tau: Callable[[np.ndarray], np.ndarray]

    def of(self, draws: np.ndarray) -> Leg:
        """The same leg of some draws."""
        if len(draws) == len(self.start):
            return self
        blocks = tuple((nodes, stack.of(draws)) for nodes, stack in self.blocks)

        def tau(times: np.ndarray) -> np.ndarray:
            every = np.zeros((len(self.start), times.shape[1]))
            every[draws] = times
            return self.tau(every)[draws]

        return Leg(self.begin[draws], self.end[draws], blocks, self.start[draws], tau)

    def states(self, times: np.ndarray, which: slice = slice(None), rows: np.ndarray | None = None) -> np.ndarray:
        """w (d, s, t, n), or the sums `rows` (k, n) or (d, k, n) over the nodes, (d, s, t, k)."""
        clock = self.tau(times)[:, which]
        start = self.start[:, which]
        count = start.shape[-1]
        if rows is None:
            if len(self.blocks) == 1 and len(self.blocks[0][0]) == count:
                return self.blocks[0][1].at(start, clock)
            result = np.repeat(start[:, :, None, :], clock.shape[2], axis=2)
            for nodes, stack in self.blocks:
                result[..., nodes] = stack.at(start[..., nodes], clock)
            return result
        inside = np.concatenate([nodes for nodes, _ in self.blocks])
        outside = np.ones(count)
        outside[inside] = 0.0
        constant = np.einsum("dsn,...kn->dsk" if rows.ndim == 2 else "dsn,dkn->dsk", start * outside, rows)
        total = np.repeat(constant[:, :, None, :], clock.shape[2], axis=2)
        for nodes, stack in self.blocks:
            if np.any(rows[..., nodes]):
                total += stack.at(start[..., nodes], clock, rows[..., nodes])
        return total


@dataclass(frozen=True)
class Track:
    """Solutes that share their legs; `reserve` (d,): kg of dry salt at the start."""

    names: tuple[str, ...]
    legs: tuple[Leg, ...]
    reserve: np.ndarray | None = None

    def states(self, times: np.ndarray, place: int, rows: np.ndarray | None = None) -> np.ndarray:
        """w (d, t, n) of one solute, or (d, t, k) for `rows`."""
        which = slice(place, place + 1)
        if len(self.legs) == 1:
            return self.legs[0].states(times, which, rows)[:, 0]
        ends = np.stack([leg.end for leg in self.legs[:-1]])
        owner = (times[None] > ends[:, :, None]).sum(axis=0)
        width = self.legs[0].start.shape[2] if rows is None else rows.shape[-2]
        result = np.empty((*times.shape, width))
        for number, leg in enumerate(self.legs):
            mine = owner == number
            columns, draws = np.flatnonzero(mine.any(axis=0)), np.flatnonzero(mine.any(axis=1))
            if not len(columns):
                continue
            block = np.ix_(draws, columns)
            few = leg.of(draws)
            inside = np.clip(times[block], few.begin[:, None], np.maximum(few.end, few.begin)[:, None])
            value = few.states(
                inside, which, rows if rows is None or rows.ndim == 2 or len(rows) == 1 else rows[draws]
            )[:, 0]
            result[block] = value if mine[block].all() else np.where(mine[block][..., None], value, result[block])
        return result


@dataclass(frozen=True)
class Stretch:
    """One run, in every draw: begin, longest and length (d,) in s; water (d,) kg in the bath, inf where it runs."""

    stage: AnyStage
    index: int
    label: str
    begin: np.ndarray
    longest: np.ndarray
    length: np.ndarray
    water: np.ndarray
    running: bool
    sealed: bool
    cuts: tuple[Cut, ...]
    slices: tuple[slice, ...]
    wires: tuple[Wires, ...]
    turns: np.ndarray
    tracks: tuple[Track, ...]
    water_before: tuple[np.ndarray, ...]
    water_target: np.ndarray | None = None
    free: Callable[[], Track | None] | None = None  # makes the track of free nitrite when it is first asked for
    cache: dict = field(default_factory=dict)

    @property
    def end(self) -> np.ndarray:
        return self.begin + self.length

    @property
    def bath(self) -> int:
        return self.slices[-1].stop

    @cached_property
    def _tracers(self) -> dict[str, tuple[Track, int]]:
        return {name: (track, place) for track in self.tracks for place, name in enumerate(track.names)}

    @cached_property
    def _free(self) -> tuple[Track, int] | None:
        track = self.free() if self.free is not None else None
        return None if track is None else (track, 0)

    def home(self, name: str) -> tuple[Track, int] | None:
        """The track of a quantity and its place on it; None: there is none of it."""
        return self._free if name == FREE else self._tracers.get(name)

    def states(self, name: str, times: np.ndarray, rows: np.ndarray | None = None) -> np.ndarray:
        """w (d, t, n), bath last; or sums `rows` over the nodes, (d, t, k)."""
        home = self.home(name)
        if home is None:
            return np.zeros((*times.shape, self.bath + 1 if rows is None else rows.shape[-2]))
        return home[0].states(times, home[1], rows)

    def start(self, name: str) -> np.ndarray:
        """w (d, n) as the run begins."""
        home = self.home(name)
        if home is None:
            return np.zeros((len(self.begin), self.bath + 1))
        return home[0].legs[0].start[:, home[1]]

    def _row(self, piece: int, inner: np.ndarray) -> np.ndarray:
        """Rows over all nodes from rows (d, k, cells) over the cells of one piece."""
        rows = np.zeros((*inner.shape[:-1], self.bath + 1))
        rows[..., self.slices[piece]] = inner
        return rows

    def amount(self, name: str, times: np.ndarray, piece: int) -> np.ndarray:
        """kg (d, t) in one piece."""
        return np.maximum(self.states(name, times, self._row(piece, self.cuts[piece].capacity[:, None]))[..., 0], 0.0)

    def in_bath(self, name: str, times: np.ndarray) -> np.ndarray:
        """w (d, t) of the bath."""
        row = np.zeros((1, self.bath + 1))
        row[0, -1] = 1.0
        return np.maximum(self.states(name, times, row)[..., 0], 0.0)

    def equilibrium(self, name: str, piece: int = 0) -> np.ndarray:
        """w (d,) at which this run would come to rest; for free nitrite that of nitrite as added."""
        name = "nitrite" if name == FREE else name
        start = self.start(name)
        if self.running:
            return start[:, -1]
        numbers = [piece] if self.sealed else range(len(self.cuts))
        amount = sum((start[:, self.slices[n]] * self.cuts[n].capacity).sum(axis=1) for n in numbers)
        held = sum(self.cuts[n].held for n in numbers)
        if self.sealed:
            return amount / held
        home = self.home(name)
        track = home[0] if home is not None else None
        dry = track.reserve if track is not None and track.reserve is not None else np.zeros(len(start))
        w = (amount + start[:, -1] * self.water + dry) / (held + self.water)
        return np.where(dry > 0, np.minimum(w, start[:, -1]), w)

    def water_change(self, piece: int, times: np.ndarray) -> np.ndarray:
        """Water taken up or given off (d, t), as a fraction of the green weight."""
        before = self.water_before[piece][:, None]
        if self.water_target is None:
            return np.broadcast_to(before, times.shape)
        cut = self.cuts[piece]
        first = (self.start("salt")[:, self.slices[piece]] * cut.capacity).sum(axis=1) / cut.held
        goal = self.equilibrium("salt", piece) - first
        flat = np.abs(goal) < 1e-12
        share = (self.amount("salt", times, piece) / cut.held[:, None] - first[:, None]) / np.where(flat, 1.0, goal)[
            :, None
        ]
        gone = np.where(flat[:, None], 0.0, np.clip(share, 0.0, 1.0))
        return before + (self.water_target[:, None] - before) * gone

    def weight(self, piece: int, times: np.ndarray) -> np.ndarray:
        """kg (d, t) of the piece."""
        taken = sum(self.amount(name, times, piece) for name in TRACERS if name in self._tracers)
        return self.cuts[piece].weight[:, None] * (1 + self.water_change(piece, times)) + taken

    def _share(self, times: np.ndarray, piece: int) -> np.ndarray:
        """(d, t, 2) weight of the bath in the value at each face."""
        if len(self.wires) == 1:
            return self.wires[0].shares[piece][:, None, :]
        turned = np.searchsorted(self.turns, times, side="left") % len(self.wires)
        return np.where(
            (turned == 0)[..., None], self.wires[0].shares[piece][:, None], self.wires[1].shares[piece][:, None]
        )

    def _ends(self, states: np.ndarray, bath: np.ndarray, times: np.ndarray, piece: int) -> np.ndarray:
        """w (d, t, 2) at both faces from the outermost cells `states` (d, t, 2) and the bath (d, t, 1)."""
        share = self._share(times, piece)
        return share * bath + (1 - share) * states

    def local(self, name: str, place: str, times: np.ndarray, piece: int) -> np.ndarray:
        """w (d, t) at the core, on average, or at the surface."""
        cut, body = self.cuts[piece], self.cuts[piece].body
        if place == "average":
            return self.amount(name, times, piece) / cut.held[:, None]
        if place == "core":
            return np.maximum(self.states(name, times, self._row(piece, cut.core[:, None]))[..., 0], 0.0)
        count, lean = len(body.lean), np.flatnonzero(body.lean)
        rows = self._row(piece, np.eye(count)[[0, count - 1, lean[0], lean[-1]]])
        rows = np.concatenate([rows, np.eye(self.bath + 1)[-1:]])
        cells = np.maximum(self.states(name, times, rows), 0.0)
        ends = self._ends(cells[..., :2], cells[..., 4:], times, piece)
        sides = [ends[..., 1] if body.lean[-1] else cells[..., 3]]
        if body.chain.area[0] > 0:
            sides.append(ends[..., 0] if body.lean[0] else cells[..., 2])
        return np.max(sides, axis=0)

    def on_basis(self, name, w, basis, times, piece, per_tissue):
        """w (d, t, ...) as a fraction on a named basis; `per_tissue` broadcasts with w."""
        if basis == "equilibrium":
            goal = self.equilibrium(name, piece).reshape((-1,) + (1,) * (w.ndim - 1))
            return np.where(goal > 0, w / np.where(goal > 0, goal, 1.0), 0.0)
        if basis == "water phase":
            inside = w * self.cuts[piece].partition.reshape((-1,) + (1,) * (w.ndim - 1))
            return inside / (1 + inside)
        green = w * per_tissue
        if basis == "green weight":
            return green
        if basis != "meat":
            raise ValueError(f'"{basis}" is not one of meat, green weight, water phase, equilibrium')
        others = 1 + self.water_change(piece, times)
        return green / (others.reshape(others.shape + (1,) * (w.ndim - 2)) + green)

    def read(self, name: str, place: str, basis: str, times: np.ndarray, piece: int) -> np.ndarray:
        """Fraction (d, t) of a quantity at a place on a basis."""
        cut = self.cuts[piece]
        if place == "average":
            per_tissue = cut.held / cut.tissue_mass.sum(axis=1)
            if basis == "meat":
                return self.amount(name, times, piece) / self.weight(piece, times)
        else:
            first = int(np.flatnonzero(cut.body.lean)[0])
            per_tissue = cut.capacity[:, first] / cut.tissue_mass[:, first]
        return self.on_basis(name, self.local(name, place, times, piece), basis, times, piece, per_tissue[:, None])

    def profile(self, name: str, basis: str, times: np.ndarray, piece: int) -> np.ndarray:
        """Fractions (d, t, x) from the first node of the chain to the last face, faces included."""
        cut = self.cuts[piece]
        states = self.states(name, times)
        cells = states[..., self.slices[piece]]
        ends = self._ends(cells[..., [0, -1]], states[..., -1:], times, piece)
        w = np.concatenate([ends[..., :1], cells, ends[..., 1:]], axis=-1)
        per = cut.capacity / cut.tissue_mass
        return self.on_basis(
            name, w, basis, times, piece, np.concatenate([per[:, :1], per, per[:, -1:]], axis=1)[:, None]
        )

    def margin(self, criterion: Criterion, times: np.ndarray, where: int | str = "every") -> np.ndarray:
        """(d, t) how far the criterion is met, as in `Run.margin`."""
        sign = 1.0 if criterion.sign == ">=" else -1.0
        margins = [
            sign * (self.read(criterion.quantity, criterion.place, criterion.basis, times, piece) - criterion.target)
            for piece in (range(len(self.cuts)) if isinstance(where, str) else [where])
        ]
        return np.max(margins, axis=0) if where == "any" else np.min(margins, axis=0)

    def first_time(self, criterion: Criterion, where: int | str = "every") -> np.ndarray:
        """s (d,) since the run began when the criterion first holds, to a second; inf where it does not."""
        shares = np.concatenate([[0.0], np.geomspace(1e-3, 1.0, 160)])
        times = shares * self.length[:, None]
        margin = self.margin(criterion, times, where)
        met = margin >= 0
        first = np.argmax(met, axis=1)
        rows = np.arange(len(times))
        low, high = times[rows, np.maximum(first - 1, 0)], times[rows, first]
        below, above = margin[rows, np.maximum(first - 1, 0)], margin[rows, first]
        for step in range(60):
            if np.all(high - low <= 1.0):
                break
            # Straight between the ends, kept off them by half a second so that both close in; every third step halves.
            part = 0.5 if step % 3 == 2 else np.clip(below / np.where(below < above, below - above, -1.0), 0.0, 1.0)
            middle = np.clip(
                low + part * (high - low), low + np.minimum(0.5, 0.5 * (high - low)), np.maximum(high - 0.5, low)
            )
            middle = np.where(high - low <= 1.0, high, middle)
            now = self.margin(criterion, middle[:, None], where)[:, 0]
            holds = now >= 0
            high, above = np.where(holds, middle, high), np.where(holds, now, above)
            low, below = np.where(holds, low, middle), np.where(holds, below, now)
        return np.where(met.any(axis=1), high, np.inf)
