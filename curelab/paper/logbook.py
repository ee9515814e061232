"""The log in a batch file: a line added at the end, taken away again, or written out as CSV. Nothing else in
the file is touched.

Whoever writes holds a lock for as long as that takes, reads the file anew, checks the whole as it will be,
writes it beside, and renames. So two writers lose nothing of each other, and a crash or a full disk leaves
the old file or the new one, never half of one.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
import re
import shutil
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from .. import units
from ..batch import READINGS, Batch, Reading, dumps, from_table
from ..fields import InputError, refuse, to_plain
from ..tomlfile import LARGEST, read_table, to_toml
from . import say_time
from .kitchen_clock import KitchenClock

WAIT = 10.0  # s for another writer
PART = ".log-part"
# By this line, and by the digits of a checksum at its end, undo knows what is not the cook's own hand.
HEAD = "[[log]]  # added by curelab"
_TAIL = re.compile(r"\n*(" + re.escape(HEAD) + r" [0-9a-f]{6}\n(?:[a-z]+ = [^\n]*\n)+)\Z")
_CLOCK = re.compile(r'^(at = "[^"]*")  # .*$', re.MULTILINE)


def append_reading(path: str | Path, reading: Reading, *, start: datetime | None = None, wait: float = WAIT) -> Batch:
    """Add a reading at the end of the log in a batch file, and return the batch as it now is.

    Parameters: `start`, local time of the zero of the log, if known: the reading gets its time on the clock
    as a comment. The rest of the file stays to the byte (unless its log is one list in brackets: then the
    file is written anew, without its comments). Raises InputError when the file or the reading is no good,
    the disk is full, or another program writes for longer than `wait` s; nothing is changed then.
    """
    path = Path(path).resolve()  # so that a link stays a link
    with locked(path, wait):
        batch = from_table(read_table(path))
        longer = batch.but(log=(*batch.log, reading))
        words = text_of(path)
        entry = _entry(reading, batch)
        if start is not None:
            clock = KitchenClock(batch.plan.zone if batch.plan else None)
            moment = clock.local(clock.instant_of(start) + round(reading.at / 60))
            first, rest = entry.split("\n", 2)[:2], entry.split("\n", 2)[2]
            entry = f"{first[0]}\n{first[1]}  # {say_time.moment(moment, batch.units, year=True)}\n{rest}"
        line = "\r\n" if "\r\n" in words else "\n"
        more = words + ("" if words.endswith("\n") else line) + line + entry.replace("\n", line)
        try:
            good = from_table(tomllib.loads(more.replace("\r\n", "\n"))) == longer
        except (tomllib.TOMLDecodeError, InputError):
            good = False
        replace_text(path, more if good else dumps(longer))
        return longer


def undo(path: str | Path, *, wait: float = WAIT) -> Reading:
    """Take the last reading out again, and return it. Only what `append_reading` wrote, and nobody touched
    since, is taken.

    Raises InputError where the log is empty or its end was written by hand; nothing is changed then.
    """
    path = Path(path).resolve()
    with locked(path, wait):
        batch = from_table(read_table(path))
        if not batch.log:
            raise refuse("log", "is empty; there is nothing to take out")
        words = text_of(path)
        plain = words.replace("\r\n", "\n")
        tail = _TAIL.search(plain)
        by_hand = refuse("log", "its last entry was written by hand; take it out of the file by hand too")
        if tail is None or not _untouched(tail[1]):
            raise by_hand
        shorter = plain[: tail.start()].rstrip("\n") + "\n"
        if from_table(tomllib.loads(shorter)) != batch.but(log=batch.log[:-1]):
            raise by_hand
        replace_text(path, shorter.replace("\n", "\r\n") if "\r\n" in words else shorter)
        return batch.log[-1]


def save_keeping_log(batch: Batch, path: str | Path, *, wait: float = WAIT) -> Batch:
    """Write a batch over its own file, but with the log that is in the file by now: what others logged
    meanwhile stays.

    Returns the batch as written. Comments in the file are lost. Raises InputError as `append_reading` does.
    """
    path = Path(path).resolve()
    with locked(path, wait):
        kept = batch.but(log=from_table(read_table(path)).log)
        replace_text(path, dumps(kept))
        return kept


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
    clock = KitchenClock(batch.plan.zone if batch.plan else None)
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
    clock = KitchenClock(batch.plan.zone if batch.plan else None)
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


def text_of(path: Path) -> str:
    """The file as it is, line ends included."""
    return path.read_bytes().decode("utf-8")


def replace_text(path: Path, words: str) -> None:
    """Put the whole file in place of the old one, or nothing; the caller holds the lock."""
    content = words.encode("utf-8")
    if len(content) > LARGEST:
        raise refuse(path.name, f"would grow beyond {LARGEST / 1e6:.0f} MB; begin a new batch file")
    temporary = None
    try:
        for stale in path.parent.glob(
            f".{path.name}.*{PART}"
        ):  # of a writer that died: we hold the lock, so no one writes it
            stale.unlink(missing_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=PART)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(path, temporary)
        os.replace(temporary, path)
        temporary = None
        _sync_folder(path.parent)
    except OSError as error:
        raise refuse(path.name, f"cannot be written: {error.strerror}; nothing was changed") from None
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    """Make the rename itself last through a power cut, where the system can."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


@contextmanager
def locked(path: str | Path, wait: float = WAIT) -> Iterator[None]:
    """Be the only writer of this batch file. The lock falls with the process that holds it, so a crash leaves
    none behind.

    The batch file itself is replaced, so the lock lies on its folder; on Windows, which locks no folders, on
    a small file beside it.
    """
    path = Path(path).resolve()
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
