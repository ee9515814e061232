"""Checks of how a batch was kept: cold, time, salt and nitrite throughout, soaks. What was done, not what was
weighed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .. import units
from ..engine.history import History
from ..matter import brine
from ..recipe.stages import Stage
from ..recipe.times import KEEP_COLD
from ..sources import Number, Numbers, default_numbers, read_table
from .exposure import Exposure, exposures, uncovered_time
from .verdict import ROUNDING, Verdict, Verdicts, judge, undecided, unknown

UNPROTECTED = "unprotected and warm"
DISCARD = "Do not do this. If it has happened, throw the meat away; cooking does not make it safe."


@dataclass(frozen=True)
class _Kept:
    """A history to be checked, and what several checks ask of it, worked out once."""

    history: History
    numbers: Numbers

    @cached_property
    def curing(self) -> tuple[np.ndarray, np.ndarray]:
        return _warmth(self.history, lambda stage: not stage.heats and (stage.cures or not stage.wet))

    @cached_property
    def soaking(self) -> tuple[np.ndarray, np.ndarray]:
        return _warmth(self.history, lambda stage: stage.desalts)

    @cached_property
    def uncovered(self) -> float:
        return uncovered_time(self.history, self.numbers)

    def as_logged(self, verdict: Verdict) -> Verdict:
        """The verdict, but no pass where the fridge log has holes."""
        if not self.uncovered:
            return verdict
        said = f"The fridge log leaves {units.show(self.uncovered, 'time')} uncovered, so nobody knows how warm it was."
        return undecided(verdict, said)


def check_process(history: History, numbers: Numbers | None = None) -> Verdicts:
    """Process checks in the order of the kitchen; rules from `trade_rules.csv`, rows `growth.*`, `protection.*`.

    Fail: do not eat it without changing this. Unknown: nothing here vouches for it. Meat kept cold (FB2265-06) and not
    so cold that curing stops (CLEM-04); a cure without nitrite; hours above 40 degF without a pair of hurdles, and days
    from 3.3 degC up (see `exposure`; judgement); salt in the water of the meat, at its least, against the growth limit of
    the botulism that grows in a fridge; length and warmth of soaks (FB2265-08). Days per pound are told as information,
    for cures that end too salty only. A fridge log with holes leaves cold and protection unknown at best.
    """
    kept = _Kept(history, numbers or default_numbers())
    checks: tuple[Callable[[_Kept], list[Verdict]], ...] = (
        _kept_cold,
        _not_too_cold,
        _no_nitrite,
        _exposed,
        _least_salt,
        _days,
        _soak_time,
        _soak_water,
    )
    return Verdicts(verdict for check in checks for verdict in check(kept))


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


def _warmth(history: History, counts: Callable[[Stage], bool]) -> tuple[np.ndarray, np.ndarray]:
    """(durations, temperatures at both ends (n, 2)) of the straight parts of all stages that count."""
    spans, ends = [np.zeros(0)], [np.zeros((0, 2))]
    for ran in history.ran:
        if counts(history.stages[ran.stage]) and ran.length > 0:
            spans.append(np.diff(ran.knots))
            ends.append(np.stack([ran.kelvin[:-1], ran.kelvin[1:]], axis=1))
    return np.concatenate(spans), np.concatenate(ends)


def _seconds_above(spans: np.ndarray, ends: np.ndarray, limit: float) -> float:
    """Seconds above a limit, exact for straight stretches."""
    low, high = ends.min(axis=1), ends.max(axis=1)
    rise = np.where(high > low, high - low, 1.0)
    share = np.where(high > low, np.clip((high - limit) / rise, 0.0, 1.0), high > limit)
    return float(np.dot(spans, share))


def _kept_cold(kept: _Kept) -> list[Verdict]:
    spans, ends = kept.curing
    if not len(spans):
        return []
    limit, source, how = _fahrenheit("FB2265-06")
    above = _seconds_above(spans, ends, limit)
    remark = f"It was above for {units.show(above, 'time')}: keep it at {KEEP_COLD}." if above else ""
    warmest = _celsius(float(ends.max()))
    found = judge("kept cold", warmest, "<=", _celsius(limit), "°C", "warmest while curing", source, how, remark)
    return [kept.as_logged(found)]


def _not_too_cold(kept: _Kept) -> list[Verdict]:
    spans, ends = kept.curing
    if not len(spans):
        return []
    limit, source, how = _fahrenheit("CLEM-04")
    below = _seconds_above(spans, -ends, -limit)
    remark = (
        f"It was below for {units.show(below, 'time')}; ice stops the cure, and the model does not know it: add those days."
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


def _no_nitrite(kept: _Kept) -> list[Verdict]:
    cures = [stage for stage in kept.history.stages if stage.cures]
    grams = [stage.put_in for stage in cures]
    if not cures or any(one.nitrite for one in grams if one):
        return []
    row = kept.numbers["growth.nonproteolytic.temperature"]
    what = (
        "only nitrate, which may or may not become nitrite,"
        if any(one.nitrate for one in grams if one)
        else "no nitrite"
    )
    reason = (
        f"There is {what} in this cure: only cold and a short time keep it. Stay below {row.value:g} degC throughout, "
        "and cook it well."
    )
    return [unknown("nitrite in the cure", reason, row.source, row.how)]


def _exposed(kept: _Kept) -> list[Verdict]:
    most = kept.numbers["protection.warm_hours"]
    each = exposures(kept.history, kept.numbers)
    found = (_unprotected(each, most, kept.numbers), _long_cold(each, kept.numbers))
    return [kept.as_logged(verdict) for verdict in found]


def _unprotected(each: Sequence[Exposure], row: Number, numbers: Numbers) -> Verdict:
    hours = max(exposure.unprotected for exposure in each) / units.HOUR
    pairs = " or ".join(
        f"{1e6 * numbers.si(f'protection.{pair}.nitrite'):.0f} mg/kg with "
        f"{100 * numbers.si(f'protection.{pair}.water_phase_salt'):.2g} %"
        for pair in ("mild", "strong")
    )
    no_more = _celsius(numbers.si("growth.proteolytic.temperature"))
    source = numbers["protection.mild.nitrite"].source.partition(":")[0]
    remark = (
        f"Protected: free nitrite with salt in the water, {pairs}, at every depth, below {no_more:.3g} degC ({source})."
    )
    what = f"time above {_celsius(numbers.si('protection.cold')):.3g} degC with some of the meat unprotected"
    found = judge(
        UNPROTECTED,
        hours,
        "<=",
        row.si / units.HOUR,
        "h",
        what,
        row.source,
        row.how,
        remark if hours else "",
    )
    return found if found.outcome == "pass" else replace(found, sentence=f"{DISCARD} {found.sentence}")


def _long_cold(each: Sequence[Exposure], numbers: Numbers) -> Verdict:
    from_here = f"from {_celsius(numbers.si('growth.nonproteolytic.temperature')):.2g} degC up"
    some, none = (max(getattr(exposure, name) for exposure in each) / units.DAY for name in ("some", "none"))
    most, row = numbers["protection.cold_days_most"], numbers["protection.cold_days"]
    remark = "Colder than that is safer: in broth toxin took 5 weeks at 3 degC, 2 to 3 at 5 degC."
    if none > most.si / units.DAY:
        what = f"days {from_here} without nitrite or salt to speak of"
        return judge("long in the cold", none, "<=", most.si / units.DAY, "d", what, most.source, most.how, remark)
    what = f"days {from_here} with some of the meat short of salt and nitrite"
    return judge(
        "long in the cold", some, "<=", row.si / units.DAY, "d", what, row.source, row.how,
        remark if some > row.si / units.DAY else "", otherwise="unknown",
    )  # fmt: skip


def _least_salt(kept: _Kept) -> list[Verdict]:
    row, other = (
        kept.numbers["growth.nonproteolytic.water_phase_salt"],
        kept.numbers["growth.proteolytic.water_phase_salt"],
    )
    history = kept.history
    least = min(float(history.lean_profile("salt", None, n, "water phase").min()) for n in range(len(history.pieces)))
    activity = float(brine.water_activity(min(least, brine.STRONGEST)))
    remark = f"Water activity there is near {activity:.3f}."
    if least < row.si:
        remark = (
            f"Salt alone does not stop the botulism of the fridge: cold, nitrite and cooking must do the rest. {remark}"
        )
    elif least < other.si:
        remark = f"The types that grow from 10 degC need {100 * other.si:.0f} %, so it must stay cold. {remark}"
    what = "salt in the water of the meat at the end, where it is least"
    return [
        judge(
            "salt in the water of the meat",
            100 * least,
            ">=",
            100 * row.si,
            "%",
            what,
            row.source,
            row.how,
            remark,
            otherwise="unknown",
        )
    ]


def _days(kept: _Kept) -> list[Verdict]:
    """Old rules of days per pound, as information: they were made for hams in cures that end too salty, by the clock."""
    pounds = max(units.convert(piece.weight, "mass", "lb") for piece in kept.history.pieces)
    limit, found = kept.numbers.si("taste.too_salty"), []
    history = kept.history
    for wet, rule_id, name in ((True, "FB2265-01", "days in brine"), (False, "CLEM-03", "days in dry cure")):
        own = [n for n, stage in enumerate(history.stages) if stage.cures and stage.wet == wet and history.has(n)]
        if not any(history.resting("salt", n, piece) > limit for n in own for piece in range(len(history.pieces))):
            continue
        per_pound, source, how = _rule(rule_id, 0)
        spent = history.time_in(own) / units.DAY
        reason = (
            f"For information: {spent:.3g} d in cure; an old rule for hams, {per_pound:g} days per pound, would have "
            f"{per_pound * pounds:.3g} d. It knows weight, not thickness: look at the core."
        )
        found.append(unknown(name, reason, source, how, per_pound * pounds, "d"))
    return found


def _soak_time(kept: _Kept) -> list[Verdict]:
    """Within the printed minutes, or cold, is a pass; hours in water warmer than a fridge is a fail; between, unknown."""
    spans, ends = kept.soaking
    if not len(spans):
        return []
    per_day, source, how = _rule("FB2265-08")
    cold, _, _ = _fahrenheit("FB2265-06")
    history = kept.history
    cured = history.time_in([n for n, stage in enumerate(history.stages) if stage.cures]) / units.DAY
    most, from_here = kept.numbers["protection.soak_hours"], kept.numbers.si("protection.soak_cold")
    hours = _seconds_above(spans, ends, from_here * (1 + 1e-9)) / units.HOUR
    if hours > most.si / units.HOUR * (1 + ROUNDING):
        what = f"soaked above {_celsius(from_here):.2g} degC"
        remark = "Soak in the fridge, or shorter."
        return [judge("soak time", hours, "<=", most.si / units.HOUR, "h", what, most.source, most.how, remark)]
    minutes = _seconds_above(spans, ends, cold * (1 + 1e-9)) / 60
    allowed = min(per_day * cured, most.si / 60)
    what = f"soaked above {_celsius(cold):.2g} degC after {cured:.3g} d in cure"
    remark = (
        "" if minutes <= allowed else f"The rule is {per_day:g} min per day in cure: soak in the fridge, or shorter."
    )
    return [judge("soak time", minutes, "<=", allowed, "min", what, source, how, remark, otherwise="unknown")]


def _soak_water(kept: _Kept) -> list[Verdict]:
    spans, ends = kept.soaking
    if not len(spans):
        return []
    limit, source, how = _fahrenheit("FB2265-08w")
    return [
        judge(
            "soak water",
            _celsius(float(ends.max())),
            "<=",
            _celsius(limit),
            "°C",
            "warmest soak water",
            source,
            how,
        )
    ]
