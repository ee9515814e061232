"""What matters most: how much of the spread of one answer each uncertain input makes, and what a cook can do about the first.

Two named methods. "sobol": first-order and total indices by `scipy.stats.sobol_indices` (Saltelli's points, Janon's and Sobol's
estimators), which costs draws x (inputs + 2) evaluations. "rank": the squared rank correlation of each input with the answer over
the draws that are there already, which costs nothing, sees only rising or falling effects, and has no total index.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..criterion import Criterion
from .draws import LONGEST, Request, Spread
from .uncertain import Draws, Uncertain

Ask = Callable[[Spread], np.ndarray]


@dataclass(frozen=True)
class Share:
    """One input: `first`, the share of the variance it makes alone; `total`, with all it does together with others (None: not known)."""

    input: Uncertain
    first: float
    total: float | None

    @property
    def label(self) -> str:
        return self.input.label


@dataclass(frozen=True)
class Importance:
    """The inputs of one answer, the one that matters most first."""

    answer: str
    method: str
    rows: tuple[Share, ...]
    evaluations: int
    flat: bool

    @property
    def sentence(self) -> str:
        """What to do first, with the share it would take away and how it was found."""
        if self.flat:
            return f"{self.answer} hardly changes with anything that was varied ({self._how})."
        best = self.rows[0]
        share = best.first if best.total is None else best.total
        return (
            f"{_upper(best.input.remedy)} before anything else: {best.label} makes "
            f"{100 * min(max(share, 0.0), 1.0):.0f} % of the spread of {self.answer} "
            f"({self._how})."
        )

    @property
    def _how(self) -> str:
        named = {"sobol": "Sobol indices", "rank": "squared rank correlation"}[self.method]
        return f"{named}, {self.evaluations} evaluations, {len(self.rows)} inputs: {', '.join(row.label for row in self.rows)}"


def _upper(words: str) -> str:
    return words[0].upper() + words[1:]


def at_end(place: str, quantity: str, piece: int | str = 0, basis: str | None = None) -> Ask:
    """The answer "what is it at the end": a reading of every draw."""

    def ask(many: Spread) -> np.ndarray:
        number = many._piece(piece)
        request = Request.of("at", place=place, quantity=quantity, times=None, piece=number, basis=basis)
        return many.readings([request])[0][:, 0]

    return ask


def how_long(
    criterion: str | Criterion, stage: int = 0, piece: int | str | None = None, at_most: float = LONGEST
) -> Ask:
    """The answer "how long until": the logarithm of the time; a draw that never gets there counts as twice `at_most`."""

    def ask(many: Spread) -> np.ndarray:
        values = many.time_to(criterion, stage, piece=piece, at_most=at_most).values
        return np.log(np.clip(np.where(np.isinf(values), 2 * at_most, values), 60.0, None))

    return ask


def what_matters(many: Spread, ask: Ask, answer: str, *, method: str = "sobol", draws: int = 128) -> Importance:
    """Rank the inputs of a spread by what they do to one answer, `ask` (see `at_end`, `how_long`), called `answer` in words.

    draws: a power of two, for "sobol" only. Indices from few draws are rough: 128 tell the first from the rest, to about 0.1.
    Raises ValueError for another method.
    """
    if method == "rank":
        return _by_rank(many, ask, answer)
    if method != "sobol":
        raise ValueError(f'method "{method}" is not one of sobol, rank')
    from scipy.stats import sobol_indices

    evaluations = 0

    def function(x: np.ndarray) -> np.ndarray:
        nonlocal evaluations
        flat = x.reshape(len(many.inputs), -1)
        columns = {row.key: row.at(flat[k]) for k, row in enumerate(many.inputs)}
        evaluations += flat.shape[1]
        values = ask(Spread(many.case, Draws(many.inputs, many.draws.seed, columns), many.executor))
        return values.reshape(1, *x.shape[1:])

    class Even:
        """The inputs are sampled as shares and mapped by their own quantile functions."""

        def ppf(self, share):
            return share

    trial = ask(many)
    if np.ptp(trial) <= 1e-9 * max(float(np.abs(trial).max()), 1e-300):
        return Importance(answer, method, tuple(Share(row, 0.0, 0.0) for row in many.inputs), many.count, True)
    found = sobol_indices(
        func=function, n=draws, dists=[Even() for _ in many.inputs], rng=np.random.default_rng(many.draws.seed)
    )
    rows = [
        Share(row, float(found.first_order.ravel()[k]), float(found.total_order.ravel()[k]))
        for k, row in enumerate(many.inputs)
    ]
    rows.sort(key=lambda row: -(row.total or 0.0))
    return Importance(answer, method, tuple(rows), evaluations, False)


def _by_rank(many: Spread, ask: Ask, answer: str) -> Importance:
    values = ask(many)
    flat = bool(np.ptp(values) <= 1e-9 * max(float(np.abs(values).max()), 1e-300))
    ranks = _ranks(values)
    rows = []
    for row in many.inputs:
        mine = _ranks(many.draws.columns[row.key])
        rows.append(Share(row, 0.0 if flat else float(np.corrcoef(mine, ranks)[0, 1] ** 2), None))
    rows.sort(key=lambda row: -row.first)
    return Importance(answer, "rank", tuple(rows), many.count, flat)


def _ranks(values: np.ndarray) -> np.ndarray:
    """Ranks from 0; equal values share their mean rank."""
    _, inverse, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    return (last - 0.5 * (counts + 1))[inverse]
