"""From stage to stage: what one stretch hands to the next, and how a stretch is computed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from .. import units
from ..fields import refuse
from ..matter import brine
from ..matter.tissue import drawn_by
from ..recipe.stages import Stage, Stretch
from ..transport.memory import Kept
from ..transport.star import MANY
from .alone import Alone
from .broth import in_broth, in_network, legs_of_juice
from .cases import Cases
from .clock import Clock
from .heat import heated
from .meat import Meat
from .run import FREE, TRACERS, Freed, Lying, Run
from .track import Leg, Track, chained, onwards
from .turning import averaged, thinnest
from .vessel import Vessel, dried
from .water import swellings

HOT_SEGMENTS = 8  # parts of a stretch that heats, each with its exact mean loss of nitrite
SOLUBLE = (273.15, 313.15)  # K over which the solubility of salt is known


@dataclass
class State:
    """Where the pieces stand: the pieces as they are now and as they were, the vessel that knows their networks, and the runs so far."""

    meats: tuple[Meat, ...]
    raw: tuple[Meat, ...]
    vessel: Vessel
    runs: list[Run] = field(default_factory=list)

    @classmethod
    def fresh(cls, meats: Iterable[Meat]) -> State:
        """Raw meat, with nothing in it."""
        meats = tuple(meats)  # one tuple, by which the vessel knows them again
        return cls(meats, meats, Vessel(meats))

    def copied(self) -> State:
        """The same, to go on from without touching this one."""
        return replace(self, runs=list(self.runs))

    def before(self, stage: int) -> State:
        """As it stood when the stage with this number began."""
        runs = [run for run in self.runs if run.index < stage]
        return replace(self, runs=runs, meats=runs[-1].left if runs else self.raw)

    def alone(self, piece: int, last: Run) -> State:
        """Where one piece stands by itself after a run that is over."""
        only = Alone(last, piece)
        return State(only.left, self.raw[piece : piece + 1], Vessel(only.left), [only])  # type: ignore[list-item]

    @property
    def time(self) -> np.ndarray | float:
        """(d,) s since the start."""
        return self.runs[-1].end if self.runs else 0.0

    def water_change(self) -> tuple[np.ndarray, ...]:
        """(d,) water taken up or given off by each piece, as a fraction of the green weight."""
        if not self.runs:
            return tuple(np.zeros_like(meat.weight) for meat in self.meats)
        return self.runs[-1].water_ended()

    def handed_on(self, name: str, meats: Sequence[Meat], cases: Cases) -> list[np.ndarray]:
        """Terms of w (d, r) of a solute in each piece as the next stretch begins, with the water that `meats` hold then. Raw meat has its own
        salt, with as much in all its water.
        """
        last = self.runs[-1] if self.runs else None
        if (last is None and name != "salt") or (last is not None and last.home(name) is None):
            return [np.zeros_like(meat.capacity) for meat in meats]
        if last is None:
            w, before = [cases.own_salt[:, None] * meat.body.mean for meat in self.raw], self.raw
        else:
            handed = last.handed(name)
            w, before = [handed[:, nodes] for nodes in last.slices], last.left
        return [
            each * (old.capacity / meat.capacity) if old is not meat else each
            for each, old, meat in zip(w, before, meats, strict=True)
        ]

    def between(
        self, meats: Sequence[Meat], cases: Cases, start: Mapping[str, np.ndarray] | None, top: np.ndarray | None
    ) -> np.ndarray:
        """(d, s, 2) least and most w of each tracer in all pieces as the next stretch begins, with the water that `meats` hold then, and in
        the bath that `start` (d, n) ends with; None: sealed. top (d,): what salt cannot be stronger than, None: it all dissolves.
        """
        if self.runs:
            between = self.runs[-1].between_ended()
            for old, meat in zip(self.runs[-1].left, meats, strict=True):
                if old is not meat:
                    drier = old.capacity / meat.capacity
                    ends = np.minimum(drier.min(axis=1), 1.0), np.maximum(drier.max(axis=1), 1.0)
                    between = between * np.stack(ends, axis=1)[:, None]
        else:
            salt = cases.own_salt[:, None] * (np.array(TRACERS) == "salt")
            between = np.stack([salt, salt], axis=2)
        if start is None:
            return between
        bath = {name: each[:, -1] for name, each in start.items()}
        if top is not None:
            bath["salt"] = np.minimum(bath["salt"], top)
        level = np.stack([bath[name] for name in TRACERS], axis=1)
        return np.stack([np.minimum(between[..., 0], level), np.maximum(between[..., 1], level)], axis=2)


def walk(stages: Sequence[Stage], state: State, cases: Cases, loss: str, segments: int, first: int = 0) -> None:
    """Compute stage after stage and move `state` to their end; `first` is the number of the first one."""
    for index, stage in enumerate(stages, first):
        for stretch in stage.stretches:
            run = _run(stage, stretch, index, state, cases, loss, segments)
            if run.heat is not None:
                run = replace(run, after=run.heat.after(state.raw, run.length, cases))
            state.runs.append(run)
            if run.found is not None and np.isfinite(run.found).all():
                break  # nobody needs another water


def _run(stage: Stage, stretch: Stretch, index: int, state: State, cases: Cases, loss: str, segments: int) -> Run:
    factors = cases.factors()
    longest = np.full(cases.count, stretch.longest)
    brings = {name: stretch.brings.get(name, 0.0) * factors[name] for name in TRACERS}
    saturation, water_before, begin = None, state.water_change(), cases.full(state.time)
    state.meats = state.runs[-1].left if state.runs else state.raw
    if stretch.purge is not None:
        water, share = _purged(stretch, index, brings["salt"], state, cases)
        water_before = tuple(change - share for change in water_before)
        kelvin = np.clip(min(kelvin for _, kelvin in stretch.temperature) + cases.warmer, *SOLUBLE)
        top = np.asarray(brine.solubility(kelvin))
        saturation = top / (1 - top)
    else:
        water = np.ones(cases.count) if stretch.water is None else stretch.water * factors["water"]
    heat = None if stretch.heating is None else heated(stage, stretch, index, state, cases)
    clock = Clock.of(stretch.temperature, stretch.longest, cases) if heat is None else heat.clock
    meats = state.meats if heat is None else heat.meats
    if all(run.heat is None for run in state.runs) and heat is None:  # cooked meat has no pace of its own
        meats = tuple(meat.over(clock, cases) for meat in state.meats)
    if any(now is not before for now, before in zip(meats, state.meats, strict=True)):
        state.meats = meats  # the vessel knows the pieces again only by the tuple they stand in
    boils = heat is not None and heat.heating.catches == "bath"
    pot = in_network(water, heat, [stage.is_about(meat.piece.name) for meat in meats]) if heat and boils else water
    bath = np.full(cases.count, np.inf) if stretch.endless else pot
    mean = averaged(stretch, thinnest(meat.piece for meat in state.meats))
    turns = () if mean else stretch.turns
    ways = (None,) if mean else (False, True) if turns else (False,)
    lying = tuple(state.vessel.lying(state.meats, bath, stretch, cases, turned, stage.named) for turned in ways)
    start = {
        name: np.concatenate([*state.handed_on(name, state.meats, cases), (brings[name] / water)[:, None]], axis=1)
        for name in TRACERS
    }
    between = state.between(state.meats, cases, None if stretch.sealed else start, saturation)
    tracks, lent = [], None
    names = [name for name in TRACERS if start[name].any()]
    if saturation is not None and "salt" in names and np.any(start["salt"][:, -1] > saturation):
        names.remove("salt")
        tracks.append(_dissolving(start["salt"], saturation, water, lying[0], clock, state, stretch, cases))
    if names:
        ratios = np.stack([cases.ratio(name) for name in names], axis=1)
        ends = (*turns, stretch.longest)
        solved, begun = [each.modes(None) for each in lying], np.stack([start[name] for name in names], axis=1)
        if heat is not None and boils:
            cuts, there = legs_of_juice(heat, stretch.longest), (heat, state.vessel.slices, water, pot)
            track, lent = in_broth(names, begun, cuts, solved * cuts.shape[1], ratios, clock, *there)
        else:
            modes = [solved[n % len(solved)] for n in range(len(ends))]
            track = chained(names, begun, ends, modes, ratios, clock)
        tracks.append(track)
    run = Run(
        stage, stretch, index, begin, longest, longest, water, lying, np.array(turns), state.meats,
        state.vessel.slices, state.vessel.alike, tuple(tracks), clock, between, water_before, heat=heat, lent=lent,
    )  # fmt: skip
    if stretch.water is not None and heat is None:
        run = replace(run, swelling=swellings(state.meats, run.alike, start["salt"], bath, cases))
    if start["nitrite"].any():
        lasting = brings["nitrite"] * cases.left_at_first(loss)
        run = replace(run, free=_free(run, lasting / water, state.copied(), cases, loss, segments))
    return _ended(run, state)


def _purged(stretch: Stretch, index: int, salt: np.ndarray, state: State, cases: Cases) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """(d,) kg of water that so much salt (d,) draws from the meat, which is that much drier then, and its share of the green weight."""
    green = sum((meat.weight for meat in state.meats), np.zeros(cases.count))
    purge = drawn_by(salt, green, cases) if stretch.purge == "published" else cases.full(stretch.purge) * green  # type: ignore[arg-type]
    share = purge / green
    water = sum(meat.held / meat.partition for meat in state.meats)
    if np.any(purge >= water):
        worst = int(np.argmax(purge - water))
        raise refuse(
            f"stages[{index + 1}].purge",
            f"the cure is to draw {units.show(float(purge[worst]), 'mass')} of water, and only "
            f"{units.show(float(np.broadcast_to(water, purge.shape)[worst]), 'mass')} are left in the meat; lower the purge, or leave out one "
            "of the sealed cures",
        )
    state.meats = dried(state.meats, purge)
    return purge, share


def _dissolving(start, saturation, water, lying: Lying, clock: Clock, state: State, stretch: Stretch, cases: Cases) -> Track:  # fmt: skip
    """Salt of a sealed cure: held at saturation while some lies dry, then a finite bath; when, differs from case to case."""
    longest = np.full(len(start), stretch.longest)
    dry = np.maximum((start[:, -1] - saturation) * water, 0.0)
    held = start.copy()
    held[:, -1] = np.minimum(held[:, -1], saturation)
    modes = state.vessel.lying(state.meats, np.full(len(start), np.inf), stretch, cases).modes(None)

    def given(seconds: np.ndarray) -> np.ndarray:
        return modes.supplied(held[:, None], clock(seconds[:, None])[:, None])[:, 0, 0]

    low, high = np.zeros(len(start)), longest
    never = (given(high) <= dry) & (dry > 0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        short = given(middle) < dry
        low, high = np.where(short, middle, low), np.where(short, high, middle)
        if np.all(high - low <= 1e-12 * longest):
            break
    gone = np.where(never, longest, np.where(dry > 0, 0.5 * (low + high), 0.0))
    first = Leg(np.zeros(len(start)), gone, modes)
    one = np.ones((len(start), 1))
    if never.all():
        return Track(("salt",), (first,), clock, one, (held[:, None],), dry)
    moved = onwards(first, held[:, None], one, clock)[:, 0]
    now = np.where((dry > 0)[:, None], moved, start)
    now[:, -1] += np.where(dry > 0, (dry - given(gone)) / water, 0.0)  # what the search leaves over
    legs = (first, Leg(gone, longest, lying.modes(None)))
    return Track(("salt",), legs, clock, one, (held[:, None], now[:, None]), dry)


def _free(
    run: Run, brought: np.ndarray, before: State, cases: Cases, loss: str, segments: int
) -> Callable[[], Freed | None]:
    """Makes the track of free nitrite. It acts on nothing else, so its eigenproblems wait until someone asks; what it rests on is looked
    up now.

    A temperature that changes is cut into at most `segments` parts, each with its own mean loss and pace; a turn begins a leg within
    one.
    """
    longest, clock = run.stretch.longest, run.clock
    ratio = cases.ratio("nitrite")
    inner = np.zeros(0) if clock.steady and run.heat is None else clock.knots[1:-1]
    if run.heat is not None:
        most = HOT_SEGMENTS if len(run.meats) < MANY else HOT_SEGMENTS // 2  # what a star leaves over adds up
        inner = inner[:: max(1, len(inner) // min(segments, most))]
    elif len(inner) + 1 > segments:
        inner = np.linspace(0.0, longest, segments + 1)[1:-1]
    cuts = np.array([0.0, *inner, longest])
    means = [_mean_loss(run, begin, end, ratio, cases, loss) for begin, end in pairwise(cuts)]

    def make() -> Freed | None:
        for each in before.runs:  # in order, so that none of them has to ask for all that came before it
            each.home(FREE)
        start = np.concatenate([*before.handed_on(FREE, run.meats, cases), brought[:, None]], axis=1)
        if not start.any():
            return None
        ends = np.array(sorted({*run.turns.tolist(), *inner.tolist(), longest}))
        begins = np.concatenate([[0.0], ends[:-1]])
        parts = np.searchsorted(cuts, begins, side="right") - 1
        turned = np.searchsorted(run.turns, begins, side="right") % len(run.lying)
        modes = [run.lying[way].modes(means[part]) for way, part in zip(turned, parts, strict=True)]
        rates = [means[part] for part in parts]
        if run.heat is not None and run.lent is not None:
            ended = np.broadcast_to(ends, (cases.count, len(ends)))
            there = (run.heat, run.slices, run.water, run.lent.water)
            track, lent = in_broth((FREE,), start[:, None], ended, modes, ratio[:, None], clock, *there)
            return track, rates, lent
        return chained((FREE,), start[:, None], ends.tolist(), modes, ratio[:, None], clock), rates, None

    return make


def _mean_loss(run: Run, begin: float, end: float, ratio: np.ndarray, cases: Cases, loss: str) -> np.ndarray:
    """Loss (d, n) per unit of the clock of nitrite between two times: Simpson's mean of the loss over the exact mean pace."""
    knots = run.clock.knots
    edges = np.concatenate([[begin], knots[(knots > begin) & (knots < end)], [end]])
    steps = np.diff(edges) / (end - begin)
    weights = np.concatenate([np.append(steps, 0.0) + np.append(0.0, steps), 4 * steps]) / 6
    kelvin = run.clock.temperature(np.concatenate([edges, 0.5 * (edges[1:] + edges[:-1])])) + cases.warmer[:, None]
    both = run.clock(np.broadcast_to([begin, end], (cases.count, 2)))
    pace = ratio * (both[:, 1] - both[:, 0]) / (end - begin)
    found = np.zeros((cases.count, run.size))
    alike: dict[tuple, np.ndarray] = {}
    times = np.broadcast_to(np.concatenate([edges, 0.5 * (edges[1:] + edges[:-1])]), kelvin.shape)
    for number, (nodes, meat) in enumerate(zip(run.slices, run.meats, strict=True)):
        kind: tuple = (meat.piece.ph, meat.piece.tissue)  # all that the loss in a piece hangs on
        if run.heat is not None:
            kind, kelvin = (*kind, number), run.temperature("average", times, number)
        if kind not in alike:
            alike[kind] = (cases.loss_rate(kelvin, meat.piece, loss) @ weights / pace)[:, None]
        found[:, nodes] = alike[kind]
        if not meat.lean.all():
            found[:, nodes] *= meat.body.weighed(np.where(meat.lean, 1.0, cases.si("nitrite.loss_in_fat")))
    return found


def _ended(run: Run, state: State) -> Run:
    """Apply the criterion, if there is one: the first time it holds. A stretch after it (the next water of a soak) has no length."""
    until = run.stage.until
    if until is None:
        return run
    over = np.zeros(len(run.begin), dtype=bool)
    for before in state.runs:
        if before.index == run.index and before.found is not None:
            over |= np.isfinite(before.found)
    found = np.where(over, 0.0, run.first_time(until))
    return replace(run, length=np.minimum(found, run.longest), found=found, kept=Kept())
