"""A map of one quantity over two others, such as depth and time, in colours that keep their order in grey print."""

from __future__ import annotations

from typing import Any

import numpy as np

from .assets import joined
from .drawing import Asked, Drawing, packed


class DepthMap(Drawing):
    """A colour map with a colour bar and one line over it. Draw with `show`, say why nothing can be drawn with `fail`.

    >>> picture = DepthMap()
    >>> picture.show([0, 1, 2], [0, 10], [[4, 4, 4], [0, 1, 2]], "days", "depth, mm", "salt, %")
    >>> picture.meta["z_range"]
    [0.0, 4.0]
    """

    _esm = joined("page.js", "drawing.js", "depthmap.js")
    _css = joined("page.css", "picture.css")

    def show(
        self,
        x: Any,
        y: Any,
        z: Any,
        x_label: str,
        y_label: str,
        z_label: str,
        line: tuple[Any, Any] | None = None,
        line_label: str = "",
        z_range: Asked = None,
        summary: str = "",
        y_down: bool = False,
    ) -> None:
        """Draw z over x and y in place of what was there.

        x has shape (nx,), y (ny,) and z (ny, nx), with nx, ny >= 2; x and y increase and need not be even, and the colour between
        nodes is interpolated. `line` is (x, y) of one line, NaN where it is not to be drawn. `y_down` puts the smallest y at the
        top, as fits a depth below the surface. Without a `z_range`, colours run from zero to a round number.
        Raises ValueError naming everything that is wrong with the arrays.
        """
        across, up, field = (np.asarray(part, dtype=float) for part in (x, y, z))
        wrong = []
        for name, axis in (("x", across), ("y", up)):
            if axis.ndim != 1 or axis.size < 2 or not np.isfinite(axis).all() or (np.diff(axis) <= 0).any():
                wrong.append(f"{name} must be one-dimensional, finite and increasing, with at least two values.")
        if field.shape != (up.size, across.size):
            wrong.append(f"z must have the shape (len(y), len(x)) = ({up.size}, {across.size}), not {field.shape}.")
        elif not np.isfinite(field).all():
            wrong.append("z must be finite.")
        path = [np.asarray(part, dtype=float) for part in (line or ([], []))]
        if path[0].ndim != 1 or path[0].shape != path[1].shape or np.isinf(path).any():
            wrong.append("line must be two one-dimensional arrays of one length, without infinite values.")
        if wrong:
            raise ValueError(" ".join(wrong))

        def send(frame: bytes | None = None) -> None:
            spans = self._fit("z", float(field.min()), float(field.max()), z_range)
            self._publish(
                {
                    "nx": int(across.size),
                    "ny": int(up.size),
                    "line": int(path[0].size),
                    "line_label": line_label,
                    "x_label": x_label,
                    "y_label": y_label,
                    "z_label": z_label,
                    "z_range": list(spans),
                    "y_down": bool(y_down),
                    "summary": summary
                    or f"{z_label} over {x_label} and {y_label}: {field.min():.3g} to {field.max():.3g}.",
                },
                frame,
            )

        send(packed([across, up, field, *path]))
        self._again = send
