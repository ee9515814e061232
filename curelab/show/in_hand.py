"""The batch in hand, as every page names it."""

from __future__ import annotations

from pathlib import Path
from typing import Any


def in_hand(state: Any) -> str:
    """The name of the batch of a page's state, and whether it is kept: "Brisket half, invented: saved as my-batch.toml". One that came with
    the lab is not saved before it is changed.
    """
    invented = ", invented" if state.batch.invented else ""
    name = f"{state.batch.name}{invented}"
    if state.unkept:
        return f"{name}: NOT SAVED. {state.unkept}"
    if state.shipped and state.saved:
        return f"{name}: as it came, {state.path}"
    if state.path and state.saved:
        return f"{name}: saved as {Path(state.path).name}"
    return f"{name}: not saved yet" if state.path or not state.saved else f"{name}: nothing changed yet"


__all__ = ["in_hand"]
