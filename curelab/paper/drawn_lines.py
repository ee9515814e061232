"""Draw a picture of lines as SVG text: no script, no font of its own, black-and-white safe. Pure; it knows
nothing of what it draws.
"""

from __future__ import annotations

import math
from html import escape

import numpy as np

from ..show.pictures import Lines, Series

LEFT, RIGHT, TOP, BOTTOM = 11.0, 3.0, 3.0, 9.5  # mm around the field
INK, GREY, RULE = "#1c1a17", "#6b665e", "#d9d4ca"


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers that cover low to high, at most `most` of them.

    >>> ticks(0, 79, 6)
    [0.0, 20.0, 40.0, 60.0, 80.0]
    """
    span = high - low if high > low else 1.0
    step = next(
        size * 10.0**power
        for power in range(math.floor(math.log10(span)) - 2, math.ceil(math.log10(span)) + 2)
        for size in (1, 2, 2.5, 5)
        if math.ceil(high / (size * 10.0**power) - 1e-9) - math.floor(low / (size * 10.0**power) + 1e-9) < most
    )
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(step * n, 12) + 0.0 for n in range(first, last + 1)]


def svg_lines(lines: Lines, width: float = 90.0, height: float = 52.0, key: bool = True) -> str:
    """An <svg> of `width` x `height` mm: the bands, the lines with their dashes, the marks with their labels,
    and the axes; in its corner, with `key`, what each line is.

    The sentence of the picture becomes its title, for whoever listens instead of looks.
    """
    xs = np.concatenate([each.x for each in lines.series])
    tops = [each.y if each.high is None else each.high for each in lines.series]
    marks = [mark.at for mark in lines.marks if mark.axis == "y"]
    x_ticks = ticks(float(xs.min()), float(xs.max()), 7)
    y_ticks = ticks(
        min(0.0, *(float(each.y.min()) for each in lines.series)),
        max(*(float(t.max()) for t in tops), *marks, 1e-9),
    )
    x0, x1, y0, y1 = float(xs.min()), float(xs.max()), y_ticks[0], y_ticks[-1]
    field_width, field_height = width - LEFT - RIGHT, height - TOP - BOTTOM
    across = lambda x: LEFT + (x - x0) / (x1 - x0 or 1.0) * field_width  # noqa: E731
    up = lambda y: TOP + (y1 - y) / (y1 - y0 or 1.0) * field_height  # noqa: E731
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}mm" '
        f'height="{height:g}mm" role="img">',
        f"<title>{escape(lines.sentence)}</title>",
        f'<g font-size="2.6" fill="{GREY}" stroke="none">',
    ]
    for tick in y_ticks:
        out.append(_line(LEFT, up(tick), width - RIGHT, up(tick), INK if tick == y0 else RULE, 0.25))
        out.append(f'<text x="{LEFT - 1.2:g}" y="{up(tick) + 1:.2f}" text-anchor="end">{tick:g}</text>')
    for tick in x_ticks:
        if x0 - 1e-9 <= tick <= x1 + 1e-9:
            out.append(_line(across(tick), up(y0), across(tick), up(y0) + 1, INK, 0.25))
            out.append(f'<text x="{across(tick):.2f}" y="{up(y0) + 4:.2f}" text-anchor="middle">{tick:g}</text>')
    middle = LEFT + field_width / 2
    out.append(f'<text x="{middle:.2f}" y="{height - 1:.2f}" text-anchor="middle">{escape(lines.x_label)}</text>')
    turned = f"rotate(-90 2.6 {TOP + field_height / 2:.2f})"
    out.append(
        f'<text x="2.6" y="{TOP + field_height / 2:.2f}" text-anchor="middle" '
        f'transform="{turned}">{escape(lines.y_label)}</text>'
    )
    out.append("</g>")
    for each in lines.series:
        out.append(_band(each, across, up))
    out += [_polyline(each, across, up) for each in lines.series]
    for mark in lines.marks:
        out += _mark(mark, across, up, width, up(y0))
    if key and len(lines.series) > 1:
        out += _legend(lines.series)
    return "\n".join([*(part for part in out if part), "</svg>"])


def _polyline(each, across, up) -> str:
    points = " ".join(f"{across(x):.2f},{up(y):.2f}" for x, y in zip(each.x, each.y, strict=True))
    dash = f' stroke-dasharray="{" ".join(f"{float(n) / 5:g}" for n in each.dash.split())}"' if each.dash else ""
    return (
        f'<polyline points="{points}" fill="none" stroke="{each.colour}" stroke-width="0.75" '
        f'stroke-linejoin="round"{dash}/>'
    )


def _mark(mark, across, up, width: float, bottom: float) -> tuple[str, str]:
    """The line of a mark, and its label."""
    flat = mark.axis == "y"
    x = (LEFT, width - RIGHT) if flat else (across(mark.at),) * 2
    y = (up(mark.at),) * 2 if flat else (TOP, bottom)
    at = (width - RIGHT - 0.5, y[0] - 0.8, "end") if flat else (x[0] + 0.8, TOP + 2.5, "start")
    return (
        _line(x[0], y[0], x[1], y[1], INK, 0.3, "0.4 1"),
        f'<text x="{at[0]:.2f}" y="{at[1]:.2f}" font-size="2.5" fill="{INK}" text-anchor="{at[2]}" '
        'stroke="#fff" stroke-width="0.7" '
        f'paint-order="stroke">{escape(mark.label)}</text>',
    )


def _line(x1, y1, x2, y2, colour, width, dash="") -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    ends = f'x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}"'
    return f'<line {ends} stroke="{colour}" stroke-width="{width}"{dashes}/>'


def _band(each: Series, across, up) -> str:
    if each.low is None or each.high is None:
        return ""
    edge = [*zip(each.x, each.low, strict=True), *reversed(list(zip(each.x, each.high, strict=True)))]
    points = " ".join(f"{across(x):.2f},{up(y):.2f}" for x, y in edge)
    colour = each.colour
    edge_style = f'stroke="{colour}" stroke-opacity="0.45" stroke-width="0.2"'
    return f'<polygon points="{points}" fill="{colour}" fill-opacity="0.16" {edge_style}/>'


def _legend(series: tuple[Series, ...]) -> list[str]:
    out = []
    for n, each in enumerate(series):
        y = TOP + 2.5 + 3.6 * n
        dash = " ".join(f"{float(part) / 5:g}" for part in each.dash.split())
        out.append(_line(LEFT + 2, y - 1, LEFT + 9, y - 1, each.colour, 0.75, dash))
        out.append(f'<text x="{LEFT + 10.5:g}" y="{y:.2f}" font-size="2.6" fill="{INK}">{escape(each.label)}</text>')
    return out
