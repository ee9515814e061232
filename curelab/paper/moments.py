"""When a batch began on the kitchen's clock, and how long after that something was."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from ..batch import Batch
from ..fields import InputError, Quantity, refuse
from ..letters import quoted
from ..recipe.plan import LocalTimeRule
from ..units import MINUTES_A_DAY
from .kitchen_clock import KitchenClock


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
        raise refuse("at", f"that is {days}, from which the log counts; check the date, or the start in the file")
    return 60.0 * minutes


def moment_of(batch: Batch, words: str) -> float:
    """Seconds after the start of a batch that words tell: "" for now, "4 d" after the start, or "2026-03-04 09:00" on the kitchen's clock.

    Raises InputError where they tell no time, or the batch has no start to count from.
    """
    said = words.strip()
    if said and (after := _after(said)) is not None:
        return after
    start = start_of(batch)
    if start is None:
        raise refuse("at", "the batch has no start to count from; put its start in, or say how long after it, like 4 d")
    if not said:
        return since_start(start)
    clock = KitchenClock(batch.plan.zone if batch.plan else None)
    try:
        local = LocalTimeRule().take(said, True)
    except InputError:
        raise refuse("at", f'{quoted(said)} is no time; write it like "4 d" or "2026-03-02 09:00"') from None
    return since_start(start, clock.local(clock.instant(local, "at")))


def _after(words: str) -> float | None:
    try:
        return Quantity("time", "0 s", "400 d").read(words, True)
    except InputError:
        return None


def now_words(zone: str | None) -> str:
    """The time now on the kitchen's clock, as a batch file has it."""
    now = datetime.now(ZoneInfo(zone)) if zone else datetime.now()
    return f"{now:%Y-%m-%d %H:%M}"


__all__ = ["moment_of", "now_words", "since_start", "start_of"]
