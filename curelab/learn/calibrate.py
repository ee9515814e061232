"""Measurements that a cook can take, and what they tell about this cook's own meat.

`measure` turns a history into the reading an instrument would show. `fit` finds obstruction (and, if asked, film, partition or any
other uncertain input) by weighted least squares with the published ranges as priors, and says plainly when the data cannot tell.
What is not fitted is taken as known, and the fit names it. Learning from a batch and carrying it over stand in update.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .. import units
from ..batch import Batch
from ..history import History
from ..matter import brine
from ..matter.tissue import water_change_band
from ..piece import Piece
from ..simulate import simulate
from ..sources import Numbers, default_numbers
from ..spread.ensemble import Ensemble
from ..spread.uncertain import POINT_95, Uncertain, inputs_for
from ..stages import AnyStage

KINDS = {
    "brine strength": "fraction",
    "salometer": "plain",
    "weight": "mass",
    "core salt": "fraction",
    "average salt": "fraction",
    "taste": "fraction",
}
# How far off a reading may be, 9 times of 10, when the cook does not say (judgement; weight: share of the reading).
USUAL_ERROR = {
    "brine strength": 0.002, "salometer": 1.0, "weight": 0.005, "core salt": 0.003, "average salt": 0.003, "taste": 0.005,
}  # fmt: skip
# What a fried slice tastes of, as salt of the meat: the rows of numbers.csv between which each word lies.
TASTES = {
    "bland": (None, "taste.normal_low"),
    "right": ("taste.normal_low", "taste.normal_high"),
    "salty": ("taste.normal_high", "taste.too_salty"),
    "too salty": ("taste.too_salty", None),
}
GRID = np.linspace(0.0, brine.STRONGEST, 2641)


@dataclass(frozen=True)
class Measurement:
    """One reading: what (a key of KINDS), at [s since the start], value in SI, and its error, one standard deviation.

    A salometer floats in the brine at `temperature` [K] (None: as planned) and is made for 60 degF. core salt: strip or
    titration of the middle; average salt: of a whole slice; taste: the middle of a range, error from its width.
    """

    what: str
    at: float
    value: float
    error: float
    piece: str = ""
    temperature: float | None = None

    def __post_init__(self) -> None:
        if self.what not in KINDS:
            raise ValueError(f'"{self.what}" is not one of {", ".join(KINDS)}')
        if not (np.isfinite([self.at, self.value, self.error]).all() and self.at >= 0 and self.error > 0):
            raise ValueError(f"{self.what}: time, value and error must be numbers, the error above zero")

    def shown(self, value: float) -> str:
        """A value of this sort of reading in words."""
        return f"{value:.1f} degrees" if self.what == "salometer" else units.show(value, KINDS[self.what])


def tasted(word: str, at: float, piece: str = "", numbers: Numbers | None = None) -> Measurement:
    """The finished taste of a slice fried and eaten warm, as a range of salt: "bland", "right", "salty" or "too salty".

    The ranges are the working bands `taste.*` (judgement); frying drives off water, so a slice tastes saltier than the
    meat is, and the open ends are closed at 0.5 and 4.5 % (judgement). Raises KeyError for another word.
    """
    if word not in TASTES:
        raise KeyError(f'"{word}" is not one of {", ".join(TASTES)}')
    base = numbers or default_numbers()
    below, above = TASTES[word]
    low = base.si(below) if below else 0.005
    high = base.si(above) if above else 0.045
    return Measurement("taste", at, 0.5 * (low + high), 0.5 * (high - low) / POINT_95, piece)


def salometer(
    salt: np.ndarray, sugar: np.ndarray, temperature: np.ndarray, numbers: Numbers | None = None
) -> np.ndarray:
    """Degrees that a salometer made for 60 degF shows in a brine at `temperature` K (0 to 40 degC; colder counts as 0).

    `salt`, `sugar`: kg per kg of water. The instrument weighs: it shows the brine that is as dense at 60 degF. Sugar adds its own
    volume as a crystal (row sugar.crystal_density), so it reads as about half as much salt. The glass is taken not to shrink.

    >>> round(float(salometer(np.array(0.1), np.array(0.0), np.array(288.7056))), 2)  # 9.09 % of brine, at 60 degF
    34.44
    >>> bool(salometer(np.array(0.1), np.array(0.0), np.array(276.15)) > 34.44)  # cold brine is denser
    True
    """
    base = numbers or default_numbers()
    kelvin = np.clip(temperature, 273.15, 313.15)
    alone = np.asarray(brine.density(np.minimum(salt / (1 + salt), brine.STRONGEST), kelvin))
    dense = (1 + salt + sugar) / ((1 + salt) / alone + sugar / base.si("sugar.crystal_density"))
    known = np.asarray(brine.density(GRID, brine.SIXTY_FAHRENHEIT))
    found = np.interp(dense, known, GRID)
    slope = (GRID[1] - GRID[0]) / np.diff(known)[[0, -1]]
    found = np.where(dense < known[0], (dense - known[0]) * slope[0], found)
    found = np.where(dense > known[-1], GRID[-1] + (dense - known[-1]) * slope[1], found)
    return 100.0 * found / brine.SALOMETER_SCALES["60F"]


def measure(history: History, reading: Measurement) -> float:
    """What the instrument of `reading` would show in this history, in the unit of its value.

    Raises ValueError for a time after the end, or a piece that is not there.
    """
    piece: int | str = reading.piece or 0
    if reading.what == "weight":
        return history.weight(reading.at, piece)
    if reading.what == "core salt":
        return history.core("salt", reading.at, piece)
    if reading.what in ("average salt", "taste"):
        return history.average("salt", reading.at, piece)
    salt = history.bath("salt", reading.at)
    if reading.what == "brine strength":
        return salt
    sugar = history.bath("sugar", reading.at)
    kelvin = history.temperature(reading.at) if reading.temperature is None else reading.temperature
    return float(
        salometer(np.array(salt / (1 - salt)), np.array(sugar / (1 - sugar)), np.array(kelvin), history.numbers)
    )


def _measured(many: Ensemble, readings: Sequence[Measurement], kelvin: Sequence[float]) -> np.ndarray:
    """`measure` for every draw and reading (d, r), one pass for each kind and piece; `kelvin`: of the brine at each."""
    result = np.empty((many.count, len(readings)))
    names = [piece.name for piece in many.pieces]
    groups: dict[tuple[str, int], list[int]] = {}
    for number, reading in enumerate(readings):
        groups.setdefault((reading.what, names.index(reading.piece) if reading.piece else 0), []).append(number)
    for (what, piece), chosen in groups.items():
        times = np.array([readings[number].at for number in chosen])
        if what == "weight":
            result[:, chosen] = many.weight(times, piece)
        elif what in ("core salt", "average salt", "taste"):
            result[:, chosen] = many.at("core" if what == "core salt" else "average", "salt", times, piece)
        else:
            salt = many.bath("salt", times)
            if what == "salometer":
                sugar = many.bath("sugar", times)
                warm = np.broadcast_to(np.array([kelvin[number] for number in chosen]), salt.shape)
                salt = salometer(salt / (1 - salt), sugar / (1 - sugar), warm, many.base)
            result[:, chosen] = salt
    return result


@dataclass(frozen=True)
class Estimate:
    """One fitted input, in its printed unit: value with its 90 % interval, and what was known before."""

    input: Uncertain
    value: float
    low: float
    high: float
    before: tuple[float, float, float]

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

    @property
    def told(self) -> bool:
        """Whether the data tell something about every fitted input."""
        return self.converged and not self.notes

    def __getitem__(self, key: str) -> Estimate:
        return next(row for row in self.estimates if row.input.key == key)

    @property
    def sentence(self) -> str:
        """Estimates with intervals, then what cannot be told, then what was taken as known."""
        said = [
            f"{_upper(row.input.label)}: {row.value:.3g} {row.input.unit} ({row.low:.3g} to {row.high:.3g} in 9 cases of 10; before: "
            f"{row.before[1]:.3g}, {row.before[0]:.3g} to {row.before[2]:.3g}), from {len(self.residuals)} "
            f"reading{'s' if len(self.residuals) > 1 else ''}."
            for row in self.estimates
        ]
        return " ".join([*said, *self.notes, f"Taken as known: {', '.join(self.held)}."])


def _upper(words: str) -> str:
    return words[0].upper() + words[1:]


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
    the scatter of water uptake (6 points) unless "water uptake" is fitted. The 90 % interval is that of the linearised problem.
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
    kelvin = [
        usual.temperature(min(reading.at, usual.length)) if reading.temperature is None else reading.temperature
        for reading in readings
    ]
    observed = np.array([reading.value for reading in readings])
    error = np.array([_error(reading, usual, parameters, base) for reading in readings])
    middle, deviation = np.array([s.middle for s in scales]), np.array([s.deviation for s in scales])
    step = 1e-3 * deviation

    def predict(x: np.ndarray) -> np.ndarray:
        """Readings (d, r) at points (d, p)."""
        columns = {scale.row.key: scale.value(x[:, k]) for k, scale in enumerate(scales)}
        return _measured(Ensemble(pieces, stages, columns, loss=loss, cells=cells, numbers=base), readings, kelvin)

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
        lambda x: both(x)[0],
        inside,
        lambda x: both(x)[1],
        bounds=bounds,
        x_scale=deviation,
        xtol=1e-10,
        ftol=1e-12,
        gtol=1e-10,
    )
    off, slopes = both(found.x)
    data = slopes[: len(readings)]
    covariance = np.linalg.inv(slopes.T @ slopes)
    spread = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(spread, spread)
    chi_square = float((off[: len(readings)] ** 2).sum())
    notes = _notes(scales, found.x, spread, correlation, data, len(readings))
    freedom = len(readings) - len(scales)
    if freedom > 0 and gammaincc(freedom / 2, chi_square / 2) < 0.01:
        notes.append(
            f"The readings do not agree with each other and this model (chi-square {chi_square:.1f} for {freedom} to spare): one of them "
            "may be wrong, or the piece is not as described; the intervals are widened accordingly."
        )
        spread = spread * np.sqrt(chi_square / freedom)
    if not found.success:
        notes.append(f"The fit did not settle: {found.message}")
    estimates = []
    for scale, x, s in zip(scales, found.x, spread, strict=True):
        low, high = (float(scale.value(np.clip(x + sign * POINT_95 * s, scale.low, scale.high))) for sign in (-1, 1))
        least, usually, most = (
            float(scale.value(scale.middle + sign * POINT_95 * scale.deviation)) for sign in (-1, 0, 1)
        )
        estimates.append(Estimate(scale.row, float(scale.value(x)), low, high, (least, usually, most)))
    predicted = observed + off[: len(readings)] * error
    residuals = tuple(
        Residual(reading, float(value), float(-o)) for reading, value, o in zip(readings, predicted, off, strict=False)
    )
    held = tuple(row.label for row in known if row.key not in parameters)
    return Fit(tuple(estimates), correlation, residuals, chi_square, tuple(notes), held, bool(found.success))


def _error(reading: Measurement, usual: History, parameters: Sequence[str], numbers: Numbers) -> float:
    if reading.what != "weight" or "water uptake" in parameters:
        return reading.error
    piece = usual.pieces[usual._piece(reading.piece or 0)]
    return float(np.hypot(reading.error, water_change_band(numbers) / POINT_95 * piece.weight))


def _notes(scales, x, spread, correlation, data, count) -> list[str]:
    """What the data cannot tell, one sentence each."""
    notes = []
    if count < len(scales):
        notes.append(
            f"There are fewer readings ({count}) than things to find ({len(scales)}); the rest is what was known before."
        )
    information = data.T @ data
    for k, scale in enumerate(scales):
        if min(x[k] - scale.low, scale.high - x[k]) < 1e-3 * scale.deviation:
            notes.append(
                f"{_upper(scale.row.label)} is stuck at the end of its range ({scale.value(x[k]):.3g} {scale.row.unit}): the readings ask "
                "for more than the model allows."
            )
        if spread[k] > 0.8 * scale.deviation:
            notes.append(
                f"The readings say next to nothing about {scale.row.label}: the interval is {100 * spread[k] / scale.deviation:.0f} % as "
                "wide as before; measure later, oftener or more sharply."
            )
        elif information[k, k] > 0 and np.linalg.cond(information) > 1e6:
            notes.append(f"The readings cannot tell {scale.row.label} from the rest; what was known before decides.")
    for i in range(len(scales)):
        for j in range(i):
            if abs(correlation[i, j]) > 0.9:
                notes.append(
                    f"{_upper(scales[i].row.label)} and {scales[j].row.label} cannot be told apart (correlation "
                    f"{correlation[i, j]:+.2f}); only their joint effect is known."
                )
    return notes


def from_log(batch: Batch) -> tuple[tuple[Measurement, ...], tuple[str, ...]]:
    """(measurements, remarks) of a batch's log. An error in the log is taken as holding 9 times of 10.

    Readings without a value to fit (turned, note) and those taken before the start of the cure at 0 s stay out; an acidity is
    remarked, because it belongs into the piece.
    """
    found, remarks = [], []
    for entry in batch.log:
        if entry.what == "acidity":
            remarks.append(
                f"The pH of {entry.number:g} informs the loss of nitrite, not the pace of salt: write it into the piece as ph."
            )
        if entry.what == "temperature":
            remarks.append("Temperatures of the log are not fitted: write them into the stage as a fridge log.")
        if entry.what == "taste":
            found.append(tasted(entry.value.strip().lower(), entry.at, entry.piece))
        elif entry.what in KINDS:
            value = entry.number
            assert value is not None
            usual = USUAL_ERROR[entry.what] * (value if entry.what == "weight" else 1.0)
            error = units.read(entry.error, KINDS[entry.what]) if entry.error else usual
            found.append(Measurement(entry.what, entry.at, value, max(error, 1e-9) / POINT_95, entry.piece))
    sweet = any(getattr(getattr(stage, "bath", None) or stage, "sugar", 0.0) for stage in batch.filled())
    if sweet and any(reading.what == "brine strength" for reading in found):
        remarks.append(
            "This brine holds sugar, which a refractometer counts as salt: log salometer degrees, where that is allowed for."
        )
    return tuple(found), tuple(dict.fromkeys(remarks))


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
