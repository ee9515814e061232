"""Whether the slowest spot was hot for long enough: the federal table of times and temperatures, as printed and added up.

The table says how long a temperature must be held in all parts once it is reached. It is read as it is printed: between two rows the
colder one holds, below 130 degF nothing counts, at 158 degF and above a moment is enough. Adding up parts of rows over a whole curve is
common in the trade, and no part of the table: it informs, and never makes a pass of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np

from .. import units
from ..fields import refuse
from ..sources import read_table
from .curve import SLACK, Curve, worst
from .verdict import ROUNDING, Verdict, Verdicts, judge, undecided, unknown

LOGS = (
    6.5,
    7.0,
)  # of Salmonella: cooked beef and roast beef, 9 CFR 318.17(a)(1); poultry, and codes that ask more of all meat
MOST_SAID = 10.0  # times what is asked: more says nothing (judgement)
DEFER = "The code of your place and licensed practice go first."
SIXTY = 333.15  # K, where D is told


class Row(NamedTuple):
    """One line of the table: kelvin, and the seconds that it asks for."""

    kelvin: float
    seconds: float


@dataclass(frozen=True)
class Fit:
    """The table as one straight line of log time over temperature: D at 60 degC [s], z [K], the largest relative miss of a printed row."""

    logs: float
    d60: float
    z: float
    worst: float
    rows: int

    @property
    def sentence(self) -> str:
        return (
            f"D at 60 °C is {self.d60 / 60:.2f} min and z {self.z:.2f} K, by a line through {self.rows} rows of the table "
            f"that misses them by up to {100 * self.worst:.0f} %."
        )


@dataclass(frozen=True)
class Dwell:
    """The row that a curve comes nearest to: `held` of `asked` seconds at `kelvin` or above, without a break."""

    kelvin: float
    held: float
    asked: float

    @property
    def share(self) -> float:
        """Of what is asked; inf where a moment is enough."""
        return self.held / self.asked if self.asked else np.inf


@cache
def table(logs: float = 6.5) -> tuple[Row, ...]:
    """The federal rows for so many logs (6.5 or 7), coldest first. Raises InputError for another number."""
    if logs not in LOGS:
        raise refuse("logs", f"the table has no column for {logs:g} logs; give 6.5 or 7")
    column = f"time_{logs:g}log".replace(".", "_")
    return tuple(
        Row(
            units.read(f"{row['temperature_F']} degF", "temperature"),
            units.read(f"{row[column]} {row['unit']}", "time"),
        )
        for row in read_table("lethality.csv")
    )


@cache
def fitted(logs: float = 6.5) -> Fit:
    """D and z of a column of the table, by least squares on the logarithm of its times; rows that ask for a moment are left out."""
    rows = [row for row in table(logs) if row.seconds > 0]
    kelvin, log_time = (np.array(each) for each in zip(*((r.kelvin, np.log10(r.seconds)) for r in rows), strict=True))
    slope, level = np.polyfit(kelvin - SIXTY, log_time, 1)
    miss = np.abs(10.0 ** (level + slope * (kelvin - SIXTY) - log_time) - 1.0)
    return Fit(logs, float(10.0**level / logs), float(-1.0 / slope), float(miss.max()), len(rows))


def dwell(curve: Curve, rows: Sequence[Row]) -> Dwell | None:
    """The row of which most was held; None where the curve never came to the first row."""
    reached = [row for row in rows if curve.hottest >= row.kelvin - SLACK]
    moment = next((row for row in reached if row.seconds == 0), None)
    if moment is not None:
        return Dwell(moment.kelvin, 0.0, 0.0)
    stays = (Dwell(row.kelvin, curve.longest(row.kelvin - SLACK), row.seconds) for row in reached)
    return max(stays, key=lambda stay: (stay.share, -stay.kelvin), default=None)


def added_up(curve: Curve, logs: float = 6.5) -> float:
    """Log reductions over the whole curve, each second at the pace of the row below it; come-up counts from the first row on.

    Exact for a curve of straight parts. Above the last row that asks for a time (157 degF) the pace stays that of this row.
    """
    rows = [row for row in table(logs) if row.seconds > 0]
    above = [curve.above(row.kelvin - SLACK) for row in rows] + [0.0]
    return logs * sum((above[n] - above[n + 1]) / row.seconds for n, row in enumerate(rows))


def equivalent_time(curve: Curve, reference: float, z: float) -> float:
    """Seconds at `reference` [K] that would kill as much, by the trapezoid rule on 10^((T - reference) / z), as spreadsheets of the trade
    do; z in K. Give it readings close enough for that.
    """
    if not z > 0:
        raise refuse("z", f"{z:g} K is no z; give a number above 0")
    rate = 10.0 ** ((curve.kelvin - reference) / z)
    return float(np.sum(0.5 * (rate[1:] + rate[:-1]) * np.diff(curve.times)))


def check_lethality(curves: Curve | Sequence[Curve], logs: Sequence[float] = LOGS) -> Verdicts:
    """Whether the slowest of `curves` was cooked to the federal table.

    6.5 log is the standard for cooked beef: held by one row is a pass; enough only when rows are added up is unknown, for the table counts one
    temperature at a time; else it is a fail. 7 log is asked for poultry, and by some codes of all meat: short of it is unknown, but for what
    fails at 6.5, which is raw by either.
    """
    found: list[Verdict] = []
    for number in logs:
        raw = any(each.outcome == "fail" for each in found)
        found.append(_held(worst(curves, lambda each, n=number: -added_up(each, n)), number, raw))
    return Verdicts(found)


def _held(curve: Curve, logs: float, raw: bool) -> Verdict:
    name, row = f"lethality, {logs:g} log", read_table("lethality.csv")[0]
    source, how, first = row["source"], row["how"], table(logs)[0]
    otherwise = "fail" if logs == LOGS[0] or raw else "unknown"
    asked_of = "" if logs == LOGS[0] else f"{logs:g} log, which some codes ask of all meat"
    best = dwell(curve, table(logs))
    if best is None:
        what = f"hottest at {curve.place}"
        at_once = next(each for each in table(logs) if each.seconds == 0)
        begins, safe = (units.show(each.kelvin, "temperature") for each in (first, at_once))
        remark = (
            f"Not cooked: do not eat it so. Held there it takes {first.seconds / 60:.0f} min without a break; {begins} alone is not enough. "
            f"From {safe} a moment is. {DEFER}"
        )
        hottest, least = (units.convert(each, "temperature", "degC") for each in (curve.hottest, first.kelvin))
        return judge(name, hottest, ">=", least, "°C", what, source, how, remark, otherwise, asked_of)
    if best.asked == 0:
        what = f"hottest at {curve.place}"
        hottest, least = (units.convert(each, "temperature", "degC") for each in (curve.hottest, best.kelvin))
        said = f"A moment is enough there. {DEFER}"
        return judge(name, hottest, ">=", least, "°C", what, source, how, said, group=asked_of)
    sum_ = added_up(curve, logs)
    added = f"{sum_:.3g} log" if sum_ <= MOST_SAID * logs else f"more than {MOST_SAID * logs:g} log"
    rests = f"Added up over the whole curve: {added} of {logs:g}."
    warmth = units.show(best.kelvin, "temperature")
    what = f"unbroken at {warmth} or above at {curve.place}"
    enough = sum_ >= logs * (1 - ROUNDING)
    if best.share < 1 - ROUNDING and enough:
        reason = (
            f"No single row is held: {best.held / 60:.3g} of {best.asked / 60:.3g} min at {warmth} at {curve.place}. {rests} "
            f"The table counts one temperature at a time, so ask who inspects you, or cook longer. {DEFER}"
        )
        return unknown(name, reason, source, how, best.asked / 60, "min")
    remark = f"{rests} {DEFER}" if best.share >= 1 - ROUNDING else f"{rests} Cook longer or hotter. {DEFER}"
    return judge(name, best.held / 60, ">=", best.asked / 60, "min", what, source, how, remark, otherwise, asked_of)


# -- bags ------------------------------------------------------------------------------------------------------------------------------


class Death(NamedTuple):
    """How an organism dies: D [s] at `kelvin`, z [K], and the logs that are asked of it."""

    organism: str
    d: float
    kelvin: float
    z: float
    logs: float
    source: str
    how: str


@cache
def bag_organisms() -> tuple[Death, ...]:
    """The set behind the published table for bags in a water bath."""
    return tuple(
        Death(
            row["organism"], 60.0 * float(row["D_min"]), units.read(f"{row['at_C']} degC", "temperature"),
            float(row["z_C"]), float(row["log"]), row["source"], row["how"],
        )
        for row in read_table("thermal_death.csv") if row["role"] == "bag"
    )  # fmt: skip


def bag_share(curve: Curve) -> tuple[float, Death]:
    """What of the logs that are asked was reached by the organism that lags most, and which that is.

    Every second at 50 degC or above counts, by D and z (judgement: below 50 degC nothing dies to speak of).
    """
    hot = _fine(curve)
    hot = Curve(hot.times, np.where(hot.kelvin >= BAG_FROM, hot.kelvin, COLD), hot.place)
    shares = [
        (equivalent_time(hot, each.kelvin, each.z) / each.d / each.logs, number)
        for number, each in enumerate(bag_organisms())
    ]
    share, number = min(shares)
    return share, bag_organisms()[number]


BAG_FROM = 323.15  # K
COLD = 273.15  # K; a hundred-thousandth of D at 55 degC
FINE = 0.25  # K between readings, so that the trapezoid rule is good to a part in a thousand


def _fine(curve: Curve) -> Curve:
    """The same curve with readings no more than FINE apart in temperature."""
    steps = np.maximum(1, np.ceil(np.abs(np.diff(curve.kelvin)) / FINE)).astype(int)
    owner = np.repeat(np.arange(len(steps)), steps)
    share = (np.arange(len(owner)) - (np.cumsum(steps) - steps)[owner]) / steps[owner]
    times = np.append(curve.times[owner] + share * np.diff(curve.times)[owner], curve.times[-1])
    return Curve(times, np.interp(times, curve.times, curve.kelvin), curve.place)


def check_bag(curves: Curve | Sequence[Curve]) -> Verdict:
    """Whether a bag in a water bath was pasteurised as the published table has it. Its numbers were read second-hand: this can ask, not pass."""
    curve = worst(curves, lambda each: -bag_share(each)[0])
    share, slowest = bag_share(curve)
    share = min(share, MOST_SAID)
    what = f"share of the {slowest.logs:g} log asked of {slowest.organism}, which lags most, at {curve.place}"
    remark = f"Sealed and cooked this gently it keeps no longer than other leftovers: chill it at once. {DEFER}"
    if share == MOST_SAID:
        remark = f"More is not counted. {remark}"
    found = judge(
        "bag, pasteurised", 100 * share, ">=", 100.0, "%", what, slowest.source, slowest.how, remark, otherwise="fail"
    )
    return undecided(found, "Ask who inspects you: the bag was cooked long enough by a table read second-hand.")


SPORES = "spores of non-proteolytic C. botulinum, 6 log"  # rows of pasteurisation.csv


@cache
def spore_rows() -> tuple[Row, ...]:
    """Times at 80 to 100 degC that are printed as equivalent to 10 min at 90 degC, coldest first."""
    return tuple(
        Row(units.read(f"{row['temperature_C']} degC", "temperature"), 60.0 * float(row["minutes"]))
        for row in read_table("pasteurisation.csv")
        if row["table"] == SPORES
    )


def check_spores(curves: Curve | Sequence[Curve]) -> Verdict:
    """Whether a sealed pack may be kept long in the cold: the spores that grow in a fridge, against printed times. Always unknown: where the
    times are met they were read second-hand, and where they are not the pack is eaten soon.
    """
    rows = spore_rows()
    best = {id(each): dwell(each, rows) for each in ([curves] if isinstance(curves, Curve) else curves)}
    curve = worst(curves, lambda each: -(found.share if (found := best[id(each)]) else 0.0))
    found, source = best[id(curve)], next(row for row in read_table("pasteurisation.csv") if row["table"] == SPORES)
    if found and found.share >= 1 - ROUNDING:
        said = (
            f"The spores that grow in a fridge had {found.held / 60:.3g} min at {units.show(found.kelvin, 'temperature')} or above, "
            f"enough by a printed table ({found.asked / 60:.3g})."
        )
    else:
        keep = next(row for row in read_table("heat_rules.csv") if row["kind"] == "keeping")
        cold = units.show(units.read(f"{keep['from_F']} degF", "temperature"), "temperature")
        said = f"Eat it within {keep['hours']} h at {cold} ({keep['option']}): the spores of the fridge live on in the bag."
    return unknown("bag, kept in the cold", f"{said} {DEFER}", source["source"], source["how"])
