"""A labelled slider with a number field, built on the browser's own inputs."""

from __future__ import annotations

import math
from typing import Any

import anywidget
import traitlets as T

from .assets import joined


class Knob(anywidget.AnyWidget):
    """A slider and a number field that hold one float, `value`, between `min` and `max`.

    `value`, `min`, `max` and `step` are in `unit`, which is only shown, never computed with. The user moves `value` on the grid
    min + n * step; Python may set any value in the range, and it is kept as it is until the user moves it. `dragging` is True from
    the moment the user takes the slider (or holds an arrow key) until shortly after it lets go.

    Raises traitlets.TraitError, with all that is wrong in one sentence each, when min < max, step > 0 or min <= value <= max
    does not hold.

    >>> knob = Knob("Brine strength", 5, 0, 26, 0.5, unit="%")
    >>> knob.value = 27
    Traceback (most recent call last):
    ...
    traitlets.traitlets.TraitError: Brine strength: value 27.0 must lie between 0.0 and 26.0 %; use refit() to change the range too.
    """

    _esm = joined("page.js", "knob.js")
    _css = joined("page.css", "controls.css", "knob.css")

    label = T.Unicode("").tag(sync=True)
    value = T.Float(0.0).tag(sync=True)
    min = T.Float(0.0).tag(sync=True)
    max = T.Float(1.0).tag(sync=True)
    step = T.Float(0.1).tag(sync=True)
    unit = T.Unicode("").tag(sync=True)
    help = T.Unicode("").tag(sync=True)
    disabled = T.Bool(False).tag(sync=True)
    dragging = T.Bool(False).tag(sync=True)

    def __init__(
        self,
        label: str,
        value: float,
        min: float,
        max: float,
        step: float,
        unit: str = "",
        help: str = "",
        disabled: bool = False,
        **more: Any,
    ) -> None:
        super().__init__(
            label=label,
            value=float(value),
            min=float(min),
            max=float(max),
            step=float(step),
            unit=unit,
            help=help,
            disabled=disabled,
            **more,
        )

    @T.validate("value", "min", "max", "step")
    def _check(self, proposal: Any) -> float:
        seen = {name: getattr(self, name) for name in ("value", "min", "max", "step")}
        seen[proposal["trait"].name] = proposal["value"]
        wrong = []
        if not all(math.isfinite(number) for number in seen.values()):
            wrong.append(f"value, min, max and step must be finite numbers, not {seen}.")
        if not seen["min"] < seen["max"]:
            wrong.append(f"min {seen['min']} must be below max {seen['max']}.")
        elif not seen["min"] <= seen["value"] <= seen["max"]:
            wrong.append(
                f"value {seen['value']} must lie between {seen['min']} and {seen['max']} {self.unit}; "
                "use refit() to change the range too."
            )
        if not seen["step"] > 0:
            wrong.append(f"step {seen['step']} must be above 0.")
        if wrong:
            raise T.TraitError(f"{self.label}: " + " ".join(wrong))
        return proposal["value"]

    def refit(self, **traits: Any) -> None:
        """Change several of label, value, min, max, step, unit, help and disabled at once, as when the units are switched.

        The page gets one message. Observers of `value` are told once, after everything is in place, and only if it differs.
        Raises traitlets.TraitError and changes nothing when the new set does not fit together, KeyError for an unknown name.

        >>> knob = Knob("Thickness", 7, 1, 20, 0.5, unit="cm")
        >>> knob.refit(unit="inch", min=0.5, max=8, step=0.25, value=2.756)
        >>> knob
        Knob('Thickness', 2.756 inch)
        """
        unknown = set(traits) - {"label", "value", "min", "max", "step", "unit", "help", "disabled"}
        if unknown:
            raise KeyError(f"a knob has no {', '.join(sorted(unknown))}")
        with self.hold_sync(), self.hold_trait_notifications():
            for name, new in traits.items():
                setattr(self, name, float(new) if name in ("value", "min", "max", "step") else new)

    def __repr__(self) -> str:
        return f"Knob({self.label!r}, {self.value:g}{' ' + self.unit if self.unit else ''})"
