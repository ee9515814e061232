"""A history as a few lines of text, rows for reading, and tables of pandas, which is loaded when one is asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from .. import units
from .run import FREE, QUANTITIES

if TYPE_CHECKING:
    import pandas

    from .history import History

BASES = ("meat", "green weight", "water phase")


def summary(history: History) -> list[dict[str, str]]:
    """Per stage and piece, for reading: how long, why it ended, salt and nitrite at its end. With draws, of the first."""
    one = history.of(0) if history.drawn else history
    rows = []
    for number in [n for n in range(len(one.stages)) if one.has(n)]:
        _begin, end = one.span(number)
        for piece in one.pieces:
            rows.append(
                {
                    "stage": one.stages[number].tag,
                    "piece": piece.name,
                    "ended": one.ending(number),
                    "salt, average": units.show(one.average("salt", end, piece.name), "fraction"),
                    "salt, core": units.show(one.core("salt", end, piece.name), "fraction"),
                    "salt, surface": units.show(one.surface("salt", end, piece.name), "fraction"),
                    "nitrite in, average": _ppm(one.average("nitrite", end, piece.name)),
                    "free nitrite, core": _ppm(one.core(FREE, end, piece.name)),
                    "weight": units.show(one.weight(end, piece.name), "mass"),
                }
            )
    return rows


def lines(history: History) -> list[str]:
    """A line for each stage and piece."""
    many = f", {history.count} draws; the first:" if history.drawn else ""
    length = units.show(float(np.ravel(history.length)[0]), "time")
    said = [f"History of {', '.join(piece.name for piece in history.pieces)}: {length}{many}"]
    for row in summary(history):
        said.append(
            f"  {row['stage']}, {row['piece']}: {row['ended']}; salt {row['salt, average']} (core {row['salt, core']}), "
            f"nitrite in {row['nitrite in, average']}, free at the core {row['free nitrite, core']}"
        )
    return said


def readings_frame(history: History, times: Any) -> pandas.DataFrame:
    """One row per (draw,) time, piece, quantity and place, with the fraction on each basis."""
    rows = [
        (piece, quantity, place)
        for piece in history.pieces
        for quantity in QUANTITIES
        for place in ("core", "average", "surface")
    ]

    def columns(when, piece, quantity, place):
        values = {basis.replace(" ", "_"): history.at(place, quantity, when, piece.name, basis) for basis in BASES}
        return {"piece": piece.name, "quantity": quantity, "place": place}, values

    return _tidy(history, times, [lambda when, row=row: columns(when, *row) for row in rows])


def profiles_frame(history: History, times: Any) -> pandas.DataFrame:
    """One row per (draw,) time, piece, quantity and depth, with the fraction on its default basis."""
    when = np.atleast_1d(np.asarray(times, dtype=float))
    parts = []
    for piece in history.pieces:
        for quantity in QUANTITIES:
            profile = history.profile(quantity, when, piece.name)

            def one(asked, profile=profile, piece=piece, quantity=quantity):
                fixed = {"piece": piece.name, "quantity": quantity, "basis": profile.basis}
                depth = np.broadcast_to(profile.depth, profile.values.shape)
                return fixed, {"depth_m": depth, "fraction": profile.values}

            parts.append(one)
    frame = _tidy(history, when, parts)
    first = [name for name in ("draw", "time_s", "piece", "quantity", "depth_m", "fraction", "basis") if name in frame]
    return frame[first]


def _tidy(history: History, times: Any, parts: list) -> pandas.DataFrame:
    """Parts `one(times)` -> (fixed columns, values (t, ...) or (d, t, ...)), one after the other."""
    import pandas

    when = np.atleast_1d(np.asarray(times, dtype=float))
    frames = []
    for one in parts:
        fixed, values = one(when)
        shape = next(iter(values.values())).shape
        axis = 1 if history.drawn else 0
        time = np.broadcast_to(when.reshape((1,) * axis + (-1,) + (1,) * (len(shape) - axis - 1)), shape)
        head = {"draw": np.broadcast_to(np.arange(shape[0]).reshape((-1,) + (1,) * (len(shape) - 1)), shape).ravel()}
        frames.append(
            pandas.DataFrame(
                {**(head if history.drawn else {}), "time_s": time.ravel(), **fixed}
                | {key: value.ravel() for key, value in values.items()}
            )
        )
    return pandas.concat(frames, ignore_index=True)


def _ppm(fraction: float) -> str:
    return f"{1e6 * fraction:.0f} mg/kg"
