"""When a batch began on the kitchen's clock, and how long after that something was."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from ..batch import Batch, year_problems
from ..fields import InputError, Problem, Quantity, refuse
from ..recipe.plan import WEEKDAYS, LocalTimeRule
from ..units import MINUTES_A_DAY
from .kitchen_clock import KitchenClock


def start_of(batch: Batch) -> datetime | None:
    """Local time of the zero of the log: with its zone, or bare for a batch without one; None for a batch without dates."""
    if batch.start is not None:
        clock = KitchenClock.of(batch)
        return clock.local(clock.instant(batch.start, "start"))
    if batch.plan is None:
        return None
    from .schedule import schedule

    return schedule(batch, log=False).start  # counted back from the serving time


def since_start(
    batch: Batch, start: datetime, words: str | None = None, where: str = "at", before: bool = False
) -> float:
    """Seconds from the start to a local time like "2026-03-04 09:00" (None: now), to the minute.

    A batch without a zone has a floating clock: now is then read off the wall, that is off this machine. Raises InputError, about `where`,
    for what is no time of this clock, and for one before the start unless `before` allows it.
    """
    clock = KitchenClock.of(batch)
    if words is not None:
        try:
            local = LocalTimeRule().take(words, True)
            if wrong := year_problems(local, where):
                raise InputError(wrong)
            moment = clock.instant(local, where)
        except InputError as error:
            raise InputError([Problem(each.where or where, each.sentence) for each in error.problems]) from None
    else:
        moment = clock.instant_of(datetime.now(UTC) if start.tzinfo else datetime.now())
    minutes = moment - clock.instant_of(start)
    if minutes < 0 and not before:
        days = f"{-minutes / MINUTES_A_DAY:.1f} days before the start"
        raise refuse(where, f"that is {days}, from which the log counts; check the date, or the start in the file")
    return 60.0 * minutes


def elapsed(batch: Batch, now: datetime) -> float | None:
    """Seconds from the start of a batch to `now`, an aware time; None for a batch that says no start. A floating clock is read off the wall."""
    if batch.start is None:
        return None
    clock = KitchenClock.of(batch)
    local = now if clock.zone else now.astimezone().replace(tzinfo=None)
    return 60.0 * (clock.instant_of(local) - clock.instant(batch.start, "start"))


def serving(words: str, now: datetime, usual: str | None = None) -> str:
    """A time to serve as a batch file has it, from "2026-12-20 18:00", "2026-12-20", "Sunday 18:00" or "Sunday", the next one after `now`. usual: a time
    to serve whose hour stands where none is said. Raises InputError for what is none, and where no hour is known.
    """
    said = words.strip()
    day, _, hour = said.rpartition(" ") if ":" in said else (said, "", usual[-5:] if usual else "")
    names = [name for name in WEEKDAYS if len(day) >= 3 and name.startswith(day.lower())]
    if names:
        ahead = (WEEKDAYS.index(names[0]) - now.weekday() - 1) % 7 + 1
        day = (now + timedelta(days=ahead)).date().isoformat()
    if not hour and (names or re.fullmatch(r"\d{4}-\d\d-\d\d", day)):
        raise refuse("", f'At what hour? Write it like "{said} 18:00"')
    return str(LocalTimeRule().read(f"{day} {hour}".strip(), True))


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
    return since_start(batch, start, said or None)


def _after(words: str) -> float | None:
    try:
        return Quantity("time", "0 s", "400 d").read(words, True)
    except InputError:
        return None


def now_words(zone: str | None) -> str:
    """The time now on the kitchen's clock, as a batch file has it."""
    now = datetime.now(ZoneInfo(zone)) if zone else datetime.now()
    return f"{now:%Y-%m-%d %H:%M}"


__all__ = ["elapsed", "moment_of", "now_words", "serving", "since_start", "start_of"]
