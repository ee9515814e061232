"""Stages of a batch added, taken out, doubled and moved. Numbers count from 0.

Every function raises InputError, one sentence for each problem, and changes nothing then.
"""

from __future__ import annotations

from typing import Any

from ..batch import Batch
from ..fields import Several, refuse
from ..letters import quoted
from ..recipe.stages import STAGES, Stage
from .sound import chosen, moved, replaced, sound
from .templates import starting

KINDS = tuple(kind.tag for kind in STAGES)


def add_stage(batch: Batch, kind: str, at: int | None = None) -> Batch:
    """One stage more before stage `at` (None: at the end), with invented figures to start from; a cure takes its amounts from the weigh-out."""
    if kind not in KINDS:
        raise refuse("do", f"{quoted(kind)} is not one of {', '.join(KINDS)}")
    made: Stage = Several(STAGES, tag="do").read([{"do": kind} | starting(kind, batch.units)], True)[0]
    if not made.weighed and batch.weigh_out is None:
        raise refuse("weigh_out", f"the {kind} would have no amounts; choose a way of curing first")
    place = len(batch.stages) if at is None else max(0, min(at, len(batch.stages)))
    return sound(batch.but(stages=(*batch.stages[:place], made, *batch.stages[place:])))


def duplicate_stage(batch: Batch, number: int) -> Batch:
    """The same stage once more behind this one."""
    stage = chosen(batch.stages, number, "stages")
    return sound(batch.but(stages=replaced(batch.stages, number, stage, stage)))


def remove_stage(batch: Batch, number: int) -> Batch:
    """Without this stage. The only one that cures stays: another way of curing takes its place."""
    stage = chosen(batch.stages, number, "stages")
    if len(batch.stages) == 1:
        raise refuse("stages", f"the {stage.tag} is the only stage; add another one first")
    left = replaced(batch.stages, number)
    if stage.cures and not any(each.cures for each in left):
        raise refuse(
            f"stages[{number + 1}]", f"the {stage.tag} is the only stage that cures; choose another way of curing"
        )
    return sound(batch.but(stages=left))


def move_stage(batch: Batch, number: int, to: int) -> Batch:
    """The stage at another place in the order of work."""
    chosen(batch.stages, number, "stages")
    return sound(batch.but(stages=moved(batch.stages, number, to)))


def waits_by(stage: Stage, system: str) -> str | None:
    """What a stage of this kind waits for by a thermometer, with an invented figure to start from; None for one that goes by the clock."""
    return starting(stage.tag, system).get("until") if stage.heats else None


def end_stage(batch: Batch, number: int, waits: bool) -> Batch:
    """The stage ending by a thermometer in the meat, or by the clock (`waits` False), at most as late as it does now."""
    stage = chosen(batch.stages, number, "stages")
    until = waits_by(stage, batch.units)
    if waits and until is None:
        raise refuse(f"stages[{number + 1}]", f"the {stage.tag} goes by the clock")
    made: Any = stage.lasting(stage.longest)
    made = made.but(lasts=None, until=until, at_most=stage.longest) if waits else made
    return sound(batch.but(stages=replaced(batch.stages, number, made)))


__all__ = ["KINDS", "add_stage", "duplicate_stage", "end_stage", "move_stage", "remove_stage", "waits_by"]
