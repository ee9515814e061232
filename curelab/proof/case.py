"""What one case of the proof says: the answer of someone else, ours, how far apart they are, and how far apart they may be."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

import numpy as np

from ..paper.drawn_lines import svg_lines
from ..show.pictures import Lines, Series

OURS, THEIRS = (
    "#0072B2",
    "#000000",
)  # told apart without colour too: ours is a solid line, theirs short dashes on top of it
HOW = {
    "seen": "seen: the figures stand in the text that was read",
    "second-hand": "second-hand: the figures were read in a text that quotes the source",
    "derived": "derived: closed formula, written out and evaluated here",
    "computed": "computed: another program works it out in the same run",
    "common practice": "common practice, no source",
}
ROUNDING = 1e-9  # differences below this are printed as rounding: their digits change from machine to machine


@dataclass(frozen=True)
class Case:
    """One comparison.

    labels, exact, ours (n,): the figures side by side, in `unit`; error: the largest difference over everything compared, which may be
    more than the figures shown, measured as `measure` says; tolerance: the most it may be; source: where the exact figures come
    from; how: a key of HOW; remark: what the case does not show; names: of the two columns, where they are not theirs and ours.
    """

    what: str
    source: str
    how: str
    labels: tuple[str, ...]
    exact: tuple[float, ...]
    ours: tuple[float, ...]
    unit: str
    error: float
    tolerance: float
    measure: str
    picture: Lines | None = None
    remark: str = ""
    names: tuple[str, str] = ("theirs", "ours")

    def __post_init__(self) -> None:
        if self.how not in HOW:
            raise ValueError(f"{self.what}: how = {self.how!r}; it must be one of {', '.join(HOW)}")
        if not len(self.labels) == len(self.exact) == len(self.ours):
            raise ValueError(
                f"{self.what}: {len(self.labels)} labels, {len(self.exact)} exact, {len(self.ours)} of ours"
            )
        if not (np.all(np.isfinite(self.exact)) and np.all(np.isfinite(self.ours)) and math.isfinite(self.error)):
            raise ValueError(f"{self.what}: a figure is not finite")

    @property
    def holds(self) -> bool:
        """Whether the difference is within the tolerance."""
        return self.error <= self.tolerance

    @property
    def verdict(self) -> str:
        """The difference, what is allowed, and whether it holds, in one line."""
        told = "no more than rounding (below 1e-9)" if self.error < ROUNDING else f"at most {upward(self.error)}"
        return f"{'holds' if self.holds else 'FAILS'}: apart by {told} of {self.measure}; allowed {self.tolerance:.1e}"

    def lines(self) -> tuple[str, ...]:
        """The figures as a text table."""
        wide = max((len(label) for label in self.labels), default=0)
        wide = max(wide, len(self.unit))
        head = f"{self.unit:{wide}}  {self.names[0]:>12}  {self.names[1]:>12}"
        rows = [
            f"{label:{wide}}  {short(theirs):>12}  {short(mine):>12}"
            for label, theirs, mine in zip(self.labels, self.exact, self.ours, strict=True)
        ]
        return (head, *rows) if rows else ()

    def __repr__(self) -> str:
        said = [self.what, f"theirs: {self.source} ({HOW[self.how]})", *self.lines(), self.verdict]
        return "\n".join(said + ([f"note: {self.remark}"] if self.remark else []))

    def _repr_html_(self) -> str:
        picture = svg_lines(self.picture, 130.0, 62.0) if self.picture else ""
        note = f"<p><i>{escape(self.remark)}</i></p>" if self.remark else ""
        return (
            f"<p><b>{escape(self.what)}</b><br>Theirs: {escape(self.source)} ({escape(HOW[self.how])}).</p>{picture}"
            f"<pre>{escape(chr(10).join(self.lines()))}</pre><p><b>{escape(self.verdict)}</b></p>{note}"
        )


@dataclass(frozen=True)
class Missing:
    """A case that could not be run, because a library that only the tests need is not installed. It proves nothing and says so."""

    what: str
    library: str

    def __repr__(self) -> str:
        return f"{self.what}\nNOT RUN: {self.library} is not installed, so this section has no number (pip install 'curelab[test]')"


@dataclass(frozen=True)
class Table:
    """Rows for reading, where no one number says all: a heading, column names, rows of text, and what to make of them."""

    what: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    remark: str = ""

    def __repr__(self) -> str:
        wide = [max(len(row[n]) for row in (self.columns, *self.rows)) for n in range(len(self.columns))]
        lines = [
            "  ".join(f"{cell:{w}}" for cell, w in zip(row, wide, strict=True)).rstrip()
            for row in (self.columns, *self.rows)
        ]
        return "\n".join([self.what, *lines, *([f"note: {self.remark}"] if self.remark else [])])

    def _repr_html_(self) -> str:
        head = "".join(f'<th scope="col" style="text-align:left">{escape(name)}</th>' for name in self.columns)
        body = "".join(
            "<tr>"
            + "".join(f'<td style="text-align:left;vertical-align:top">{escape(cell)}</td>' for cell in row)
            + "</tr>"
            for row in self.rows
        )
        note = f"<p><i>{escape(self.remark)}</i></p>" if self.remark else ""
        return (
            f"<p><b>{escape(self.what)}</b></p><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{note}"
        )


def short(value: float) -> str:
    """Five significant digits, and zero for what rounding leaves of it."""
    return "0" if abs(value) < 1e-12 else f"{value:.5g}"


def upward(value: float) -> str:
    """Two significant digits, rounded up, so that the printed bound is one.

    >>> upward(2.31e-4), upward(2e-4), upward(9.91e-3), upward(0.0)
    ('2.4e-04', '2.0e-04', '1.0e-02', '0')
    """
    if value == 0:
        return "0"
    power = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{math.ceil(value / power - 1e-9) * power:.1e}"


def both(label: str, x: np.ndarray, theirs: np.ndarray, x_ours: np.ndarray, ours: np.ndarray) -> tuple[Series, ...]:
    """The two lines of a picture: ours solid, theirs in dashes on top of it."""
    return Series(f"ours, {label}", x_ours, ours, OURS), Series(f"theirs, {label}", x, theirs, THEIRS, "8 8")


def largest(*differences: np.ndarray) -> float:
    """Largest absolute value in several arrays."""
    return max(float(np.abs(each).max()) for each in differences)
