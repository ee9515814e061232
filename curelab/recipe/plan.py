"""When a batch is done: the clock of the kitchen, its hours, and the steps before and after the stages.
Plain data, read from `[plan]`.
"""

from __future__ import annotations

import difflib
import re
from datetime import date, datetime
from typing import NamedTuple

from ..fields import Problem, Record, Rule, Several, Words, quantity, refuse, ruled
from ..units import MINUTES_A_DAY

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


class LocalTimeRule(Rule):
    """A date and a time on the kitchen's clock, "2026-11-25 08:00"; kept as such a text."""

    def read(self, given, strict):
        if isinstance(given, datetime):
            given = given.isoformat(" ", "minutes")
        try:
            if len(given) <= 10:  # a bare date would quietly mean midnight
                raise ValueError
            found = datetime.fromisoformat(given)
        except (TypeError, ValueError):
            raise refuse("", f'{given!r} is not a date and time; write it like "2026-11-25 08:00"') from None
        if found.tzinfo is not None:
            raise refuse(
                "",
                f'"{given}" has its own offset; write the kitchen\'s clock time only, and name the zone in [plan]',
            )
        return found.isoformat(" ", "minutes")


class ZoneRule(Rule):
    """The name of a time zone in the IANA list, "Europe/Berlin"."""

    def read(self, given, strict):
        from zoneinfo import ZoneInfo, available_timezones

        try:
            ZoneInfo(given)
            return given
        except (TypeError, ValueError, OSError, KeyError):  # what is not found is a KeyError
            pass
        near = difflib.get_close_matches(str(given), available_timezones(), 1)
        hint = f'did you mean "{near[0]}"?' if near else 'write it like "Europe/Berlin" or "America/Chicago"'
        raise refuse("", f'"{given}" is not a time zone; {hint}')


class Hours(NamedTuple):
    """Minutes after midnight when the kitchen opens and closes; it may close after midnight."""

    opens: int
    closes: int

    def __str__(self) -> str:
        return f"{self.opens // 60:02}:{self.opens % 60:02}-{self.closes // 60:02}:{self.closes % 60:02}"


class HoursRule(Rule):
    """ "07:00-22:00", or "16:00-02:00" for a kitchen that closes after midnight; kept as `Hours`."""

    _PATTERN = re.compile(r"\s*(\d{1,2}):(\d{2})\s*(?:-|–|to)\s*(\d{1,2}):(\d{2})\s*$")

    def read(self, given, strict):
        if isinstance(given, Hours):
            return given
        match = self._PATTERN.match(given) if isinstance(given, str) else None
        opens, closes = (
            (int(match[1]) * 60 + int(match[2]), int(match[3]) * 60 + int(match[4])) if match else (MINUTES_A_DAY, 0)
        )
        if (
            match is None
            or opens >= MINUTES_A_DAY
            or closes > MINUTES_A_DAY
            or int(match[2]) > 59
            or int(match[4]) > 59
        ):
            raise refuse("", f'{given!r} are not the hours of a kitchen; write them like "07:00-22:00"')
        if opens == closes:
            raise refuse("", f'"{given}" opens and closes at once; leave hours out for a kitchen that never closes')
        return Hours(opens, closes)

    def write(self, value, system):
        return str(value)


class ClosedRule(Rule):
    """Days on which nothing is done: names of weekdays, or dates like "2026-12-25"; a kitchen opens on its
    opening day.
    """

    def read(self, given, strict):
        if isinstance(given, str) or not isinstance(given, (list, tuple)):
            raise refuse("", f'{given!r} is not a list of days; write it like ["sunday", "2026-12-25"]')
        days = []
        for day in given:
            name = day.isoformat() if isinstance(day, date) else str(day).strip().lower()
            if name not in WEEKDAYS:
                try:
                    name = date.fromisoformat(name).isoformat()
                except ValueError:
                    near = difflib.get_close_matches(name, WEEKDAYS, 1)
                    hint = f'did you mean "{near[0]}"?' if near else 'write it like "sunday" or "2026-12-25"'
                    raise refuse("", f'"{day}" is neither a weekday nor a date; {hint}') from None
            days.append(name)
        if set(WEEKDAYS) <= set(days):
            raise refuse("", "every day of the week is closed; leave one open")
        return tuple(dict.fromkeys(days))

    def write(self, value, system):
        return list(value)


class Step(Record):
    """Something done before or after the stages that curelab does not compute: thaw, cook, smoke, chill,
    slice.

    lasts [s]; at_most [s]: how long it may take when the kitchen's hours ask for it (None: exactly `lasts`).
    """

    name: str = ruled(Words(60))
    lasts: float = quantity("time", "1 min", "60 d", "give hours or days")
    at_most: float | None = quantity("time", "1 min", "60 d", "give the longest it may take", default=None)
    note: str = ruled(Words(300), "")

    def conflicts(self):
        if not self.name.strip():
            yield Problem("name", "a step without a name tells nobody what to do; name it")
        if self.at_most is not None and self.at_most < self.lasts:
            yield Problem("at_most", "is shorter than lasts; make it longer, or leave it out")

    @property
    def longest(self) -> float:
        return self.lasts if self.at_most is None else self.at_most


class Plan(Record):
    """The dates around a batch. Either the batch has a `start` (when its first stage begins) or the plan says
    when to `serve`.

    zone: IANA name. hours, closed: when the kitchen is open (None: always). before: steps that end as the first
    stage begins; after: steps that follow the last stage, up to serving. remind [s]: how long before a task
    the calendar rings.

    >>> Plan(zone="Europe/Berlin", serve="2026-04-05 18:00", hours="07:00-22:00").hours.opens
    420
    """

    zone: str = ruled(ZoneRule())
    serve: str | None = ruled(LocalTimeRule(), None)
    hours: Hours | None = ruled(HoursRule(), None)
    closed: tuple[str, ...] = ruled(ClosedRule(), ())
    before: tuple[Step, ...] = ruled(Several((Step,), most=20), ())
    after: tuple[Step, ...] = ruled(Several((Step,), most=20), ())
    remind: float = quantity("time", "0 min", "2 d", "15 min is usual", default=900.0)
