"""Questions asked backwards: how long, how strong, how much soak, and how wide the window of a strong brine is.

Every answer carries its criterion, its band and what it rests on. The band is the same question asked with meat that takes salt as
slowly, and as fast, as published experiments allow; it is a pair of corners, not a probability. An answer that cannot be
reached says what can be, and why.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from . import units
from .criterion import Criterion
from .fields import refuse
from .history import History
from .matter import brine as brine_properties
from .piece import Piece
from .simulate import extend, simulate
from .sources import Numbers, default_numbers
from .stages import AnyStage, Bath, Brine, Log, Rest, SealedCure, Soak, Water, constant, require_bath

DAY = 86400.0
LONGEST = 400 * DAY
# What makes meat take up salt and keep nitrite slowly (first value) or fast: which end of the published range.
CORNERS = {"obstruction.lean": ("low", "high"), "ratio.nitrite": ("low", "high"), "nitrite.loss_multiplier": ("high", "low")}
RESTS_ON = "the published range of salt diffusion in lean meat (a factor of three), of nitrite's pace and of its loss"


@dataclass(frozen=True)
class Answer:
    """A number with its band. value, low, high in SI (None: not reached); kind: a key of `curelab.units.KINDS`."""

    question: str
    value: float | None
    low: float | None
    high: float | None
    kind: str
    criterion: str
    sentence: str
    rests_on: str = RESTS_ON

    @property
    def reached(self) -> bool:
        return self.value is not None

    def __str__(self) -> str:
        return self.sentence


def corners(numbers: Numbers | None = None) -> tuple[Numbers, Numbers]:
    """(slow, fast): the numbers at the two ends of what is published."""
    base = numbers or default_numbers()
    return tuple(  # type: ignore[return-value]
        base.with_values({key: getattr(base[key], ends[side]) for key, ends in CORNERS.items()}) for side in (0, 1)
    )


def banded(ask: Callable[[Numbers], float | None], numbers: Numbers | None = None) -> tuple[float | None, ...]:
    """(default, slow, fast) answers of one question."""
    base = numbers or default_numbers()
    return tuple(ask(each) for each in (base, *corners(base)))


def _span(kind: str, slow: float | None, fast: float | None) -> str:
    ends = [value for value in (slow, fast) if value is not None]
    if not ends:
        return "not reached by the slowest meat nor by the fastest"
    if len(ends) == 1:
        side = "fastest" if slow is None else "slowest"
        return f"{units.show(ends[0], kind, digits=2)} for the {side} meat known, not reached by the other end"
    return f"{units.show(min(ends), kind, digits=2)} to {units.show(max(ends), kind, digits=2)}"


def _ordered(*values: float | None) -> tuple[float | None, float | None]:
    if any(value is None for value in values):
        return (values[0] if values[0] is not None else None, None) if values[1] is None else (values[1], None)
    return min(values), max(values)  # type: ignore[type-var]


def lasting(stage: AnyStage, seconds: float) -> AnyStage:
    """The same stage for another time; a soak keeps its waters in proportion."""
    if isinstance(stage, Soak):
        by = seconds / stage.longest
        return stage.but(waters=tuple(water.but(lasts=water.lasts * by) for water in stage.waters), until=None)
    return stage.but(lasts=seconds, until=None, at_most=None)


def first_time(history: History, criterion: Criterion, begin: float = 0.0, where: int | str = "every") -> float | None:
    """s at which the criterion first holds, from `begin`, in "every" piece, in "any" or in one by its number; None: never."""
    for run in history.runs:
        if run.end <= begin or run.length == 0:
            continue
        first = run.first_time(criterion, where)
        if first is not None:
            return run.begin + first
    return None


def _horizons(planned: float, at_most: float) -> list[float]:
    """Spans to search, short ones first: most answers lie near the plan, and a long search with many turns costs time."""
    spans = [min(at_most, max(planned, 5 * DAY))]
    while spans[-1] < at_most:
        spans.append(min(at_most, 3 * spans[-1]))
    return spans


def time_to(
    criterion: str | Criterion,
    pieces: Piece | Sequence[Piece],
    stages: AnyStage | Sequence[AnyStage],
    *,
    at_most: float = LONGEST,
    piece: str | None = None,
    loss: str = "nordin",
    numbers: Numbers | None = None,
) -> Answer:
    """How long the last of `stages` must last until `criterion` holds in every piece (or in `piece`), at most `at_most` s.

    >>> from curelab import Bath, Brine, Piece
    >>> cure = Brine(bath=Bath(water="1 kg", salt="50 g"), temperature="3 degC", lasts="1 d", lying=False)
    >>> answer = time_to("core salt >= 90 % of equilibrium", Piece(thickness="4 cm", weight="1 kg"), cure)
    >>> answer.low < answer.value < answer.high
    True
    """
    wanted = Criterion.parse(criterion) if isinstance(criterion, str) else criterion
    line = _as_list(stages)

    def ask(these: Numbers) -> tuple[float | None, History]:
        for horizon in _horizons(line[-1].longest, at_most):
            history = simulate(pieces, [*line[:-1], lasting(line[-1], horizon)], loss=loss, numbers=these)
            begin = history.span(len(line) - 1)[0]
            where = "every" if piece is None else [p.name for p in history.pieces].index(piece)
            found = first_time(history, wanted, begin, where)
            if found is not None:
                return found - begin, history
        return None, history

    base = numbers or default_numbers()
    value, history = ask(base)
    slow, fast = (ask(each)[0] for each in corners(base))
    low, high = _ordered(fast, slow)
    if value is not None:
        sentence = f"{_say(wanted, piece)} after {units.show(value, 'time')} ({_span('time', slow, fast)})."
    else:
        sentence = f"{_say(wanted, piece)}: not within {units.show(at_most, 'time')}. {_nearest(history, wanted, len(line) - 1)}"
    return Answer("how long", value, low, high, "time", str(wanted), sentence)


def _nearest(history: History, criterion: Criterion, stage: int) -> str:
    """What the stage does reach, and when, for a criterion that it does not."""
    begin, end = history.span(stage)
    times = np.linspace(begin, end, 400)
    worst = []
    for piece in history.pieces:
        values = history.at(criterion.place, criterion.quantity, times, piece.name, criterion.basis)
        best = int(np.argmax(values) if criterion.sign == ">=" else np.argmin(values))
        gap = (values[best] - criterion.target) * (1 if criterion.sign == ">=" else -1)
        worst.append((gap, piece.name, float(values[best]), float(times[best] - begin)))
    _, name, value, when = min(worst)
    bound = "most" if criterion.sign == ">=" else "least"
    why = {
        "free nitrite": "nitrite is lost in the meat as fast as it arrives",
    }.get(criterion.quantity, "the bath holds no more to give" if criterion.sign == ">=" else "the water has come level with the meat")
    return (
        f"The {bound} that {name} comes to is {units.show(value, 'fraction')}, after {units.show(when, 'time')}, "
        f"because {why} or because there is not enough time."
    )


def _say(criterion: Criterion, piece: str | None = None) -> str:
    verb = "reaches" if criterion.sign == ">=" else "is down to"
    place = {"core": "The core", "average": "The whole piece", "surface": "The surface"}[criterion.place]
    if piece is not None:
        place = {"core": f"The core of {piece}", "average": piece.capitalize(), "surface": f"The surface of {piece}"}[criterion.place]
    basis = {"equilibrium": f"of its equilibrium {criterion.quantity}", "water phase": f"{criterion.quantity} in its water"}.get(
        criterion.basis, criterion.quantity
    )
    return f"{place} {verb} {units.show(criterion.target, 'fraction')} {basis}"


def strength_needed(
    criterion: str | Criterion,
    pieces: Piece | Sequence[Piece],
    brine: Brine,
    *,
    loss: str = "nordin",
    numbers: Numbers | None = None,
) -> Answer:
    """Salt strength (of salt and water) that makes `criterion` hold at the end of `brine`, whose water and duration are kept."""
    wanted = Criterion.parse(criterion) if isinstance(criterion, str) else criterion
    if wanted.quantity != "salt" or wanted.sign != ">=" or wanted.basis == "equilibrium":
        raise refuse("criterion", f'"{wanted}" does not ask for an amount of salt; write it like "core salt >= 2 %"')
    if brine.lasts is None:
        raise refuse("lasts", "the strength is found for a given number of days; give the brine a duration")
    bath = require_bath(brine)
    top = float(brine_properties.solubility(max(brine.coldest, 273.25)))
    most = top / (1 - top) * bath.water * (1 - 1e-9)

    def margin(salt: float, these: Numbers) -> float:
        made = brine.but(bath=bath.but(salt=salt))
        run = simulate(pieces, made, loss=loss, numbers=these).runs[-1]
        return float(run.margin(wanted, np.array([run.length]))[0])

    def ask(these: Numbers) -> float | None:
        if margin(most, these) < 0:
            return None
        salt = brentq(lambda kg: margin(kg, these), 0.0, most, xtol=1e-6 * most)
        return salt / (salt + bath.water)

    value, slow, fast = banded(ask, numbers)
    low, high = _ordered(fast, slow)
    days = units.show(brine.lasts, "time")
    if value is not None:
        grams = units.show(value / (1 - value) * bath.water, "mass")
        sentence = (
            f"{_say(wanted)} in {days} with a brine of {units.show(value, 'fraction')} salt, {grams} in "
            f"{units.show(bath.water, 'mass')} of water ({_span('fraction', slow, fast)})."
        )
    else:
        history = simulate(pieces, brine.but(bath=bath.but(salt=most)), loss=loss, numbers=numbers)
        reach = min(history.at(wanted.place, "salt", None, piece.name, wanted.basis) for piece in history.pieces)
        sentence = (
            f"{_say(wanted)}: not in {days} with any brine. Even a saturated one ({units.show(top, 'fraction')}) brings it to "
            f"{units.show(reach, 'fraction')}; give it more days, or a thinner piece."
        )
    return Answer("how strong", value, low, high, "fraction", str(wanted), sentence)


@dataclass(frozen=True)
class Window:
    """From the first day cured at the core to the last day before too salty, s since the brine began (inf: never).

    `slow` and `fast`: (opens, closes) for meat at the two ends of what is published.
    """

    opens: float
    closes: float
    slow: tuple[float, float]
    fast: tuple[float, float]
    cured: str
    too_salty: str
    sentence: str
    rests_on: str = RESTS_ON

    @property
    def empty(self) -> bool:
        return not self.opens < self.closes

    @property
    def span(self) -> tuple[float, float]:
        """(opens, closes) [s], inf for never."""
        return self.opens, self.closes


def window(
    pieces: Piece | Sequence[Piece],
    cure: Brine | SealedCure,
    *,
    cured: str = "core salt >= 1.5 %",
    too_salty: str = "average salt >= 3 %",
    at_most: float = LONGEST,
    loss: str = "nordin",
    numbers: Numbers | None = None,
) -> Window:
    """The days in which a cure is cured at the core of every piece and not yet too salty on the whole in any.

    The default criteria are judgement on taste, see the rows `taste.*` in datasets/numbers.csv.
    """
    ready, salty = Criterion.parse(cured), Criterion.parse(too_salty)

    def ask(these: Numbers) -> tuple[float, float]:
        for horizon in _horizons(cure.longest, at_most):
            history = simulate(pieces, lasting(cure, horizon), loss=loss, numbers=these)
            ends = _ends(history, ready, salty)
            if np.isfinite(ends).all():
                break
        return ends

    usual, slow, fast = (ask(each) for each in (numbers or default_numbers(), *corners(numbers)))
    return Window(*usual, slow, fast, str(ready), str(salty), _window_words(usual, slow, fast, ready, salty, at_most))


def window_of(histories: Sequence[History | None], cured: str = "core salt >= 1.5 %", too_salty: str = "average salt >= 3 %") -> Window:
    """The window seen within histories that are there already: the usual one, and (or None) those in slow and fast meat."""
    ready, salty = Criterion.parse(cured), Criterion.parse(too_salty)
    usual, *others = histories
    assert usual is not None
    ends = [_ends(history or usual, ready, salty) for history in (usual, *others)]
    spans = ends if len(ends) == 3 else [ends[0]] * 3
    return Window(*spans[0], spans[1], spans[2], str(ready), str(salty), _window_words(*spans, ready, salty, usual.length))


def _ends(history: History, ready: Criterion, salty: Criterion) -> tuple[float, float]:
    opens, closes = first_time(history, ready), first_time(history, salty, where="any")
    return (np.inf if opens is None else opens), (np.inf if closes is None else closes)


def _window_words(usual, slow, fast, ready, salty, at_most) -> str:
    opens, closes = usual
    day = lambda seconds: units.show(seconds, "time", digits=2)  # noqa: E731
    if np.isinf(opens):
        return f"The window is empty: within {day(at_most)} this cure never brings the meat to {ready}."
    if np.isinf(closes):
        return (
            f"Cured at the core ({ready}) from {day(opens)} on ({day(fast[0])} to {day(slow[0])}), and never too salty "
            f"({salty}): leave it longer and nothing goes wrong."
        )
    if opens < closes:
        return (
            f"The window is {day(opens)} to {day(closes)}: cured at the core ({ready}) and not yet too salty ({salty}). "
            f"Fast meat: {_pair(fast)}; slow meat: {_pair(slow)}. Only the clock saves this cure."
        )
    return (
        f"The window is empty: the whole is too salty ({salty}) after {day(closes)}, and the core is cured ({ready}) only after "
        f"{day(opens)}. Use a weaker brine for longer, a thinner piece, or an equilibrium cure; or cure and then soak."
    )


def _pair(pair: tuple[float, float]) -> str:
    opens, closes = pair
    if not opens < closes:
        return "empty"
    return f"{units.show(opens, 'time', digits=2)} to {units.show(closes, 'time', digits=2)}"


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
) -> tuple[Answer, tuple[SoakPlan, ...]]:
    """How long to soak a cured piece, in equal waters of `water` kg each, until `target` ("average salt <= 2.2 %", "surface ...").

    `rest`: sealed rest after the soak before the target is judged. Returns the answer for the fewest waters that reach it within `at_most`
    (with its band), and one SoakPlan for each number in `changes`.
    """
    wanted = Criterion.parse(target) if isinstance(target, str) else target
    if wanted.sign != "<=" or wanted.quantity != "salt":
        raise refuse("target", f'"{wanted}" is not what a soak can do; write it like "average salt <= 2.2 %"')
    each, limit, after = units.read(water, "mass"), units.read(at_most, "time"), units.read(rest, "time")
    cold = temperature if isinstance(temperature, tuple) else constant(temperature)

    if _margin(cured, wanted) >= 0:
        said = f"No soak is needed: {_say(wanted).lower()} as it is."
        return Answer("how much soak", 0.0, 0.0, 0.0, "time", str(wanted), said), ()
    plans = tuple(_soak_time(cured, wanted, n, each, limit, cold, after) for n in changes)
    good = [plan for plan in plans if plan.lasts is not None]
    if not good:
        best = min(plans, key=lambda plan: plan.best)
        sentence = (
            f"{_say(wanted)}: not within {units.show(limit, 'time')} in up to {max(changes)} waters of {units.show(each, 'mass')}. "
            f"The least it comes to is {units.show(best.best, 'fraction')}, in {best.waters} waters; take more water, change it "
            "more often, soak longer, or cure with less salt next time."
        )
        return Answer("how much soak", None, None, None, "time", str(wanted), sentence), plans
    chosen = min(good, key=lambda plan: plan.waters)
    slow, fast = (
        _soak_time(_again(cured, each_numbers), wanted, chosen.waters, each, limit, cold, after).lasts
        for each_numbers in corners(cured.numbers)
    )
    low, high = _ordered(fast, slow)
    count = "one water" if chosen.waters == 1 else f"{chosen.waters} waters"
    sentence = (
        f"{_say(wanted)} after {units.show(chosen.lasts or 0.0, 'time')} in {count} of {units.show(each, 'mass')} "
        f"({_span('time', slow, fast)})."
    )
    return Answer("how much soak", chosen.lasts, low, high, "time", str(wanted), sentence), plans


def least_water(
    target: str | Criterion,
    cured: History,
    *,
    within: float | str,
    temperature: str | float | Log = "4 degC",
    most_changes: int = 6,
) -> tuple[str, tuple[SoakPlan, ...]]:
    """For 1 to `most_changes` equal waters: the least water that reaches `target` in `within`; and a sentence naming the choice.

    The choice is the fewest waters whose total lies within 10 % of the smallest total (judgement: more changes are work).
    """
    wanted = Criterion.parse(target) if isinstance(target, str) else target
    limit = units.read(within, "time")
    cold = temperature if isinstance(temperature, tuple) else constant(temperature)
    green = sum(piece.weight for piece in cured.pieces)
    if _margin(cured, wanted) >= 0:
        return f"No soak is needed: {_say(wanted).lower()} as it is.", ()
    plans = []
    for count in range(1, most_changes + 1):
        gap = lambda log_each, n=count: _margin(_soaked(cured, n, float(np.exp(log_each)), limit, cold, 0.0), wanted)  # noqa: E731
        low, high = np.log(0.02 * green), np.log(50 * green)
        if gap(high) < 0:
            continue
        each = float(np.exp(brentq(gap, low, high, xtol=1e-4))) if gap(low) < 0 else 0.02 * green
        plans.append(SoakPlan(count, each, limit, wanted.target))
    if not plans:
        best = _soaked(cured, most_changes, 50 * green, limit, cold, 0.0)
        reach = max(best.at(wanted.place, "salt", None, piece.name, wanted.basis) for piece in best.pieces)
        return (
            f"{_say(wanted)}: no amount of water does that in {units.show(limit, 'time')}; the least is "
            f"{units.show(reach, 'fraction')}, because salt needs time to come out of the middle. Soak longer.",
            (),
        )
    fewest = min(plan.water for plan in plans)
    chosen = next(plan for plan in plans if plan.water <= 1.1 * fewest)
    return (
        f"{_say(wanted)} in {units.show(limit, 'time')} with {chosen.waters} waters of {units.show(chosen.each, 'mass')}, "
        f"{units.show(chosen.water, 'mass')} in all; more changes would save little.",
        tuple(plans),
    )


def _soaked(cured: History, count: int, each: float, seconds: float, cold: Log, rest: float) -> History:
    waters = tuple(Water(amount=each, lasts=seconds / count, temperature=cold) for _ in range(count))
    stages: list[AnyStage] = [Soak(waters=waters)]
    if rest > 0:
        stages.append(Rest(temperature=cold, lasts=rest))
    return extend(cured, stages)


def _margin(history: History, criterion: Criterion) -> float:
    run = history.runs[-1]
    return float(run.margin(criterion, np.array([run.length]))[0])


def _soak_time(cured: History, wanted: Criterion, count: int, each: float, limit: float, cold: Log, rest: float) -> SoakPlan:
    gap = lambda seconds: _margin(_soaked(cured, count, each, seconds, cold, rest), wanted)  # noqa: E731
    shortest = 60.0 * count
    if gap(limit) < 0:
        last = _soaked(cured, count, each, limit, cold, rest)
        best = max(last.at(wanted.place, "salt", None, piece.name, wanted.basis) for piece in last.pieces)
        return SoakPlan(count, each, None, best)
    lasts = brentq(gap, shortest, limit, xtol=30.0) if gap(shortest) < 0 else shortest
    return SoakPlan(count, each, float(lasts), wanted.target)


def _again(history: History, numbers: Numbers) -> History:
    """The same batch with other numbers."""
    return simulate(history.pieces, history.stages, loss=history.loss, cells=history.cells, numbers=numbers)


def _as_list(stages) -> list[AnyStage]:
    return [stages] if isinstance(stages, (Brine, SealedCure, Rest, Soak)) else list(stages)


@dataclass(frozen=True)
class Reached:
    """What a cure has reached in a piece after some time: a fraction with its band."""

    piece: str
    time: float
    value: float
    low: float
    high: float


def reached(
    pieces: Piece | Sequence[Piece], cure: AnyStage, times: Sequence[float], *, place: str = "core", quantity: str = "salt",
    basis: str = "equilibrium", numbers: Numbers | None = None,
) -> tuple[Reached, ...]:  # fmt: skip
    """How far a cure has come after each of `times` [s], in every piece, with the band: what the days on a recipe really do."""
    longest = lasting(cure, max(times))
    every = [simulate(pieces, longest, numbers=each) for each in (numbers or default_numbers(), *corners(numbers))]
    rows = []
    for piece in every[0].pieces:
        found = np.array([history.at(place, quantity, np.array(times), piece.name, basis) for history in every])
        rows += [
            Reached(piece.name, float(time), float(found[0, k]), float(found[:, k].min()), float(found[:, k].max()))
            for k, time in enumerate(times)
        ]
    return tuple(rows)


def equilibrium_bath(bath: Bath, pieces: Sequence[Piece], salt: float) -> Bath:
    """The bath with the salt that brings the water of meat and bath to `salt` kg per kg of water."""
    return bath.but(salt=salt * (bath.water + sum(piece.water() for piece in pieces)))
