"""Stages that wait for what they never come to: colder than the cold they lie in, hotter than their heat, less salt than raw meat holds."""

from __future__ import annotations

from collections.abc import Sequence

from .. import units
from ..matter.tissue import own_salt
from ..recipe.criterion import TEMPERATURE
from ..recipe.stages import Stage
from ..sources import Numbers, default_numbers


def out_of_reach(stages: Sequence[Stage], system: str = "metric", numbers: Numbers | None = None) -> list[str]:
    """Two short sentences for each such stage, with what to change; nothing for those that can come to what they wait for.

    Meat comes near to the warmth of what surrounds it, and never quite there: a stage that waits for just that warmth never ends by it.
    """
    numbers = numbers or default_numbers()
    raw = own_salt(numbers) * numbers.si("tissue.lean_beef.water")
    said = []
    for stage in stages:
        wanted = stage.until
        if wanted is None:
            continue
        mark = units.show(wanted.target, wanted.kind, system)
        if wanted.quantity == TEMPERATURE and stage.heats:
            cold = wanted.sign == "<="
            own = stage.coldest if cold else stage.warmest
            if wanted.target <= own if cold else wanted.target >= own:
                around = units.show(own, "temperature", system)
                most, change = ("at most", "colder") if cold else ("at least", "hotter")
                said.append(
                    f"The {stage.tag} waits for {most} {mark}, and is itself at {around}: it never comes there. "
                    f"Make it {change}, or end it by the clock."
                )
        elif wanted.quantity == "salt" and wanted.basis == "meat" and stage.desalts and wanted.target <= raw:
            said.append(
                f"The {stage.tag} waits for {mark} salt: raw meat has {units.show(raw, 'fraction', digits=2)} of its own. "
                "That takes many changes of fresh water, and leaves nothing of the cure; wait for more salt."
            )
    return said
