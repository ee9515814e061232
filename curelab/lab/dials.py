"""Controls bound to the batch: a slider writes the words a cook would write in the file, and follows the batch when it changes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from .. import units
from ..batch import Batch
from .controls import Pick
from .knob import Knob
from .state import State


@dataclass(frozen=True)
class Scale:
    """Unit and range of a slider in one system: unit, low, high, step."""

    unit: str
    low: float
    high: float
    step: float


THICKNESS = {"metric": Scale("cm", 1, 20, 0.5), "us": Scale("inch", 0.5, 8, 0.25)}
CAP = {"metric": Scale("mm", 0, 25, 1), "us": Scale("inch", 0, 1, 0.0625)}
FRIDGE = {"metric": Scale("degC", -1, 10, 0.5), "us": Scale("degF", 30, 50, 1)}
DAYS = {"metric": Scale("d", 1, 60, 1), "us": Scale("d", 1, 60, 1)}
HOURS = {"metric": Scale("h", 0.25, 24, 0.25), "us": Scale("h", 0.25, 24, 0.25)}
REST = {"metric": Scale("h", 1, 96, 1), "us": Scale("h", 1, 96, 1)}
WATER = {"metric": Scale("kg", 0.5, 30, 0.5), "us": Scale("gal", 0.25, 8, 0.25)}
TARGET = {"metric": Scale("%", 0.5, 6, 0.1), "us": Scale("%", 0.5, 6, 0.1)}
STRENGTH = {"metric": Scale("%", 3, 26, 0.5), "us": Scale("%", 3, 26, 0.5)}

_SHOWN = {"degC": "°C", "degF": "°F", "d": "days", "h": "hours", "inch": "in"}


def dial(
    state: State,
    label: str,
    kind: str,
    scales: dict[str, Scale],
    get: Callable[[Batch], float],
    put: Callable[[str], Any],
    help: str = "",
) -> Knob:
    """A slider for one quantity. `get` reads it from the batch in SI, or from what benches own; `put` is given words such as "8.5 cm" and
    edits the state.
    """
    knob = Knob(label, *_place(state.batch, kind, scales, get), unit=_unit(state.batch, scales), help=help)
    busy = [False]

    def moved(change: Any) -> None:
        if not busy[0]:
            put(f"{round(knob.value, 6):g} {scales[state.batch.units].unit}")

    def follow(change: Any) -> None:
        value, low, high, step = _place(state.batch, kind, scales, get)
        if state.problems or (abs(value - knob.value) < 1e-9 and knob.unit == _unit(state.batch, scales)):
            return
        busy[0] = True
        try:
            knob.refit(value=value, min=low, max=high, step=step, unit=_unit(state.batch, scales))
        finally:
            busy[0] = False

    knob.observe(moved, "value")
    state.observe(follow, ["batch", "own"])
    return knob


def days_dial(state: State, label: str = "Days in the cure") -> Knob:
    """How long the cure lasts, in place of whatever ended it."""
    return dial(
        state, label, "time", DAYS, lambda batch: batch.stages[state.cure].longest,
        lambda words: state.edit_stage(state.cure, lasts=words, until=None, at_most=None),
    )  # fmt: skip


def brine_dial(state: State) -> dict[str, Knob]:
    """The slider that says how salty the cure is, whichever way its weigh-out says it; none where the stages hold their own grams."""
    plan = _plan(state.batch)
    if hasattr(plan, "salt"):
        of = "of meat and water" if plan.tag == "equilibrium brine" else "of the meat"
        return {
            "salt": dial(
                state, f"Salt, {of}", "fraction", TARGET, lambda batch: _plan(batch).salt, lambda words: state.edit_weigh_out(salt=words)
            )
        }  # fmt: skip
    if getattr(plan, "strength", None) is not None:
        return {
            "strength": dial(
                state, "Brine strength, salt by weight", "fraction", STRENGTH, lambda batch: _plan(batch).strength,
                lambda words: state.edit_weigh_out(strength=words),
            )
        }  # fmt: skip
    return {}


def _plan(batch: Batch) -> Any:
    """The weigh-out, of whichever sort."""
    return batch.weigh_out


def _unit(batch: Batch, scales: dict[str, Scale]) -> str:
    unit = scales[batch.units].unit
    return _SHOWN.get(unit, unit)


def _place(
    batch: Batch, kind: str, scales: dict[str, Scale], get: Callable[[Batch], float]
) -> tuple[float, float, float, float]:
    """(value, low, high, step); a value outside the usual range widens it, so that nothing in a file is out of reach."""
    scale = scales[batch.units]
    value = round(units.convert(get(batch), kind, scale.unit), 6)
    return value, min(scale.low, value), max(scale.high, value), scale.step


def units_pick(state: State) -> Pick:
    """Metric or US, everywhere at once."""
    pick = Pick("Units", [("metric", "metric"), ("us", "US")], state.batch.units)
    pick.observe(lambda change: state.edit(lambda batch: batch.but(units=pick.value)), "value")

    def follow(change: Any) -> None:
        pick.value = state.batch.units

    state.observe(follow, "batch")
    return pick
