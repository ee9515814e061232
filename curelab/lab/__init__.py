"""The front end: controls, pictures and the launcher. Nothing in this folder computes anything about meat.

Names are loaded when they are first asked for, so that the launcher does not wait for the widgets.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOME = {
    "bench": "benches",
    "lesson": "lessons",
    "course": "teaching",
    "teacher": "teaching",
    "Knob": "knob",
    "Pick": "controls",
    "Switch": "controls",
    "Press": "controls",
    "Line": "controls",
    "Picture": "picture",
    "DepthMap": "depthmap",
    "BarPicture": "bars",
    "Say": "say",
    "row": "boxes",
    "column": "boxes",
    "launch": "launcher",
    "notebooks_folder": "folder",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    # Kept, because importing one of the modules may put a module of the same name here.
    globals()[name] = found = getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
