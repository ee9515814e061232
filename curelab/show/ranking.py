"""The picture of what matters most, as plain data: a bar for each uncertain input. No drawing in here."""

from __future__ import annotations

from dataclasses import dataclass

from ..spread.sensitivity import Importance, Share
from ..units import capital

MOST = 6  # bars in one picture: more is a table (judgement)
COLOUR = "#0072B2"  # Okabe and Ito's blue
LEAST = 0.005  # shares below this would be read as 0 %


@dataclass(frozen=True)
class Bar:
    """One input. share: what it makes alone, 0 to 100 %; total: what it makes together with others, never below share, None: not
    known; remedy: what a cook can do about it, empty: nothing.
    """

    label: str
    share: float
    total: float | None = None
    remedy: str = ""

    @property
    def reading(self) -> str:
        """The number at the end of the bar; in brackets the total, where it reads differently."""
        alone = f"{self.share:.0f} %"
        if self.total is None or f"{self.total:.0f}" == f"{self.share:.0f}":
            return alone
        return f"{alone} ({self.total:.0f})"


@dataclass(frozen=True)
class Bars:
    """A picture of bars: the sentence above, the axis from 0 to 100 %, the bars from the top, and the note below, a line to each idea."""

    sentence: str
    x_label: str
    bars: tuple[Bar, ...]
    note: str

    @property
    def summary(self) -> str:
        """What a screen reader says instead of the bars."""
        if not self.bars:
            return self.sentence
        told = [
            f"{bar.label} {bar.share:.0f} %" + (f", with others {bar.total:.0f} %" if "(" in bar.reading else "")
            for bar in self.bars
        ]
        return f"Bars, {self.x_label}: {'; '.join(told)}."


def what_matters(importance: Importance) -> Bars:
    """Bars for the inputs of one answer, largest first, at most MOST.

    First-order Sobol shares add up, so the rest becomes one bar, "all n others"; those of ranks need not, and the rest is left out,
    which the note says. Where nothing changes the answer there are no bars.

    >>> from curelab.spread.sensitivity import Importance, Share
    >>> from curelab.spread.uncertain import uncertain_inputs
    >>> row = next(row for row in uncertain_inputs() if row.key == "temperature")
    >>> what_matters(Importance("the days", "sobol", (Share(row, 0.82, 0.94),), 48, False)).bars[0].reading
    '82 % (94)'
    """
    x_label = f"share of the spread of {importance.answer}, %"
    if importance.flat:
        return Bars(importance.advice, x_label, (), capital(importance.how) + ".")
    rows, adds = importance.rows, importance.method == "sobol"
    shown = rows if len(rows) <= MOST else rows[: MOST - 1] if adds else rows[:MOST]
    rest = rows[len(shown) :]
    bars = [Bar(row.label, 100 * _cleaned(row.first), _total(row), row.remedy) for row in shown]
    if rest and adds:
        bars.append(Bar(f"all {len(rest)} others", 100 * _cleaned(sum(row.first for row in rest))))
    return Bars(importance.advice, x_label, tuple(bars), "\n".join(_notes(importance, tuple(bars), rest)))


def _notes(importance: Importance, bars: tuple[Bar, ...], rest: tuple[Share, ...]) -> list[str]:
    adds = importance.method == "sobol"
    marks = (
        ["Filled: what an input makes alone."]
        if adds
        else ["Filled: what an input makes alone, as far as the answer only rises or only falls with it."]
    )
    if any(bar.total is not None and bar.total > bar.share for bar in bars):
        marks.append("Outlined, and in brackets: what it makes together with others.")
    if rest:
        marks.append(
            "The last bar is the sum of the others." if adds else f"Left out: {len(rest)} more, none of them larger."
        )
    if any(bar.share == 0 for bar in bars):
        marks.append("Shares under half a percent, and any that came out below zero, are shown as 0.")
    best = importance.rows[0]
    sure = f"The draws tell the first share, {bars[0].share:.0f} %, to about {_points(best.rough)} either way, 9 times in 10."
    remedies = [f"{capital(row.label)}: {row.remedy or 'nothing in a kitchen helps'}." for row in importance.rows[:2]]
    return [" ".join(marks), sure, *remedies, capital(importance.how) + "."]


def _points(share: float) -> str:
    points = f"{max(100 * share, 1):.0f}"
    return f"{points} point{'' if points == '1' else 's'}"


def _cleaned(share: float) -> float:
    """A share as it is shown: from 0 to 1, and 0 where it would be read as 0 %."""
    return 0.0 if share < LEAST else min(share, 1.0)


def _total(row: Share) -> float | None:
    """The total in percent, as shown: what lies below the first share is roughness."""
    return None if row.total is None else 100 * max(_cleaned(row.total), _cleaned(row.first))
