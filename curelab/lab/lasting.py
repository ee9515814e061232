"""A sentence that stands on a page as long as it is so."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ..batch import Batch
from .kept_batch import KeptBatch
from .say import Say


class Lasting:
    """What came of an action, in `say`: taken away once what it is about is another, and kept where a page is made anew."""

    def __init__(self, state: KeptBatch) -> None:
        self._state = state
        self._words, self._kind = "", "note"
        self._about: Callable[[Batch], Any] = lambda batch: None
        self._then: Any = None

    def make(self) -> Say:
        """The sentence anew, for a page that is made anew."""
        self.say = Say("", "note")
        self._state.observe(lambda change: self._look(), ["batch", "opened"])
        self._look()
        return self.say

    def tell(self, words: str, about: Callable[[Batch], Any], kind: str = "note") -> None:
        """Say something that is so as long as `about(batch)` stays what it is now."""
        self._words, self._kind, self._about, self._then = words, kind, about, about(self._state.batch)
        self._look()

    def _look(self) -> None:
        so = self._about(self._state.batch) == self._then
        self.say.tell(self._words if so else "", self._kind if so else "note")


__all__ = ["Lasting"]
