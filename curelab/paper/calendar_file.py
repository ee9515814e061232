"""The plan as a calendar file (RFC 5545): one event a task, with an alarm, under a name that stays when the
plan changes.

A changed plan updates what is in the calendar: an event keeps its UID, its SEQUENCE grows, and one that is
gone is sent once more as cancelled when the former file is given.
"""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from .. import __version__
from ..fields import refuse
from .schedule import Schedule

if TYPE_CHECKING:
    from icalendar import Calendar, Event

NAMESPACE = uuid.UUID(
    "6d0f3c1e-2f0b-5c38-9a5e-6f4d5b9f7c11"
)  # drawn once at random, so that no other program makes the same UIDs
LENGTH = timedelta(minutes=15)  # of a task in the calendar (judgement)
MORNING = timedelta(hours=8)  # when the calendar rings on a day to check (judgement)
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)


def uid(batch_id: str, key: str) -> str:
    """The lasting name of a task of a batch.

    >>> uid("a1", "stage-1") == uid("a1", "stage-1") != uid("a1", "stage-2")
    True
    """
    return str(uuid.uuid5(NAMESPACE, f"{batch_id}/{key}"))


def calendar(found: Schedule, now: datetime, former: bytes | None = None) -> bytes:
    """The .ics file of a plan.

    Parameters: `now`, an aware time, the stamp of what is new or changed; `former`, the file this one
    replaces: what did not change keeps its stamp, and what is gone is cancelled. Times are in UTC, or
    floating for a batch without a zone. Raises InputError for a plan without dates, or a former file that is
    no calendar of this batch.
    """
    import icalendar

    if found.start is None:
        raise refuse(
            "start",
            'the batch has no dates yet; give its start, like "2026-11-25 08:00", or a plan with the serving time',
        )
    old = _events(former, found.batch.known_by) if former is not None else {}
    book = icalendar.Calendar()
    book.add("prodid", f"-//curelab//curelab {__version__}//EN")
    book.add("version", "2.0")
    book.add("calscale", "GREGORIAN")
    book.add("method", "PUBLISH")
    new = {str(event["uid"]): event for event in _wanted(found)}
    for name, event in new.items():
        _stamp(event, old.get(name), now)
        book.add_component(event)
    for name, event in old.items():
        if name not in new:
            gone = event.copy()
            gone.subcomponents = []
            for field in ("status", "dtstamp", "last-modified", "sequence"):
                gone.pop(field, None)
            gone.add("status", "CANCELLED")
            _stamp(gone, event, now)
            book.add_component(gone)
    return book.to_ical()


def _wanted(found: Schedule) -> list[Event]:
    batch = found.batch
    events = []
    for task in found.tasks:
        assert task.at is not None
        begin = task.at.astimezone(UTC) if task.at.tzinfo else task.at
        event = _event(batch.known_by, task.key, f"{task.title} ({batch.name})", task.detail)
        event.add("dtstart", begin)
        event.add("dtend", begin + LENGTH)
        _alarm(event, -timedelta(seconds=batch.plan.remind if batch.plan else 900.0), task.title)
        events.append(event)
    for check in found.checks:
        stages = [task for task in found.tasks if task.stage == check.stage]
        last = max(task.at + timedelta(minutes=task.takes) for task in stages if task.at).date()
        about = check.about if check.kind != "too salty" else ""
        for word, when in (
            ("Check from today", check.earliest),
            ("Last day before too much salt", check.latest if check.kind == "too salty" else None),
        ):
            if when is not None and when <= last:
                event = _event(
                    batch.known_by,
                    f"{check.key}-{word}",
                    f"{word}: {about} ({batch.name})" if about else f"{word} ({batch.name})",
                    check.sentence,
                )
                event.add("dtstart", when)
                event.add("dtend", when + timedelta(days=1))
                event.add("transp", "TRANSPARENT")
                _alarm(event, MORNING, word)
                events.append(event)
    return events


def _event(batch_id: str, key: str, summary: str, description: str) -> Event:
    import icalendar

    event = icalendar.Event()
    event.add("uid", uid(batch_id, key))
    event.add("summary", summary)
    event.add("description", f"{description}\nBatch {batch_id}, curelab {__version__}.".strip())
    event.add("categories", ["curelab"])
    return event


def _alarm(event: Event, trigger: timedelta, words: str) -> None:
    import icalendar

    alarm = icalendar.Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", words)
    alarm.add("trigger", trigger)
    event.add_component(alarm)


def _stamp(event: Event, before: Event | None, now: datetime) -> None:
    """DTSTAMP and SEQUENCE: as before where nothing changed, else of now. The minutes since 2020 grow
    without knowing the former file.
    """
    sequence, stamp = int((now - EPOCH).total_seconds() // 60), now.astimezone(UTC).replace(microsecond=0)
    if before is not None:
        former = int(before.get("sequence", 0))
        if _same(event, before):
            sequence, stamp = former, before.decoded("dtstamp")
        else:
            sequence = max(sequence, former + 1)
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", sequence)


def _same(one: Event, other: Event) -> bool:
    def told(event: Event) -> tuple:
        fields = ("summary", "description", "dtstart", "dtend", "status")
        alarms = tuple(alarm["trigger"].to_ical() for alarm in event.walk("VALARM"))
        return (*(event[f].to_ical() if f in event else b"" for f in fields), alarms)

    return told(one) == told(other)


def _events(former: bytes, batch_id: str) -> dict[str, Event]:
    import icalendar

    try:
        book: Calendar = icalendar.Calendar.from_ical(former)  # type: ignore[assignment]
        events: dict[str, Event] = {str(event["uid"]): event for event in book.walk("VEVENT")}  # type: ignore[misc]
    except (ValueError, KeyError, IndexError, AttributeError):
        raise refuse("", "the former file is not a calendar; choose another name") from None
    if uid(batch_id, "end") not in events:
        raise refuse("", f"the former file is not a calendar of batch {batch_id}; choose another name")
    return events
