"""What a history takes for granted, one sentence each."""

from __future__ import annotations

from collections.abc import Sequence

from .. import units
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


def own_tissues(pieces: Sequence[Piece]) -> tuple[str, ...]:
    """What is taken for granted of tissues that came with a diffusivity of their own, one sentence each."""
    said = []
    for part in dict.fromkeys(piece.tissue for piece in pieces):
        if isinstance(part, str) or part.diffusivity is None:
            continue
        grows = "grows with temperature as in water"
        if part.activation_energy is not None:
            grows = (
                f"grows with temperature by {part.activation_energy:g} kJ/mol, and where the temperature changes it is taken at its mean over "
                "the log of each stretch"
            )
        warm = units.show(part.reference, "temperature")
        said.append(
            f"Salt moves in {part} at {part.diffusivity:.3g} m2/s at {warm}, as given; this {grows}. It is taken as known: no band stands for it."
        )
    return tuple(said)
