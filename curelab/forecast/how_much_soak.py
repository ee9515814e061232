"""How much soak brings a cured piece to a wanted salt, and with how little water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .. import units
from ..engine.history import History
from ..engine.simulate import extend, simulate
from ..fields import refuse
from ..recipe.criterion import Criterion
from ..recipe.stages import Log, Rest, Soak, Stage, Water, constant
from ..sources import Numbers
from .answer import Answer, corners, ordered, reaching, span_words
from .root import root

COVERS = 1.0  # times its weight: water that covers meat in a vessel that fits it, where no vessel is known (judgement)
NO_SOAK = "No soak is needed: the meat has no more than {} salt as it is."


@dataclass(frozen=True)
class SoakPlan:
    """One way to soak: number of waters, kg in each, hours in all; `reached` of the target."""

    waters: int
    each: float
    lasts: float | None
    best: float

    @property
    def water(self) -> float:
        """kg of water in all."""
        return self.waters * self.each


def soak_needed(
    target: str | Criterion,
    cured: History,
    *,
    water: float | str,
    temperature: str | float | Log = "4 degC",
    changes: Sequence[int] = (1, 2, 3, 4),
    at_most: float | str = "48 h",
    rest: float | str = 0.0,
    system: str = "metric",
    only: str = "",
) -> tuple[Answer, tuple[SoakPlan, ...]]:
    """How long to soak a cured piece, in equal waters of `water` kg each, until `target` ("average salt <= 2.2 %", "surface ...").

    `rest`: sealed rest after the soak before the target is judged; `only`: the pieces that need it, where not all do ("the loin"). Returns the answer for the fewest waters that reach it within `at_most`
    (with its band), and one SoakPlan for each number in `changes`.
    """
    wanted = Criterion.of(target)
    if wanted.sign != "<=" or wanted.quantity != "salt":
        raise refuse("target", f'"{wanted}" is not what a soak can do; write it like "average salt <= 2.2 %"')
    each, limit, after = units.read(water, "water"), units.read(at_most, "time"), units.read(rest, "time")
    cold = temperature if isinstance(temperature, tuple) else constant(temperature)

    if cured.margin(wanted) >= 0:
        said = NO_SOAK.format(units.show(wanted.target, "fraction"))
        return Answer("how much soak", 0.0, 0.0, 0.0, "time", str(wanted), said), ()
    plans = tuple(_soak_time(cured, wanted, n, each, limit, cold, after) for n in changes)
    good = [plan for plan in plans if plan.lasts is not None]
    if not good:
        best = min(plans, key=lambda plan: plan.best)
        sentence = (
            f"{reaching(wanted)}: not within {units.show(limit, 'time')} in up to {max(changes)} waters of {units.show(each, 'water', system)}. "
            f"The least it comes to is {units.show(best.best, 'fraction')}, in {best.waters} waters; take more water, change it "
            "more often, soak longer, or cure with less salt next time."
        )
        return Answer("how much soak", None, None, None, "time", str(wanted), sentence), plans
    chosen = min(good, key=lambda plan: plan.waters)
    slow, fast = (
        _soak_time(_again(cured, each_numbers), wanted, chosen.waters, each, limit, cold, after).lasts
        for each_numbers in corners(cured.numbers)
    )
    low, high = ordered(chosen.lasts, fast, slow)
    count = "one water" if chosen.waters == 1 else f"{chosen.waters} waters"
    place = {"average": "the whole piece", "surface": "the surface", "core": "the middle"}[wanted.place]
    less = (
        " Slow meat took less salt, so it has less to lose."
        if slow and fast and chosen.lasts and slow < chosen.lasts < fast
        else ""
    )
    more = " more" if any(stage.desalts for stage in cured.stages) else ""
    sentence = (
        f"Soak {only or 'it'} {units.roughly(chosen.lasts or 0.0)}{more}, in {count} of {units.show(each, 'water', system)} at "
        f"{units.show(cold[0][1], 'temperature', system, digits=2)}. Then {place} is down to {units.show(wanted.target, 'fraction')} salt "
        f"({span_words('time', slow, fast, chosen.lasts)}).{less}"
    )
    return Answer("how much soak", chosen.lasts, low, high, "time", str(wanted), sentence), plans


def least_water(
    target: str | Criterion,
    cured: History,
    *,
    within: float | str,
    temperature: str | float | Log = "4 degC",
    most_changes: int = 6,
    cover: float | None = None,
    system: str = "metric",
) -> tuple[str, tuple[SoakPlan, ...]]:
    """For 1 to `most_changes` equal waters: the least water that reaches `target` in `within`; and a sentence naming the choice. cover: kg below which
    no water is, for it must cover the meat (`weighing.vessel.water_to_cover`); None: COVERS.

    The choice is the fewest waters whose total lies within 10 % of the smallest total (judgement: more changes are work).
    """
    wanted = Criterion.of(target)
    limit = units.read(within, "time")
    cold = temperature if isinstance(temperature, tuple) else constant(temperature)
    green = sum(piece.weight for piece in cured.pieces)
    if cured.margin(wanted) >= 0:
        return NO_SOAK.format(units.show(wanted.target, "fraction")), ()
    plans, least = [], COVERS * green if cover is None else cover
    if not np.isfinite(least):
        return "The vessel is too low for water that covers the meat: take a higher one.", ()
    for count in range(1, most_changes + 1):
        gap = lambda log_each, n=count: _soaked(cured, n, float(np.exp(log_each)), limit, cold, 0.0).margin(wanted)  # noqa: E731
        low, high = np.log(least), np.log(max(50 * green, 2 * least))
        if gap(high) < 0:
            continue
        each = float(np.exp(root(gap, low, high, 1e-4))) if gap(low) < 0 else least
        plans.append(SoakPlan(count, each, limit, wanted.target))
    if not plans:
        best = _soaked(cured, most_changes, 50 * green, limit, cold, 0.0)
        reach = max(best.at(wanted.place, "salt", None, piece.name, wanted.basis) for piece in best.pieces)
        return (
            f"{reaching(wanted)}: no amount of water does that in {units.show(limit, 'time')}; the least is "
            f"{units.show(reach, 'fraction')}, because salt needs time to come out of the middle. Soak longer.",
            (),
        )
    fewest = min(plan.water for plan in plans)
    chosen = next(plan for plan in plans if plan.water <= 1.1 * fewest)
    many = "one water" if chosen.waters == 1 else f"{chosen.waters} waters"
    why = "Less would not cover the meat." if chosen.each <= least * 1.001 else "More changes would save little."
    return (
        f"{reaching(wanted)} in {units.roughly(limit)} with {many} of {units.show(chosen.each, 'water', system)}. {why}",
        tuple(plans),
    )


def _soaked(cured: History, count: int, each: float, seconds: float, cold: Log, rest: float) -> History:
    waters = tuple(Water(amount=each, lasts=seconds / count, temperature=cold) for _ in range(count))
    stages: list[Stage] = [Soak(waters=waters)]
    if rest > 0:
        stages.append(Rest(temperature=cold, lasts=rest))
    return extend(cured, stages)


def _soak_time(
    cured: History, wanted: Criterion, count: int, each: float, limit: float, cold: Log, rest: float
) -> SoakPlan:
    gap = lambda seconds: _soaked(cured, count, each, seconds, cold, rest).margin(wanted)  # noqa: E731
    shortest = 60.0 * count
    if gap(limit) < 0:
        last = _soaked(cured, count, each, limit, cold, rest)
        best = max(last.at(wanted.place, "salt", None, piece.name, wanted.basis) for piece in last.pieces)
        return SoakPlan(count, each, None, best)
    lasts = root(gap, shortest, limit, 30.0) if gap(shortest) < 0 else shortest
    return SoakPlan(count, each, float(lasts), wanted.target)


def _again(history: History, numbers: Numbers) -> History:
    """The same batch with other numbers."""
    return simulate(
        history.pieces, history.stages, loss=history.loss, cells=history.cells, numbers=numbers, checked=False
    )
