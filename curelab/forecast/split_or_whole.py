"""One piece whole, or split, trimmed or folded: the day to take it out, the day to cook it, whether cure protects it, soak, and water, both ways."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import progress, units
from ..engine.simulate import simulate
from ..fields import refuse
from ..recipe import cutting
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..results import Shown
from ..sources import Numbers, default_numbers
from ..weighing.vessel import Vessel, water_to_cover
from .answer import LOOK_AHEAD, Answer, in_corners, reached_or_none
from .how_long import horizons
from .how_much_soak import soak_needed
from .ready import Ready, ready_columns, ready_of, wanted_of

ABOUT = 0.05  # relative: two waits nearer to each other than that are told as alike (judgement; the pace is known to a factor)
NO_SOAK = 600.0  # s; a shorter soak is a rinse (judgement)
NOT_PROTECTED = "{}: cure does not protect its slowest spot in time. Cut it thinner."
MUSCLES = "Two muscles of one cut are often split because they cook differently (common practice, no source)."
BARE = "Folded, all of the second face counts as closed, also what of the longer half lies bare."


@dataclass(frozen=True)
class Hand:
    """What is done to the piece, in words: "The loin, [cut across]"; "[split], 2 kg of water"; "[Splitting] saves"; and what else there is to say."""

    told: str
    short: str
    doing: str
    rule: str = ""


SPLIT_ACROSS = Hand("cut across", "split", "Splitting")
SPLIT_ALONG = Hand("split along the seam", "split", "Splitting", MUSCLES)
TRIMMED = Hand("its fat cap trimmed", "trimmed", "Trimming")
FOLDED = Hand("folded over", "folded", "Folding", BARE)


@dataclass(frozen=True)
class Way:
    """One way to do it: the pieces, and when each is ready in usual, slow and fast meat; the soak that brings them to eating salt once the
    last is out, None where one never has its salt; kg of water for that soak, and for a brine that covers them in the vessel, None without one,
    inf where it is too low for them.
    """

    pieces: tuple[Piece, ...]
    ready: tuple[Ready, ...]
    soak: Answer | None
    soak_water: float | None
    brine_water: float | None

    def last(self, what: str) -> np.ndarray:
        """s (3,) in usual, slow and fast meat until "pull" or "ready" holds of every piece; inf: of one it never does."""
        return np.max([getattr(each, what) for each in self.ready], axis=0)

    @property
    def out(self) -> float | None:
        """s until every piece has its salt, in usual meat."""
        return reached_or_none(self.last("pull")[0])

    @property
    def cooked(self) -> float | None:
        """s until every piece is ready to cook, in usual meat."""
        return reached_or_none(self.last("ready")[0])

    @property
    def protected(self) -> bool:
        """Whether cure holds the slowest spot of every piece on its ready day, and in time, in usual meat; without nitrite, in time."""
        return all(bool((each.holds if each.nitrite else each.keeps)[0]) for each in self.ready)


@dataclass(frozen=True, repr=False)
class BothWays(Shown):
    """Both ways, and the answer in a few sentences. short: how the second way is called; trimmed: kg of fat taken off."""

    whole: Way
    parts: Way
    short: str
    trimmed: float
    sentences: tuple[str, ...]

    def lines(self) -> list[str]:
        return list(self.sentences)

    def rows(self) -> list[dict[str, Any]]:
        """One row for each way, SI."""
        return [
            {
                "way": name, "pieces": [piece.name for piece in way.pieces], "weight": sum(piece.weight for piece in way.pieces),
                "out": way.out, "cook": way.cooked, "cook_slow": reached_or_none(way.last("ready")[1]),
                "cook_fast": reached_or_none(way.last("ready")[2]), "protected": way.protected,
                "soak": None if way.soak is None else way.soak.value, "soak_water": way.soak_water,
                "brine_water": None if way.brine_water is None else reached_or_none(way.brine_water),
            }
            for name, way in (("whole", self.whole), (self.short, self.parts))
        ]  # fmt: skip


def split_or_whole(
    piece: Piece,
    stages: Stage | Sequence[Stage],
    *,
    at: str | float | None = None,
    along: str | None = None,
    **more: Any,
) -> BothWays:
    """A piece whole, and split `at` a place or `along` its "seam" (see `recipe.cutting.split`), both in the same brine: see `both_ways`.

    >>> from curelab import Bath, Brine
    >>> block = Piece(name="loin", shape="block", thickness="8 cm", width="10 cm", length="12 cm", weight="1 kg")
    >>> cure = Brine(bath=Bath(water="2 kg", salt="75 g"), temperature="3 degC", lasts="10 d", lying=False)
    >>> found = split_or_whole(block, cure, at="6 cm")
    >>> found.parts.cooked < found.whole.cooked
    True
    """
    hand = SPLIT_ALONG if at is None else SPLIT_ACROSS
    return both_ways(piece, cutting.split(piece, at=at, along=along), hand, stages, **more)


def trimmed_or_whole(piece: Piece, stages: Stage | Sequence[Stage], *, to: str | float, **more: Any) -> BothWays:
    """A piece as it is, and with its fat cap cut down `to` so much: see `both_ways`."""
    return both_ways(piece, (cutting.trim(piece, to),), TRIMMED, stages, **more)


def folded_or_whole(piece: Piece, stages: Stage | Sequence[Stage], *, at: str | float, **more: Any) -> BothWays:
    """A piece flat, and folded over `at` a place: see `both_ways`."""
    return both_ways(piece, cutting.fold(piece, at), FOLDED, stages, **more)


def both_ways(
    piece: Piece,
    parts: Sequence[Piece],
    hand: Hand,
    stages: Stage | Sequence[Stage],
    *,
    vessel: Vessel | None = None,
    at_most: Any = LOOK_AHEAD,
    loss: str = "nordin",
    numbers: Numbers | None = None,
    system: str = "metric",
) -> BothWays:
    """A piece alone in a cure, and what a hand makes of it, in the same brine.

    stages: the cure, weighed out, and what goes before it; it lasts until every piece has its salt (`forecast.ready`), `at_most` so long. The
    bands are those of slow and fast meat. Raises InputError for stages of which the last does not cure.
    """
    line = list(in_order(stages))
    if not line[-1].cures:
        raise refuse(
            "stages", "the last stage is no cure; give the cure whose days are asked for, and what goes before it"
        )
    base = numbers or default_numbers()
    eating = f"average salt <= {100 * base.si('taste.normal_high'):g} %"
    ways = []
    with progress.counted(f"comparing it whole and {hand.short}", 4) as done:
        for pieces in ((piece,), parts):
            ready, begin = _ready(pieces, line, units.seconds(at_most), loss, numbers)
            out = reached_or_none(np.max([each.pull for each in ready], axis=0)[0])
            done()
            soak, soaked = None, None
            if out is not None:
                cured = simulate(pieces, [*line[:-1], line[-1].lasting(out - begin)], loss=loss, numbers=numbers)
                each = 2 * sum(one.weight for one in pieces)
                soak, plans = soak_needed(eating, cured, water=each, system=system)
                soaked = next(
                    (plan.water for plan in plans if plan.lasts == soak.value), 0.0 if soak.value == 0 else None
                )
            brine = None if vessel is None else water_to_cover(vessel, pieces, base)
            ways.append(Way(tuple(pieces), ready, soak, soaked, brine))
            done()
    trimmed = piece.weight - sum(part.weight for part in parts)
    return BothWays(ways[0], ways[1], hand.short, trimmed, _said(piece, ways[0], ways[1], hand, trimmed, system))


def _ready(
    pieces: Sequence[Piece], line: list[Stage], at_most: float, loss: str, numbers
) -> tuple[tuple[Ready, ...], float]:
    """(when each piece is ready, in usual, slow and fast meat, s since the start; s at which the cure begins)."""
    stage, every = len(line) - 1, range(len(pieces))
    for horizon in horizons(line[-1].longest, at_most):
        many = in_corners(pieces, [*line[:-1], line[-1].lasting(horizon)], loss=loss, numbers=numbers)
        wanted = tuple(wanted_of(many.of(0), stage, number) for number in every)
        columns = ready_columns(many, stage, wanted, tuple(every))
        if np.isfinite(columns[:, :, 0]).all():
            break
    return ready_of(columns, many, stage, wanted, every), float(many.begin(stage)[0])


def _said(piece: Piece, whole: Way, parts: Way, hand: Hand, trimmed: float, system: str) -> tuple[str, ...]:
    said = [_days(f"The {piece.name}, {hand.told}", parts), _days("Whole", whole)]
    safe = parts.protected and whole.protected
    there, here = (parts.cooked, whole.cooked) if safe else (parts.out, whole.out)
    if there is not None and here is not None:
        saved, until = here - there, "" if safe else " until it has its salt"
        if saved > ABOUT * here:
            said.append(f"{hand.doing} saves {units.roughly(saved)}{until}.")
        elif -saved > ABOUT * here:
            said.append(f"{hand.doing} costs {units.roughly(-saved)}{until}.")
        else:
            said.append(f"{hand.doing} saves no days worth telling.")
    named = ((hand.short, parts), ("whole", whole))
    said += [NOT_PROTECTED.format(units.capital(name)) for name, way in named if not way.protected]
    for name, way in named:
        if way.soak is not None and way.soak.value and way.soak.value >= NO_SOAK:
            waters = (
                ""
                if way.soak_water is None
                else f" in {units.show(way.soak_water, 'water', system, digits=2)} of water"
            )
            said.append(f"Soak after that, {name}: {units.roughly(way.soak.value)}{waters}.")
        elif way.soak is not None and way.soak.value is None:
            said.append(f"Soak after that, {name}: no soak of two days brings it to eating salt.")
    if all(way.soak is not None and way.soak.value is not None and way.soak.value < NO_SOAK for way in (whole, parts)):
        said.append("Neither way needs a soak.")
    if whole.brine_water is not None and parts.brine_water is not None:
        water = [
            f"{units.show(kilograms, 'water', system, digits=2)} {name}"
            if math.isfinite(kilograms)
            else f"none {name}, for the vessel is too low"
            for name, kilograms in ((hand.short, parts.brine_water), ("whole", whole.brine_water))
        ]
        said.append(
            f"Water that covers the meat in this vessel: {', '.join(water)}. Weigh out salt and cure for the one you take."
        )
    if trimmed > 1e-9 * piece.weight:
        said.append(f"Fat trimmed off: {units.show(trimmed, 'mass', system, digits=2)}.")
    return (*said, hand.rule) if hand.rule else tuple(said)


def _days(who: str, way: Way) -> str:
    if way.out is None:
        return f"{who}: it does not get its salt in {units.roughly(LOOK_AHEAD)}."
    if not way.protected:
        return f"{who}: it has its salt after {_span(way.last('pull'))}, but it is not ready to cook."
    out = f"{who}: out after {_span(way.last('pull'))}"
    if way.cooked is None:
        return f"{out}; no rest evens it out."
    if all(each.bag for each in way.ready) or way.cooked - way.out < ABOUT * way.out:
        return f"{who}: out and ready to cook after {_span(way.last('ready'))}."
    return f"{out}. Rest it; cook it after {_span(way.last('ready'))}."


def _span(seconds: np.ndarray) -> str:
    """ "9 days (6 to 15 days)": usual meat, then fast and slow."""
    middle, *ends = (
        units.roughly(each) if np.isfinite(each) else f"more than {units.roughly(LOOK_AHEAD)}" for each in seconds
    )
    return f"{middle} ({ends[1]} to {ends[0]}, fast to slow meat)"


__all__ = ["BothWays", "Way", "both_ways", "folded_or_whole", "split_or_whole", "trimmed_or_whole"]
