"""The batch in hand, as every page names it."""

from __future__ import annotations

from pathlib import Path
from typing import Any


def in_hand(state: Any) -> str:
    """The name of the batch of a page's state, and whether it is kept: "Brisket half, invented: saved as my-batch.toml"."""
    invented = ", invented" if state.batch.invented else ""
    name = f"{state.batch.name}{invented}"
    if state.unkept:
        return f"{name}: NOT SAVED. {state.unkept}"
    if state.path and state.saved:
        return f"{name}: saved as {Path(state.path).name}"
    return f"{name}: not saved yet" if state.path or not state.saved else f"{name}: nothing changed yet"


__all__ = ["in_hand"]
