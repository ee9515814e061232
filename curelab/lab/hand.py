"""Which batch file is in hand, so that every page of a folder shows the same one; and names that no file has yet."""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from .. import files
from ..fields import InputError

NOTE = ".curelab-in-hand"  # a file in the folder of the pages, with the name of the batch file in it
LONGEST = 2000  # bytes of a name


@dataclass(frozen=True)
class Hand:
    """The note of a folder."""

    folder: Path

    def file(self) -> str | None:
        """The batch file in hand; None where none was noted, or it is gone."""
        found = in_hand(self.folder)
        return None if found is None else str(found)

    def take(self, path: str | Path) -> None:
        """Note another file. A folder that cannot be written to keeps its note: pages then open what they opened before."""
        if str(path) != self.file():
            with contextlib.suppress(InputError):
                files.write(self.folder / NOTE, f"{path}\n", overwrite=True)


def in_hand(folder: Path) -> Path | None:
    """The batch file that was noted last in a folder, if it is there."""
    try:
        name = files.content(folder / NOTE, LONGEST).decode("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return Path(name) if name and os.path.isfile(name) else None


def free_path(path: Path) -> Path:
    """This path, or with the first number behind its name that no file has: "belly.toml", "belly-2.toml"."""
    if not os.path.lexists(path):
        return path
    return next(
        each for number in count(2) if not os.path.lexists(each := path.with_name(f"{path.stem}-{number}{path.suffix}"))
    )


__all__ = ["NOTE", "Hand", "free_path", "in_hand"]
