"""When a batch began on the kitchen's clock, and how long after that something was."""

from __future__ import annotations

from datetime import UTC, datetime

from ..batch import Batch
from ..fields import refuse
from ..units import MINUTES_A_DAY
from .kitchen_clock import KitchenClock

NO_START = 'the batch has no start to count from; put one in the file, or say how long after it, like --after "4 d"'


def start_of(batch: Batch) -> datetime | None:
    """Local time of the zero of the log: with its zone, or bare for a batch without one; None for a batch without dates."""
    if batch.start is not None:
        clock = KitchenClock(batch.plan.zone if batch.plan else None)
        return clock.local(clock.instant(batch.start, "start"))
    if batch.plan is None:
        return None
    from .schedule import schedule

    return schedule(batch, log=False).start  # counted back from the serving time


def since_start(start: datetime, moment: datetime | None = None) -> float:
    """Seconds from the start to a moment (None: now), to the minute. Raises InputError for one before the start.

    A batch without a zone has a floating clock: now is then read off the wall, that is off this machine.
    """
    clock = KitchenClock()
    now = datetime.now(UTC) if start.tzinfo else datetime.now()
    minutes = clock.instant_of(moment or now) - clock.instant_of(start)
    if minutes < 0:
        days = f"{-minutes / MINUTES_A_DAY:.1f} days before the start"
        raise refuse("--at", f"that is {days}, from which the log counts; check the date, or the start in the file")
    return 60.0 * minutes


__all__ = ["NO_START", "since_start", "start_of"]
