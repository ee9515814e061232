"""What a page is asked by a button, answered in sentences. No widgets in here, so that a process of its own can work it out."""

from __future__ import annotations

from typing import Any

from .. import units
from ..batch import Batch
from ..engine.simulate import simulate
from ..forecast import least_water, portion_that_cools, simmer_water_for_the_plate, soak_for_the_plate, soak_needed
from ..forecast.portion import alone
from ..weighing.vessel import water_to_cover


def _wanted(target: float) -> str:
    return f"average salt <= {units.text(target, 'fraction')}"


def salt_of_the_plate(batch: Batch, target: float) -> str:
    """How long a soak before the cook, and how much water in the pot, bring the slice to `target` (mass fraction). Raises InputError."""
    stages, loss, system = batch.filled(), batch.loss, batch.units
    water = 2 * sum(piece.weight for piece in batch.pieces)
    said = [soak_for_the_plate(_wanted(target), batch.pieces, stages, water=water, loss=loss, system=system)]
    if any(stage.heats and stage.wet for stage in batch.stages):
        said.append(simmer_water_for_the_plate(_wanted(target), batch.pieces, stages, loss=loss, system=system))
    return " ".join(map(str, said))


def portion(batch: Batch, number: int) -> str:
    """How thick a portion of a piece (from 0) may be, so that it is cold in time. Raises InputError."""
    piece = batch.pieces[number]
    stages = alone(piece, batch.pieces, batch.filled())
    return str(portion_that_cools(piece, stages, loss=batch.loss, system=batch.units))


def soak(batch: Batch, target: float, on_the_plate: bool) -> str:
    """How much soak brings the meat, or the slice of it once it is cooked, to `target` (mass fraction). Raises InputError."""
    filled: Any = batch.filled()
    number = next(n for n, stage in enumerate(filled) if stage.desalts)
    water, temperature = filled[number].waters[0].amount, filled[number].waters[0].temperature
    if on_the_plate:
        stages = [stage for stage in filled if not stage.desalts]
        return soak_for_the_plate(
            _wanted(target), batch.pieces, stages,
            water=water, temperature=temperature[0][1], loss=batch.loss, system=batch.units,
        ).sentence  # fmt: skip
    cured = simulate(batch.pieces, filled[:number], loss=batch.loss)
    answer, _ = soak_needed(_wanted(target), cured, water=water, temperature=temperature, system=batch.units)
    least, _ = least_water(
        _wanted(target), cured, within=max(filled[number].longest, units.HOUR), temperature=temperature,
        cover=None if batch.vessel is None else water_to_cover(batch.vessel, batch.pieces), system=batch.units,
    )  # fmt: skip
    return answer.sentence if answer.value == 0.0 else f"{answer.sentence} Least water: {least}"


__all__ = ["portion", "salt_of_the_plate", "soak"]
