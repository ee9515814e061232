"""Fat on lean: a slab of two layers with both faces held, by separation of variables; and two half spaces, by error functions.

In layer i the level w obeys c_i w_t = k_i w_xx, c the storage and k the conductivity; at the border w and k w_x go on. With both faces
held at 1 and nothing inside, 1 - w is a sum of modes sin(q1 x) in the first layer and A sin(q2 (L - x)) in the second, q_i = m (c_i/k_i)^(1/2),
where m runs over the roots of k1 q1 cos(q1 a) sin(q2 b) + k2 q2 sin(q1 a) cos(q2 b) = 0: the usual orthogonal expansion of
composite media, worked out anew here. tests/proof proves of it that no root is missing and that it begins at zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import erfc

from ..bodies import layered
from ..matter.tissue import obstruction, tissue
from ..recipe.stages import Bath, Brine
from ..show.pictures import Lines, Mark
from ..sources import default_numbers, read_table
from ..transport.modes import modes_of
from ..transport.network import Part, assemble
from ..units import DAY
from . import meat
from .case import Case, both, largest, upward
from .meat import BARE, COLD

TERMS = 200


@dataclass(frozen=True)
class TwoLayers:
    """Modes of the slab: widths (a, b), storage (c1, c2), conductivity (k1, k2), roots m (n,), heights (n,) of the second layer's part."""

    widths: tuple[float, float]
    storage: tuple[float, float]
    conductivity: tuple[float, float]
    roots: np.ndarray

    @property
    def q(self) -> np.ndarray:
        """Wave numbers (2, n)."""
        return np.sqrt(np.divide(self.storage, self.conductivity))[:, None] * self.roots

    @property
    def heights(self) -> np.ndarray:
        """A (n,): continuity of w at the border, or of the flux where w is near zero there."""
        (q1, q2), (a, b), (k1, k2) = self.q, self.widths, self.conductivity
        level = np.abs(np.sin(q2 * b)) > np.abs(np.cos(q2 * b))
        with np.errstate(divide="ignore"):
            return np.where(
                level, np.sin(q1 * a) / np.sin(q2 * b), -k1 * q1 * np.cos(q1 * a) / (k2 * q2 * np.cos(q2 * b))
            )

    @property
    def sums(self) -> np.ndarray:
        """(n,) storage times mode over the slab."""
        (q1, q2), (a, b), (c1, c2) = self.q, self.widths, self.storage
        return c1 * (1 - np.cos(q1 * a)) / q1 + self.heights * c2 * (1 - np.cos(q2 * b)) / q2

    @property
    def norms(self) -> np.ndarray:
        """(n,) storage times mode squared over the slab."""
        (q1, q2), (a, b), (c1, c2) = self.q, self.widths, self.storage
        half = lambda q, width: 0.5 * width - 0.25 * np.sin(2 * q * width) / q  # noqa: E731
        return c1 * half(q1, a) + self.heights**2 * c2 * half(q2, b)

    def profile(self, x: np.ndarray, clock: np.ndarray) -> np.ndarray:
        """w (t, x), x from the face of the first layer."""
        (q1, q2), (a, b) = self.q[:, :, None], self.widths
        first, second = np.sin(q1 * x), self.heights[:, None] * np.sin(q2 * (a + b - x))
        modes = np.where(x <= a, first, second)
        return 1 - (np.exp(-np.multiply.outer(clock, self.roots**2)) * (self.sums / self.norms)) @ modes

    def held(self, clock: np.ndarray) -> np.ndarray:
        """(t,) amount in the slab over the final amount."""
        total = np.dot(self.storage, self.widths)
        return 1 - np.exp(-np.multiply.outer(clock, self.roots**2)) @ (self.sums**2 / self.norms) / total


def two_layers(
    widths: tuple[float, float], storage: tuple[float, float], conductivity: tuple[float, float], terms: int = TERMS
) -> TwoLayers:
    """Find the first `terms` roots: sign changes on a grid sixty times finer than their mean distance, then bracketed."""
    a, b = widths
    s1, s2 = np.sqrt(np.divide(storage, conductivity))
    k1, k2 = conductivity

    def border(m):
        return k1 * s1 * np.cos(m * s1 * a) * np.sin(m * s2 * b) + k2 * s2 * np.sin(m * s1 * a) * np.cos(m * s2 * b)

    mean = np.pi / (s1 * a + s2 * b)
    grid = mean * np.arange(1, 60 * (terms + 3)) / 60.37  # not a round part, so that no root lies on it
    value = border(grid)
    places = np.flatnonzero(value[1:] * value[:-1] < 0)[:terms]
    roots = np.array([brentq(border, grid[n], grid[n + 1], xtol=1e-15 * mean, rtol=1e-15) for n in places])
    return TwoLayers(widths, storage, conductivity, roots)


def fat_on_lean(cells: int = 60) -> Case:
    """5 cm of brisket with 1 cm of fat on one face, bare faces in an endless bath."""
    cap, thick, salt, lasts = 0.01, 0.05, 0.05, 60 * DAY
    bath = Bath(water="4 kg", salt=salt * 4)
    stage = Brine(bath=bath, temperature=COLD, lasts=lasts, lying=False, running=True)
    history = meat.run(stage, BARE, cells, thickness=thick, fat_cap=cap, weight=2.0)
    fat, lean = tissue("beef fat"), tissue("lean beef")
    storage = tuple(part.density * part.water for part in (fat, lean))
    conductivity = tuple(held * obstruction(part) for held, part in zip(storage, (fat, lean), strict=True))
    exact = two_layers((cap, thick - cap), storage, conductivity)  # type: ignore[arg-type]
    free = default_numbers()["water.salt_diffusivity.3C"].value * 1e-9
    late = np.linspace(0.05, 1.0, 40) * lasts
    profile = history.profile("salt", late, basis="water phase")
    levels = meat.level(profile.values) / salt
    total = salt * history.pieces[0].water()
    taken = history.amount("salt", late) / total
    apart = levels - exact.profile(profile.depth, free * late)
    inside, fat_error = profile.depth > cap, largest(apart[:, profile.depth < cap])
    error = largest(apart[:, inside], taken - exact.held(free * late))
    shown = np.array([5.0, 15.0, 30.0, 60.0]) * DAY
    at = np.array([0.5 * cap, cap, 0.5 * (cap + thick)])
    grid = np.linspace(0.0, thick, 61)
    day = np.array([15 * DAY])
    ours_now = meat.level(history.profile("salt", day, basis="water phase").values)[0] / salt
    theirs = np.concatenate([exact.held(free * shown), exact.profile(at, free * day)[0]])
    near = np.interp(at, profile.depth, ours_now)
    near[1] = _border(profile.depth, ours_now, cap, conductivity)
    ours = np.concatenate([history.amount("salt", shown) / total, near])
    labels = [f"taken up, day {t / DAY:.0f}" for t in shown] + [
        f"{place}, day 15" for place in ("middle of the fat", "border", "middle of the lean")
    ]
    picture = Lines(
        "Fat on lean: the profile on day 15", "depth in mm; fat as far as the dotted line", "level over that of the bath",
        both("day 15", 1e3 * grid, exact.profile(grid, free * day)[0], 1e3 * profile.depth, ours_now),
        (Mark("x", 1e3 * cap, ""),),
    )  # fmt: skip
    return Case(
        "Two layers: 1 cm of fat on 4 cm of lean, both faces held", f"orthogonal expansion of composite media, {TERMS} terms, worked out here",
        "derived", tuple(labels), tuple(theirs), tuple(ours), "of the final level", error, 3e-4,
        "the level of the bath, over all places in the lean, the uptake, and 40 times", picture,
        f"Inside the fat, which no answer reads, 20 cells are few for a steep early profile: apart by at most {upward(fat_error)} there. That fat "
        "holds salt back tenfold is a judgement between sources a hundred times apart; only the arithmetic is proved here.",
    )  # fmt: skip


def _border(depth: np.ndarray, levels: np.ndarray, cap: float, conductivity) -> float:
    """The level on the border itself, from the cells on both sides with equal fluxes."""
    right = int(np.searchsorted(depth, cap))
    weight = np.array([conductivity[0] / (cap - depth[right - 1]), conductivity[1] / (depth[right] - cap)])
    return float(weight @ levels[right - 1 : right + 1] / weight.sum())


def half_spaces(cells: int = 300) -> Case:
    """Two half spaces, 2e-10 and 0.5e-10 m2/s, the second holding 0.2 of the first at equilibrium; the first starts at 1; after a day."""
    fast, slow, k, width = (
        2e-10,
        0.5e-10,
        0.2,
        0.05,
    )  # slabs of 5 cm are half spaces for a day: the diffusion length is 4 mm
    body = layered((width, width), (0, 1), counts=(cells, cells))
    storage, second = np.array([k, 1.0]), body.tissue == 1
    part = Part(storage[None, body.tissue], body.inner(np.array([[k * slow, fast]])), body.mean, body.sign)
    start = np.append(np.where(second, body.mean, 0.0), 0.0)[None, None]
    terms = modes_of(assemble([part], np.ones(1), ())).at(start, np.full((1, 1, 1), DAY))[0, 0, 0, :-1]
    x, c = 2 * width * body.depth[1:-1] - width, (body.rows[1:-1] @ terms) * storage[body.within[1:-1]]
    root = np.sqrt(slow / fast)

    def formula(place):
        first = (1 + k * root * (1 - erfc(np.abs(place) / (2 * np.sqrt(fast * DAY))))) / (1 + k * root)
        return np.where(place > 0, first, k / (1 + k * root) * erfc(np.abs(place) / (2 * np.sqrt(slow * DAY))))

    rows = {row["quantity"].split(",")[0]: float(row["value"]) for row in read_table("analytic_values.csv")}
    names = {"C1 at x=+5 mm": 0.005, "C2 at x=-2 mm": -0.002}
    ours = [
        float(np.interp(place, x[np.sign(x) == np.sign(place)], c[np.sign(x) == np.sign(place)]))
        for place in names.values()
    ]
    theirs = [rows[name] for name in names]
    crossed = float(k * body.mean[~second] @ terms[~second])
    near = np.abs(x) < 0.02
    error = largest(c - formula(x), np.array(ours) - theirs)
    picture = Lines(
        "Two half spaces after a day", "mm from the border (dotted)", "concentration",
        both("after a day", 1e3 * x[near], formula(x[near]), 1e3 * x[near], c[near]), (Mark("x", 0.0, ""),),
    )  # fmt: skip
    return Case(
        "Two half spaces in contact, one holding a fifth of the other",
        "Crank 1975, chapter 3, infinite composite medium; figures of analytic_values.csv, evaluated by mpmath to 30 digits", "derived",
        (*names, "amount crossed, m"), (*theirs, rows["amount crossed per area"]), (*ours, crossed), "after a day", error, 1e-4,
        "the concentration at the start", picture,
    )  # fmt: skip
