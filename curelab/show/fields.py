"""Pieces in three dimensions as numbers: the slowest spot, the section and the whole field, for reports, JSON and tables."""

from __future__ import annotations

from typing import Any

from .. import units
from ..engine.history import History
from ..engine.run import FREE

QUANTITIES = ("salt", FREE)
BESIDE = 0.002  # m beside the middle of the width: less cannot be seen on a board (judgement)


def solid_names(history: History) -> list[str]:
    """Names of the pieces in three dimensions."""
    return [piece.name for piece in history.pieces if piece.solid() is not None]


def slowest(history: History, time: float, piece: str) -> dict[str, float]:
    """Where salt comes last, at a time [s]."""
    along, depth = (float(each) for each in history.slowest_place("salt", time, piece))
    return {"along_m": along, "depth_m": depth, "across_m": float(history.slowest_across("salt", time, piece))}


def slowest_words(history: History, time: float, piece: str, system: str = "metric") -> str:
    """The same in words; nothing for a piece without a length."""
    if piece not in solid_names(history):
        return ""
    found = slowest(history, time, piece)
    along, depth, beside = (
        units.show(abs(found[name]), "length", system, digits=2) for name in ("along_m", "depth_m", "across_m")
    )
    side = (
        f", {beside} {'left' if found['across_m'] < 0 else 'right'} of the middle"
        if abs(found["across_m"]) > BESIDE
        else ""
    )
    return f"middle: the slowest spot, {along} from the head and {depth} deep{side}."


def sections(history: History) -> list[dict[str, Any]]:
    """Salt in the section along each piece in three dimensions, at the end, SI; lists of lists, along and then from face to face."""
    found = []
    for piece in solid_names(history):
        field = history.section("salt", history.length, piece)
        found.append(
            {
                "piece": piece, "quantity": "salt", "basis": field.basis, "time_s": history.length, "along_m": field.along.tolist(),
                "depth_m": field.depth.tolist(), "fraction": field.values.tolist(),
            }
        )  # fmt: skip
    return found


def rows(history: History) -> list[dict[str, Any]]:
    """QUANTITIES at every node of the pieces in three dimensions, as each stage ends, SI: one row for each."""
    found = []
    for index in (number for number in range(len(history.stages)) if history.has(number)):
        end = history.span(index)[1]
        for piece in solid_names(history):
            for quantity in QUANTITIES:
                field = history.field(quantity, end, piece)
                head = {"stage": index + 1, "piece": piece, "quantity": quantity, "basis": field.basis}
                found += [head | row for row in field.rows()]
    return found
