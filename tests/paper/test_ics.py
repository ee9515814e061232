"""The calendar file: read back by an independent parser, held against RFC 5545, and updated rather than doubled."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
import vobject

from curelab.batch import from_table
from curelab.fields import InputError
from curelab.paper.calendar_file import calendar
from curelab.paper.schedule import schedule

pytestmark = pytest.mark.usefixtures("few_reports")

NOW = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
LATER = NOW + timedelta(hours=5)


def batch(start="2026-03-27 09:00", turn_every="2 d", plan=None, **more):
    table = {
        "schema": 1, "name": "Bœuf, salé; \"Grand-mère\"\\ avec un nom qui dépasse largement une ligne de calendrier", "id": "a1b2",
        "pieces": [{"name": "slab", "thickness": "4 cm", "weight": "1 kg"}],
        "stages": [
            {"do": "brine", "bath": {"water": "3 kg", "salt": "450 g"}, "temperature": "3 degC", "lasts": "6 d", "turn_every": turn_every},
            {"do": "soak", "waters": [{"amount": "2 kg", "lasts": "2 h", "temperature": "8 degC"}] * 2},
        ],
    }  # fmt: skip
    if plan is not False:
        table["plan"] = {"zone": "Europe/Berlin", "remind": "30 min"} | (plan or {})
    return from_table(table | ({"start": start} if start else {}) | more)


def read(content: bytes):
    book = vobject.readOne(content.decode("utf-8"))
    book.validate(raiseException=True)
    return {event.uid.value: event for event in book.vevent_list}


@pytest.fixture(scope="module")
def found():
    return schedule(batch())


@pytest.fixture(scope="module")
def content(found):
    return calendar(found, NOW)


def test_one_event_a_task_at_the_same_instant_with_an_alarm(found, content):
    events = [event for event in read(content).values() if isinstance(event.dtstart.value, datetime)]
    assert len(events) == len(found.tasks) > 5
    by_name = {(event.dtstart.value, event.summary.value): event for event in events}
    for task in found.tasks:  # the clocks go forward on the third day
        event = by_name[task.at.astimezone(UTC), f"{task.title} ({found.batch.name})"]
        assert event.valarm.trigger.value == timedelta(minutes=-30) and event.valarm.action.value == "DISPLAY"
        assert event.dtend.value > event.dtstart.value
    assert {task.at.utcoffset() for task in found.tasks} == {timedelta(hours=1), timedelta(hours=2)}


def test_days_to_check_fill_a_day(found, content):
    days = {event.dtstart.value for event in read(content).values() if not isinstance(event.dtstart.value, datetime)}
    salty = next(check for check in found.checks if check.kind == "too salty")
    assert salty.latest in days and all(type(day) is date for day in days)


def test_the_file_keeps_to_the_letter_of_the_standard(content):
    lines = content.split(b"\r\n")
    assert lines[-1] == b"" and not any(b"\n" in line or b"\r" in line for line in lines)  # RFC 5545, 3.1: CRLF
    assert max(map(len, lines)) <= 75  # RFC 5545, 3.1: at most 75 octets, longer lines folded
    assert b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n" in content and b"PRODID:" in content and b"METHOD:PUBLISH" in content
    for name in (b"UID:", b"DTSTAMP:", b"SEQUENCE:"):  # RFC 5545, 3.6.1: once in every event
        assert content.count(b"\r\n" + name) == content.count(b"BEGIN:VEVENT")
    content.decode("utf-8")


def test_names_are_unique_and_outlast_a_change_of_plan(content):
    before = read(content)
    after = read(calendar(schedule(batch("2026-03-28 10:00")), LATER))
    assert before.keys() == after.keys()
    assert all(int(after[name].sequence.value) > int(event.sequence.value) for name, event in before.items())
    other = read(calendar(schedule(batch(id="zz99")), NOW))
    assert not before.keys() & other.keys()


def test_what_did_not_change_keeps_its_stamp_and_what_is_gone_is_cancelled(found, content):
    assert calendar(found, LATER, content) == content
    fewer = calendar(schedule(batch(turn_every="3 d")), LATER, content)
    before, after = read(content), read(fewer)
    assert before.keys() == after.keys()  # nothing vanishes silently
    gone = [name for name, event in after.items() if hasattr(event, "status") and event.status.value == "CANCELLED"]
    assert len(gone) == 1 and "turn" in before[gone[0]].summary.value.lower()
    kept = [name for name in before if before[name].dtstamp.value == after[name].dtstamp.value]
    changed = [name for name in before if name not in kept]
    assert kept and gone[0] in changed
    assert all(int(after[n].sequence.value) == int(before[n].sequence.value) for n in kept)
    assert all(int(after[n].sequence.value) > int(before[n].sequence.value) for n in changed)


def test_a_cancelled_task_may_come_back(content):
    fewer = calendar(schedule(batch(turn_every="3 d")), LATER, content)
    again = read(calendar(schedule(batch()), LATER + timedelta(hours=1), fewer))
    assert again.keys() == read(content).keys()
    assert not any(hasattr(event, "status") for event in again.values())


def test_without_a_zone_times_float():
    events = read(calendar(schedule(batch(plan=False)), NOW)).values()
    times = [event.dtstart.value for event in events if isinstance(event.dtstart.value, datetime)]
    assert min(times) == datetime(2026, 3, 27, 9, 0)


def test_what_a_calendar_refuses(found, content):
    with pytest.raises(InputError, match="no dates yet"):
        calendar(schedule(batch(None, plan=False)), NOW)
    for other in (
        b"",
        b"not a calendar",
        b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n",
        b"\xff\xfe",
        content.replace(b"UID:", b"UID:x"),
    ):
        with pytest.raises(InputError, match="choose another name"):
            calendar(found, NOW, other)
