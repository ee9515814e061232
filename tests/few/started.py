"""Processes that the tests' own process has started."""

from __future__ import annotations

import contextlib

import psutil


def started(words: str) -> list[psutil.Process]:
    """Those that run, by words of what they were called with."""
    found = []
    for child in psutil.Process().children():
        with contextlib.suppress(psutil.Error):  # one that ends just now
            found += [child] if words in " ".join(child.cmdline()) else []
    return found
