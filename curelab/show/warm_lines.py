"""What a report says of stages that cook or cool: how warm a piece is when one ends, and what to beware of."""

from __future__ import annotations

from typing import Any

from .. import units
from ..limits import CAUTIONS, NITRITE_CAUTIONS
from ..outcome import Outcome
from ..recipe.criterion import TEMPERATURE
from .own_units import own_units

PLACES = (("the middle", "core"), ("the outside", "surface"))
READ = tuple((place, TEMPERATURE) for _, place in PLACES)


def warm_line(outcome: Outcome, stage: int, piece: str) -> str:
    """How warm a piece is when a stage (from 0) ends, in its middle and outside, with bands; "" where nothing is heated."""
    made, system = outcome.history.stages[stage], outcome.batch.units
    if not made.heats:
        return ""
    told = ", ".join(
        f"{where} {_degrees(outcome.band(place, TEMPERATURE, stage, piece), system)}" for where, place in PLACES
    )
    waits = " waits in the fridge" if not made.is_about(piece) else ""
    return f"{piece}{waits}: {told}."


def _degrees(band: tuple[float, float, float], system: str) -> str:
    middle, low, high = (round(units.convert(kelvin, "temperature", _UNIT[system])) + 0 for kelvin in band)
    sign = "°C" if system == "metric" else "°F"
    return f"{middle} {sign}" if low == high == middle else f"{middle} {sign} ({low} to {high})"


_UNIT = {"metric": "degC", "us": "degF"}


def warm_row(outcome: Outcome, stage: int, piece: str) -> dict[str, Any]:
    """The same for machines, in K."""
    if not outcome.history.stages[stage].heats:
        return {}
    return {
        f"temperature {place}": dict(
            zip(("middle", "low", "high"), outcome.band(place, TEMPERATURE, stage, piece), strict=True)
        )
        for _, place in PLACES
    }


def cautions_of(outcome: Outcome) -> tuple[str, ...]:
    """What to beware of in this batch: of cure, and of heat where there is any."""
    stages = outcome.history.stages
    cured = any(made.nitrite or made.nitrate for stage in stages if (made := stage.put_in) is not None)
    usual = CAUTIONS if cured else [each for each in CAUTIONS if each not in NITRITE_CAUTIONS]
    said = dict.fromkeys([*usual, *(said for stage in stages for said in stage.cautions)])
    return tuple(own_units(each, outcome.batch.units) for each in said)
