"""A place to drop a file on, or to choose one: its bytes go to Python, and nothing is read in the page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import anywidget
import traitlets as T

from .assets import joined

MOST = 9_000_000  # bytes that a page sends at once; what is larger goes by the command


class Drop(anywidget.AnyWidget):
    """A file dropped anywhere on the page, or chosen by the button, is given to `on_file(name, content)`."""

    _esm = joined("page.js", "drop.js")
    _css = joined("page.css", "drop.css")

    label = T.Unicode("").tag(sync=True)
    most = T.Int(MOST).tag(sync=True)
    too_large = T.Unicode("").tag(sync=True)

    def __init__(self, label: str, too_large: str, on_file: Callable[[str, bytes], Any], **more: Any) -> None:
        super().__init__(label=label, too_large=too_large, **more)
        self._on_file = on_file
        self.on_msg(self._taken)

    def _taken(self, widget: Any, message: dict[str, Any], buffers: list[Any]) -> None:
        if message.get("name") and len(buffers) == 1:
            self.take(str(message["name"]), bytes(buffers[0]))

    def take(self, name: str, content: bytes) -> None:
        """What a file dropped on the page does."""
        self._on_file(name, content)

    def __repr__(self) -> str:
        return f"Drop({self.label!r})"
