"""What happened: read by quantity, place and time, in one case or in many, with the budget and what it rests on.

Longer than others because every reading stands here once, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import units
from ..bodies.body import Body
from ..bodies.solid import Solid
from ..recipe.criterion import TEMPERATURE, Criterion, basis_of, default_basis, place_of, quantity_of
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..results import Shown
from ..sources import Number
from ..threads import on_one_thread
from ..transport.memory import READINGS, Kept
from . import looks, places
from .assumptions import assumptions
from .cases import Cases
from .readout import Profile, Ran, Times, mean_within, whole_depth
from .run import FREE, QUANTITIES, SECOND, TRACERS, WATER, Run, Where
from .walk import State, walk

if TYPE_CHECKING:
    import pandas

RESIDUAL = 1e-9  # a budget that misses by more than this is an error, not a result
FIRST_BITE = 0.005  # m: the edge of a slice that is tasted first (judgement)
DEPTHS = 12  # of the lean at which the slowest spot is looked for
GRID, LEAST_GRID, MOST_GRID = 40, 12, 1200  # times in each stretch of a grid for pictures; where there are many; in all


class History(Shown):
    """The result of `simulate`. Every reading takes times since the start (None: at the end): seconds, texts such as "5 d", a timedelta, a
    quantity of pint, or any array of them.

    A time on the border of two stages belongs to the earlier one. Quantities: salt, sugar, nitrate, nitrite (as added, a conserved
    tracer: what rules call ingoing) and free nitrite (with its loss). Places: core, average, surface, first bite (the outermost 5 mm).
    Bases: "meat" (of the meat as it then is; default for salt and sugar), "green weight" (default for nitrite and nitrate), "water phase"
    (solute / (solute + water)), "equilibrium".

    With draws (`drawn`) every reading has the draws along a first axis, (d, t), and so have lengths and ends; times may be (d, t) too. After
    the end of a draw its last state is read.
    """

    def __init__(
        self, pieces: tuple[Piece, ...], stages: tuple[Stage, ...], state: State, cases: Cases, loss: str, cells: int, segments: int, *,
        drawn: bool,
    ):  # fmt: skip
        self.pieces, self.stages, self.state, self.cases = pieces, stages, state, cases
        self._draw = 0  # the case that is told where one is told
        self.loss, self.cells, self.segments, self.drawn = loss, cells, segments, drawn

    @property
    def runs(self) -> list[Run]:
        """The stretches as they were computed, for all cases."""
        return self.state.runs

    @property
    def numbers(self):
        """The published numbers it rests on."""
        return self.cases.base

    @property
    def count(self) -> int:
        """Number of cases."""
        return self.cases.count

    @cached_property
    def uneven(self) -> bool:
        """Whether a stretch lasts longer in one case than in another."""
        return any(np.ptp(run.length) > 0 for run in self.runs)

    def of(self, draw: int) -> History:
        """One draw as a history of its own, with the pieces, stages and numbers of that draw."""
        from .drawn import OneOfMany

        known = self.__dict__.setdefault("_of", {})
        if draw not in known:  # checks ask for one draw after the other, and other checks for the same again
            known[draw] = OneOfMany(self, draw)
        return known[draw]

    def as_drawn(self) -> History:
        """The same with an axis of draws, of length one where nothing was drawn."""
        return History(
            self.pieces, self.stages, self.state, self.cases, self.loss, self.cells, self.segments, drawn=True
        )

    def lasting(self, stage: int, seconds: float) -> History:
        """The same up to a stage, which then lasts so many s, and nothing after it. The last one made is remembered."""
        longer = self.stages[stage].lasting(seconds)
        if self.stages[stage:] == (longer,):
            return self
        last = self.__dict__.get("_lasting")
        if last is None or last[0] != (stage, seconds):
            last = self.__dict__["_lasting"] = (stage, seconds), self.instead(stage, (longer,))
        return last[1]

    def pulled(self, stage: int, after: np.ndarray, then: Stage, piece: int | None = None) -> History:
        """The same up to a cure that ends after so many s (d,) in each draw, and one more stage after it. A cure of several stretches does
        not end before its last. piece: that one alone, to be read from then on, where nothing enters or leaves pieces any more.
        """
        state, pieces = self.state.before(stage + 1), self.pieces
        first = next(run for run in state.runs if run.index == stage)
        last = state.runs[-1].ending_after(np.maximum(after - (state.runs[-1].begin - first.begin), 0.0))
        if piece is None:
            state.runs[-1] = last
        else:
            state, pieces = state.alone(piece, last), pieces[piece : piece + 1]
        walk((then,), state, self.cases, self.loss, self.segments, first=stage + 1)
        stages = (*self.stages[: stage + 1], then)
        return History(pieces, stages, state, self.cases, self.loss, self.cells, self.segments, drawn=self.drawn)

    def instead(self, stage: int, stages: Sequence[Stage]) -> History:
        """The same up to a stage, and these instead of it and all after it. What was solved serves both."""
        state = self.state.before(stage)
        walk(stages, state, self.cases, self.loss, self.segments, first=stage)
        every = (*self.stages[:stage], *stages)
        return History(self.pieces, every, state, self.cases, self.loss, self.cells, self.segments, drawn=self.drawn)

    def release(self) -> None:
        """Let go of the modes now: a batch of them is large."""
        self.state.runs.clear()
        self.state.vessel.release()

    # -- time ----------------------------------------------------------------------------------------------------------

    def _plain(self, column: np.ndarray) -> Any:
        """(d,) with draws, else a float."""
        return column if self.drawn else float(column[self._draw])

    @property
    def length(self) -> Any:
        """s from the start to the end of the last stage."""
        return self._plain(self.runs[-1].end)

    @cached_property
    def times(self) -> np.ndarray:
        """A grid for pictures and tables (t,): 40 times in each stretch, fewer of each where there are more than 30, dense after its beginning,
        borders included. With draws, of the first.
        """
        count = int(np.clip(MOST_GRID // len(self.runs), LEAST_GRID, GRID))
        steps = np.linspace(0.0, 1.0, count + 1) ** 1.5
        own = self._draw
        grids = [run.begin[own] + run.length[own] * steps[1:] for run in self.runs if run.length[own] > 0]
        return np.concatenate([[0.0], *grids])

    def has(self, stage: int) -> bool:
        """Whether the stage with this number, from 0, was run."""
        return any(run.index == stage for run in self.runs)

    def span(self, stage: int) -> tuple[Any, Any]:
        """(begin, end) in s of the stage with this number, from 0."""
        if stage not in self._spans:
            raise ValueError(
                f"stage {stage} was not run; there are {len(self.stages)} and the last one run is {self.runs[-1].index}"
            )
        begin, end = self._spans[stage]
        return self._plain(begin), self._plain(end)

    @cached_property
    def _spans(self) -> dict[int, tuple[np.ndarray, np.ndarray]]:
        """(begin, end), (d,) each, of every stage that was run, by its number."""
        found: dict[int, tuple[np.ndarray, np.ndarray]] = {}
        for run in self.runs:
            found[run.index] = found.get(run.index, (run.begin,))[0], run.end
        return found

    def time_in(self, stages: Sequence[int]) -> Any:
        """s spent in the stages with these numbers."""
        runs = [run.length for run in self.runs if run.index in stages]
        return self._plain(sum(runs, np.zeros(self.count)))

    def spent(self, stage: int) -> list[float]:
        """s spent in each stretch of a stage that was run; with draws, in the first."""
        return [float(run.length[self._draw]) for run in self.runs if run.index == stage]

    def held(self, stages: Sequence[Stage], by_probe: bool = False) -> tuple[Stage, ...]:
        """These stages with every criterion replaced by the time it took here; what was not run any more is left out. by_probe: but not
        where a thermometer in the meat says when a stage is over, for a cook goes by that whatever the clock shows.
        """
        return tuple(
            stage
            if stage.until is None or (by_probe and stage.until.quantity == TEMPERATURE)
            else stage.held(self.spent(number))
            for number, stage in enumerate(stages)
            if self.has(number)
        )

    def begin(self, stage: int) -> Any:
        """s at which a stage begins."""
        return self.span(stage)[0]

    def ends(self, stage: int) -> Any:
        """s at which a stage ends."""
        return self.span(stage)[1]

    @cached_property
    def ran(self) -> tuple[Ran, ...]:
        """The stretches that were run, in order; with draws, of the first."""
        found, own = [], self._draw
        for number, run in enumerate(self.runs):
            begin, length = float(run.begin[own]), float(run.length[own])
            knots = np.append(run.clock.knots[run.clock.knots < length], length)
            kelvin = run.clock.temperature(knots) + run.clock.warmer[own]
            held = run.found is not None and bool(np.isfinite(run.found[own]))
            before = sum(each.index == run.index for each in self.runs[:number])
            stretch = self.stages[run.index].stretches[before]
            found.append(Ran(run.index, stretch, begin, begin + length, begin + knots, kelvin, held))
        return tuple(found)

    @property
    def courses(self) -> list[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]]:
        """For each stretch that was run: begin (d,) in s since the start, length (d,) in s, knots (k,) in s since its begin between which the
        temperature is a straight line, and K there (d, k).
        """
        return [
            (run.begin, run.length, run.clock.knots, run.clock.kelvin + run.clock.warmer[:, None]) for run in self.runs
        ]

    def turned(self, run: int) -> np.ndarray:
        """s since its begin at which the pieces were turned in a stretch that was run, by its number in `courses`."""
        return self.runs[run].turns

    def ran_at(self, time: Times) -> Ran:
        """The stretch that owns a time; a border belongs to the earlier one."""
        return next((each for each in self.ran if units.seconds(time) <= each.end + 1e-6), self.ran[-1])

    def remembered(self, key: tuple, make: Callable[[], np.ndarray]) -> np.ndarray:
        """A reading of all draws, made once and kept among the last few."""
        kept = self.__dict__.setdefault("_kept", Kept(READINGS))
        found = kept.get(key)
        if found is None:
            found = kept[key] = make()
        return found

    def shared(self, key: tuple, make: Callable[[History], np.ndarray]) -> np.ndarray:
        """(1, ...) of `make`, which takes a history with an axis of draws to values (d, ...): for what is quicker worked out for all draws
        at once than draw by draw. `key` says what it makes.
        """
        return make(self.as_drawn())

    def _gathered(
        self, key: tuple, times: Times, one: Callable[[Run, np.ndarray], np.ndarray], kind: type = float
    ) -> np.ndarray:
        """As `gather`; `key` says what `one` reads."""
        return self.gather(times, one, kind)

    @on_one_thread
    def gather(self, times: Times, one: Callable[[Run, np.ndarray], np.ndarray], kind: type = float) -> np.ndarray:
        """(d, t, ...) of `one(run, seconds in run)` over the runs that own the times; `kind` of number to keep."""
        length = self.runs[-1].end
        asked = np.asarray(length[:, None] if times is None else times, dtype=float)
        if self.drawn:
            if asked.size and not asked.min() >= 0:  # after its end a draw keeps its last state
                raise ValueError("times must lie from 0 s on, the beginning of this history")
        else:
            latest = length[0] * (1 + 1e-12) + 1e-6
            if asked.size and not (asked.min() >= 0 and asked.max() <= latest):  # written so that nan is refused too
                raise ValueError(f"times must lie between 0 and {length[0]:g} s, the end of this history")
        if asked.ndim < 2:
            asked = np.broadcast_to(
                np.atleast_1d(asked), (self.count, max(asked.size, 1) if not asked.ndim else len(asked))
            )
        asked = np.minimum(asked, length[:, None])
        if len(self.runs) == 1:
            return one(self.runs[0], np.maximum(asked, 0.0)).astype(kind)  # a copy, for readings are remembered
        owner = np.maximum(self._owners(asked - 1e-6), self._from)
        result: np.ndarray | None = None
        for number in np.flatnonzero(np.bincount(owner.ravel())):
            run, mine = self.runs[number], owner == number
            within = np.flatnonzero(mine.any(axis=0))
            whole = len(within) == within[-1] + 1 - within[0] or self.drawn
            columns: Any = (
                slice(within[0], within[-1] + 1) if whole else within
            )  # of times in order these are all that it owns
            seconds = np.clip(asked[:, columns] - run.begin[:, None], 0.0, run.length[:, None])
            value = one(run, seconds)
            if result is None:
                result = np.empty((*asked.shape, *value.shape[2:]), kind)
            where = mine[:, columns].reshape(*seconds.shape, *(1,) * (value.ndim - 2))
            if where.all():
                result[:, columns] = value
            else:
                np.copyto(result[:, columns], value, "same_kind", where)
        assert result is not None
        return result

    @cached_property
    def _ends(self) -> tuple[np.ndarray, bool]:
        """(d, r) s at which the runs but the last end, and whether they do so at the same time in all cases."""
        ends = np.stack([run.end for run in self.runs[:-1]], axis=1)
        return ends, bool(np.ptp(ends, axis=0).max() == 0)

    @cached_property
    def _from(self) -> int:
        """Number of the first run that can be read: a piece that goes on alone has its past behind it (`pulled`)."""
        return sum(not isinstance(run, Run) for run in self.runs)

    def _owners(self, times: np.ndarray) -> np.ndarray:
        """Number of the run that owns each time (d, t)."""
        ends, alike = self._ends
        if alike:
            return np.searchsorted(ends[0], times)
        return np.array([np.searchsorted(mine, asked) for mine, asked in zip(ends, times, strict=True)])

    def reading(self, key: tuple, times: Times, one: Callable[[Run, np.ndarray], np.ndarray]) -> Any:
        """As `gather`; without draws no draw axis, and a scalar in gives a scalar out. `key` says what `one` reads."""
        times = units.seconds(times)
        found = self._gathered(key, times, one)
        if self.drawn:
            return found
        if times is None or np.ndim(times) == 0:
            return float(found[0, 0]) if found.ndim == 2 else found[0, 0]
        return found[0]

    def piece_number(self, piece: int | str) -> int:
        """Number of a piece, from 0. Raises ValueError for one that is not there."""
        if isinstance(piece, str):
            names = [each.name for each in self.pieces]
            if piece not in names:
                raise ValueError(f'there is no piece "{piece}"; there is {", ".join(names)}')
            return names.index(piece)
        return range(len(self.pieces))[piece]

    # -- readings ------------------------------------------------------------------------------------------------------

    def at(self, place: str, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> Any:
        """Fraction at a place: "core", "average", "surface" (the saltier face) or "first bite", which is of the meat alone."""
        if place == "first bite":
            if basis not in (None, "meat"):
                raise ValueError(
                    f'the first bite is told as a fraction of the meat, not on the basis "{basis}"; leave it out'
                )
            return self.first_bite(quantity, times, piece)
        name, where, on = quantity_of(quantity), place_of(place), _basis(quantity, basis)
        number = self.piece_number(piece)
        return self.reading((where, name, on, number), times, lambda run, t: run.read(name, where, on, t, number))

    @on_one_thread
    def at_end(self, place: str, quantity: str, stage: int, piece: int | str = 0, basis: str | None = None) -> Any:
        """Fraction at a place when a stage ends, which may be at another time in each draw: (d, 1) with draws."""
        last = self._last(stage)
        if last is None or place == "first bite":
            return self.at(place, quantity, self._end(stage), piece, basis)
        name, where, on = quantity_of(quantity), place_of(place), _basis(quantity, basis)
        return last.read(name, where, on, last.ended_at, self.piece_number(piece)).copy()

    @on_one_thread
    def weight_at_end(self, stage: int, piece: int | str = 0) -> Any:
        """kg when a stage ends, as `at_end`."""
        last = self._last(stage)
        if last is None:
            return self.weight(self._end(stage), piece)
        return last.weight(self.piece_number(piece), last.ended_at).copy()

    def _end(self, stage: int) -> Any:
        """s since the start at which a stage ends, as readings take it: (d, 1) with draws."""
        end = self.span(stage)[1]
        return np.reshape(end, (-1, 1)) if self.drawn else end

    def _last(self, stage: int) -> Run | None:
        """The stretch with which a stage ends in all draws, None where they differ or nothing is drawn: its end is known already."""
        self.span(stage)
        last = [run for run in self.runs if run.index == stage][-1]
        return last if self.drawn and isinstance(last, Run) and np.all(last.length > 0) else None

    def core(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> Any:
        """Fraction at the core: the place that both faces reach with equal resistance; of a block, a cut or a round with ends the slowest
        spot, found anew at every time.
        """
        return self.at("core", quantity, times, piece, basis)

    def average(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> Any:
        """Fraction in the whole piece."""
        return self.at("average", quantity, times, piece, basis)

    def surface(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> Any:
        """Fraction at the saltier face of the lean."""
        return self.at("surface", quantity, times, piece, basis)

    def resting(self, quantity: str, stage: int, piece: int | str = 0) -> Any:
        """Fraction of the meat that a stage is heading for: where it would come to rest if it never ended (in a soak: its last water)."""
        self.span(stage)
        last = [run for run in self.runs if run.index == stage][-1]
        return self._plain(last.resting(quantity_of(quantity), self.piece_number(piece)))

    def first_bite(
        self, quantity: str, times: Times = None, piece: int | str = 0, depth: float | str = FIRST_BITE
    ) -> Any:
        """Fraction, of the meat, averaged over the outermost `depth` [m]: what the edge of a slice tastes of."""
        number, name, depth = self.piece_number(piece), quantity_of(quantity), units.read(depth, "length")
        across, whole = whole_depth(self.depths(number))

        def one(run: Run, t: np.ndarray) -> np.ndarray:
            values = run.profile(name, "meat", t, number)[..., whole]
            within = depth / run.meats[number].across  # a share of the thickness, which is another in every draw
            return mean_within(across, values.reshape(-1, len(across)), np.repeat(within, t.shape[1])).reshape(t.shape)

        return self.reading(("bite", name, number, depth), times, one)

    def profile(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> Profile:
        """Values across the piece, from face to face; with an array of times, one row for each."""
        number, on, name = self.piece_number(piece), _basis(quantity, basis), quantity_of(quantity)
        across, whole = whole_depth(self.depths(number))
        shown, each = self.picture_places(number)
        values = self.reading(
            ("profile", name, on, number), times, lambda run, t: run.profile(name, on, t, number, shown)
        )[..., each[whole]]
        thick = self.pieces[number].thickness * self.body(number).across
        return Profile(quantity, on, across * thick, values, units.seconds(times))

    def picture(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> np.ndarray:
        """Values of a profile in every draw (d, t, x) in single precision, at the places of `picture_places`."""
        number, on, name = self.piece_number(piece), _basis(quantity, basis), quantity_of(quantity)
        shown = self.picture_places(number)[0]
        return self._gathered(
            ("picture", name, on, number),
            units.seconds(times),
            lambda run, t: run.profile(name, on, t, number, shown),
            np.float32,
        )

    def picture_places(self, piece: int) -> tuple[np.ndarray, np.ndarray]:
        """(places (h,) to read, and which of them (x,) stands for each depth): half of them where one half mirrors the other in every
        draw.
        """
        depth = self.depths(piece)
        if not all(run.mirrored(piece) for run in self.runs):
            return np.arange(len(depth)), np.arange(len(depth))
        _, once, each = np.unique(np.minimum(depth, 1 - depth).round(9), return_index=True, return_inverse=True)
        return once, each

    def depths(self, piece: int = 0) -> np.ndarray:
        """Depth (x,) of the values of a profile, as a share of the thickness: across a slab, its faces included, and from the middle, 0.5, to
        the face, 1, of a round piece.
        """
        return self.body(piece).depth

    def body(self, piece: int = 0) -> Body | Solid:
        """The shape of a piece, the same in every draw."""
        return self.state.meats[piece].body

    def probe(
        self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None, *, depth: float | str,
        along: float | str | None = None, across: float | str | None = None,
    ) -> Any:  # fmt: skip
        """Fraction at a place [m]: `along` from the head, `across` from the middle of the width, `depth` under the first face there."""
        number, on = self.piece_number(piece), _basis(quantity, basis)
        return places.probe(self, quantity_of(quantity), on, times, number, (along, across, depth))

    def slowest_place(self, quantity: str, times: Times = None, piece: int | str = 0) -> tuple[Any, Any]:
        """Where the slowest spot lies: (m along from the head, m under the first face there)."""
        return places.slowest(self, quantity_of(quantity), times, self.piece_number(piece))

    def slowest_across(self, quantity: str, times: Times = None, piece: int | str = 0) -> Any:
        """How far from the middle of the width it lies there, m: left -, right +; 0 where no side is closed."""
        number = self.piece_number(piece)
        return places.aside(self, self.slowest_place(quantity, times, number)[0], number)

    def section(
        self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None, at: Any = None
    ) -> places.Field:
        """Values in the plane along the slowest spots of a piece, the middle where no side is closed, or across it `at` a place [m from the head]."""
        number, on = self.piece_number(piece), _basis(quantity, basis)
        return places.section(self, quantity_of(quantity), on, times, number, at)

    def plane(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> np.ndarray:
        """Values at the nodes of `section` in every draw (d, t, k) in single precision."""
        number, on, name = self.piece_number(piece), _basis(quantity, basis), quantity_of(quantity)
        read = places.plane(self, name, on, number)
        return self._gathered(("plane", name, on, number), units.seconds(times), read, np.float32)

    def field(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> places.Field:
        """Values at every node of a piece, for tables and programs."""
        number, on = self.piece_number(piece), _basis(quantity, basis)
        return places.field(self, quantity_of(quantity), on, times, number)

    def lean_profile(self, quantity: str, times: Times, piece: int | str = 0, basis: str | None = None) -> np.ndarray:
        """Fractions (..., x) at every depth of the lean, its faces included."""
        number, on, name = self.piece_number(piece), _basis(quantity, basis), quantity_of(quantity)
        lean = self.runs[0].lean_places(number)
        return self.reading(("lean", name, on, number), times, lambda run, t: run.profile(name, on, t, number, lean))

    def least(self, quantity: str, times: Times = None, piece: int | str = 0, basis: str | None = None) -> Any:
        """The least fraction at any depth of the lean, and in three dimensions at any place that lies deep: the spot that what comes in
        reaches last.
        """
        number, on, name = self.piece_number(piece), _basis(quantity, basis), quantity_of(quantity)
        lean = self.runs[-1].lean_places(number)
        lean = lean[:: max(1, len(lean) // DEPTHS)] if len(lean) > 2 * DEPTHS else lean
        found_there = self.state.meats[number].spots.lag is not None

        def one(run: Run, t: np.ndarray) -> np.ndarray:
            least = run.profile(name, on, t, number, lean, alone=True).min(axis=2)  # each piece at times of its own
            return np.minimum(least, run.read(name, "core", on, t, number, alone=True)) if found_there else least

        return self.reading(("least", name, on, number), times, one)

    def amount(self, quantity: str, times: Times = None, piece: int | str = 0) -> Any:
        """kg in a piece."""
        number, name = self.piece_number(piece), quantity_of(quantity)
        return self.reading(("amount", name, number), times, lambda run, t: run.amount(name, t, number))

    def bath(self, quantity: str, times: Times = None) -> Any:
        """Mass fraction in the bath, solute / (solute + water); zero while the pieces rest."""
        name = quantity_of(quantity)

        def one(run: Run, t: np.ndarray) -> np.ndarray:
            w = np.zeros(t.shape) if run.sealed else run.bath_level(name, t)
            return w / (1 + w)

        return self.reading(("bath", name), times, one)

    def weight(self, times: Times = None, piece: int | str = 0) -> Any:
        """kg of a piece: green weight, water taken up or given off (a rough regression, +-6 points), and what it took up."""
        number = self.piece_number(piece)
        return self.reading(("weight", number), times, lambda run, t: run.weight(number, t))

    def juice_kept(self, quantity: str, piece: int | str = 0) -> Any:
        """kg of a quantity, or of "water", in the juice that a piece gave into bags that keep it."""
        name, number = quantity if quantity == WATER else quantity_of(quantity), self.piece_number(piece)
        heatings = [run.stretch.heating for run in self.runs]
        kept = [
            run for run, each in zip(self.runs, heatings, strict=True) if each is not None and each.catches == "kept"
        ]
        return self._plain(
            sum((run.juice(name, run.length[:, None], number)[:, 0] for run in kept), np.zeros(self.count))
        )

    def temperature(self, times: Times = None, place: str | None = None, piece: int | str = 0) -> Any:
        """K of bath, air or fridge; or, with a place ("core", "average", "surface"), of the meat there. Where nothing is heated, the meat is as
        cold as its fridge. Across a piece: `profile("temperature", ...)`.
        """
        if place is not None:
            where, number = place_of(place), self.piece_number(piece)
            return self.reading(("warmth", where, number), times, lambda run, t: run.temperature(where, t, number))
        return self.reading(("kelvin",), times, lambda run, t: run.clock.temperature(t) + run.clock.warmer[:, None])

    # -- criteria ------------------------------------------------------------------------------------------------------

    def margin(self, criterion: Criterion | str, times: Times = None, where: int | str = "every") -> Any:
        """How far a criterion is met, not negative where it holds: in "every" piece, in "any", or in the piece with a number."""
        wanted = Criterion.of(criterion)
        return self.reading(("margin", wanted, where), times, lambda run, t: run.margin(wanted, t, where))

    def first_time(
        self, criterion: Criterion | str, stage: int = 0, where: Where = "every", near: float = SECOND
    ) -> Any:
        """s since the start when a criterion first holds, from the beginning of stage number `stage` on, found to `near` s; inf: never.
        `where`: as in `margin`, or a tuple of them for (d, p) in one pass.
        """
        wanted = Criterion.of(criterion)
        every = where if isinstance(where, tuple) else (where,)
        found = np.full((self.count, len(every)), np.inf)
        for run in self.runs:
            if run.index >= stage and np.isinf(found).any() and np.any(run.length > 0):
                first = run.begin[:, None] + run.first_time(wanted, every, near)
                found = np.minimum(found, np.where(run.length[:, None] > 0, first, np.inf))
        if isinstance(where, tuple):
            return found if self.drawn else found[0]
        return self._plain(found[:, 0])

    def ending(self, stage: int, system: str = "metric") -> str:
        """Why a stage stopped, in words; with draws, in the first. `system`: units of what is missing; the criterion stands as it was given."""
        runs = [run for run in self.runs if run.index == stage]
        plan, last = self.stages[stage], runs[-1]
        own = self._draw
        spent = units.show(float(last.end[own] - runs[0].begin[own]), "time")
        if plan.until is None or last.found is None:
            return f"after {spent}, as planned"
        if np.isfinite(last.found[own]):
            return f"after {spent}, when {plan.until}"
        missing = -float(last.margin(plan.until, last.length[:, None])[own, 0])
        degrees = f"{1.8 * missing:.1f} °F" if system == "us" else f"{missing:.1f} °C"
        short = degrees if plan.until.quantity == TEMPERATURE else units.show(missing, "fraction")
        return f"after {spent}, the most allowed; not reached: {plan.until} (missing {short})"

    # -- what it rests on ----------------------------------------------------------------------------------------------

    @cached_property
    def budget(self) -> tuple[dict[str, Any], ...]:
        """One row per stretch and quantity, kg: in meat before + added + supplied = in meat + in bath + lost; then the bath is discarded.

        Raises ArithmeticError when the relative residual of any row exceeds 1e-9.
        """
        rows = []
        for run in self.runs:
            for name in (*QUANTITIES, WATER):
                found = {key: self._plain(value) for key, value in run.budget(name).items()}
                if np.max(np.abs(found["residual"])) > RESIDUAL:
                    raise ArithmeticError(
                        f"the {name} budget of {run.label} misses by {np.max(np.abs(found['residual'])):.2e} of what was there"
                    )
                rows.append({"stage": run.index, "run": run.label, "quantity": name, **found})
        return tuple(rows)

    @cached_property
    def assumptions(self) -> tuple[str, ...]:
        """What was taken for granted, one sentence each."""
        spans = [self.span(number) if self.has(number) else None for number in range(len(self.stages))]
        return assumptions(self.pieces, self.stages, self.numbers, self.loss, spans)

    @property
    def sources(self) -> tuple[Number, ...]:
        """Every published number that was looked up to make this history."""
        return tuple(self.numbers[key] for key in self.numbers.used)

    @property
    def version(self) -> str:
        from .. import __version__

        return __version__

    # -- tables and looks ----------------------------------------------------------------------------------------------

    def to_frame(self, times: Times = None) -> pandas.DataFrame:
        """Tidy table: one row per time, piece, quantity and place, with the fraction on each basis. Default times: `self.times`."""
        return looks.readings_frame(self, self.times if times is None else units.seconds(times))

    def profiles_frame(self, times: Times = None) -> pandas.DataFrame:
        """Tidy table of profiles: time, piece, quantity, depth and fraction on its default basis."""
        return looks.profiles_frame(self, self.times if times is None else units.seconds(times))

    def summary(self) -> list[dict[str, str]]:
        """Per stage and piece, for reading: how long, why it ended, salt and nitrite at its end. With draws, of the first."""
        return looks.summary(self)

    def lines(self) -> list[str]:
        return looks.lines(self)

    def rows(self) -> list[dict[str, str]]:
        return self.summary()


def _basis(quantity: str, basis: str | None) -> str:
    return default_basis(quantity) if basis is None else basis_of(basis)


__all__ = ["FREE", "QUANTITIES", "TRACERS", "History", "Profile", "Ran", "Times"]
