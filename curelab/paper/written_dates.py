"""Dates and times as loggers write them: with the year first, or with day and month in either order, which the whole file tells."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

from ..batch import YEARS
from ..fields import refuse
from ..letters import quoted

ORDERS = ("day first", "month first")
_DATE = r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})"
_TIME = r"(\d{1,2})[:.](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*([AaPp])?\.?(?:[Mm]\.?)?"
_ZONE = r"\s*(Z|UTC|GMT|[-+]\d{2}:?\d{2})?"
_WHOLE = re.compile(rf"{_DATE}(?:[T,\s]\s*{_TIME}{_ZONE})?$")
_TIME_ALONE = re.compile(rf"{_TIME}{_ZONE}$")
_LIKE = 'write it like "2026-03-02 09:00"'
FAR = 4.0  # times as long must a file be the other way round, before its length tells the order (judgement)


@dataclass(frozen=True)
class WrittenDates:
    """How a file writes its dates. day_first: of dates whose year comes last. told: how that is known, where the dates left it open."""

    day_first: bool
    told: str = ""

    @staticmethod
    def looks_like_one(cell: str) -> bool:
        """Whether a cell begins with a date, sound or not."""
        return re.match(_DATE, cell) is not None

    @staticmethod
    def has_time(cell: str) -> bool:
        """Whether a time of day stands behind the date."""
        return re.search(r"\d[:.]\d{2}", re.sub(_DATE, "", cell, count=1)) is not None

    @staticmethod
    def is_time(cell: str) -> bool:
        """Whether a cell is a time of day alone."""
        return ":" in cell and _TIME_ALONE.match(cell) is not None

    @classmethod
    def told_from(cls, cells: Iterable[str], asked: str | None = None) -> WrittenDates:
        """How the dates of a file are written. Raises InputError where that must be asked, or for an order that is none."""
        if asked is not None:
            if asked.replace("-", " ") not in ORDERS:
                raise refuse("dates", f"{quoted(asked)} is neither {' nor '.join(ORDERS)}; say one of them")
            return cls(asked.replace("-", " ") == ORDERS[0])
        open_ones: set[str] = set()
        for cell in cells:
            match = re.match(_DATE, cell)
            if match is None or len(match[1]) > 2:
                continue
            if match[2] == "." or int(match[1]) > 12:
                return cls(True)
            if int(match[3]) > 12:
                return cls(False)
            open_ones.add(match[0])
        if not open_ones:
            return cls(True)
        return cls._by_length(open_ones)

    @classmethod
    def _by_length(cls, dates: set[str]) -> WrittenDates:
        """A few days in a row read the wrong way are as many months: the shorter one is meant, if it is shorter by far."""
        days = []
        for day_first in (True, False):
            read = []
            for each in dates:
                with contextlib.suppress(ValueError):  # which is told of its line
                    read.append(cls(day_first).read(each))
            if not read:
                return cls(not day_first)
            days.append((max(read) - min(read)) / timedelta(days=1))
        if max(days) <= FAR * min(days) or max(days) == min(days):
            raise refuse("dates", f"{quoted(min(dates))} could be two days; say day first or month first")
        chosen = days[0] < days[1]
        return cls(
            chosen, f"Dates are read {ORDERS[0] if chosen else ORDERS[1]}: the other way they would span months."
        )

    def read(self, cell: str) -> datetime:
        """The moment in a cell; midnight where there is no time. Raises ValueError with one sentence."""
        match = _WHOLE.match(cell)
        if match is None:
            raise ValueError(f"{quoted(cell)} is no date and time; {_LIKE}" if cell else f"has no date; {_LIKE}")
        one, _, two, three, hour, minute, second, half, zone = match.groups()
        if len(one) > 2:
            year, month, day = one, two, three
        else:
            year = three if len(three) > 2 else f"20{three:0>2}"
            day, month = (one, two) if self.day_first else (two, one)
        try:
            hours = int(hour or 0)
            if half:
                if not 1 <= hours <= 12:
                    raise ValueError
                hours = hours % 12 + (12 if half in "Pp" else 0)
            if not YEARS[0] <= int(year) <= YEARS[1]:  # at both ends of the calendar no clock can be told
                raise ValueError
            return datetime(
                int(year), int(month), int(day), hours, int(minute or 0), int(second or 0), tzinfo=_zone(zone)
            )
        except ValueError:
            raise ValueError(f"{quoted(cell)} is no day of the calendar or no time; correct it") from None


def _zone(words: str | None) -> timezone | None:
    if words is None:
        return None
    if words in ("Z", "UTC", "GMT"):
        return timezone.utc  # noqa: UP017
    sign = -1 if words[0] == "-" else 1
    return timezone(sign * timedelta(hours=int(words[1:3]), minutes=int(words[-2:])))


__all__ = ["ORDERS", "WrittenDates"]
