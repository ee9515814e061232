"""Checks of how a batch was kept: cold, time, salt and nitrite at the core. What was done, not what was
weighed.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from .. import units
from ..history import History
from ..matter import brine
from ..sources import Numbers, default_numbers, read_table
from ..stages import Brine, Rest, SealedCure, Soak
from .verdict import Verdict, judge

CURING = (Brine, SealedCure, Rest)


def check_process(history: History, numbers: Numbers | None = None) -> tuple[Verdict, ...]:
    """Process checks in the order of the kitchen; rules from `trade_rules.csv` and rows `growth.*`,
    `protection.*`.

    Meat kept cold (FB2265-06); curing not stopped by cold (CLEM-04); hours above 4 degC while the core has
    neither 40 mg/kg of free nitrite nor 3.5 % salt in its water (judgement: either is taken to slow
    growth, neither to stop it); salt at the core against the growth limit of the botulism that grows in a
    fridge (short of it is unknown, as cold and nitrite do the rest); days against the extension rules of
    days per pound (fewer is unknown, as they are rules of thumb); soak water (FB2265-08).
    """
    numbers = numbers or default_numbers()
    checks: tuple[Callable[[History, Numbers], list[Verdict]], ...] = (
        _kept_cold,
        _not_too_cold,
        _unprotected,
        _core_salt,
        _days,
        _soak_water,
    )
    return tuple(verdict for check in checks for verdict in check(history, numbers))


def _rule(rule_id: str, which: int = -1) -> tuple[float, str, str]:
    """(number, source, how) of a trade rule; `which` of the numbers in a range such as "36-40"."""
    row = next(row for row in read_table("trade_rules.csv") if row["rule_id"] == rule_id)
    found = re.findall(r"\d+(?:\.\d+)?", row["value"])
    return float(found[which]), f"{row['source']}; {rule_id}", row["how"]


def _celsius(kelvin: float) -> float:
    return kelvin - 273.15


def _fahrenheit(rule_id: str, which: int = -1) -> tuple[float, str, str]:
    value, source, how = _rule(rule_id, which)
    return units.read(f"{value} degF", "temperature"), source, how


def _knots(run) -> np.ndarray:
    """Times [s] in a run between which its temperature is a straight line."""
    return np.unique(np.append(np.minimum(run.clock.knots, run.length), run.length))


def _warmth(history: History, kinds: tuple) -> tuple[np.ndarray, np.ndarray]:
    """(durations, temperatures at both ends (n, 2)) of the straight stretches of all runs of these kinds of
    stage.
    """
    spans, ends = [np.zeros(0)], [np.zeros((0, 2))]
    for run in history.runs:
        if isinstance(run.stage, kinds) and run.length > 0:
            knots = _knots(run)
            kelvin = run.clock.temperature(knots)
            spans.append(np.diff(knots))
            ends.append(np.stack([kelvin[:-1], kelvin[1:]], axis=1))
    return np.concatenate(spans), np.concatenate(ends)


def _seconds_above(spans: np.ndarray, ends: np.ndarray, limit: float) -> float:
    """Seconds above a limit, exact for straight stretches."""
    low, high = ends.min(axis=1), ends.max(axis=1)
    rise = np.where(high > low, high - low, 1.0)
    share = np.where(high > low, np.clip((high - limit) / rise, 0.0, 1.0), high > limit)
    return float(np.dot(spans, share))


def _kept_cold(history: History, numbers: Numbers) -> list[Verdict]:
    spans, ends = _warmth(history, CURING)
    if not len(spans):
        return []
    limit, source, how = _fahrenheit("FB2265-06")
    above = _seconds_above(spans, ends, limit)
    remark = f"It was above for {units.show(above, 'time')}: make the fridge colder." if above else ""
    return [
        judge(
            "kept cold",
            _celsius(float(ends.max())),
            "<=",
            _celsius(limit),
            "°C",
            "warmest while curing",
            source,
            how,
            remark,
        )
    ]


def _not_too_cold(history: History, numbers: Numbers) -> list[Verdict]:
    spans, ends = _warmth(history, CURING)
    if not len(spans):
        return []
    limit, source, how = _fahrenheit("CLEM-04")
    below = _seconds_above(spans, -ends, -limit)
    remark = (
        f"It was below for {units.show(below, 'time')}; curing then stops in ice, which the model does not "
        "know: add those days."
        if below
        else ""
    )
    return [
        judge(
            "not too cold",
            _celsius(float(ends.min())),
            ">=",
            _celsius(limit),
            "°C",
            "coldest while curing",
            source,
            how,
            remark,
        )
    ]


def unprotected_time(history: History, piece: int | str = 0, numbers: Numbers | None = None) -> float:
    """Seconds above `protection.cold` while the core has less free nitrite than `protection.free_nitrite` and
    less salt in its water than `protection.water_phase_salt`. To a 400th of each run, all stages counted,
    the start included.
    """
    numbers = numbers or default_numbers()
    cold = numbers.si("protection.cold")
    total = 0.0
    for run in history.runs:
        if run.length <= 0:
            continue
        grid = np.unique(np.concatenate([_knots(run), np.linspace(0.0, run.length, 401)]))
        middle = 0.5 * (grid[1:] + grid[:-1])
        warm = run.clock.temperature(middle) > cold
        if not warm.any():
            continue
        times = run.begin + middle[warm]
        bare = history.core("free nitrite", times, piece) < numbers.si("protection.free_nitrite")
        bare &= history.core("salt", times, piece, "water phase") < numbers.si("protection.water_phase_salt")
        total += float(np.diff(grid)[warm][bare].sum())
    return total


def _unprotected(history: History, numbers: Numbers) -> list[Verdict]:
    row = numbers["protection.warm_hours"]
    hours = max(unprotected_time(history, piece.name, numbers) for piece in history.pieces) / 3600
    what = (
        f"time above {_celsius(numbers.si('protection.cold')):.3g} degC with the core still without "
        f"protection (less than {1e6 * numbers.si('protection.free_nitrite'):.0f} mg/kg free nitrite and "
        f"less than {100 * numbers.si('protection.water_phase_salt'):.2g} % salt in its water)"
    )
    remark = "The nitrite is a model's estimate." if hours else ""
    return [
        judge(
            "core unprotected and warm",
            hours,
            "<=",
            row.si / 3600,
            "h",
            what,
            row.source,
            row.how,
            remark,
        )
    ]


def _core_salt(history: History, numbers: Numbers) -> list[Verdict]:
    row, other = (
        numbers["growth.nonproteolytic.water_phase_salt"],
        numbers["growth.proteolytic.water_phase_salt"],
    )
    core = min(history.core("salt", None, piece.name, "water phase") for piece in history.pieces)
    average = min(history.average("salt", None, piece.name, "water phase") for piece in history.pieces)
    activity = float(brine.water_activity(min(core, 0.264)))
    remark = f"The average is {100 * average:.2f} %; the water activity at the core is near {activity:.3f}."
    if core < row.si:
        remark += (
            " Salt alone does not stop the botulism that grows in a fridge, as in most cured meat that one "
            "likes to eat: cold, nitrite and cooking must do the rest."
        )
    elif core < other.si:
        remark += f" The types that grow from 10 degC need {100 * other.si:.0f} %, so it must stay cold."
    return [
        judge(
            "salt in the water of the core",
            100 * core,
            ">=",
            100 * row.si,
            "%",
            "salt in the water at the core at the end",
            row.source,
            row.how,
            remark,
            otherwise="unknown",
        )
    ]


def _days(history: History, numbers: Numbers) -> list[Verdict]:
    pounds = max(units.convert(piece.weight, "mass", "lb") for piece in history.pieces)
    found = []
    for kind, rule_id, name in (
        (Brine, "FB2265-01", "days in brine"),
        (SealedCure, "CLEM-03", "days in dry cure"),
    ):
        seconds = sum(run.length for run in history.runs if isinstance(run.stage, kind))
        if not seconds:
            continue
        per_pound, source, how = _rule(rule_id, 0)
        what = f"days by the old rule of {per_pound:g} days per pound for hams, heaviest piece {pounds:.2g} lb"
        remark = (
            "" if seconds / 86400 >= per_pound * pounds else "The rule knows weight, not thickness: look at the core."
        )
        found.append(
            judge(
                name,
                seconds / 86400,
                ">=",
                per_pound * pounds,
                "d",
                what,
                source,
                how,
                remark,
                otherwise="unknown",
            )
        )
    return found


def _soak_water(history: History, numbers: Numbers) -> list[Verdict]:
    spans, ends = _warmth(history, (Soak,))
    if not len(spans):
        return []
    row = next(row for row in read_table("trade_rules.csv") if row["rule_id"] == "FB2265-08")
    degrees = float(re.search(r"(\d+) F", row["note"])[1])  # type: ignore[index]
    limit = units.read(f"{degrees} degF", "temperature")
    return [
        judge(
            "soak water",
            _celsius(float(ends.max())),
            "<=",
            _celsius(limit),
            "°C",
            "warmest soak water",
            f"{row['source']}; {row['rule_id']}",
            row["how"],
        )
    ]
