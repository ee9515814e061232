"""The picture of the inside of the pieces: one message per change; which day is shown is worked out in the page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import traitlets as T

from ..show.section import Section
from ..show.section_message import message
from .assets import joined
from .drawing import Drawing


class SectionPicture(Drawing):
    """Pieces drawn to scale, with the days under them and two small charts. Draw with `show`, say why nothing can be drawn with `fail`.

    editable: whether stations can be dragged and pieces cut in two on it; `on_change(callback)` is then told what a hand wants.
    """

    _esm = joined(
        "page.js", "drawing.js", "section_reading.js", "section_shaping.js", "section.js", "section_widget.js"
    )
    _css = joined("page.css", "picture.css", "section.css")

    editable = T.Bool(False).tag(sync=True)

    def on_change(self, callback: Callable[[dict[str, Any]], Any]) -> None:
        """Let stations be dragged and pieces be cut in two: `callback` gets {"piece", "station", "at", "thickness"} or {"piece", "split"}, numbers
        from 0 and lengths in m.
        """
        self.editable = True
        self.on_msg(lambda widget, wanted, buffers: callback(wanted))

    def again(self) -> None:
        """Draw what stood there before: what a hand wanted cannot be."""
        self.revision += 1

    def show(self, section: Section, opens: float | None = None, system: str = "metric", sketch: str = "") -> None:
        """Draw a section in place of what was there. opens: the day that is shown, until somebody chooses another (None: the last);
        while it stays as it is the page keeps the day it shows. sketch: why the colours are not those of this batch; then the page says that in
        the place of every figure, and gives none away.
        """
        meta, frame = message(section, opens, system)
        self._publish({**meta, "sketch": sketch}, frame)
