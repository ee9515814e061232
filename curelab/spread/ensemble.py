"""The same batch in many draws at once: what `simulate` does for one, vectorised over the draws.

Assembly, runs and criteria follow simulate.py. What makes it fast: a dozen terms in the place of a hundred cells (transport/terms.py),
parts that are solved alone or not at all (transport/stack.py), and arrays over the draws. With as many terms as cells a draw equals
`simulate` of that draw (`uncertain.drawn_case`) to 1e-10, which a test checks for every stage and shape.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from ..engine.assembly import FILM_TEMPERATURE, WATER_PER_VOLUME, Clock
from ..engine.history import FIRST_BITE, mean_within
from ..engine.runs import FREE, TRACERS
from ..engine.simulate import CELLS, turns_of
from ..matter import brine, solutes
from ..matter.tissue import TISSUES, water_change
from ..recipe.criterion import Criterion, default_basis
from ..recipe.piece import Piece
from ..recipe.stages import AnyStage, Brine, Log, Rest, SealedCure, require_bath
from ..sources import Numbers, default_numbers, to_si
from .answers import folded
from .cut import cut
from .networks import Networks
from .stretch import Leg, Stretch, Track
from .uncertain import thickness_factor, tilt

SEGMENTS = 4  # pieces of a fridge log with their own mean loss of nitrite; `simulate` takes up to 64
CONDITIONS = (
    "activation energy",
    "water uptake",
    "temperature",
    "meat weight",
    "water weight",
    "salt weight",
    "cure weight",
)
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
    """A batch in d draws. `columns`: values (d,) of the uncertain inputs, in printed units (see uncertain.py); `cells` from a face to the
    middle, carried by a dozen terms, or by as many terms as cells if `few` is False; `segments` of a fridge log, each with its own loss.

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
        cells: int = CELLS,
        few: bool = True,
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
        self._cuts = tuple(
            cut(
                piece, cells, few, self.base, self.numbers,
                thickness_factor(piece, self._column(f"thickness of {piece.name}", 0.0)),
                self._column("meat weight", 1.0), self._full,
            )
            for piece in self.pieces
        )  # fmt: skip
        self._networks = Networks(self._cuts)
        self._amounts = {name: [np.zeros((self.count, each.count)) for each in self._cuts] for name in TRACERS}
        self._water_change = [np.zeros(self.count) for _ in self._cuts]
        self._time = np.zeros(self.count)
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
            purge = share * sum(each.weight for each in self._cuts)
            left = 1 - purge / sum(each.held / each.partition for each in self._cuts)
            self._cuts = tuple(each.dried(left) for each in self._cuts)
            self._water_change = [change - share for change in self._water_change]
            kelvin = np.clip(stage.coldest + self.warmer, 273.15, 313.15)
            top = np.asarray(brine.solubility(kelvin))
            bath = self._weighed(stage)
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
                bath = self._weighed(made)
                turns = turns_of(stage)
                self._run(
                    stage, index, name, made.water * water, faces[: 2 if turns else 1], stage.temperature, stage.longest,
                    bath, turns=turns, running=stage.running,
                )  # fmt: skip
            else:
                for number, each in enumerate(stage.waters, 1):
                    label = f"{name}, water {number} of {len(stage.waters)}"
                    self._run(stage, index, label, each.amount * water, faces[:1], each.temperature, each.lasts, {})

    def _weighed(self, given: Any) -> dict[str, np.ndarray]:
        """kg (d,) of every solute that is put in, as the scale was off."""
        off = {"salt": "salt weight", "nitrate": "cure weight", "nitrite": "cure weight"}
        return {
            solute: getattr(given, solute) * (self._column(off[solute], 1.0) if solute in off else self._full(1.0))
            for solute in TRACERS
        }

    def _run(self, stage, index, label, water, faces, log, longest, bath, saturation=None, turns=(), running=False):
        planned, readings = self._clock(log, longest)
        capacity = np.full(self.count, np.inf) if running else water
        wires = tuple(self._networks.wires(self._cuts, capacity, pair) for pair in faces)
        starts = np.cumsum([0] + [each.count for each in self._cuts])
        slices = tuple(slice(int(a), int(b)) for a, b in pairwise(starts))
        start = {}
        for name in TRACERS:
            inside = [
                amounts / each.held[:, None] for amounts, each in zip(self._amounts[name], self._cuts, strict=True)
            ]
            start[name] = np.concatenate([*inside, self._full(bath.get(name, 0.0) / water)[:, None]], axis=1)
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
                legs.append(Leg(self._full(begin), self._full(end), solved[number % len(wires)], now))
                if end != longest:
                    now = self._onwards(legs[-1], ratios, read)
                begin = end
            tracks.append(Track(tuple(names), tuple(legs), read, ratios))
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

    @staticmethod
    def _onwards(leg: Leg, ratios: np.ndarray, read: _Reader) -> np.ndarray:
        """w (d, s, n) at the end of a leg."""
        since = read(leg.end[:, None]) - read(leg.begin[:, None])
        return leg.stack.at(leg.start, ratios[:, :, None] * since[:, None, :])[:, :, 0]

    def _target(self, w: np.ndarray) -> np.ndarray:
        strength = np.minimum(w / (1 + w), 0.264)
        target = np.asarray(water_change(strength, self.base))
        return target + 0.01 * self._column("water uptake", 0.0) * np.minimum(strength / 0.02, 1.0)

    def _dissolving(self, start, saturation, water, wire, faces, read, longest) -> Track:
        """Salt of a sealed cure: held at saturation while some lies dry, then a finite bath; when, differs from draw to draw."""
        dry = np.maximum((start[:, -1] - saturation) * water, 0.0)
        wet = self._networks.wires(self._cuts, np.full(self.count, np.inf), faces)
        held = start.copy()
        held[:, -1] = np.minimum(held[:, -1], saturation)
        one = np.ones((self.count, 1))
        stack = wet.solve(None)

        def given(seconds):
            return stack.supplied(held[:, None], read(seconds[:, None])[:, None])[:, 0, 0]

        low, high = np.zeros(self.count), self._full(longest).copy()
        never = (given(high) <= dry) & (dry > 0)
        for _ in range(60):
            middle = 0.5 * (low + high)
            short = given(middle) < dry
            low, high = np.where(short, middle, low), np.where(short, high, middle)
            if np.all(high - low <= 1e-12 * longest):
                break
        gone = np.where(never, longest, np.where(dry > 0, 0.5 * (low + high), 0.0))
        first = Leg(np.zeros(self.count), gone, stack, held[:, None])
        now = np.where((dry > 0)[:, None, None], self._onwards(first, one, read), start[:, None])
        second = Leg(gone, self._full(longest), wire.solve(None), now)
        return Track(("salt",), (first, second), read, one, dry)

    def _left_free(self, number: int, cuts) -> list[np.ndarray]:
        """w (d, r) of free nitrite in every piece as run `number` begins."""
        if number == 0:
            return [np.zeros((self.count, each.count)) for each in cuts]
        before = self.runs[number - 1]
        w = before.states(FREE, before.length[:, None])[:, 0]
        return [
            w[:, nodes] * (old.held / each.held)[:, None]
            for nodes, old, each in zip(before.slices, before.cuts, cuts, strict=True)
        ]

    def _free(self, start, turns, planned, read, wires, slices, pieces, longest) -> Track:
        ratio = self._full(solutes.ratio("nitrite", self.numbers))
        cuts = [turns, [longest]]
        if not planned.steady:
            inner = planned.knots[1:-1]
            if len(turns) >= self.segments:  # the legs between the turns are short enough to have one mean each
                inner = inner[:0]
            elif len(inner) > self.segments:
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
                for nodes, each in zip(slices, pieces, strict=True):
                    loss[:, nodes] = ((self._loss_rate(at, each.body.piece) @ np.array([1, 4, 1])) / 6 / pace)[:, None]
                known[key] = wires[turned].solve(loss)
            legs.append(Leg(self._full(begin), self._full(end), known[key], now))
            if end != ends[-1]:
                now = self._onwards(legs[-1], ratio[:, None], read)
        return Track((FREE,), tuple(legs), read, ratio[:, None])

    def _loss_rate(self, kelvin: np.ndarray, piece: Piece) -> np.ndarray:
        """1/s (d, 3), as `solutes.nitrite_loss_rate`; the drawn factors are carried outside it."""
        acid = self._full(piece.acidity(self.base))
        if piece.ph is None:
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
                assert before.found is not None
                over |= np.isfinite(before.found)
        found = run.first_time(stage.until)
        length = np.where(over, 0.0, np.minimum(found, run.longest))
        return replace(run, length=length, found=np.where(over, 0.0, found), cache={})

    def _hand_on(self, run: Stretch) -> None:
        end = run.length[:, None]
        for name in TRACERS:
            if run.home(name) is not None:
                w = run.states(name, end)[:, 0]
                self._amounts[name] = [
                    w[:, nodes] * each.held[:, None] for nodes, each in zip(run.slices, run.cuts, strict=True)
                ]
        self._water_change = [run.water_change(number, end)[:, 0] for number in range(len(run.cuts))]
        self._time = self._time + run.length

    def release(self) -> None:
        """Let go of the modes now: runs and ensemble hold each other, and a sheaf of modes is large."""
        self.runs.clear()
        self._networks.solved.clear()

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

    def _gather(self, times, one, kind: type = float):
        """Values of `one(run, seconds)` from the run that owns each time, borders to the earlier one; `kind` of number to keep."""
        asked = self._times(times)
        ends = np.stack([run.end for run in self.runs[:-1]]) if len(self.runs) > 1 else np.zeros((0, self.count))
        owner = (asked[None] - 1e-6 > ends[:, :, None]).sum(axis=0)
        result: np.ndarray | None = None
        for number, run in enumerate(self.runs):
            mine = owner == number
            within = np.flatnonzero(mine.any(axis=0))
            if not len(within):
                continue
            columns = slice(within[0], within[-1] + 1)  # of times in order these are all that it owns
            seconds = np.clip(asked[:, columns] - run.begin[:, None], 0.0, run.length[:, None])
            value = one(run, seconds)
            if result is None:
                result = np.empty((*asked.shape, *value.shape[2:]), kind)
            where = mine[:, columns].reshape(*seconds.shape, *(1,) * (value.ndim - 2))
            np.copyto(result[:, columns], value, "same_kind", True if where.all() else where)
        assert result is not None
        return result

    def at(self, place: str, quantity: str, times=None, piece: int = 0, basis: str | None = None) -> np.ndarray:
        """Fraction (d, t) at "core", "average" or "surface"."""
        on = basis or default_basis(quantity)
        return self._gather(times, lambda run, t: run.read(quantity, place, on, t, piece))

    def profile(self, quantity: str, times=None, piece: int = 0, basis: str | None = None) -> np.ndarray:
        """Fractions (d, t, x) at the depths of `depths`."""
        first = 0 if self._cuts[piece].body.chain.area[0] > 0 else 1
        return self._across(quantity, times, piece, basis, slice(first, None), float)

    def picture(self, quantity: str, times=None, piece: int = 0, basis: str | None = None) -> np.ndarray:
        """`profile` in single precision, and only at the places that `folded` names where one half mirrors the other in every draw."""
        places: Any = slice(0 if self._cuts[piece].body.chain.area[0] > 0 else 1, None)
        if all(run.mirrored(piece) for run in self.runs):
            places = folded(self.depths(piece))[0]
        return self._across(quantity, times, piece, basis, places, np.float32)

    def _across(self, quantity: str, times, piece: int, basis: str | None, places: Any, kind: type) -> np.ndarray:
        on = basis or default_basis(quantity)
        return self._gather(times, lambda run, t: run.profile(quantity, on, t, piece, places), kind)

    def depths(self, piece: int = 0) -> np.ndarray:
        """Depth (x,) of the values of `profile`, as a share of the thickness: across a slab, its faces included, and from the middle,
        0.5, to the face, 1, of a round piece.
        """
        mine = self._cuts[piece]
        chain = mine.body.chain
        depth = np.concatenate([chain.edges[:1], chain.centres[mine.points], chain.edges[-1:]]) / chain.edges[-1]
        return depth if chain.area[0] > 0 else 0.5 + 0.5 * depth[1:]

    def first_bite(self, quantity: str, times=None, piece: int = 0, depth: float = FIRST_BITE) -> np.ndarray:
        """Fraction of the meat (d, t) averaged over the outermost `depth` [m]: what the edge of a slice tastes of."""
        values = self.profile(quantity, times, piece, "meat")
        across = self.depths(piece)
        if across[0] >= 0.5:  # both halves of a round piece
            across, values = np.concatenate([1 - across[::-1], across]), np.concatenate([values[..., ::-1], values], -1)
        where = across * self.pieces[piece].thickness
        within = np.repeat(depth / self._cuts[piece].size, values.shape[1])  # places are those of the piece as planned
        return mean_within(where, values.reshape(-1, len(where)), within).reshape(values.shape[:2])

    def weight(self, times=None, piece: int = 0) -> np.ndarray:
        """kg (d, t)."""
        return self._gather(times, lambda run, t: run.weight(piece, t))

    def bath(self, quantity: str, times=None) -> np.ndarray:
        """Mass fraction (d, t) in the bath, zero while the pieces rest."""

        def one(run, t):
            w = np.zeros(t.shape) if run.sealed else run.in_bath(quantity, t)
            return w / (1 + w)

        return self._gather(times, one)

    def first_time(
        self, criterion: Criterion, index: int = 0, where: int | str = "every", rounds: int = 1
    ) -> np.ndarray:
        """s (d,) since the start when the criterion first holds, from the beginning of stage `index`; inf: never. `rounds`: see Stretch."""
        found = np.full(self.count, np.inf)
        for run in self.runs:
            if run.index >= index and np.isinf(found).any():
                first = np.where(run.length > 0, run.begin + run.first_time(criterion, where, rounds), np.inf)
                found = np.minimum(found, first)
        return found

    def at_end(self, place: str, quantity: str, stage: int, piece: int = 0, basis: str | None = None) -> np.ndarray:
        """Fraction (d, 1) at a place when a stage ends, which may be at another time in each draw."""
        return self.at(place, quantity, self.ends(stage)[:, None], piece, basis)

    def begin(self, index: int) -> np.ndarray:
        """s (d,) at which stage `index` begins."""
        return next(run for run in self.runs if run.index == index).begin


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
