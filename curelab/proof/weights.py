"""Water that moves: weights after a cure beside printed ones, and the model beside a nonlinear solve.

Recipes that a source does not print are said in `cured_weights.csv`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..engine.simulate import simulate
from ..matter import solutes
from ..matter.tissue import own_salt, water_change
from ..recipe.piece import Piece
from ..recipe.stages import Bath, Brine, Rest, SealedCure, Soak, Stage
from ..sources import default_numbers, read_table
from ..units import DAY
from .case import Case, Table
from .nonlinear import Slab, stretch

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


def printed_weights() -> Table:
    """`weights` as a table, with what had to be assumed."""
    rows = tuple((row.name, f"{row.printed:g}", f"{row.ours:.1f}", row.source, row.note) for row in weights())
    return Table(
        "Weight after a cure, % of the fresh weight", ("meat and cure", "printed", "model", "source", "assumed"), rows,
        "The curve of water held was set with these weights in view, so they judge it only in part; what is published leaves six points of the green "
        "weight open on both sides.",
    )  # fmt: skip


HALF, SOAK_WATER = 0.03, 1.5  # m; kg of water in each soak per kg of water in the raw meat
WEAK_AND_STRONG = (
    (0.08, 1.0, 10.0),
    (0.17, 2.0, 4.0),
)  # salt per water, kg of water per kg of water in the raw meat, days


def moving_water() -> Case:
    """Salt and weight of a slab after a brine, a rest and two waters of a soak, weak and strong, against the nonlinear solve."""
    numbers = default_numbers().with_values({"film.stirred": 1e3})  # the solve has bare faces
    piece = Piece(thickness=2 * HALF, weight="1 kg", tissue="lean beef")
    own, raw, pace = own_salt(numbers), piece.water(numbers), solutes.diffusivity("salt", 276.15, "lean beef", numbers)

    def held(w: np.ndarray) -> np.ndarray:
        return np.asarray(water_change(np.minimum(w / (1 + w), 0.26), numbers))

    def change(w: np.ndarray, first: np.ndarray) -> np.ndarray:
        return (held(np.maximum(w, np.minimum(0.05 / 0.95, first))) - held(first)) / raw

    labels, theirs, ours = [], [], []
    for level, ratio, days in WEAK_AND_STRONG:
        brine = Brine(
            bath=Bath(water=ratio * raw, salt=level * ratio * raw), temperature=COLD, lasts=days * DAY, lying=False, stirred=True,
        )  # fmt: skip
        waters = [{"amount": f"{SOAK_WATER * raw} kg", "lasts": "6 h", "temperature": COLD}] * 2
        history = simulate(
            piece, [brine, Rest(temperature=COLD, lasts="2 d"), Soak(waters=waters, stirred=True)], numbers=numbers
        )
        slab, end = Slab.raw(own), 0.0
        baths = ((ratio, level), None, (SOAK_WATER, 0.0), (SOAK_WATER, 0.0))
        for what, bath, lasts in zip(
            ("brine", "rest", "first water", "second water"), baths, (days, 2.0, 0.25, 0.25), strict=True
        ):
            slab, end = stretch(slab, HALF, float(pace), lasts * DAY, bath, change), end + lasts * DAY
            weight = piece.weight + raw * (slab.water.sum() - 1 + slab.salt - own)
            labels += [
                f"{100 * level:g} % of its water, {what}: salt",
                f"{100 * level:g} % of its water, {what}: weight",
            ]
            theirs += [float(f"{each:.4g}") for each in (raw * slab.salt / weight, weight)]
            ours += [float(history.average("salt", end)), float(history.weight(end))]
    error = float(np.max(np.abs(np.array(ours) / theirs - 1)))
    return Case(
        "Water that moves with its salt", "finite volumes of this notebook, each of which swells for itself, solved by scipy's BDF", "computed",
        tuple(labels), tuple(theirs), tuple(ours), "kg/kg; kg", error, 1e-2, "the figure itself",
        remark="The curve of water held is the same in both, so this judges how it is solved, and not the curve. The meat takes up "
        f"{100 * max(np.array(theirs[1::2]) - 1):.0f} % of its weight at most here.",
    )  # fmt: skip
