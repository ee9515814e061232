"""Bands and probabilities: the same batch in many draws of what is not known exactly.

A `Spread` holds the draws (scrambled Sobol points, seed kept) and answers with quantiles, probabilities and distributions of
times. No answer comes without the number of draws and the inputs that were varied. Draws are computed in fixed parts of
CHUNK, in this process or by any `concurrent.futures.Executor`, with the same result to the last digit.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from .. import units
from ..batch import Batch
from ..criterion import Criterion
from ..forecast import DAY, lasting
from ..forecast.answer import _say
from ..limits import check_all
from ..piece import Piece
from ..simulate import simulate
from ..sources import Numbers, default_numbers
from ..stages import AnyStage, Brine, Rest, SealedCure, Soak
from .ensemble import Ensemble, Loop, is_fast
from .uncertain import Draws, Uncertain, draw, drawn_case, inputs_for

CHUNK = 512
DRAWS = 512
LEVELS = (0.1, 0.5, 0.9)
LONGEST = 120 * DAY  # the longest that questions of time look ahead (judgement: nobody waits longer for a cure)
MOST_BYTES = 1_000_000_000  # of one answer; more is refused, with the arithmetic


@dataclass(frozen=True)
class Request:
    """One reading of every draw: `name` of a method of `Ensemble`, and its arguments as (name, value) pairs."""

    name: str
    given: tuple[tuple[str, Any], ...] = ()

    @classmethod
    def of(cls, name: str, **given: Any) -> Request:
        return cls(name, tuple(given.items()))


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
        if self.fast:
            return Ensemble(self.pieces, self.stages, columns, loss=self.loss, cells=self.cells, numbers=self.numbers)
        more = {} if self.cells is None else {"cells": self.cells}
        return Loop(self.pieces, self.stages, columns, loss=self.loss, numbers=self.numbers, **more)


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
        found.append(value.astype(np.float32) if value.ndim > 2 else value)
    return found


@dataclass(frozen=True)
class Band:
    """Quantiles of a reading: `low`, `middle`, `high` (10, 50 and 90 %) as arrays or floats, and what they rest on."""

    low: Any
    middle: Any
    high: Any
    count: int
    rests_on: str
    depth: np.ndarray | None = None


@dataclass(frozen=True)
class Times:
    """How long until a criterion holds, in every draw: `values` (d,) in s, inf where it does not within `at_most`."""

    criterion: str
    values: np.ndarray
    at_most: float
    said: str
    rests_on: str

    def quantile(self, level: float) -> float:
        """s by which it holds in this share of the draws; inf if it does not hold in so many."""
        ordered = np.sort(self.values)
        return float(ordered[min(int(np.ceil(level * len(ordered))) - 1, len(ordered) - 1)])

    def chance(self, by: float) -> float:
        """Share of the draws in which it holds by this many s."""
        return float(np.mean(self.values <= by))

    @property
    def sentence(self) -> str:
        """ "The core reaches 90 % of its equilibrium salt after 19 d (12 d to 34 d in 8 of 10 cases; ...)" """
        low, middle, high = (self.quantile(level) for level in LEVELS)
        if np.isinf(low):
            share = _in_ten(1 - self.chance(self.at_most))
            return f"{self.said}: not within {units.show(self.at_most, 'time')} {share}. {self.rests_on}"
        late = "later, if at all" if np.isinf(high) else _days(high)
        middle_said = (
            f"after {_days(middle)}"
            if np.isfinite(middle)
            else f"in fewer than half of all cases within {_days(self.at_most)}"
        )
        return f"{self.said} {middle_said} ({_days(low)} to {late} in 8 cases of 10). {self.rests_on}"

    def sentence_by(self, when: float) -> str:
        """ "In 8 cases of 10 ... by day 21." """
        share = _in_ten(self.chance(when))
        return f"{share[0].upper()}{share[1:]}: {_lower(self.said)} by {_day(when)}. {self.rests_on}"


@dataclass(frozen=True)
class Windows:
    """The window of a cure in every draw: opens and closes (d,) in s, inf where it does not."""

    opens: np.ndarray
    closes: np.ndarray
    cured: str
    too_salty: str
    rests_on: str

    @property
    def empty(self) -> float:
        """Share of the draws in which the meat is too salty before its core is cured, or its core is never cured."""
        return float(np.mean(~(self.opens < self.closes)))

    def open_at(self, when: float) -> float:
        """Share of the draws in which the window is open at this many s."""
        return float(np.mean((self.opens <= when) & (when < self.closes)))

    @property
    def best(self) -> tuple[float, float]:
        """(s, share): the time at which the window is open in most draws."""
        ends = np.concatenate([self.opens, self.closes])
        finite = ends[np.isfinite(ends)]
        if not len(finite):
            return 0.0, self.open_at(0.0)
        candidates = np.linspace(0.0, finite.max(), 400)
        shares = [self.open_at(float(when)) for when in candidates]
        best = int(np.argmax(shares))
        return float(candidates[best]), shares[best]

    @property
    def sentence(self) -> str:
        said = f"cured ({self.cured}) and not yet too salty ({self.too_salty})"
        empty = f"The window is empty {_in_ten(self.empty)}"
        when, share = self.best
        if share == 0:
            return f"{empty}: at no time is the meat {said}. {self.rests_on}"
        return f"{empty}. The best day is {_day(when)}: {_in_ten(share)} the meat is then {said}. {self.rests_on}"


@dataclass(frozen=True)
class Chance:
    """How often a check came out how: shares of the draws that pass, fail, or leave it unknown. Unknown is no pass."""

    name: str
    passes: float
    fails: float
    unknown: float
    count: int
    rests_on: str

    @property
    def sentence(self) -> str:
        told = [
            f"{word} {_in_ten(share)}"
            for word, share in (("met", self.passes), ("missed", self.fails), ("unknown", self.unknown))
            if share > 0
        ]
        return f"{self.name}: {', '.join(told)}. {self.rests_on}"


@dataclass(frozen=True)
class Spread:
    """A batch with its draws. Make it with `spread`.

    Every reading returns a Band over the draws; times in s since the start, (t,) or None for each draw's end.
    """

    case: _Case
    draws: Draws
    executor: Executor | None = field(default=None, compare=False)

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
        return (
            f"The band holds 8 cases of 10, the line the middle case, of {self.count} draws (seed {self.draws.seed}) in "
            f"which these were varied within what is published or usual: {', '.join(row.label for row in self.inputs)}. It "
            "says nothing about what the model leaves out."
        )

    def readings(self, requests: Sequence[Request]) -> list[np.ndarray]:
        """Raw readings (d, ...) of all draws, for several requests in one pass.

        Raises MemoryError, with the arithmetic, for more than MOST_BYTES.
        """
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
                    result.append(np.empty(shape, value.dtype))
                result[k][part] = value
            if part.start:
                solved.release()
        return result

    @cached_property
    def _first(self) -> Ensemble | Loop:
        """The first part, kept: a bench asks one small spread many questions."""
        return self.case.solve(self.draws.part(slice(0, CHUNK)))

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

    def at(self, place: str, quantity: str, times=None, piece: int | str = 0, basis: str | None = None) -> Band:
        """Band (t,) of a fraction at "core", "average" or "surface"."""
        request = Request.of("at", place=place, quantity=quantity, times=times, piece=self._piece(piece), basis=basis)
        return self._band(self.readings([request])[0])

    def weight(self, times=None, piece: int | str = 0) -> Band:
        """Band (t,) of the weight, kg."""
        return self._band(self.readings([Request.of("weight", times=times, piece=self._piece(piece))])[0])

    def bath(self, quantity: str, times=None) -> Band:
        """Band (t,) of the mass fraction in the bath."""
        return self._band(self.readings([Request.of("bath", quantity=quantity, times=times)])[0])

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
        given = [Request.of("profile", quantity=name, times=times, piece=number, basis=basis) for name in quantities]
        values = self.readings(given)
        own = self._first.depths(number)
        bands = {}
        for name, value in zip(quantities, values, strict=True):
            low, middle, high = quantiles(value)
            depth = own
            if own[0] >= 0.5:  # half a piece: show both halves
                depth = np.concatenate([1 - own[::-1], own])
                low, middle, high = (np.concatenate([part[:, ::-1], part], axis=1) for part in (low, middle, high))
            if depths is not None:
                even = np.linspace(0.0, 1.0, depths)
                low, middle, high = (
                    np.array([np.interp(even, depth, row) for row in part]) for part in (low, middle, high)
                )
                depth = even
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

        Later stages are left out. Draws that have not reached it within the plan are followed on, each three times as far.
        """
        wanted = Criterion.parse(criterion) if isinstance(criterion, str) else criterion
        index = len(self.case.stages) - 1 if stage is None else stage
        where: int | str = "every" if piece is None else self._piece(piece)
        name = None if piece is None else self.case.pieces[self._piece(piece)].name
        values = self._until([wanted], index, [where], at_most)[0]
        return Times(str(wanted), values, at_most, _say(wanted, name), self.rests_on)

    def window(
        self, *, cured: str = "core salt >= 1.5 %", too_salty: str = "average salt >= 3 %", at_most: float = LONGEST
    ) -> Windows:
        """The window of the first stage, a brine or sealed cure, in every draw; criteria as in `forecast.window`."""
        ready, salty = Criterion.parse(cured), Criterion.parse(too_salty)
        opens, closes = self._until([ready, salty], 0, ["every", "any"], at_most)
        return Windows(opens, closes, str(ready), str(salty), self.rests_on)

    def _until(self, wanted, index: int, where, at_most: float) -> list[np.ndarray]:
        """Seconds (d,) from the beginning of stage `index` until each criterion holds, at most `at_most`, inf: not."""
        before, line = self.case.stages[:index], self.case.stages[index]
        found = [np.full(self.count, np.inf) for _ in wanted]
        waiting = np.arange(self.count)
        span = min(at_most, max(line.longest, 5 * DAY))
        while len(waiting):
            stages = (*before, lasting(line, span))
            case = _Case(self.case.pieces, stages, self.case.loss, self.case.numbers, self.case.cells, self.case.fast)
            part = Spread(case, Draws(self.inputs, self.draws.seed, self.draws.part(waiting)), self.executor)
            requests = [
                Request.of("first_time", criterion=c, index=index, where=w) for c, w in zip(wanted, where, strict=True)
            ]
            *times, begin = part.readings([*requests, Request.of("begin", index=index)])
            for k, values in enumerate(times):
                fresh = np.isinf(found[k][waiting])
                found[k][waiting] = np.where(fresh, values - begin, found[k][waiting])
            if span >= at_most:
                break
            waiting = waiting[np.any([np.isinf(values) for values in times], axis=0)]
            span = min(at_most, 3 * span)
        return found

    def verdicts(
        self, rules: str = "US", product: str = "cured meat", *, draws: int = 64, **more: Any
    ) -> tuple[Chance, ...]:
        """Every check of `limits.check_all` in the first `draws` draws, by `simulate` (some 10 ms each): pass, fail, unknown.

        `more`: method and pick_up, as `check_all` takes them. Order: as the checks come, most often failed first.
        """
        count = min(draws, self.count)
        tally: dict[str, list[str]] = {}
        for number in range(count):
            values = {key: float(column[number]) for key, column in self.draws.columns.items()}
            pieces, stages, numbers = drawn_case(self.case.pieces, self.case.stages, self.case.numbers, values)
            history = simulate(pieces, stages, loss=self.case.loss, cells=16, numbers=numbers)
            for verdict in check_all(history, rules, product, numbers=numbers, **more):
                tally.setdefault(verdict.name, []).append(verdict.outcome)
        said = f"{count} draws of {', '.join(row.label for row in self.inputs)}."
        rows = [
            Chance(
                name, outcomes.count("pass") / count, outcomes.count("fail") / count,
                1 - (outcomes.count("pass") + outcomes.count("fail")) / count, count, said,
            )
            for name, outcomes in tally.items()
        ]  # fmt: skip
        return tuple(sorted(rows, key=lambda row: (-row.fails, -row.unknown)))


def spread(
    pieces: Batch | Piece | Sequence[Piece],
    stages: AnyStage | Sequence[AnyStage] | None = None,
    *,
    count: int = DRAWS,
    seed: int = 0,
    inputs: Sequence[Uncertain] | None = None,
    loss: str = "nordin",
    numbers: Numbers | None = None,
    cells: int | None = None,
    executor: Executor | None = None,
) -> Spread:
    """The draws of a batch (or of pieces and stages), ready to be asked; nothing is computed before.

    inputs: what is uncertain, default all rows of uncertain.csv on which the batch depends (numbers that the caller has set are
    taken as known). cells: from a face to the middle; None: 24, or 20 where a slab must be cut from face to face. Against 60 cells
    that costs up to 1.2e-3 of the driving force at the core and on average; at a face up to 8e-3 in the first hours of a stage
    (1.2e-2 in a bag), less later. executor: who computes the parts.
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
    if stages is None:
        raise TypeError("give a batch, or pieces and stages")
    own = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    line = (stages,) if isinstance(stages, (Brine, SealedCure, Rest, Soak)) else tuple(stages)
    base = numbers or default_numbers()
    usual = simulate(own, line, loss=loss, cells=12, numbers=base)  # checks the input, and tells what is looked up
    varied = tuple(inputs) if inputs is not None else inputs_for(own, line, loss, base, usual.numbers.used)
    keys = [row.key for row in varied]
    return Spread(_Case(own, line, loss, base, cells, is_fast(keys)), draw(varied, count, seed), executor)


def quantiles(values: np.ndarray, levels: Sequence[float] = LEVELS) -> tuple[np.ndarray, ...]:
    """Quantiles over the first axis, between neighbours in order; sorts blocks of columns, which is cheap and small."""
    count = len(values)
    flat = values.reshape(count, -1)
    result = np.empty((len(levels), flat.shape[1]))
    for begin in range(0, flat.shape[1], 1024):
        block = np.ascontiguousarray(flat[:, begin : begin + 1024].T)
        block.sort(axis=1)
        for k, level in enumerate(levels):
            place = level * (count - 1)
            low = int(place)
            high, share = min(low + 1, count - 1), place - low
            result[k, begin : begin + 1024] = block[:, low] * (1 - share) + block[:, high] * share
    return tuple(row.reshape(values.shape[1:]) for row in result)


def _in_ten(share: float) -> str:
    """A share in words that a cook can bet on."""
    if share <= 0.02:
        return "in hardly any case" if share > 0 else "in no case"
    if share >= 0.98:
        return "in every case" if share == 1 else "in nearly every case"
    if abs(share - 0.5) < 0.03:
        return "in half of all cases"
    for quarter in (0.25, 0.75):
        if abs(share - quarter) < 0.02:
            return f"in {int(4 * quarter)} of 4 cases"
    tenths = min(max(round(10 * share), 1), 9)
    return f"in {tenths} case{'s' if tenths > 1 else ''} of 10"


def _days(seconds: float) -> str:
    return units.show(seconds, "time", digits=2)


def _day(seconds: float) -> str:
    return f"day {seconds / DAY:.3g}"


def _lower(words: str) -> str:
    return words[0].lower() + words[1:]
