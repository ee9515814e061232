"""A section as the page is told it: words and sizes as plain data, and all numbers one after the other.

`lab/section.js` draws it, live on a bench and in a page to carry; it unpacks the numbers in the order in which they are packed here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from .section import READ, Section

DOUBT = "hatched: at least 1 in 10 simulated batches differ"


def packed(arrays: Sequence[np.ndarray]) -> bytes:
    """All arrays, one after the other, as little-endian float32 (about 7 figures: enough for a screen, not for a result)."""
    return np.concatenate([np.ravel(array) for array in arrays]).astype("<f4").tobytes() if arrays else b""


def message(section: Section, opens: float | None = None, system: str = "metric") -> tuple[dict[str, Any], bytes]:
    """(words and sizes, numbers) of a section. opens: the day that is shown at first (None: the last)."""
    arrays = [section.days]
    for piece in section.pieces:
        arrays += [piece.x, piece.y, piece.value, piece.fat, piece.seam]
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
                "stations": [list(each) for each in piece.stations],
                "along": piece.along,
                "head": piece.head,
                "courses": {
                    key: [[name, len(parts)] for name, parts in lines.items()] for key, lines in piece.courses.items()
                },
            }
            for piece in section.pieces
        ],
    }
    return meta, packed([np.asarray(array, dtype=float) for array in arrays])
