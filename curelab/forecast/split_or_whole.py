"""One cut whole, or in two: days until it is cured, soak, and water, both ways."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from .. import progress, units
from ..engine.simulate import simulate
from ..fields import refuse
from ..recipe.cutting import split
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..results import Shown
from ..sources import Numbers, default_numbers
from ..weighing.vessel import Vessel, water_to_cover
from .answer import LOOK_AHEAD, Answer
from .how_long import time_to
from .how_much_soak import soak_needed

CURED = "core salt >= 90 % of equilibrium"
ABOUT = 0.05  # relative: two waits nearer to each other than that are told as alike (judgement; the pace is known to a factor)
RULE = "Two muscles of one cut are often split because they cook differently (common practice, no source)."


@dataclass(frozen=True)
class Way:
    """One way to do it: the pieces; days until every one of them is cured; the soak that brings them to eating salt after that, None where
    they are not cured; kg of water for that soak, and for a brine that covers them in the vessel, None without one.
    """

    pieces: tuple[Piece, ...]
    days: Answer
    soak: Answer | None
    soak_water: float | None
    brine_water: float | None


@dataclass(frozen=True, repr=False)
class SplitOrWhole(Shown):
    """Both ways, and the answer in a few sentences. kind: whether it was split "across" or "along the seam"; trimmed: kg of fat taken off."""

    whole: Way
    parts: Way
    kind: str
    trimmed: float
    sentences: tuple[str, ...]

    def lines(self) -> list[str]:
        return list(self.sentences)

    def rows(self) -> list[dict[str, Any]]:
        """One row for each way, SI."""
        return [
            {
                "way": name, "pieces": [piece.name for piece in way.pieces], "weight": sum(piece.weight for piece in way.pieces),
                "days": way.days.value, "days_low": way.days.low, "days_high": way.days.high,
                "soak": None if way.soak is None else way.soak.value, "soak_water": way.soak_water, "brine_water": way.brine_water,
            }
            for name, way in (("whole", self.whole), ("split", self.parts))
        ]  # fmt: skip


def split_or_whole(
    piece: Piece,
    stages: Stage | Sequence[Stage],
    *,
    at: str | float | None = None,
    along: str | None = None,
    until: str = CURED,
    vessel: Vessel | None = None,
    at_most: Any = LOOK_AHEAD,
    loss: str = "nordin",
    numbers: Numbers | None = None,
    system: str = "metric",
) -> SplitOrWhole:
    """A piece alone in a cure, whole and split `at` a place or `along` its "seam" (see `recipe.cutting.split`), both in the same brine.

    stages: the cure, weighed out, and what goes before it; it lasts until every piece meets `until`. The bands are those of slow and fast
    meat. Raises InputError for what cannot be split, and for stages of which the last does not cure.

    >>> from curelab import Bath, Brine
    >>> block = Piece(name="loin", shape="block", thickness="8 cm", width="10 cm", length="12 cm", weight="1 kg")
    >>> cure = Brine(bath=Bath(water="2 kg", salt="75 g"), temperature="3 degC", lasts="10 d", lying=False)
    >>> found = split_or_whole(block, cure, at="6 cm")
    >>> found.parts.days.value < found.whole.days.value
    True
    """
    line = list(in_order(stages))
    if not line[-1].cures:
        raise refuse(
            "stages", "the last stage is no cure; give the cure whose days are asked for, and what goes before it"
        )
    parts = split(piece, at=at, along=along)
    base = numbers or default_numbers()
    eating = f"average salt <= {100 * base.si('taste.normal_high'):g} %"
    ways = []
    with progress.counted("comparing it whole and split", 4) as done:
        for pieces in ((piece,), parts):
            days = time_to(until, pieces, line, at_most=at_most, loss=loss, numbers=numbers)
            done()
            soak, soaked = None, None
            if days.value is not None:
                cured = simulate(pieces, [*line[:-1], line[-1].lasting(days.value)], loss=loss, numbers=numbers)
                each = 2 * sum(one.weight for one in pieces)
                soak, plans = soak_needed(eating, cured, water=each, system=system)
                soaked = next(
                    (plan.water for plan in plans if plan.lasts == soak.value), 0.0 if soak.value == 0 else None
                )
            brine = None if vessel is None else water_to_cover(vessel, pieces, base)
            ways.append(Way(tuple(pieces), days, soak, soaked, brine))
            done()
    kind = "across" if at is not None else "along the seam"
    trimmed = piece.weight - sum(part.weight for part in parts)
    return SplitOrWhole(ways[0], ways[1], kind, trimmed, _said(piece, ways[0], ways[1], kind, trimmed, system))


def _said(piece: Piece, whole: Way, parts: Way, kind: str, trimmed: float, system: str) -> tuple[str, ...]:
    how = "cut across" if kind == "across" else "split along the seam"
    said = [_days(f"The {piece.name}, {how}", parts.days), _days("Whole", whole.days)]
    if parts.days.value is not None and whole.days.value is not None:
        saved = whole.days.value - parts.days.value
        if saved > ABOUT * whole.days.value:
            said.append(f"Splitting saves {units.roughly(saved)}.")
        else:
            said.append("Splitting saves no days worth telling.")
    for name, way in (("split", parts), ("whole", whole)):
        if way.soak is not None and way.soak.value:
            waters = (
                ""
                if way.soak_water is None
                else f" in {units.show(way.soak_water, 'water', system, digits=2)} of water"
            )
            said.append(f"Soak after that, {name}: {units.roughly(way.soak.value)}{waters}.")
        elif way.soak is not None and way.soak.value is None:
            said.append(f"Soak after that, {name}: no soak of two days brings it to eating salt.")
    if all(way.soak is not None and way.soak.value == 0 for way in (whole, parts)):
        said.append("Neither way needs a soak.")
    if whole.brine_water is not None and parts.brine_water is not None:
        water = [units.show(way.brine_water, "water", system, digits=2) for way in (parts, whole)]  # type: ignore[arg-type]
        said.append(
            f"Water that covers the meat in this vessel: {water[0]} split, {water[1]} whole. Weigh out salt and cure for the one you take."
        )
    if trimmed > 1e-9 * piece.weight:
        said.append(f"The fat of the seam, {units.show(trimmed, 'mass', system, digits=2)}, is trimmed off.")
    return (*said, RULE)


def _days(who: str, days: Answer) -> str:
    if days.value is None:
        return f"{who}: not cured in {units.roughly(LOOK_AHEAD)}."
    low = units.roughly(days.low) if days.low is not None else ""
    high = f"{units.roughly(days.high)}" if days.high is not None else f"more than {units.roughly(LOOK_AHEAD)}"
    return f"{who}: cured after {units.roughly(days.value)} ({low} to {high}, fast to slow meat)."


__all__ = ["SplitOrWhole", "Way", "split_or_whole"]
