"""Uncertain inputs of a batch from readings in it, by weighted least squares with the published ranges as priors.

A fit says plainly when the data cannot tell. What is not fitted is taken as known, and the fit names it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..history import History
from ..matter.tissue import water_change_band
from ..piece import Piece
from ..simulate import simulate
from ..sources import Numbers, default_numbers
from ..spread.uncertain import POINT_95, Uncertain, inputs_for
from ..stages import AnyStage
from ..units import capital
from .readings import FRIDGE_SWING, Measurement, measured

LITTLE = (
    0.8  # an interval that is still so wide, as a share of what was known before, tells next to nothing (judgement)
)
QUARREL = 0.01  # readings that are so unlikely together do not agree (judgement)
SETTLED = {"xtol": 1e-7, "ftol": 1e-8, "gtol": 1e-7}  # of steps in deviations: far below what a reading tells


@dataclass(frozen=True)
class Estimate:
    """One fitted input, in its printed unit: value with its 90 % interval, what was known before, and whether the data told it."""

    input: Uncertain
    value: float
    low: float
    high: float
    before: tuple[float, float, float]
    told: bool = True
    narrowed: bool = True

    @property
    def ratio(self) -> tuple[float, float, float]:
        """(value, low, high) over the middle of what was known before."""
        return self.value / self.before[1], self.low / self.before[1], self.high / self.before[1]


@dataclass(frozen=True)
class Residual:
    """One reading beside what the fit makes of it; `off`: observed less predicted, in standard deviations."""

    reading: Measurement
    predicted: float
    off: float


@dataclass(frozen=True)
class Fit:
    """What measurements tell. notes: plain sentences on what the data cannot tell; held: what was taken as known."""

    estimates: tuple[Estimate, ...]
    correlation: np.ndarray
    residuals: tuple[Residual, ...]
    chi_square: float
    notes: tuple[str, ...]
    held: tuple[str, ...]
    converged: bool
    agree: bool

    @property
    def told(self) -> bool:
        """Whether the data tell something about every fitted input, and agree with each other."""
        return self.converged and not self.notes

    def __getitem__(self, key: str) -> Estimate:
        return next(row for row in self.estimates if row.input.key == key)

    def get(self, key: str) -> Estimate | None:
        """The estimate of an input, None where it was not fitted."""
        return next((row for row in self.estimates if row.input.key == key), None)

    @property
    def sentence(self) -> str:
        """Estimates with intervals, then what cannot be told, then what was taken as known."""
        said = [
            f"{capital(row.input.label)}: {row.value:.3g} {row.input.unit} ({row.low:.3g} to {row.high:.3g} in 9 cases of 10; before: "
            f"{row.before[1]:.3g}, {row.before[0]:.3g} to {row.before[2]:.3g}), from {len(self.residuals)} "
            f"reading{'s' if len(self.residuals) > 1 else ''}."
            for row in self.estimates
        ]
        return " ".join([*said, *self.notes, f"Taken as known: {', '.join(self.held)}."])


@dataclass(frozen=True)
class _Scale:
    """The scale on which an input is fitted, where its prior is normal: its logarithm if it is a factor."""

    row: Uncertain
    logarithmic: bool
    middle: float
    deviation: float
    low: float
    high: float

    @classmethod
    def of(cls, row: Uncertain) -> _Scale:
        shares = (np.arange(2000) + 0.5) / 2000
        logarithmic = row.distribution.startswith("log")
        values = np.log(row.at(shares)) if logarithmic else row.at(shares)
        middle, deviation = float(values.mean()), float(values.std())
        if row.distribution in ("normal", "lognormal"):  # as given; the far tails are cut only when drawn
            ends = np.log([row.low, row.high]) if logarithmic else np.array([row.low, row.high])
            middle, deviation = float(ends.mean()), float(np.ptp(ends)) / 2 / POINT_95
            low, high = middle - 4 * deviation, middle + 4 * deviation
        else:
            low, high = float(values.min()), float(values.max())
        if row.key == "obstruction.lean":
            high = min(high, 0.0)  # nothing moves faster in meat than in free water
        return cls(row, logarithmic, middle, deviation, low, high)

    def value(self, x):
        return np.exp(x) if self.logarithmic else x

    @property
    def before(self) -> tuple[float, float, float]:
        least, usually, most = (
            float(self.value(self.middle + sign * POINT_95 * self.deviation)) for sign in (-1, 0, 1)
        )
        return least, usually, most


def known_before(row: Uncertain) -> tuple[float, float, float]:
    """(5 % point, middle, 95 % point) of an input, in its printed unit, as a fit takes it.

    >>> from curelab.spread.uncertain import uncertain_inputs
    >>> [round(value, 3) for value in known_before(uncertain_inputs()[0])]
    [0.183, 0.334, 0.61]
    """
    return _Scale.of(row).before


def fit(
    pieces: Sequence[Piece],
    stages: Sequence[AnyStage],
    readings: Sequence[Measurement],
    *,
    parameters: Sequence[str] = ("obstruction.lean",),
    inputs: Sequence[Uncertain] | None = None,
    loss: str = "nordin",
    numbers: Numbers | None = None,
    cells: int = 16,
) -> Fit:
    """Weighted least squares with priors: the named inputs of a batch from readings in it.

    `inputs`: what is uncertain, and so the priors; default all rows of uncertain.csv that the batch depends on. A weight also carries
    the scatter of water uptake (6 points) unless "water uptake" is fitted, and a temperature the swing of a fridge. The 90 % interval
    is that of the linearised problem.
    Raises ValueError for no readings, a parameter that is not uncertain here, or a reading after the end of the plan.
    """
    from scipy.optimize import least_squares
    from scipy.special import gammaincc

    base = numbers or default_numbers()
    usual = simulate(pieces, stages, loss=loss, cells=cells, numbers=base)
    known = tuple(inputs) if inputs is not None else inputs_for(pieces, stages, loss, base, usual.numbers.used)
    rows = {row.key: row for row in known}
    missing = [key for key in parameters if key not in rows]
    if missing or not readings:
        raise ValueError(
            f"{', '.join(missing)}: not uncertain in this batch" if missing else "there is no reading to fit"
        )
    late = [reading for reading in readings if reading.at > usual.length * (1 + 1e-9)]
    if late:
        raise ValueError(
            f"the reading of {late[0].what} on day {late[0].at / 86400:.3g} lies after the end of the plan"
        )
    scales = [_Scale.of(rows[key]) for key in parameters]
    planned = [usual.temperature(min(reading.at, usual.length)) for reading in readings]
    observed = np.array([reading.value for reading in readings])
    error = np.array([_error(reading, usual, parameters, base) for reading in readings])
    middle, deviation = np.array([s.middle for s in scales]), np.array([s.deviation for s in scales])
    step = 1e-3 * deviation

    def predict(x: np.ndarray) -> np.ndarray:
        """Readings (d, r) at points (d, p)."""
        columns = {scale.row.key: scale.value(x[:, k]) for k, scale in enumerate(scales)}
        return measured(pieces, stages, columns, readings, planned, loss=loss, cells=cells, numbers=base)

    seen: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}

    def both(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Residuals and their slopes, in one ensemble."""
        if x.tobytes() not in seen:
            at = predict(x + np.concatenate([np.zeros((1, len(x))), np.diag(step), -np.diag(step)]))
            slopes = ((at[1 : len(x) + 1] - at[len(x) + 1 :]) / (2 * step[:, None])).T / error[:, None]
            seen[x.tobytes()] = (
                np.concatenate([(at[0] - observed) / error, (x - middle) / deviation]),
                np.concatenate([slopes, np.diag(1 / deviation)]),
            )
        return seen[x.tobytes()]

    bounds = np.array([s.low for s in scales]), np.array([s.high for s in scales])
    inside = np.clip(middle, bounds[0] + 1e-6 * deviation, bounds[1] - 1e-6 * deviation)
    found = least_squares(
        lambda x: both(x)[0], inside, lambda x: both(x)[1], bounds=bounds, x_scale=deviation, **SETTLED
    )
    off, slopes = both(found.x)
    covariance = np.linalg.inv(slopes.T @ slopes)
    spread = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(spread, spread)
    told, narrowed, notes = _told(scales, found.x, spread, correlation, slopes[: len(readings)])
    residuals = tuple(
        Residual(reading, float(reading.value + o * e), float(-o))
        for reading, o, e in zip(readings, off, error, strict=False)
    )
    chi_square = float((off[: len(readings)] ** 2).sum())
    freedom = len(readings) - len(scales)
    agree = not (freedom > 0 and gammaincc(freedom / 2, chi_square / 2) < QUARREL)
    if not agree:
        notes.append(_quarrel(residuals, chi_square / freedom))
        spread = np.minimum(spread * np.sqrt(chi_square / freedom), deviation)  # no wider than before
    if not found.success:
        notes.append(f"The fit did not settle: {found.message}")
    estimates = []
    for k, (scale, x, s) in enumerate(zip(scales, found.x, spread, strict=True)):
        low, high = (float(scale.value(np.clip(x + sign * POINT_95 * s, scale.low, scale.high))) for sign in (-1, 1))
        estimates.append(Estimate(scale.row, float(scale.value(x)), low, high, scale.before, told[k], narrowed[k]))
    held = tuple(row.label for row in known if row.key not in parameters)
    return Fit(tuple(estimates), correlation, residuals, chi_square, tuple(notes), held, bool(found.success), agree)


def _error(reading: Measurement, usual: History, parameters: Sequence[str], numbers: Numbers) -> float:
    if reading.what == "temperature":
        return float(np.hypot(reading.error, FRIDGE_SWING / POINT_95))
    if reading.what != "weight" or "water uptake" in parameters:
        return reading.error
    piece = usual.pieces[usual._piece(reading.piece or 0)]
    return float(np.hypot(reading.error, water_change_band(numbers) / POINT_95 * piece.weight))


def _quarrel(residuals: Sequence[Residual], times: float) -> str:
    worst = max(residuals, key=lambda row: abs(row.off))
    reading = worst.reading
    read = f'"{reading.word}"' if reading.word else reading.shown(reading.value)
    return (
        f"The readings do not agree with each other and this model: they scatter {np.sqrt(times):.1f} times as widely as their errors "
        f"allow, so one of them may be wrong, or the piece is not as described. Furthest off is the {reading.what} of day "
        f"{reading.at / 86400:.3g}: {read} read, {reading.shown(worst.predicted)} expected. The intervals are widened accordingly."
    )


def _told(scales, x, spread, correlation, data) -> tuple[list[bool], list[bool], list[str]]:
    """For every input whether the data tell it and whether they narrow it; and what they cannot tell, one sentence each."""
    told, narrowed, notes = [True] * len(scales), [True] * len(scales), []
    if len(data) < len(scales):
        notes.append(
            f"There are fewer readings ({len(data)}) than things to find ({len(scales)}); the rest is what was known before."
        )
    for k, scale in enumerate(scales):
        if min(x[k] - scale.low, scale.high - x[k]) < 1e-3 * scale.deviation:
            told[k] = False
            notes.append(
                f"{capital(scale.row.label)} is stuck at the end of its range ({scale.value(x[k]):.3g} {scale.row.unit}): the readings ask "
                "for more than the model allows."
            )
        if spread[k] > LITTLE * scale.deviation:
            told[k] = narrowed[k] = False
            notes.append(
                f"The readings say next to nothing about {scale.row.label}: the interval is {100 * spread[k] / scale.deviation:.0f} % as "
                "wide as before; measure later, oftener or more sharply."
            )
        elif _hidden(data, k):
            told[k] = False
            notes.append(f"The readings cannot tell {scale.row.label} from the rest; what was known before decides.")
    for i in range(len(scales)):
        for j in range(i):
            if abs(correlation[i, j]) > 0.9:
                told[i] = told[j] = False
                notes.append(
                    f"{capital(scales[i].row.label)} and {scales[j].row.label} cannot be told apart (correlation "
                    f"{correlation[i, j]:+.2f}); only their joint effect is known."
                )
    return told, narrowed, notes


def _hidden(data: np.ndarray, k: int) -> bool:
    """Whether what input `k` does to the readings is also done by the others together, to one part in a thousand."""
    own, others = data[:, k], np.delete(data, k, axis=1)
    if not others.size or not own.any():
        return False
    others = others / np.maximum(np.linalg.norm(others, axis=0), 1e-300)
    rest = own - others @ np.linalg.lstsq(others, own, rcond=None)[0]
    return bool(np.linalg.norm(rest) < 1e-3 * np.linalg.norm(own))


def learned(inputs: Sequence[Uncertain], found: Fit) -> tuple[Uncertain, ...]:
    """The same inputs, with the fitted ones as the fit left them."""
    now = {row.input.key: row for row in found.estimates}
    result = []
    for row in inputs:
        if row.key in now:
            estimate = now[row.key]
            kind = "lognormal" if row.distribution.startswith("log") else "normal"
            row = replace(
                row, distribution=kind, low=estimate.low, mode=None, high=estimate.high,
                meaning="low and high are the 5 and 95 % points", source=f"fitted to {len(found.residuals)} readings", how="derived",
            )  # fmt: skip
        result.append(row)
    return tuple(result)
