"""The least squares behind a fit: what readings and priors are off, and where it settles. Knows scores and deviations, no words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .. import progress
from ..engine.history import History
from ..matter.tissue import water_change_band
from ..sources import Numbers, default_numbers
from ..spread.uncertain import POINT_95, Uncertain
from ..threads import on_one_thread
from .least_squares import Ask, Settled, least_squares
from .readings import FRIDGE_SWING, Measurement, measured, piece_of

FURTHEST = 4.0  # deviations: no input is looked for beyond
LOOKS = 8  # at the readings until a fit ends, as its progress is told: 5 for the demo brisket, 8 for the largest batch (measured)
NEAR_END = 1e-3  # deviations: what is found so near to where the search ends is stuck there
STEP = 1e-3  # deviations, of the slopes


def score_bounds(row: Uncertain) -> tuple[float, float]:
    """The scores between which an input is looked for: at most FURTHEST from its middle, and within the hard bounds of its number."""
    least, most = default_numbers().bounds(row.key)
    if row.distribution != "lognormal" or not np.isfinite(most):
        return -FURTHEST, FURTHEST  # the other distributions end by themselves, well within any bounds
    logs = 2 * np.log([max(least, np.finfo(float).tiny), most]) - np.log(row.low * row.high)
    scores = POINT_95 * logs / np.log(row.high / row.low)
    return max(-FURTHEST, float(scores[0])), min(FURTHEST, float(scores[1]))


class Search:
    """The least squares: what the readings and the priors are off, in deviations, over x (v + i,), the scores of the inputs that vary and
    what each instrument is off every time.

    own (r, i) and scatter (r,) are those of `errors`.
    """

    def __init__(
        self,
        usual: History,
        numbers: Numbers,
        readings: Sequence[Measurement],
        varying: Sequence[Uncertain],
        own: np.ndarray,
        scatter: np.ndarray,
    ):
        self.usual, self.numbers, self.readings, self.varying = usual, numbers, readings, varying
        self.own, self.scatter = own, scatter
        self.planned = [usual.temperature(min(reading.at, usual.length)) for reading in readings]
        self.observed = np.array([reading.value for reading in readings])
        self.ends = np.array([*(score_bounds(row) for row in varying), *([(-FURTHEST, FURTHEST)] * own.shape[1])]).T
        self._moves: np.ndarray = np.ones(len(varying), dtype=bool)
        self._seen: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}

    def __call__(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Residuals (r + v + i,), readings before priors, and their slopes (r + v + i, v + i), in one pass. What moved no reading at first, as a pH
        does that the loss of nitrite alone hangs on, is not tried again.
        """
        if x.tobytes() not in self._seen:
            self._seen[x.tobytes()] = self._asked(x, both=True)
        return self._seen[x.tobytes()]

    def rough(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The same with slopes from a step to one side alone, which takes half as many cases."""
        return self._asked(x, both=False)

    def _asked(self, x: np.ndarray, both: bool) -> tuple[np.ndarray, np.ndarray]:
        meat, off = x[: len(self.varying)], x[len(self.varying) :]
        step = STEP * np.eye(len(meat))[self._moves]
        sides = [step, -step] if both else [step]
        points = meat + np.concatenate([np.zeros((1, len(meat))), *sides])
        columns = {row.key: row.scored(points[:, k]) for k, row in enumerate(self.varying)}
        usual = self.usual
        at = measured(
            usual.pieces, usual.stages, columns, self.readings, self.planned,
            loss=usual.loss, cells=usual.cells, numbers=self.numbers,
        )  # fmt: skip
        slopes = np.zeros((at.shape[1], len(meat)))
        above, below = at[1 : len(step) + 1], at[len(step) + 1 :] if both else at[:1]
        slopes[:, self._moves] = (above - below).T / (STEP * len(sides))
        if slopes.any():
            self._moves = np.any(slopes, axis=0)
        by_own = np.concatenate([slopes, self.own], axis=1) / self.scatter[:, None]
        return (
            np.concatenate([(at[0] + self.own @ off - self.observed) / self.scatter, x]),
            np.concatenate([by_own, np.eye(len(x))]),
        )

    @on_one_thread
    def settled(self) -> Settled:
        """Where the squares are least, looked for from the middle of what was known."""
        low, high = self.ends
        with progress.counted("fitting the model to the readings", about=LOOKS) as done:

            def counted(ask: Ask) -> Ask:
                return lambda x: (done(), ask(x))[1]

            return least_squares(counted(self), np.zeros(len(low)), low, high, counted(self.rough))

    def stuck(self, x: np.ndarray, wanted: int) -> bool:
        """Whether one of the first `wanted` inputs lies at the end of where it was looked for."""
        return bool(np.any(np.abs(x - self.ends)[:, :wanted] < NEAR_END))


def errors(
    readings: Sequence[Measurement], usual: History, parameters: Sequence[str], numbers: Numbers, shared: float
) -> tuple[np.ndarray, np.ndarray]:
    """(what each instrument is off every time (r, i), what is left (r,)), as deviations in the units of the readings."""
    whole = np.array([_error(reading, usual, parameters, numbers) for reading in readings])
    kinds = list(dict.fromkeys(reading.what for reading in readings)) if shared else []
    own = np.zeros((len(readings), len(kinds)))
    for number, reading in enumerate(readings):
        if kinds:
            own[number, kinds.index(reading.what)] = shared * reading.error
    return own, np.sqrt(whole**2 - (own**2).sum(axis=1))


def _error(reading: Measurement, usual: History, parameters: Sequence[str], numbers: Numbers) -> float:
    if reading.what == "temperature":
        return float(np.hypot(reading.error, FRIDGE_SWING / POINT_95))
    if reading.what != "weight" or "water uptake" in parameters:
        return reading.error
    piece = piece_of(reading, usual.pieces)
    return float(np.hypot(reading.error, water_change_band(numbers) / POINT_95 * piece.weight))
