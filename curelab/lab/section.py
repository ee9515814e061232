"""The picture of the inside of the pieces: one message per change; which day is shown is worked out in the page."""

from __future__ import annotations

import numpy as np

from ..show.section import READ, Section
from .assets import joined
from .drawing import Drawing, packed

DOUBT = "hatched: 8 of 10 simulated batches do not agree"


class SectionPicture(Drawing):
    """Pieces drawn to scale, with the days under them and two small charts. Draw with `show`, say why nothing can be drawn with `fail`."""

    _esm = joined("page.js", "drawing.js", "section.js", "section_widget.js")
    _css = joined("page.css", "picture.css", "section.css")

    def show(self, section: Section, opens: float | None = None, system: str = "metric") -> None:
        """Draw a section in place of what was there. opens: the day that is shown, until somebody chooses another (None: the last);
        while it stays as it is the page keeps the day it shows.
        """
        arrays = [section.days]
        for piece in section.pieces:
            arrays += [piece.x, piece.y, piece.value, piece.fat]
            for quantity in section.quantities:
                key = quantity.key
                arrays.append(piece.values[key])
                if key in piece.low:
                    arrays += [piece.low[key], piece.high[key]]
                arrays.append(piece.level[key])
                for parts in piece.courses[key].values():
                    arrays += parts
        factor, unit = (10.0, "depth, mm") if system == "metric" else (1 / 2.54, "depth, in")
        meta = {
            "frames": len(section.days),
            "opens": float(section.days[-1] if opens is None else opens),
            "read": READ,
            "doubt": DOUBT,
            "spot": section.spot,
            "spot_until": section.spot_until,
            "length": {"factor": factor, "name": unit},
            "lanes": [[name, [list(each) for each in stages]] for name, stages in section.lanes],
            "quantities": [vars(quantity) for quantity in section.quantities],
            "pieces": [
                {
                    "name": piece.name,
                    "rows": piece.x.shape[0],
                    "columns": piece.x.shape[1],
                    "readings": next(iter(piece.values.values())).shape[1],
                    "banded": list(piece.low),
                    "open": bool(np.ptp(piece.x[0]) > 1e-9),
                    "ends": piece.ends,
                    "lying": piece.lying,
                    "thickness": piece.thickness,
                    "lane": piece.lane,
                    "courses": {
                        key: [[name, len(parts)] for name, parts in lines.items()]
                        for key, lines in piece.courses.items()
                    },
                }
                for piece in section.pieces
            ],
        }
        self._publish(meta, packed([np.asarray(array, dtype=float) for array in arrays]))
