"""A percentage on stderr for what takes longer than a second: shown by the command on a terminal, and silent from Python unless asked for."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from typing import Any

DELAY = 1.0  # s without a line
_ON = False
_COUNTING = False


@contextlib.contextmanager
def shown(on: bool | None = None) -> Iterator[None]:
    """Show progress while this lasts. on: None, where stderr is a terminal."""
    global _ON
    before = _ON
    _ON = bool(sys.stderr and sys.stderr.isatty()) if on is None else on
    try:
        yield
    finally:
        _ON = before


@contextlib.contextmanager
def counted(
    doing: str, total: int | None = None, on: bool | None = None, about: int | None = None
) -> Iterator[Callable[[], Any]]:
    """A function to call after each of `total` steps, or of `about` so many, where nobody knows: then the line stops before its end. It is taken away
    at the end, also after Ctrl-C.

    doing: what takes so long, in a few words. on: None, while progress is `shown`. What is counted inside has no line of its own.
    """
    global _COUNTING
    if _COUNTING or not (_ON if on is None else on):
        yield lambda: None
        return
    from tqdm import tqdm

    whole = total or about
    style = "{desc}: {percentage:3.0f} % |{bar}| {remaining} left" if whole else "{desc}: step {n_fmt}, {elapsed}"
    shape = {"ncols": _width(), "nrows": 20}  # given, because a terminal may say 0 and tqdm then shows nothing
    with tqdm(total=whole, desc=doing, bar_format=style, delay=DELAY, leave=False, **shape) as line:
        _COUNTING = True
        try:
            yield lambda: line.update(total is not None or whole is None or line.n + 1 < whole)
        finally:  # tqdm takes away no line that it was about to print when Ctrl-C came
            _COUNTING = False
            if sys.stderr is not None and line.format_dict["elapsed"] > DELAY:
                sys.stderr.write("\r" + " " * shape["ncols"] + "\r")


def _width() -> int:
    """Letters of a line: one less than those of the terminal, at most 79."""
    try:
        return min(os.get_terminal_size(sys.stderr.fileno()).columns or 80, 80) - 1
    except (OSError, ValueError, AttributeError):
        return 79
