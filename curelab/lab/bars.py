"""A picture of bars: what matters most for one answer, with its sentence above and its note below."""

from __future__ import annotations

import numpy as np
import traitlets as T

from ..show.ranking import COLOUR, Bars
from .assets import joined
from .drawing import Drawing, packed


class BarPicture(Drawing):
    """Horizontal bars from 0 to 100 %. Draw with `show`, say why nothing can be drawn with `fail`.

    It is as high as its words and bars need; `height` is the least room it takes.

    >>> from curelab.show.ranking import Bar, Bars
    >>> picture = BarPicture()
    >>> picture.show(Bars("Watch the fridge.", "share, %", (Bar("the temperature", 82.0, 94.0),), "Invented."))
    >>> picture.meta["bars"][0]["reading"]
    '82 % (94)'
    """

    _esm = joined("page.js", "drawing.js", "bars.js")
    _css = joined("page.css", "picture.css", "bars.css")

    height = T.Int(96).tag(sync=True)

    def show(self, picture: Bars) -> None:
        """Draw the bars in place of what was there; without bars, sentence and note alone.

        Raises ValueError naming every bar whose share or total does not lie within 0 to 100, or whose total lies below its share.
        """
        wrong = [
            f"{bar.label}: share and total must lie within 0 to 100 %, the total not below the share, not {bar.share}, {bar.total}."
            for bar in picture.bars
            if not 0 <= bar.share <= (bar.share if bar.total is None else bar.total) <= 100
        ]
        if wrong:
            raise ValueError(" ".join(wrong))
        self._publish(
            {
                "sentence": picture.sentence,
                "note": picture.note,
                "x_label": picture.x_label,
                "colour": COLOUR,
                "bars": [{"label": bar.label, "reading": bar.reading, "remedy": bar.remedy} for bar in picture.bars],
                "summary": picture.summary,
            },
            packed([np.array([bar.share, bar.share if bar.total is None else bar.total]) for bar in picture.bars]),
        )
