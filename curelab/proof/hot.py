"""Cooling and cooking that was measured, row by row, beside what is predicted: nothing is tuned to it.

Every row of measured_heat.csv gives a piece, how warm it was, and its bath; where a size, a bath or a start was not printed, what is assumed stands
in it. Predicted is the middle of 64 draws and their band, 8 cases of 10, over films, conduction and the ruler.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..engine.simulate import simulate
from ..matter.tissue import tissue
from ..recipe.piece import Piece
from ..recipe.stages import Chill, Oven, Simmer, Stage
from ..sources import default_numbers, read_table
from ..spread.draws import draw
from ..spread.uncertain import inputs_for
from ..units import HOUR
from .case import Table

DRAWS = 64
COLD, BENCH = 48 * HOUR, 295.15  # how long a cooling is followed; K of a kitchen in which a roast rests (assumed)
TISSUE = "lean pork"
LONG = 1.56  # length over diameter of the hams of 7.26 kg and 178 mm in the same table, where a row prints no size


@dataclass(frozen=True)
class Measured:
    """One printed figure: row, what, and in h or K as printed; the middle, low and high of what is predicted."""

    row: str
    item: str
    what: str
    printed: float
    middle: float
    low: float
    high: float
    assumed: str

    @property
    def inside(self) -> bool:
        """Whether it lies in the band, to the last digit that was printed."""
        digit = 0.05 if "h" in self.what.split()[-1] else 0.5
        return self.low - digit <= self.printed <= self.high + digit


def piece_of(row: dict[str, str]) -> Piece:
    """The piece of a row; its length follows from its weight, and a cylinder without a size has the shape of hams that have one."""
    weight = float(row["weight_kg"])
    volume = weight / tissue(TISSUE).density
    if row["shape"] == "block":
        side, _ = (0.001 * float(each) for each in row["across_mm"].split(" x "))
        return Piece(shape="block", thickness=side, width=side, length=volume / side**2, weight=weight, tissue=TISSUE)
    across = 0.001 * float(row["across_mm"]) if row["across_mm"] else (4 * volume / np.pi / LONG) ** (1 / 3)
    length = volume / (np.pi * across**2 / 4)
    return Piece(shape="cylinder", thickness=across, length=length, weight=weight, tissue=TISSUE)


def stages_of(row: dict[str, str]) -> tuple[Stage, ...]:
    """Its baths, one after the other."""
    found: list[Stage] = []
    for part in row["bath"].split("; "):
        medium = re.match(r"[a-z ]+?(?= -?\d)", part)
        assert medium is not None
        points = re.findall(r"(-?[\d.]+) at ([\d.]+) h", part)
        lasts = re.search(r"for ([\d.]+) h", part)
        more: dict[str, Any] = {} if found else {"begins_at": 273.15 + float(row["start_C"])}
        steady = 273.15 + float(part[medium.end() :].split()[0])
        program = [[float(time) * HOUR, 273.15 + float(value)] for value, time in points] or steady
        if medium[0] in ("simmer", "oven"):
            goal = re.search(r"to ([\d.]+):", row["printed"])
            assert goal is not None
            more |= {"until": f"core temperature >= {goal[1]} degC", "at_most": 24 * HOUR}
            if medium[0] == "simmer":
                found.append(Simmer(water=2 * float(row["weight_kg"]), temperature=program, **more))
            else:
                found.append(Oven(temperature=program, humidity=0.05, **more))
            found.append(Chill(medium="fridge air", temperature=BENCH, lasts=2 * HOUR))
        else:
            found.append(
                Chill(medium=medium[0], temperature=program, lasts=float(lasts[1]) * HOUR if lasts else COLD, **more)
            )
    return tuple(found)


def measured() -> tuple[Measured, ...]:
    """Every printed figure of measured_heat.csv beside the prediction."""
    return tuple(each for row in read_table("measured_heat.csv") for each in _predicted(row))


def _predicted(row: dict[str, str]) -> list[Measured]:
    piece, stages = piece_of(row), stages_of(row)
    used = simulate(piece, stages, cells=12).numbers.used
    inputs = [
        each for each in inputs_for((piece,), stages, "none", default_numbers(), used)
        if each.key.startswith(("heat.", "thickness"))
    ]  # fmt: skip
    many = simulate(piece, stages, draws=draw(inputs, DRAWS, seed=0).columns)
    heats = stages[0].until is not None
    sign = ">=" if heats else "<="
    found = []
    for said in row["printed"].split("; "):
        what, value = said.split(": ")
        if what.startswith("to "):
            name = f"core {what} °C, h"
            values = many.first_time(f"core temperature {sign} {what[3:]} degC") / HOUR
        elif what == "rise":
            name = "core rises after removal, °C"
            begin = many.begin(1)[:, None]
            after = many.temperature(begin + np.linspace(0, 2 * HOUR, 121), "core")
            values = after.max(axis=1) - after[:, 0]
        else:
            name = f"core {what}, °C"
            values = many.temperature(float(what.split()[1]) * HOUR, "core")[:, 0] - 273.15
        low, middle, high = np.quantile(values, [0.1, 0.5, 0.9], method="nearest")
        found.append(Measured(row["id"], row["item"], name, float(value.split()[0]), middle, low, high, row["assumed"]))
    return found


def measured_heat() -> Table:
    """Every row, with what was assumed; those outside the band say so."""
    every = measured()
    rows = tuple(
        (
            each.row, each.item, each.what, f"{each.printed:g}", f"{each.middle:.1f} ({each.low:.1f} to {each.high:.1f})",
            "inside" if each.inside else f"outside: ours is {'more' if each.middle > each.printed else 'less'}", each.assumed,
        )
        for each in every
    )  # fmt: skip
    inside = sum(each.inside for each in every)
    return Table(
        "Cooling and cooking that was measured, beside what is predicted",
        ("row", "item", "what", "printed", "predicted (8 cases of 10)", "", "assumed"),
        rows,
        f"{inside} of {len(every)} printed figures lie in their band. Nothing was tuned to them. Air speeds, wraps, bone and the shape of hams are "
        "known roughly, so that a figure outside says as much of those as of the model. Logs of 120 mm that were at 50 °C in half an hour cooled faster "
        "than meat conducts, whatever is around it. Nearly all that is outside cooled or cooked sooner than predicted: errors are on the safe side in "
        "cooling, and on the long side in cooking.",
    )
