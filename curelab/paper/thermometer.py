"""A thermometer's table, as loggers and spreadsheets write it: separators, decimal commas, degrees, dates and zones told from the file.

What cannot be told from it is asked, never guessed; lines that cannot be read are told by their number, all at once. No batch in here.
"""

from __future__ import annotations

import csv
import functools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from .. import units
from ..fields import InputError, Problem, refuse
from ..letters import quoted
from ..recipe.plan import ZoneRule
from .written_dates import WrittenDates

LARGEST = 50_000_000  # bytes of a file; a year at every ten seconds has fewer (judgement)
MOST_BEFORE = 40  # lines that may stand before the readings: what the logger says of itself
# A fridge for raw meat is colder than this in degC, and warmer than that in degF; between them the degrees are asked (judgement).
SURELY_CELSIUS, SURELY_FAHRENHEIT = 15.0, 28.0
SEPARATORS = (("\t", "tabs"), (";", "semicolons"), (",", "commas"))
_NUMBER = re.compile(r"\s*([-+−]?\d{1,6}(?:[.,]\d{1,20})?)\s*(?:°|deg)?\s*([CF]?)\s*$", re.IGNORECASE)
_UNIT = re.compile(r"(?:°|º|deg(?:rees)?\s*|[(\[_ ])([CF])\b|\b(celsius|fahrenheit)\b", re.IGNORECASE)
_WARM = re.compile(r"temp|°|º|celsius|fahrenheit|deg[cf]|probe|sensor", re.IGNORECASE)
_OTHER = re.compile(r"humid|%|feucht|dew|press|batter|volt|alarm|index|serial", re.IGNORECASE)


@dataclass(frozen=True)
class Readings:
    """What a thermometer wrote: `moments` (n,) [s since 1970, UTC; of a floating clock as if its wall time were], growing, and `kelvin` (n,).

    lines (n,): number of the line each stood in. zoned: whether the moments are instants. notes: what was told from the file, in sentences.
    """

    moments: tuple[float, ...]
    kelvin: tuple[float, ...]
    lines: tuple[int, ...]
    zoned: bool
    notes: tuple[str, ...] = ()


def read_thermometer(
    words: str,
    *,
    degrees: str | None = None,
    column: str | None = None,
    dates: str | None = None,
    zone: str | None = None,
) -> Readings:
    """The readings in the text of a table.

    degrees: "C" or "F"; column: name or number of the temperatures; dates: "day first" or "month first"; zone: IANA name of the clock that
    wrote it, where the file does not say it in each line. Each is needed only where the file leaves it open. Raises InputError, with a
    sentence for each bad line, or one that says what to add.
    """
    rows, notes = _rows(words)
    written, where_date, first = _layout(rows, dates)
    head = rows[first - 1][1] if first and len(rows[first - 1][1]) > 1 else []
    place = _column(head, [cells for _, cells in rows[first:]], where_date, column)
    found, problems = _values(rows[first:], written, where_date, place)
    if problems:
        raise InputError(problems)
    unit, how = _degrees(
        degrees, head[place] if place < len(head) else "", [(value, own) for _, _, value, own in found]
    )
    stamps = [stamp for _, stamp, _, _ in found]
    moments, zoned = _moments(stamps, zone)
    kelvin = [_kelvin(value, own or unit) for _, _, value, own in found]
    order, told = _in_order(moments, kelvin, [line for line, _, _, _ in found])
    notes += [f"Degrees are °{unit}: {how}."] + told + ([written.told] if written.told else [])
    moments, kelvin, lines = (list(each) for each in zip(*order, strict=True))
    return Readings(tuple(moments), tuple(kelvin), tuple(lines), zoned, tuple(notes))


def decoded(content: bytes) -> str:
    """The text of a file, in whichever of the usual codes it was written. Raises InputError for one that is too large or no text."""
    if len(content) > LARGEST:
        raise refuse("file", f"has more than {LARGEST / 1e6:.0f} MB; export fewer days")
    first = "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    for each in (first, "cp1252"):
        try:
            words = content.decode(each)
        except UnicodeDecodeError:
            continue
        if "\x00" not in words:
            return words
    raise refuse("file", "is no text; export it from the logger as CSV")


def _rows(words: str) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """(line, cells) of every line that says something."""
    words = words.removeprefix("\ufeff")
    lines = [(number, line) for number, line in enumerate(words.splitlines(), 1) if line.strip(" \t,;\"'")]
    if len(lines) < 2:
        raise refuse("file", "has fewer than two lines; give a table with one reading in each line")
    sample = [line for _, line in lines[: 20 + MOST_BEFORE]][-20:]
    mark = next((mark for mark, _ in SEPARATORS if sum(mark in line for line in sample) > len(sample) / 2), None)
    if mark is None:
        raise refuse("file", "has no tabs, semicolons or commas between its columns; save it as CSV")
    cells = csv.reader((line for _, line in lines), delimiter=mark, skipinitialspace=True)
    try:
        rows = [(number, [cell.strip() for cell in row]) for (number, _), row in zip(lines, cells, strict=False)]
    except csv.Error as error:
        raise refuse("file", f"is no table: {error}; save it as CSV") from None
    return rows, [f"Columns are set apart by {dict(SEPARATORS)[mark]}."]


def _layout(rows: Sequence[tuple[int, list[str]]], dates: str | None) -> tuple[WrittenDates, tuple[int, ...], int]:
    """How dates are written, the columns that hold them, and the row of the first reading."""
    for row, (_, cells) in enumerate(rows[: MOST_BEFORE + 1]):
        for number, cell in enumerate(cells):
            after = cells[number + 1] if number + 1 < len(cells) else ""
            where = (
                (number, number + 1) if WrittenDates.is_time(after) and not WrittenDates.has_time(cell) else (number,)
            )
            if WrittenDates.looks_like_one(cell):
                texts = (_stamp(cells, where) for _, cells in rows[row:])
                return WrittenDates.told_from(texts, dates), where, row
    raise refuse("file", 'has no column of dates; a line is like "2026-03-02 09:00;3.4"')


def _stamp(cells: Sequence[str], where: Iterable[int]) -> str:
    return " ".join(cells[number] if number < len(cells) else "" for number in where).strip()


def _column(head: list[str], body: list[list[str]], dates: tuple[int, ...], asked: str | None) -> int:
    """The number of the column that holds the temperatures."""
    wide = max(len(cells) for cells in body[:50])
    named = [head[number] if number < len(head) else f"column {number + 1}" for number in range(wide)]
    if asked is not None:
        names = [name.casefold() for name in named]
        if asked.strip().casefold() in names:
            return names.index(asked.strip().casefold())
        if asked.strip().isascii() and asked.strip().isdigit() and 1 <= int(asked) <= wide:
            return int(asked) - 1
        raise refuse("column", f"there is no {quoted(asked)}; there is {', '.join(map(quoted, named))}")
    if 1 < len(head) < wide and any(cells[len(head) :] != [""] * (len(cells) - len(head)) for cells in body[:50]):
        said = f"lines have {wide} columns under {len(head)} names, as decimal commas between commas would"
        raise refuse("column", f"{said}; save it with semicolons, or say which column it is")

    def numbers(place: int) -> int:
        return sum(bool(_NUMBER.match(cells[place])) for cells in body if place < len(cells))

    others = [n for n in range(wide) if n not in dates]
    able = [n for n in others if len(others) == 1 or 2 * numbers(n) > len(body)]
    able = able or [n for n in others if n < len(head) and _WARM.search(head[n]) and numbers(n)]
    warm = [n for n in able if n < len(head) and _WARM.search(head[n]) and not _OTHER.search(head[n])]
    if len(warm) == 1 or len(able) == 1:
        return warm[0] if warm else able[0]
    if not able:
        raise refuse("file", "has no column of temperatures; numbers are written like 3.4 or 3,4")
    told = ", ".join(quoted(named[n]) for n in (warm or able))
    raise refuse("column", f"several could be the temperatures: {told}; say which one")


def _values(rows, written: WrittenDates, dates: tuple[int, ...], place: int):
    """[(line, moment, value, unit or "")], and a problem for each line that does not say them."""
    found, problems = [], []
    for line, cells in rows:
        where = f"line {line}"
        try:
            stamp = written.read(_stamp(cells, dates))
        except ValueError as error:
            problems.append(Problem(where, str(error)))
            continue
        number = _NUMBER.match(cells[place]) if place < len(cells) else None
        if number is None:
            said = quoted(cells[place]) if place < len(cells) and cells[place] else "nothing"
            problems.append(Problem(where, f"{said} is no temperature; correct the line or take it out"))
            continue
        value = float(number[1].replace(",", ".").replace("−", "-"))
        found.append((line, stamp, value, number[2].upper()))
    if not found and not problems:
        problems.append(Problem("file", "holds no reading"))
    return found, problems


def _degrees(asked: str | None, head: str, values: list[tuple[float, str]]) -> tuple[str, str]:
    """ "C" or "F", and how that is known."""
    if asked is not None:
        unit = asked.strip().upper().removeprefix("°").removeprefix("DEG")
        if unit not in ("C", "F"):
            raise refuse("degrees", f"{quoted(asked)} is neither C nor F; say one of them")
        return unit, "as you say"
    own = {unit for _, unit in values if unit}
    if own:
        return sorted(own)[0], "it stands beside the numbers"
    if match := _UNIT.search(head):
        return (match[1] or match[2])[0].upper(), f"the column is called {quoted(head)}"
    numbers = sorted(value for value, _ in values)
    middle = numbers[len(numbers) // 2]
    if middle < SURELY_CELSIUS:
        return "C", f"half of the numbers are below {middle + 0.05:.1f}, and no fridge is that cold in °F"
    if middle > SURELY_FAHRENHEIT:
        return "F", f"half of the numbers are above {middle - 0.05:.1f}, and no fridge is that warm in °C"
    raise refuse("degrees", f"the numbers, near {middle:g}, could be °C or °F; say which: C or F")


@functools.cache
def _kelvin(value: float, unit: str) -> float:
    return units.read(f"{value!r} deg{unit}", "temperature")


def _moments(stamps: list[datetime], zone: str | None) -> tuple[list[float], bool]:
    """Seconds of each moment, and whether they are instants; an hour that comes twice is told apart by the order of the lines."""
    aware = [stamp.tzinfo is not None for stamp in stamps]
    if any(aware) and not all(aware):
        raise refuse("file", "some of its times carry a zone and others do not; export it again")
    if any(aware):
        return [stamp.timestamp() for stamp in stamps], True
    if zone is None:
        return [stamp.replace(tzinfo=UTC).timestamp() for stamp in stamps], False
    try:
        clock = ZoneInfo(ZoneRule().take(zone, True))
    except InputError as error:
        raise InputError(error.under("zone")) from None
    grows = len(stamps) < 2 or stamps[-1] >= stamps[0]
    made: list[float] = []
    for stamp in stamps if grows else reversed(stamps):
        local = stamp.replace(tzinfo=clock)
        moment = local.timestamp()
        if made and moment <= made[-1]:
            moment = max(moment, local.replace(fold=1).timestamp())
        made.append(moment)
    return made if grows else made[::-1], True


def _in_order(moments: list[float], kelvin: list[float], lines: list[int]):
    """The readings in the order of time, and what was done for that. Raises InputError for lines that go back in time."""
    rows, notes = list(zip(moments, kelvin, lines, strict=True)), []
    steps = [b - a for a, b in pairwise(moments)]
    if steps and sum(step < 0 for step in steps) > len(steps) / 2:
        rows.reverse()
        notes.append("The newest line stood first; they were turned round.")
    back = [
        Problem(f"line {b[2]}", f"its time is before that of line {a[2]}; put the lines in order")
        for a, b in pairwise(rows)
        if b[0] < a[0]
    ]
    if back:
        raise InputError(back)
    kept = rows[:1]
    for row in rows[1:]:
        if row[0] > kept[-1][0]:
            kept.append(row)
        elif row[1] > kept[-1][1]:
            kept[-1] = row
    if len(kept) < len(rows):
        notes.append(f"{len(rows) - len(kept)} lines had the time of another one; the warmer counts.")
    return kept, notes


__all__ = ["LARGEST", "Readings", "decoded", "read_thermometer"]
