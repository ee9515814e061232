"""A piece in a bath as the exact problems pose it, through the front door of the library, and its material by hand from the printed rows."""

from __future__ import annotations

import numpy as np

from ..engine.history import History
from ..engine.simulate import CELLS, simulate
from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..sources import Numbers, default_numbers
from ..units import HOUR

HALF = 0.04  # m: half of a thickness of 8 cm, or the radius
COLD = "3 degC"  # a node of the printed diffusivities, so that nothing is interpolated
SHAPES = {
    "half slab": "slab",
    "cylinder": "cylinder",
    "sphere": "sphere",
}  # name in the exact series: name of the piece
NAMES = {"half slab": "plane sheet", "cylinder": "cylinder", "sphere": "sphere"}
BARE = 1e3  # m/s: a film so thin that a face has the level of the bath
UNSALTED = {"meat.own_sodium": 0.0}  # exact answers begin with nothing inside
STILL = UNSALTED | {
    key: 0.0 for key in default_numbers() if key.startswith("water_change.at_")
}  # meat that takes up no water: exact answers know of none that moves


def piece(shape: str = "half slab", **changes) -> Piece:
    """Lean beef, 8 cm through the thickest point."""
    return Piece(**({"shape": SHAPES[shape], "thickness": 2 * HALF, "weight": 2.0} | changes))


def with_film(coefficient: float) -> Numbers:
    """The published numbers with another film (m/s) at every free face, and with no salt of the meat's own, and with water that stays where it is."""
    return default_numbers().with_values({"film.still": coefficient, "film.stirred": coefficient, **STILL})


def salt_diffusivity() -> float:
    """m2/s of salt in lean at 3 degC: the product of two printed rows."""
    numbers = default_numbers()
    return numbers["obstruction.lean"].value * numbers["water.salt_diffusivity.3C"].value * 1e-9


def nitrite_loss() -> float:
    """1/s in lean beef of the usual pH at 3 degC: log10 of the half-life in hours is a + b T + c pH, printed row by row."""
    numbers = default_numbers()
    a, b, c = (numbers[f"nitrite.nordin.{part}"].value for part in ("constant", "per_degC", "per_ph"))
    return float(np.log(2) / (HOUR * 10 ** (a + b * 3 + c * numbers["ph.beef"].value)))


def run(stages: Stage | list[Stage], film: float = BARE, cells: int = CELLS, **changes) -> History:
    """The history of one such piece; `changes` go to `piece`."""
    return simulate(piece(**changes), stages, cells=cells, numbers=with_film(film))


def level(fraction):
    """kg of solute per kg of water, from the fraction of salt and water together."""
    return np.asarray(fraction) / (1 - np.asarray(fraction))


def across(history: History, times: np.ndarray, quantity: str = "salt") -> tuple[np.ndarray, np.ndarray]:
    """(distance from the middle over the half thickness (d,), levels (t, d)), faces included."""
    profile = history.profile(quantity, times, basis="water phase")
    return np.abs(profile.depth / HALF - 1), level(profile.values)


def middle(history: History, times: np.ndarray, quantity: str = "salt") -> np.ndarray:
    """Level (t,) at the core."""
    return level(history.core(quantity, times, basis="water phase"))
