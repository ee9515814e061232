"""What a history takes for granted, one sentence each."""

from __future__ import annotations

from collections.abc import Sequence

from ..recipe.piece import Piece
from ..recipe.stages import Stage
from ..sources import Numbers


def assumptions(
    pieces: Sequence[Piece],
    stages: Sequence[Stage],
    numbers: Numbers,
    loss: str,
    spans: Sequence[tuple[float, float] | None],
) -> tuple[str, ...]:
    """Comes with the bounds of numbers, which build these sentences from the numbers in use."""
    return ()
