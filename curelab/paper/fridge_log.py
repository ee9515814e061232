"""The readings of a thermometer as the fridge log of a batch: given to the stages in whose time they fall, where they take the plan's place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from .. import units
from ..batch import Batch
from ..engine.simulate import simulate
from ..fields import InputError, Problem, Rule, refuse
from ..recipe.stages import Stage
from ..recipe.times import Log, TemperatureRule
from . import say_time
from .logbook import change
from .moments import start_of
from .thermometer import Readings, decoded, read_thermometer
from .thinning import thinned

MOST = 1000  # entries of the fridge log of a stage: a file that a person can still open (judgement)
GAP = 6 * units.HOUR  # s without a reading, after which the straight line over it is told (judgement)
STEP = 60.0  # s from what was planned to the first reading, and back again after the last
NO_START = 'the batch has no start, so the dates of the thermometer have no place; put "start" into it'


@dataclass(frozen=True)
class Part:
    """What one stage got: its number from 0, readings that fell into it, first and last of them [s since the start], entries that were
    kept, how far off [K] those are at worst, warmest and coldest [K], and the longest time [s] without a reading with its begin.
    """

    stage: int
    count: int
    first: float
    last: float
    kept: int
    off: float
    warmest: float
    coldest: float
    gap: tuple[float, float]


@dataclass(frozen=True)
class FridgeLog:
    """A batch with the readings in it, and what was done, in sentences."""

    batch: Batch
    parts: tuple[Part, ...]
    lines: tuple[str, ...]


def with_temperatures(
    batch: Batch, content: bytes, *, stage: int | None = None, zone: str | None = None, **asked: Any
) -> FridgeLog:
    """The batch with the readings of a thermometer's file as its fridge log.

    content: the file as it is; stage: number (from 1) of the stage that gets them, None: every one kept in a fridge in whose time they
    fall; zone: IANA name of the clock of the thermometer, where it is not the kitchen's; asked: `degrees`, `column`, `dates`, as
    `read_thermometer` takes them. What stood in the stage stays wherever nothing was read. Raises InputError with every problem at once.
    """
    start = start_of(batch)
    if start is None:
        raise refuse("start", NO_START)
    own = batch.plan.zone if batch.plan else None
    readings = read_thermometer(decoded(content), zone=zone or own, **asked)
    at = np.array(_seconds(readings, start, zone))
    kelvin, lines = np.array(readings.kelvin), np.array(readings.lines)
    logs: dict[int, Log] = {}
    parts: list[Part] = []
    problems: list[Problem] = []
    spans = _spans(batch, stage)
    for number, (begin, end) in spans.items():
        inside = (at >= begin) & (at <= end)
        if not inside.any():
            continue
        rule = _rule(batch.stages[number])
        problems += _out_of_range(rule, lines[inside].tolist(), kelvin[inside].tolist())
        times, degrees = at[inside] - begin, kelvin[inside]
        few, values, off = thinned(times, degrees, MOST)
        read = tuple(zip(few.tolist(), values.tolist(), strict=True))
        logs[number] = joined(batch.stages[number].logs[0], read, end - begin)
        waits = np.diff(times)
        longest = int(np.argmax(waits)) if len(waits) else 0
        gap = (float(waits[longest]), float(at[inside][longest])) if len(waits) else (0.0, float(begin))
        parts.append(
            Part(
                number, int(inside.sum()), float(at[inside][0]), float(at[inside][-1]), len(few), off,
                float(degrees.max()), float(degrees.min()), gap,
            )
        )  # fmt: skip
    if problems:
        raise InputError(problems)
    if not parts:
        raise refuse("file", _elsewhere(batch, at, spans, start))
    stages = [one.but(temperature=logs[n]) if n in logs else one for n, one in enumerate(batch.stages)]
    after = batch.but(stages=stages)
    return FridgeLog(after, tuple(parts), _told(batch, readings, parts, start, len(at)))


def log_temperatures(path: str | Path, content: bytes, **asked: Any) -> FridgeLog:
    """The same in a batch file, whole or not at all; the rest of the file stays. Raises InputError as `with_temperatures` does."""
    found: list[FridgeLog] = []

    def to(batch: Batch, words: str) -> tuple[Batch, None]:
        found[:] = [with_temperatures(batch, content, **asked)]
        return found[0].batch, None

    change(path, to)
    return found[0]


def joined(before: Log, read: Log, length: float) -> Log:
    """A log with readings in their own time and what stood there before and after them; it ends with the stage, `length` [s].

    >>> joined(((0.0, 276.15),), ((7200.0, 277.15), (10800.0, 278.15)), 86400.0)
    ((0.0, 276.15), (7140.0, 276.15), (7200.0, 277.15), (10800.0, 278.15), (10860.0, 276.15))
    """
    first, last = read[0][0], read[-1][0]
    times, kelvin = zip(*before, strict=True)

    def planned(time: float) -> tuple[float, float]:
        return time, float(np.interp(time, times, kelvin))

    head = [point for point in before if point[0] < first - STEP]
    tail = [point for point in before if last + STEP < point[0]]
    head += [planned(first - STEP)] if head else [planned(0.0)] if first > STEP else []
    if head and head[-1][0] < first - STEP:
        head.append(planned(first - STEP))
    tail = ([planned(last + STEP)] if last + STEP < length else []) + tail
    return (*head, *read, *tail)


def _seconds(readings: Readings, start: datetime, zone: str | None) -> list[float]:
    """Seconds since the start of each reading."""
    if start.tzinfo is not None:
        return [moment - start.timestamp() for moment in readings.moments]
    zero = start.replace(tzinfo=UTC).timestamp()
    if not readings.zoned:
        return [moment - zero for moment in readings.moments]
    if zone is None:
        raise refuse("zone", "its lines carry a zone, and the batch has none; say the zone of the kitchen")
    clock = ZoneInfo(zone)
    return [
        moment + (datetime.fromtimestamp(moment, clock).utcoffset() or timedelta()).total_seconds() - zero
        for moment in readings.moments
    ]


def _rule(stage: Stage) -> TemperatureRule | None:
    """The rule of its fridge; None for a stage that is not kept in one, or has several waters."""
    rules: list[Rule] = [spec.metadata["rule"] for spec in fields(stage) if spec.name == "temperature"]  # type: ignore[arg-type]
    return next((rule for rule in rules if isinstance(rule, TemperatureRule)), None)


def _spans(batch: Batch, asked: int | None) -> dict[int, tuple[float, float]]:
    """Begin and end [s] of every stage that is kept in a fridge, as the usual case has them; of the one that is asked for alone."""
    cold = [number for number, stage in enumerate(batch.stages) if _rule(stage) is not None]
    told = ", ".join(f"{number + 1} ({batch.stages[number].tag})" for number in cold)
    if asked is not None and asked - 1 not in cold:
        raise refuse("stage", f"{asked} is not kept in a fridge; these are: {told or 'none'}")
    history = simulate(batch.pieces, batch.filled(), loss=batch.loss)
    wanted = cold if asked is None else [asked - 1]
    return {number: history.span(number) for number in wanted}


def _out_of_range(rule: TemperatureRule | None, lines: list[int], kelvin: list[float]) -> list[Problem]:
    problems: list[Problem] = []
    known: dict[float, str | float] = {}
    for line, value in zip(lines, kelvin, strict=True):
        if value not in known:
            try:
                known[value] = rule.one.read(value, False) if rule else value
            except InputError as error:
                known[value] = error.problems[0].sentence
        if isinstance(said := known[value], str):
            problems.append(Problem(f"line {line}", said))
    return problems


def _clock(start: datetime, system: str) -> Callable[[float], str]:
    """Says the moment so many seconds after the start."""
    if start.tzinfo is None:
        return lambda seconds: say_time.moment(start + timedelta(seconds=seconds), system)
    zone = start.tzinfo
    return lambda seconds: say_time.moment(datetime.fromtimestamp(start.timestamp() + seconds, zone), system)


def _elsewhere(batch: Batch, at: np.ndarray, spans: dict[int, tuple[float, float]], start: datetime) -> str:
    say = _clock(start, batch.units)
    stages = ", ".join(
        f"stage {number + 1} ({batch.stages[number].tag}) {say(begin)} to {say(end)}"
        for number, (begin, end) in spans.items()
    )
    read = f"it was read from {say(at[0])} to {say(at[-1])}"
    return f"{read}, outside of what is kept in a fridge: {stages or 'nothing'}; check start, dates and zone"


def _told(batch: Batch, readings: Readings, parts: list[Part], start: datetime, count: int) -> tuple[str, ...]:
    """What was done, one sentence each."""
    say, system = _clock(start, batch.units), batch.units
    said = []
    for part in parts:
        stage = f"Stage {part.stage + 1}, {batch.stages[part.stage].tag}"
        readings_told = "one reading" if part.count == 1 else f"{part.count:,} readings"
        low, high = (units.show(value, "temperature", system) for value in (part.coldest, part.warmest))
        said.append(f"{stage}: {readings_told}, {say(part.first)} to {say(part.last)}, {low} to {high}.")
        if part.kept < part.count:
            off = part.off * (1.8 if system == "us" else 1.0)
            unit = "°F" if system == "us" else "°C"
            said.append(
                f"Thinned to {part.kept:,} of them; the line between is nowhere off by more than {off:.2g} {unit}."
            )
        if part.gap[0] > GAP:
            wait = say_time.spell(round(part.gap[0] / 60))
            said.append(f"Nothing was read for {wait} from {say(part.gap[1])}; a straight line stands there.")
    left = count - sum(part.count for part in parts)
    if left > 0:
        said.append(f"{left:,} readings lie outside of these stages and were left out.")
    return (*said, *readings.notes)


__all__ = ["FridgeLog", "Part", "joined", "log_temperatures", "with_temperatures"]
