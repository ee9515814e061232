"""How sure the answers of a batch are, in sentences: draws instead of corners, what matters most, and what its log has taught."""

from __future__ import annotations

from ..batch import Batch
from ..outcome import CURED
from ..spread import spread
from ..spread.sensitivity import how_long, what_matters
from ..stages import Brine, SealedCure
from .update import update


def how_sure(batch: Batch, draws: int, seed: int = 0) -> list[str]:
    """For every cure and piece the days until it is cured, with their spread; what that hangs on; and what the log says.

    Every probability comes with the number of draws and the inputs varied; they are named once, in the first sentence.
    """
    many = spread(batch, count=draws, seed=seed)
    said = [many.meaning]
    for index, stage in enumerate(batch.stages):
        if not isinstance(stage, (Brine, SealedCure)):
            continue
        for piece in batch.pieces:
            said.append(_short(many.time_to(CURED, index, piece=piece.name).sentence))
        thickest = max(batch.pieces, key=lambda piece: piece.lean_thickness)
        asked = how_long(CURED, index, piece=thickest.name)
        said.append(_short(what_matters(many, asked, f"the days {thickest.name} needs", method="rank").sentence))
    if batch.log:
        said.append(_short(update(batch).sentence))
    return said


def _short(sentence: str) -> str:
    """The sentence up to its number of draws, without the list of inputs that stands in the first one."""
    for border, ending in ((" draws of ", " draws."), (" inputs: ", " inputs).")):
        if border in sentence:
            return sentence.partition(border)[0] + ending
    return sentence
