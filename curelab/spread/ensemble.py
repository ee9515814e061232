"""The same batch in many draws at once: what `simulate` does for one, vectorised over the draws.

Assembly, runs and criteria follow simulate.py; a draw equals `simulate` of that draw (`uncertain.drawn_case`) to 1e-10 with the same
cells, which a test checks for every stage and shape. What is different from draw to draw is only in the arrays.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np

from ..assembly import FILM_TEMPERATURE, WATER_PER_VOLUME, Body, Clock, _core, _read_at, body_of
from ..criterion import Criterion, default_basis
from ..matter import brine, solutes
from ..matter.tissue import obstruction, partition, water_change
from ..piece import Piece
from ..runs import FREE, TRACERS
from ..simulate import _turns
from ..sources import Numbers, default_numbers, to_si
from ..stages import AnyStage, Brine, Log, Rest, SealedCure, require_bath
from ..transport.stack import Stack, stack_of
from .stretch import Cut, Leg, Stretch, Track, Wires
from .uncertain import drawn_case, thickness_factor, tilt

CELLS = 24  # from a face to the middle, where half a piece is enough
CELLS_WHOLE = 20  # the same where a slab must be cut from face to face, which doubles the nodes
SEGMENTS = 4  # pieces of a fridge log with their own mean loss of nitrite; `simulate` takes up to 64
CONDITIONS = ("activation energy", "water uptake", "temperature", "meat weight", "water weight", "salt weight")
FAST = (
    "obstruction.lean", "ratio.nitrite", "ratio.nitrate", "ratio.sugar", "fat.relative_diffusivity",
    "frozen_thawed.multiplier", "partition.water_phase", "nitrite.loss_multiplier", "nitrite.takagi.half_life",
    "ph.beef", "ph.pork", "film.stirred", "film.still", "film.contact", "purge.sealed_cure",
)  # fmt: skip


class _Numbers:
    """Published numbers with a column (d,) in the place of each drawn one, looked up as `Numbers` are."""

    def __init__(self, base: Numbers, columns: Mapping[str, np.ndarray]):
        self.base = base
        self.drawn = {}
        for key, column in columns.items():
            if key in base:
                unit = base[key].unit
                zero = to_si(0.0, unit)
                self.drawn[key] = zero + (to_si(1.0, unit) - zero) * column

    def si(self, key: str) -> Any:
        # A copy, because callers written for floats multiply in place.
        return self.drawn[key].copy() if key in self.drawn else self.base.si(key)


def is_fast(keys: Sequence[str]) -> bool:
    """Whether the vectorised engine knows every one of these inputs; others go through `simulate`, draw by draw."""
    return all(key in FAST or key in CONDITIONS or key.startswith("thickness of ") for key in keys)


class Ensemble:
    """A batch in d draws. `columns`: values (d,) of the uncertain inputs, in printed units (see uncertain.py).

    Readings as in `History`, with the draws along the first axis: times (t,) or (d, t) in s since the start, answers
    (d, t). After the end of a draw its last state is read. Raises ValueError for an input that is not known.
    """

    def __init__(
        self,
        pieces: Sequence[Piece],
        stages: Sequence[AnyStage],
        columns: Mapping[str, np.ndarray],
        *,
        loss: str = "nordin",
        cells: int | None = None,
        numbers: Numbers | None = None,
        segments: int = SEGMENTS,
    ):
        if not is_fast(tuple(columns)):
            raise ValueError(f"the vectorised engine does not know all of {', '.join(columns)}; use `Loop`")
        self.pieces, self.stages, self.loss = tuple(pieces), tuple(stages), loss
        self.segments = segments
        self.base = numbers or default_numbers()
        self.columns = dict(columns)
        self.count = len(next(iter(columns.values()))) if columns else 1
        self.numbers: Any = _Numbers(self.base, columns)
        self.warmer = self._column("temperature", 0.0)
        self.tilt = self._column("activation energy", 0.0)
        alike = all(isinstance(stage, (Rest, SealedCure)) or not stage.lying for stage in stages)
        whole = any(piece.shape == "slab" and not (alike and piece.symmetric) for piece in self.pieces)
        self.cells = cells or (CELLS_WHOLE if whole else CELLS)
        self._cuts = tuple(self._cut(piece, alike) for piece in self.pieces)
        self._amounts = {name: [np.zeros_like(cut.capacity) for cut in self._cuts] for name in TRACERS}
        self._water_change = [np.zeros(self.count) for _ in self._cuts]
        self._time = np.zeros(self.count)
        self._stacks: dict = {}
        self._nodes = sum(cut.capacity.shape[1] for cut in self._cuts)
        self.runs: list[Stretch] = []
        for index, stage in enumerate(self.stages):
            self._do(stage, index)

    # -- columns -------------------------------------------------------------------------------------------------------

    def _column(self, key: str, default: float) -> np.ndarray:
        return np.asarray(self.columns.get(key, np.full(self.count, default)), dtype=float)

    def _full(self, value: Any) -> np.ndarray:
        return np.broadcast_to(np.asarray(value, dtype=float), (self.count,))

    def _film(self, kind: str) -> np.ndarray:
        still = float(solutes.water_diffusivity(FILM_TEMPERATURE, self.base))
        return WATER_PER_VOLUME * self._full(self.numbers.si(f"film.{kind}")) / still

    # -- assembly ------------------------------------------------------------------------------------------------------

    def _cut(self, piece: Piece, alike: bool) -> Cut:
        """As `assembly.body_of` and `chain.build`, with the draws in front; lengths change in proportion."""
        body = body_of(piece, self.cells, alike, self.base)
        chain = body.chain
        shape = "half slab" if body.mirrored else piece.shape
        layers = piece.layers(self.base)
        parts = [part for part, _ in (layers[len(layers) // 2 :] if body.mirrored else layers)]
        numbers = self.numbers
        size = thickness_factor(piece, self._column(f"thickness of {piece.name}", 0.0))
        meat = self._column("meat weight", 1.0)
        spread = self._full(partition(numbers))
        led = [
            part.density * part.water * self._full(obstruction(part, numbers, piece.frozen_before)) for part in parts
        ]
        conductivity = (spread * np.array(led)).T[:, chain.layer]
        storage = np.array([part.density * part.water for part in parts])[chain.layer]
        edges, centres = chain.edges, chain.centres
        power = {"slab": 0, "half slab": 0, "cylinder": 1, "sphere": 2}[shape]
        unit = {0: 1.0, 1: 2 * np.pi, 2: 4 * np.pi}[power]
        across = unit * edges**power
        volume = unit / (power + 1) * np.diff(edges ** (power + 1))
        by = meat * piece.water(self.base) / (storage * volume).sum()
        outward = (edges[1:] - centres) / across[1:]
        inward = (centres[1:] - edges[1:-1]) / across[1:-1]
        pace = (by / size**2)[:, None]
        first = conductivity[:, 0] / centres[0] * (1.0 if shape == "slab" else 0.0)
        half = np.stack([first, conductivity[:, -1] / outward[-1]], axis=1)
        area = np.array([1.0 if shape == "slab" else 0.0, across[-1]])
        inner = 1.0 / (outward[:-1] / conductivity[:, :-1] + inward / conductivity[:, 1:])
        cut = Cut(
            body, (spread * by)[:, None] * storage * volume, inner * pace, half * pace, area * (by / size)[:, None],
            body.tissue_mass * meat[:, None], piece.weight * meat, spread, size, body.core[None],
        )  # fmt: skip
        if shape == "slab" and not piece.symmetric and "fat.relative_diffusivity" in self.columns:
            return replace(cut, core=np.array([self._core_of(cut, draw) for draw in range(self.count)]))
        return cut

    @staticmethod
    def _core_of(cut: Cut, draw: int) -> np.ndarray:
        chain: Any = SimpleNamespace(
            half=cut.half[draw], inner=cut.inner[draw], centres=cut.body.chain.centres, edges=cut.body.chain.edges
        )
        return _read_at(chain, cut.body.lean, _core(chain, cut.body.lean, "slab"))

    def _wires(self, cuts: tuple[Cut, ...], water: np.ndarray, faces) -> Wires:
        """Links of the pieces in one bath; `faces`: films (d,) at the first and second face, None: sealed."""
        starts = np.cumsum([0] + [cut.capacity.shape[1] for cut in cuts])
        bath = int(starts[-1])
        shares = []
        links: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
        for begin, cut in zip(starts, cuts, strict=False):
            inside = begin + np.arange(cut.inner.shape[1])
            links.append((inside, inside + 1, cut.inner))
            share = np.zeros((self.count, 2))
            for face in (0, 1):
                if faces is None or cut.body.chain.area[face] == 0:
                    continue
                film = np.maximum(*faces) if cut.body.chain.area[0] == 0 else faces[face]  # as in assembly.wire
                outside = film * cut.area[:, face]
                half = cut.half[:, face]
                share[:, face] = outside / (half + outside)
                cell = begin + (0, cut.capacity.shape[1] - 1)[face]
                links.append((np.array([bath]), np.array([cell]), (half * outside / (half + outside))[:, None]))
            shares.append(share)

        blocks = []
        if faces is None:
            for begin, cut in zip(starts, cuts, strict=False):
                inside = np.arange(cut.inner.shape[1])
                nodes = begin + np.arange(cut.capacity.shape[1])
                blocks.append((nodes, (cut.capacity, inside, inside + 1, cut.inner)))
        else:
            capacity = np.concatenate([*[cut.capacity for cut in cuts], water[:, None]], axis=1)
            a, b, led = (np.concatenate([link[k] for link in links], axis=-1) for k in range(3))
            blocks.append((np.arange(bath + 1), (capacity, a, b, led)))
        none = np.zeros((self.count, bath + 1))

        def solve(loss: np.ndarray | None):
            lost = none if loss is None else loss
            return tuple((nodes, self._stack(*network, lost[:, nodes])) for nodes, network in blocks)

        return Wires(tuple(shares), solve)

    def _stack(self, capacity, a, b, led, loss) -> Stack:
        """The same network is solved once: a soak's second water is often like its first, and a piece that is turned is
        often its own mirror image.
        """
        order, back = self._mirror(a, b) if capacity.shape[1] == self._nodes + 1 else (None, None)
        for (size, conductance, lost), stack in self._stacks.get((len(a), capacity.shape[1]), ()):
            if np.array_equal(size, capacity) and np.array_equal(conductance, led) and np.array_equal(lost, loss):
                return stack
            if (
                order is not None
                and _close(size[:, order], capacity)
                and _close(conductance[:, back], led)
                and _close(lost[:, order], loss)
            ):
                return stack.renumbered(order)
        own = (
            order is not None
            and _close(capacity[:, order], capacity)
            and _close(led[:, back], led)
            and _close(loss[:, order], loss)
        )
        stack = stack_of(capacity, a, b, led, loss, order if own else None)
        self._stacks.setdefault((len(a), capacity.shape[1]), []).append(((capacity, led, loss), stack))
        return stack

    def _mirror(self, a: np.ndarray, b: np.ndarray):
        """(order of the nodes, order of the links) when every slab is seen from its other face."""
        order = np.arange(self._nodes + 1)
        begin = 0
        for cut in self._cuts:
            count = cut.capacity.shape[1]
            if cut.body.chain.area[0] > 0:
                order[begin : begin + count] = order[begin : begin + count][::-1]
            begin += count
        known = {frozenset((int(x), int(y))): k for k, (x, y) in enumerate(zip(a, b, strict=True))}
        links = [known.get(frozenset((int(order[x]), int(order[y]))), -1) for x, y in zip(a, b, strict=True)]
        return (None, None) if -1 in links or np.array_equal(order, np.arange(len(order))) else (order, links)

    # -- the clock -----------------------------------------------------------------------------------------------------

    def _clock(self, log: Log, longest: float):
        """(knots (k,), readings (d, k)) as in `assembly.Clock`, and the planned clock."""
        planned = Clock.of(log, longest, self.base)
        kelvin = planned.kelvin + self.warmer[:, None]
        edge = self._diffusivity(kelvin)
        middle = self._diffusivity(0.5 * (kelvin[:, 1:] + kelvin[:, :-1]))
        steps = np.diff(planned.knots) * (edge[:, 1:] + edge[:, :-1] + 4 * middle) / 6
        return planned, np.concatenate([np.zeros((self.count, 1)), np.cumsum(steps, axis=1)], axis=1)

    def _diffusivity(self, kelvin: np.ndarray) -> np.ndarray:
        return np.asarray(solutes.water_diffusivity(kelvin, self.base)) * tilt(self.tilt[:, None], kelvin)

    # -- stages --------------------------------------------------------------------------------------------------------

    def _do(self, stage: AnyStage, index: int) -> None:
        name, water = stage.tag, self._column("water weight", 1.0)
        if isinstance(stage, Rest):
            self._run(stage, index, name, np.ones(self.count), (None,), stage.temperature, stage.longest, {})
        elif isinstance(stage, SealedCure):
            share = self._full(stage.purge if stage.purge is not None else self.numbers.si("purge.sealed_cure"))
            purge = share * sum(cut.weight for cut in self._cuts)
            held = sum(cut.held / cut.partition for cut in self._cuts)
            left = (1 - purge / held)[:, None]
            self._cuts = tuple(
                replace(
                    cut,
                    capacity=cut.capacity * left,
                    inner=cut.inner * left,
                    half=cut.half * left,
                    area=cut.area * left,
                )
                for cut in self._cuts
            )
            self._water_change = [change - share for change in self._water_change]
            kelvin = np.clip(stage.coldest + self.warmer, 273.15, 313.15)
            top = np.asarray(brine.solubility(kelvin))
            bath = {solute: self._full(getattr(stage, solute)) for solute in TRACERS}
            bath["salt"] = bath["salt"] * self._column("salt weight", 1.0)
            still = self._film("still")
            self._run(
                stage, index, name, purge, ((still, still),), stage.temperature, stage.longest, bath, top / (1 - top)
            )
        else:
            moved = self._film("stirred" if stage.stirred else "still")
            below = self._film("contact") if stage.lying else moved
            faces = ((moved, below), (below, moved))
            if isinstance(stage, Brine):
                made = require_bath(stage)
                bath = {solute: self._full(getattr(made, solute)) for solute in TRACERS}
                bath["salt"] = bath["salt"] * self._column("salt weight", 1.0)
                turns = _turns(stage)
                self._run(
                    stage, index, name, made.water * water, faces[: 2 if turns else 1], stage.temperature, stage.longest,
                    bath, turns=turns, running=stage.running,
                )  # fmt: skip
            else:
                for number, each in enumerate(stage.waters, 1):
                    label = f"{name}, water {number} of {len(stage.waters)}"
                    self._run(stage, index, label, each.amount * water, faces[:1], each.temperature, each.lasts, {})

    def _run(self, stage, index, label, water, faces, log, longest, bath, saturation=None, turns=(), running=False):
        planned, readings = self._clock(log, longest)
        capacity = np.full(self.count, np.inf) if running else water
        wires = tuple(self._wires(self._cuts, capacity, pair) for pair in faces)
        starts = np.cumsum([0] + [cut.capacity.shape[1] for cut in self._cuts])
        slices = tuple(slice(int(a), int(b)) for a, b in pairwise(starts))
        start = {}
        for name in TRACERS:
            cells = [amounts / cut.capacity for amounts, cut in zip(self._amounts[name], self._cuts, strict=True)]
            start[name] = np.concatenate([*cells, self._full(bath.get(name, 0.0) / water)[:, None]], axis=1)
        turns = np.array(turns)
        read = _Reader(planned.knots, readings)
        tracks = []
        names = [name for name in TRACERS if start[name].any()]
        if saturation is not None and "salt" in names and np.any(start["salt"][:, -1] > saturation):
            names.remove("salt")
            tracks.append(self._dissolving(start["salt"], saturation, water, wires[0], faces[0], read, longest))
        whole = self._full(longest)
        solved = [wire.solve(None) for wire in wires] if names else []
        if names:
            ratios = np.stack([self._full(solutes.ratio(name, self.numbers)) for name in names], axis=1)
            begin, now, legs = 0.0, np.stack([start[name] for name in names], axis=1), []
            for number, end in enumerate([*turns, longest]):
                leg = Leg(
                    self._full(begin), self._full(end), solved[number % len(wires)], now, read.since(ratios, begin)
                )
                legs.append(leg)
                begin = end
                if end != longest:
                    now = leg.states(self._full(end)[:, None])[:, :, 0]
            tracks.append(Track(tuple(names), tuple(legs)))
        number, cuts, brought = len(self.runs), self._cuts, self._full(bath.get("nitrite", 0.0) / water)

        def free() -> Track | None:
            # Free nitrite acts on nothing else, so its eigenproblems wait until someone asks.
            held = self._left_free(number, cuts)
            begin = np.concatenate([*held, brought[:, None]], axis=1)
            return self._free(begin, turns, planned, read, wires, slices, cuts, longest) if begin.any() else None

        run = Stretch(
            stage, index, label, self._time, whole, whole, water, running, faces[0] is None, self._cuts, slices, wires,
            turns, tuple(tracks), tuple(self._water_change), free=free,
        )  # fmt: skip
        if not isinstance(stage, (Rest, SealedCure)):
            run = replace(run, water_target=self._target(run.equilibrium("salt")))
        run = self._ended(run, stage)
        self.runs.append(run)
        self._hand_on(run)

    def _target(self, w: np.ndarray) -> np.ndarray:
        strength = np.minimum(w / (1 + w), 0.264)
        target = np.asarray(water_change(strength, self.base))
        return target + 0.01 * self._column("water uptake", 0.0) * np.minimum(strength / 0.02, 1.0)

    def _dissolving(self, start, saturation, water, wire, faces, read, longest) -> Track:
        """Salt of a sealed cure: held at saturation while some lies dry, then a finite bath; when, differs from draw to draw."""
        dry = np.maximum((start[:, -1] - saturation) * water, 0.0)
        wet = self._wires(self._cuts, np.full(self.count, np.inf), faces)
        held = start.copy()
        held[:, -1] = np.minimum(held[:, -1], saturation)
        one = np.ones((self.count, 1))
        stack = wet.solve(None)
        tau = read.since(one, 0.0)

        def given(seconds):
            return stack[0][1].supplied(held[:, None], tau(seconds[:, None]))[:, 0, 0]

        low, high = np.zeros(self.count), self._full(longest).copy()
        never = (given(high) <= dry) & (dry > 0)
        for _ in range(60):
            middle = 0.5 * (low + high)
            short = given(middle) < dry
            low, high = np.where(short, middle, low), np.where(short, high, middle)
            if np.all(high - low <= 1e-12 * longest):
                break
        gone = np.where(never, longest, np.where(dry > 0, 0.5 * (low + high), 0.0))
        first = Leg(np.zeros(self.count), gone, stack, held[:, None], tau)
        now = np.where((dry > 0)[:, None, None], first.states(gone[:, None])[:, :, 0], start[:, None])
        second = Leg(gone, self._full(longest), wire.solve(None), now, read.since(one, gone))
        return Track(("salt",), (first, second), dry)

    def _left_free(self, number: int, cuts) -> list[np.ndarray]:
        """w (d, cells) of free nitrite in every piece as run `number` begins."""
        if number == 0:
            return [np.zeros_like(cut.capacity) for cut in cuts]
        before = self.runs[number - 1]
        w = before.states(FREE, before.length[:, None])[:, 0]
        return [
            w[:, nodes] * old.capacity / cut.capacity
            for nodes, old, cut in zip(before.slices, before.cuts, cuts, strict=True)
        ]

    def _free(self, start, turns, planned, read, wires, slices, pieces, longest) -> Track:
        ratio = self._full(solutes.ratio("nitrite", self.numbers))
        cuts = [turns, [longest]]
        if not planned.steady:
            inner = planned.knots[1:-1]
            if len(inner) > self.segments:
                inner = np.linspace(0.0, longest, self.segments + 1)[1:-1]
            cuts.append(inner)
        ends = np.unique(np.concatenate(cuts))
        begins = np.concatenate([[0.0], ends[:-1]])
        known: dict = {}
        now, legs = start[:, None], []
        for begin, end in zip(begins, ends, strict=True):
            turned = int(np.searchsorted(turns, begin, side="right")) % len(wires)
            key = turned if planned.steady else (turned, begin)
            if key not in known:
                at = planned.temperature(np.array([begin, 0.5 * (begin + end), end])) + self.warmer[:, None]
                pace = (
                    ratio[:, None] * (read(self._full(end)[:, None]) - read(self._full(begin)[:, None])) / (end - begin)
                )[:, 0]
                loss = np.zeros((self.count, slices[-1].stop + 1))
                for nodes, cut in zip(slices, pieces, strict=True):
                    loss[:, nodes] = ((self._loss_rate(at, cut.body) @ np.array([1, 4, 1])) / 6 / pace)[:, None]
                known[key] = wires[turned].solve(loss)
            leg = Leg(self._full(begin), self._full(end), known[key], now, read.since(ratio[:, None], begin))
            legs.append(leg)
            if end != ends[-1]:
                now = leg.states(self._full(end)[:, None])[:, :, 0]
        return Track((FREE,), tuple(legs))

    def _loss_rate(self, kelvin: np.ndarray, body: Body) -> np.ndarray:
        """1/s (d, 3), as `solutes.nitrite_loss_rate`; the drawn factors are carried outside it."""
        piece = body.piece
        acid = self._full(piece.acidity(self.base))
        if piece.ph is None:
            from ..matter.tissue import TISSUES

            acid = self._full(self.numbers.si(f"ph.{TISSUES[piece.tissue].species}"))
        rate = np.asarray(solutes.nitrite_loss_rate(kelvin, acid[:, None], self.loss, self.base))
        for key, power in (("nitrite.loss_multiplier", 1), ("nitrite.takagi.half_life", -1)):
            if key in self.numbers.drawn and (power > 0 or self.loss == "takagi"):
                rate = rate * ((self.numbers.drawn[key] / self.base.si(key)) ** power)[:, None]
        return rate

    def _ended(self, run: Stretch, stage: AnyStage) -> Stretch:
        """The first time the criterion holds; a run after it (the next water of a soak) has no length."""
        if stage.until is None:
            return run
        over = np.zeros(self.count, dtype=bool)
        for before in self.runs:
            if before.index == run.index:
                over |= np.isfinite(before.cache["found"])
        found = run.first_time(stage.until)
        length = np.where(over, 0.0, np.minimum(found, run.longest))
        return replace(run, length=length, cache={"found": np.where(over, 0.0, found)})

    def _hand_on(self, run: Stretch) -> None:
        end = run.length[:, None]
        for name in TRACERS:
            if run.home(name) is not None:
                w = run.states(name, end)[:, 0]
                self._amounts[name] = [
                    w[:, nodes] * cut.capacity for nodes, cut in zip(run.slices, run.cuts, strict=True)
                ]
        self._water_change = [run.water_change(number, end)[:, 0] for number in range(len(run.cuts))]
        self._time = self._time + run.length

    def release(self) -> None:
        """Let go of the modes now: runs and ensemble hold each other, and a sheaf of modes is large."""
        self.runs.clear()
        self._stacks.clear()

    # -- readings ------------------------------------------------------------------------------------------------------

    @property
    def length(self) -> np.ndarray:
        """s (d,) from the start to the end of each draw."""
        return self.runs[-1].end

    def ends(self, index: int) -> np.ndarray:
        """s (d,) at which stage `index` ends, from 0."""
        return [run for run in self.runs if run.index == index][-1].end

    def _times(self, times) -> np.ndarray:
        given = self.length[:, None] if times is None else np.asarray(times, dtype=float)
        if given.ndim < 2:
            given = np.broadcast_to(np.atleast_1d(given), (self.count, np.atleast_1d(given).shape[0]))
        return np.minimum(given, self.length[:, None])

    def _gather(self, times, one):
        """Values of `one(run, seconds)` from the run that owns each time, borders to the earlier one."""
        asked = self._times(times)
        ends = np.stack([run.end for run in self.runs[:-1]]) if len(self.runs) > 1 else np.zeros((0, self.count))
        owner = (asked[None] - 1e-6 > ends[:, :, None]).sum(axis=0)
        result: np.ndarray | None = None
        for number, run in enumerate(self.runs):
            mine = owner == number
            columns = np.flatnonzero(mine.any(axis=0))
            if not len(columns):
                continue
            seconds = np.clip(asked[:, columns] - run.begin[:, None], 0.0, run.length[:, None])
            value = one(run, seconds)
            if result is None:
                result = np.empty((*asked.shape, *value.shape[2:]))
            mine = mine[:, columns].reshape(self.count, len(columns), *(1,) * (value.ndim - 2))
            result[:, columns] = value if mine.all() else np.where(mine, value, result[:, columns])
        assert result is not None
        return result

    def at(self, place: str, quantity: str, times=None, piece: int = 0, basis: str | None = None) -> np.ndarray:
        """Fraction (d, t) at "core", "average" or "surface"."""
        on = basis or default_basis(quantity)
        return self._gather(times, lambda run, t: run.read(quantity, place, on, t, piece))

    def profile(self, quantity: str, times=None, piece: int = 0, basis: str | None = None) -> np.ndarray:
        """Fractions (d, t, x) at the depths of `depths`: the engine's own cells and both faces."""
        on = basis or default_basis(quantity)
        first = 0 if self._cuts[piece].body.chain.area[0] > 0 else 1
        return self._gather(times, lambda run, t: run.profile(quantity, on, t, piece)[..., first:])

    def depths(self, piece: int = 0) -> np.ndarray:
        """Depth (x,) of the values of `profile`, as a share of the thickness; half a piece runs from the middle, 0.5, to 1."""
        chain = self._cuts[piece].body.chain
        depth = np.concatenate([chain.edges[:1], chain.centres, chain.edges[-1:]]) / chain.edges[-1]
        return depth if chain.area[0] > 0 else 0.5 + 0.5 * depth[1:]

    def weight(self, times=None, piece: int = 0) -> np.ndarray:
        """kg (d, t)."""
        return self._gather(times, lambda run, t: run.weight(piece, t))

    def bath(self, quantity: str, times=None) -> np.ndarray:
        """Mass fraction (d, t) in the bath, zero while the pieces rest."""

        def one(run, t):
            w = np.zeros(t.shape) if run.sealed else run.in_bath(quantity, t)
            return w / (1 + w)

        return self._gather(times, one)

    def first_time(self, criterion: Criterion, index: int = 0, where: int | str = "every") -> np.ndarray:
        """s (d,) since the start when the criterion first holds, from the beginning of stage `index`; inf: never."""
        found = np.full(self.count, np.inf)
        for run in self.runs:
            if run.index >= index and np.isinf(found).any():
                first = np.where(run.length > 0, run.begin + run.first_time(criterion, where), np.inf)
                found = np.minimum(found, first)
        return found

    def begin(self, index: int) -> np.ndarray:
        """s (d,) at which stage `index` begins."""
        return next(run for run in self.runs if run.index == index).begin


def _close(one: np.ndarray, other: np.ndarray) -> bool:
    return bool(np.allclose(one, other, rtol=1e-13, atol=0.0))


class _Reader:
    """Clock readings (d, t) at times (d, t): straight between knots, as `Clock`."""

    def __init__(self, knots: np.ndarray, readings: np.ndarray):
        self.knots, self.readings = knots, readings

    def __call__(self, times: np.ndarray) -> np.ndarray:
        if len(self.knots) == 2:
            return self.readings[:, 1:] * (times / self.knots[1])
        step = np.clip(np.searchsorted(self.knots, times, side="right") - 1, 0, len(self.knots) - 2)
        share = (times - self.knots[step]) / (self.knots[step + 1] - self.knots[step])
        low = np.take_along_axis(self.readings, step, axis=1)
        return low + share * (np.take_along_axis(self.readings, step + 1, axis=1) - low)

    def since(self, ratios: np.ndarray, begin):
        """tau(times (d, t)) -> (d, s, t): ratio times the reading since `begin`."""
        zero = self(np.broadcast_to(np.asarray(begin, dtype=float), (len(self.readings),))[:, None])

        def tau(times):
            return ratios[:, :, None] * np.maximum(self(times) - zero, 0.0)[:, None, :]

        return tau


class Loop:
    """The same readings from `simulate`, draw after draw: slow, for inputs that the vectorised engine does not know, and
    the yardstick of its tests.
    """

    def __init__(self, pieces, stages, columns, *, loss="nordin", cells=CELLS, numbers=None):
        from ..simulate import simulate

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

    def begin(self, index: int) -> np.ndarray:
        return np.array([history.span(index)[0] for history in self.histories])

    def at(self, place, quantity, times=None, piece=0, basis=None):
        return self._each(times, lambda h, t: h.at(place, quantity, t, piece, basis))

    def profile(self, quantity, times=None, piece=0, basis=None):
        on = basis or default_basis(quantity)
        half = self.histories[0].runs[0].bodies[piece].chain.area[0] == 0
        values = self._each(times, lambda h, t: h.profile(quantity, t, piece, on).values)
        return values[..., values.shape[-1] // 2 :] if half else values

    def depths(self, piece=0):
        history = self.histories[0]
        depth = history.profile("salt", 0.0, piece).depth
        depth = depth / depth[-1]
        half = history.runs[0].bodies[piece].chain.area[0] == 0
        return depth[len(depth) // 2 :] if half else depth

    def weight(self, times=None, piece=0):
        return self._each(times, lambda h, t: h.weight(t, piece))

    def bath(self, quantity, times=None):
        return self._each(times, lambda h, t: h.bath(quantity, t))

    def first_time(self, criterion, index=0, where="every"):
        from ..forecast import first_time

        found = [first_time(h, criterion, h.span(index)[0], where) for h in self.histories]
        return np.array([np.inf if value is None else value for value in found])
