"""Uncertain inputs of a batch from readings in it, by weighted least squares with the published ranges as priors.

Everything is fitted as a score (`Uncertain.scored`), of which the prior is normal, 0 with deviation 1, whatever its distribution. A fit
says plainly when the data cannot tell, and names what it took as known and what it let vary beside what it was asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..engine.history import History
from ..engine.simulate import simulate
from ..normal import chance_beyond
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..results import Shown
from ..sources import Numbers, behind, default_numbers
from ..spread.draws import Learned
from ..spread.uncertain import POINT_95, Uncertain, inputs_for
from ..units import capital, day
from .readings import Measurement
from .search import NEAR_END, Search, errors

LITTLE = (
    0.8  # an interval that is still so wide, as a share of what was known before, tells next to nothing (judgement)
)
DISAGREE = 0.01  # readings that are so unlikely together do not agree (judgement)
BEYOND = 0.001  # readings that are so unlikely in any meat that is published are not believed (judgement)


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


@dataclass(frozen=True, repr=False)
class Fit(Shown):
    """What measurements tell. notes: plain sentences on what the data cannot tell; held: what was taken as known; varied: what was let
    vary within what is published or usual, though nobody asked for it; learned: all that the readings touched, for the draws.
    """

    estimates: tuple[Estimate, ...]
    correlation: np.ndarray
    residuals: tuple[Residual, ...]
    chi_square: float
    notes: tuple[str, ...]
    held: tuple[str, ...]
    varied: tuple[str, ...]
    learned: Learned
    converged: bool
    agree: bool
    stuck: bool

    def lines(self) -> list[str]:
        told = [
            f"{row.input.label}: {row.value:.3g} {row.input.unit} ({row.low:.3g} to {row.high:.3g}; before {row.before[0]:.3g} to {row.before[2]:.3g})"
            for row in self.estimates
        ]
        return [f"Fit of {len(self.residuals)} readings, chi square {self.chi_square:.3g}", *told, *self.notes]

    def rows(self) -> list[dict[str, Any]]:
        """One for each input that was fitted: value with its 90 % interval, in its printed unit, and the interval before."""
        return [
            {
                "input": row.input.key, "value": row.value, "low": row.low, "high": row.high, "unit": row.input.unit,
                "low before": row.before[0], "high before": row.before[2], "told": row.told,
            }
            for row in self.estimates
        ]  # fmt: skip

    @property
    def believed(self) -> bool:
        """Whether a forecast may take it up: readings that agree with each other and with some meat that is published."""
        return self.agree and self.converged and not self.stuck

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
            f"{capital(row.input.label)}: {row.value:.3g} {row.input.unit} ({row.low:.3g} to {row.high:.3g}, 9 times in 10; before: "
            f"{row.before[1]:.3g}, {row.before[0]:.3g} to {row.before[2]:.3g}), from {len(self.residuals)} "
            f"reading{'s' if len(self.residuals) > 1 else ''}."
            for row in self.estimates
        ]
        return " ".join([*said, *self.notes, *self.beside])

    @property
    def beside(self) -> tuple[str, ...]:
        """What was let vary, and what was taken as known, beside what was asked for."""
        said = []
        if self.varied:
            said.append(
                f"Let vary beside what is looked for, within what is published or usual: {', '.join(self.varied)}."
            )
        if self.held:
            said.append(f"Taken as known: {', '.join(self.held)}. If one of them is off, so is the answer.")
        return tuple(said)


def known_before(row: Uncertain) -> tuple[float, float, float]:
    """(5 % point, middle, 95 % point) of an input, in its printed unit, as a fit takes it.

    >>> from curelab.spread.uncertain import uncertain_inputs
    >>> [round(value, 3) for value in known_before(uncertain_inputs()[0])]
    [0.183, 0.334, 0.61]
    """
    least, usually, most = (float(row.scored(np.asarray(score))) for score in (-POINT_95, 0.0, POINT_95))
    return least, usually, most


def fit(
    pieces: Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage],
    readings: Sequence[Measurement],
    *,
    parameters: Sequence[str] = ("obstruction.lean",),
    beside: Sequence[str] = (),
    inputs: Sequence[Uncertain] | None = None,
    loss: str = "nordin",
    numbers: Numbers | None = None,
    cells: int = 16,
    shared: float = 0.0,
    system: str = "metric",
) -> Fit:
    """Weighted least squares with priors: the named inputs of a batch from readings in it.

    `inputs`: what is uncertain, and so the priors; default all rows of uncertain.csv that the batch depends on. `beside`: those that
    nobody asks for and that are not known either, such as the thickness; they vary within their priors, and the intervals of the others
    widen by it. All else is taken as known. A weight also carries the scatter of water uptake (6 points) unless "water uptake" is asked
    for, because how water keeps pace with salt is a judgement, and a temperature the swing of a fridge. The 90 % interval is that of the
    linearised problem. `shared`: the part of the error, as a deviation, by which an instrument is off in the same way every time; many
    readings take away the rest alone. `system`: of the units in what is said.
    Raises ValueError for no readings, a parameter that is not uncertain here, or a reading after the end of the plan.
    """
    base = numbers or default_numbers()
    pieces, stages = (pieces,) if isinstance(pieces, Piece) else tuple(pieces), in_order(stages)
    usual = simulate(pieces, stages, loss=loss, cells=cells, numbers=base)
    known = tuple(inputs) if inputs is not None else inputs_for(pieces, stages, loss, base, usual.numbers.used)
    _refuse(usual, known, readings, (*parameters, *beside))
    rows = {row.key: row for row in known}
    asked = [rows[key] for key in parameters]
    varying = [*asked, *(rows[key] for key in dict.fromkeys(beside) if key not in parameters)]
    own, scatter = errors(readings, usual, parameters, base, shared)
    search = Search(usual, base, readings, varying, own, scatter)
    found = search.settled()
    off, slopes = search(found.x)
    count, wanted = len(readings), len(asked)
    covariance = np.linalg.inv(slopes.T @ slopes)
    deviation = np.sqrt(np.diag(covariance))
    chi_square, agree, times = _agreement(off, count, wanted)
    told, narrowed, notes = _told(asked, found.x, search.ends, deviation, covariance, slopes[:count])
    residuals = _residuals(search, found.x, off)
    if not agree:
        notes.append(_disagreement(residuals, times, system))
        wider = np.minimum(times, np.maximum(1 / deviation, 1.0))  # no wider than before
        covariance = covariance * np.outer(wider, wider)
        deviation = deviation * wider
    if not found.success:
        notes.append(f"The fit did not settle: {found.message}")
    estimates = (
        _estimate(row, found.x[k], deviation[k], search.ends[:, k], told[k], narrowed[k]) for k, row in enumerate(asked)
    )
    scale = np.outer(deviation, deviation)[:wanted, :wanted]
    touched = np.flatnonzero(slopes[:count, : len(varying)].any(axis=0))
    return Fit(
        tuple(estimates), covariance[:wanted, :wanted] / scale, residuals, chi_square, tuple(notes),
        tuple(row.label for row in known if row not in varying), tuple(row.label for row in varying[wanted:]),
        Learned(tuple(varying[k] for k in touched), found.x[touched], covariance[np.ix_(touched, touched)], tuple(parameters)),
        bool(found.success), agree, search.stuck(found.x, wanted),
    )  # fmt: skip


def _refuse(usual: History, known: Sequence[Uncertain], readings: Sequence[Measurement], keys: Sequence[str]) -> None:
    """Raises ValueError for inputs that are not uncertain here, for no readings, or for one after the end of the plan."""
    missing = [key for key in keys if key not in {row.key for row in known}]
    if missing or not readings:
        raise ValueError(
            f"{', '.join(missing)}: not uncertain in this batch" if missing else "there is no reading to fit"
        )
    late = [reading for reading in readings if reading.at > usual.length * (1 + 1e-9)]
    if late:
        raise ValueError(f"the reading of {late[0].what} on {day(late[0].at)} lies after the end of the plan")


def _agreement(off: np.ndarray, count: int, wanted: int) -> tuple[float, bool, float]:
    """(chi square, whether the readings agree, how many times as far off as is usual) of residuals, `count` readings before the priors."""
    # What was let vary takes up part of what is off, at the price of its prior; so both count as the readings' own.
    chi_square = float((off[:count] ** 2).sum() + (off[count + wanted :] ** 2).sum())
    whole = float((off**2).sum())
    freedom = count - wanted
    apart = freedom > 0 and chance_beyond(chi_square, freedom) < DISAGREE
    agree = bool(not apart and chance_beyond(whole, count) >= BEYOND)
    return chi_square, agree, float(np.sqrt(max(chi_square / freedom if apart else 0.0, whole / count)))


def _residuals(search: Search, x: np.ndarray, off: np.ndarray) -> tuple[Residual, ...]:
    """Each reading beside what the meat is taken to hold, without what the instrument is taken to be off."""
    predicted = search.observed + off[: len(search.readings)] * search.scatter - search.own @ x[len(search.varying) :]
    whole_error = np.sqrt(search.scatter**2 + (search.own**2).sum(axis=1))
    return tuple(
        Residual(reading, float(value), float((reading.value - value) / error))
        for reading, value, error in zip(search.readings, predicted, whole_error, strict=True)
    )


def _estimate(row: Uncertain, score: float, deviation: float, ends: np.ndarray, told: bool, narrowed: bool) -> Estimate:
    """A score with its deviation as a value with its 90 % interval, in the printed unit."""
    low, value, high = (float(row.scored(np.clip(score + sign * POINT_95 * deviation, *ends))) for sign in (-1, 0, 1))
    return Estimate(row, value, low, high, known_before(row), told, narrowed)


def _disagreement(residuals: Sequence[Residual], times: float, system: str) -> str:
    worst = max(residuals, key=lambda row: abs(row.off))
    reading = worst.reading
    read = f'"{reading.word}"' if reading.word else reading.shown(reading.value, system)
    where = f"the {reading.what} of {day(reading.at)}: {read} read, {reading.shown(worst.predicted, system)} expected"
    if len(residuals) == 1:
        return f"The reading is not what this model expects of any meat that is published, {where}. Read it again, or the piece is not as described."
    return (
        f"The readings do not agree with each other and this model: they scatter {times:.1f} times as widely as their errors "
        f"allow, so one of them may be wrong, or the piece is not as described. Furthest off is {where}. The intervals are widened accordingly."
    )


def _told(rows, x, ends, deviation, covariance, data) -> tuple[list[bool], list[bool], list[str]]:
    """For every input that was asked for whether the data tell it and whether they narrow it; and what they cannot tell, one sentence
    each.
    """
    told, narrowed, notes = [True] * len(rows), [True] * len(rows), []
    if len(data) < len(rows):
        notes.append(
            f"There are fewer readings ({len(data)}) than things to find ({len(rows)}); the rest is what was known before."
        )
    for k, row in enumerate(rows):
        if min(x[k] - ends[0, k], ends[1, k] - x[k]) < NEAR_END:
            told[k] = False
            notes.append(
                f"{capital(row.label)} is stuck at the end of its range ({row.scored(x[k]):.3g}{behind(row.unit)}): the readings ask "
                "for more than the model allows."
            )
        if deviation[k] > LITTLE:
            told[k] = narrowed[k] = False
            notes.append(
                f"The readings say next to nothing about {row.label}: the interval is {100 * deviation[k]:.0f} % as "
                "wide as before; measure later, oftener or more sharply."
            )
        elif _hidden(data[:, : len(rows)], k):
            told[k] = False
            notes.append(f"The readings cannot tell {row.label} from the rest; what was known before decides.")
    for i in range(len(rows)):
        for j in range(i):
            together = covariance[i, j] / (deviation[i] * deviation[j])
            if abs(together) > 0.9:
                told[i] = told[j] = False
                notes.append(
                    f"{capital(rows[i].label)} and {rows[j].label} cannot be told apart (correlation "
                    f"{together:+.2f}); only their joint effect is known."
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
