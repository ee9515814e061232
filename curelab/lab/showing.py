"""What the library hands out as data, drawn on the widgets of a page."""

from __future__ import annotations

from typing import Any

from ..show.answer import FOLLOWS
from ..show.pictures import Lines, Map
from ..show.ranking import what_matters
from ..show.section import Section
from ..spread import Spread, sensitivity
from .bars import BarPicture
from .depthmap import DepthMap
from .picture import Picture
from .section import SectionPicture


def show_lines(widget: Any, picture: Lines, **more: Any) -> None:
    """Draw a picture of lines."""
    assert isinstance(widget, Picture)
    series = [
        {
            "x": s.x,
            "y": s.y,
            "low": s.low,
            "high": s.high,
            "label": s.label,
            "colour": s.colour,
            "dash": s.dash or "solid",
        }
        for s in picture.series
    ]
    marks = [{"axis": mark.axis, "at": mark.at, "label": mark.label} for mark in picture.marks]
    widget.show(series, picture.x_label, picture.y_label, marks=marks, summary=picture.sentence, **more)  # type: ignore[arg-type]


def show_matters(widget: Picture | DepthMap | BarPicture, many: Spread, ask: sensitivity.Ask, answer: str) -> None:
    """Draw what one answer hangs on, by rank regression over the draws behind the bands; where there are none yet, say that it follows."""
    assert isinstance(widget, BarPicture)
    if not many.banded:
        widget.fail(FOLLOWS, waits=True)
        return
    widget.show(what_matters(sensitivity.what_matters(many, ask, answer, method="rank")))


def show_section(widget: Any, drawn: Section, day: float | None, system: str) -> None:
    """Draw the section of the pieces, on a day at first."""
    assert isinstance(widget, SectionPicture)
    widget.show(drawn, day, system)


def show_map(widget: Any, picture: Map) -> None:
    """Draw a map over time and depth."""
    assert isinstance(widget, DepthMap)
    widget.show(
        picture.x, picture.y, picture.z, picture.x_label, picture.y_label, picture.z_label,
        line=picture.line, line_label=picture.line_label, summary=picture.sentence, y_down=True,
    )  # fmt: skip


__all__ = ["show_lines", "show_map", "show_matters", "show_section"]
