"""Dates and times as a cook reads them; the same words on every machine, whatever its language."""

from __future__ import annotations

from datetime import date, datetime

from ..units import MINUTES_A_DAY

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day(when: date, system: str = "metric", year: bool = False) -> str:
    """ "Wed 4 Mar", or "Wed Mar 4" in US units.

    >>> day(date(2026, 3, 4)), day(date(2026, 3, 4), "us", year=True)
    ('Wed 4 Mar', 'Wed Mar 4, 2026')
    """
    name, month = DAYS[when.weekday()], MONTHS[when.month - 1]
    if system == "us":
        return f"{name} {month} {when.day}" + (f", {when.year}" if year else "")
    return f"{name} {when.day} {month}" + (f" {when.year}" if year else "")


def clock(when: datetime, system: str = "metric") -> str:
    """ "09:00", or "9:00 am" in US units.

    >>> clock(datetime(2026, 3, 4, 0, 5)), clock(datetime(2026, 3, 4, 0, 5), "us")
    ('00:05', '12:05 am')
    """
    if system == "us":
        return f"{(when.hour - 1) % 12 + 1}:{when.minute:02} {'am' if when.hour < 12 else 'pm'}"
    return f"{when.hour:02}:{when.minute:02}"


def moment(when: datetime, system: str = "metric", year: bool = False) -> str:
    """Day and time."""
    return f"{day(when, system, year)}{',' if system == 'us' and year else ''} {clock(when, system)}"


def spell(minutes: int) -> str:
    """ "45 min", "2 h 30 min", "9 d 14 h": elapsed minutes as a cook says them.

    >>> spell(45), spell(150), spell(13800), spell(2880), spell(60)
    ('45 min', '2 h 30 min', '9 d 14 h', '48 h', '1 h')
    """
    if minutes < 90 and minutes != 60:
        return f"{minutes} min"
    if minutes <= 2 * MINUTES_A_DAY:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h" + (f" {rest} min" if rest else "")
    days, rest = divmod(minutes, MINUTES_A_DAY)
    hours, odd = divmod(rest, 60)
    return " ".join(f"{n} {unit}" for n, unit in ((days, "d"), (hours, "h"), (odd, "min")) if n)
