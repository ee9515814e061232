"""The log in a batch file: a line added at the end, taken away again, or written out as CSV. Nothing else in
the file is touched.

Whoever writes holds a lock for as long as that takes, reads the file anew, checks the whole as it will be,
and has it replaced in one step (`files`). So two writers lose nothing of each other. An editor knows of no
lock: what it saves meanwhile is seen before the step, and the change is made to what it saved.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import os
import re
import sys
import time
import tomllib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from .. import files, units
from ..batch import READINGS, Batch, Reading, from_table
from ..compose.merging import merged
from ..fields import InputError, refuse, to_plain
from ..tomlfile import LARGEST, bytes_of, edited, table_of, to_toml
from . import say_time
from .kitchen_clock import KitchenClock

WAIT = 10.0  # s for another writer
TRIES = 5  # of a change, while another program saves the file again and again
# By this line, and by the digits of a checksum at its end, undo knows what is not the cook's own hand.
HEAD = "[[log]]  # added by curelab"
_TAIL = re.compile(r"\n*(" + re.escape(HEAD) + r" [0-9a-f]{6}\n(?:[a-z]+ = [^\n]*\n)+)\Z")
_CLOCK = re.compile(r'^(at = "[^"]*")  # .*$', re.MULTILINE)


def append_reading(path: str | Path, reading: Reading, *, start: datetime | None = None, wait: float = WAIT) -> Batch:
    """Add a reading at the end of the log in a batch file, and return the batch as it now is. See `append_readings`."""
    return append_readings(path, lambda batch: (reading,), start=start, wait=wait)[1]


def append_readings(
    path: str | Path,
    choose: Callable[[Batch], Sequence[Reading]],
    *,
    start: datetime | None = None,
    wait: float = WAIT,
) -> tuple[Batch, Batch]:
    """Add readings at the end of the log in a batch file, all or none. Returns the batch as it was and as it is.

    Parameters: `choose`, which of them, asked of the batch as it stands in the file while nobody else writes; `start`, local time of the
    zero of the log, if known: each reading gets its time on the clock as a comment. The rest of the file stays to the byte. Raises
    InputError when the file or a reading is no good, the file may not be written, the disk is full, or another program writes for longer
    than `wait` s; nothing is changed then.
    """

    def longer(batch: Batch, words: str) -> tuple[Batch, str]:
        line = "\r\n" if "\r\n" in words else "\n"
        chosen, more = choose(batch), words
        for reading in chosen:
            entry = _entry(reading, batch)
            if start is not None:
                clock = KitchenClock.of(batch)
                moment = clock.local(clock.instant_of(start) + round(reading.at / 60))
                head, at, rest = entry.split("\n", 2)
                entry = f"{head}\n{at}  # {say_time.moment(moment, batch.units, year=True)}\n{rest}"
            more += ("" if more.endswith("\n") else line) + line + entry.replace("\n", line)
        return batch.but(log=(*batch.log, *chosen)), more

    return change(path, longer, wait)


def undo(path: str | Path, *, wait: float = WAIT) -> Reading:
    """Take the last reading out again, and return it. Only what `append_reading` wrote, and nobody touched
    since, is taken.

    Raises InputError where the log is empty or its end was written by hand; nothing is changed then.
    """

    def shorter(batch: Batch, words: str) -> tuple[Batch, str]:
        if not batch.log:
            raise refuse("log", "is empty; there is nothing to take out")
        plain = words.replace("\r\n", "\n")
        tail = _TAIL.search(plain)
        less = "" if tail is None else plain[: tail.start()].rstrip("\n") + "\n"
        after = batch.but(log=batch.log[:-1])
        if tail is None or not _untouched(tail[1]) or not _says(less, after):
            raise refuse("log", "its last entry was written by hand; take it out of the file by hand too")
        return after, less.replace("\n", "\r\n") if "\r\n" in words else less

    return change(path, shorter, wait)[0].log[-1]


def save_keeping_log(batch: Batch, path: str | Path, *, begun: Batch | None = None, wait: float = WAIT) -> Batch:
    """Write a batch over its own file, but with the log that is in the file by now: what others logged
    meanwhile stays. So do the comments in the file.

    begun: what the file held when this change of it began; what others changed since then stays too. Returns
    the batch as written. Raises InputError as `append_reading` does, and where both changed the same.
    """

    def to(now: Batch, words: str) -> tuple[Batch, None]:
        return (batch.but(log=now.log) if begun is None else merged(begun, batch, now)), None

    return change(path, to, wait)[1]


def change(
    path: str | Path, to: Callable[[Batch, str], tuple[Batch, str | None]], wait: float = WAIT
) -> tuple[Batch, Batch]:
    """Change a batch file while being its only writer. Returns the batch as it was and as it is.

    Parameters: `to` gets the batch and the text of its file, and returns the batch as it shall be and, if it
    knows one, a text for it. Without one, or where that text does not say this batch, only what differs is
    changed in the file. When another program saves the file before that is done, it is done again with what
    was saved, and told on stderr. Raises InputError as `append_reading` does.
    """
    path = Path(os.path.realpath(path))  # so that a link stays a link
    with locked(path, wait):
        files.sweep(path)
        for _ in range(TRIES):
            content = bytes_of(path)
            batch, words = from_table(table_of(content, path)), content.decode("utf-8")
            after, text = to(batch, words)
            if after == batch:
                return batch, after
            if text is None or not _says(text, after):
                text = _in_place(path, words, batch, after)
            if len(text.encode("utf-8")) > LARGEST:
                raise refuse(path.name, f"would grow beyond {LARGEST / 1e6:.0f} MB; begin a new batch file")
            try:
                files.replace(path, text, was=content)
                return batch, after
            except files.Changed:
                said = f"curelab: {path.name} was saved by another program meanwhile; what it saved stays."
                print(said, file=sys.stderr)
    raise refuse(path.name, "another program saves it again and again; nothing was changed, try again")


def _says(words: str, batch: Batch) -> bool:
    """Whether this is a text of that batch."""
    try:
        return from_table(tomllib.loads(words.replace("\r\n", "\n"))) == batch
    except (tomllib.TOMLDecodeError, InputError):
        return False


def _in_place(path: Path, words: str, before: Batch, after: Batch) -> str:
    with contextlib.suppress(ValueError):
        text = edited(words, to_plain(before, before.units), to_plain(after, after.units))
        if _says(text, after):
            return text
    raise refuse(
        path.name,
        "cannot be changed without losing what else stands in it; change it by hand, or save under another name",
    )


def as_csv(batch: Batch, start: datetime | None = None) -> str:
    """The log as CSV: number, seconds and days since the start, time on the clock (if known), what, value
    as written and in SI, error, piece, note.
    """
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(
        (
            "number",
            "at_s",
            "at_days",
            "clock",
            "what",
            "value",
            "value_si",
            "si_unit",
            "error",
            "piece",
            "note",
        )
    )
    clock = KitchenClock.of(batch)
    for number, entry in enumerate(batch.log, 1):
        moment = (
            ""
            if start is None
            else clock.local(clock.instant_of(start) + round(entry.at / 60)).isoformat(" ", "minutes")
        )
        kind = READINGS[entry.what]
        unit = (units.KINDS[kind].si or "1") if kind in units.KINDS else ""
        value = "" if entry.number is None else repr(entry.number)
        writer.writerow(
            (
                number,
                repr(entry.at),
                f"{entry.at / units.DAY:.4f}",
                moment,
                entry.what,
                entry.value,
                value,
                unit,
                entry.error,
                entry.piece,
                entry.note,
            )
        )
    return file.getvalue()


def log_words(batch: Batch, start: datetime | None = None) -> str:
    """The log as text, one line a reading."""
    clock = KitchenClock.of(batch)
    lines = []
    for number, entry in enumerate(batch.log, 1):
        when = f"day {entry.at / units.DAY:.2f}"
        if start is not None:
            moment = clock.local(clock.instant_of(start) + round(entry.at / 60))
            when = f"{say_time.moment(moment, batch.units, year=True)} ({when})"
        error = f" (give or take {entry.error})" if entry.error else ""
        said = " ".join(
            part
            for part in (
                entry.what,
                entry.value + error,
                f"[{entry.piece}]" if entry.piece else "",
                entry.note,
            )
            if part
        )
        lines.append(f"{number:4}  {when}  {said}")
    return "\n".join(lines) + "\n" if lines else "The log is empty.\n"


def _entry(reading: Reading, batch: Batch) -> str:
    body = to_toml(to_plain(reading, batch.units))
    return f"{HEAD} {_digits(body)}\n{body}"


def _digits(body: str) -> str:
    return hashlib.sha256(body.encode("utf-8")).hexdigest()[:6]


def _untouched(entry: str) -> bool:
    head, body = _CLOCK.sub(r"\1", entry).split("\n", 1)
    return head.endswith(_digits(body))


@contextmanager
def locked(path: str | Path, wait: float = WAIT) -> Iterator[None]:
    """Be the only writer of this batch file. The lock falls with the process that holds it, so a crash leaves
    none behind.

    The batch file itself is replaced, so the lock lies on its folder; on Windows, which locks no folders, on
    a small file beside it.
    """
    path = Path(os.path.realpath(path))
    until = time.monotonic() + wait
    try:
        handle = _handle(path)
    except OSError as error:
        raise refuse(path.name, f"cannot be locked: {error.strerror}; nothing was changed") from None
    try:
        while not _try_lock(handle):
            if time.monotonic() > until:
                raise refuse(path.name, "another program is writing to it; nothing was changed, try again")
            time.sleep(0.005)
        yield
    finally:
        os.close(handle)  # which lets the lock go


if sys.platform == "win32":

    def _handle(path: Path) -> int:
        return os.open(path.with_name(f".{path.name}.lock"), os.O_CREAT | os.O_RDWR)

    def _try_lock(handle: int) -> bool:
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            return True
        except OSError:
            return False

else:

    def _handle(path: Path) -> int:
        return os.open(path.parent, os.O_RDONLY)

    def _try_lock(handle: int) -> bool:
        import fcntl

        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        except BlockingIOError:
            return False
