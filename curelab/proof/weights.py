"""Weight after a cure: what was printed beside what the model says. Recipes that a source does not print are said in `cured_weights.csv`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ..engine.simulate import simulate
from ..recipe.piece import Piece
from ..recipe.stages import Bath, Brine, SealedCure, Stage
from ..sources import read_table

COLD = "3 degC"
GALLON = 3.785411784  # litres in a US gallon, exact
POUND = 0.45359237  # kg, exact
HAM = Piece(name="ham", thickness="14 cm", weight="6.8 kg", tissue="lean pork", fat_cap="15 mm")
BELLY = Piece(name="belly", thickness="4.5 cm", weight="5 kg", tissue="lean pork", fat_cap="12 mm")
LOIN = Piece(name="loin", thickness="7 cm", weight="3 kg", tissue="pork loin")


@dataclass(frozen=True)
class Weighed:
    """A printed weight and ours, both in % of the fresh weight."""

    name: str
    process: str
    printed: float
    ours: float
    source: str
    note: str


def _rubs(piece: Piece, salt: float, sugar: float, days: tuple[float, ...]) -> list[Stage]:
    share = piece.weight / len(days)
    return [SealedCure(salt=salt * share, sugar=sugar * share, temperature=COLD, lasts=f"{each:g} d") for each in days]


def _brine(piece: Piece, water: float, salt: float, sugar: float, days: float) -> list[Stage]:
    bath = Bath(water=water, salt=salt, sugar=sugar)
    return [Brine(bath=bath, temperature=COLD, lasts=f"{days:g} d", turn_every=f"{days / 3:g} d")]


CURES: dict[str, Callable[[], tuple[Piece, list[Stage]]]] = {
    "awi108_brine": lambda: (
        HAM,
        _brine(HAM, 4.5 * GALLON * HAM.weight / (100 * POUND), 0.08 * HAM.weight, 0.02 * HAM.weight, 60),
    ),
    "awi108_dry": lambda: (HAM, _rubs(HAM, 0.08, 0.02, (7, 7, 26))),
    "bulletin1086_dry": lambda: (BELLY, _rubs(BELLY, 0.03, 0.0, (33,))),
    "scirep2019_dry": lambda: (HAM, _rubs(HAM, 0.04, 0.0, (21,))),
    "pumped2013_brine": lambda: (LOIN, _brine(LOIN, 4.0, 4.0 * 0.156 / 0.844, 0.0, 13)),
}


def weights() -> tuple[Weighed, ...]:
    """Every row of `cured_weights.csv` beside the model, in the order of the file."""
    found = []
    for row in read_table("cured_weights.csv"):
        piece, stages = CURES[row["id"]]()
        ours = 100 * simulate(piece, stages).weight() / piece.weight
        found.append(
            Weighed(f"{row['meat']}, {row['process']}", row["process"], float(row["printed"]), ours, row["source"], row["note"])
        )  # fmt: skip
    return tuple(found)
