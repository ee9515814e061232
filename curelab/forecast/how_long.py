"""How long until something holds, and what some days on a recipe really reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .. import units
from ..engine.history import History
from ..engine.simulate import simulate
from ..recipe.criterion import Criterion
from ..recipe.piece import Piece
from ..recipe.stages import AnyStage, Soak, in_order
from ..sources import Numbers, default_numbers
from .answer import LOOK_AHEAD, Answer, corners, ordered, reaching, span_words


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


def horizons(planned: float, at_most: float) -> list[float]:
    """Spans to search, short ones first: most answers lie near the plan, and a long search with many turns costs time."""
    spans = [min(at_most, max(planned, 5 * units.DAY))]
    while spans[-1] < at_most:
        spans.append(min(at_most, 3 * spans[-1]))
    return spans


def time_to(
    criterion: str | Criterion,
    pieces: Piece | Sequence[Piece],
    stages: AnyStage | Sequence[AnyStage],
    *,
    at_most: float = LOOK_AHEAD,
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
    line = list(in_order(stages))

    def ask(these: Numbers) -> tuple[float | None, History]:
        for horizon in horizons(line[-1].longest, at_most):
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
    low, high = ordered(value, fast, slow)
    if value is not None:
        sentence = f"{reaching(wanted, piece)} after {units.show(value, 'time')} ({span_words('time', slow, fast)})."
    else:
        sentence = f"{reaching(wanted, piece)}: not within {units.show(at_most, 'time')}. {_nearest(history, wanted, len(line) - 1)}"
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
    }.get(
        criterion.quantity,
        "the bath holds no more to give" if criterion.sign == ">=" else "the water has come level with the meat",
    )
    return (
        f"The {bound} that {name} comes to is {units.show(value, 'fraction')}, after {units.show(when, 'time')}, "
        f"because {why} or because there is not enough time."
    )


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
