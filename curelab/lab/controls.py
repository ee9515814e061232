"""The plain controls: one of several, yes or no, a button, a text box. All are the browser's own inputs, with names."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import anywidget
import traitlets as T

from .assets import joined


class _Control(anywidget.AnyWidget):
    _esm = joined("page.js", "controls.js")
    _css = joined("page.css", "controls.css")

    sort = T.Unicode("").tag(sync=True)  # which of the inputs the script builds
    label = T.Unicode("").tag(sync=True)
    help = T.Unicode("").tag(sync=True)
    disabled = T.Bool(False).tag(sync=True)
    called = T.Int(0).tag(sync=True)  # counts how often it was brought under the hand: into view, with the keyboard

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.label!r})"


def _pairs(options: Iterable[Any]) -> list[tuple[Any, str]]:
    return [(one[0], str(one[1])) if isinstance(one, (tuple, list)) else (one, str(one)) for one in options]


class Pick(_Control):
    """One of several: a drop-down list, or a group of radio buttons when `radio` is True.

    `options` are (value, label) pairs, or plain values that are their own labels. `value` may be any Python object that can be
    compared; only the labels travel to the page. Raises traitlets.TraitError for a value that is not among the options and for
    an empty list of options.

    >>> pick = Pick("Shape", [("slab", "flat piece"), ("cylinder", "round piece")])
    >>> pick.value
    'slab'
    >>> pick.index = 1
    >>> pick.value
    'cylinder'
    """

    options: Any = T.List()
    value = T.Any()
    labels = T.List(T.Unicode()).tag(sync=True)
    index = T.Int(0).tag(sync=True)
    radio = T.Bool(False).tag(sync=True)

    _UNSAID = object()

    def __init__(
        self, label: str, options: Iterable[Any], value: Any = _UNSAID, radio: bool = False, **more: Any
    ) -> None:
        super().__init__(sort="pick", label=label, radio=radio, **more)
        self.refit(options, value)

    def refit(self, options: Iterable[Any], value: Any = _UNSAID) -> None:
        """Give new options, and a value among them (the first if none is given), in one message."""
        pairs = _pairs(options)
        if not pairs:
            raise T.TraitError(f"{self.label}: there must be at least one option.")
        if value is self._UNSAID:
            value = pairs[0][0]
        with self.hold_sync(), self.hold_trait_notifications():
            self.options = pairs
            self.labels = [text for _, text in pairs]
            self.value = value
            self.index = self._place(value, pairs)

    def _place(self, value: Any, pairs: list[tuple[Any, str]]) -> int:
        for place, (known, _) in enumerate(pairs):
            if known == value:
                return place
        raise T.TraitError(f"{self.label}: {value!r} is not one of {[known for known, _ in pairs]!r}.")

    @T.validate("value")
    def _check_value(self, proposal: Any) -> Any:
        return self.options[self._place(proposal["value"], self.options)][0]

    @T.validate("index")
    def _check_index(self, proposal: Any) -> int:
        if not 0 <= proposal["value"] < len(self.options) and self.options:
            raise T.TraitError(
                f"{self.label}: index {proposal['value']} must lie between 0 and {len(self.options) - 1}."
            )
        return proposal["value"]

    @T.observe("index")
    def _follow_index(self, change: Any) -> None:
        if self.options:
            self.value = self.options[self.index][0]

    @T.observe("value")
    def _follow_value(self, change: Any) -> None:
        self.index = self._place(self.value, self.options)


class Switch(_Control):
    """Yes or no: a check box with its label beside it; `value` is a bool."""

    value = T.Bool(False).tag(sync=True)

    def __init__(self, label: str, value: bool = False, **more: Any) -> None:
        super().__init__(sort="switch", label=label, value=value, **more)


class Press(_Control):
    """A button. `on_press(callback)` calls `callback(button)` each time it is pressed; `press()` presses it from Python.

    Two presses that reach Python in one message count as one. `main` marks the one button of a page that matters most. `spoken`: its whole
    name for who cannot see what it stands beside. `focus`: it has the keyboard when it comes onto the page. `small`: as narrow as its words.

    >>> button = Press("Save this batch")
    >>> button.on_press(lambda pressed: print("saved by", pressed.label))
    >>> button.press()
    saved by Save this batch
    """

    presses = T.Int(0).tag(sync=True)
    main = T.Bool(False).tag(sync=True)
    spoken = T.Unicode("").tag(sync=True)
    focus = T.Bool(False).tag(sync=True)
    small = T.Bool(False).tag(sync=True)
    shows = T.Enum(("", "true", "false"), "").tag(sync=True)  # of a button that folds something: whether it is seen

    def __init__(self, label: str, main: bool = False, **more: Any) -> None:
        self._callbacks: list[Callable[[Press], Any]] = []
        super().__init__(sort="press", label=label, main=main, **more)

    def on_press(self, callback: Callable[[Press], Any]) -> None:
        """Add a callback; callbacks run in the order they were added."""
        self._callbacks.append(callback)

    def press(self) -> None:
        """Do what a press on the page does; an exception in a callback reaches the caller."""
        self.presses += 1

    @T.observe("presses")
    def _pressed(self, change: Any) -> None:
        for callback in list(self._callbacks):
            callback(self)

    def hand_over(self, name: str, content: str | bytes, media_type: str = "text/plain", new_tab: bool = False) -> None:
        """Give the page a file: it is downloaded as `name`, or shown in a new tab (for printing) when `new_tab` is True.

        Called from a callback of on_press, it goes to the page whose button was pressed.
        """
        data = content.encode("utf-8") if isinstance(content, str) else bytes(content)
        if isinstance(content, str):  # else the browser guesses, and a degree sign becomes two letters
            media_type = f"{media_type};charset=utf-8"
        self.send({"name": name, "media_type": media_type, "new_tab": new_tab}, buffers=[data])


class Line(_Control):
    """A text box of one line; `value` changes when Enter is pressed or the field is left. `problem` says under it what is wrong with it.

    keypad: what a phone lays under the thumb, "decimal" for digits.
    """

    value = T.Unicode("").tag(sync=True)
    placeholder = T.Unicode("").tag(sync=True)
    problem = T.Unicode("").tag(sync=True)
    keypad = T.Enum(("", "decimal"), "").tag(sync=True)

    def __init__(self, label: str, value: str = "", placeholder: str = "", **more: Any) -> None:
        super().__init__(sort="line", label=label, value=value, placeholder=placeholder, **more)
