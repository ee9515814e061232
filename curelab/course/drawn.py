"""Pictures of lines for the lessons."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..show.pictures import PIECE_COLOURS, PIECE_DASHES, Lines, Mark, Series

Curve = tuple[str, np.ndarray, np.ndarray]


def curves(
    sentence: str, x_label: str, y_label: str, lines: Sequence[Curve], marks: Sequence[tuple[str, float, str]] = ()
) -> Lines:
    """A picture of lines, each (label, x, y) with a colour and a dash of its own; marks are (axis, place, label)."""
    series = tuple(
        Series(label, x, y, colour, dash)
        for (label, x, y), colour, dash in zip(lines, PIECE_COLOURS, PIECE_DASHES, strict=False)
    )
    return Lines(sentence, x_label, y_label, series, tuple(Mark(*each) for each in marks))
