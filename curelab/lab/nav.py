"""The line at the top of every page: the pages, where you are, and the batch in hand."""

from __future__ import annotations

from collections.abc import Sequence

import anywidget
import traitlets as T

from .assets import joined

PAGES = (
    ("start.ipynb", "Start"),
    ("thick_point.ipynb", "The cut"),
    ("equilibrium_or_strong.ipynb", "Equilibrium or strong"),
    ("soak.ipynb", "Soak"),
    ("plate.ipynb", "To the plate"),
    ("batch.ipynb", "My batch"),
    ("learning.ipynb", "Learning"),
    ("compare.ipynb", "Compare"),
)


class Nav(anywidget.AnyWidget):
    """Links to the `pages`, (file, words) each; `here`: the file of this one; `batch`: what is in hand, in words.

    can_undo: whether the button "Undo" can be pressed; `undone` counts its presses. `seen` counts how often the page came to be seen, `left` how often it
    was left; `kept`: up to which `left` all that was changed has been written.
    """

    _esm = joined("page.js", "nav.js")
    _css = joined("page.css", "nav.css")

    pages: T.List = T.List().tag(sync=True)
    here = T.Unicode("").tag(sync=True)
    batch = T.Unicode("").tag(sync=True)
    can_undo = T.Bool(False).tag(sync=True)
    undone = T.Int(0).tag(sync=True)
    seen = T.Int(0).tag(sync=True)
    left = T.Int(0).tag(sync=True)
    kept = T.Int(0).tag(sync=True)

    def __init__(self, here: str = "", pages: Sequence[tuple[str, str]] = PAGES, **more: object) -> None:
        super().__init__(pages=[list(page) for page in pages], here=here, **more)

    def __repr__(self) -> str:
        return f"Nav({self.here!r})"
