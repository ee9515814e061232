"""Files dropped on the page "My batch": a batch file becomes the batch in hand, a thermometer's table its fridge log."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..batch import Batch
from ..fields import InputError, refuse
from ..paper.written_dates import ORDERS
from ..show.composing import DROP, NEITHER, TOO_LARGE, begun, taken
from .controls import Line, Pick
from .drop import Drop
from .kept_batch import KeptBatch
from .lasting import Lasting

TABLES = (".csv", ".tsv", ".txt")


class Taking:
    """The place for files, what was done with the last one, and the controls for what a thermometer's file leaves open (`asked`)."""

    def __init__(self, state: KeptBatch) -> None:
        self.state = state
        self.drop = Drop(
            DROP, TOO_LARGE, self.take
        )  # one for as long as the page lasts, so that no file is lost while it is made anew
        self._open: tuple[str, bytes] | None = None  # a table that left something open
        self._told = Lasting(state)

    def make(self) -> None:
        """What is asked and said anew for the batch as it is; what was said stays as long as it is so."""
        batch = self.state.batch
        cold = [
            (n, f"{n}, {stage.tag}") for n, stage in enumerate(batch.stages, 1) if not stage.heats and not stage.desalts
        ]
        self.said = self._told.make()
        self.asked: dict[str, Any] = {
            "degrees": Pick("Degrees", [(None, "as the file says"), ("C", "°C"), ("F", "°F")]),
            "dates": Pick("Dates", [(None, "as the file says"), *((order, order) for order in ORDERS)]),
            "stage": Pick("Stage", [(None, "by its dates"), *cold]),
            "column": Line("Column of the temperatures", "", "name or number"),
            "zone": Line("Clock of the thermometer", "", "Europe/Berlin, UTC"),
        }
        for control in self.asked.values():
            control.observe(self._again, "value")

    def _again(self, change: Any) -> None:
        """What was left open has been said: try the table once more."""
        if self._open is not None:
            self.take(*self._open)

    def take(self, name: str, content: bytes) -> None:
        """Take a file by the end of its name. What cannot be is said, all problems at once, and nothing changes."""
        kind = Path(name).suffix.lower()
        try:
            if kind == ".toml":
                self._open = None
                self.state.begin(content, name)
                self._told.tell(begun(name, Path(self.state.path).name), lambda batch: batch.known_by)
            elif kind in TABLES:
                self._open = name, content
                asked = {key: control.value or None for key, control in self.asked.items()}
                self._told.tell(taken(name, self.state.take_temperatures(content, **asked)), _logs)
                self._open = None
            else:
                raise refuse(name, NEITHER)
        except InputError as error:
            self._told.tell(error.said(), lambda batch: batch, "alert")


def _logs(batch: Batch) -> Any:
    """What a thermometer's file changes: the temperatures of the stages of this batch."""
    return batch.known_by, tuple(stage.logs for stage in batch.stages)


__all__ = ["Taking"]
