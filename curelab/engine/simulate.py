"""The one front door: pieces and stages in, a History out.

Salt, sugar, nitrate and nitrite-as-added are conserved tracers on one network, each on its own diffusion clock. Free nitrite is a
fifth solute on the same network with a first-order loss in the meat. A run is a stretch with one bath: a stage is one run, a soak
one run for each water; within a run every turn starts a leg on the mirrored network.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property

import numpy as np

from .. import units
from ..fields import InputError, Problem, refuse
from ..matter import brine, solutes, tissue
from ..recipe.criterion import Criterion
from ..recipe.piece import Piece
from ..recipe.stages import STAGES, AnyStage, Brine, Log, Rest, SealedCure, in_order, require_bath
from ..sources import Numbers, default_numbers
from ..transport.modes import Modes, modes_of
from .assembly import Body, Clock, Wiring, body_of, film, wire
from .history import History
from .runs import FREE, TRACERS, Leg, Run, Track

CELLS = 60
LEAST_CELLS = 4
LOSS_SEGMENTS = (
    64  # a fridge log is cut into at most so many pieces for the loss of nitrite, each with its exact mean rate
)


@dataclass
class _State:
    """What one stage hands to the next: amounts [kg] in every cell of every piece, water given up, water change so far."""

    bodies: tuple[Body, ...]
    amounts: dict[str, list[np.ndarray]]
    water_change: list[float]
    time: float = 0.0


@dataclass(frozen=True)
class _Terms:
    """What holds for all runs of a simulation, and what several of them look up, worked out once."""

    loss: str
    segments: int | None
    numbers: Numbers

    @cached_property
    def clock(self) -> Callable[[Log, float], Clock]:
        return cache(lambda log, longest: Clock.of(log, longest, self.numbers))

    @cached_property
    def film(self) -> Callable[[str], float]:
        return cache(lambda kind: film(kind, self.numbers))

    @cached_property
    def acidity(self) -> Callable[[Piece], float]:
        return cache(lambda piece: piece.acidity(self.numbers))


@dataclass(frozen=True)
class _Plan:
    """One run before it is computed: a bath, faces, temperature, longest duration, and the solutes the bath starts with."""

    stage: AnyStage
    index: int
    label: str
    water: float
    faces: tuple[tuple[float, float] | None, ...]  # the two orientations; the second only when the piece is turned
    temperature: Log
    longest: float
    bath: dict[str, float] = field(default_factory=dict)
    turns: tuple[float, ...] = ()  # s since the run began, those within `longest`
    running: bool = False
    until: Criterion | None = None
    saturation: float = np.inf  # kg salt per kg water above which salt lies undissolved


def simulate(
    pieces: Piece | Sequence[Piece],
    stages: AnyStage | Sequence[AnyStage],
    *,
    loss: str = "nordin",
    cells: int = CELLS,
    segments: int | None = None,
    numbers: Numbers | None = None,
) -> History:
    """What happens inside the pieces, stage after stage.

    Parameters: `pieces` that share every bath; `stages` in order; `loss`, a key of `curelab.matter.solutes.LOSS_MODELS`, the named
    choice for the loss of nitrite; `cells` from a face to the middle; `segments`, for a temperature that changes: at most so many mean
    losses of free nitrite in a run, between which it keeps the pace of diffusion (None: up to 64, and one more for each turn; fewer
    cost less, and only free nitrite in between is a little off); `numbers`, published numbers (default: as shipped).
    Returns a History whose values can be read at any time. Raises InputError for what cannot be simulated, all problems at once.

    >>> from curelab import Bath, Brine, Piece, simulate
    >>> point = Piece(thickness="8 cm", weight="2 kg")
    >>> cure = Brine(bath=Bath(water="2 kg", salt="90 g"), temperature="3 degC", lasts="10 d", lying=False)
    >>> history = simulate(point, cure)
    >>> bool(history.core("salt", 10 * 86400.0) < history.surface("salt", 10 * 86400.0))
    True
    """
    pieces = (pieces,) if isinstance(pieces, Piece) else tuple(pieces)
    stages = in_order(stages)
    if not isinstance(cells, int) or cells < LEAST_CELLS:
        raise refuse(
            "cells", f"{cells!r} cells cannot carry a profile; give a whole number from {LEAST_CELLS} on, like {CELLS}"
        )
    if segments is not None and (not isinstance(segments, int) or segments < 1):
        raise refuse("segments", f"{segments!r} stretches cannot share a loss; give a whole number from 1 on, or None")
    _check(pieces, stages, loss)
    tracked = (numbers or default_numbers()).tracked()
    alike = all(isinstance(stage, (Rest, SealedCure)) or not stage.lying for stage in stages)
    bodies = tuple(body_of(piece, cells, alike, tracked) for piece in pieces)
    state = _State(
        bodies,
        {name: [np.zeros_like(body.chain.capacity) for body in bodies] for name in (*TRACERS, FREE)},
        [0.0 for _ in bodies],
    )
    runs = _walk(stages, 0, state, _Terms(loss, segments, tracked))
    return History(pieces, stages, runs, loss, cells, tracked, segments)


def extend(history: History, stages: AnyStage | Sequence[AnyStage]) -> History:
    """The same history with more stages after its end; what is known already is not computed again.

    Raises InputError as `simulate` does. Equal to simulating all stages at once.
    """
    more = in_order(stages)
    last = history.runs[-1]
    every = (*history.stages, *more)
    lies = any(not isinstance(stage, (Rest, SealedCure)) and stage.lying for stage in more)
    if lies and any(body.mirrored for body in last.bodies):  # half a slab cannot lie on one face
        return simulate(
            history.pieces, every, loss=history.loss, cells=history.cells, segments=history.segments,
            numbers=history.numbers,
        )  # fmt: skip
    _check(history.pieces, more, history.loss)
    tracked = history.numbers.tracked()
    for key in history.numbers.used:
        tracked.si(key)
    state = _State(last.bodies, {name: [] for name in (*TRACERS, FREE)}, [])
    _hand_on(last, state)
    state.time = last.end
    runs = history.runs + _walk(more, len(history.stages), state, _Terms(history.loss, history.segments, tracked))
    return History(history.pieces, every, runs, history.loss, history.cells, tracked, history.segments)


def _walk(stages: Sequence[AnyStage], first: int, state: _State, terms: _Terms) -> tuple[Run, ...]:
    """Stage after stage; `first` is the number of the first one."""
    runs: list[Run] = []
    for index, stage in enumerate(stages, first):
        for plan in _plans(stage, index, state, terms):
            run = _run(plan, state, terms)
            runs.append(run)
            if run.reached:
                break
    return tuple(runs)


def _check(pieces, stages, loss):
    problems = []
    for what, items, sorts in (("pieces", pieces, (Piece,)), ("stages", stages, STAGES)):
        wrong = [item for item in items if not isinstance(item, sorts)]
        if wrong:
            kinds = ", ".join(sort.__name__ for sort in sorts)
            raise refuse(what, f"{wrong[0]!r} is not one of {kinds}; make it one first")
    if not pieces:
        problems.append(Problem("pieces", "there is no piece; give at least one"))
    names = [piece.name for piece in pieces]
    problems += [
        Problem("pieces", f'two pieces are called "{name}"; give each its own name')
        for name in sorted({n for n in names if names.count(n) > 1})
    ]
    if not stages:
        problems.append(Problem("stages", "there is no stage; give at least one"))
    if loss not in solutes.LOSS_MODELS:
        problems.append(Problem("loss", f'"{loss}" is not one of {", ".join(solutes.LOSS_MODELS)}'))
    green = sum(piece.weight for piece in pieces)
    for number, stage in enumerate(stages, 1):
        if isinstance(stage, Brine):
            try:
                require_bath(stage)
            except InputError as error:
                problems += error.under(f"stages[{number}]")
        elif isinstance(stage, SealedCure):
            problems += [p for error in _sealed_problems(stage, green) for p in error.under(f"stages[{number}]")]
    if problems:
        raise InputError(problems)


def _sealed_problems(stage: SealedCure, green: float):
    if stage.salt is None:
        yield InputError(
            [Problem("salt", "this cure has not been weighed out; give its grams, or run it from a batch")]
        )
    for name, most in (("nitrite", 1e-3), ("nitrate", 3e-3)):
        share = getattr(stage, name) / green if green else 0.0
        if share > most:
            yield InputError(
                [
                    Problem(
                        name,
                        f"{units.show(getattr(stage, name), 'mass')} on {units.show(green, 'mass')} of meat is {1e6 * share:,.0f} mg per kg, "
                        f"above anything that is cured ({1e6 * most:,.0f}); too much nitrite poisons: check the decimal point",
                    )
                ]
            )


def _plans(stage: AnyStage, index: int, state: _State, terms: _Terms):
    name = stage.tag
    if isinstance(stage, Rest):
        yield _Plan(stage, index, name, 1.0, (None,), stage.temperature, stage.longest, until=stage.until)
    elif isinstance(stage, SealedCure):
        green = sum(body.piece.weight for body in state.bodies)
        share = stage.purge if stage.purge is not None else terms.numbers.si("purge.sealed_cure")
        purge = share * green
        water = sum(body.chain.capacity.sum() / body.partition for body in state.bodies)
        if purge >= water:
            raise refuse(
                f"stages[{index + 1}].purge",
                f"the cure is to draw {units.show(purge, 'mass')} of water, and only {units.show(water, 'mass')} are left in the meat; "
                "lower the purge, or leave out one of the sealed cures",
            )
        state.bodies = tuple(body.dried(purge / water) for body in state.bodies)
        state.water_change = [change - share for change in state.water_change]
        top = float(brine.solubility(min(max(stage.coldest, 273.15), 313.15)))
        bath = {solute: getattr(stage, solute) for solute in TRACERS}
        still = terms.film("still")
        yield _Plan(
            stage, index, name, purge, ((still, still),), stage.temperature, stage.longest, bath,
            until=stage.until, saturation=top / (1 - top),
        )  # fmt: skip
    else:
        moved = terms.film("stirred" if stage.stirred else "still")
        below = terms.film("contact") if stage.lying else moved
        faces = ((moved, below), (below, moved))
        if isinstance(stage, Brine):
            made = require_bath(stage)
            yield _Plan(
                stage, index, name, made.water, faces, stage.temperature, stage.longest,
                {solute: getattr(made, solute) for solute in TRACERS},
                turns=turns_of(stage), running=stage.running, until=stage.until,
            )  # fmt: skip
        else:
            for number, water in enumerate(stage.waters, 1):
                label = f"{name}, water {number} of {len(stage.waters)}"
                yield _Plan(stage, index, label, water.amount, faces, water.temperature, water.lasts, until=stage.until)


def turns_of(stage: Brine) -> tuple[float, ...]:
    """When the piece is turned over, s since the brine began."""
    if stage.turn_every and stage.lying:
        return tuple(np.arange(stage.turn_every, stage.longest, stage.turn_every).tolist())
    return tuple(time for time in stage.turns if time < stage.longest)


def _run(plan: _Plan, state: _State, terms: _Terms) -> Run:
    """Compute one run and move `state` to its end."""
    clock = terms.clock(plan.temperature, plan.longest)
    wirings = [
        wire(state.bodies, np.inf if plan.running else plan.water, faces)
        for faces in plan.faces[: 2 if plan.turns else 1]
    ]
    start = {name: _start(name, plan, state, wirings[0]) for name in (*TRACERS, FREE)}
    turns = np.array(plan.turns)
    eigen = [cache(lambda w=wiring: modes_of(w.network)) for wiring in wirings]
    flip = _flip(state.bodies, wirings)
    if flip is not None:
        eigen[1] = cache(lambda: eigen[0]().renumbered(flip, wirings[1].network))
    tracks = []
    names = [name for name in TRACERS if start[name].any()]
    if "salt" in names and start["salt"][wirings[0].bath] > plan.saturation:
        names.remove("salt")
        tracks.append(_dissolving(plan, state, start["salt"], clock, wirings[0]))
    if names:
        ratios = np.array([solutes.ratio(name, terms.numbers) for name in names])
        ends = np.append(turns, plan.longest)
        modes = [eigen[n % len(eigen)]() for n in range(len(ends))]
        tracks.append(_track(tuple(names), np.array([start[name] for name in names]), ratios, ends, modes, clock))
    if start[FREE].any():
        tracks.append(_free_track(plan, state, start[FREE], turns, clock, wirings, eigen, terms))
    run = Run(
        plan.stage, plan.index, plan.label, state.time, plan.longest, plan.longest, plan.water, plan.running,
        tuple(wirings), turns, state.bodies, tuple(tracks), clock, tuple(state.water_change),
    )  # fmt: skip
    run = _with_water_target(run, plan, terms.numbers)
    run = _ended(run, plan)
    _hand_on(run, state)
    return run


def _flip(bodies: tuple[Body, ...], wirings: list[Wiring]) -> np.ndarray | None:
    """Where each node lies after a turn, if a turned piece is the mirror image of what it was; None if it is not, or never turned."""
    if len(wirings) < 2 or not all(body.piece.symmetric for body in bodies):
        return None
    order = np.arange(len(wirings[0].network.capacity))
    for nodes, body in zip(wirings[0].slices, bodies, strict=True):
        if body.chain.area[0] > 0:
            order[nodes] = order[nodes][::-1]
    return order


def _start(name: str, plan: _Plan, state: _State, wiring: Wiring) -> np.ndarray:
    """w (n,) at the start of a run: cells as handed on, bath as mixed."""
    w = np.zeros(len(wiring.network.capacity))
    for nodes, amounts, body in zip(wiring.slices, state.amounts[name], state.bodies, strict=True):
        w[nodes] = amounts / body.chain.capacity
    w[wiring.bath] = plan.bath.get("nitrite" if name == FREE else name, 0.0) / plan.water
    return w


def _track(names, start, ratios, ends, modes: list[Modes], clock) -> Track:
    """Chain legs that end at `ends`, each on its own modes."""
    legs: list[Leg] = []
    begin, now = 0.0, start
    for end, mode in zip(ends.tolist(), modes, strict=True):
        if legs:
            begin, now = legs[-1].end, legs[-1].states(np.array([legs[-1].end]))[:, 0]
        legs.append(Leg(begin, end, mode, now, ratios, clock))
    return Track(names, tuple(legs))


def _dissolving(plan, state, start, clock, wiring) -> Track:
    """Salt in a sealed cure: held at saturation while salt lies undissolved, then a finite bath."""
    from scipy.optimize import brentq  # here, because it takes longer to import than all the rest

    wet = wire(state.bodies, np.inf, plan.faces[0])
    modes = modes_of(wet.network)
    dry = (start[wiring.bath] - plan.saturation) * plan.water
    held = start.copy()
    held[wiring.bath] = plan.saturation
    first = Leg(0.0, plan.longest, modes, held[None], np.ones(1), clock, reserve=dry)
    if first.supplied(np.array([plan.longest]))[0, 0] <= dry:
        return Track(("salt",), (first,))
    gone = brentq(lambda time: first.supplied(np.array([time]))[0, 0] - dry, 0.0, plan.longest, xtol=1e-6, rtol=1e-14)
    first = replace(first, end=gone)
    now, at = first.states(np.array([gone]))[:, 0], np.array([gone])
    now[0, wiring.bath] += (dry - first.supplied(at)[0, 0]) / plan.water  # what a microsecond of search leaves over
    second = Leg(gone, plan.longest, modes_of(wiring.network), now, np.ones(1), clock)
    return Track(("salt",), (first, second))


def _free_track(plan, state, start, turns, clock, wirings, eigen, terms: _Terms) -> Track:
    """Free nitrite: legs end at turns and, for a temperature that changes, at enough points that each has its own mean loss.

    `terms.segments`: only so many mean losses, each over all knots of its stretch; legs between turns share that of their stretch.
    """
    ratio, segments = solutes.ratio("nitrite", terms.numbers), terms.segments
    inner = np.zeros(0) if clock.steady else clock.knots[1:-1]
    most = LOSS_SEGMENTS if segments is None else segments
    if len(inner) + (segments is not None) > most:
        inner = np.linspace(0.0, plan.longest, most + 1)[1:-1]
    ends = np.unique(np.concatenate([turns, [plan.longest], inner]))
    cuts = np.concatenate([[0.0], ends if segments is None else [*inner, plan.longest]])
    acid = [terms.acidity(body.piece) for body in state.bodies]
    begins = np.concatenate([[0.0], ends[:-1]])
    flip = _flip(state.bodies, wirings)

    @cache
    def modes(turned: int, warmth: tuple[float, ...], speed: float) -> Modes:
        wiring = wirings[turned]
        rate = np.zeros(len(wiring.network.capacity))
        for nodes, value in zip(wiring.slices, warmth, strict=True):
            rate[nodes] = value / speed
        network = wiring.network.with_loss(rate)
        if turned and flip is not None:
            return modes(0, warmth, speed).renumbered(flip, network)
        if isinstance(plan.stage, Rest) and len(set(warmth)) == 1:  # lost at one rate everywhere: the same modes
            same = eigen[turned]()
            return replace(same, network=network, rates=same.rates + warmth[0] / speed)
        return modes_of(network)

    @cache
    def mean(number: int) -> tuple[tuple[float, ...], float]:
        """(mean loss of each piece, mean speed) between two cuts: Simpson's mean of the loss, the exact mean of the clock."""
        begin, end = cuts[number : number + 2]
        within = cuts if segments is None else clock.knots
        edges = np.concatenate([[begin], within[(within > begin) & (within < end)], [end]])
        steps = np.diff(edges) / (end - begin)
        kelvin = clock.temperature(np.concatenate([edges, 0.5 * (edges[1:] + edges[:-1])]))
        rates = np.asarray(solutes.nitrite_loss_rate(kelvin[:, None], acid, terms.loss, terms.numbers))
        losses = (np.append(steps, 0.0) + np.append(0.0, steps)) @ rates[: len(edges)] + 4 * steps @ rates[len(edges) :]
        speed = ratio * clock.rate if clock.steady else ratio * float(clock(end) - clock(begin)) / (end - begin)
        return tuple((losses / 6).tolist()), speed

    legs = []
    for begin in begins:
        turned = int(np.searchsorted(turns, begin, side="right")) % len(wirings)
        legs.append(modes(turned, *mean(int(np.searchsorted(cuts, begin, side="right")) - 1)))
    return _track((FREE,), start[None], np.array([ratio]), ends, legs, clock)


def _with_water_target(run: Run, plan: _Plan, numbers: Numbers) -> Run:
    """Where the water content of each piece is heading in this run (brine and soak only), and from which salt."""
    if isinstance(plan.stage, (Rest, SealedCure)):
        return run
    strength = run.equilibrium("salt")
    target = float(tissue.water_change(min(strength / (1 + strength), brine.STRONGEST), numbers))
    return replace(run, water_target=target)


def _ended(run: Run, plan: _Plan) -> Run:
    """Apply the criterion, if there is one: the first time it holds."""
    if plan.until is None:
        return run
    found = run.first_time(plan.until)
    if found is None:
        return replace(run, reached=False, shortfall=float(run.margin(plan.until, np.array([run.length]))[0]))
    return replace(run, length=found, reached=True)


def _hand_on(run: Run, state: _State) -> None:
    places = list(zip(run.wirings[0].slices, run.bodies, strict=True))
    state.amounts = {name: [np.zeros_like(body.chain.capacity) for body in run.bodies] for name in (*TRACERS, FREE)}
    for track in run.tracks:
        for name, w in zip(track.names, track.at(run.length), strict=True):
            state.amounts[name] = [w[nodes] * body.chain.capacity for nodes, body in places]
    end = np.array([run.length])
    state.water_change = [float(run.water_change(number, end)[0]) for number in range(len(run.bodies))]
    state.time += run.length
