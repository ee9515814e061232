"""One run of many draws at once, readable at any time: what `runs.Run` is for one draw, with the draws along the first axis.

Times are seconds since the run began, (d, t), one row for each draw. Readings follow `runs.Run` line by line; a test holds the two
together to 1e-10.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..engine.runs import FREE, TRACERS
from ..recipe.criterion import Criterion
from ..recipe.stages import AnyStage
from ..transport.stack import UNCOUPLED, Stack
from .cut import Cut

MOST_KEPT = 24  # amounts that a run remembers


@dataclass(frozen=True)
class Wires:
    """The links of one run as the pieces lie: shares[piece] (d, 2), the weight of the bath in the value at a face; `solve` makes
    the modes for a loss (d, n).
    """

    shares: tuple[np.ndarray, ...]
    solve: Callable[[np.ndarray | None], Stack]


@dataclass(frozen=True)
class Leg:
    """Unchanging modes from `begin` to `end` (d,); start (d, s, n)."""

    begin: np.ndarray
    end: np.ndarray
    stack: Stack
    start: np.ndarray


@dataclass(frozen=True)
class Track:
    """Solutes that share their legs. `clock(times (d, t))` gives the reading (d, t) of the diffusion clock of salt, `ratios` (d, s) how
    fast each solute runs on it; `reserve` (d,): kg of dry salt at the start.
    """

    names: tuple[str, ...]
    legs: tuple[Leg, ...]
    clock: Callable[[np.ndarray], np.ndarray]
    ratios: np.ndarray
    reserve: np.ndarray | None = None
    begun: dict = field(default_factory=dict, compare=False, repr=False)

    def states(self, times: np.ndarray, place: int, rows: np.ndarray | None = None) -> np.ndarray:
        """w (d, t, n) of one solute, or (d, t, k) for `rows`: sums (k, n) or (d, k, n) over the nodes.

        A piece that is turned a hundred times still lies in two ways only: legs with the same modes are read together.
        """
        ends = np.stack([leg.end for leg in self.legs], axis=1)
        owner = np.minimum((times[:, :, None] > ends[:, None, :-1]).sum(axis=2), len(self.legs) - 1)
        groups: dict[int, list[int]] = {}
        for number, leg in enumerate(self.legs):
            groups.setdefault(id(leg.stack), []).append(number)
        if len(groups) == 1:
            return self._group(list(range(len(self.legs))), times, owner, place, rows)
        width = self.legs[0].start.shape[2] if rows is None else rows.shape[-2]
        result = np.empty((*times.shape, width))
        for numbers in groups.values():
            mine = np.isin(owner, numbers)
            columns = np.flatnonzero(mine.any(axis=0))
            if len(columns):
                inside = np.searchsorted(numbers, owner[:, columns]).clip(0, len(numbers) - 1)
                value = self._group(numbers, times[:, columns], inside, place, rows)
                every = mine[:, columns]
                for run in np.split(np.arange(len(columns)), np.flatnonzero(np.diff(columns) > 1) + 1):
                    into = result[:, columns[run[0]] : columns[run[-1]] + 1]
                    here = slice(run[0], run[-1] + 1)
                    np.copyto(into, value[:, here], where=True if every[:, here].all() else every[:, here, None])
        return result

    def _group(self, numbers: list[int], times: np.ndarray, owner: np.ndarray, place: int, rows) -> np.ndarray:
        """States at `times` (d, t), each in the leg number `owner` (d, t) of those that are named, which share their modes."""
        legs = [self.legs[number] for number in numbers]
        begin, end = (np.stack([getattr(leg, name) for leg in legs], axis=1) for name in ("begin", "end"))
        begin, end = (np.take_along_axis(each, owner, axis=1) for each in (begin, np.maximum(begin, end)))
        since = self.clock(np.clip(times, begin, end)) - self.clock(begin)
        key = (numbers[0], place)
        if key not in self.begun:
            self.begun[key] = np.stack([leg.start[:, place] for leg in legs], axis=1), {}
        tau = self.ratios[:, place, None] * np.maximum(since, 0.0)
        starts, kept = self.begun[key]
        return legs[0].stack.along(starts, owner if len(legs) > 1 else None, tau, rows, kept)


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
    found: np.ndarray | None = None  # (d,) s at which its criterion holds, inf: it does not; None: it has none
    cache: dict = field(default_factory=dict, compare=False)

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
        """Rows over all nodes from rows (k, r) or (d, k, r) over the terms of one piece."""
        rows = np.zeros((*inner.shape[:-1], self.bath + 1))
        rows[..., self.slices[piece]] = inner
        return rows

    def amount(self, name: str, times: np.ndarray, piece: int) -> np.ndarray:
        """kg (d, t) in one piece."""
        key = (name, piece, times.tobytes())
        if key not in self.cache:  # weights and all that is counted per kg of meat ask for the same again and again
            if len(self.cache) >= MOST_KEPT:
                self.cache.clear()
            w = self.states(name, times, self._row(piece, self.cuts[piece].terms.average[None]))[..., 0]
            self.cache[key] = np.maximum(self.cuts[piece].held[:, None] * w, 0.0)
        return self.cache[key]

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
        amount = np.sum([self.start_amount(name, n) for n in numbers], axis=0)
        held = np.sum([self.cuts[n].held for n in numbers], axis=0)
        if self.sealed:
            return amount / held
        home = self.home(name)
        track = home[0] if home is not None else None
        dry = track.reserve if track is not None and track.reserve is not None else np.zeros(len(start))
        w = (amount + start[:, -1] * self.water + dry) / (held + self.water)
        return np.where(dry > 0, np.minimum(w, start[:, -1]), w)

    def start_amount(self, name: str, piece: int) -> np.ndarray:
        """kg (d,) in one piece as the run begins."""
        cut = self.cuts[piece]
        return cut.held * (self.start(name)[:, self.slices[piece]] @ cut.terms.average)

    def water_change(self, piece: int, times: np.ndarray) -> np.ndarray:
        """Water taken up or given off (d, t), as a fraction of the green weight."""
        before = self.water_before[piece][:, None]
        if self.water_target is None:
            return np.broadcast_to(before, times.shape)
        cut = self.cuts[piece]
        first = self.start_amount("salt", piece) / cut.held
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

    def mirrored(self, piece: int) -> bool:
        """Whether this run leaves a piece its own mirror image in every draw, if it finds it so."""
        return self.cuts[piece].terms.sign is not None and all(
            np.ptp(wire.shares[piece], axis=1).max() < UNCOUPLED for wire in self.wires
        )

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
            row = self._row(piece, cut.core if len(cut.core) == 1 else cut.core[:, None])
            return np.maximum(self.states(name, times, row)[..., 0], 0.0)
        lean = np.flatnonzero(body.lean)
        rows = self._row(piece, cut.terms.values[[0, -1, lean[0], lean[-1]]])
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
        whole = others.reshape(others.shape + (1,) * (w.ndim - 2)) + green
        return np.divide(green, whole, out=whole)

    def read(self, name: str, place: str, basis: str, times: np.ndarray, piece: int) -> np.ndarray:
        """Fraction (d, t) of a quantity at a place on a basis."""
        cut = self.cuts[piece]
        if place == "average":
            per_tissue = cut.held / (cut.body.tissue_mass.sum() * cut.weight / cut.body.piece.weight)
            if basis == "meat":
                return self.amount(name, times, piece) / self.weight(piece, times)
        else:
            per_tissue = cut.per[:, cut.body.chain.layer[np.flatnonzero(cut.body.lean)[0]]]
        return self.on_basis(name, self.local(name, place, times, piece), basis, times, piece, per_tissue[:, None])

    def profile(
        self, name: str, basis: str, times: np.ndarray, piece: int, places: np.ndarray | slice = slice(None)
    ) -> np.ndarray:
        """Fractions (d, t, x) from the first place of the chain to the last face, faces included; `places`: some of them only."""
        cut = self.cuts[piece]
        values = cut.terms.values
        every = np.array([0, *cut.points, len(values) - 1])
        cells, numbers = every[places], np.arange(len(every))[places]
        rows = np.concatenate([self._row(piece, values[cells]), np.eye(self.bath + 1)[-1:]])
        w = self.states(name, times, rows)
        share = self._share(times, piece)
        for face, number in enumerate((0, len(every) - 1)):
            for place in np.flatnonzero(numbers == number):
                w[..., place] = share[..., face] * w[..., -1] + (1 - share[..., face]) * w[..., place]
        np.maximum(w, 0.0, out=w)
        return self.on_basis(name, w[..., :-1], basis, times, piece, cut.per[:, None, cut.body.chain.layer[cells]])

    def margin(self, criterion: Criterion, times: np.ndarray, where: int | str = "every") -> np.ndarray:
        """(d, t) how far the criterion is met, as in `Run.margin`."""
        sign = 1.0 if criterion.sign == ">=" else -1.0
        margins = [
            sign * (self.read(criterion.quantity, criterion.place, criterion.basis, times, piece) - criterion.target)
            for piece in (range(len(self.cuts)) if isinstance(where, str) else [where])
        ]
        return np.max(margins, axis=0) if where == "any" else np.min(margins, axis=0)

    def first_time(self, criterion: Criterion, where: int | str = "every", rounds: int = 3) -> np.ndarray:
        """s (d,) since the run began when the criterion first holds, inf where it does not: on a grid of times that grow by 4 %, each of
        `rounds` makes the step eight times finer, and the rest is straight. Three rounds are good to a second or two, one to 1e-5.
        """
        times = np.concatenate([[0.0], np.geomspace(1e-3, 1.0, 160)]) * self.length[:, None]
        margin = self.margin(criterion, times, where)
        ever = (margin >= 0).any(axis=1)
        for number in range(rounds + 1):
            first = np.maximum(np.argmax(margin >= 0, axis=1), 0)[:, None]
            low, high = (np.take_along_axis(times, np.maximum(first - k, 0), axis=1) for k in (1, 0))
            below, above = (np.take_along_axis(margin, np.maximum(first - k, 0), axis=1) for k in (1, 0))
            if number < rounds:
                times = low + (high - low) * np.linspace(0.0, 1.0, 9)
                margin = np.concatenate([below, self.margin(criterion, times[:, 1:-1], where), above], axis=1)
        part = np.where(above > below, above / np.where(above > below, above - below, 1.0), 0.0)
        return np.where(ever, (high - np.clip(part, 0.0, 1.0) * (high - low))[:, 0], np.inf)
