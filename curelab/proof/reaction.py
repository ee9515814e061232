"""Nitrite that is lost while it diffuses: the steady profile of Thiele, and the way to it.

With the face held at 1, diffusivity D, half thickness l and first-order loss k, the Thiele modulus is phi = l (k / D)^(1/2). At the end the
level is cosh(phi x) / cosh(phi) in a plane sheet, I0(phi r) / I0(phi) in a cylinder and sinh(phi r) / (r sinh(phi)) in a sphere.
On the way the mode of rate q^2 without loss has the rate q^2 + phi^2, and its height is what the steady profile leaves to it.
"""

from __future__ import annotations

import numpy as np
from scipy.special import i0e, i1e

from ..engine.run import FREE
from ..recipe.stages import Bath, Brine
from ..show.pictures import Lines
from ..sources import default_numbers
from ..units import DAY
from . import meat, series
from .case import THEIRS, Case, both, largest
from .meat import BARE, COLD, HALF, NAMES

NITRITE = 2e-4  # kg per kg of water in the bath


def steady(shape: str, phi: float, x: np.ndarray) -> np.ndarray:
    """Final level (x,) over that at the face; x from the middle (0) to the face (1)."""
    x = np.asarray(x, dtype=float)
    fall = np.exp(-phi * (1 - x))
    if shape == "half slab":
        return fall * (1 + np.exp(-2 * phi * x)) / (1 + np.exp(-2 * phi))
    if shape == "cylinder":
        return i0e(phi * x) / i0e(phi) * fall
    safe = np.where(x > 0, x, 1.0)
    ball = fall * (1 - np.exp(-2 * phi * safe)) / (safe * (1 - np.exp(-2 * phi)))
    return np.where(x > 0, ball, phi / np.sinh(phi))


def effectiveness(shape: str, phi: float) -> float:
    """Mean of the final level over that at the face."""
    if shape == "half slab":
        return float(np.tanh(phi) / phi)
    if shape == "cylinder":
        return float(2 * i1e(phi) / (phi * i0e(phi)))
    return float(3 / phi * (1 / np.tanh(phi) - 1 / phi))


def on_the_way(shape: str, phi: float, x: np.ndarray, fo: np.ndarray) -> np.ndarray:
    """Level (t, x): steady minus modes; each mode of the loss-free series keeps q^2 / (q^2 + phi^2) of its height."""
    free = series.constant(shape)
    slowed = series.Exact(shape, free.q, free.amplitude * free.q**2 / (free.q**2 + phi**2), free.mean)
    gone = 1 - slowed.profile(x, fo)  # without the loss of the modes themselves
    return steady(shape, phi, x) - gone * np.exp(-(phi**2) * np.asarray(fo))[:, None]


def modulus() -> float:
    """phi of a piece of 8 cm at 3 degC, from the printed rows."""
    diffusivity = default_numbers()["ratio.nitrite"].value * meat.salt_diffusivity()
    return float(HALF * np.sqrt(meat.nitrite_loss() / diffusivity))


def loss_against_diffusion(shape: str = "half slab", cells: int = 60) -> Case:
    """Nitrite in an endless bath on bare faces, for 400 days: far beyond any cure, so that nothing moves any more."""
    bath = Bath(water="4 kg", salt="0.2 kg", nitrite=4 * NITRITE)
    stage = Brine(bath=bath, temperature=COLD, lasts=400 * DAY, lying=False, running=True)
    history = meat.run(stage, BARE, cells, shape=shape)
    phi, end = modulus(), np.array([400 * DAY])
    diffusivity = default_numbers()["ratio.nitrite"].value * meat.salt_diffusivity()
    way = np.array([5.0, 10.0, 20.0, 40.0]) * DAY
    x, now = meat.across(history, np.concatenate([way, end]), FREE)
    now /= NITRITE
    fo = diffusivity * way / HALF**2
    held = history.amount(FREE, end)[0] / (NITRITE * history.pieces[0].water())
    error = largest(
        now[-1] - steady(shape, phi, x), held - effectiveness(shape, phi), now[:-1] - on_the_way(shape, phi, x, fo)
    )
    core = meat.middle(history, np.concatenate([way, end]), FREE) / NITRITE
    labels = [f"middle, day {t / DAY:.0f}" for t in way] + ["middle at the end", "mean at the end"]
    theirs = [
        *on_the_way(shape, phi, np.zeros(1), fo)[:, 0],
        float(steady(shape, phi, np.zeros(1))[0]),
        effectiveness(shape, phi),
    ]
    half = len(x) // 2
    grid = np.linspace(0, 1, 41)
    ten = on_the_way(shape, phi, grid, fo[1:2])[0]
    ours, limit = both("at the end", grid, steady(shape, phi, grid), x[half:], now[-1, half:])
    early, dashes = both("day 10", grid, ten, x[half:], now[1, half:])
    picture = Lines(
        f"Free nitrite in a {NAMES[shape]}: it never fills the middle", "from the middle (0) to the face (1)", "level over that of the bath",
        (ours, limit, early, dashes),
    )  # fmt: skip
    assert limit.colour == THEIRS
    return Case(
        f"{NAMES[shape].capitalize()} with first-order loss (Thiele modulus {phi:.2f})",
        "E. W. Thiele, Ind. Eng. Chem. 31 (1939) 916 for the steady profile (citation from memory); the way there from Crank's series",
        "derived", tuple(labels), tuple(theirs), (*core, held), "of the level of the bath", error, 3e-4, "the level of the bath", picture,
        "The speed of the loss is from memory (Nordin 1969, for cooked ham). The case proves the arithmetic, not the speed.",
    )  # fmt: skip
