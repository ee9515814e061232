"""Bands and probabilities: the same batch in many draws of what is not known exactly.

A `Spread` holds the draws (scrambled Sobol points, seed kept) and answers with quantiles, probabilities and distributions of
times. No answer comes without the number of draws and the inputs that were varied. Draws are computed in fixed parts of
CHUNK, in this process or by any `concurrent.futures.Executor`, with the same result to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from ..batch import Batch
from ..engine.history import History
from ..engine.simulate import LEAST_CELLS, simulate
from ..forecast import DAY, lasting
from ..forecast.answer import reaching
from ..limits import check_all
from ..recipe.criterion import PLACES, QUANTITIES, Criterion, default_basis
from ..recipe.meat_and_fridge import MeatAndFridge
from ..recipe.piece import Piece
from ..recipe.stages import AnyStage, Brine, Rest, SealedCure, Soak
from ..sources import Numbers, default_numbers
from .answers import Band, Chance, Times, Windows, folded, quantiles
from .ensemble import Ensemble, is_fast
from .loop import Loop
from .uncertain import Draws, Learned, Uncertain, draw, drawn_case, inputs_for, with_known

CHUNK = 512
CHECKING = 8  # cells in a draw that is only checked: no outcome in the demo batches differs from 60 (measured)
DRAWS = 512
LONGEST = 120 * DAY  # the longest that questions of time look ahead (judgement: nobody waits longer for a cure)
SMALL = 4_000_000  # bytes of a reading that is remembered
MOST_BYTES = 1_000_000_000  # of one answer; more is refused, with the arithmetic


@dataclass(frozen=True)
class Request:
    """One reading of every draw: `name` of a method of `Ensemble`, and its arguments as (name, value) pairs, arrays as tuples."""

    name: str
    given: tuple[tuple[str, Any], ...] = ()

    @classmethod
    def of(cls, name: str, **given: Any) -> Request:
        plain = {
            key: tuple(np.asarray(value).tolist()) if isinstance(value, (np.ndarray, list)) else value
            for key, value in given.items()
        }
        return cls(name, tuple(plain.items()))


@dataclass(frozen=True)
class _Case:
    """What a worker needs to compute some draws."""

    pieces: tuple[Piece, ...]
    stages: tuple[AnyStage, ...]
    loss: str
    numbers: Numbers
    cells: int | None
    fast: bool

    def solve(self, columns: dict[str, np.ndarray]) -> Ensemble | Loop:
        more: dict[str, Any] = {} if self.cells is None else {"cells": self.cells}
        engine = Ensemble if self.fast else Loop
        return engine(self.pieces, self.stages, columns, loss=self.loss, numbers=self.numbers, **more)


def _work(case: _Case, columns: dict[str, np.ndarray], requests: Sequence[Request]) -> list[np.ndarray]:
    solved = case.solve(columns)
    found = _read(solved, requests)
    solved.release()
    return found


def _read(solved: Ensemble | Loop, requests: Sequence[Request]) -> list[np.ndarray]:
    found = []
    for request in requests:
        value = getattr(solved, request.name)(**dict(request.given))
        # A picture needs no more than single precision, and a third dimension is a picture.
        found.append(value.astype(np.float32, copy=False) if value.ndim > 2 else value)
    return found


@dataclass(frozen=True)
class Spread:
    """A batch with its draws. Make it with `spread`.

    Every reading returns a Band over the draws; times in s since the start, (t,) or None for each draw's end.
    """

    case: _Case
    draws: Draws
    executor: Executor | None = field(default=None, compare=False)
    known: dict[Request, np.ndarray] = field(default_factory=dict, compare=False, repr=False)
    _followed: dict[tuple[int, float], Spread] = field(default_factory=dict, compare=False, repr=False)

    @property
    def count(self) -> int:
        return self.draws.count

    @property
    def inputs(self) -> tuple[Uncertain, ...]:
        return self.draws.inputs

    @property
    def rests_on(self) -> str:
        """How many draws, of what: stands with every answer."""
        return f"{self.count} draws of {', '.join(row.label for row in self.inputs)}."

    @property
    def meaning(self) -> str:
        """What a band means, in plain words."""
        log = "" if self.draws.learned is None else ", as far as your log leaves it open"
        return (
            f"The band holds 8 cases of 10, the line the middle case, of {self.count} draws (seed {self.draws.seed}) in "
            f"which these were varied within what is published or usual{log}: {', '.join(row.label for row in self.inputs)}. It "
            "says nothing about what the model leaves out."
        )

    def readings(self, requests: Sequence[Request]) -> list[np.ndarray]:
        """Raw readings (d, ...) of all draws, for several requests in one pass; small ones are remembered.

        Raises MemoryError, with the arithmetic, for more than MOST_BYTES.
        """
        fresh = [request for request in dict.fromkeys(requests) if request not in self.known]
        found = dict(zip(fresh, self._computed(fresh), strict=True)) if fresh else {}
        self.known.update({request: value for request, value in found.items() if value.nbytes <= SMALL})
        return [found[request] if request in found else self.known[request] for request in requests]

    def _computed(self, requests: Sequence[Request]) -> list[np.ndarray]:
        parts = [slice(begin, begin + CHUNK) for begin in range(0, self.count, CHUNK)]
        if self.executor is not None:
            columns = [self.draws.part(part) for part in parts]
            found = list(self.executor.map(_work, [self.case] * len(parts), columns, [tuple(requests)] * len(parts)))
            return [np.concatenate([one[k] for one in found]) for k in range(len(requests))]
        result: list[np.ndarray] = []
        for part in parts:
            solved = self._first if part.start == 0 else self.case.solve(self.draws.part(part))
            for k, value in enumerate(_read(solved, requests)):
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
            if part.start:
                solved.release()
        return result

    def widened(self, count: int) -> Spread:
        """The same batch in more draws, of which these are the first."""
        more = Spread(self.case, draw(self.inputs, count, self.draws.seed, self.draws.learned), self.executor)
        if "_depths" in self.__dict__:
            more.__dict__["_depths"] = self._depths
        return more

    def prepared(self, like: Spread, step: int) -> Iterator[None]:
        """Compute and remember all that `like`, the same batch in fewer draws, was asked for, in small steps of `step` draws, so that
        whoever drives this can do something in between.
        """
        yield from self._remembered(list(like.known), step)
        for (index, at_most), theirs in like._followed.items():
            yield from self.followed(index, at_most).prepared(theirs, step)

    def _remembered(self, requests: Sequence[Request], step: int) -> Iterator[None]:
        wanted = [request for request in dict.fromkeys(requests) if request not in self.known]
        parts: list[list[np.ndarray]] = []
        for begin in range(0, self.count, step):
            parts.append(_work(self.case, self.draws.part(slice(begin, begin + step)), wanted))
            yield
        for k, request in enumerate(wanted):
            self.known[request] = np.concatenate([part[k] for part in parts])

    @cached_property
    def _first(self) -> Ensemble | Loop:
        """The first part, kept: a bench asks one small spread many questions."""
        return self.case.solve(self.draws.part(slice(0, CHUNK)))

    @cached_property
    def _depths(self) -> list[np.ndarray]:
        """Where the values of a profile stand in each piece: the same in every draw, so that one is enough."""
        case = replace(self.case, stages=()) if self.case.fast else self.case
        one = case.solve(self.draws.part(slice(0, 1)))
        return [one.depths(number) for number in range(len(self.case.pieces))]

    def _piece(self, piece: int | str) -> int:
        names = [each.name for each in self.case.pieces]
        if isinstance(piece, str):
            if piece not in names:
                raise ValueError(f'there is no piece "{piece}"; there is {", ".join(names)}')
            return names.index(piece)
        return range(len(names))[piece]

    def _band(self, values: np.ndarray, depth=None) -> Band:
        low, middle, high = quantiles(values)
        return Band(low, middle, high, self.count, self.rests_on, depth)

    def band(self, request: Request) -> Band:
        """Band of any reading."""
        return self._band(self.readings([request])[0])

    def at(self, place: str, quantity: str, times=None, piece: int | str = 0, basis: str | None = None) -> Band:
        """Band (t,) of a fraction at "core", "average" or "surface"."""
        return self.band(
            Request.of("at", place=place, quantity=quantity, times=times, piece=self._piece(piece), basis=basis)
        )

    def at_end(self, place: str, quantity: str, stage: int, piece: int | str = 0, basis: str | None = None) -> Band:
        """Band (1,) of a fraction when a stage (from 0) ends, at whatever time that is in each draw."""
        return self.band(
            Request.of("at_end", place=place, quantity=quantity, stage=stage, piece=self._piece(piece), basis=basis)
        )

    def chance_at_end(self, criterion: str | Criterion, stage: int, piece: int | str) -> float:
        """Share of the draws in which a criterion holds in a piece when a stage ends."""
        wanted = Criterion.parse(criterion) if isinstance(criterion, str) else criterion
        request = Request.of(
            "at_end", place=wanted.place, quantity=wanted.quantity, stage=stage, piece=self._piece(piece), basis=wanted.basis,
        )  # fmt: skip
        sign = 1 if wanted.sign == ">=" else -1
        return float(np.mean(sign * (self.readings([request])[0][:, 0] - wanted.target) >= 0))

    def weight(self, times=None, piece: int | str = 0) -> Band:
        """Band (t,) of the weight, kg."""
        return self.band(Request.of("weight", times=times, piece=self._piece(piece)))

    def bath(self, quantity: str, times=None) -> Band:
        """Band (t,) of the mass fraction in the bath."""
        return self.band(Request.of("bath", quantity=quantity, times=times))

    def to_frame(self, times) -> Any:
        """Tidy table (pandas): one row per time, piece, quantity and place, with the band of the fraction on its default basis, the number
        of draws and their seed.
        """
        import pandas

        when = np.atleast_1d(np.asarray(times, dtype=float))
        rows = [(piece, quantity, place) for piece in self.case.pieces for quantity in QUANTITIES for place in PLACES]
        asked = [
            Request.of("at", place=place, quantity=quantity, times=when, piece=self._piece(piece.name))
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
        number = self._piece(piece)
        kind = "picture" if self.case.fast else "profile"
        given = [Request.of(kind, quantity=name, times=times, piece=number, basis=basis) for name in quantities]
        values = self.readings(given)
        own = self._depths[number]
        bands = {}
        for name, value in zip(quantities, values, strict=True):
            low, middle, high = quantiles(value)
            depth = own
            if value.shape[-1] < len(own):  # read on one side only, for the other is its mirror image
                each = folded(own)[1]
                low, middle, high = (part[:, each] for part in (low, middle, high))
            if own[0] >= 0.5:  # half a piece: show both halves
                depth = np.concatenate([1 - own[::-1], own])
                low, middle, high = (np.concatenate([part[:, ::-1], part], axis=1) for part in (low, middle, high))
            if depths is not None:
                even = np.linspace(0.0, 1.0, depths)
                between = np.array([np.interp(even, depth, unit) for unit in np.eye(len(depth))])
                low, middle, high, depth = low @ between, middle @ between, high @ between, even
            bands[name] = Band(low, middle, high, self.count, self.rests_on, depth)
        return bands

    def profile(
        self, quantity: str, times, piece: int | str = 0, basis: str | None = None, depths: int | None = None
    ) -> Band:
        """Band (t, x) across a piece; see `profiles`."""
        return self.profiles([quantity], times, piece, basis, depths)[quantity]

    def chance(self, criterion: str | Criterion, when: float | None = None, piece: int | str | None = None) -> float:
        """Share of the draws in which a criterion holds at `when` (default: at the end) in every piece, or in `piece`."""
        wanted = Criterion.parse(criterion) if isinstance(criterion, str) else criterion
        chosen = range(len(self.case.pieces)) if piece is None else [self._piece(piece)]
        times = None if when is None else (when,)
        values = self.readings(
            [
                Request.of(
                    "at", place=wanted.place, quantity=wanted.quantity, times=times, piece=number, basis=wanted.basis
                )
                for number in chosen
            ]
        )
        sign = 1 if wanted.sign == ">=" else -1
        return float(np.mean(np.min([sign * (value[:, 0] - wanted.target) for value in values], axis=0) >= 0))

    def time_to(
        self,
        criterion: str | Criterion,
        stage: int | None = None,
        *,
        piece: int | str | None = None,
        at_most: float = LONGEST,
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
        at_most: float = LONGEST,
    ) -> list[Times]:
        """`time_to` for several pieces in one pass (None: every one)."""
        wanted = Criterion.parse(criterion) if isinstance(criterion, str) else criterion
        index = len(self.case.stages) - 1 if stage is None else stage
        numbers: list[int | str] = ["every" if piece is None else self._piece(piece) for piece in pieces]
        names = [self.case.pieces[n].name if isinstance(n, int) else None for n in numbers]
        found = self._until([wanted] * len(numbers), index, numbers, at_most)
        return [
            Times(str(wanted), values, at_most, reaching(wanted, name), self.rests_on)
            for values, name in zip(found, names, strict=True)
        ]

    def window(
        self, *, cured: str = "core salt >= 1.5 %", too_salty: str = "average salt >= 3 %", at_most: float = LONGEST
    ) -> Windows:
        """The window of the first stage, a brine or sealed cure, in every draw; criteria as in `forecast.window`."""
        ready, salty = Criterion.parse(cured), Criterion.parse(too_salty)
        opens, closes = self._until([ready, salty], 0, ["every", "any"], at_most)
        return Windows(opens, closes, str(ready), str(salty), self.rests_on)

    def followed(self, index: int, at_most: float = LONGEST) -> Spread:
        """The same draws up to stage `index`, which then lasts `at_most` s, and nothing after it; kept, for one question follows another."""
        if (index, at_most) not in self._followed:
            stages = (*self.case.stages[:index], lasting(self.case.stages[index], at_most))
            self._followed[index, at_most] = Spread(replace(self.case, stages=stages), self.draws, self.executor)
        return self._followed[index, at_most]

    def _until(self, wanted, index: int, where, at_most: float) -> list[np.ndarray]:
        """Seconds (d,) from the beginning of stage `index` until each criterion holds, at most `at_most`, inf: not."""
        requests = [
            Request.of("first_time", criterion=c, index=index, where=w) for c, w in zip(wanted, where, strict=True)
        ]
        *times, begin = self.followed(index, at_most).readings([*requests, Request.of("begin", index=index)])
        return [values - begin for values in times]

    def verdicts(
        self, rules: str = "US", product: str = "cured meat", *, draws: int = 64, **more: Any
    ) -> tuple[Chance, ...]:
        """Every check of `limits.check_all` in the first `draws` draws, by `simulate` with few cells: pass, fail, unknown.

        `more`: method and pick_up, as `check_all` takes them. Order: as the checks come, most often failed first.
        """
        *_, last = self.judged(rules, product, draws=draws, **more)
        return last

    def judged(
        self, rules: str = "US", product: str = "cured meat", *, draws: int = 64, **more: Any
    ) -> Iterator[tuple[Chance, ...]]:
        """`verdicts`, draw by draw, for whoever wants to do something in between: nothing, but for the last, which is the answer."""
        count = min(draws, self.count)
        tally: dict[str, list[str]] = {}
        for number in range(count):
            yield ()
            values = {key: float(column[number]) for key, column in self.draws.columns.items()}
            pieces, stages, numbers = drawn_case(self.case.pieces, self.case.stages, self.case.numbers, values)
            history = simulate(pieces, stages, loss=self.case.loss, cells=CHECKING, segments=1, numbers=numbers)
            for verdict in check_all(history, rules, product, numbers=numbers, **more):
                tally.setdefault(verdict.name, []).append(verdict.outcome)
        rows = []
        for name, outcomes in tally.items():
            # A check that some draws do not call for, as of a soak that is over at once, is counted where it is called for.
            called = len(outcomes)
            passes, fails = outcomes.count("pass") / called, outcomes.count("fail") / called
            said = f"{called} draws of {', '.join(row.label for row in self.inputs)}."
            rows.append(Chance(name, passes, fails, outcomes.count("unknown") / called, called, said))
        yield tuple(sorted(rows, key=lambda row: (-row.fails, -row.unknown)))


def spread(
    pieces: Batch | History | Piece | Sequence[Piece],
    stages: AnyStage | Sequence[AnyStage] | None = None,
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
    line = (stages,) if isinstance(stages, (Brine, SealedCure, Rest, Soak)) else tuple(stages)
    base = numbers or default_numbers()
    if used is None:  # checks the input, and tells what is looked up
        used = simulate(own, line, loss=loss, cells=LEAST_CELLS, segments=1, numbers=base).numbers.used
    if inputs is None:
        inputs = with_known(inputs_for(own, line, loss, base, used), known)
    varied = tuple(inputs)
    keys = [row.key for row in varied]
    return Spread(_Case(own, line, loss, base, cells, is_fast(keys)), draw(varied, count, seed, learned), executor)
