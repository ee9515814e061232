"""When to begin cooking to serve at a given time: through cook, rest, chill and reheating, with its band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from .. import units
from ..engine.history import History
from ..fields import refuse
from ..recipe.piece import Piece
from ..recipe.stages import Stage, in_order
from ..results import Shown
from ..sources import Numbers
from .answer import HEAT_RESTS_ON, in_corners, ordered, reached_or_none


@dataclass(frozen=True, repr=False)
class Lead(Shown):
    """How long all takes from the first stage that heats to the end [s], usually, and in slow and fast meat or in 8 of 10 draws; parts: (label, value, low, high) of each
    stage; serve: when it is to be done, for the table or for the steps before it, if that was said.
    """

    value: float
    low: float
    high: float
    parts: tuple[tuple[str, float, float, float], ...]
    serve: datetime | None
    rests_on: str = HEAT_RESTS_ON

    @property
    def begin(self) -> datetime | None:
        """When to begin, so that slow meat is ready in time."""
        return None if self.serve is None else self.serve - timedelta(seconds=self.high)

    @property
    def sentence(self) -> str:
        took = f"From the first heat to the table it takes {_spell(self.value, self.low, self.high)}."
        if self.begin is None or self.serve is None:
            return f"{took} Begin {units.roughly(self.high)} before; if it is done early, hold it hot or chill it."
        said = f"{self.begin:%A %H:%M}"
        return (
            f"{took} To serve on {self.serve:%A %H:%M}, begin on {said}; if it is done early, hold it hot or chill it."
        )

    def lines(self) -> list[str]:
        return [
            self.sentence,
            *(f"{name}: {units.roughly(v)} ({units.roughly(a)} to {units.roughly(b)})" for name, v, a, b in self.parts),
        ]

    def rows(self) -> list[dict[str, Any]]:
        return [{"stage": name, "seconds": value, "low": low, "high": high} for name, value, low, high in self.parts]


def _spell(value: float, low: float, high: float) -> str:
    usual, *ends = (units.roughly(each) for each in (value, low, high))
    return usual if ends[0] == ends[1] else f"{usual} ({ends[0]} to {ends[1]})"


def lead(
    pieces: Piece | Sequence[Piece],
    stages: Stage | Sequence[Stage],
    *,
    serve: datetime | str | None = None,
    loss: str = "nordin",
    numbers: Numbers | None = None,
    many: History | None = None,
) -> Lead:
    """How long cooking, cooling and what follows take, and when to begin to serve at `serve` ("2026-11-29 13:00").

    `many`: the batch in usual, slow and fast meat (`in_corners`), where it was run already. A stage that waits for a criterion has the time that usual, slow and fast meat need; one that goes by the clock has its own. Raises InputError for
    a time that is none, where nothing cooks, and where a criterion is not reached within its `at_most` in usual meat.
    """
    line = list(in_order(stages))
    hot = next((n for n, stage in enumerate(line) if stage.heats), None)
    if hot is None:
        raise refuse("stages", "no stage cooks, so there is nothing to begin; add a simmer, a bag cook or another")
    many = many or in_corners(pieces, line, loss=loss, numbers=numbers)
    parts = []
    for number in range(hot, len(line)):
        stage, spans = line[number], many.ends(number) - many.begin(number)
        if stage.until is not None and reached_or_none(float(many.first_time(stage.until, number)[0])) is None:
            raise refuse(
                f"stages[{number + 1}].at_most",
                f"{units.show(stage.longest, 'time')} is too short for {stage.until}; give it longer",
            )
        low, high = ordered(*(float(each) for each in spans))
        parts.append((stage.tag, float(spans[0]), low or 0.0, high or 0.0))
    total = many.ends(len(line) - 1) - many.begin(hot)
    low, high = ordered(*(float(each) for each in total))
    return Lead(float(total[0]), low or 0.0, high or 0.0, tuple(parts), moment(serve))


def moment(given: datetime | str | None) -> datetime | None:
    """A date and time from words; None stays. Raises InputError for what is none."""
    if given is None or isinstance(given, datetime):
        return given
    try:
        if len(given) <= 10:  # a bare date would quietly mean midnight
            raise ValueError(given)
        return datetime.fromisoformat(given)
    except (TypeError, ValueError):
        raise refuse("serve", f'"{given}" is not a date and time; write it like "2026-11-29 13:00"') from None
