"""Answers of many draws: bands, times, windows and chances, each with the number of draws and what was varied, and in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import units
from ..forecast import DAY
from ..limits.verdict import SURE, Verdict
from ..recipe.criterion import Criterion
from ..results import Shown
from ..units import capital

if TYPE_CHECKING:
    import pandas

LEVELS = (0.1, 0.5, 0.9)
COLUMNS = 64  # sorted at once
INSTEAD = "Use a weaker brine for longer, a thinner piece, or an equilibrium brine; or cure and then soak."


@dataclass(frozen=True, repr=False)
class Band(Shown):
    """Quantiles of a reading: `low`, `middle`, `high` (10, 50 and 90 %) as arrays or floats, and what they rest on.

    Without draws `middle` is the usual case and the others are None. Unpacks as (middle, low, high).
    """

    low: Any
    middle: Any
    high: Any
    count: int
    rests_on: str
    depth: np.ndarray | None = None

    @property
    def parts(self) -> tuple[Any, Any, Any]:
        """(low, middle, high)."""
        return self.low, self.middle, self.high

    def __iter__(self) -> Iterator[Any]:
        return iter((self.middle, self.low, self.high))

    def lines(self) -> list[str]:
        rows = self.rows()
        told = [
            f"{row['middle']:.4g}" + ("" if row["low"] is None else f" ({row['low']:.4g} to {row['high']:.4g})")
            for row in ([rows[0], rows[-1]] if len(rows) > 1 else rows)
        ]
        return [f"Band: {' ... '.join(told)}, {len(rows)} value{'s' if len(rows) > 1 else ''}", self.rests_on]

    def rows(self) -> list[dict[str, Any]]:
        """One for each value, in order, with its depth where it has one."""
        middle = np.ravel(self.middle).tolist()
        low, high = (None if part is None else np.ravel(part).tolist() for part in (self.low, self.high))
        depth = None if self.depth is None else np.resize(self.depth, len(middle)).tolist()
        return [
            {
                **({} if depth is None else {"depth": depth[n]}),
                "low": None if low is None else low[n], "middle": value, "high": None if high is None else high[n],
            }
            for n, value in enumerate(middle)
        ]  # fmt: skip


@dataclass(frozen=True, repr=False)
class Times(Shown):
    """How long until a criterion holds, in every draw: `values` (d,) in s, inf where it does not within `at_most`."""

    criterion: str
    values: np.ndarray
    at_most: float
    said: str
    rests_on: str

    def quantile(self, level: float) -> float:
        """s by which it holds in this share of the draws; inf if it does not hold in so many."""
        ordered = np.sort(self.values)
        return float(ordered[min(int(np.ceil(level * len(ordered))) - 1, len(ordered) - 1)])

    def chance(self, by: Any) -> float:
        """Share of the draws in which it holds by this time."""
        return float(np.mean(self.values <= units.seconds(by)))

    @property
    def told(self) -> str:
        """ "The core reaches 90 % of its equilibrium salt after 19 d (12 d to 34 d in 8 of 10 simulated batches)." """
        low, middle, high = (self.quantile(level) for level in LEVELS)
        if np.isinf(low):
            share = in_ten(1 - self.chance(self.at_most))
            return f"{self.said}: not within {units.show(self.at_most, 'time')} {share}."
        late = "later, if at all" if np.isinf(high) else _days(high)
        middle_said = (
            f"after {_days(middle)}"
            if np.isfinite(middle)
            else f"in fewer than half of the simulated batches within {_days(self.at_most)}"
        )
        return f"{self.said} {middle_said} ({_days(low)} to {late} in 8 of 10 simulated batches)."

    @property
    def sentence(self) -> str:
        """What is told, and what it rests on."""
        return f"{self.told} {self.rests_on}"

    def lines(self) -> list[str]:
        return [self.told, self.rests_on]

    def rows(self) -> list[dict[str, Any]]:
        """The time by which it holds in 1, 5 and 9 of 10 draws."""
        return [{"share of the draws": level, "time_s": self.quantile(level)} for level in LEVELS]

    def to_frame(self) -> pandas.DataFrame:
        """One row for each draw: the time in s, inf where it does not hold."""
        import pandas

        return pandas.DataFrame({"draw": np.arange(len(self.values)), "time_s": self.values})


@dataclass(frozen=True, repr=False)
class Windows(Shown):
    """The window of a cure in every draw: opens and closes (d,) in s, inf where it does not."""

    opens: np.ndarray
    closes: np.ndarray
    cured: str
    too_salty: str
    rests_on: str

    def lines(self) -> list[str]:
        return [self.told, self.rests_on]

    def rows(self) -> list[dict[str, Any]]:
        """Opening and closing in 1, 5 and 9 of 10 draws, each for itself."""
        ends = zip(LEVELS, ordered(self.opens), ordered(self.closes), strict=True)
        return [{"share of the draws": level, "opens_s": opens, "closes_s": closes} for level, opens, closes in ends]

    def to_frame(self) -> pandas.DataFrame:
        """One row for each draw: opening and closing in s, inf where it does not."""
        import pandas

        return pandas.DataFrame({"draw": np.arange(len(self.opens)), "opens_s": self.opens, "closes_s": self.closes})

    @property
    def empty(self) -> float:
        """Share of the draws in which the meat is too salty before its core is cured, or its core is never cured."""
        return float(np.mean(~(self.opens < self.closes)))

    def open_at(self, when: Any) -> float:
        """Share of the draws in which the window is open at this time."""
        when = units.seconds(when)
        return float(np.mean((self.opens <= when) & (when < self.closes)))

    @property
    def best(self) -> tuple[float, float]:
        """(s, share): the time at which the window is open in most draws."""
        ends = np.concatenate([self.opens, self.closes])
        finite = ends[np.isfinite(ends)]
        if not len(finite):
            return 0.0, self.open_at(0.0)
        candidates = np.linspace(0.0, finite.max(), 400)
        shares = [self.open_at(float(when)) for when in candidates]
        best = int(np.argmax(shares))
        return float(candidates[best]), shares[best]

    @property
    def span(self) -> tuple[float, float]:
        """(opens, closes) [s] in the middle case, inf for never."""
        return ordered(self.opens)[1], ordered(self.closes)[1]

    @property
    def told(self) -> str:
        """When it is cured and when too salty in the middle case, how often there is no window at all, and the best day."""
        opens, closes = self.span
        cured, salty = f"salty enough ({_marked(self.cured)})", f"too salty ({_marked(self.too_salty)})"
        if np.isinf(opens):
            return f"Never {cured} in most simulated batches within what was looked at; the window is empty {in_ten(self.empty)}. {INSTEAD}"
        if np.isinf(closes):
            early, _, late = ordered(self.opens)
            last = _day(late) if np.isfinite(late) else "later"
            never = float(np.mean(np.isinf(self.closes)))
            return (
                f"{capital(cured)} from {_day(opens)} on ({_day(early)} to {last} in 8 of 10 simulated batches), and {in_ten(never)} never {salty}, "
                "however long it lies. It can still spoil: keep it cold, and throw it out if it is slimy, smells off or the brine turns ropy; "
                "botulism gives no smell and no taste."
            )
        if opens < closes:
            middle = f"In half of the simulated batches it is {cured} by {_day(opens)} and {salty} by {_day(closes)}."
        else:
            middle = (
                f"Half of the simulated batches are {salty} by {_day(closes)}. They are {cured} only by {_day(opens)}."
            )
        when, share = self.best
        if share == 0:
            return f"{middle} The window between them is empty {in_ten(self.empty)}: no day is right. {INSTEAD}"
        if share < SURE:
            return (
                f"{middle} The window between them is empty {in_ten(self.empty)}. No day is sure: even the best, {_day(when)}, is right "
                f"only {in_ten(share)}. You cannot see which you have. {INSTEAD}"
            )
        return f"{middle} {capital(_day(when))} is right {in_ten(share)}."

    @property
    def sentence(self) -> str:
        """What is told, and what it rests on."""
        return f"{self.told} {self.rests_on}"


@dataclass(frozen=True)
class Chance:
    """How often a check came out how: shares of the draws that pass, fail, or leave it unknown. Unknown is no pass. missed: the verdict in
    the first draw that fails, or where none does, in the first that leaves it unknown.
    """

    name: str
    passes: float
    fails: float
    unknown: float
    count: int
    rests_on: str
    missed: Verdict | None = None

    @property
    def sentence(self) -> str:
        told = [
            f"{word} {in_ten(share)}"
            for word, share in (("met", self.passes), ("missed", self.fails), ("unknown", self.unknown))
            if share > 0
        ]
        return f"{self.name}: {', '.join(told)}. {self.rests_on}"

    @property
    def told(self) -> str:
        """How often it comes out as it does not always do: "met in 9 of 10 simulated batches, missed in 1 of 10 simulated batches"; empty where all draws agree."""
        shares = {"met": self.passes, "missed": self.fails, "unknown": self.unknown}
        if max(shares.values()) >= 1.0:
            return ""
        return ", ".join(f"{word} {in_ten(share)}" for word, share in shares.items() if share > 0)


def quantiles(values: np.ndarray, levels: Sequence[float] = LEVELS) -> tuple[np.ndarray, ...]:
    """Quantiles over the first axis, between neighbours in order; sorts blocks of columns that fit near the processor."""
    count = len(values)
    flat = values.reshape(count, -1)
    result = np.empty((len(levels), flat.shape[1]))
    for begin in range(0, flat.shape[1], COLUMNS):
        block = flat.T[begin : begin + COLUMNS].copy()
        block.sort(axis=1)
        for k, level in enumerate(levels):
            place = level * (count - 1)
            low = int(place)
            high, share = min(low + 1, count - 1), place - low
            result[k, begin : begin + COLUMNS] = block[:, low] * (1 - share) + block[:, high] * share
    return tuple(row.reshape(values.shape[1:]) for row in result)


def in_ten(share: float) -> str:
    """A share of the simulated batches, in words that a cook can bet on."""
    if share <= 0.02:
        return "in hardly any simulated batch" if share > 0 else "in no simulated batch"
    if share >= 0.98:
        return "in every simulated batch" if share == 1 else "in nearly every simulated batch"
    if abs(share - 0.5) < 0.03:
        return "in half of the simulated batches"
    for quarter in (0.25, 0.75):
        if abs(share - quarter) < 0.02:
            return f"in {int(4 * quarter)} of 4 simulated batches"
    if share < 0.05:
        return "in fewer than 1 of 10 simulated batches"
    return f"in {min(max(round(10 * share), 1), 9)} of 10 simulated batches"


def ordered(values: np.ndarray) -> tuple[float, ...]:
    """(10, 50 and 90 % point) of values (d,) of which some may be inf, each one that occurs."""
    order = np.sort(values)
    return tuple(float(order[int(np.ceil(level * len(order))) - 1]) for level in LEVELS)


def _marked(criterion: str) -> str:
    """ "core salt >= 1.5 %" as a cook says it: "1.5 % salt in the middle"."""
    wanted = Criterion.parse(criterion)
    place = {"core": "in the middle", "average": "on the whole", "surface": "outside"}[wanted.place]
    return f"{units.show(wanted.target, 'fraction')} {wanted.quantity} {place}"


def _days(seconds: float) -> str:
    return units.show(seconds, "time", digits=2)


def _day(seconds: float) -> str:
    days = seconds / DAY
    return f"day {days:.2g}" if days < 10 else f"day {days:.0f}"


def _lower(words: str) -> str:
    return words[0].lower() + words[1:]
