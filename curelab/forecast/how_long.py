"""How long until something holds, and what some days on a recipe really reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from ..engine.history import History
from ..recipe.criterion import Criterion
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..sources import Numbers
from .answer import (
    HEAT_RESTS_ON,
    LOOK_AHEAD,
    RESTS_ON,
    Answer,
    in_corners,
    ordered,
    reached_or_none,
    reaching,
    span_words,
)


def horizons(planned: float, at_most: float) -> list[float]:
    """Spans to search, short ones first: most answers lie near the plan, and a long search with many turns costs time."""
    spans = [min(at_most, max(planned, 5 * units.DAY))]
    while spans[-1] < at_most:
        spans.append(min(at_most, 3 * spans[-1]))
    return spans


def time_to(
    criterion: str | Criterion,
    pieces: Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage],
    *,
    at_most: Any = LOOK_AHEAD,
    piece: str | None = None,
    loss: str = "nordin",
    numbers: Numbers | None = None,
) -> Answer:
    """How long the last of `stages` must last until `criterion` holds in every piece (or in `piece`), `at_most` ("400 d", or s) at most.

    >>> from curelab import Bath, Brine, Piece
    >>> cure = Brine(bath=Bath(water="1 kg", salt="50 g"), temperature="3 degC", lasts="1 d", lying=False)
    >>> answer = time_to("core salt >= 90 % of equilibrium", Piece(thickness="4 cm", weight="1 kg"), cure)
    >>> answer.low < answer.value < answer.high
    True
    """
    wanted, at_most = Criterion.of(criterion), units.seconds(at_most)
    line = list(in_order(stages))
    stage, found = len(line) - 1, np.full(3, np.inf)
    where: int | str = "every"
    for horizon in horizons(line[-1].longest, at_most):
        many = in_corners(pieces, [*line[:-1], line[-1].lasting(horizon)], loss=loss, numbers=numbers)
        where = "every" if piece is None else many.piece_number(piece)
        found = np.where(np.isinf(found), many.first_time(wanted, stage, where) - many.begin(stage), found)
        if np.isfinite(found).all():
            break
    value, slow, fast = (reached_or_none(each) for each in found)
    low, high = ordered(value, fast, slow)
    if value is not None:
        sentence = f"{reaching(wanted, piece)} after {units.show(value, 'time')} ({span_words('time', slow, fast)})."
    else:
        sentence = f"{reaching(wanted, piece)}: not within {units.show(at_most, 'time')}. {_nearest(many.of(0), wanted, stage)}"
    rests_on = HEAT_RESTS_ON if wanted.kind == "temperature" else RESTS_ON
    return Answer("how long", value, low, high, "time", str(wanted), sentence, rests_on)


def _nearest(history: History, criterion: Criterion, stage: int) -> str:
    """What the stage does reach, and when, for a criterion that it does not."""
    begin, end = history.span(stage)
    times = np.linspace(begin, end, 400)
    worst = []
    for piece in history.pieces:
        if criterion.kind == "temperature":
            values = history.temperature(times, criterion.place, piece.name)
        else:
            values = history.at(criterion.place, criterion.quantity, times, piece.name, criterion.basis)
        best = int(np.argmax(criterion.margin(values)))
        worst.append(
            (float(criterion.margin(values[best])), piece.name, float(values[best]), float(times[best] - begin))
        )
    _, name, value, when = min(worst)
    bound = "most" if criterion.sign == ">=" else "least"
    why = {
        "free nitrite": "nitrite is lost in the meat as fast as it arrives",
        "temperature": "what is around it is no hotter" if criterion.sign == ">=" else "what is around it is no colder",
    }.get(
        criterion.quantity,
        "the bath holds no more to give" if criterion.sign == ">=" else "the water has come level with the meat",
    )
    return (
        f"The {bound} that {name} comes to is {units.show(value, criterion.kind)}, after {units.show(when, 'time')}, "
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
    pieces: Piece | Sequence[Piece], cure: Stage, times: Any, *, place: str = "core", quantity: str = "salt",
    basis: str = "equilibrium", numbers: Numbers | None = None,
) -> tuple[Reached, ...]:  # fmt: skip
    """How far a cure has come after each of `times`, in every piece, with the band: what the days on a recipe really do."""
    times = np.atleast_1d(units.seconds(times)).tolist()
    many = in_corners(pieces, cure.lasting(max(times)), numbers=numbers)
    rows = []
    for piece in many.pieces:
        found = many.at(place, quantity, np.array(times), piece.name, basis)
        rows += [
            Reached(piece.name, float(time), float(found[0, k]), float(found[:, k].min()), float(found[:, k].max()))
            for k, time in enumerate(times)
        ]
    return tuple(rows)
