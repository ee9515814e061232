"""Rows and columns that reflow on a narrow page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets


def row(*widgets: Any, share: Sequence[float] | None = None, at_least: int = 260, gap: int = 24) -> ipywidgets.Box:
    """Widgets side by side; one that would become narrower than `at_least` pixels moves to the next line.

    `share` gives each widget its part of spare width (equal parts if not given). On a page narrower than `at_least` a
    widget shrinks with the page, so no slider is lost. Sets the layout of the widgets given. Raises ValueError when
    `share` has another length.
    """
    parts = [1.0] * len(widgets) if share is None else list(share)
    if len(parts) != len(widgets):
        raise ValueError(f"share has {len(parts)} numbers for {len(widgets)} widgets; give one each.")
    for widget, part in zip(widgets, parts, strict=True):
        widget.layout.flex = f"{part:g} 1 {round(at_least * part / min(parts))}px"
        widget.layout.min_width = "0"
    layout = ipywidgets.Layout(
        display="flex",
        flex_flow="row wrap",
        align_items="flex-start",
        grid_gap=f"4px {gap}px",
        width="100%",
        overflow="visible",
    )
    return ipywidgets.Box(children=widgets, layout=layout)


def buttons(*widgets: Any, gap: int = 8) -> ipywidgets.Box:
    """Widgets side by side, each as wide as what stands on it."""
    made = row(*widgets, gap=gap)
    for widget in widgets:
        widget.layout.flex = "0 0 auto"
    return made


def column(*widgets: Any, gap: int = 8) -> ipywidgets.Box:
    """Widgets under each other, each as wide as the column. Sets the layout of the widgets given."""
    for widget in widgets:
        widget.layout.min_width = "0"
        if widget.layout.width is None:
            widget.layout.width = "100%"
    layout = ipywidgets.Layout(
        display="flex", flex_flow="column", align_items="stretch", grid_gap=f"{gap}px", overflow="visible"
    )
    return ipywidgets.Box(children=widgets, layout=layout)
