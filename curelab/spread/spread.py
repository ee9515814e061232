"""Bands and probabilities: the same batch in many draws of what is not known exactly.

A `Spread` holds the draws (scrambled Sobol points, seed kept), asks the histories of these draws, and answers with quantiles, probabilities
and distributions of times. No answer comes without the number of draws and the inputs that were varied. Draws are computed in parts
of at most CHUNK, in this process or by any `concurrent.futures.Executor`, with the same result to the last digit. With bands off there is one
draw, the usual case.

Longer than others because every reading of a history has its band here.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import progress, units
from ..batch import Batch
from ..engine.history import History, Profile
from ..engine.run import QUANTITIES, Where
from ..engine.simulate import CELLS, LEAST_CELLS, simulate
from ..engine.size import bytes_of_case
from ..forecast import DAY
from ..forecast.answer import reaching
from ..forecast.ready import (
    Ready,
    cold_of_rest,
    ready_columns,
    ready_in_steps,
    ready_of,
    soak_after,
    wanted_after,
    wanted_of,
)
from ..limits import Verdict, Verdicts, check_all, worst_first
from ..recipe.criterion import PLACES, Criterion, default_basis
from ..recipe.meat_and_fridge import MeatAndFridge
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..results import Shown
from ..sources import Numbers, default_numbers
from ..threads import on_one_thread
from .answers import Band, Chance, Times, Windows, ordered, quantiles
from .draws import Draws, Learned, draw, in_the_middle
from .uncertain import Uncertain, inputs_for, with_known

if TYPE_CHECKING:
    from concurrent.futures import Executor

Checks = Callable[[History], Verdicts]  # of one history
CHUNK = 512
PART_BYTES = (
    145_000_000  # of the draws that are computed together; all of them, if they fit, are kept for the next question
)
READ_IN_SPACE = 2.2  # of what one case takes: a piece in three dimensions is read at many places (measured: 500 draws in 270 MB, not in 400)
CHECKING = 8  # cells in a draw that is only checked: no outcome in the demo batches differs from 60 (measured)
DRAWS = 512
LONGEST_WAIT = 120 * DAY  # the longest that questions of time look ahead (judgement: nobody waits longer for a cure)
NEAR = 60.0  # s within which a time is found in a draw, mostly to a second: days are told of them
SMALL = 4_000_000  # bytes of a reading that is remembered
MOST_KNOWN = 64_000_000  # bytes of all that are remembered
MOST_BYTES = 1_000_000_000  # of one answer; more is refused, with the arithmetic


@dataclass(frozen=True)
class Request:
    """One reading of every draw: `name` of a method of `History`, or a function of one, and its arguments as (name, value) pairs, arrays as tuples and times in
    seconds; lasting: of the history in which a stage (its number, from 0) lasts so many s and nothing comes after it, None: of the history
    as it is.
    """

    name: str | Callable[..., np.ndarray]
    given: tuple[tuple[str, Any], ...] = ()
    lasting: tuple[int, float] | None = None

    @classmethod
    def of(cls, name: str | Callable[..., np.ndarray], **given: Any) -> Request:
        given |= {"times": units.seconds(given["times"])} if "times" in given else {}
        plain = {
            key: tuple(np.asarray(value).tolist()) if isinstance(value, (np.ndarray, list)) else value
            for key, value in given.items()
        }
        return cls(name, tuple(plain.items()))

    def read(self, history: History) -> np.ndarray:
        """Values (d, ...) of a history."""
        *_, found = self.in_steps(history)
        assert found is not None
        return found

    def in_steps(self, history: History) -> Iterator[np.ndarray | None]:
        """The same with None after each short step of what is long."""
        if self.lasting is not None:
            history = history.lasting(*self.lasting)
        if self.name is ready_columns:
            yield from ready_in_steps(history, **dict(self.given))
            return
        ask = getattr(history, self.name) if isinstance(self.name, str) else partial(self.name, history)
        found = ask(**dict(self.given))
        yield found.values if isinstance(found, Profile) else found

    @property
    def passes(self) -> int:
        """How often `in_steps` gives way."""
        given = dict(self.given)
        return len(set(given["wanted"])) + len(given["pieces"]) + 1 if self.name is ready_columns else 1


def waited_for(criterion: Criterion, stage: int, where: Where, at_most: float = LONGEST_WAIT) -> Request:
    """When a criterion first holds if a stage lasts as long as `at_most` s: in "every" piece, in "any", in the piece with a number, or in
    several of them.
    """
    asked = Request.of("first_time", near=NEAR, criterion=criterion, stage=stage, where=where)
    return replace(asked, lasting=(stage, at_most))


def begun(stage: int, at_most: float = LONGEST_WAIT) -> Request:
    """When a stage begins that is waited for as `waited_for` does."""
    return replace(Request.of("begin", stage=stage), lasting=(stage, at_most))


@dataclass(frozen=True)
class _Case:
    """What a worker needs to compute some draws."""

    pieces: tuple[Piece, ...]
    stages: tuple[Stage, ...]
    loss: str
    numbers: Numbers
    more: tuple[tuple[str, Any], ...] = ()  # choices of `simulate`

    def needed(self, requests: Sequence[Request]) -> _Case:
        """The case without what comes after the latest stage that any of these asks about."""
        asked = [request.lasting for request in requests if request.lasting is not None]
        if not asked or len(asked) < len(requests):
            return self
        stage, seconds = max(asked)
        return replace(self, stages=(*self.stages[:stage], self.stages[stage].lasting(seconds)))

    def solve(self, columns: dict[str, np.ndarray], **more: Any) -> History:
        choices = {"few": bool(columns), **dict(self.more), **more}
        return simulate(self.pieces, self.stages, draws=columns, loss=self.loss, numbers=self.numbers, **choices)


def _work(case: _Case, columns: dict[str, np.ndarray], requests: Sequence[Request]) -> list[np.ndarray]:
    history = case.needed(requests).solve(columns)
    found = [request.read(history) for request in requests]
    history.release()
    return found


@dataclass(frozen=True, repr=False)
class Spread(Shown):
    """A batch with its draws. Make it with `spread`.

    Every reading returns a Band over the draws; times since the start, (t,) or None for each draw's end. A time after the end of a draw
    is its end. Without draws (`banded` False) a Band has a middle alone, the usual case.
    """

    case: _Case
    draws: Draws
    executor: Executor | None = field(default=None, compare=False)
    known: dict[Request, np.ndarray] = field(default_factory=dict, compare=False, repr=False)
    _followed: dict[tuple[int, float], Spread] = field(default_factory=dict, compare=False, repr=False)
    _sections: dict[Request, Band] = field(default_factory=dict, compare=False, repr=False)

    @classmethod
    def single(cls, history: History) -> Spread:
        """The usual case alone: a history that is there already, with bands off."""
        case = _Case(history.pieces, history.stages, history.loss, history.numbers)
        return cls(case, Draws((), 0, {})).beside(history)

    def beside(self, history: History) -> Spread:
        """The same draws, beside a history of the usual case that is there already."""
        found = copy.copy(self)  # shares what was computed
        found.__dict__["usual"] = history
        return found

    @property
    def banded(self) -> bool:
        """Whether there are draws, and so bands."""
        return bool(self.draws.columns)

    @property
    def coarser(self) -> bool:
        """Whether the draws have other places than the usual case has, for so many cells were asked for."""
        return "cells" in dict(self.case.more)

    @cached_property
    def usual(self) -> History:
        """The batch in the middle of everything that is varied: its pieces, stages, borders and grid of times."""
        numbers = in_the_middle(self.case.numbers, self.inputs)
        return simulate(self.case.pieces, self.case.stages, loss=self.case.loss, numbers=numbers)

    @property
    def count(self) -> int:
        """Number of draws."""
        return max(self.draws.count, 1)

    @property
    def inputs(self) -> tuple[Uncertain, ...]:
        return self.draws.inputs

    @property
    def rests_on(self) -> str:
        """How many draws, of what: stands with every answer."""
        return f"{self.count} draws of {', '.join(row.label for row in self.inputs)}."

    def lines(self) -> list[str]:
        pieces, stages = (
            ", ".join(names) for names in ([p.name for p in self.case.pieces], [s.tag for s in self.case.stages])
        )
        return [f"Spread of {pieces}: {stages}", self.rests_on if self.banded else self.meaning]

    def rows(self) -> list[dict[str, Any]]:
        """What is varied, one row for each input; `to_frame` has the bands."""
        return [
            {
                "input": row.label,
                "key": row.key,
                "low": row.low,
                "high": row.high,
                "unit": row.unit,
                "distribution": row.distribution,
            }
            for row in self.inputs
        ]

    @property
    def meaning(self) -> str:
        """What a band means, in plain words."""
        if not self.banded:
            return "Bands are off: one curve at the usual value of everything, and nothing of how sure it is."
        log = "" if self.draws.learned is None else ", as far as your log leaves it open"
        return (
            f"A band holds 8 of 10 simulated batches, its line is the middle one: {self.count} draws (seed {self.draws.seed}). Varied within "
            f"what is published or usual{log}: {', '.join(row.label for row in self.inputs)}. It says nothing about what the model leaves out."
        )

    def readings(self, requests: Sequence[Request]) -> list[np.ndarray]:
        """Raw readings (d, ...) of all draws, for several requests in one pass; small ones are remembered.

        Raises MemoryError, with the arithmetic, for more than MOST_BYTES.
        """
        fresh = [request for request in dict.fromkeys(requests) if request not in self.known]
        # What is asked of one history, one after the other.
        fresh.sort(key=lambda request: request.lasting or (-1, 0.0))
        found = dict(zip(fresh, self._computed(fresh), strict=True)) if fresh else {}
        bytes_known = sum(value.nbytes for value in self.known.values()) if found else 0
        for request, value in found.items():
            bytes_known += value.nbytes
            if value.nbytes <= SMALL and bytes_known <= MOST_KNOWN:
                self.known[request] = value
        return [found[request] if request in found else self.known[request] for request in requests]

    @cached_property
    def part_size(self) -> int:
        """Draws that are computed together: as many as go into PART_BYTES, with each cure lasting as long as questions look ahead; at most CHUNK."""
        cells, stages = dict(self.case.more).get("cells", CELLS), self.case.stages
        ahead = [(*stages[:n], stage.lasting(LONGEST_WAIT)) for n, stage in enumerate(stages) if stage.cures]
        own, *more = (bytes_of_case(self.case.pieces, line, cells, self.banded) for line in (stages, *ahead))
        case = max(
            READ_IN_SPACE * own if any(piece.solid() is not None for piece in self.case.pieces) else own, *more, 1
        )
        return int(np.clip(PART_BYTES // case, 1, CHUNK))

    @on_one_thread
    def _computed(self, requests: Sequence[Request]) -> list[np.ndarray]:
        parts = [slice(begin, begin + self.part_size) for begin in range(0, self.count, self.part_size)]
        if self.executor is not None:
            columns = [self.draws.part(part) for part in parts]
            found = list(self.executor.map(_work, [self.case] * len(parts), columns, [tuple(requests)] * len(parts)))
            return [np.concatenate([one[k] for one in found]) for k in range(len(requests))]
        with progress.counted(f"simulating {self.count} draws", len(parts) * len(requests)) as done:
            return self._read_in(parts, requests, done)

    def _read_in(
        self, parts: Sequence[slice], requests: Sequence[Request], done: Callable[[], Any]
    ) -> list[np.ndarray]:
        result: list[np.ndarray] = []
        for part in parts:
            one = len(parts) == 1
            solved = self._whole(requests) if one else self.case.needed(requests).solve(self.draws.part(part))
            for k, value in enumerate(request.read(solved) for request in requests):
                if part.start == 0:
                    shape = (self.count, *value.shape[1:])
                    size = int(np.prod(shape)) * value.itemsize
                    if size > MOST_BYTES:
                        raise MemoryError(
                            f"{self.count} draws of {shape[1:]} values would take {size / 1e9:.1f} GB; ask for fewer times or draws"
                        )
                    # The draws stand next to each other in memory, as `quantiles` wants them.
                    result.append(np.moveaxis(np.empty((*shape[1:], self.count), value.dtype), -1, 0))
                result[k][part] = value
                done()
            if len(parts) > 1:
                solved.release()
        return result

    def widened(self, count: int) -> Spread:
        """The same batch in more draws, of which these are the first."""
        more = Spread(self.case, draw(self.inputs, count, self.draws.seed, self.draws.learned), self.executor)
        for kept in ("usual", "_outline"):
            if kept in self.__dict__:
                more.__dict__[kept] = self.__dict__[kept]
        return more

    def prepared(self, like: Spread, step: int) -> Iterator[None]:
        """Compute and remember all that `like`, the same batch in fewer draws, was asked for, in small steps of at most `step` draws,
        so that whoever drives this can do something in between.
        """
        yield from self._remembered(list(like.known), step)
        for (index, at_most), theirs in like._followed.items():
            yield from self.followed(index, at_most).prepared(theirs, step)

    @property
    def passes(self) -> int:
        """How often `prepared` gives way in each part of the draws, for what was asked of these: once it is solved, and after each step of a reading."""
        own = sum(request.passes for request in self.known)
        return bool(self.known) + own + sum(each.passes for each in self._followed.values())

    def _remembered(self, requests: Sequence[Request], step: int) -> Iterator[None]:
        wanted = [request for request in dict.fromkeys(requests) if request not in self.known]
        parts: list[list[np.ndarray]] = []
        if not wanted:
            return
        step = min(step, self.part_size)
        case = self.case.needed(wanted)
        for begin in range(0, self.count, step):
            history = case.solve(self.draws.part(slice(begin, begin + step)))
            yield
            parts.append([])
            for request in wanted:
                found = None
                for each in request.in_steps(history):
                    found = each
                    yield
                assert found is not None
                parts[-1].append(found)
            history.release()
        for k, request in enumerate(wanted):
            self.known[request] = np.concatenate([part[k] for part in parts])

    @cached_property
    def _first(self) -> History:
        """All draws, kept where they are one part: a page asks one small spread many questions."""
        if not self.banded:
            return self.usual.as_drawn()
        begun = self.__dict__.pop("_begun", None)
        if begun is None:
            return self.case.solve(self.draws.columns)
        last = len(begun.stages) - 1
        return begun.instead(last, self.case.stages[last:])

    def _whole(self, requests: Sequence[Request]) -> History:
        """All draws, as far as these requests need them; what was solved last is kept."""
        case = self.case.needed(requests)
        if case is self.case or not self.banded or "_first" in self.__dict__:
            return self._first
        last = self.__dict__.get("_begun")
        if last is None or last.stages != case.stages:
            last = self.__dict__["_begun"] = case.solve(self.draws.columns)
        return last

    @cached_property
    def _outline(self) -> History:
        """One draw, for what is the same in all of them."""
        there = "_first" in self.__dict__ or not self.banded
        return self._first if there else self.case.solve(self.draws.part(slice(0, 1)))

    def number(self, piece: int | str) -> int:
        """Number of a piece, from 0. Raises ValueError for one that is not there."""
        names = [each.name for each in self.case.pieces]
        if isinstance(piece, str):
            if piece not in names:
                raise ValueError(f'there is no piece "{piece}"; there is {", ".join(names)}')
            return names.index(piece)
        return range(len(names))[piece]

    def _band(self, values: np.ndarray, depth: np.ndarray | None = None) -> Band:
        if not self.banded:
            return Band(None, values[0], None, 1, self.rests_on, depth)
        low, middle, high = quantiles(values)
        return Band(low, middle, high, self.count, self.rests_on, depth)

    def band(self, request: Request) -> Band:
        """Band of any reading."""
        return self._band(self.readings([request])[0])

    def at(self, place: str, quantity: str, times=None, piece: int | str = 0, basis: str | None = None) -> Band:
        """Band (t,) of a fraction at "core", "average", "surface" or "first bite" (the outermost 5 mm, of the meat)."""
        return self.band(
            Request.of("at", place=place, quantity=quantity, times=times, piece=self.number(piece), basis=basis)
        )

    def at_end(self, place: str, quantity: str, stage: int, piece: int | str = 0, basis: str | None = None) -> Band:
        """Band (1,) of a fraction when a stage (from 0) ends, at whatever time that is in each draw."""
        return self.band(self.asked_at_end(place, quantity, stage, piece, basis))

    def asked_at_end(
        self, place: str, quantity: str, stage: int, piece: int | str, basis: str | None = None
    ) -> Request:
        """What `at_end` reads, for whoever asks many things in one pass."""
        number = self.number(piece)
        return Request.of("at_end", place=place, quantity=quantity, stage=stage, piece=number, basis=basis)

    def chance_at_end(self, criterion: str | Criterion, stage: int, piece: int | str) -> float:
        """Share of the draws in which a criterion holds in a piece when a stage ends."""
        wanted = Criterion.of(criterion)
        request = self.asked_at_end(wanted.place, wanted.quantity, stage, piece, wanted.basis)
        return float(np.mean(wanted.margin(self.readings([request])[0][:, 0]) >= 0))

    def weight(self, times=None, piece: int | str = 0) -> Band:
        """Band (t,) of the weight, kg."""
        return self.band(Request.of("weight", times=times, piece=self.number(piece)))

    def weight_at_end(self, stage: int, piece: int | str = 0) -> Band:
        """Band (1,) of the weight, kg, when a stage (from 0) ends, at whatever time that is in each draw."""
        return self.band(self.asked_weight(stage, piece))

    def asked_weight(self, stage: int, piece: int | str) -> Request:
        """What `weight_at_end` reads."""
        return Request.of("weight_at_end", stage=stage, piece=self.number(piece))

    def bath(self, quantity: str, times=None) -> Band:
        """Band (t,) of the mass fraction in the bath."""
        return self.band(Request.of("bath", quantity=quantity, times=times))

    def to_frame(self, times=None) -> Any:
        """Tidy table (pandas): one row per time (default: the grid of the usual case), piece, quantity and place, with the band of the fraction on its default basis, the number
        of draws and their seed.
        """
        import pandas

        when = np.atleast_1d(units.seconds(self.usual.times if times is None else times))
        rows = [(piece, quantity, place) for piece in self.case.pieces for quantity in QUANTITIES for place in PLACES]
        asked = [
            Request.of("at", place=place, quantity=quantity, times=when, piece=self.number(piece.name))
            for piece, quantity, place in rows
        ]
        parts = []
        for (piece, quantity, place), values in zip(rows, self.readings(asked), strict=True):
            low, middle, high = quantiles(values)
            parts.append(
                pandas.DataFrame(
                    {
                        "time_s": when, "piece": piece.name, "quantity": quantity, "place": place, "basis": default_basis(quantity),
                        "low": low, "middle": middle, "high": high, "draws": self.count, "seed": self.draws.seed,
                    }
                )
            )  # fmt: skip
        return pandas.concat(parts, ignore_index=True)

    def profiles(
        self,
        quantities: Sequence[str],
        times,
        piece: int | str = 0,
        basis: str | None = None,
        depths: int | None = None,
    ) -> dict[str, Band]:
        """Bands (t, x) across a piece for several quantities in one pass, at `depth` (x,), a share of the thickness.

        Default depths: the engine's own cells and the faces. `depths`: so many even steps instead.
        """
        number = self.number(piece)
        given = [Request.of("picture", quantity=name, times=times, piece=number, basis=basis) for name in quantities]
        values = self.readings(given)
        _, each = self._outline.picture_places(number)
        own = self._outline.depths(number)
        bands = {}
        for name, value in zip(quantities, values, strict=True):
            parts = [None if part is None else part[:, each] for part in self._band(value).parts]
            depth = own
            if own[0] >= 0.5:  # half a piece: show both halves
                depth = np.concatenate([1 - own[::-1], own])
                parts = [None if part is None else np.concatenate([part[:, ::-1], part], axis=1) for part in parts]
            if depths is not None:
                even = np.linspace(0.0, 1.0, depths)
                between = np.array([np.interp(even, depth, unit) for unit in np.eye(len(depth))])
                parts, depth = [None if part is None else part @ between for part in parts], even
            low, middle, high = parts
            bands[name] = Band(low, middle, high, self.count, self.rests_on, depth)
        return bands

    def profile(
        self, quantity: str, times, piece: int | str = 0, basis: str | None = None, depths: int | None = None
    ) -> Band:
        """Band (t, x) across a piece; see `profiles`."""
        return self.profiles([quantity], times, piece, basis, depths)[quantity]

    def sections(
        self, quantities: Sequence[str], times, piece: int | str = 0, basis: str | None = None
    ) -> dict[str, Band]:
        """Bands (t, k) at the nodes of the section along a piece with a length, in the order of `History.section`, for several quantities
        in one pass. Bands are remembered in the place of readings that are large.
        """
        number, known = self.number(piece), self._sections
        given = [Request.of("plane", quantity=name, times=times, piece=number, basis=basis) for name in quantities]
        fresh = [request for request in given if request not in known]
        for request, value in zip(fresh, self.readings(fresh), strict=True):
            known[request] = self._band(value)
            if value.nbytes > SMALL:
                self.known.pop(request, None)
        return {name: known[request] for name, request in zip(quantities, given, strict=True)}

    def across(self, quantity: str, time: Any, piece: int | str = 0, basis: str | None = None) -> Band:
        """Band (x,) across a piece at one time, at `depth` (x,) in m of the piece as planned."""
        found = self.profile(quantity, (time,), piece, basis)
        thickness = self.case.pieces[self.number(piece)].thickness
        low, middle, high = (None if part is None else part[0] for part in found.parts)
        assert found.depth is not None
        return replace(found, low=low, middle=middle, high=high, depth=found.depth * thickness)

    def until(
        self, criterion: str | Criterion, piece: int | str | None = None, stage: int = 0, where: str = "every"
    ) -> tuple[float, float | None, float | None]:
        """(middle, early, late) seconds since the start at which a criterion first holds from the beginning of a stage on, in one piece or
        in "every" or "any" of them; inf: not within what was simulated; early and late None without draws.
        """
        asked: int | str = where if piece is None else self.number(piece)
        request = Request.of("first_time", near=NEAR, criterion=Criterion.of(criterion), stage=stage, where=asked)
        found = self.readings([request])[0]
        if not self.banded:
            return float(found[0]), None, None
        early, middle, late = ordered(found)
        return middle, early, late

    def chance(self, criterion: str | Criterion, when: Any = None, piece: int | str | None = None) -> float:
        """Share of the draws in which a criterion holds at `when` (default: at the end) in every piece, or in `piece`."""
        wanted = Criterion.of(criterion)
        chosen = range(len(self.case.pieces)) if piece is None else [self.number(piece)]
        times = None if when is None else (units.seconds(when),)
        values = self.readings(
            [
                Request.of(
                    "at", place=wanted.place, quantity=wanted.quantity, times=times, piece=number, basis=wanted.basis
                )
                for number in chosen
            ]
        )
        return float(np.mean(np.min([wanted.margin(value[:, 0]) for value in values], axis=0) >= 0))

    def time_to(
        self,
        criterion: str | Criterion,
        stage: int | None = None,
        *,
        piece: int | str | None = None,
        at_most: Any = LONGEST_WAIT,
    ) -> Times:
        """How long stage number `stage` (default: the last) must last until a criterion holds, in every draw; at most `at_most` s.

        Later stages are left out.
        """
        return self.times_to(criterion, stage, [piece], at_most=at_most)[0]

    def times_to(
        self,
        criterion: str | Criterion,
        stage: int | None = None,
        pieces: Sequence[int | str | None] = (None,),
        *,
        at_most: Any = LONGEST_WAIT,
    ) -> list[Times]:
        """`time_to` for several pieces in one pass (None: every one)."""
        wanted = Criterion.of(criterion)
        index, at_most = len(self.case.stages) - 1 if stage is None else stage, units.seconds(at_most)
        numbers: list[int | str] = ["every" if piece is None else self.number(piece) for piece in pieces]
        names = [self.case.pieces[n].name if isinstance(n, int) else None for n in numbers]
        found = self._until([wanted] * len(numbers), index, numbers, at_most)
        return [
            Times(str(wanted), values, at_most, reaching(wanted, name), self.rests_on)
            for values, name in zip(found, names, strict=True)
        ]

    def ready(
        self,
        stage: int = 0,
        pieces: Sequence[int | str] | None = None,
        *,
        salt: float | None = None,
        at_most: Any = LONGEST_WAIT,
    ) -> tuple[Ready, ...]:
        """When to take pieces (default: all) out of a cure, the rest they need, and what their slowest spots hold, in every draw.

        `salt` is what is wanted on the whole of a brine that ends too salty; at_most: how long the cure may last. Later stages are left out; but where
        a soak is planned after a brine that ends too salty, both are as planned.
        """
        asked, wanted, numbers = self._ready_asked(stage, pieces, salt, at_most)
        return ready_of(self.readings([asked])[0], self.usual, stage, wanted, numbers)

    def readying(
        self,
        step: int,
        stage: int = 0,
        pieces: Sequence[int | str] | None = None,
        *,
        salt: float | None = None,
        at_most: Any = LONGEST_WAIT,
    ) -> Iterator[None]:
        """Compute and remember what `ready` asks for, in small steps of at most `step` draws."""
        yield from self._remembered([self._ready_asked(stage, pieces, salt, at_most)[0]], step)

    def _ready_asked(
        self, stage: int, pieces: Sequence[int | str] | None, salt: float | None, at_most: Any
    ) -> tuple[Request, tuple[Any, ...], list[int]]:
        numbers = [self.number(piece) for piece in (range(len(self.case.pieces)) if pieces is None else pieces)]
        wanted = tuple(wanted_of(self.usual, stage, number, salt) for number in numbers)
        soak = soak_after(self.case.stages, stage)
        if soak is not None and any(each.basis != "equilibrium" for each in wanted):  # the plan says when it comes out
            waits = (
                self.usual.stages if len(self.usual.stages) > soak else self.case.stages
            )  # in draws it goes by the clock
            wanted = (wanted_after(waits[soak], self.case.numbers),) * len(numbers)
            given = {"pieces": tuple(numbers), "cold": cold_of_rest(self.case.stages, soak), "soak": soak}
            return Request.of(ready_columns, stage=stage, wanted=wanted, **given), wanted, numbers
        cold = cold_of_rest(self.case.stages, stage)
        asked = Request.of(ready_columns, stage=stage, wanted=wanted, pieces=tuple(numbers), cold=cold)
        return replace(asked, lasting=(stage, units.seconds(at_most))), wanted, numbers

    def window(
        self,
        *,
        cured: str = "core salt >= 1.5 %",
        too_salty: str = "average salt >= 3 %",
        at_most: Any = LONGEST_WAIT,
    ) -> Windows:
        """The window of the first stage, a cure, in every draw; criteria as in `forecast.window`. at_most: how long it may last, None: as
        long as it does here.
        """
        ready, salty = Criterion.parse(cured), Criterion.parse(too_salty)
        if at_most is None:
            asked = [
                Request.of("first_time", near=NEAR, criterion=c, where=w) for c, w in ((ready, "every"), (salty, "any"))
            ]
            opens, closes = self.readings(asked)
        else:
            opens, closes = self._until([ready, salty], 0, ["every", "any"], units.seconds(at_most))
        return Windows(opens, closes, str(ready), str(salty), self.rests_on)

    def followed(self, index: int, at_most: Any = LONGEST_WAIT) -> Spread:
        """The same draws up to stage `index`, which then lasts `at_most`, and nothing after it; kept, for one question follows another."""
        at_most = units.seconds(at_most)
        if (index, at_most) not in self._followed:
            stages = (*self.case.stages[:index], self.case.stages[index].lasting(at_most))
            self._followed[index, at_most] = Spread(replace(self.case, stages=stages), self.draws, self.executor)
        return self._followed[index, at_most]

    def _until(self, wanted, index: int, where, at_most: float) -> list[np.ndarray]:
        """Seconds (d,) from the beginning of stage `index` until each criterion holds, at most `at_most`, inf: not."""
        begin = begun(index, at_most)
        if len(where) > 1 and len(set(wanted)) == 1:  # one pass for all pieces
            times, began = self.readings([waited_for(wanted[0], index, tuple(where), at_most), begin])
            return list((times - began[:, None]).T)
        requests = [waited_for(c, index, w, at_most) for c, w in zip(wanted, where, strict=True)]
        *each, began = self.readings([*requests, begin])
        return [values - began for values in each]

    def _to_check(self, count: int) -> History:
        """So many draws, with few cells; kept, for those of the checks that are asked for alone are asked for again with all others."""
        last = self.__dict__.get("_checked")
        if last is None or last.count != count:
            columns = self.draws.part(slice(0, count))
            last = self.__dict__["_checked"] = self.case.solve(columns, cells=CHECKING, few=False, segments=1)
        return last

    def verdicts(
        self,
        rules: str = "US",
        product: str = "cured meat",
        *,
        draws: int = 64,
        checks: Checks | None = None,
        **more: Any,
    ) -> tuple[Chance, ...]:
        """Every check of `limits.check_all`, or those of `checks`, in the first `draws` draws, with few cells: pass, fail, unknown.

        `more`: method, pick_up and system, as `check_all` takes them. Order: as the checks come, most often failed first.
        """
        last: tuple[Chance, ...] = ()
        with progress.counted("checking", min(draws, self.count)) as done:
            for each in self.judged(rules, product, draws=draws, checks=checks, **more):
                last = each
                done()
        return last

    def judged(
        self,
        rules: str = "US",
        product: str = "cured meat",
        *,
        draws: int = 64,
        checks: Checks | None = None,
        **more: Any,
    ) -> Iterator[tuple[Chance, ...]]:
        """`verdicts`, draw by draw, for whoever wants to do something in between: nothing, but for the last, which is the answer."""
        count = min(draws, self.count)
        tally: dict[str, list[Verdict]] = {}
        every = checks or (lambda each: check_all(each, rules, product, numbers=each.numbers, **more))
        many = self._to_check(count)
        for number in range(count):
            yield ()
            for verdict in every(many.of(number)):
                tally.setdefault(verdict.name, []).append(verdict)
        rows = []
        for name, found in tally.items():
            outcomes = [each.outcome for each in found]
            worst = worst_first(found)[0]
            # A check that some draws do not call for, as of a soak that is over at once, is counted where it is called for.
            called = len(outcomes)
            passes, fails = outcomes.count("pass") / called, outcomes.count("fail") / called
            said = f"{called} draws of {', '.join(row.label for row in self.inputs)}."
            rows.append(
                Chance(
                    name,
                    passes,
                    fails,
                    outcomes.count("unknown") / called,
                    called,
                    said,
                    None if worst.counts_as_pass else worst,
                )
            )
        yield tuple(sorted(rows, key=lambda row: (-row.fails, -row.unknown)))


def spread(
    pieces: Batch | History | Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage] | None = None,
    *,
    count: int = DRAWS,
    seed: int = 0,
    inputs: Sequence[Uncertain] | None = None,
    loss: str = "nordin",
    known: MeatAndFridge | None = None,
    learned: Learned | None = None,
    numbers: Numbers | None = None,
    used: Sequence[str] | None = None,
    cells: int | None = None,
    executor: Executor | None = None,
) -> Spread:
    """The draws of a batch (or of a history, or of pieces and stages), ready to be asked; nothing is computed before.

    inputs: what is uncertain, default all rows of uncertain.csv on which the batch depends (numbers that the caller has set are
    taken as known), with what `known`, or the batch itself, brings from earlier batches as priors. learned: what readings in this very
    batch taught. cells: from a face to the middle, carried by a dozen terms (None: 60, as `simulate`). Against `simulate` the terms cost up to 5e-3 of the driving force at the core (8e-3 in a sphere), 5e-4 on average, and at a face 1e-2
    from an hour into a stage. used: the numbers that a history of this very batch looked
    up, where there is one already. executor: who computes the parts.
    Raises InputError as `simulate` does.

    >>> from curelab import Bath, Brine, Piece
    >>> cure = Brine(bath=Bath(water="1 kg", salt="50 g"), temperature="3 degC", lasts="9 d", lying=False)
    >>> many = spread(Piece(thickness="4 cm", weight="1 kg"), cure, count=64)
    >>> many.time_to("core salt >= 90 % of equilibrium").sentence.split(" (")[0].rsplit(" ", 2)[0]
    'The core reaches 90 % of its equilibrium salt after'
    """
    if isinstance(pieces, Batch):
        batch = pieces
        pieces, stages, loss = batch.pieces, batch.filled(), batch.loss
        known = known or batch.meat_and_fridge
    if isinstance(pieces, History):
        used, loss = pieces.numbers.used, pieces.loss
        numbers, stages, pieces = numbers or pieces.numbers.tracked(), pieces.stages, pieces.pieces
    if stages is None:
        raise TypeError("give a batch, a history, or pieces and stages")
    own = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    line = in_order(stages)
    base = numbers or default_numbers()
    if used is None:  # checks the input, and tells what is looked up
        used = simulate(own, line, loss=loss, cells=LEAST_CELLS, segments=1, numbers=base).numbers.used
    if inputs is None:
        inputs = with_known(inputs_for(own, line, loss, base, used), known)
    more = () if cells is None else (("cells", cells),)
    return Spread(_Case(own, line, loss, base, more), draw(tuple(inputs), count, seed, learned), executor)
