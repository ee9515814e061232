"""One draw as a batch of its own: its pieces, stages and numbers, and its history cut out of that of many draws."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from ..bodies.body import Body
from ..bodies.solid import Solid
from ..matter.solutes import WATER_NODES
from ..matter.tissue import GAS_CONSTANT
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..sources import Numbers
from ..transport.memory import Kept
from .broth import Lent
from .cases import FILM_TEMPERATURE, Cases
from .history import History, Times
from .run import FREE, Lying, Run
from .track import Leg, Track
from .vessel import Vessel
from .walk import State
from .water import Swelling


def drawn_case(
    pieces: Sequence[Piece], stages: Sequence[Stage], numbers: Numbers, values: Mapping[str, float]
) -> tuple[tuple[Piece, ...], tuple[Stage, ...], Numbers]:
    """The batch as it is in one draw, as `simulate` takes it: `values` in printed units, by the keys of `Cases`."""
    cases = Cases(numbers, {key: np.array([value]) for key, value in values.items()})
    changed = {key: float(value) for key, value in values.items() if key in numbers}
    if "water uptake" in values:
        for key in numbers:
            if key.startswith("water_change.at_"):
                changed[key] = numbers[key].value + values["water uptake"]
    if "activation energy" in values:
        for node in WATER_NODES:
            key = f"water.salt_diffusivity.{node}C"
            tilt = np.exp(
                -1e3 * values["activation energy"] / GAS_CONSTANT * (1 / (node + 273.15) - 1 / FILM_TEMPERATURE)
            )
            changed[key] = numbers[key].value * float(tilt)
    made = []
    for piece in pieces:
        by = float(cases.size(piece)[0])
        heavy = values.get("meat weight", 1.0)
        made.append(piece.scaled(by, heavy) if by != 1.0 or heavy != 1.0 else piece)
    factors = {name: float(value[0]) for name, value in cases.factors().items()}
    warmer = values.get("temperature", 0.0)
    return (
        tuple(made),
        tuple(stage.times(factors, checked=False).warmed(warmer) for stage in stages),
        # A draw beyond the hard bounds is cut there; refusing is for what a person types.
        numbers.with_values({key: _within(value, *numbers.bounds(key)) for key, value in changed.items()}),
    )


def _within(value: float, least: float, most: float) -> float:
    return float(min(max(value, least), most))


class OneOfMany(History):
    """The history of one draw: readings are taken out of those of all draws, which are computed once for whoever asks draw after draw the
    same; all else rests on the modes that were solved for all of them.
    """

    def __init__(self, many: History, draw: int):
        values = {key: float(column[draw]) for key, column in many.cases.columns.items()}
        self.pieces, self.stages, own = drawn_case(many.pieces, many.stages, many.numbers, values)
        self.cases = Cases(own.tracked())
        for key in many.numbers.used:
            self.cases.base.si(key)
        self.many, self._draw, self.drawn = many, draw, False
        self.loss, self.cells, self.segments = many.loss, many.cells, many.segments

    @property
    def runs(self) -> list[Run]:
        return self.many.runs

    @property
    def count(self) -> int:
        """Of the columns of its stretches, which are those of all draws."""
        return self.many.count

    def body(self, piece: int = 0) -> Body | Solid:
        return self.many.body(piece)

    @cached_property
    def state(self) -> State:  # type: ignore[override]
        """Everything cut out of what holds for all draws; needed to go on from here."""
        cut = _Cut(self.cases, np.array([self._draw]))
        meats, raw = (tuple(map(cut.meat, each)) for each in (self.many.state.meats, self.many.state.raw))
        return State(meats, raw, Vessel(meats), cut.runs(self.many.state.runs, self.stages))

    def _gathered(self, key: tuple, times: Times, one: Callable[[Run, np.ndarray], np.ndarray], kind: type = float) -> np.ndarray:  # fmt: skip
        asked = None if times is None else np.asarray(times, dtype=float)
        full = (*key, kind, None if asked is None else (asked.shape, asked.tobytes()))
        if asked is not None and asked.ndim < 2 and self.many.uneven:
            owner, share = self._places(asked)
            full, asked = (*key, kind, owner.tobytes(), share.tobytes()), self._times(owner, share)
        return self.many.remembered(full, lambda: self.many.gather(asked, one, kind))[self._draw : self._draw + 1]

    def _places(self, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(number (t,) of the stretch that each time lies in, share (t,) of it that is over by then)."""
        times = np.atleast_1d(asked)
        begins, lengths = (np.array([each[self._draw] for each in columns]) for columns in self._borders)
        owner = np.searchsorted((begins + lengths)[:-1], times - 1e-6)
        since = np.clip(times - begins[owner], 0.0, lengths[owner])
        return owner, np.round(np.divide(since, lengths[owner], out=np.zeros(len(times)), where=lengths[owner] > 0), 10)

    def _times(self, owner: np.ndarray, share: np.ndarray) -> np.ndarray:
        """Times (d, t) at the same places of every draw: where a thermometer says when a stage is over they differ, and draw after draw asks
        for its own.
        """
        begins, lengths = (np.stack(columns, axis=1) for columns in self._borders)
        return begins[:, owner] + share * lengths[:, owner]

    @property
    def _borders(self) -> tuple[list[np.ndarray], list[np.ndarray]]:
        return [run.begin for run in self.many.runs], [run.length for run in self.many.runs]

    def shared(self, key: tuple, make: Callable[[History], np.ndarray]) -> np.ndarray:
        return self.many.remembered(key, lambda: make(self.many))[self._draw : self._draw + 1]


class _Cut:
    """Cuts one draw out of everything that has the draws along its first axis, each thing once."""

    def __init__(self, cases: Cases, chosen: np.ndarray):
        self.cases, self.chosen = cases, chosen
        self._done: dict[int, object] = {}

    def _once(self, thing, make):
        if id(thing) not in self._done:
            self._done[id(thing)] = (thing, make(thing))  # keeps the thing alive, so that its id stays its own
        return self._done[id(thing)][1]  # type: ignore[index]

    def column(self, values):
        return None if values is None else values[self.chosen]

    def meat(self, meat):
        names = ("amount", "size", "weight", "partition", "storage", "conductivity", "per_tissue", "own_salt")
        return self._once(meat, lambda m: replace(m, **{name: self.column(getattr(m, name)) for name in names}))

    def clock(self, clock):
        return self._once(
            clock,
            lambda c: replace(
                c, kelvin=c.kelvin + c.warmer[self.chosen[0]], warmer=np.zeros(1), readings=c.readings[self.chosen]
            ),
        )

    def modes(self, modes):
        return self._once(modes, lambda m: m.of(self.chosen))

    def track(self, track: Track) -> Track:
        legs = tuple(Leg(self.column(leg.begin), self.column(leg.end), self.modes(leg.modes)) for leg in track.legs)
        begun = tuple(map(self.column, track.begun))
        return Track(
            track.names, legs, self.clock(track.clock), self.column(track.ratios), begun, self.column(track.reserve)
        )

    def runs(self, runs: list[Run], stages: Sequence[Stage]) -> list[Run]:
        found = []
        for run in runs:
            stage = stages[run.index]
            before = [each for each in runs if each.index == run.index]
            number = before.index(run)
            columns = {
                name: self.column(getattr(run, name))
                for name in ("begin", "longest", "length", "water", "found", "between")
            }
            found.append(
                replace(
                    run, stage=stage, stretch=stage.stretches[number], **columns, meats=tuple(map(self.meat, run.meats)),
                    swelling=self._swelling(run.swelling), lying=tuple(self._lying(each) for each in run.lying), tracks=tuple(map(self.track, run.tracks)),
                    clock=self.clock(run.clock), water_before=tuple(map(self.column, run.water_before)), free=self._free(run), kept=Kept(),
                    heat=self.heat(run.heat), lent=self._lent(run.lent), after=None if run.after is None else tuple(map(self.meat, run.after)),
                )
            )  # fmt: skip
        return found

    def heat(self, heat):
        """The heat of a run, in this draw."""
        if heat is None:
            return None

        def leg(each):
            names = ("knots", "bath", "shares")
            columns = {name: self.column(getattr(each, name)) for name in names}
            parts = tuple(part.of(self.chosen) for part in each.parts)
            return replace(
                each, **columns, parts=parts, u=tuple(map(self.column, each.u)), ones=tuple(map(self.column, each.ones))
            )

        through = tuple(
            replace(
                one, warmth=replace(one.warmth, meat=self.meat(one.warmth.meat), legs=tuple(map(leg, one.warmth.legs))),
                **{name: self.column(getattr(one, name)) for name in ("juice", "vapour", "lost", "opened", "water")},
            )
            for one in heat.through
        )  # fmt: skip
        return replace(
            heat,
            through=through,
            clock=self.clock(heat.clock),
            meats=tuple(map(self.meat, heat.meats)),
            likely=self.column(heat.likely),
        )

    def _lent(self, lent):
        return None if lent is None else Lent(*map(self.column, (lent.begins, lent.given, lent.water)))

    def _swelling(self, swelling):
        if swelling is None:
            return None
        return tuple(
            Swelling(tuple(map(self.meat, each.meats)), self.cases, self.column(each.start), self.column(each.reach))
            for each in swelling
        )

    def _lying(self, lying: Lying) -> Lying:
        shares = None if lying.shares is None else tuple(map(self.column, lying.shares))
        return Lying(shares, lambda loss: self.modes(lying.modes(loss)), lying.even)

    def _free(self, run: Run):
        def make():
            if run.home(FREE) is None:
                return None
            assert run._free is not None
            track, rates, lent = run._free
            return self.track(track), [self.column(rate) for rate in rates], self._lent(lent)

        return make if run.free is not None else None
