"""A pull day and a rest planned together: in the least days, for a fixed serving day, or with a fixed rest."""

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
from ..results import Shown
from ..sources import Numbers
from ..units import DAY
from .answer import LOOK_AHEAD, RESTS_ON, in_corners
from .how_long import horizons
from .ready import SHARE, first_even, rest_after, wanted_of

DAYS = 32  # pulls that are tried
SOONEST = 0.05  # of the longest cure: the first of them


@dataclass(frozen=True, repr=False)
class PullAndRest(Shown):
    """When to take a piece out and how long to rest it, s since the start, None where there is no such day.

    salted and even: what the average then has of where the cure ends (or of the salt wanted), and the slowest spot of the average, each
    (usual, slow meat, fast meat).
    """

    question: str
    pull: float | None
    rest: float | None
    salted: tuple[float, float, float]
    even: tuple[float, float, float]
    sentence: str
    rests_on: str = RESTS_ON

    @property
    def ready(self) -> float | None:
        """When it can be cooked."""
        return None if self.pull is None or self.rest is None else self.pull + self.rest

    def lines(self) -> list[str]:
        return [self.sentence]

    def rows(self) -> list[dict[str, Any]]:
        return [
            {"meat": meat, "pull_s": self.pull, "rest_s": self.rest, "salted": salted, "even": even}
            for meat, salted, even in zip(("usual", "slow", "fast"), self.salted, self.even, strict=True)
        ]


def pull_and_rest(
    pieces: Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage],
    *,
    serve: Any = None,
    rest: Any = None,
    salt: float | None = None,
    piece: int | str = 0,
    at_most: Any = LOOK_AHEAD,
    loss: str = "nordin",
    numbers: Numbers | None = None,
) -> PullAndRest:
    """When to take a piece out of the last of `stages`, a cure of one stretch, and how long to rest it.

    With neither `serve` nor `rest`: so that the whole has its salt and is even in the least days. `serve` ("21 d" after the start): on that
    day, with as much salt as can be even by then. `rest` ("5 d"): as soon as so long a rest is enough. A brine that ends too salty has one
    pull, at `salt` on the whole (default: the upper end of the usual taste). Raises ValueError where both are given.

    >>> from curelab import Bath, Brine
    >>> cure = Brine(bath=Bath(water="1 kg", salt="50 g"), temperature="3 degC", lasts="9 d", lying=False)
    >>> flat = Piece(thickness="4 cm", weight="1 kg")
    >>> least = pull_and_rest(flat, cure)
    >>> least.ready <= pull_and_rest(flat, cure, rest="5 d").ready
    True
    """
    if serve is not None and rest is not None:
        raise ValueError("give the serving day or the rest, not both: the pull follows from one of them")
    served, fixed = (None if given is None else units.seconds(given) for given in (serve, rest))
    many, stage, number, goal, first = _salted(pieces, stages, salt, piece, units.seconds(at_most), loss, numbers)
    name = units.capital(many.pieces[number].name)
    if not np.isfinite(first):
        return _nothing(
            f"{name}: not within {units.show(units.seconds(at_most), 'time')}; this cure does not bring it its salt."
        )
    begin, latest = float(many.begin(stage)[0]), max(float(many.ends(stage)[0]), first)
    tried = np.array([first])  # a brine that ends too salty has one right moment
    if goal.basis == "equilibrium":
        tried = np.unique(np.append(np.geomspace(begin + SOONEST * first, latest, DAYS), first))
    needed = np.array([float(first_even(many, stage, number, np.full(many.count, out))[0]) for out in tried])
    pull, wait = _chosen(tried, needed, first, served, fixed)
    if served is not None and pull is None:  # nothing is even by then: the least short
        early = [float(out) for out in tried if out <= served] or [served]
        short = [min(each[0] for each in _reached(many, stage, number, goal, out, served - out)) for out in early]
        pull, wait = early[int(np.argmax(short))], served - early[int(np.argmax(short))]
    if pull is None or wait is None:
        least = units.roughly(float(needed[tried >= first].min()))
        return _nothing(f"{name}: {units.roughly(fixed or 0.0)} of rest is not enough; it needs {least}.")
    reached, even = _reached(many, stage, number, goal, pull, wait)
    return PullAndRest("pull and rest", pull, wait, reached, even, _said(name, pull, wait, reached, even))


def _salted(pieces, stages, salt, piece, most: float, loss: str, numbers) -> tuple[History, int, int, Criterion, float]:
    """(three meats in a cure that lasts long enough, its number, the piece, what its pull waits for, and when that is [s], inf: never)."""
    line = list(in_order(stages))
    stage = len(line) - 1
    for horizon in horizons(line[-1].longest, most):
        many = in_corners(pieces, [*line[:-1], line[-1].lasting(horizon)], loss=loss, numbers=numbers)
        number = many.piece_number(piece)
        goal = wanted_of(many.of(0), stage, number, salt)
        salted = many.first_time(goal, stage, number)
        if np.isfinite(salted).all():
            break
    return many, stage, number, goal, float(salted[0])


def _nothing(said: str) -> PullAndRest:
    return PullAndRest("pull and rest", None, None, (0.0,) * 3, (0.0,) * 3, said)


def _chosen(tried, needed, first, served, fixed) -> tuple[float | None, float | None]:
    """(pull, rest) of pulls tried (n,) and the rests (n,) they need."""
    if served is not None:
        good = np.flatnonzero(tried + needed <= served)
        return (float(tried[good[-1]]), served - float(tried[good[-1]])) if len(good) else (None, None)
    salted = np.flatnonzero(tried >= first * (1 - 1e-9))
    if fixed is not None:
        good = salted[needed[salted] <= fixed]
        return (float(tried[good[0]]), float(fixed)) if len(good) else (None, None)
    best = salted[np.argmin((tried + needed)[salted])]
    return float(tried[best]), float(needed[best])


def _reached(many: History, stage: int, piece: int, goal, pull: float, wait: float):
    """(salted, even) of each meat when it is cooked."""
    out = np.full(many.count, pull) - many.begin(stage)
    rested = many.pulled(stage, out, rest_after(many, stage), piece)
    when = np.full((many.count, 1), pull + max(wait, 1.0))
    salted = many.at("average", "salt", np.full((many.count, 1), pull), piece, goal.basis)[:, 0]
    share = salted if goal.basis == "equilibrium" else salted / goal.target
    even = rested.least("salt", when, 0, "equilibrium")[:, 0]
    return tuple(map(float, share)), tuple(map(float, even))


def _said(name: str, pull: float, wait: float, salted, even) -> str:
    days = f"{name}: out on day {pull / DAY:.3g}, rest {units.roughly(wait)}, cook on day {(pull + wait) / DAY:.3g}."
    whole = f"The whole then has {100 * salted[0]:.0f} % of its salt ({100 * min(salted):.0f} to {100 * max(salted):.0f} in slow and fast meat)."
    spot = (
        f"Its slowest spot has {100 * even[0]:.0f} % of the average ({100 * min(even):.0f} to {100 * max(even):.0f})."
    )
    short = min(salted[0], even[0]) < SHARE - 0.005
    return f"{days} {whole} {spot}{' That is too early: cut it thinner, or serve later.' if short else ''}"
