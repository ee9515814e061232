"""Lines that a page to carry gives back, and the readings in them.

A line is `curelab1 BATCH | DATE TIME | what | value | piece | note | check`: the time on the kitchen's clock, a stroke in a field written
with a backslash before it, and at the end a checksum (FNV-1a, 32 bit) of all before the last stroke, so that half a line is seen. Mail
programs break lines; a line therefore goes on until the next one begins. `curelab1 end 3` after the last says how many there were, and
what follows it is not read. `templates/kitchen.js` writes them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

from ..batch import Batch, Reading
from ..fields import InputError, Problem, refuse
from ..letters import quoted
from .moments import since_start

SORT = "curelab1"  # the number counts up when lines are written another way
END = f"{SORT} end"
FIELDS = 7
_BEGIN = re.compile(r"\b(?=curelab\d+ )")
_END = re.compile(rf"{END} (\d{{1,9}})\b")
_STROKE = re.compile(r"((?:[^|\\]|\\.)*)(?:\||$)")
MOST = 2000  # lines at once


def checked(words: str) -> str:
    """The checksum of a text: FNV-1a of its UTF-8, as eight digits.

    >>> checked(""), checked("foobar")
    ('811c9dc5', 'bf9cf968')
    """
    value = 0x811C9DC5
    for byte in words.encode("utf-8"):
        value = (value ^ byte) * 0x01000193 & 0xFFFFFFFF
    return f"{value:08x}"


def line(batch: str, at: str, what: str, value: str = "", piece: str = "", note: str = "") -> str:
    """One line, as the page writes it. `batch`: what the batch is known by; `at`: "2026-03-04 09:12"."""
    fields = (re.sub(r"([\\|])", r"\\\1", " ".join(field.split())) for field in (batch, at, what, value, piece, note))
    body = " ".join(f"{SORT} {' | '.join(fields)}".split())
    return f"{body} | {checked(body)}"


def readings(text: str, batch: Batch, start: datetime | None) -> tuple[Reading, ...]:
    """The readings of pasted lines, in their order. `start`: local time of the zero of the log.

    Raises InputError with a sentence for each line that is not whole, is of another batch, or holds no reading of this one.
    """
    words = " ".join(text.replace("\ufeff", " ").split())
    end = _END.search(words)
    before, *lines = _BEGIN.split(words[: end.start()] if end else words)
    if not lines:
        raise refuse("--paste", f'nothing in it begins with "{SORT}"; copy the lines from the page again')
    if start is None:
        raise refuse("start", "the batch has no start to count from; put one in its file, then paste again")
    if len(lines) > MOST:
        raise refuse("--paste", f"it has {len(lines)} lines, and {MOST} are taken at once; paste them in parts")
    found, wrong = [], []
    if before.strip(" >"):
        wrong.append(Problem("--paste", f"{quoted(before.strip())} is no line of a page; leave it out"))
    if end and int(end[1]) != len(lines):
        wrong.append(Problem("--paste", f"{end[1]} lines were copied, and {len(lines)} came; copy them again"))
    for number, words in enumerate(lines, 1):
        try:
            found.append(_reading(words.strip(" >"), batch, start))
        except InputError as error:
            wrong += [Problem(f"line {number}", str(problem)) for problem in error.problems]
    if wrong:
        raise InputError(wrong)
    return tuple(found)


def _reading(words: str, batch: Batch, start: datetime) -> Reading:
    """The reading in one line. Raises InputError."""
    sort, _, rest = words.partition(" ")
    if sort != SORT:
        raise refuse(
            "", f'it begins with {quoted(sort)}, and this curelab reads "{SORT}"; use the version that made the page'
        )
    body, _, check = words.rpartition(" | ")
    parts = [re.sub(r"\\(.)", r"\1", part.strip()) for part in _STROKE.findall(rest)[:-1]]
    if len(parts) != FIELDS or check != checked(body):
        raise refuse("", f"{quoted(words)} is not whole, or was changed; copy it from the page again")
    whose, moment, what, value, piece, note, _ = parts
    if whose != " ".join(batch.known_by.split()):
        raise refuse("", f'it is of batch {quoted(whose)}, and this file is "{batch.known_by}"; paste it into that one')
    at = since_start(batch, start, moment, before=what == "note")
    if at < 0:  # what was weighed or thawed before it all begins stands at the zero of the log
        at, note = 0.0, f"{note} ({moment}, before the start)"
    if piece and piece not in (each.name for each in batch.pieces):
        raise refuse("piece", f"there is no piece {quoted(piece)}; check whether it was renamed")
    return Reading(at=at, what=what, value=value, piece=piece, note=note)


def new(given: Sequence[Reading], log: Sequence[Reading]) -> tuple[Reading, ...]:
    """Those that are not in the log yet, each once.

    Two readings are one where minute, what, piece and value agree, whatever note stands beside them; of a note, its words count.
    """
    known = {_same(reading) for reading in log}
    fresh: dict[tuple, Reading] = {}
    for reading in given:
        if (key := _same(reading)) not in known:
            fresh.setdefault(key, reading)
    return tuple(fresh.values())


def _same(reading: Reading) -> tuple:
    value = reading.word if reading.number is None else float(f"{reading.number:.9g}")
    return round(reading.at / 60), reading.what, reading.piece, value, reading.note if reading.what == "note" else ""
