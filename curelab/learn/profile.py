"""From a measured depth profile to the diffusivity behind it, with its interval.

Fitted by least squares in the logarithm of the diffusivity; the interval is that of the linearised problem.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from ..fields import InputError, Problem
from ..recipe.piece import Piece
from ..recipe.stages import Bath, Stage
from ..sources import Numbers
from .profile_shape import Shape, level_at_face, linear, shape_of
from .profile_told import Found, ProfileFit, told

BASES = ("water phase", "meat", "green weight", "relative")
GRID = 60  # diffusivities that are tried before the search
SETTLED = {"jac": "3-point", "xtol": 1e-12, "ftol": 1e-12, "gtol": 1e-12}  # far below what a value tells


def fit_profile(
    depths: Any,
    values: Any,
    time: Any,
    *,
    piece: Piece | None = None,
    wet: str = "both faces",
    bath: Bath | Stage | None = None,
    surface: Any = None,
    basis: str = "water phase",
    initial: Any = 0.0,
    error: Any = None,
    numbers: Numbers | None = None,
) -> ProfileFit:
    """The diffusivity behind a depth profile that was measured after `time` at one temperature, with its interval.

    Parameters: `depths` (n,) from the wet face and `values` (n,) there, fractions on `basis`: "water phase" (salt of salt and water), "meat",
    "green weight", or "relative" to anything; texts such as "5 mm" and "2.1 %", or SI. `piece`: its shape, thickness, weight and tissue;
    None: a half-space. `wet`: "both faces" or "one face" of a slab. What stands at the face: `bath`, a Bath or a stage with one, whose
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
    read = _read(depths=depths, values=values, time=time, error=error)
    depth, given, off = read["depths"], read["values"], read["error"]
    found = list(_problems(read, piece, wet, bath, surface, basis))
    if found:
        raise InputError(found)
    spent, (to, back) = float(read["time"]), linear(basis)
    shape, ends, of = shape_of(depth, spent, piece, wet, bath, numbers)
    weight = np.ones(len(given)) if off is None else 1.0 / (off * (to(given + 1e-6) - to(given - 1e-6)) / 2e-6)
    begun = float(to(units.si(initial, "fraction")))
    asked = _Asked(to(given), weight, shape, ends, begun, level_at_face(bath, surface, basis, to, piece, numbers))
    made = asked.solved()
    return told(made, ends, shape(float(np.exp(made.x[0]))), depth, given, back(asked.fitted(made.x)), off, back, of)


@dataclass(frozen=True, eq=False)
class _Asked:
    """What is fitted: x is ln D, and the level at the face where that is not known. observed (n,) as it diffuses; weight (n,), one over
    the error; ends of ln D; begun: the level before.
    """

    observed: np.ndarray
    weight: np.ndarray
    shape: Shape
    ends: tuple[float, float]
    begun: float
    level: float | None

    def fitted(self, x: np.ndarray) -> np.ndarray:
        """(n,) as it diffuses."""
        top = self.level if self.level is not None else x[1]
        return self.begun + (top - self.begun) * self.shape(float(np.exp(x[0])))

    def off(self, x: np.ndarray) -> np.ndarray:
        """(n,) fitted less observed, in errors."""
        return (self.fitted(x) - self.observed) * self.weight

    def start(self) -> np.ndarray:
        """The best of a grid, the level the best for each of its diffusivities."""
        made = []
        for log in np.linspace(self.ends[0], self.ends[1], GRID)[1:-1]:
            x = [log]
            if self.level is None:
                own = self.shape(float(np.exp(log))) * self.weight
                top = np.sum((self.observed - self.begun) * self.weight * own) / np.sum(own**2)
                x.append(max(self.begun + float(top), 1e-12))
            made.append(np.array(x))
        return min(made, key=lambda x: float(np.sum(self.off(x) ** 2)))

    def solved(self) -> Any:
        """The result of scipy."""
        from scipy.optimize import least_squares

        first = self.start()
        size = [1.0, max(float(np.max(np.abs(self.observed))), 1e-12)]
        low, high, scale = (part[: len(first)] for part in ([self.ends[0], 0.0], [self.ends[1], np.inf], size))
        return least_squares(self.off, first, bounds=(low, high), x_scale=np.array(scale), **SETTLED)


KIND = {"depths": "length", "values": "fraction", "time": "time", "error": "fraction"}


def _read(**given: Any) -> dict[str, Any]:
    """Each in SI, all but the time as arrays. Raises InputError."""
    problems, read = [], {}
    for name, value in given.items():
        try:
            found = units.si(value, KIND[name])
            read[name] = found if name == "time" or found is None else np.atleast_1d(np.asarray(found, dtype=float))
        except ValueError as fault:
            problems.append(Problem(name, str(fault)))
    if problems:
        raise InputError(problems)
    return read


def _problems(
    read: dict[str, Any], piece: Piece | None, wet: str, bath: Any, surface: Any, basis: str
) -> Iterator[Problem]:
    """What keeps it from being fitted."""
    depth, value, time, off = read["depths"], read["values"], read["time"], read["error"]
    deepest = np.inf if piece is None else piece.thickness
    most = np.inf if basis == "relative" else 1.0
    checks = (
        (basis in BASES, "basis", f'"{basis}" is not one of {", ".join(BASES)}'),
        (wet in ("both faces", "one face"), "wet", f'"{wet}" is not one of both faces, one face'),
        (np.ndim(time) == 0 and np.isfinite(time) and time > 0, "time", f"{time!r} is not one time above zero"),
        (len(depth) == len(value) > 0, "values", f"there are {len(value)} values at {len(depth)} depths; give one at each, and one at least"),
        (np.all((depth >= 0) & (depth <= deepest)), "depths", "depths count from the wet face inwards, none below zero or beyond the piece"),
        (np.any(depth != 0), "depths", "a value at the face alone tells nothing of what moves inside; give one below it"),
        (np.all(np.isfinite(value) & (value < most)), "values", "values are fractions below 1 on their basis, all of them finite"),
        (off is None or (np.all(off > 0) and len(off) in (1, len(value))), "error", "an error is above zero, one for all values or one for each"),
        (bath is None or surface is None, "surface", "both a bath and a level at the face are given; say one"),
        (bath is None or basis != "relative", "bath", 'a bath gives a level in fractions, and the values are "relative"; give surface'),
        (piece is None or piece.solid() is None, "piece", "a profile is fitted where salt comes from two broad faces or all around; give a slab, an endless cylinder or a sphere"),
        (piece is None or not piece.fatty, "piece", "a fat cap makes two tissues; measure from the lean face and give the lean alone"),
    )  # fmt: skip
    yield from (Problem(where, sentence) for fine, where, sentence in checks if not fine)


__all__ = ["Found", "ProfileFit", "fit_profile"]
