"""What was worked out and may be asked for again, within a bound on its bytes: what was used longest ago goes first."""

from __future__ import annotations

from collections import OrderedDict
from typing import Any

import numpy as np

MOST_BYTES = 100_000_000
MOST_PASSING = 50_000_000


class Memory:
    """Values by key, at most so many bytes of arrays in all."""

    def __init__(self, most_bytes: int = MOST_BYTES):
        self.most_bytes = most_bytes
        self._held: OrderedDict[tuple, tuple[Any, int]] = OrderedDict()
        self.bytes = 0

    def get(self, key: tuple) -> Any:
        """The value of a key, None where there is none any more."""
        found = self._held.get(key)
        if found is None:
            return None
        self._held.move_to_end(key)
        return found[0]

    def put(self, key: tuple, value: Any) -> None:
        """Keep a value, unless it is larger than all that may be kept."""
        size = _size(value)
        before = self._held.pop(key, None)
        self.bytes -= before[1] if before is not None else 0
        if size > self.most_bytes:
            return
        self._held[key] = value, size
        self.bytes += size
        while self.bytes > self.most_bytes:
            _, (_, gone) = self._held.popitem(last=False)
            self.bytes -= gone

    def clear(self) -> None:
        """Let go of everything."""
        self._held.clear()
        self.bytes = 0


class Kept:
    """A part of the memory that is one owner's own, used like a dict whose values may be gone."""

    def __init__(self, memory: Memory | None = None):
        self._memory = SHARED if memory is None else memory
        self._own = object()  # stays alive in the keys, so that no other owner is taken for this one

    def get(self, key: Any, default: Any = None) -> Any:
        found = self._memory.get((self._own, key))
        return default if found is None else found

    def __setitem__(self, key: Any, value: Any) -> None:
        self._memory.put((self._own, key), value)


def _size(value: Any) -> int:
    """Bytes of the arrays in a value."""
    if isinstance(value, np.ndarray):
        return value.nbytes
    if isinstance(value, (tuple, list)):
        return sum(map(_size, value))
    return len(value) if isinstance(value, bytes) else 100


SHARED = Memory()
READINGS = Memory()  # of all draws, asked for draw after draw: what they are worked out from does not push them out
PASSING = Memory(MOST_PASSING)  # what several readings at the same times are worked out from, and nobody asks for again
