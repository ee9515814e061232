"""What a line picture and a depth map share: one message per change, held axes, and a failure that cannot be overlooked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import anywidget
import traitlets as T

from ..show.section_message import packed as packed

Range = tuple[float, float]
Asked = Sequence[float | None] | None


def tick_step(span: float, parts: int = 5) -> float:
    """The smallest of 1, 2, 5 times a power of ten that divides `span` (above 0) into at most `parts` parts.

    >>> tick_step(4.4), tick_step(26), tick_step(0.00012)
    (1.0, 10.0, 5e-05)
    """
    raw = span / parts
    power = math.floor(math.log10(raw))
    for factor in (1, 2, 5, 10):
        step = float(f"{factor}e{power}")
        if step >= raw * (1 - 1e-9):
            return step
    raise AssertionError("10 ** floor(log10(raw)) * 10 is never below raw")


def axis_range(low: float, high: float, asked: Asked = None, before: Range | None = None, tight: bool = False) -> Range:
    """The two ends of an axis that shows data from `low` to `high` (finite, any unit).

    `asked` gives both ends, or one of them and None. An end that was not asked for is rounded outward to a tick, and zero is
    included when no value is negative; with `tight` it is the end of the data instead. `before`, the range held since the last
    drawing, is only ever widened. Raises ValueError when the ends asked for are not increasing, not finite, or not two.

    >>> axis_range(1.2, 4.4), axis_range(1.2, 3.1, before=(0.0, 5.0)), axis_range(1.2, 4.4, tight=True)
    ((0.0, 5.0), (0.0, 5.0), (1.2, 4.4))
    """
    start, stop = (None, None) if asked is None else _two(asked)
    if start is None:
        start = low if tight else min(low, 0.0)
    if stop is None:
        stop = high if tight else max(high, start)
    if asked is None or None in asked:
        if before is not None:
            start, stop = min(start, before[0]), max(stop, before[1])
        if stop - start < 1e-250:  # one value only, or all zero: any width will do, but it must not be zero
            stop = start + (abs(start) or 1.0)
        if not tight:
            step = tick_step(stop - start)
            if asked is None or asked[0] is None:
                start = step * math.floor(start / step + 1e-9)
            if asked is None or asked[1] is None:
                stop = step * math.ceil(stop / step - 1e-9)
    return float(start), float(stop)


def _two(asked: Sequence[float | None]) -> tuple[float | None, float | None]:
    if len(asked) != 2:
        raise ValueError(f"a range has two ends, not {len(asked)}: {asked!r}.")
    start, stop = asked
    if any(end is not None and not math.isfinite(end) for end in (start, stop)):
        raise ValueError(f"the ends of a range must be finite, not {asked!r}.")
    if start is not None and stop is not None and not start < stop:
        raise ValueError(f"a range must increase, not {asked!r}.")
    return start, stop


class Drawing(anywidget.AnyWidget):
    """Base of the pictures. `revision` counts what was sent, and the page draws when it changes.

    While `hold` is True the axes only grow; when it turns False they are fitted to what is shown.
    """

    frame = T.Bytes(b"").tag(sync=True)
    meta = T.Dict().tag(sync=True)
    problem = T.Unicode("").tag(sync=True)
    waits = T.Bool(False).tag(sync=True)
    caption = T.Unicode("").tag(sync=True)  # what was assumed and the version, for a picture that is saved
    revision = T.Int(0).tag(sync=True)
    height = T.Int(300).tag(sync=True)
    hold = T.Bool(False)

    def __init__(self, **more: Any) -> None:
        self._held: dict[str, Range] = {}
        self._again: Any = None
        super().__init__(**more)

    def _fit(self, name: str, low: float, high: float, asked: Asked, tight: bool = False) -> Range:
        self._held[name] = axis_range(low, high, asked, self._held.get(name) if self.hold else None, tight)
        return self._held[name]

    def _publish(self, meta: dict[str, Any], frame: bytes | None = None) -> None:
        if frame is None and meta == self.meta:
            return  # the axes were let go and fitted already
        with self.hold_sync():
            if frame is not None:
                self.frame = frame
            self.meta = meta
            self.problem = ""
            self.revision += 1

    def fail(self, message: str, waits: bool = False) -> None:
        """Grey the picture, take its numbers away and show `message` instead, until the next show(). waits: it is no fault, the picture follows."""
        with self.hold_sync():
            self.problem, self.waits = message, waits
            self.revision += 1

    def follow(self, *knobs: Any) -> None:
        """Hold the axes still while any of the sliders `knobs` is being dragged."""

        def look(change: Any) -> None:
            self.hold = any(knob.dragging for knob in knobs)

        for knob in knobs:
            knob.observe(look, "dragging")

    @T.observe("hold")
    def _let_go(self, change: Any) -> None:
        if not self.hold and self._again is not None and not self.problem:
            self._again()

    def __repr__(self) -> str:
        return f"{type(self).__name__}(revision {self.revision})"
