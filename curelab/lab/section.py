"""The picture of the inside of the pieces: one message per change; which day is shown is worked out in the page."""

from __future__ import annotations

from ..show.section import Section
from ..show.section_message import message
from .assets import joined
from .drawing import Drawing


class SectionPicture(Drawing):
    """Pieces drawn to scale, with the days under them and two small charts. Draw with `show`, say why nothing can be drawn with `fail`."""

    _esm = joined("page.js", "drawing.js", "section.js", "section_widget.js")
    _css = joined("page.css", "picture.css", "section.css")

    def show(self, section: Section, opens: float | None = None, system: str = "metric") -> None:
        """Draw a section in place of what was there. opens: the day that is shown, until somebody chooses another (None: the last);
        while it stays as it is the page keeps the day it shows.
        """
        self._publish(*message(section, opens, system))
