"""How a result shows itself: a few lines of text, a table of HTML, a table of pandas, a picture. One mixin for all of them.

A result says `lines` and `rows`, plain data both; what shows them comes from here. pandas and plotly are loaded when a table or a picture is
asked for.

>>> import curelab
>>> cure = curelab.Brine(bath=curelab.Bath(water="1 kg", salt="45 g"), temperature="3 degC", lasts="7 d", lying=False)
>>> history = curelab.simulate(curelab.Piece(thickness="4 cm", weight="1 kg"), cure)
>>> print(history.profile("salt", "5 d"))  # doctest: +ELLIPSIS
Profile of salt (meat) through 4 cm: ... % to ... %, ... values
>>> list(history.profile("salt", "5 d").to_frame().columns)
['time_s', 'depth_m', 'fraction']
>>> list(curelab.limits.check_all(history).to_frame().columns)[:4]
['name', 'outcome', 'statistic', 'limit']
>>> type(history.plot("salt")).__name__
'Figure'
"""

from __future__ import annotations

import html
from abc import ABC, abstractmethod
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas
    import plotly.graph_objects

MOST_LINES = 8  # of a text
WIDEST = 240  # letters of a line of it
MOST_ROWS = 30  # of a table on a page; `to_frame` has them all

Row = dict[str, Any]


class Shown(ABC):
    """Base of every result. A dataclass of this sort is made with `repr=False`, so that it does not print all that it holds."""

    @abstractmethod
    def lines(self) -> Sequence[str]:
        """What it says, in a few lines."""

    @abstractmethod
    def rows(self) -> list[Row]:
        """What it holds, as rows of plain values with the same keys."""

    def to_frame(self) -> pandas.DataFrame:
        """A tidy table of what it holds."""
        import pandas

        return pandas.DataFrame(self.rows())

    def plot(self, *what: Any, **more: Any) -> plotly.graph_objects.Figure:
        """A plotly figure of it: see `curelab.show.draw`, which says what can be drawn and how. Raises TypeError for what cannot."""
        # By its name, because pictures know results and no result knows a picture; tests/house holds this to be the one place.
        return import_module("curelab.show.draw").draw(self, *what, **more)

    def __str__(self) -> str:
        said = list(self.lines())
        more = len(said) - MOST_LINES
        kept = said if more <= 0 else [*said[: MOST_LINES - 1], f"and {more + 1} more"]
        return "\n".join(line if len(line) <= WIDEST else f"{line[: WIDEST - 3]}..." for line in kept)

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        rows = self.rows()
        more = (
            ""
            if len(rows) <= MOST_ROWS
            else f"<p>The first {MOST_ROWS} of {len(rows)} rows; to_frame() has them all.</p>"
        )
        said = html.escape(str(self)).replace("\n", "<br>")
        return f"<p>{said}</p>{table(rows[:MOST_ROWS])}{more}"


def table(rows: Sequence[Row]) -> str:
    """Rows as HTML, the keys of the first as its head; nothing for none."""
    if not rows:
        return ""
    head = "".join(f'<th scope="col">{html.escape(key)}</th>' for key in rows[0])
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(_cell(each))}</td>" for each in row.values()) + "</tr>" for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _cell(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else "" if value is None else str(value)
