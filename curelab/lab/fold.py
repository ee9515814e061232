"""What is folded away until somebody opens it; pictures in there are drawn when they are seen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import ipywidgets
import traitlets as T

from .boxes import column
from .controls import Press


class Fold(ipywidgets.VBox):
    """A button that says what is in it, over `inside`, which shows while `opened`.

    >>> fold = Fold("How sure: what was varied, and what matters most", [])
    >>> fold.press(); fold.opened
    True
    """

    opened = T.Bool(False)

    def __init__(self, words: str, inside: Any, on_open: Callable[[], Any] | None = None) -> None:
        self._words, self._on_open = words, on_open
        self.button = Press(words)
        self.button.on_press(lambda pressed: self.set_trait("opened", not self.opened))
        self.inside = column(*inside)
        self._look()
        super().__init__(children=[self.button, self.inside])

    def press(self) -> None:
        """Open or close it, as the button does."""
        self.button.press()

    @T.observe("opened")
    def _changed(self, change: Any) -> None:
        self._look()
        if self.opened and self._on_open is not None:
            self._on_open()

    def _look(self) -> None:
        self.button.label = f"{'▾' if self.opened else '▸'} {self._words}"
        self.inside.layout.display = "flex" if self.opened else "none"
