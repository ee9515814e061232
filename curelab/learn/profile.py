"""From a measured depth profile to the diffusivity behind it, with its interval.

Fitted by least squares in the logarithm of the diffusivity; the interval is that of the linearised problem.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from ..fields import InputError, Problem
from ..recipe.piece import Piece
from ..recipe.stages import Bath, Brine
from ..results import Shown
from ..sources import Numbers
from .profile_shape import level_at_face, linear, shape_of

BASES = ("water phase", "meat", "green weight", "relative")
CLOCKS = (
    1e-4,
    3.0,
)  # D t / length^2 between which a finite piece is looked for: salt at the face alone, and salt everywhere alike
GRID = 60  # diffusivities that are tried before the search
LEVEL = 0.9  # of an interval
LOOSE = 1.2  # deviation of ln D from which an interval, a factor of seven either way, says nothing (judgement)
NOTHING = 0.02  # of the level at the face: next to nothing has come, or all but next to nothing (judgement)
QUARREL = 0.01  # values that are so unlikely for their errors do not fit (judgement)


@dataclass(frozen=True)
class Found:
    """One fitted number in SI with its interval of 9 cases of 10, None where the values tell none."""

    name: str
    value: float
    low: float | None
    high: float | None
    unit: str

    def __str__(self) -> str:
        ends = "no interval" if self.low is None else f"{self.low:.3g} to {self.high:.3g} in 9 cases of 10"
        return f"{self.name}: {self.value:.3g}{self.unit and f' {self.unit}'} ({ends})"


@dataclass(frozen=True, repr=False, eq=False)
class ProfileFit(Shown):
    """What a profile tells. depth [m], observed, fitted (n,), on the basis as given; error (n,), as given or as estimated from the scatter;
    chi_square with `freedom` degrees of freedom, None where the error was estimated; notes: what the values cannot tell, and why.
    """

    found: tuple[Found, ...]
    correlation: np.ndarray
    depth: np.ndarray
    observed: np.ndarray
    fitted: np.ndarray
    error: np.ndarray
    chi_square: float | None
    freedom: int
    notes: tuple[str, ...]
    of: str

    @property
    def diffusivity(self) -> Found:
        """m2/s."""
        return self.found[0]

    def __getitem__(self, name: str) -> Found:
        return next(each for each in self.found if each.name == name)

    def lines(self) -> list[str]:
        chi = (
            f"chi square {self.chi_square:.3g} with {self.freedom} degrees of freedom"
            if self.chi_square is not None
            else f"the error of a value, {self.error.mean():.2g}, is estimated from how they scatter"
        )
        tied = (
            [f"correlation of diffusivity and surface level: {self.correlation[0, 1]:+.2f}"]
            if len(self.found) > 1
            else []
        )
        return [f"Fit of a profile: {self.of}", *map(str, self.found), chi, *tied, *self.notes]

    def rows(self) -> list[dict[str, Any]]:
        return [{name: getattr(each, name) for name in ("name", "value", "low", "high", "unit")} for each in self.found]


def fit_profile(
    depths: Any,
    values: Any,
    time: Any,
    *,
    piece: Piece | None = None,
    wet: str = "both faces",
    bath: Bath | Brine | None = None,
    surface: Any = None,
    basis: str = "water phase",
    initial: Any = 0.0,
    error: Any = None,
    numbers: Numbers | None = None,
) -> ProfileFit:
    """The diffusivity behind a depth profile that was measured after `time` at one temperature, with its interval.

    Parameters: `depths` (n,) from the wet face and `values` (n,) there, fractions on `basis`: "water phase" (salt of salt and water), "meat",
    "green weight", or "relative" to anything; texts such as "5 mm" and "2.1 %", or SI. `piece`: its shape, thickness, weight and tissue;
    None: a half-space. `wet`: "both faces" or "one face" of a slab. What stands at the face: `bath`, a Bath or Brine, whose
    strength falls as a piece takes from it (not for a running one, nor without a piece), or `surface`, a constant level on `basis`;
    neither: the level is fitted too. `initial`: level of the meat before. `error`: one standard deviation of a value, one for all or
    (n,); None: estimated from the scatter about the fit. Films at the face and water that moves are left out: what is found is an
    apparent diffusivity, the mean over the time.
    Raises InputError for what cannot be fitted, each with one sentence.

    >>> from scipy.special import erfc
    >>> depth = np.array([0.001, 0.003, 0.005, 0.008, 0.012])
    >>> made = 0.05 * erfc(depth / np.sqrt(4 * 2.5e-10 * 172800))
    >>> found = fit_profile(depth, made, "2 d", surface=0.05, basis="relative", error=0.001)
    >>> print(f"{found.diffusivity.value:.3g}", found.diffusivity.low < 2.5e-10 < found.diffusivity.high)
    2.5e-10 True
    """
    from scipy.optimize import least_squares

    depth, given, spent, off = _checked(depths, values, time, error, piece, wet, bath, surface, basis)
    to, back = linear(basis)
    level = level_at_face(bath, surface, basis, to, piece, numbers)
    begun = float(to(units.si(initial, "fraction")))
    observed = to(given)
    weight = 1.0 if off is None else 1.0 / (off * (to(given + 1e-6) - to(given - 1e-6)) / 2e-6)
    shape, ends, of = shape_of(depth, spent, piece, wet, bath, numbers)

    def fitted(x: np.ndarray) -> np.ndarray:
        return begun + ((level if level is not None else x[1]) - begun) * shape(float(np.exp(x[0])))

    def start() -> np.ndarray:
        """The best of a grid, the level the best for each of its diffusivities."""
        best: tuple[float, list[float]] = (np.inf, [])
        for log in np.linspace(ends[0], ends[1], GRID)[1:-1]:
            own = shape(float(np.exp(log)))
            top = (
                level
                if level is not None
                else begun + float(np.sum((observed - begun) * own * weight**2) / np.sum((own * weight) ** 2))
            )
            cost = float(np.sum(((begun + (top - begun) * own - observed) * weight) ** 2))
            best = min(best, (cost, [float(log)] if level is not None else [float(log), max(top, 1e-12)]))
        return np.array(best[1])

    first = start()
    size = max(float(np.max(np.abs(observed))), 1e-12)
    bounds = ([ends[0], 0.0][: len(first)], [ends[1], np.inf][: len(first)])
    scale = np.array([1.0, size])[: len(first)]
    made = least_squares(
        lambda x: (fitted(x) - observed) * weight,
        first,
        bounds=bounds,
        x_scale=scale,
        jac="3-point",
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
    )
    return _told(made, ends, shape(float(np.exp(made.x[0]))), depth, given, back(fitted(made.x)), off, back, of)


def _told(
    made: Any, ends: Any, share: np.ndarray, depth: Any, given: Any, fitted: Any, off: Any, back: Any, of: str
) -> ProfileFit:
    """The fit in words: intervals, and why there are none."""
    from scipy.special import gammaincc
    from scipy.stats import norm, t

    count, unknowns = len(given), len(made.x)
    freedom, square = count - unknowns, float(2 * made.cost)
    notes, errors = [], np.full(count, np.nan) if off is None else np.broadcast_to(off, count)
    quantile, times = float(norm.ppf(0.5 + LEVEL / 2)), 1.0
    if off is None and freedom > 0:
        quantile, times = float(t.ppf(0.5 + LEVEL / 2, freedom)), float(np.sqrt(square / freedom))
        errors = np.full(count, np.sqrt(np.mean((fitted - given) ** 2) * count / freedom))
    elif off is not None and freedom > 0 and gammaincc(freedom / 2, square / 2) < QUARREL:
        times = float(np.sqrt(square / freedom))
        notes.append(
            f"The values scatter {times:.1f} times as widely as their errors allow: an error is larger, or this is no plain diffusion. "
            "The intervals are widened accordingly."
        )
    normal = made.jac.T @ made.jac
    scale = np.sqrt(np.diag(normal))
    covariance = np.full((unknowns, unknowns), np.nan)
    if (scale > 0).all() and np.linalg.cond(normal / np.outer(scale, scale)) < 1e12:
        covariance = np.linalg.inv(normal / np.outer(scale, scale)) / np.outer(scale, scale) * times**2
    deviation = np.sqrt(np.diag(covariance))
    diffusivity = float(np.exp(made.x[0]))
    stuck = min(made.x[0] - ends[0], ends[1] - made.x[0]) < 1e-3 * (ends[1] - ends[0])
    why = _why_not(diffusivity, share, stuck, deviation[0], count, unknowns, off is not None)
    notes += [why] if why else []
    reach = None if why else float(np.exp(quantile * deviation[0]))
    low, high = (None, None) if reach is None else (diffusivity / reach, diffusivity * reach)
    found = [Found("diffusivity", diffusivity, low, high, "m2/s")]
    if unknowns > 1:
        if not why:
            low, high = (float(back(max(made.x[1] + sign * quantile * deviation[1], 0.0))) for sign in (-1, 1))
        found.append(Found("surface level", float(back(made.x[1])), low, high, ""))
    tied = covariance / np.outer(deviation, deviation)
    return ProfileFit(
        tuple(found), tied, depth, given, fitted, errors, None if off is None else square, freedom, tuple(notes), f"{count} values, {of}"
    )  # fmt: skip


def _why_not(d: float, share: np.ndarray, stuck: bool, deviation: float, count: int, unknowns: int, known: bool) -> str:
    """Why there is no interval, in one sentence; "" where there is one. `share` (n,) of the level at the face that has come there."""
    if count < unknowns + (not known):
        return (
            f"No interval: {count} value{'s' if count > 1 else ''} for {unknowns} unknown{'s' if unknowns > 1 else ''} leave nothing to tell the "
            "error from; measure at more depths, or give the error."
        )
    if deviation < LOOSE and not stuck:
        return ""
    if share.min() > 1 - NOTHING:
        return f"No interval: the profile is level, so that any diffusivity above {d:.2g} m2/s fits as well; measure earlier."
    if share.max() < NOTHING:
        return (
            f"No interval: nothing has come to these depths, so that any diffusivity below {d:.2g} m2/s fits as well; measure later or nearer to "
            "the face."
        )
    wide = (
        f"by a factor of {np.exp(2 * 1.645 * min(deviation, 99.0)):.0g} from end to end"
        if np.isfinite(deviation)
        else "altogether"
    )
    return f"No interval: the values leave the diffusivity open {wide}; measure where the profile is steep, or more sharply."


def _checked(depths, values, time, error, piece, wet, bath, surface, basis):
    """(depth (n,), values (n,), s, error or None), or InputError with every problem."""
    depth, value, spent, off = _read(depths, values, time, error)
    most = np.inf if piece is None else piece.thickness
    top = np.inf if basis == "relative" else 1.0
    rules = (
        (basis in BASES, "basis", f'"{basis}" is not one of {", ".join(BASES)}'),
        (wet in ("both faces", "one face"), "wet", f'"{wet}" is not one of both faces, one face'),
        (np.ndim(spent) == 0 and np.isfinite(spent) and spent > 0, "time", f"{time!r} is not one time above zero"),
        (len(depth) == len(value) > 0, "values",
         f"there are {len(value)} values at {len(depth)} depths; give one at each, and one at least"),
        (np.all((depth >= 0) & (depth <= most)), "depths",
         "depths count from the wet face inwards, none below zero or beyond the piece"),
        (np.any(depth != 0), "depths", "a value at the face alone tells nothing of what moves inside; give one below it"),
        (np.all(np.isfinite(value) & (value < top)), "values",
         "values are fractions below 1 on their basis, all of them finite"),
        (off is None or (np.all(off > 0) and len(off) in (1, len(value))), "error",
         "an error is above zero, one for all values or one for each"),
        (bath is None or surface is None, "surface", "both a bath and a level at the face are given; say one"),
        (bath is None or basis != "relative", "bath",
         'a bath gives a level in fractions, and the values are "relative"; give surface'),
        (piece is None or not piece.fat_cap, "piece",
         "a fat cap makes two tissues; measure from the lean face and give the lean alone"),
    )  # fmt: skip
    problems = [Problem(where, sentence) for fine, where, sentence in rules if not fine]
    if problems:
        raise InputError(problems)
    return depth, value, float(spent), off


def _read(depths, values, time, error) -> list:
    """The four in SI, arrays but for the time; None stays None."""
    problems, read = [], []
    for name, given, kind in (
        ("depths", depths, "length"), ("values", values, "fraction"), ("time", time, "time"), ("error", error, "fraction"),
    ):  # fmt: skip
        try:
            found = units.si(given, kind)
            read.append(found if name == "time" or found is None else np.atleast_1d(np.asarray(found, dtype=float)))
        except ValueError as fault:
            problems.append(Problem(name, str(fault)))
    if problems:
        raise InputError(problems)
    return read


__all__ = ["Found", "ProfileFit", "fit_profile"]
