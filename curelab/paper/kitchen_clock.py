"""The clock on the kitchen wall: local times, elapsed minutes and opening hours, right across a clock change.

Instants are whole minutes since 1970 in UTC, so that adding minutes is elapsed time. A kitchen without a zone
has a floating clock: its wall time is counted as if no clock ever changed. Sets of instants are sorted lists
of closed, disjoint spans (first, last).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from ..batch import Batch
from ..fields import refuse
from ..recipe.plan import WEEKDAYS, Hours
from ..units import MINUTES_A_DAY

Spans = list[tuple[int, int]]


@dataclass(frozen=True)
class KitchenClock:
    """zone: IANA name or None (floating); hours and closed days as in `Plan`."""

    zone: str | None = None
    hours: Hours | None = None
    closed: tuple[str, ...] = ()

    @classmethod
    def of(cls, batch: Batch) -> KitchenClock:
        """The clock of the batch's kitchen, with its hours; a floating one for a batch without a plan."""
        plan = batch.plan
        return cls(plan.zone, plan.hours, plan.closed) if plan else cls()

    def instant(self, words: str, where: str) -> int:
        """Minutes of a local time. A time that happens twice is the first of the two; one that never
        happens is refused.
        """
        local = datetime.fromisoformat(words)
        found = self._minutes(local)
        if self.zone and self.local(found).replace(tzinfo=None) != local:
            earlier, later = (self.local(found + shift).strftime("%H:%M") for shift in (-60, 0))
            raise refuse(
                where,
                f'"{words}" does not exist in {self.zone}, because the clocks go forward then; take '
                f"{earlier} or {later}",
            )
        return found

    def instant_of(self, moment: datetime) -> int:
        """Minutes of a time from `local`, or of any aware one."""
        return int((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp() // 60)

    def twice(self, words: str) -> bool:
        """Whether a local time happens twice, because the clocks go back."""
        local = datetime.fromisoformat(words)
        return self._minutes(local) < self._minutes(local.replace(fold=1))

    def _minutes(self, local: datetime) -> int:
        zone = ZoneInfo(self.zone) if self.zone else UTC
        return int(local.replace(tzinfo=zone).timestamp() // 60)

    def local(self, instant: int) -> datetime:
        """The wall time: with its zone, or bare for a floating clock."""
        utc = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(minutes=instant)
        return utc.astimezone(ZoneInfo(self.zone)) if self.zone else utc.replace(tzinfo=None)

    def open(self, first: int, last: int) -> Spans:
        """When the kitchen is open between two instants."""
        if self.hours is None and not self.closed:
            return [(first, last)]
        opens, closes = self.hours or (0, MINUTES_A_DAY)
        day, end = self.local(first).date() - timedelta(days=2), self.local(last).date() + timedelta(days=1)
        spans = []
        while day <= end:
            if not self._is_closed(day):
                closing = closes if closes > opens else closes + MINUTES_A_DAY
                spans.append((self._at(day, opens), self._at(day, closing)))
            day += timedelta(days=1)
        return intersect(merge(spans), [(first, last)])

    def _is_closed(self, day: date) -> bool:
        return WEEKDAYS[day.weekday()] in self.closed or day.isoformat() in self.closed

    def _at(self, day: date, minutes: int) -> int:
        midnight = datetime(day.year, day.month, day.day)
        return self._minutes(midnight + timedelta(minutes=minutes))


def merge(spans: Sequence[tuple[int, int]]) -> Spans:
    """Spans joined where they touch.

    >>> merge([(5, 9), (1, 3), (2, 4)])
    [(1, 4), (5, 9)]
    """
    result: Spans = []
    for first, last in sorted(spans):
        if result and first <= result[-1][1]:
            result[-1] = (result[-1][0], max(result[-1][1], last))
        else:
            result.append((first, last))
    return result


def intersect(one: Spans, other: Spans) -> Spans:
    """What lies in both.

    >>> intersect([(0, 10), (20, 30)], [(5, 22)])
    [(5, 10), (20, 22)]
    """
    result, i, j = [], 0, 0
    while i < len(one) and j < len(other):
        first, last = max(one[i][0], other[j][0]), min(one[i][1], other[j][1])
        if first <= last:
            result.append((first, last))
        if one[i][1] < other[j][1]:
            i += 1
        else:
            j += 1
    return result


def later(spans: Spans, least: int, most: int) -> Spans:
    """All instants that come `least` to `most` minutes after one of these; negative for before."""
    return merge([(first + least, last + most) for first, last in spans])


def nearest(spans: Spans, wanted: int) -> int | None:
    """The instant of a set that is nearest to `wanted`, the later one of two; None of an empty set.

    >>> nearest([(0, 10), (20, 30)], 13), nearest([(0, 10), (20, 30)], 15)
    (10, 20)
    """
    candidates = [min(max(wanted, first), last) for first, last in spans]
    return min(candidates, key=lambda instant: (abs(instant - wanted), -instant), default=None)
