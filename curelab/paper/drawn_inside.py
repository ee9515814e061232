"""Draw the inside of pieces on one day as SVG text, to scale and coloured: no script, no font of its own.

The benches and the page to carry draw the same `show.section.Section` live (`lab/section.js`), in the same colours.
"""

from __future__ import annotations

from html import escape
from itertools import pairwise

import numpy as np

from ..show.section import Drawn, Section
from .drawn_lines import GREY, INK

# Light is little and dark is much, one hue for a quantity; the stops of `lab/section.js`, and a test holds them together.
HUES = {
    "salt": ((246, 249, 253), (197, 219, 240), (124, 174, 220), (55, 121, 186), (20, 72, 134), (6, 34, 78)),
    "free nitrite": ((254, 247, 242), (252, 215, 192), (245, 160, 120), (214, 96, 52), (150, 52, 20), (84, 22, 4)),
    "temperature": ((252, 247, 251), (238, 208, 232), (218, 155, 203), (181, 96, 162), (125, 42, 108), (66, 8, 56)),
}
FAT = "#f3e2b3"
SIDE, TOP, FOOT, BETWEEN = 9.0, 6.0, 10.0, 14.0  # mm beside, above and under the pieces, and between them
CELLS = 12_000  # into which the grid is divided at most, so that no step is seen
STEPS = 64  # colours that are told apart


def svg_inside(section: Section, day: float | None = None, width: float = 148.0, height: float = 52.0) -> str:
    """An <svg> of `width` x `height` mm: each piece in the first quantity on a day (None: the last), the line from which on it is enough, the
    outline, the fat, the thickness and the key of the colours.
    """
    asked = section.quantities[0]
    day = float(section.days[-1] if day is None else day)
    frame = float(np.interp(day, section.days, np.arange(len(section.days))))
    wide, tall = sum(float(piece.x.max()) for piece in section.pieces), max(float(p.y.max()) for p in section.pieces)
    room = width - 2 * SIDE - BETWEEN * (len(section.pieces) - 1)
    scale = min(room / wide, (height - TOP - FOOT) / tall)
    left = 0.5 * (width - scale * wide - BETWEEN * (len(section.pieces) - 1))
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}mm" height="{height:g}mm" role="img">'
    ]
    for piece in section.pieces:
        at = left, TOP + scale * (tall - float(piece.y.max()))
        out += _piece(piece, section, frame, scale, at)
        left += scale * float(piece.x.max()) + BETWEEN
    out += _key(
        asked.key, f"{asked.least:g}", f"{asked.most:g} {asked.unit}{' or more' * (asked.top > asked.most)}", height
    )
    out.append(_text(width - SIDE, height - 2, f"day {day:.0f}", INK, "end"))
    return "\n".join([*out, "</svg>"])


def _piece(piece: Drawn, section: Section, frame: float, scale: float, at: tuple[float, float]) -> list[str]:
    asked = section.quantities[0]
    read = piece.values[asked.key]
    value = _at(read, frame / (len(section.days) - 1) * (len(read) - 1))[piece.value]
    x, y = at[0] + scale * piece.x, at[1] + scale * piece.y
    out = _cells(x, y, value, asked.key, (asked.least, asked.most))
    out += _fat(piece, x, y)
    level = float(_at(piece.level[asked.key], frame))
    out += _line(contour(x, y, value, level), asked.reached) if np.isfinite(level) else []
    open_grid = float(np.ptp(piece.x[0])) > 1e-9
    for row in (0, -1) if open_grid else (-1,):
        out.append(_path(x[row], y[row], 0.4))
    if open_grid:
        out += [_path(x[:, column], y[:, column], 0.3, "0.6 1.2" if piece.ends else "") for column in (0, -1)]
    if piece.lying:
        foot = float(y.max()) + 0.8
        out.append(_path(np.array([x.min() - 1, x.max() + 1]), np.array([foot, foot]), 0.7))
    out.append(_text(float(x.min()), float(y.min()) - 1.6, piece.name, INK, "start", 'font-weight="600"'))
    middle = float(0.5 * (y.min() + y.max()))
    turned = f'transform="rotate(-90 {x.min() - 2.6:.2f} {middle:.2f})"'
    out.append(_text(float(x.min()) - 2.6, middle, piece.thickness, GREY, "middle", turned))
    return out


def _at(read: np.ndarray, where: float) -> np.ndarray:
    """The reading between two times, in a straight line."""
    first = min(len(read) - 1, int(where))
    after, share = min(len(read) - 1, first + 1), where - first
    return read[first] * (1 - share) + read[after] * share


def _cells(x: np.ndarray, y: np.ndarray, value: np.ndarray, key: str, ends: tuple[float, float]) -> list[str]:
    """The grid as small areas, those of one colour gathered in one path."""
    times = max(1, min(6, int((CELLS / x.size) ** 0.5)))
    x, y, value = (_finer(_finer(each, times).T, times).T for each in (x, y, value))
    mean = 0.25 * (value[:-1, :-1] + value[1:, :-1] + value[:-1, 1:] + value[1:, 1:])
    step = np.clip(np.round((STEPS - 1) * (mean - ends[0]) / (ends[1] - ends[0])), 0, STEPS - 1).astype(int)
    paths: dict[int, list[str]] = {}
    for r, row in enumerate(step):
        edges = [0, *(np.flatnonzero(np.diff(row)) + 1), len(row)]
        for first, last in pairwise(edges):  # neighbours of one colour are one area
            upper = [(r, c) for c in range(first, last + 1)]
            places = [*upper, *((r + 1, c) for _, c in reversed(upper))]
            points = "L".join(f"{x[place]:.2f} {y[place]:.2f}" for place in places)
            paths.setdefault(int(row[first]), []).append(f"M{points}Z")
    # A hair of its own colour, or two cells would show a seam.
    return [
        f'<path d="{"".join(every)}" fill="{colour(key, k / (STEPS - 1))}" stroke="{colour(key, k / (STEPS - 1))}" stroke-width="0.12"/>'
        for k, every in sorted(paths.items())
    ]


def _finer(grid: np.ndarray, times: int) -> np.ndarray:
    """So many rows for each."""
    rows = np.arange(len(grid))
    between = np.linspace(0, len(grid) - 1, times * (len(grid) - 1) + 1)
    return np.stack([np.interp(between, rows, column) for column in grid.T], axis=1)


def colour(key: str, share: float) -> str:
    """The colour of a share (0 to 1) of the darkest.

    >>> colour("salt", 0.0), colour("salt", 1.0)
    ('#f6f9fd', '#06224e')
    """
    stops = np.array(HUES.get(key, HUES["salt"]), dtype=float)
    parts = [np.interp(share * (len(stops) - 1), np.arange(len(stops)), part) for part in stops.T]
    return "#" + "".join(f"{round(float(part)):02x}" for part in parts)


def contour(x: np.ndarray, y: np.ndarray, value: np.ndarray, level: float) -> list[tuple[float, ...]]:
    """Straight parts (x, y, x, y) of the line at a level through a grid (rows, columns), by marching squares.

    >>> grid = np.arange(2.0)
    >>> contour(*np.meshgrid(grid, grid), np.array([[0.0, 0.0], [1.0, 1.0]]), 0.25)
    [(1.0, 0.25, 0.0, 0.25)]
    """
    found: list[tuple[float, ...]] = []
    for r, c in np.ndindex(value.shape[0] - 1, value.shape[1] - 1):
        round_it = ((r, c), (r, c + 1), (r + 1, c + 1), (r + 1, c))
        met: list[float] = []
        for a, b in zip(round_it, (*round_it[1:], round_it[0]), strict=True):
            if (value[a] < level) != (value[b] < level):
                share = (level - value[a]) / (value[b] - value[a])
                met += [float(x[a] + share * (x[b] - x[a])), float(y[a] + share * (y[b] - y[a]))]
        found += [tuple(met[k : k + 4]) for k in range(0, len(met) - 3, 4)]
    return found


def _line(parts: list[tuple[float, ...]], words: str) -> list[str]:
    """The line, light on dark so that it is seen on every colour, and its name at the part that lies most to the left."""
    if not parts:
        return []
    d = "".join(f"M{a:.2f} {b:.2f}L{c:.2f} {e:.2f}" for a, b, c, e in parts)
    first = min(parts)
    return [
        f'<path d="{d}" stroke="#000" stroke-width="0.8" fill="none" stroke-linecap="round"/>',
        f'<path d="{d}" stroke="#fff" stroke-width="0.4" fill="none" stroke-dasharray="1.4 0.6"/>',
        _text(first[0] + 3, first[1] + 3.2, words, "#fff", "start", 'font-weight="600"', "#000"),
    ]


def _fat(piece: Drawn, x: np.ndarray, y: np.ndarray) -> list[str]:
    """The rows in the fat, from the row before them to the row after."""
    out, rows = [], np.flatnonzero(piece.fat)
    for run in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1) if len(rows) else ():
        first, last = max(0, int(run[0]) - 1), min(len(x) - 1, int(run[-1]) + 1)
        xs, ys = np.concatenate([x[first], x[last, ::-1]]), np.concatenate([y[first], y[last, ::-1]])
        points = " ".join(f"{a:.2f},{b:.2f}" for a, b in zip(xs, ys, strict=True))
        out.append(f'<polygon points="{points}" fill="{FAT}" fill-opacity="0.85" stroke="{GREY}" stroke-width="0.15"/>')
    return out


def _key(key: str, least: str, most: str, height: float) -> list[str]:
    boxes = [
        f'<rect x="{SIDE + k:g}" y="{height - 4:.2f}" width="1.05" height="2.4" fill="{colour(key, k / 19)}"/>'
        for k in range(20)
    ]
    ends = (
        (SIDE - 1, least, "end"),
        (SIDE + 21.5, most, "start"),
    )
    return [*boxes, *(_text(x, height - 2, words, INK, anchor) for x, words, anchor in ends)]


def _path(xs: np.ndarray, ys: np.ndarray, width: float, dash: str = "") -> str:
    points = " ".join(f"{a:.2f},{b:.2f}" for a, b in zip(xs, ys, strict=True))
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<polyline points="{points}" fill="none" stroke="{INK}" stroke-width="{width}"{dashes}/>'


def _text(x: float, y: float, words: str, colour: str, anchor: str, more: str = "", halo: str = "#fff") -> str:
    around = f'stroke="{halo}" stroke-width="0.6" paint-order="stroke" stroke-linejoin="round"'
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="2.6" fill="{colour}" text-anchor="{anchor}" {around} {more}>{escape(words)}</text>'
