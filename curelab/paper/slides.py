"""A picture at the size of a slide, with its title, what it says and its caption; and its numbers as a table."""

from __future__ import annotations

import csv
import io
import math
import textwrap
from collections.abc import Sequence
from html import escape

import numpy as np

from ..show.pictures import Lines, Series
from ..show.section import Section
from .drawn_inside import svg_inside
from .drawn_lines import GREY, INK, svg_lines

WIDE, HIGH, DOTS = 320.0, 180.0, 5  # a slide of 16 to 9, in its own units, and dots for each of them
EDGE = 14.0
TITLE, SAID, SMALL = 10.0, 6.2, 3.0  # size of type
LETTER = 0.52  # mean width of a letter, in its size
FONT = "system-ui, 'Segoe UI', Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"


def slide(title: str, picture: Lines | Section, said: str, caption: str, day: float | None = None) -> str:
    """An SVG of 1600 x 900 dots. `said`: a sentence over the picture; `caption`: the small print; `day`: of a section."""
    over, under = _wrapped(said, SAID), _wrapped(caption, SMALL)
    named = picture.series if isinstance(picture, Lines) and len(picture.series) > 1 else ()
    top = EDGE + TITLE + 1.35 * SAID * (len(over) + bool(named)) + 5
    foot = HIGH - 8 - 1.3 * SMALL * len(under)
    wide, high = (WIDE - 2 * EDGE) / 2, (foot - top - 3) / 2  # pictures are made for paper, half as large
    drawn = (
        svg_lines(picture, wide, high, key=False)
        if isinstance(picture, Lines)
        else svg_inside(picture, day, wide, high)
    )
    head, _, rest = drawn.partition(">")
    sized = (
        head.partition(" width=")[0] + f' x="{EDGE:g}" y="{top:.2f}" width="{2 * wide:.2f}" height="{2 * high:.2f}">'
    )
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {HIGH:g}" width="{DOTS * WIDE:g}" height="{DOTS * HIGH:g}" font-family="{FONT}">',
        f"<title>{escape(f'{title}. {said}')}</title>",
        f'<rect width="{WIDE:g}" height="{HIGH:g}" fill="#fff"/>',
        _text(EDGE, EDGE + 0.5 * TITLE, title, TITLE, INK, 'font-weight="700"'),
        *(_text(EDGE, EDGE + TITLE + 1.35 * SAID * (k + 0.6), line, SAID, INK) for k, line in enumerate(over)),
        *_key(named, top - 2),
        sized + rest,
        *(_text(EDGE, foot + 1.3 * SMALL * (k + 1), line, SMALL, GREY) for k, line in enumerate(under)),
    ]
    return "\n".join([*out, "</svg>"]) + "\n"


def _key(series: Sequence[Series], y: float) -> list[str]:
    """What each line is, in a row over the picture."""
    out, x = [], EDGE
    for each in series:
        dash = (
            f' stroke-dasharray="{" ".join(f"{float(part) / 2.5:g}" for part in each.dash.split())}"'
            if each.dash
            else ""
        )
        out.append(f'<path d="M{x:.2f} {y - 1.7:.2f}h14" stroke="{each.colour}" stroke-width="1.5"{dash}/>')
        out.append(_text(round(x + 17, 2), y, each.label, 0.85 * SAID, INK))
        x += 25 + LETTER * 0.85 * SAID * len(each.label)
    return out


def numbers(picture: Lines | Section, said: str, caption: str) -> str:
    """The numbers of a picture as CSV, under what it says and its caption. Of a section: its courses over the days."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    for words in (said, caption):
        file.write(f"# {' '.join(words.split())}\n")
    if isinstance(picture, Lines):
        writer.writerow(("line", picture.x_label, picture.y_label, "low", "high"))
        for each in picture.series:
            low, high = (np.full(len(each.x), np.nan) if part is None else part for part in (each.low, each.high))
            for row in zip(each.x, each.y, low, high, strict=True):
                writer.writerow((each.label, *map(_number, row)))
        return file.getvalue()
    asked = picture.quantities[0]
    writer.writerow(("piece", "what", "day", f"{asked.label}, {asked.unit}", "low", "high"))
    for piece in picture.pieces:
        for name, parts in piece.courses[asked.key].items():
            low, middle, high = parts if len(parts) > 1 else _alone(parts[0])
            for row in zip(picture.days, middle, low, high, strict=True):
                writer.writerow((piece.name, name, *map(_number, row)))
    return file.getvalue()


def _alone(middle: np.ndarray) -> tuple[np.ndarray, ...]:
    """A line without a band, as (low, middle, high)."""
    none = np.full(len(middle), np.nan)
    return none, middle, none


def _number(value: float) -> str:
    return f"{value:.7g}" if math.isfinite(value) else ""


def _wrapped(words: str, size: float) -> list[str]:
    """Words in lines as wide as a slide, at this size of type."""
    return textwrap.wrap(words, int((WIDE - 2 * EDGE) / (LETTER * size)))


def _text(x: float, y: float, words: str, size: float, colour: str, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:.2f}" font-size="{size:g}" fill="{colour}" {more}>{escape(words)}</text>'
