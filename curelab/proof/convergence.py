"""How fast the error falls with the number of cells, inside and at the boundary, apart, through the front door; and exactness in time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..engine.history import History
from ..engine.run import FREE
from ..recipe.stages import Bath, Brine, Rest, SealedCure, Soak, Stage, Water
from ..show.pictures import Lines
from ..units import DAY
from . import crank, layered, meat, series
from .case import OURS, Case, Series, Table
from .meat import BARE, COLD, SHAPES

CELLS = (15, 30, 60, 120)
TIMES = np.array([4.0, 8.0, 16.0, 40.0]) * DAY
FILM = 3e-8  # m/s; with it a face has a level of its own to err in


@dataclass(frozen=True)
class Falling:
    """Errors of one reading with growing numbers of cells, over the level of the bath; orders between neighbours."""

    shape: str
    where: str
    cells: tuple[int, ...]
    errors: tuple[float, ...]

    @property
    def orders(self) -> tuple[float, ...]:
        """log(error ratio) / log(cell ratio) for each step; 2 means a quarter of the error for twice the cells."""
        steps = zip(self.errors, self.errors[1:], self.cells, self.cells[1:], strict=False)
        return tuple(float(np.log(a / b) / np.log(n / m)) for a, b, m, n in steps)


def _history(shape: str, cells: int) -> History:
    stage = Brine(
        bath=Bath(water="4 kg", salt=4 * crank.SALT), temperature=COLD, lasts=crank.LASTS, lying=False, running=True
    )
    return meat.run(stage, FILM, cells, shape=shape)


def errors(shape: str, cells: tuple[int, ...] = CELLS) -> tuple[Falling, ...]:
    """Middle, everywhere inside, outermost cell, face and uptake, of a body behind a still layer, against Crank's series."""
    exact, fo = series.resisted(shape, crank.biot(FILM)), crank.fourier(TIMES)
    found: dict[str, list[float]] = {"middle": [], "inside": [], "outermost cell": [], "face": [], "taken up": []}
    for count in cells:
        history = _history(shape, count)
        x, levels = meat.across(history, TIMES)
        half = len(x) // 2  # from the middle outwards; the face is last
        apart = np.abs(levels / crank.SALT - exact.profile(x, fo))[:, half:]
        core = np.abs(meat.middle(history, TIMES) / crank.SALT - exact.profile(np.zeros(1), fo)[:, 0])
        taken = np.abs(history.amount("salt", TIMES) / (crank.SALT * history.pieces[0].water()) - exact.uptake(fo))
        for key, value in zip(found, (core, apart[:, :-2], apart[:, -2], apart[:, -1], taken), strict=True):
            found[key].append(float(value.max()))
    return tuple(Falling(shape, where, cells, tuple(values)) for where, values in found.items())


def layered_errors(cells: tuple[int, ...] = (30, 60, 120)) -> Falling:
    """The same for fat on lean: the lean and the uptake of layered.fat_on_lean."""
    return Falling("fat on lean", "lean", cells, tuple(layered.fat_on_lean(count).error for count in cells))


def orders() -> Table:
    """Errors and orders of every shape and place."""
    rows = []
    for shape in SHAPES:
        for falling in errors(shape):
            told = [f"{error:.1e}" for error in falling.errors]
            rows.append((meat.NAMES[shape], falling.where, *told, " ".join(f"{order:.1f}" for order in falling.orders)))
    return Table(
        "Largest error with 15, 30, 60 (the default) and 120 cells, over the level of the bath", ("shape", "where", *map(str, CELLS), "orders"),
        tuple(rows), "An order of 2 means: twice the cells, a quarter of the error. Source: Crank's series behind a surface resistance.",
    )  # fmt: skip


def falling_picture() -> Case:
    """Error everywhere inside against cells, plane sheet; theirs is a straight line of order two through the last point."""
    falling = next(each for each in errors("half slab") if each.where == "inside")
    cells, found = np.log2(falling.cells), -np.log10(falling.errors)
    line = found[-1] + 2 * np.log10(2) * (cells - cells[-1])
    picture = Lines(
        "Digits right, against doublings of the cells", "cells, as a power of two", "digits right",
        (Series("ours", cells, found, OURS), Series("theirs, order two", cells, line, "#000000", "8 8")),
    )  # fmt: skip
    least = min(falling.orders)
    return Case(
        "Order in space of the plane sheet, inside", "second order is what centred differences promise (textbook numerical analysis)", "derived",
        tuple(f"{m} to {n} cells" for m, n in zip(falling.cells, falling.cells[1:], strict=False)), (2.0,) * (len(falling.cells) - 1),
        falling.orders, "order", max(0.0, 2.0 - least), 0.1, "order two, short of it", picture,
    )  # fmt: skip


KINDS: dict[str, Callable[[], list[Stage]]] = {
    "brine": lambda: [_brine()],
    "brine, turned": lambda: [_brine(lying=True, turn_every="1.5 d")],
    "brine, running": lambda: [_brine(running=True)],
    "brine, fridge log": lambda: [_brine(temperature=[["0 h", "2 degC"], ["30 h", "6 degC"], ["60 h", "3 degC"]])],
    "sealed cure": lambda: [SealedCure(salt="60 g", nitrite="0.2 g", temperature=COLD, lasts="6 d")],
    "brine, rest, soak": lambda: [
        _brine(),
        Rest(temperature=COLD, lasts="2 d"),
        Soak(
            waters=[
                Water(amount="3 kg", lasts="8 h", temperature=COLD),
                Water(amount="3 kg", lasts="12 h", temperature=COLD),
            ]
        ),
    ],
}


def _brine(**changes) -> Brine:
    bath = Bath(water="2 kg", salt="100 g", nitrite="0.4 g")
    return Brine(**({"bath": bath, "temperature": COLD, "lasts": "6 d", "lying": False} | changes))


def exact_in_time(shape: str = "half slab", cells: int = 30) -> Case:
    """Every kind of stage read on a coarse and on a fine grid of times, and in one call or many: the same values."""
    worst, labels, coarse_values, fine_values = 0.0, [], [], []
    for kind, stages in KINDS.items():
        history = meat.run(stages(), BARE, cells, shape=shape)
        few = np.array([0.11, 0.4, 0.77, 1.0]) * history.length
        many = np.sort(np.concatenate([few, np.linspace(0.0, 1.0, 997) * history.length]))
        among = np.searchsorted(many, few)
        for quantity in ("salt", FREE):
            profiles = history.profile(quantity, few).values
            scale = profiles.max()
            again = history.profile(quantity, many).values[among]
            alone = np.array([history.profile(quantity, float(time)).values for time in few])
            worst = max(
                worst, float(np.abs(again - profiles).max() / scale), float(np.abs(alone - profiles).max() / scale)
            )
        labels.append(f"middle, {kind}")
        coarse_values.append(float(100 * history.core("salt", few)[-1]))
        fine_values.append(float(100 * history.core("salt", many)[-1]))
    return Case(
        f"Exact in time: {meat.NAMES[shape]}, 4 times asked for, or 1001", "there is no time step, so a reading cannot depend on other readings",
        "derived", tuple(labels), tuple(coarse_values), tuple(fine_values), "% salt at the end", worst, 1e-12, "the largest value of the profile",
        names=("4 times", "1001 times"),
    )  # fmt: skip


__all__ = ["CELLS", "KINDS", "Falling", "errors", "exact_in_time", "falling_picture", "layered_errors", "orders"]
