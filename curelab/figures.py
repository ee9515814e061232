"""Plotly figures of what pictures.py says, to explore and export. Pure: the same picture gives the same figure."""

from __future__ import annotations

import plotly.graph_objects as go

from .pictures import Lines, Map

_PLOTLY_DASH = {"": "solid", "8 4": "8px,4px", "2 3": "2px,3px", "8 3 2 3": "8px,3px,2px,3px", "14 4": "14px,4px"}
_LAYOUT = {
    "template": "none",
    "font": {"family": "system-ui, sans-serif", "size": 14, "color": "#222"},
    "margin": {"l": 64, "r": 120, "t": 70, "b": 64},
    "hovermode": "x unified",
    "showlegend": False,
    "paper_bgcolor": "white",
    "plot_bgcolor": "white",
}
_AXIS = {
    "showgrid": True,
    "gridcolor": "#e4e4e4",
    "zeroline": False,
    "linecolor": "#666",
    "showline": True,
    "ticks": "outside",
}


def lines(picture: Lines) -> go.Figure:
    """Lines with their bands, each labelled at its end."""
    figure = go.Figure()
    for series in picture.series:
        if series.low is not None and series.high is not None:
            figure.add_scatter(x=series.x, y=series.low, mode="lines", line={"width": 0}, hoverinfo="skip")
            figure.add_scatter(
                x=series.x,
                y=series.high,
                mode="lines",
                line={"width": 0},
                fill="tonexty",
                fillcolor=_faint(series.colour),
                hoverinfo="skip",
            )
    for series in picture.series:
        figure.add_scatter(
            x=series.x,
            y=series.y,
            mode="lines",
            name=series.label,
            line={"color": series.colour, "dash": _PLOTLY_DASH[series.dash], "width": 2.5},
        )
        figure.add_annotation(
            x=series.x[-1],
            y=series.y[-1],
            text=series.label,
            font={"color": series.colour},
            showarrow=False,
            xanchor="left",
            xshift=6,
        )
    for mark in picture.marks:
        add = figure.add_hline if mark.axis == "y" else figure.add_vline
        add(mark.at, line={"color": "#555", "width": 1, "dash": "dot"}, annotation_text=mark.label)
    figure.update_layout(title={"text": picture.sentence, "font": {"size": 15}}, **_LAYOUT)
    figure.update_xaxes(title=picture.x_label, **_AXIS)
    figure.update_yaxes(title=picture.y_label, rangemode="tozero", **_AXIS)
    _note(figure, picture.note)
    return figure


def depth_map(picture: Map) -> go.Figure:
    """The map with its colour bar, and the line of the criterion."""
    figure = go.Figure(
        go.Heatmap(
            x=picture.x,
            y=picture.y,
            z=picture.z,
            colorscale="Cividis",
            zmin=0,
            colorbar={"title": {"text": picture.z_label, "side": "right"}},
        )
    )
    if picture.line is not None:
        figure.add_scatter(
            x=picture.line[0],
            y=picture.line[1],
            mode="lines",
            line={"color": "white", "width": 2},
            name=picture.line_label,
        )
    figure.update_layout(title={"text": picture.sentence, "font": {"size": 15}}, **_LAYOUT)
    figure.update_xaxes(title=picture.x_label, **_AXIS)
    figure.update_yaxes(title=picture.y_label, autorange="reversed", **_AXIS)
    _note(figure, picture.note)
    return figure


def _note(figure: go.Figure, note: str) -> None:
    if note:
        figure.add_annotation(
            text=note,
            xref="paper",
            yref="paper",
            x=0,
            y=-0.2,
            showarrow=False,
            xanchor="left",
            font={"size": 12, "color": "#555"},
        )


def _faint(colour: str) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},0.16)"
