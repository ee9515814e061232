"""What matters most: how much of the spread of one answer each uncertain input makes, and what a cook can do about the first.

Two named methods. "sobol": first-order and total indices on Saltelli's points, which costs draws x (inputs + 2) evaluations. The
estimators are those of Saltelli et al., Computer Physics Communications 181 (2010), 259-270, Table 2: row f for the total index,
rows b and c for the first-order index, b where an input matters little and c where it matters much, because that is where each
is least rough. "rank": the squares of the standardised coefficients of a regression of the answer's rank on the ranks of all inputs
(Saltelli et al., Sensitivity Analysis in Practice, 2004, gives it as SRRC), less what chance alone would make of them. It costs nothing
beyond the draws that are there already, sees only rising or falling effects, says how much of the spread it sees, and has no total
index. A plain rank correlation will not do: among few Sobol points some inputs run together, and one gets the share of another.

How rough the shares are is found by leaving out an eighth of the draws at a time (a jackknife over FOLDS parts). On points as even
as ours that errs on the careful side.
Longer than others because the two methods stand side by side, with what each tells.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..recipe.criterion import Criterion
from ..units import capital
from .draws import Draws
from .sobol import sobol
from .spread import LONGEST_WAIT, NEAR, Request, Spread
from .uncertain import Uncertain

Ask = Callable[[Spread], np.ndarray]
FOLDS = 8
STUDENT_95 = 1.895  # 95 % point of Student's t with FOLDS - 1 = 7 degrees of freedom (any printed table): one input above another
PER_INPUT = 2.5  # draws for each coefficient of a rank regression, at least (judgement)
STANDS_OUT = 0.1  # a first share below this is nobody's first job (judgement)
SEES = 0.5  # a method that sees less of the spread than this gives no advice (judgement)
NAMED = 3  # inputs that a sentence can name and still be followed by ear (judgement)
COUNTED = {2: "two", 3: "three"}
HOW = {"sobol": "Sobol indices", "rank": "rank regression"}


@dataclass(frozen=True)
class Share:
    """One input: `first`, the share of the variance it makes alone; `total`, with all it does together with others (None: not known).

    Shares are as estimated: roughness can bring them a little below 0, or a total below its first. error: the standard error of
    `first`. tied: it cannot be told apart from the input that matters most.
    """

    input: Uncertain
    first: float
    total: float | None
    error: float = 0.0
    tied: bool = False

    @property
    def label(self) -> str:
        """The input in words that fit into a sentence."""
        label = self.input.label
        return f"the {label}" if label == self.input.key else label

    @property
    def remedy(self) -> str:
        """What a cook can do about it; empty where nothing in a kitchen helps."""
        return "" if self.input.remedy.startswith("nothing") else self.input.remedy

    @property
    def rough(self) -> float:
        """Half the width of the interval that holds the first share 9 times in 10."""
        return STUDENT_95 * self.error


@dataclass(frozen=True)
class Importance:
    """The inputs of one answer, the one that matters most (by its first share) first.

    seen: the share of the variance that the method can see at all; None: all of it.
    """

    answer: str
    method: str
    rows: tuple[Share, ...]
    evaluations: int
    flat: bool
    seen: float | None = None

    @property
    def tied(self) -> tuple[Share, ...]:
        """The first row, and all that cannot be told apart from it."""
        return self.rows[:1] + tuple(row for row in self.rows[1:] if row.tied)

    @property
    def sentence(self) -> str:
        """What to do first, with the share it would take away and how it was found."""
        return f"{self.advice.removesuffix('.')} ({self.how})."

    @property
    def advice(self) -> str:
        """The sentence without how it was found: never shown without `how` near it."""
        if self.flat:
            return f"{capital(self.answer)} hardly changes with anything that was varied."
        best, tied = self.rows[0], self.tied
        spread = f"of the spread of {self.answer}"
        if self.seen is not None and self.seen < SEES:
            return (
                f"No clear answer: this method sees only {_percent(self.seen)} % {spread}, the largest part of that through "
                f"{best.label}."
            )
        if best.first < STANDS_OUT or len(tied) > NAMED:
            others = len(tied) - 1
            beside = f"; {others} more cannot be told apart from it" if others else ""
            return f"Nothing stands out: {best.label} makes the most {spread}, and that is {_percent(best.first)} %{beside}."
        makes = self.largest
        if len(tied) > 1:
            beside = ", ".join(f"{row.label} {_percent(row.first)} %" for row in tied[1:])
            makes += f"; {beside}; these {COUNTED[len(tied)]} cannot be told apart"
        lead = next((row for row in tied if row.remedy), None)
        if lead is not None:
            return f"{capital(lead.remedy)} before anything else. {capital(makes)}."
        after = next((row for row in self.rows if row.remedy and row.first >= 0.5 * STANDS_OUT), None)
        if after is None:
            return f"{capital(makes)}, and nothing in a kitchen helps."
        return (
            f"{capital(makes)}, and nothing in a kitchen helps. Next: {after.remedy}; "
            f"{after.label} makes {_percent(after.first)} %."
        )

    @property
    def largest(self) -> str:
        """The plain finding in one clause, without what to do about it."""
        best = self.rows[0]
        return f"{best.label} makes {_percent(best.first)} % of the spread of {self.answer}"

    @property
    def method_in_short(self) -> str:
        """The method and how many draws it rests on, where the inputs are named already."""
        sees = "" if self.seen is None else f" that sees {_percent(self.seen)} % of the spread"
        return f"{capital(HOW[self.method])}{sees}, {self.evaluations} draws"

    @property
    def how(self) -> str:
        """Method, number of evaluations and inputs."""
        sees = "" if self.seen is None else f" that sees {_percent(self.seen)} % of the spread"
        return (
            f"{HOW[self.method]}{sees}, {self.evaluations} evaluations, {len(self.rows)} inputs: "
            f"{', '.join(row.label for row in self.rows)}"
        )


def _percent(share: float) -> str:
    return f"{100 * min(max(share, 0.0), 1.0):.0f}"


def at_end(place: str, quantity: str, piece: int | str = 0, basis: str | None = None) -> Ask:
    """The answer "what is it at the end": a reading of every draw."""

    def ask(many: Spread) -> np.ndarray:
        number = many.number(piece)
        request = Request.of("at", place=place, quantity=quantity, times=None, piece=number, basis=basis)
        return many.readings([request])[0][:, 0]

    return ask


def how_long(
    criterion: str | Criterion, stage: int = 0, piece: int | str | None = None, at_most: float = LONGEST_WAIT
) -> Ask:
    """The answer "how long until": the logarithm of the time; a draw that never gets there counts as twice `at_most`."""

    def ask(many: Spread) -> np.ndarray:
        values = many.time_to(criterion, stage, piece=piece, at_most=at_most).values
        return np.log(np.clip(np.where(np.isinf(values), 2 * at_most, values), 60.0, None))

    return ask


def within(criterion: str | Criterion, piece: int | str | None = None) -> Ask:
    """The answer "how long until", looked for only as far as the spread itself goes; a draw that never gets there counts as twice that."""
    wanted = Criterion.of(criterion)

    def ask(many: Spread) -> np.ndarray:
        where: int | str = "every" if piece is None else many.number(piece)
        request = Request.of("first_time", near=NEAR, criterion=wanted, where=where)
        values = many.readings([request])[0]
        never = 2 * sum(stage.longest for stage in many.case.stages)
        return np.log(np.clip(np.where(np.isinf(values), never, values), 60.0, None))

    return ask


def at_end_of(place: str, quantity: str, stage: int, piece: int | str = 0, basis: str | None = None) -> Ask:
    """The answer "what is it when stage number `stage` ends"."""

    def ask(many: Spread) -> np.ndarray:
        number = many.number(piece)
        request = Request.of("at_end", place=place, quantity=quantity, stage=stage, piece=number, basis=basis)
        return many.readings([request])[0][:, 0]

    return ask


def what_matters(many: Spread, ask: Ask, answer: str, *, method: str = "sobol", draws: int = 128) -> Importance:
    """Rank the inputs of a spread by what they do to one answer, `ask` (see `at_end`, `how_long`), called `answer` in words.

    "rank" uses the draws of the spread; where these are fewer than PER_INPUT for each input and one, it takes that many anew.
    draws: a power of two from 16 up, for "sobol" only. Indices from few draws are rough: 128 tell the first from the rest, to about
    0.1; what cannot be told apart is said to be so.
    Raises ValueError for another method or number of draws, for an answer that is not a number in some draw, and for draws whose inputs
    readings have tied together: no variance belongs to one of them then.

    >>> import numpy as np
    >>> from curelab import Bath, Brine, Piece
    >>> from curelab.spread import spread
    >>> cure = Brine(bath=Bath(water="1 kg", salt="50 g"), temperature="3 degC", lasts="9 d", lying=False)
    >>> many = spread(Piece(thickness="4 cm", weight="1 kg"), cure, count=64)
    >>> found = what_matters(many, lambda each: each.draws.columns["temperature"], "the temperature", method="rank")
    >>> found.rows[0].label, round(found.rows[0].first, 6), found.evaluations
    ('the temperature', 1.0, 64)
    """
    if method not in HOW:
        raise ValueError(f'method "{method}" is not one of {", ".join(HOW)}')
    if draws < 2 * FOLDS or draws & (draws - 1):
        raise ValueError(f"draws must be a power of two from {2 * FOLDS} up, not {draws}")
    if many.draws.learned is not None:
        raise ValueError("readings have tied these inputs together; ask the draws from before they were read")
    if method == "rank":
        many = enough(many)
    values = _asked(many, ask)
    if np.ptp(values) <= 1e-9 * max(float(np.abs(values).max()), 1e-300):
        unknown = None if method == "rank" else 0.0
        return Importance(answer, method, tuple(Share(row, 0.0, unknown) for row in many.inputs), many.count, True)
    if method == "rank":
        columns = np.array([many.draws.columns[row.key] for row in many.inputs])
        estimates = _folded(many.count, lambda keep: _rank_shares(columns[:, keep], values[keep])[None])
        seen = float(_rank_regression(columns, values)[1])
        return _ranked(many, answer, method, estimates, many.count, seen)
    base, other, mixed = _saltelli(many, ask, draws)
    estimates = _folded(draws, lambda keep: _indices(base[keep], other[keep], mixed[:, keep]))
    return _ranked(many, answer, method, estimates, draws * (len(many.inputs) + 2))


def enough(many: Spread) -> Spread:
    """The spread, or the same in as many draws as ranks need."""
    least = int(np.ceil(PER_INPUT * (len(many.inputs) + 1)))
    return many if many.count >= least else many.widened(least)


def _asked(many: Spread, ask: Ask) -> np.ndarray:
    values = np.asarray(ask(many), dtype=float)
    wrong = int(np.count_nonzero(~np.isfinite(values)))
    if wrong:
        raise ValueError(f"the answer is not a number in {wrong} of {many.count} draws; ask for one that always is")
    return values


def _ranked(
    many: Spread,
    answer: str,
    method: str,
    folded: tuple[np.ndarray, np.ndarray],
    evaluations: int,
    seen: float | None = None,
) -> Importance:
    """The shares in order, from estimates (k, inputs) and the same with each fold left out (folds, k, inputs); k: first, total."""
    whole, without = folded
    first, parts = whole[0], without[:, 0]
    totals = whole[1] if len(whole) > 1 else None
    order = sorted(range(len(first)), key=lambda k: (-first[k], 0.0 if totals is None else -totals[k]))
    best = order[0]
    lead, error = first[best] - first, _jackknife(parts)
    tied = lead <= STUDENT_95 * _jackknife(parts[:, [best]] - parts)
    rows = tuple(
        Share(
            many.inputs[k], float(first[k]), None if totals is None else float(totals[k]), float(error[k]), bool(tied[k])
        )
        for k in order
    )  # fmt: skip
    return Importance(answer, method, rows, evaluations, False, seen)


def _folded(count: int, estimate: Callable[[np.ndarray], np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """(estimate from all draws, the same with each fold left out). A fold is a run of neighbours: each run of Sobol points is even
    in itself, where every eighth point would be one slice of the first input.
    """
    place = np.arange(count)
    without = np.array([estimate(np.flatnonzero(place * FOLDS // count != fold)) for fold in range(FOLDS)])
    return estimate(place), without


def _jackknife(without: np.ndarray) -> np.ndarray:
    """Standard error of an estimate from its values (folds, ...) with one fold left out at a time."""
    return np.sqrt((FOLDS - 1) / FOLDS * np.sum((without - without.mean(axis=0)) ** 2, axis=0))


def _saltelli(many: Spread, ask: Ask, draws: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The answer at two independent sets of points (n,), and at the first with one input after the other from the second (d, n)."""
    count = len(many.inputs)
    drawn = sobol(2 * count, draws, many.draws.seed)
    base, other = drawn.T.reshape(2, count, draws)
    mixed = np.tile(base, (count, 1, 1))
    mixed[np.arange(count), np.arange(count)] = other
    shares = np.concatenate([base[None], other[None], mixed]).transpose(1, 0, 2).reshape(count, -1)
    columns = {row.key: row.at(shares[k]) for k, row in enumerate(many.inputs)}
    values = _asked(Spread(many.case, Draws(many.inputs, many.draws.seed, columns), many.executor), ask)
    values = values.reshape(count + 2, draws)
    return values[0], values[1], values[2:]


def _indices(base: np.ndarray, other: np.ndarray, mixed: np.ndarray) -> np.ndarray:
    """First-order and total indices (2, d) of answers at Saltelli's points; all 0 where the answer does not vary."""
    middle = np.concatenate([base, other]).mean()
    base, other, mixed = base - middle, other - middle, mixed - middle
    variance = 0.5 * (np.mean(base**2) + np.mean(other**2))
    if variance == 0:
        return np.zeros((2, len(mixed)))
    total = 0.5 * np.mean((base - mixed) ** 2, axis=1) / variance
    small = np.mean(other * (mixed - base), axis=1) / variance  # exact for an input that does nothing
    large = 1 - 0.5 * np.mean((other - mixed) ** 2, axis=1) / variance  # exact for an input that does all
    share = np.clip(total, 0.0, 1.0)
    return np.array([share * large + (1 - share) * small, total])


def _rank_shares(columns: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Shares (d,) of inputs (d, n) in answers (n,) by rank regression."""
    return _rank_regression(columns, values)[0]


def _rank_regression(columns: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, float]:
    """(shares (d,), the share of the variance that all inputs explain, from 0 to 1); nothing where the answers are all alike.

    Both are less what chance would make of them: a square is too large by its own variance, and an input that does nothing
    comes out round 0.
    """
    count, answer = len(columns), _standard(_ranks(values[None]))[0]
    free = len(answer) - 1 - count
    if not answer.any():
        return np.zeros(count), 0.0
    ranked = _standard(_ranks(columns))
    across = np.linalg.pinv(ranked @ ranked.T)
    slopes = across @ (ranked @ answer)
    left = float(np.sum((answer - slopes @ ranked) ** 2)) / free
    explained = 1 - left * (len(answer) - 1) / len(answer)  # the adjusted R2
    return slopes**2 - left * np.diag(across), min(max(explained, 0.0), 1.0)


def _standard(values: np.ndarray) -> np.ndarray:
    """Rows (k, n) with mean 0 and variance 1; all 0 where they are all alike."""
    wide = values.std(axis=1, keepdims=True)
    return np.where(wide > 0, values - values.mean(axis=1, keepdims=True), 0.0) / np.where(wide > 0, wide, 1.0)


def _ranks(values: np.ndarray) -> np.ndarray:
    """Ranks (k, n) from 0 in each row; equal values share their mean rank."""
    ranks = np.empty(values.shape)
    for row, own in zip(ranks, values, strict=True):
        _, place, counts = np.unique(own, return_inverse=True, return_counts=True)
        row[:] = (np.cumsum(counts) - 0.5 * (counts + 1))[place]
    return ranks
