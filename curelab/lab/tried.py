"""What a page tries out beside the batch that has no such stage: it goes into the batch when one of its sliders is moved."""

from __future__ import annotations

from ..batch import Batch
from ..recipe.cook import Chill, Simmer
from ..recipe.stages import Rest, Soak, Water
from ..show.plate import TOUGH

TENDER, DONE = (
    ("95 degC", "90 degC"),
    ("80 degC", "70 degC"),
)  # pot and middle of tough cuts, of others (common practice, no source)


def with_soak(batch: Batch) -> Batch:
    """The batch, or where it has no soak, the same with one of two waters and a rest after it: before the first heat, else at the end."""
    if any(stage.desalts for stage in batch.stages):
        return batch
    weight = sum(piece.weight for piece in batch.pieces)
    fresh = Water(amount=max(1.0, round(weight)), lasts="1 h", temperature="4 degC")
    tried = (Soak(waters=(fresh, fresh)), Rest(lasts="12 h", temperature="3 degC"))
    first = next((n for n, stage in enumerate(batch.stages) if stage.heats), len(batch.stages))
    return batch.but(stages=(*batch.stages[:first], *tried, *batch.stages[first:]))


def with_cook(batch: Batch) -> Batch:
    """The batch, or where nothing cooks it, the same with a simmer in twice its weight of water and a chill in ice water."""
    if any(stage.aim == "cook" for stage in batch.stages):
        return batch
    pot, middle = TENDER if any(piece.tissue in TOUGH for piece in batch.pieces) else DONE
    water = max(1.0, round(2 * sum(piece.weight for piece in batch.pieces)))
    cook = Simmer(water=water, temperature=pot, until=f"core temperature >= {middle}", at_most="24 h")
    chill = Chill(medium="ice water", temperature="1 degC", until="core temperature <= 4 degC", at_most="48 h")
    return batch.but(stages=(*batch.stages, cook, chill))


__all__ = ["TENDER", "with_cook", "with_soak"]
