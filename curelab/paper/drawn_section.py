"""Draw a section as SVG text, to scale: no script, no font of its own, black-and-white safe."""

from __future__ import annotations

from html import escape

import numpy as np

from ..show.cut_section import Area, CutSection, Edge
from .drawn_lines import GREY, INK

MARGIN, TOP, FOOT = 4.0, 5.0, 15.0  # mm beside, above and under the piece
SCALES = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 15, 20, 30, 50)  # the piece is drawn so many times smaller
WIDE = 1.5  # mm a letter takes
HATCHES = {
    "lines": '<path d="M0 2H4" stroke="#9a6a5e" stroke-width="0.25"/>',
    "dots": '<circle cx="2" cy="2" r="0.5" fill="#8a5247"/>',
    "crossed": '<path d="M0 4L4 0" stroke="#b39b5d" stroke-width="0.3"/>',
}


def svg_section(section: CutSection, width: float = 90.0, height: float = 52.0) -> str:
    """An <svg> of `width` x `height` mm: tissues, outline, closed faces, thickness at the stations, the slowest spot and a scale. It is
    drawn at the first round scale at which it fits.
    """
    x, y = section.outline
    unit = 25.4 if section.x_label.startswith("in") else 10.0
    long, tall = unit * float(np.ptp(x)), unit * float(y.max())
    smaller = next(
        (s for s in SCALES if long / s <= width - 2 * MARGIN and tall / s <= height - TOP - FOOT), SCALES[-1]
    )
    per = unit / smaller
    left, ground = 0.5 * (width - per * float(np.ptp(x))) - per * float(x.min()), height - FOOT
    across, up = (lambda value: left + per * value), (lambda value: ground - per * value)
    path = lambda xs, ys: " ".join(f"{across(a):.2f},{up(b):.2f}" for a, b in zip(xs, ys, strict=True))  # noqa: E731
    used = dict.fromkeys(area.hatch for area in section.areas if area.hatch)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}mm" height="{height:g}mm" role="img">',
        f"<title>{escape(section.sentence)}</title>",
        "<defs>" + "".join(f'<pattern id="{name}" width="2.8" height="2.8" viewBox="0 0 4 4" patternUnits="userSpaceOnUse">{HATCHES[name]}</pattern>' for name in used) + "</defs>",
    ]  # fmt: skip
    for area in section.areas:
        # A hair of its own colour, or two parts of one tissue would show a seam.
        out.append(
            f'<polygon points="{path(area.x, area.y)}" fill="{area.colour}" stroke="{area.colour}" stroke-width="0.1"/>'
        )
        out += [f'<polygon points="{path(area.x, area.y)}" fill="url(#{area.hatch})"/>'] if area.hatch else []
    out.append(f'<polygon points="{path(x, y)}" fill="none" stroke="{INK}" stroke-width="0.4"/>')
    for edge in section.closed:
        out.append(f'<polyline points="{path(edge.x, edge.y)}" fill="none" stroke="{INK}" stroke-width="1.3"/>')
        out.append(_said(edge, across, up, x, y))
    out += _ticks(section, across, ground)
    for spot in section.spots:
        a, b = across(spot.x), up(spot.y)
        out.append(
            f'<path d="M{a - 1.4:.2f} {b:.2f}H{a + 1.4:.2f}M{a:.2f} {b - 1.4:.2f}V{b + 1.4:.2f}" stroke="{INK}" stroke-width="0.5"/>'
        )
        out.append(f'<circle cx="{a:.2f}" cy="{b:.2f}" r="1" fill="none" stroke="{INK}" stroke-width="0.4"/>')
        end = "end" if a > 0.5 * width else "start"
        out.append(_text(a + (-2 if end == "end" else 2), b + 1, spot.label, INK, end))
    out += _key(section.areas, height)
    out.append(_text(width - MARGIN, height - 1.5, f"scale 1 : {smaller:g}; {section.x_label}", GREY, "end"))
    return "\n".join([*out, "</svg>"])


def _said(edge: Edge, across, up, x: np.ndarray, y: np.ndarray) -> str:
    """The word for a closed face, just inside of its middle."""
    a, b = 0.5 * (edge.x.min() + edge.x.max()), 0.5 * (edge.y.min() + edge.y.max())
    if np.ptp(edge.x) > np.ptp(edge.y):
        return _text(across(a), up(b) + (4 if b > 0.5 * y.max() else -1.6), edge.label, INK, "middle")
    side = 1 if a <= 0.5 * (x.min() + x.max()) else -1
    return _text(across(a) + 1.5 * side, up(b), edge.label, INK, "start" if side > 0 else "end")


def _ticks(section: CutSection, across, ground: float) -> list[str]:
    """A stroke under every station, and its thickness where there is room."""
    out, last = [], -1e3
    for at, words in section.ticks:
        place = across(at)
        out.append(
            f'<path d="M{place:.2f} {ground + 0.6:.2f}V{ground + 2.2:.2f}" stroke="{GREY}" stroke-width="0.25"/>'
        )
        if place - last >= WIDE * len(words) + 1:
            out.append(_text(place, ground + 5, words, GREY, "middle"))
            last = place
    return out


def _key(areas: tuple[Area, ...], height: float) -> list[str]:
    """What the colours mean, where there is more than one."""
    kinds = {area.label: area for area in areas}
    if len(kinds) < 2:
        return []
    out, place = [], MARGIN
    for label, area in kinds.items():
        box = f'x="{place:.2f}" y="{height - 8.2:.2f}" width="4" height="2.8"'
        out.append(f'<rect {box} fill="{area.colour}" stroke="{INK}" stroke-width="0.2"/>')
        out += [f'<rect {box} fill="url(#{area.hatch})"/>'] if area.hatch else []
        out.append(_text(place + 5, height - 6, label, INK, "start"))
        place += 8 + WIDE * len(label)
    return out


def _text(x: float, y: float, words: str, colour: str, anchor: str) -> str:
    around = 'stroke="#fff" stroke-width="0.7" paint-order="stroke"'
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="2.6" fill="{colour}" text-anchor="{anchor}" {around}>{escape(words)}</text>'
