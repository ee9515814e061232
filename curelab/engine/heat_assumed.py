"""What a history takes for granted of stages that cook or cool, one sentence each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ..recipe.stages import Stage


def heat_assumed(stages: Sequence[Stage]) -> Iterator[str]:
    """Nothing where nothing is heated."""
    hot = [stretch.heating for stage in stages for stretch in stage.stretches if stretch.heating is not None]
    if not hot:
        return
    yield "Pot, bath and oven are taken to keep to their program, however cold the meat is that goes in."
    yield (
        "Heat moves in each stage as at one temperature of the meat, seven tenths of the way to its bath: times to a core temperature are within "
        "4 % of those with properties that follow every degree. Meat keeps its thickness."
    )
    yield (
        "Salt moves by the mean temperature of each piece, and faster in meat that was hot enough to open, between 50 and 70 °C. Juice takes its "
        "salt along; it leaves evenly, wherever it is from."
    )
    if any(heating.dries for heating in hot):
        yield (
            "Bare skin in hot air is taken to be partly wet until some kilograms for each square metre have left it; how wet, and how long, is a "
            "judgement. Under a crust meat is no hotter than its water boils."
        )
    if any(heating.setting == "smoke" for heating in hot):
        yield "What smoke leaves on the meat is not computed."
    if any(stage.named for stage in stages):
        yield "Pieces that a stage does not name wait in the fridge meanwhile, sealed."
