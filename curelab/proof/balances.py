"""What closed mass balances and cosine series say of a rest, a long brine and a soak with changed waters."""

from __future__ import annotations

import numpy as np

from ..recipe.stages import Bath, Brine, Rest, Soak, Water
from ..show.pictures import Lines
from ..units import DAY
from . import meat, series
from .case import OURS, THEIRS, Case, Series, both, largest
from .meat import BARE, COLD, HALF

SALT = 0.05


def evened(cured: float, rested: np.ndarray, x: np.ndarray, terms: int = 60) -> np.ndarray:
    """Level (t, x) over that of the bath in a plane sheet that took salt on held faces for Fo = `cured` and then rests sealed.

    The profile of the brine, 1 - sum of a_n cos(q_n x), is written as a sum of cos(m pi x); their inner products are closed
    formulas, and each cosine dies out with exp(-(m pi)^2 Fo), the mean never.
    """
    brine = series.constant("half slab")
    left = brine.amplitude * np.exp(-(brine.q**2) * cured)
    p = np.pi * np.arange(terms)
    total, apart = np.add.outer(brine.q, p), np.subtract.outer(brine.q, p)
    inner = 0.5 * (np.sin(total) / total + np.sin(apart) / apart)  # q is never a multiple of pi, so no division by zero
    heights = np.where(p == 0, 1.0, 2.0) * (np.where(p == 0, 1.0, 0.0) - left @ inner)
    return (np.exp(-np.multiply.outer(rested, p**2)) * heights) @ np.cos(np.multiply.outer(p, x))


def sealed_rest(cells: int = 60) -> Case:
    """10 days in an endless brine, then sealed until all is even."""
    bath = Bath(water="4 kg", salt=4 * SALT)
    stages = [
        Brine(bath=bath, temperature=COLD, lasts="10 d", lying=False, running=True),
        Rest(temperature=COLD, lasts="390 d"),
    ]
    history = meat.run(stages, BARE, cells)  # type: ignore[arg-type]
    pace = meat.salt_diffusivity() / HALF**2
    cured = pace * 10 * DAY
    after = np.array([2.0, 5.0, 10.0, 20.0, 50.0, 390.0]) * DAY
    x, now = meat.across(history, 10 * DAY + after)
    now = now[:, 1:-1] / SALT  # a sealed face has no level of its own: cells only
    x = x[1:-1]
    exact = evened(cured, pace * after, x)
    core = meat.middle(history, 10 * DAY + after) / SALT
    mean = series.constant("half slab").uptake(np.array([cured]))[0]
    kept = history.amount("salt", 10 * DAY + after) / (SALT * history.pieces[0].water())
    middle = evened(cured, pace * after, np.zeros(1))[:, 0]
    error = largest(now - exact, core - middle, kept - mean)
    labels = [f"middle, after {t / DAY:.0f} d of rest" for t in after] + ["in the piece all along"]
    half, grid = len(x) // 2, np.linspace(0, 1, 41)
    lines = both("after 5 d", grid, evened(cured, pace * after[1:2], grid)[0], x[half:], now[1, half:])
    picture = Lines(
        "Rest: what the brine brought evens out", "from the middle (0) to the face (1)", "level over that of the brine",
        (*lines, *both("after 390 d", grid, np.full(41, mean), x[half:], now[-1, half:])),
    )  # fmt: skip
    return Case(
        "Ten days of brine, then a sealed rest", "Crank 1975, eq. 4.17 (number from memory), expanded anew in cosines for the closed slab", "derived",
        tuple(labels), (*middle, mean), (*core, kept[-1]), "of the level of the brine", error, 3e-4, "the level of the brine", picture,
    )  # fmt: skip


def changed_waters(cells: int = 60) -> Case:
    """An even piece goes through three waters, each so long that all comes to rest: every one leaves held / (held + water)."""
    held = meat.piece().water()
    waters = (0.5 * held, held, 2 * held)
    lasts = 250 * DAY
    stages = [
        Brine(bath=Bath(water="4 kg", salt=4 * SALT), temperature=COLD, lasts="400 d", lying=False, running=True),
        Soak(waters=[Water(amount=amount, lasts=lasts, temperature=COLD) for amount in waters]),
    ]
    history = meat.run(stages, BARE, cells)  # type: ignore[arg-type]
    start = history.span(1)[0]
    ends = start + lasts * np.arange(1, 4)
    full = SALT * held
    left = history.amount("salt", ends) / full
    exact = np.cumprod([held / (held + amount) for amount in waters])
    # The way down in the first water is the way up of Crank's limited bath: 1 - (1 - end) * uptake.
    pace = meat.salt_diffusivity() / HALF**2
    way = np.array([1.0, 3.0, 10.0, 30.0]) * DAY
    falling = 1 - (1 - exact[0]) * series.limited("half slab", 0.5).uptake(pace * way)
    ours = history.amount("salt", start + way) / full
    smooth = np.linspace(0.02, 60, 80) * DAY
    label = "salt left in the piece"
    picture = Lines(
        "The first water: salt left in the piece", "days in the water", "part of what was in it",
        (
            Series(f"ours, {label}", smooth / DAY, history.amount("salt", start + smooth) / full, OURS),
            Series(f"theirs, {label}", smooth / DAY, 1 - (1 - exact[0]) * series.limited("half slab", 0.5).uptake(pace * smooth), THEIRS, "8 8"),
        ),
    )  # fmt: skip
    labels = [f"first water, day {t / DAY:.0f}" for t in way] + [f"end of water {n}" for n in (1, 2, 3)]
    return Case(
        "Soak in three waters of half, once and twice the water of the meat",
        "closed mass balance, salt left = held / (held + water) for each water; on the way, Crank 1975, eq. 4.37 (number from memory)",
        "derived", tuple(labels), (*falling, *exact), (*ours, *left), "of the salt before", largest(ours - falling, left - exact), 3e-4,
        "the salt before the soak", picture,
    )  # fmt: skip
