"""A paragraph that says the answer, a note, a caution or what went wrong."""

from __future__ import annotations

from typing import Any

import anywidget
import traitlets as T

from .assets import joined


class Say(anywidget.AnyWidget):
    """A paragraph. `kind` is "answer" (large), "note" (small), "caution" (barred, begins "Caution") or "alert" (boxed,
    begins "Attention", read out at once by a screen reader). Two stars round a word make it **strong**; a new line is kept.
    An empty text takes no room. Raises traitlets.TraitError for another kind.

    >>> Say("Ready after **9 days**.")
    Say('answer', 'Ready after **9 days**.')
    """

    _esm = joined("page.js", "say.js")
    _css = joined("page.css", "say.css")

    text = T.Unicode("").tag(sync=True)
    kind = T.Enum(("answer", "note", "caution", "alert"), "answer").tag(sync=True)

    def __init__(self, text: str = "", kind: str = "answer", **more: Any) -> None:
        super().__init__(text=text, kind=kind, **more)

    def tell(self, text: str, kind: str = "answer") -> None:
        """Change text and kind in one message."""
        with self.hold_sync():
            self.kind = kind
            self.text = text

    def __repr__(self) -> str:
        return f"Say({self.kind!r}, {self.text[:60]!r})"
