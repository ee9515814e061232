"""What is folded away until somebody opens it; pictures in there are drawn when they are seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import ipywidgets
import traitlets as T

from .boxes import column
from .controls import Press


class Fold(ipywidgets.VBox):
    """A button that says what is in it, over what it `hold`s, which shows while `opened`. on_open: what to do then.

    >>> fold = Fold("How sure: what was varied, and what matters most")
    >>> fold.press(); fold.opened
    True
    """

    opened = T.Bool(False)

    def __init__(self, words: str, on_open: Callable[[], Any] | None = None, opened: bool = False) -> None:
        self.words, self._on_open = words, None
        self._draw: Callable[[], Any] | None = None
        self.button = Press(words)
        self.button.on_press(lambda pressed: self.set_trait("opened", not self.opened))
        self.inside = column()
        self.held: Any = None
        super().__init__(children=[self.button, self.inside], opened=opened)
        self._look()
        self._on_open = on_open

    def hold(self, inside: Sequence[Any], draw: Callable[[], Any] | None = None) -> None:
        """Put something in it, in the place of what was there; `draw` draws it while it is open. The page makes nothing of it before."""
        self.held, self._draw = column(*inside), draw
        self.inside.children = (self.held,) if self.opened else ()

    def draw(self) -> None:
        """Draw what is in it, if anybody sees it."""
        if self.opened and self._draw is not None:
            self._draw()

    def press(self) -> None:
        """Open or close it, as the button does."""
        self.button.press()

    @T.observe("opened")
    def _changed(self, change: Any) -> None:
        self._look()
        if self.opened and self._on_open is not None:
            self._on_open()

    def _look(self) -> None:
        self.button.label = f"{'▾' if self.opened else '▸'} {self.words}"
        self.button.shows = "true" if self.opened else "false"
        if self.opened and self.held is not None and not self.inside.children:
            self.inside.children = (self.held,)
        self.inside.layout.display = "flex" if self.opened else "none"


def parts(widget: Any) -> set[Any]:
    """A widget and all that stands in it, or will."""
    held = [widget.held] if isinstance(widget, Fold) else []
    return {widget}.union(*(parts(child) for child in (*getattr(widget, "children", ()), *held)))
