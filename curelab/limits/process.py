"""Checks of how a batch was kept: cold, time, salt and nitrite throughout, soaks. What was done, not what was
weighed.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .. import units
from ..engine.history import History
from ..matter import brine
from ..recipe.stages import Stage
from ..recipe.times import COLD
from ..sources import Numbers, default_numbers, printed_rule
from .exposure import uncovered_time
from .protection import UNPROTECTED, WARM, check_protection
from .verdict import ROUNDING, Verdict, Verdicts, judge, short, undecided, unknown


@dataclass(frozen=True)
class _Kept:
    """A history to be checked, and what several checks ask of it, worked out once."""

    history: History
    numbers: Numbers
    system: str = "metric"
    now: float | None = None

    def shown(self, kelvin: float) -> str:
        """A temperature in the units of the batch."""
        return units.show(kelvin, "temperature", self.system)

    def told(self, celsius: float) -> str:
        """The same of degC."""
        return self.shown(celsius + 273.15)

    @cached_property
    def curing(self) -> tuple[np.ndarray, np.ndarray]:
        return _warmth(self.history, lambda stage: not stage.heats and (stage.cures or not stage.wet))

    @cached_property
    def soaking(self) -> tuple[np.ndarray, np.ndarray]:
        return _warmth(self.history, lambda stage: stage.desalts)

    @cached_property
    def uncovered(self) -> float:
        return uncovered_time(self.history, self.numbers, self.now)

    def as_logged(self, verdict: Verdict) -> Verdict:
        """The verdict, but no pass where the fridge log has holes."""
        if not self.uncovered:
            return verdict
        said = f"The fridge log leaves {units.show(self.uncovered, 'time')} uncovered, so nobody knows how warm it was."
        return undecided(verdict, said)


def check_process(
    history: History, numbers: Numbers | None = None, system: str = "metric", now: float | None = None
) -> Verdicts:
    """Process checks in the order of the kitchen; rules from `trade_rules.csv` and `keeping.csv`, rows `growth.*`, `protection.*`.

    Fail: do not eat it without changing this. Unknown: nothing here vouches for it. Meat kept cold (FB2265-06), by hours, and not frozen; a cure
    without nitrite; what protects the meat where it is least (`protection`); length and warmth of soaks (FB2265-08). Days per pound are told
    as information, for cures that end too salty only. A fridge log with holes leaves cold and protection unknown at best; what comes after `now`
    [s since the start; None: all of it is over] is no hole. `system`: units of the sentences, "metric" or "us".
    """
    kept = _Kept(history, numbers or default_numbers(), system, now)
    checks: tuple[Callable[[_Kept], list[Verdict]], ...] = (
        _kept_cold,
        _not_too_cold,
        _no_nitrite,
        _protection,
        _days,
        _soak_time,
        _soak_water,
    )
    return Verdicts(verdict for check in checks for verdict in check(kept))


def _rule(rule_id: str, which: int = -1) -> tuple[float, str, str]:
    """(number, source, how) of a trade rule; `which` of the numbers in a range such as "36-40"."""
    row = printed_rule("trade_rules.csv", rule_id)
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
    """Hours above 40 degF: few are a door that stood open, a day breaks the rule, between is asked."""
    spans, ends = kept.curing
    if not len(spans):
        return []
    limit, source, how = _fahrenheit("FB2265-06")
    few, most = kept.numbers["protection.warm_hours"], kept.numbers["protection.warm_day"]
    above = _seconds_above(spans, ends, limit * (1 + 1e-9))
    warmest, mark = kept.shown(float(ends.max())), kept.shown(limit)
    outcome = "pass" if above <= few.si * (1 + ROUNDING) else "unknown" if above <= max(few.si, most.si) else "fail"
    said = f"Warmest while curing: {warmest}, at most {mark}"
    if above:
        said += f" but for {units.show(few.si, 'time')}: it was above for {units.show(above, 'time')}"
    if outcome != "pass":
        said += f". Keep it at {COLD[kept.system]}"
    margin = None if outcome == "unknown" else (few.si - above) / units.HOUR
    found = Verdict("kept cold", outcome, above / units.HOUR, few.si / units.HOUR, "h", margin, f"{said}.", source, how)
    return [kept.as_logged(found)]


def _not_too_cold(kept: _Kept) -> list[Verdict]:
    """Ice is a fail: in the raw middle, or in a brine that freezes before it does. A dry cure below 34 degF is asked (CLEM-04)."""
    spans, ends = kept.curing
    if not len(spans):
        return []
    row, history = kept.numbers["freezing.meat"], kept.history
    coldest, ice = float(ends.min()), row.si
    for ran in history.ran:
        if history.stages[ran.stage].cures and history.stages[ran.stage].wet and ran.length > 0:
            weakest = float(np.min(history.bath("salt", np.linspace(ran.begin, ran.end, 9)[1:])))
            ice = max(ice, float(brine.freezing_point(min(weakest, brine.EUTECTIC))))
    slow, source, how = _fahrenheit("CLEM-04")
    dry = _warmth(history, lambda stage: stage.cures and not stage.wet)
    below = _seconds_above(dry[0], -dry[1], -slow * (1 - 1e-9))
    what = "coldest while curing"
    if coldest >= ice and below:
        remark = f"A dry cure stops below that, by this rule, and the model counts on: add {units.show(below, 'time')}."
        coldest = float(dry[1].min())
        return [
            judge(
                "not too cold",
                _celsius(coldest),
                ">=",
                _celsius(slow),
                "°C",
                what,
                source,
                how,
                remark,
                otherwise="unknown",
                told=kept.told,
            )
        ]
    frozen = _seconds_above(spans, -ends, -ice)
    remark = (
        f"Ice forms below that, and stops the cure: it lay so for {units.show(frozen, 'time')}; add those days."
        if coldest < ice
        else ""
    )
    return [
        judge(
            "not too cold",
            _celsius(coldest),
            ">=",
            _celsius(ice),
            "°C",
            what,
            row.source,
            row.how,
            remark,
            told=kept.told,
        )
    ]


def _no_nitrite(kept: _Kept) -> list[Verdict]:
    cures = [stage for stage in kept.history.stages if stage.cures]
    grams = [stage.put_in for stage in cures]
    if any(one.nitrite for one in grams if one):
        return []
    if not cures:
        what = "no cure at all"
    elif any(one.nitrate for one in grams if one):
        what = "only nitrate in this cure, which may or may not become nitrite"
    else:
        what = "no nitrite in this cure"
    reason = (
        f"There is {what}: only cold, salt and a short time keep it. Keep it at {COLD[kept.system]}, and cook it well."
    )
    row = kept.numbers["growth.nonproteolytic.water_phase_salt"]
    return [unknown("nitrite in the cure", reason, row.source, row.how)]


def _protection(kept: _Kept) -> list[Verdict]:
    return [
        kept.as_logged(verdict) if verdict.name in (UNPROTECTED, WARM) else verdict
        for verdict in check_protection(kept.history, kept.numbers, kept.system)
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
            f"For information: {spent:.0f} days in cure. An old rule for hams, {per_pound:g} days per pound, would have "
            f"{per_pound * pounds:.0f}. It knows weight, not thickness: look at the core."
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
        what = f"soaked above {kept.shown(from_here)}"
        remark = "Soak in the fridge, or shorter."
        return [judge("soak time", hours, "<=", most.si / units.HOUR, "h", what, most.source, most.how, remark)]
    minutes = _seconds_above(spans, ends, cold * (1 + 1e-9)) / 60
    allowed = min(per_day * cured, most.si / 60)
    what = f"soaked above {kept.shown(cold)} after {cured:.3g} d in cure"
    remark = (
        "" if minutes <= allowed else f"The rule is {per_day:g} min per day in cure: soak in the fridge, or shorter."
    )
    told = lambda count: f"{short(count)} min"  # noqa: E731
    return [
        judge("soak time", minutes, "<=", allowed, "min", what, source, how, remark, otherwise="unknown", told=told)
    ]


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
            told=kept.told,
        )
    ]
