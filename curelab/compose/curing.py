"""The way a batch is cured, changed: the stages that cure, their weigh-out and the soak that goes with them.

Days, salt and sugar are those of the template of that way, invented like the rest of it: what was right for one brine is wrong for
another. What the cook has said otherwise stays: pieces, cure mix, nitrite wanted, how cold, other stages.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from ..batch import Batch
from ..fields import refuse
from ..letters import quoted
from ..recipe.stages import Stage
from .sound import sound
from .templates import template

# Each way and how its weigh-out and its stage are told; its figures are those of the template of the same name.
WAYS = {
    "equilibrium brine": ("equilibrium brine", "brine"),
    "strong brine and soak": ("strong brine", "brine"),
    "sealed dry cure": ("sealed dry cure", "sealed cure"),
}
KEPT = (
    "temperature",
    "turn_every",
    "turns",
    "lying",
    "stirred",
    "running",
)  # of a curing stage, where the new one has it


def way_of(batch: Batch) -> str | None:
    """The way this batch is cured, a key of WAYS; None where it holds its own grams or cures in several ways."""
    method = None if batch.weigh_out is None else batch.weigh_out.tag
    cures = {stage.tag for stage in batch.stages if stage.cures}
    return next((way for way, (plan, tag) in WAYS.items() if plan == method and cures == {tag}), None)


def cure_by(batch: Batch, way: str) -> Batch:
    """The batch cured another way, a key of WAYS. Raises InputError with every problem at once, and changes nothing then."""
    if way not in WAYS:
        raise refuse("way", f"{quoted(way)} is not one of {', '.join(WAYS)}")
    if way == way_of(batch):
        return batch
    made = template(way)
    return sound(batch.but(weigh_out=_weigh_out(batch, made), stages=_stages(batch, made)))


def _green(batch: Batch) -> float:
    return sum(piece.weight for piece in batch.pieces)


def _weigh_out(batch: Batch, made: Batch) -> Any:
    """That of the template for this much meat, with the cook's cure mix and nitrite; without sugar where there was none."""
    new: Any = made.weigh_out
    old: Any = batch.weigh_out
    changes: dict[str, Any] = {}
    if hasattr(new, "water"):
        changes["water"] = getattr(old, "water", None) or round(new.water * _green(batch) / _green(made), 1) or 0.1
    if old is not None:
        changes |= {"cure": old.cure, "nitrite": old.nitrite}
        changes |= {} if old.sugar else {"sugar": 0.0}
    return new.but(**changes)


def _stages(batch: Batch, made: Batch) -> tuple[Stage, ...]:
    """One curing stage in the place of the first, and the soak that the way asks for in the place of those there were before the cook."""
    old = [stage for stage in batch.stages if stage.cures]
    (cure,) = (stage for stage in made.stages if stage.cures)
    if old:
        cure = _like(cure, old[0])
    hot = next((n for n, stage in enumerate(batch.stages) if stage.heats), len(batch.stages))
    raw = [stage for stage in batch.stages[:hot] if not stage.cures and not stage.desalts]
    place = next((n for n, stage in enumerate(batch.stages) if stage.cures), 0)
    before = sum(not stage.cures and not stage.desalts for stage in batch.stages[:place])
    share = _green(batch) / _green(made)
    soaks = [stage.times({"water": share}) for stage in made.stages if stage.desalts]
    rests = [] if raw[before:] else [s for s in made.stages if not (s.cures or s.desalts or s.heats)]
    later = [stage for stage in batch.stages[hot:] if not stage.cures]
    return (*raw[:before], cure, *soaks, *raw[before:], *rests, *later)


def _like(cure: Stage, old: Stage) -> Stage:
    """A curing stage with what an old one says beside its end, where both can say it."""
    known = {spec.name for spec in fields(cure)} & {spec.name for spec in fields(old)}  # type: ignore[arg-type]
    return cure.but(**{name: getattr(old, name) for name in KEPT if name in known})


__all__ = ["WAYS", "cure_by", "way_of"]
