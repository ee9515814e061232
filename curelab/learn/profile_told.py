"""What a fitted profile says: its numbers with their intervals, and why there is none where there is none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..results import Shown

LEVEL = 0.9  # of an interval
LOOSE = 1.2  # deviation of ln D from which an interval, a factor of seven either way, says nothing (judgement)
NOTHING = 0.02  # of the level at the face: next to nothing has come, or all but next to nothing (judgement)
FREE_WATER = 1.6e-9  # m2/s: salt in free water at 25 degC; a fit knows no temperature
FASTER = "Faster than salt in free water: brine flowed or swelled in, or the depths are off."
QUARREL = 0.01  # values that are so unlikely for their errors do not fit (judgement)


@dataclass(frozen=True)
class Found:
    """One fitted number in SI with its interval of 9 times in 10, None where the values tell none."""

    name: str
    value: float
    low: float | None
    high: float | None
    unit: str

    def __str__(self) -> str:
        ends = "no interval" if self.low is None else f"{self.low:.3g} to {self.high:.3g}, 9 times in 10"
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
        if self.chi_square is not None:
            chi = [f"chi square {self.chi_square:.3g} with {self.freedom} degrees of freedom"]
        elif self.freedom > 0:
            chi = [f"the error of a value, {self.error.mean():.2g}, is estimated from how they scatter"]
        else:
            chi = []  # too few values to see a scatter; the notes say so
        tied = (
            [f"correlation of diffusivity and surface level: {self.correlation[0, 1]:+.2f}"]
            if len(self.found) > 1
            else []
        )
        return [f"Fit of a profile: {self.of}", *map(str, self.found), *chi, *tied, *self.notes]

    def rows(self) -> list[dict[str, Any]]:
        return [{name: getattr(each, name) for name in ("name", "value", "low", "high", "unit")} for each in self.found]


def told(
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
    notes += [FASTER] if diffusivity > FREE_WATER else []
    reach = None if why else float(np.exp(quantile * deviation[0]))
    low, high = (None, None) if reach is None else (diffusivity / reach, diffusivity * reach)
    found = [Found("diffusivity", diffusivity, low, high, "m2/s")]
    if unknowns > 1:
        if not why:
            low, high = (float(back(max(made.x[1] + sign * quantile * deviation[1], 0.0))) for sign in (-1, 1))
        found.append(Found("surface level", float(back(made.x[1])), low, high, ""))
    tied = covariance / np.outer(deviation, deviation)
    return ProfileFit(
        tuple(found), tied, depth, given, fitted, errors, None if off is None else square, freedom, tuple(notes),
        f"{count} value{'' if count == 1 else 's'}, {of}",
    )  # fmt: skip


def _why_not(d: float, share: np.ndarray, stuck: bool, deviation: float, count: int, unknowns: int, known: bool) -> str:
    """Why there is no interval, in one sentence; "" where there is one. `share` (n,) of the level at the face that has come there."""
    if count < unknowns + (not known):
        return (
            f"No interval: {count} value{'s' if count > 1 else ''} for {unknowns} unknown{'s' if unknowns > 1 else ''} "
            f"leave{'' if count > 1 else 's'} nothing to tell the "
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
