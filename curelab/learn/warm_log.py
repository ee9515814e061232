"""What thermometer readings in a log say before any model."""

from __future__ import annotations

from .. import units
from ..batch import Batch
from ..limits import Verdict
from ..sources import Numbers, default_numbers

SET = {"metric": "2 °C", "us": "36 °F"}  # where a fridge is to be set (judgement: the middle of recipe.times.COLD)
IN_THE_LOG = "temperature in the log"
IN_THE_MEAT = "thermometer in the meat"  # the name of a check of `probe`; here, where nothing heavy comes with it
THERMOMETER = 0.5  # K that a thermometer in the log may be off where the cook does not say (judgement)


def judged_log(batch: Batch, numbers: Numbers | None = None) -> tuple[Verdict, ...]:
    """What thermometer readings in the log say before any model: in order up to `protection.cold`, not in order beyond it and its error,
    unknown between. Nothing where none was read. A water that is planned warmer than that has its own check, of the soak.
    """
    log, system, base = batch.log, batch.units, numbers or default_numbers()
    row, limit = base["protection.cold"], base.si("protection.cold")
    read = [
        (each.number, each)
        for each in log
        if each.what == "temperature" and each.number is not None and not _in_warm_water(batch, each.at, limit)
    ]
    if not read:
        return ()
    warmest, entry = max(read, key=lambda pair: pair[0])
    warm = sorted(each.at for kelvin, each in read if kelvin > limit + (each.off or THERMOMETER))
    outcome = "fail" if warm else "pass" if warmest <= limit else "unknown"
    days = f" on {units.day(entry.at, 2)}"
    if len(warm) > 1:
        days = f", too warm in {len(warm)} readings from {units.day(warm[0], 2)} to {units.day(warm[-1], 2)}"
    said = (
        f"The log says {units.show(warmest, 'temperature', system)}{days}; "
        f"{units.show(limit, 'temperature', system)} is the most."
    )
    if outcome == "fail":
        hours = base.si("protection.warm_hours")
        known = f"unless you know that it was for less than {units.show(hours, 'time')} in all, "
        # Warm at two readings far apart is warm between them, unless a cold one lies there.
        long = warm[-1] - warm[0] > hours and not any(
            warm[0] < each.at < warm[-1] and kelvin <= limit for kelvin, each in read
        )
        said += f" Curing sooner does not save meat that was warm: {'' if long else known}throw it away."
    elif outcome == "unknown":
        said += f" A thermometer may be off by as much: read it again, and set the fridge to {SET[system]}."
    shown = units.convert(limit, "temperature", "degC"), units.convert(warmest, "temperature", "degC")
    return (Verdict(IN_THE_LOG, outcome, shown[1], shown[0], "°C", None, said, row.source, row.how),)


def warm_log(batch: Batch) -> str:
    """What is to be said where a thermometer in the log was too warm beyond doubt; "" where none was."""
    return next((verdict.sentence for verdict in judged_log(batch) if verdict.outcome == "fail"), "")


def _in_warm_water(batch: Batch, at: float, limit: float) -> bool:
    """Whether a soak in water that is planned warmer than `limit` K, or cooking, is going on at this time, as far as the plan tells by the clock."""
    begin = 0.0
    for stage in batch.stages:
        for log, longest in zip(stage.logs, stage.lengths, strict=True):
            fresh = stage.desalts or stage.heats
            if fresh and begin < at <= begin + longest and max(kelvin for _, kelvin in log) > limit:
                return True
            begin += longest
    return False
