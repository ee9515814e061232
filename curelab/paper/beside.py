"""What is put beside the tasks of a plan: the day by the answer where a cure ends, when to read a brine, and what else there is to remark."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from ..batch import Batch
from ..outcome import Outcome
from ..recipe.piece import alike_pieces
from ..show.answer import best_out
from ..units import MINUTES_A_DAY
from . import say_time
from .kitchen_clock import KitchenClock, nearest
from .tasks import READING_DAYS, Task

DAY = (6, 22)  # hours between which a cook is awake who does not say when (judgement)


def with_answer(
    tasks: tuple[Task, ...], told: Outcome, ends: dict[int, int], zero: int, clock: KitchenClock | None, system: str
):
    """The tasks, and where the last cure ends the day by the answer for each piece for which that is another one."""
    if told.last_cure is None:
        return tasks
    at = ends[told.last_cure] - zero

    def worded(minutes: int) -> str:
        day = f"day {round(minutes / MINUTES_A_DAY)}"
        return say_time.day(clock.local(zero + minutes).date(), system) if clock else day

    days = {}
    for alike in alike_pieces(told.batch.pieces):
        names = ", ".join(told.batch.pieces[number].name for number in alike)
        pull = best_out(told.ready[alike[0]])
        days[names] = "no day is worth waiting for" if pull is None else f"out on {worded(math.ceil(pull / 60))}"
    if set(days.values()) <= {f"out on {worded(at)}"}:
        return tasks
    beside = f"By the answer: {'; '.join(f'{name}: {day}' for name, day in days.items())}."
    return tuple(
        replace(task, detail=f"{task.detail} {beside}".strip()) if task.minutes == at and task.wanted is None else task
        for task in tasks
    )


def readings_of(planned: Outcome, borders, where, clock: KitchenClock) -> dict[int, list[int]]:
    """Instants at which to read each brine, in open hours."""
    found: dict[int, list[int]] = {}
    for n, index in enumerate(where):
        stage = planned.history.stages[index] if index is not None else None
        if stage is None or not (stage.cures and stage.wet):
            continue
        begin, end = borders[n], borders[n + 1]
        near = [
            nearest(clock.open(begin, end), begin + days * MINUTES_A_DAY)
            for days in READING_DAYS
            if begin + days * MINUTES_A_DAY < end
        ]
        found[index] = sorted({time for time in near if time is not None and begin < time < end})
    return found


def remarks_of(
    batch: Batch, clock: KitchenClock, given: str, known: Outcome | None, tasks: Sequence[Task] = (), curing: str = ""
) -> list[str]:
    """What is to be said of the log, of tasks in the night and of the clock, `given` the one time that the plan hangs on. curing: when to begin the
    cure by the answer.
    """
    remarks = (
        [f"By the answer: {curing[0].lower()}{curing[1:]} The dates above are those of your stages."] if curing else []
    )
    night = [
        task.at for task in tasks if task.at is not None and not DAY[0] <= task.at.hour + task.at.minute / 60 <= DAY[1]
    ]
    if night and clock.hours is None and batch.plan is not None and batch.plan.serve:
        moved = f'Write hours = "{DAY[0]:02}:00-{DAY[1]}:00" under [plan], and they move into the day.'
        if any(stage.heats for stage in batch.stages):
            moved += " Or cook and chill the day before, and serve it cold or warmed up."
        first = say_time.moment(night[0], batch.units)
        times = "1 task falls" if len(night) == 1 else f"{len(night)} tasks fall"
        remarks.append(f"{times} in the night, the first on {first}. {moved}")
    if known is not None and known.learned is not None:
        remarks.append("Your readings are taken up in answer, figures and checks. The dates are as you planned them.")
    elif batch.log:
        remarks.append("The days to check are without your log.")
    if clock.twice(given):
        remarks.append(f'"{given}" happens twice, because the clocks go back; the first of the two is meant.')
    if batch.start and batch.plan is None:
        remarks.append(
            "No time zone is known, so a clock change on the way is not seen; name the zone under [plan], "
            'like zone = "Europe/Berlin".'
        )
    return remarks
