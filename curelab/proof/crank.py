"""Plane sheet, cylinder and sphere against the classical series: face held, bath of limited volume, resistance at the surface."""

from __future__ import annotations

import numpy as np

from ..engine.history import History
from ..matter.tissue import TISSUES
from ..recipe.stages import Bath, Brine
from ..show.pictures import Lines
from ..sources import default_numbers
from ..units import DAY
from . import meat, series
from .case import Case, both, largest
from .meat import COLD, HALF, NAMES

LASTS = 40 * DAY
SALT = 0.05  # kg per kg of water in the bath at the start
SHOWN = np.array([5.0, 10.0, 20.0, 40.0]) * DAY
LATE = np.linspace(0.05, 1.0, 40) * LASTS  # errors count after the first 5 % of a run
BOOK = "J. Crank, The Mathematics of Diffusion, 2nd ed. (Oxford, 1975), eq. "
MEMORY = "; equation numbers from memory"


def fourier(times: np.ndarray) -> np.ndarray:
    """D t / l2 (t,) of salt."""
    return meat.salt_diffusivity() * times / HALF**2


def constant_surface(shape: str = "half slab", cells: int = 60) -> Case:
    """An endless bath on bare faces."""
    history = meat.run(_brine(running=True), shape=shape, cells=cells)
    numbers = {"half slab": "4.17 and 4.18", "cylinder": "5.22 and 5.23", "sphere": "6.18 and 6.20"}[shape]
    return _case(f"{NAMES[shape].capitalize()}, faces held", numbers, history, series.constant(shape), SALT)


def limited_bath(shape: str = "half slab", alpha: float = 1.0, cells: int = 60) -> Case:
    """A stirred bath with `alpha` times the water of the meat, on bare faces."""
    held = meat.piece(shape).water()
    history = meat.run(_brine(water=alpha * held), shape=shape, cells=cells)
    numbers = {"half slab": "4.36 and 4.37", "cylinder": "5.32 and 5.33", "sphere": "6.29 and 6.30"}[shape]
    what = f"{NAMES[shape].capitalize()}, bath with {alpha:g} times the water of the meat"
    return _case(what, numbers, history, series.limited(shape, alpha), SALT * alpha / (1 + alpha))


def biot(film: float) -> float:
    """L = l h / D of Crank: film [m/s] through free water (1000 kg/m3) against salt in the water of the meat.

    At the 3 degC where the film is taken, the layer at the face carries 1000 * film kg/(m2 s), the meat D * density * water share / l.
    """
    lean = TISSUES["lean beef"]
    return 1000 * film * HALF / (meat.salt_diffusivity() * lean.density * lean.water)


def surface_resistance(shape: str = "half slab", film: float = 3e-8, cells: int = 60) -> Case:
    """An endless bath behind a still layer; 3e-8 m/s is the low end of the published range for a face on a wall."""
    history = meat.run(_brine(running=True), film, shape=shape, cells=cells)
    numbers = {"half slab": "4.50 and 4.53", "cylinder": "5.46 and 5.49", "sphere": "6.41 and 6.43"}[shape]
    what = f"{NAMES[shape].capitalize()}, faces behind a still layer (L = {biot(film):.2f})"
    return _case(what, numbers, history, series.resisted(shape, biot(film)), SALT)


def _brine(water: float = 4.0, running: bool = False) -> Brine:
    bath = Bath(water=water, salt=SALT * water)
    return Brine(bath=bath, temperature=COLD, lasts=LASTS, lying=False, running=running)


def _case(what: str, numbers: str, history: History, exact: series.Exact, end: float) -> Case:
    """Compare profile, middle and uptake; `end`: level at which all comes to rest."""
    water = history.pieces[0].water(default_numbers())
    x, levels = meat.across(history, LATE)
    fo = fourier(LATE)
    core, taken = meat.middle(history, LATE), history.amount("salt", LATE) / (end * water)
    error = largest(
        (levels - end * exact.profile(x, fo)) / SALT,
        (core - end * exact.profile(np.zeros(1), fo)[:, 0]) / SALT,
        taken - exact.uptake(fo),
    )
    theirs = np.concatenate([exact.profile(np.zeros(1), fourier(SHOWN))[:, 0], exact.uptake(fourier(SHOWN))])
    ours = np.concatenate([meat.middle(history, SHOWN) / end, history.amount("salt", SHOWN) / (end * water)])
    labels = [f"{place}, day {time / DAY:.0f}" for place in ("middle", "taken up") for time in SHOWN]
    grid = np.linspace(0, 1, 41)
    one = SHOWN[1]
    now_x, now = meat.across(history, np.array([one]))
    fine = end * exact.profile(grid, fourier(np.array([one])))[0] / SALT
    picture = Lines(
        f"{what}: the profile on day {one / DAY:.0f}", "from the middle (0) to the face (1)", "level over that of the bath at the start",
        both("day 10", grid, fine, now_x[len(now_x) // 2 :], now[0, len(now_x) // 2 :] / SALT),
    )  # fmt: skip
    return Case(
        what, f"{BOOK}{numbers}{MEMORY}", "derived", tuple(labels), tuple(theirs), tuple(ours), "of the final level", error, 3e-4,
        "the level of the bath at the start, over all places and 40 times", picture,
    )  # fmt: skip
