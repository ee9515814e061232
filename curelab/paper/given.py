"""The files that an action of the command is given: where to write, and what to read. Each is refused in one sentence before anything is computed."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from .. import files
from ..fields import refuse
from ..tomlfile import LARGEST


def target(given, kind: str, ends: Sequence[str]) -> Path:
    """The file to write: the one that was named, or BATCH-KIND with the first of the ends that are known.

    Raises InputError for another end, and for a file that is there already where none is to be replaced.
    """
    out = given.out or given.file.with_name(f"{given.file.stem}-{kind}{ends[0]}")
    if out.suffix.lower() not in ends:
        raise refuse(
            "--out", f'"{out.name}" does not end in {" or ".join(ends)}; say by the end of the name what it is'
        )
    if os.path.lexists(out) and not given.replace:
        raise refuse(out.name, "is there already and was left as it was; choose another name, or say --replace")
    return out


def content(path: Path, hint: str, most: int = LARGEST, where: str = "") -> bytes:
    """What a file holds, `most` bytes of it. Raises InputError, with the hint, where it cannot be read."""
    try:
        return files.content(path, most)
    except OSError as error:
        raise refuse(where or files.called(path), f'"{path}" cannot be read: {error.strerror}; {hint}') from None


__all__ = ["content", "target"]
