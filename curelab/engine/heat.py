"""What a stretch of heating or cooling does: temperature in each piece, juice and vapour that leave it, and how salt then moves.

Salt goes on in its own network. It runs by the pace of warm water at the mean temperature of the piece, faster where lean has been hot enough to
open; juice leaves with what is dissolved in it, vapour leaves it behind and takes the juice that wets the skin first. A piece gives off juice by the first-order law of `matter.juice`, each part of it
by its own temperature.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..fields import refuse
from ..matter import heat as air
from ..matter import juice
from ..recipe.criterion import TEMPERATURE
from ..recipe.heating import FREEZES, Heating, frozen
from ..recipe.stages import Stage, Stretch
from .cases import Cases
from .clock import Clock
from .meat import Meat
from .warmth import SHELLS, HotLeg, Warmth, as_heat, hot_body, leg, shells_of

if TYPE_CHECKING:
    from .walk import State

# Of the way from the start to the mean of the bath: where properties are taken. Against a solve with properties that follow every temperature,
# times to 80, 90 and 95 % of a step between 1 and 90 degC are then within 3 %; half way, slow ends were off by 6 % (tests/peers/test_heat.py).
TOWARDS = 0.7
# Of the way from a cold skin to one at rest: from there to rest evaporation is taken as straight. Against evaporation that follows the skin, the
# middle is then met to 1.4 K and the vapour to 6 % (tests/peers/test_heat.py); from the cold skin on, the middle was 8 K behind.
SKIN = 0.7
WAITS = Heating("fridge_air")
FRIDGE = 277.15  # K of pieces before anything was done, where nothing is said
BOILS = 373.15  # K: under a cover or a crust meat is no hotter than its water boils
GRID = 96  # times at which juice is counted
MOST_DRY = 0.95  # of the water: more never leaves
STEP = 5.0  # K of hot air between two knots of a wet skin, at most


@dataclass(frozen=True, eq=False)
class Through:
    """One piece through one stretch: its warmth; and at the times of the grid what it has given off in this stretch, kg per kg green weight:
    juice (d, g) that drips off, vapour (d, g), and lost (d, g, s) in each shell since it was raw; opened (d, g, s): how far the structure of each shell has opened.
    water (d,): kg in it as the stretch begins, per kg green weight.
    """

    warmth: Warmth
    juice: np.ndarray
    vapour: np.ndarray
    lost: np.ndarray
    opened: np.ndarray
    water: np.ndarray


@dataclass(frozen=True, eq=False)
class Heat:
    """All pieces through one stretch. grid (g,) in s; clock and meats: how salt moves meanwhile; likely (d,): s after which it ends, as far as
    that is known before.
    """

    heating: Heating
    grid: np.ndarray
    through: tuple[Through, ...]
    clock: Clock
    meats: tuple[Meat, ...]
    likely: np.ndarray

    def at(self, values: np.ndarray, times: np.ndarray) -> np.ndarray:
        """Values (d, g) or (d, g, s) on the grid, straight between, at times (d, t)."""
        right = np.clip(np.searchsorted(self.grid, times, side="left"), 1, len(self.grid) - 1)
        share = np.clip((times - self.grid[right - 1]) / np.diff(self.grid)[right - 1], 0.0, 1.0)
        more = (1,) * (values.ndim - 2)
        low, high = (np.take_along_axis(values, n.reshape(*n.shape, *more), axis=1) for n in (right - 1, right))
        return low + share.reshape(*share.shape, *more) * (high - low)

    def kept(self, piece: int, times: np.ndarray) -> np.ndarray:
        """(d, t) share of what is dissolved that did not leave with the juice."""
        one = self.through[piece]
        return 1.0 - self.at(one.juice, times) / one.water[:, None]

    def thicker(self, piece: int, times: np.ndarray) -> np.ndarray:
        """(d, t) factor by which vapour that left has made the rest stronger."""
        one = self.through[piece]
        left = one.water[:, None] - self.at(one.juice, times)
        return left / np.maximum(left - self.at(one.vapour, times), (1 - MOST_DRY) * left)

    def juice_given(self, piece: int, times: np.ndarray) -> np.ndarray:
        """(d, t) juice, kg per kg green weight."""
        return self.at(self.through[piece].juice, times)

    def given(self, piece: int, times: np.ndarray) -> np.ndarray:
        """(d, t) juice and vapour, kg per kg green weight."""
        one = self.through[piece]
        return self.at(one.juice, times) + self.at(one.vapour, times)

    def after(self, raw: Sequence[Meat], length: np.ndarray, cases: Cases) -> tuple[Meat, ...]:
        """The pieces as they are after `length` (d,) s: drier, and opened; `raw`: as they once were."""
        times = length[:, None]
        found = []
        for number, meat in enumerate(self.meats):
            left = (self.kept(number, times) / self.thicker(number, times))[:, 0]
            share = shells_of(self.through[number].warmth.meat)[1]
            opened = self.at(self.through[number].opened, times)[:, 0] @ share / share.sum()
            found.append(replace(meat, conductivity=_led(raw[number], meat, opened, cases)).dried(left))
        return tuple(found)


def heated(stage: Stage, stretch: Stretch, index: int, state: State, cases: Cases) -> Heat:
    """The heat of a stretch. Raises InputError for pieces that are frozen as it begins."""
    grid = np.concatenate([[0.0], np.linspace(1.0 / GRID, 1.0, GRID) ** 2]) * stretch.longest
    grid = np.union1d(grid, [time for time, _ in stretch.temperature if time < stretch.longest])
    about = [stage.is_about(meat.piece.name) for meat in state.meats]
    waits = replace(stretch, temperature=((0.0, _fridge(state)),), heating=WAITS)
    own = [stretch if here else waits for here in about]
    begun = [_begun(piece, meat, own[piece], index, state, cases) for piece, meat in enumerate(state.meats)]

    def all_through(until: np.ndarray) -> list[Through]:
        found = []
        for meat, each, (start, lost, opened) in zip(state.meats, own, begun, strict=True):
            warmth, vapour = _warmed(meat, each, start, grid, until, cases)
            water = meat.held / meat.partition / meat.weight
            found.append(_given(warmth, vapour / meat.weight[:, None], water, lost, opened, grid, cases))
        return found

    until = np.full(cases.count, stretch.longest)
    through = all_through(until)
    early = _likely_end(stage, grid, [one for one, here in zip(through, about, strict=True) if here])
    if len({kelvin for _, kelvin in stretch.temperature}) > 1 and np.any(early < until):
        through = all_through(early)  # with the means over the time that counts
    clock, meats = _salt(stretch, grid, through, early, state, cases)
    return Heat(_heating(stretch), grid, tuple(through), clock, meats, early)


def _fridge(state: State) -> float:
    """K in which pieces wait that a stage is not about: that of the last stage that neither cooked nor cooled."""
    cold = next((run for run in reversed(state.runs) if run.heat is None), None)
    return FRIDGE if cold is None else max(float(cold.clock.kelvin[-1]), FREEZES)


def _begun(piece: int, meat: Meat, stretch: Stretch, index: int, state: State, cases: Cases):
    """Terms of K (d, r), and what each shell has lost and how far it has opened (d, s), as a stretch begins."""
    heating, body = _heating(stretch), hot_body(meat)
    shells = len(body.shells(meat.lean, SHELLS)[1])
    lost = opened = np.zeros((cases.count, shells))
    last = state.runs[-1] if state.runs else None
    before = next((run for run in reversed(state.runs) if run.heat is not None), None)
    if before is not None and before.heat is not None:
        one, end = before.heat.through[piece], before.length[:, None]
        lost, opened = (before.heat.at(values, end)[:, 0] for values in (one.lost, one.opened))
        if last is before and heating.begins_at is None:
            return one.warmth.ended(before.length), lost, opened
    if heating.begins_at is not None:
        kelvin = cases.full(heating.begins_at)
    elif last is None:
        kelvin = cases.full(FRIDGE)
    else:
        planned = np.array([last.clock.temperature(end) for end in last.length])
        if planned.min() < FREEZES:
            raise refuse(f"stages[{index + 1}].begins_at", frozen(float(planned.min())))
        kelvin = np.maximum(planned + last.clock.warmer, FREEZES)
    return kelvin[:, None] * body.mean, lost, opened


def _heating(stretch: Stretch) -> Heating:
    assert stretch.heating is not None
    return stretch.heating


def _warmed(meat: Meat, stretch: Stretch, start: np.ndarray, grid: np.ndarray, until: np.ndarray, cases: Cases):
    """(Warmth, with properties between its start and the mean of the bath until s (d,), at TOWARDS; vapour (d, g) in kg that has left the skin)."""
    heating = _heating(stretch)
    times, kelvin = _knots(stretch.temperature, stretch.longest, heating.dries)
    around = np.interp(grid, times, kelvin)
    sums = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(grid) * (around[1:] + around[:-1]))])
    fridge = cases.warmer if heating is WAITS else np.zeros(cases.count)
    bath = np.interp(until, grid, sums) / until + fridge
    row = hot_body(meat).mean
    begun = start @ row / (row @ row)
    hot = as_heat(meat, begun + TOWARDS * (bath - begun), cases)
    film = cases.number(f"heat.film.{heating.setting}")
    knots = np.broadcast_to(times, (cases.count, len(times)))
    dry = kelvin + fridge[:, None]
    if not heating.dries:
        covered = np.minimum(dry, BOILS)
        return Warmth(hot, (leg(hot, film, start, knots, covered),)), np.zeros((cases.count, len(grid)))
    held = air.moisture_of(kelvin, humidity=heating.humidity, wet=heating.wet_bulb)
    bare = 1 - (1 - cases.number("heat.radiant")[:, None]) * cases.number("heat.wetness")[:, None]
    rests = air.wet_skin(dry, held, bare)
    cold = np.minimum(begun[:, None] + SKIN * (rests - begun[:, None]), rests - 1.0)
    drop = air.cooling(rests, held, bare) - air.cooling(cold, held, bare)
    steeper = 1.0 + np.mean(np.maximum(drop / (rests - cold), 0.0), axis=1)
    wet = leg(hot, film * steeper, start, knots, rests)
    every = np.broadcast_to(grid, (cases.count, len(grid)))
    skin = Warmth(hot, (wet,)).surface(every)
    rest = wet.bath_at(every)
    brought = film[:, None] * (around - skin) - (film * steeper)[:, None] * (rest - skin)  # W/m2 that vapour takes
    flow = np.maximum(brought, 0.0) / air.latent(skin)
    left = np.concatenate(
        [np.zeros((cases.count, 1)), np.cumsum(0.5 * np.diff(grid) * (flow[:, 1:] + flow[:, :-1]), axis=1)], axis=1
    )
    most = cases.number("heat.wet_skin")
    dried = np.array([np.interp(top, own, grid, right=np.inf) for top, own in zip(most, left, strict=True)])
    area = meat.amount * sum(face.area for face in meat.body.faces) / meat.size
    vapour = np.minimum(left, most[:, None]) * area[:, None]
    if not np.any(dried < stretch.longest):
        return Warmth(hot, (wet,)), vapour
    begin = np.minimum(dried, stretch.longest)
    later = np.maximum(knots, begin[:, None])
    crust = np.stack([np.interp(own, times, np.minimum(kelvin, BOILS)) for own in later])
    ended = Warmth(hot, (wet,)).ended(begin)
    return Warmth(hot, (wet, leg(hot, film, ended, later, crust))), vapour


def _knots(log, longest: float, fine: bool) -> tuple[np.ndarray, np.ndarray]:
    """(s, K) of a program from 0 to `longest`; fine: close enough for what is not straight against the temperature."""
    times, kelvin = (np.array(each) for each in zip(*log, strict=True))
    ends = np.concatenate([[0.0], times[(times > 0) & (times < longest)], [longest]])
    if fine:
        steps = np.maximum(1, np.ceil(np.abs(np.diff(np.interp(ends, times, kelvin))) / STEP)).astype(int)
        ends = np.concatenate(
            [[0.0], *[np.linspace(a, b, n + 1)[1:] for a, b, n in zip(ends, ends[1:], steps, strict=False)]]
        )
    return ends, np.interp(ends, times, kelvin)


def _given(warmth: Warmth, vapour, water, lost, opened, grid, cases: Cases) -> Through:
    """Juice by first order in each shell, and how far it opens."""
    every = np.broadcast_to(grid, (cases.count, len(grid)))
    kelvin = warmth.shells(every)
    middle = 0.5 * (kelvin[:, 1:] + kelvin[:, :-1])
    width = cases.number("juice.width")[:, None, None]
    meat = warmth.meat
    goal = width * juice.limit(middle, cases.base, meat.parts[int(np.argmax(meat.lean))].water)
    share = -np.expm1(-juice.pace(middle, cases.base) * np.diff(grid)[:, None])
    now, every_lost = lost, [lost]
    for step in range(len(grid) - 1):
        now = now + np.maximum(goal[:, step] - now, 0.0) * share[:, step]
        every_lost.append(now)
    gone = np.stack(every_lost, axis=1)
    shares = shells_of(warmth.meat)[1]
    left = np.minimum((gone - lost[:, None]) @ shares, MOST_DRY * water[:, None])
    wide = np.maximum(np.maximum.accumulate(juice.opened(kelvin), axis=1), opened[:, None])
    # What the meat gives wets its skin: vapour takes that first, and only the rest drips off.
    drip = np.maximum.accumulate(np.maximum(left - vapour, 0.0), axis=1)
    return Through(warmth, drip, np.minimum(vapour, MOST_DRY * (water[:, None] - drip)), gone, wide, water)


def _salt(stretch: Stretch, grid, through, until, state: State, cases: Cases) -> tuple[Clock, tuple[Meat, ...]]:
    """The clock at the mean temperature of the pieces, and the pieces as they conduct by it on average until s (d,), when the stretch is likely to end."""
    every = np.broadcast_to(grid, (cases.count, len(grid)))
    kelvin = [one.warmth.mean(every) for one in through]
    held = np.stack([meat.held for meat in state.meats])
    common = np.einsum("pd,pdg->dg", held / held.sum(axis=0), np.stack(kelvin))
    free = cases.water_diffusivity(common)
    steps = np.diff(grid)
    readings = np.concatenate(
        [np.zeros((cases.count, 1)), np.cumsum(0.5 * steps * (free[:, 1:] + free[:, :-1]), axis=1)], axis=1
    )
    log_times, log_kelvin = zip(*stretch.temperature, strict=True)
    clock = Clock(grid, np.interp(grid, log_times, log_kelvin), np.zeros(cases.count), readings)
    counts = (every[:, 1:] <= until[:, None]) * steps
    meats = []
    for number, (one, meat) in enumerate(zip(through, state.meats, strict=True)):
        share = shells_of(one.warmth.meat)[1]
        opened = one.opened @ share / share.sum()
        own = cases.water_diffusivity(kelvin[number])
        weight = 0.5 * (own[:, 1:] + own[:, :-1]) * counts
        opened = (weight * 0.5 * (opened[:, 1:] + opened[:, :-1])).sum(axis=1) / weight.sum(axis=1)
        pace = weight.sum(axis=1) / (0.5 * (free[:, 1:] + free[:, :-1]) * counts).sum(axis=1)
        meats.append(replace(meat, conductivity=_led(state.raw[number], meat, opened, cases) * pace[:, None]))
    return clock, tuple(meats)


def _led(raw: Meat, now: Meat, opened: np.ndarray, cases: Cases) -> np.ndarray:
    """Conductivity (d, l) for salt of a piece whose lean has opened by `opened` (d,) on the way from raw to cooked, with the water it has now."""
    cooked = raw.storage * cases.number("obstruction.cooked")[:, None]
    led = raw.conductivity + opened[:, None] * np.maximum(cooked - raw.conductivity, 0.0)
    return np.where(raw.lean, led, raw.conductivity) * (now.storage / raw.storage)


def _likely_end(stage: Stage, grid: np.ndarray, through) -> np.ndarray:
    """s (d,): where a criterion of temperature holds in every piece for the first time, to a step of the grid; else the longest."""
    every = np.broadcast_to(grid, (len(through[0].water), len(grid)))
    until = stage.until
    if until is None or until.quantity != TEMPERATURE:
        return every[:, -1]
    margins = [until.margin(getattr(one.warmth, _PLACES[until.place])(every)) for one in through]
    holds = np.min(margins, axis=0) >= 0
    holds[:, 0] = False
    return np.where(holds.any(axis=1), grid[np.argmax(holds, axis=1)], grid[-1])


_PLACES = {"core": "core", "average": "mean", "surface": "surface"}


def warmth_at(one: Through, place: str, times: np.ndarray) -> np.ndarray:
    """K (d, t) at a place of a piece: core, average or surface."""
    return getattr(one.warmth, _PLACES[place])(times)


__all__ = ["Heat", "HotLeg", "Through", "heated", "warmth_at"]
