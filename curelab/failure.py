"""What is kept of a fault of our own: one file, to send to us. Nothing is sent by itself."""

from __future__ import annotations

import contextlib
import os
import platform
import tempfile
import traceback
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from . import __version__

EXIT_CODE = 70  # a fault of the program, as sysexits.h has it
_LIBRARIES = ("numpy", "scipy", "pandas", "ipywidgets", "jupyterlab")
_HEAD = """This file tells of a fault in curelab. Nothing was sent: please send it to us yourself, with a word on what you did.

It holds what was typed after "curelab", the versions of the programs, and the place of the fault. Your home folder is written as ~, but
names of files, and words that were typed, may say who you are, and the last line may quote a value of your batch. Nothing else of the batch is
in it. Read it before you send it.
"""


def keep(error: BaseException, arguments: Sequence[str]) -> Path | None:
    """Write the file into the current folder, or else into the one for temporary files. Returns its path, None where neither takes it."""
    words = _words(error, arguments)
    for folder in (".", None):  # None: the one for temporary files, which a full disk has none of
        name = ""
        try:
            handle, name = tempfile.mkstemp(prefix="curelab-fault-", suffix=".txt", dir=folder)
            with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
                file.write(words)
            return Path(name) if folder is None else Path(Path(name).name)
        except OSError:
            with contextlib.suppress(OSError):
                os.unlink(name)
    return None


def sentence(error: BaseException, kept: Path | None) -> str:
    """What the person is told."""
    what = f"curelab met a fault of its own ({type(error).__name__}{_place(error)}), not one of your file"
    if kept is None:
        return f"{what}; say --debug to see it, and send us what it shows."
    return f'{what}; please send us "{kept}", which tells what was run, or say --debug to see the fault.'


def _place(error: BaseException) -> str:
    frames = [frame for frame in traceback.extract_tb(error.__traceback__) if "curelab" in Path(frame.filename).parts]
    return f" in {Path(frames[-1].filename).name}, line {frames[-1].lineno}" if frames else ""


def _words(error: BaseException, arguments: Sequence[str]) -> str:
    lines = [
        _HEAD,
        f"when: {datetime.now(UTC):%Y-%m-%d %H:%M} UTC",
        f"curelab {__version__}, Python {platform.python_version()}, {platform.platform()}",
        ", ".join(f"{name} {_version(name)}" for name in _LIBRARIES),
        f"arguments: {list(arguments)!r}",
        "",
        *traceback.format_exception(error),
    ]
    words = "\n".join(lines)
    home = os.path.expanduser("~")
    return words if home in ("", os.sep, "~") else words.replace(home, "~")


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "missing"
