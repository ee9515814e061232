"""A line picture: profiles and courses with their bands, each line named at its end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, TypedDict

import numpy as np
import traitlets as T

from .assets import joined
from .drawing import Asked, Drawing, packed

# Okabe and Ito's colours that reach a contrast of 3:1 on white (WCAG 2.2, 1.4.11), and black.
PALETTE = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000")
DASHES = ("solid", "dash", "dot", "dashdot", "long", "longdot")


class Series(TypedDict, total=False):
    """One line. x and y have the same length; x never decreases; NaN in y, low or high leaves a gap."""

    x: Any
    y: Any
    low: Any  # the band, drawn as a light fill from low to high; both or neither
    high: Any
    label: str
    colour: str  # "#rrggbb"
    dash: str  # one of DASHES, or an SVG dash array such as "6 3"
    width: float  # of the line, in pixels
    fill: bool  # a light fill from the line down to the foot of the picture


class Mark(TypedDict, total=False):
    """A reference line at `at` on the axis named; `fit` (True unless said) widens the axis so that it is seen."""

    axis: Literal["x", "y"]
    at: float
    label: str
    dash: str
    fit: bool


class Picture(Drawing):
    """A line picture. Draw with `show`, say why nothing can be drawn with `fail`, and keep the axes still with `hold` or `follow`.

    >>> picture = Picture()
    >>> picture.show([dict(x=[0, 10, 20], y=[4.0, 2.5, 2.0], label="day 3")], "depth, mm", "salt, %")
    >>> picture.meta["y_range"], picture.meta["summary"]
    ([0.0, 4.0], 'salt, % against depth, mm. At the right end: day 3 2.')
    """

    shaded = T.Bool(True)  # whether bands are drawn

    _esm = joined("page.js", "drawing.js", "picture.js")
    _css = joined("page.css", "picture.css")

    def show(
        self,
        series: Sequence[Series],
        x_label: str,
        y_label: str,
        x_range: Asked = None,
        y_range: Asked = None,
        marks: Sequence[Mark] = (),
        summary: str = "",
    ) -> None:
        """Draw `series` and `marks` in place of what was there.

        A range is (low, high); either may be None to be found from the data: x tight, y from zero to a round number. `summary` is
        what a screen reader says instead of the picture; without one the values at the right ends are named.
        Raises ValueError naming everything that is wrong with the series and marks.
        """
        if not self.shaded:
            series = [{key: value for key, value in one.items() if key not in ("low", "high")} for one in series]  # type: ignore[misc]
        lines, arrays, bounds = _read(series, marks)

        def send(frame: bytes | None = None) -> None:
            spans = {
                "x": self._fit("x", *bounds["x"], x_range, tight=True),
                "y": self._fit("y", *bounds["y"], y_range),
            }
            self._publish(
                {
                    "series": lines,
                    "marks": [{"label": "", "dash": "dash", **mark, "at": float(mark["at"])} for mark in marks],
                    "x_label": x_label,
                    "y_label": y_label,
                    "x_range": list(spans["x"]),
                    "y_range": list(spans["y"]),
                    "summary": summary or _summary(lines, arrays, x_label, y_label),
                },
                frame,
            )

        send(packed(arrays))
        self._again = send


def _read(
    series: Sequence[Series], marks: Sequence[Mark]
) -> tuple[list[dict[str, Any]], list[np.ndarray], dict[str, tuple[float, float]]]:
    """(what the page is told of each line, the numbers in the order they are sent, the extent of the data on each axis)."""
    wrong: list[str] = []
    lines: list[dict[str, Any]] = []
    arrays: list[np.ndarray] = []
    for place, one in enumerate(series):
        name = one.get("label") or f"series {place + 1}"
        own = {key: np.asarray(one[key], dtype=float) for key in ("x", "y", "low", "high") if one.get(key) is not None}  # type: ignore[literal-required]
        if "x" not in own or "y" not in own or ("low" in own) != ("high" in own):
            wrong.append(f"{name}: give x and y, and either both of low and high or neither.")
            continue
        if own["x"].ndim != 1 or not own["x"].size or any(part.shape != own["x"].shape for part in own.values()):
            shapes = {key: part.shape for key, part in own.items()}
            wrong.append(
                f"{name}: x, y, low and high must be one-dimensional, of one length and not empty, not {shapes}."
            )
            continue
        if not np.isfinite(own["x"]).all() or (np.diff(own["x"]) < 0).any():
            wrong.append(f"{name}: x must be finite and never decrease.")
        if any(np.isinf(part).any() for part in own.values()):
            wrong.append(f"{name}: there is an infinite value.")
        arrays += own.values()
        lines.append(
            {
                "n": int(own["x"].size),
                "band": "low" in own,
                "label": one.get("label", ""),
                "colour": one.get("colour") or PALETTE[place % len(PALETTE)],
                "dash": one.get("dash") or DASHES[place % len(DASHES)],
                "width": float(one.get("width", 2)),
                "fill": bool(one.get("fill", False)),
            }
        )
    extent: dict[str, list[float]] = {"x": [], "y": []}
    for mark in marks:
        if mark.get("axis") not in ("x", "y") or not np.isfinite(mark.get("at", np.nan)):
            wrong.append(f'mark {mark!r}: axis must be "x" or "y", and at a finite number.')
        elif mark.get("fit", True):
            extent[mark["axis"]].append(float(mark["at"]))
    if wrong:
        raise ValueError(" ".join(wrong))
    offset = 0
    for line in lines:
        parts = 4 if line["band"] else 2
        extent["x"] += [float(arrays[offset][0]), float(arrays[offset][-1])]
        for part in arrays[offset + 1 : offset + parts]:
            if not np.isnan(part).all():
                extent["y"] += [float(np.nanmin(part)), float(np.nanmax(part))]
        offset += parts
    return lines, arrays, {axis: (min(seen, default=0.0), max(seen, default=0.0)) for axis, seen in extent.items()}


def _summary(lines: list[dict[str, Any]], arrays: list[np.ndarray], x_label: str, y_label: str) -> str:
    ends, offset = [], 0
    for line in lines:
        seen = arrays[offset + 1][~np.isnan(arrays[offset + 1])]
        ends.append(f"{line['label'] or 'line'} {seen[-1]:.3g}" if seen.size else f"{line['label'] or 'line'} no value")
        offset += 4 if line["band"] else 2
    return f"{y_label} against {x_label}. At the right end: {', '.join(ends) or 'nothing'}."
