"""Terms of bodies that were made before, in a folder on disk, so that a batch that is opened again need not make them again.

A file is named by a digest of all that its terms were made from, the code included; it is written beside its place and renamed, and ends with
a digest of what is in it: one that is not as it was written is made anew. Past MOST_BYTES in all, what was read longest ago goes. The folder is the user's own folder for caches, or what
the variable CURELAB_CACHE of the environment names; "off" there keeps nothing on disk.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import sys
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from dataclasses import dataclass, fields, replace
from functools import cache
from pathlib import Path

import numpy as np

from .. import files
from ..fields import InputError

VARIABLE = "CURELAB_CACHE"
MOST_BYTES = 200_000_000
SEAL = 32  # bytes of a digest at the end of a file
MADE_BY = ("cells.py", "elements.py", "kept.py", "outline.py", "problem.py", "reduced.py", "solid.py")
# Of terms, from which as few are taken as hold what is asked; under a cap or with a seam 240 and more.
COUNTS = (80, 120, 150, 180, 240, 300)
FEW = (30, 40, 50, 60)  # the same, in draws


@dataclass(frozen=True, eq=False)
class Basis:
    """values (n, r), fewer (n, m): terms for the usual way to conduct, and those that serve every way, in draws; orthonormal in the mass,
    the constant first; sign (r,), sign_fewer (m,): what each changes to when the body is turned over, all 1 without a mirror; error (2, 4):
    of both, as ASKED; lag (n,): how long after a bath each node follows it on average, in units of the clock.
    """

    values: np.ndarray
    fewer: np.ndarray
    sign: np.ndarray
    sign_fewer: np.ndarray
    error: np.ndarray
    lag: np.ndarray


class NotKept(Exception):
    """Terms that nobody has made yet, asked for where they are not to be made. key: what `solid` makes them from."""

    def __init__(self, key: tuple) -> None:
        super().__init__("this shape has not been worked out yet")
        self.key = key


_known_only = ContextVar("known_only", default=False)


@contextlib.contextmanager
def known_only() -> Iterator[None]:
    """Inside, terms are read from disk and none are made: raises NotKept where that would take seconds. Without a folder they are made."""
    token = _known_only.set(True)
    try:
        yield
    finally:
        _known_only.reset(token)


def get(key: tuple, make: Callable[[], Basis]) -> Basis:
    """The terms for a key, whose text says all that they are made from: from disk, or made and put there."""
    place = folder()
    path = None if place is None else place / f"{_digest(repr(key))}.npz"
    found = None if path is None else _read(path)
    if found is None:
        if path is not None and _known_only.get():
            raise NotKept(key)
        found = _single(make())
        if path is not None:
            _write(path, found)
    return found


def folder() -> Path | None:
    """Where terms are kept; None: nowhere."""
    given = os.environ.get(VARIABLE)
    if given is not None:
        return None if given.strip().lower() in ("off", "") else Path(given)
    if sys.platform == "win32":
        home = os.environ.get("LOCALAPPDATA")
    elif sys.platform == "darwin":
        home = os.path.expanduser("~/Library/Caches")
    else:
        home = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    return Path(home) / "curelab" / "bodies" if home and not home.startswith("~") else None


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode() + _code()).hexdigest()[:32]


@cache
def _code() -> bytes:
    """A digest of the code that makes terms: another version makes its own."""
    here = Path(__file__).parent
    return hashlib.sha256(b"".join((here / name).read_bytes() for name in MADE_BY)).digest()


def _single(basis: Basis) -> Basis:
    """In single precision, as it is kept: made or read, the terms are the same to the last digit."""
    single = {name: getattr(basis, name).astype(np.float32) for name in ("values", "fewer", "lag")}
    return replace(basis, **single)


def _read(path: Path) -> Basis | None:
    """None where there is no file, or none as it was written."""
    try:
        sealed = files.content(path, MOST_BYTES)
    except OSError:
        return None
    content, seal = sealed[:-SEAL], sealed[-SEAL:]
    if hashlib.sha256(content).digest() != seal:
        return None
    with np.load(io.BytesIO(content), allow_pickle=False) as kept:
        found = Basis(**{each.name: kept[each.name] for each in fields(Basis)})
    with contextlib.suppress(OSError):
        os.utime(path)
    return found


def _write(path: Path, basis: Basis) -> None:
    """Nothing is said where it cannot be written: the next one makes it again."""
    made = io.BytesIO()
    np.savez(made, **{each.name: getattr(basis, each.name) for each in fields(basis)})
    content = made.getvalue()
    with contextlib.suppress(OSError, InputError):
        path.parent.mkdir(parents=True, exist_ok=True)
        files.write(path, content + hashlib.sha256(content).digest(), overwrite=True)
        _swept(path.parent, spare=path)


def _swept(place: Path, spare: Path) -> None:
    """Takes away what was read longest ago, down to MOST_BYTES; what a writer left when it was killed counts too."""
    names = (*place.glob("*.npz"), *place.glob(f".*{files.PART}"))
    every = [(each.stat(), each) for each in names if each != spare]
    total = spare.stat().st_size + sum(known.st_size for known, _ in every)
    for known, each in sorted(every, key=lambda pair: pair[0].st_mtime):
        if total <= MOST_BYTES:
            break
        each.unlink(missing_ok=True)
        total -= known.st_size
