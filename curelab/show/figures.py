"""Plotly figures of what pictures.py says, to explore and export. Pure: the same picture gives the same figure."""

from __future__ import annotations

from html import escape
from textwrap import wrap

import numpy as np
import plotly.graph_objects as go

from .cut_section import CutSection
from .pictures import Lines, Map
from .ranking import COLOUR, Bars

_PLOTLY_DASH = {"": "solid", "8 4": "8px,4px", "2 3": "2px,3px", "8 3 2 3": "8px,3px,2px,3px", "14 4": "14px,4px"}
_SHAPE = {"": "", "dots": ".", "lines": "-", "crossed": "/"}
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


def section(picture: CutSection) -> go.Figure:
    """A section to scale: tissues, closed faces as thick lines, the slowest spot as a cross."""
    figure, told = go.Figure(), set()
    if picture.field is not None:
        bar = {"title": {"text": picture.field.label, "side": "right"}}
        figure.add_heatmap(
            x=picture.field.x, y=picture.field.y, z=picture.field.z, colorscale="Cividis", zmin=0, colorbar=bar
        )
    for area in picture.areas if picture.field is None else ():
        figure.add_scatter(
            x=area.x, y=area.y, mode="lines", line={"width": 0}, fill="toself", fillcolor=area.colour, name=area.label, hoverinfo="name",
            fillpattern={"shape": _SHAPE[area.hatch], "fgcolor": "#8a6a5a", "bgcolor": area.colour, "size": 8},
            showlegend=area.label not in told,
        )  # fmt: skip
        told.add(area.label)
    x, y = (np.append(part, part[0]) for part in picture.outline)
    figure.add_scatter(
        x=x, y=y, mode="lines", line={"color": "#1c1a17", "width": 1.5}, hoverinfo="skip", showlegend=False
    )
    for edge in picture.closed:
        figure.add_scatter(
            x=edge.x, y=edge.y, mode="lines", line={"color": "#1c1a17", "width": 5}, name=edge.label, showlegend=False
        )
    for spot in picture.spots:
        figure.add_scatter(
            x=[spot.x], y=[spot.y], mode="markers+text", text=[spot.label], textposition="top center", showlegend=False,
            marker={"symbol": "circle-cross-open", "size": 13, "color": "#1c1a17", "line": {"width": 2}},
        )  # fmt: skip
    figure.update_layout(
        title={"text": _lines(picture.sentence, 95), "font": {"size": 15}},
        **{**_LAYOUT, "hovermode": "closest", "showlegend": len(told) > 1},
    )
    ticks = {
        "tickvals": [at for at, _ in picture.ticks],
        "ticktext": [f"{at:.3g}<br>{words}" for at, words in picture.ticks],
    }
    figure.update_xaxes(title=picture.x_label, **_AXIS, **(ticks if picture.ticks else {}))
    figure.update_yaxes(title=picture.x_label.split()[0], scaleanchor="x", **_AXIS)
    _note(figure, picture.note)
    return figure


def bars(picture: Bars) -> go.Figure:
    """Bars from 0 to 100 %, the first at the top, each with its number at its end; the total hatched beyond the share.

    Without bars, sentence and note alone.
    """
    place = list(range(len(picture.bars)))
    note, sentence = _lines(picture.note, 120), _lines(picture.sentence, 95)
    shares = [bar.share for bar in picture.bars]
    beyond = [0.0 if bar.total is None else bar.total - bar.share for bar in picture.bars]
    told = [escape(f"{bar.label}: {bar.remedy}" if bar.remedy else bar.label) for bar in picture.bars]
    look = {"color": COLOUR, "line": {"color": COLOUR, "width": 1}}
    hatched = {**look, "color": "white", "pattern": {"shape": "/", "fgcolor": COLOUR, "bgcolor": "white", "size": 6}}
    more = {"orientation": "h", "y": place, "hovertext": told, "hoverinfo": "text"}
    figure = go.Figure()
    figure.add_bar(x=shares, name="alone", marker=look, **more)
    figure.add_bar(x=beyond, name="with others", marker=hatched, **more)
    for row, bar in enumerate(picture.bars):
        figure.add_annotation(
            x=bar.share + beyond[row], y=row, text=bar.reading, showarrow=False, xanchor="left", xshift=6
        )
    # Plotly wraps no words, so the figure is made to the measure of its words: in pixels, and as wide as their lines are cut.
    more_lines = sentence.count("<br>")
    top, foot = 46 + 20 * more_lines, (78 if place else 20) + 16 * (note.count("<br>") + 1)
    title = {"text": sentence, "font": {"size": 15}, "x": 0, "y": 1, "xanchor": "left", "yanchor": "top"}
    figure.update_layout(
        **{**_LAYOUT, "hovermode": "closest", "margin": {"l": 240, "r": 90, "t": top, "b": foot}},
        barmode="stack",
        bargap=0.4,
        width=820,
        height=top + foot + 38 * len(place),
        title={**title, "pad": {"l": 12, "t": 10 + 10 * more_lines}},  # plotly hangs a title by its middle line
    )
    figure.update_xaxes(
        title={"text": escape(picture.x_label), "font": {"size": 14}, "standoff": 8},
        range=[0, 100],
        visible=bool(place),
        **_AXIS,
    )
    figure.update_yaxes(
        **{**_AXIS, "showgrid": False, "ticks": ""},
        range=[len(place) - 0.5, -0.5],
        visible=bool(place),
        tickvals=place,
        ticktext=[_lines(bar.label, 30) for bar in picture.bars],
    )
    figure.add_annotation(
        text=note, showarrow=False, align="left", font={"size": 12, "color": "#444"},
        xref="paper", x=0, xanchor="left", xshift=-228, yref="paper", y=0, yanchor="top", yshift=-62 if place else 0,
    )  # fmt: skip
    return figure


def _lines(words: str, most: int) -> str:
    """Words in lines of at most `most` letters, for a text that plotly does not wrap."""
    return "<br>".join(escape(part) for line in words.split("\n") for part in wrap(line, most) or [""])


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
