"""Come-up, cooling, hot holding and reheating at one place, against printed spans: so long at most between two temperatures.

The cooling limits of the state food codes and of California were read. The federal stabilization guideline of 2021 was not; what is known of
it comes from its 1999 edition, reprinted by others, and from Canada. Such a limit can fail and can ask, but never pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from .. import units
from ..fields import InputError, Problem
from ..sources import read_table
from .curve import SLACK, Curve, Span, worst
from .lethality import DEFER
from .verdict import ROUNDING, Verdict, Verdicts, judge, led, undecided, unknown

RETAIL, SLOW = "the food code", "California's slow cooling"  # options of heat_rules.csv
ORDER = ("pass", "unknown", "fail")
STEADY = 0.5  # K by which meat may grow warmer again and still cool all the time (judgement)
HOT_LONG = 15.0  # s that all parts must have been at the end of reheating: printed beside its row of heat_rules.csv


@dataclass(frozen=True)
class Rule:
    """A printed span: at most `seconds` between `begin` and `end` [K]; `nitrite` (ingoing, kg/kg) and `brine` (salt in the water) it asks for."""

    rule_id: str
    kind: str
    option: str
    holds_for: str
    begin: float
    end: float | None
    seconds: float | None
    nitrite: float | None
    brine: float | None
    source: str
    how: str

    @property
    def words(self) -> str:
        return f"{units.show(self.begin, 'temperature')} to {units.show(self.end, 'temperature')}" if self.end else ""


@dataclass(frozen=True)
class Cured:
    """What slow cooling rests on: ingoing nitrite [kg NaNO2 per kg green weight] and salt in the water of the meat, both where it has least."""

    nitrite: float
    brine: float

    def __post_init__(self):
        problems = [
            Problem(name, f"{value:g} is no fraction; give kg per kg, 120 ppm is 0.00012")
            for name, value in (("nitrite", self.nitrite), ("brine", self.brine))
            if not 0 <= value <= 1
        ]
        if problems:
            raise InputError(problems)

    def meets(self, rule: Rule) -> bool:
        """Whether it has what a rule asks for."""
        enough = lambda have, asked: asked is None or have >= asked * (1 - ROUNDING)  # noqa: E731
        return enough(self.nitrite, rule.nitrite) and enough(self.brine, rule.brine)


@cache
def rules(kind: str) -> tuple[Rule, ...]:
    """The rows of heat_rules.csv of a kind: "come-up", "cooling", "holding" or "reheating"."""
    degrees = lambda text: units.read(f"{text} degF", "temperature") if text else None  # noqa: E731
    share = lambda text, unit: units.read(f"{text} {unit}", "fraction") if text else None  # noqa: E731
    return tuple(
        Rule(
            row["rule_id"], row["kind"], row["option"], row["holds_for"], degrees(row["from_F"]) or 0.0, degrees(row["to_F"]),
            units.read(f"{row['hours']} h", "time") if row["hours"] else None,
            share(row["least_nitrite_ppm"], "ppm"), share(row["least_brine_percent"], "%"), row["source"], row["how"],
        )
        for row in read_table("heat_rules.csv") if row["kind"] == kind
    )  # fmt: skip


def check_come_up(curves: Curve | Sequence[Curve]) -> Verdict:
    """All hours between 10 and 54.4 degC of the slowest of `curves`, until it first came to 54.4, against the federal 6 h. They are added up: a
    cold smoke counts, and meat that grew cold again after it starts no new account, for toxin stays.
    """
    (rule,) = rules("come-up")
    assert rule.end is not None and rule.seconds is not None
    low, high = rule.begin, rule.end - SLACK
    curve = worst(curves, lambda each: _longest(_warm(each, low, high)))
    span = _warm(curve, low, high)
    if not span.done and span.seconds <= rule.seconds:
        reason = (
            f"{curve.place.capitalize()} never came to {units.show(rule.end, 'temperature')}: it is not cooked. {DEFER}"
        )
        return replace(
            unknown("come-up", reason, rule.source, rule.how, rule.seconds / units.HOUR, "h"), outcome="fail"
        )
    what = f"time from {rule.words} at {curve.place}, in all before it was hot"
    remark = "" if span.done else "It had not come there by then."
    if span.seconds > rule.seconds:
        remark += (
            " Staphylococcus may have made a toxin that no cooking destroys: cut smaller, smoke less, or start hotter."
        )
    return judge(
        "come-up", span.seconds / units.HOUR, "<=", rule.seconds / units.HOUR, "h", what, rule.source, rule.how,
        f"{remark} {DEFER}".strip(),
    )  # fmt: skip


def _warm(curve: Curve, low: float, high: float) -> Span:
    """All that a curve was above `low` [K] before it first came to `high`."""
    until = curve.until(high)
    before = curve if until is None else curve.part(float(curve.times[0]), max(until, float(curve.times[0]) + 1e-3))
    return Span(before.above(low + SLACK), until is not None)


def _longest(span: Span) -> float:
    """An order of passages: one that did not end is longer than any that did."""
    return span.seconds if span.done else span.seconds + 1e9


@dataclass(frozen=True)
class _Fit:
    """How a curve does under one option: the rule that binds, its passage, whether it cooled all the time, and whether it was only warmed again."""

    option: str
    rule: Rule
    span: Span
    steady: bool = True
    again: bool = False

    @property
    def what(self) -> str:
        """What took its time."""
        warm = f"warm again, above {units.show(self.rule.end or 0.0, 'temperature')},"
        return warm if self.again else f"cooling from {self.rule.words}"

    @property
    def share(self) -> float:
        """Of the time that is allowed; what did not end counts as it stands."""
        return self.span.seconds / (self.rule.seconds or 1.0)

    @property
    def outcome(self) -> str:
        if self.share > 1 + ROUNDING:
            return "fail"
        return "pass" if self.span.done and self.steady else "unknown"


def _binding(curve: Curve, option: str, spans: Sequence[Rule], whole: bool) -> _Fit:
    """The span of an option that a curve does worst in."""
    fits = [
        _Fit(
            option,
            rule,
            curve.falling(rule.begin, rule.end or 0.0, whole),
            option != SLOW or _steady(curve, rule.begin, whole),
            whole and curve.hottest < rule.begin,
        )
        for rule in spans
    ]
    return max(fits, key=lambda fit: (ORDER.index(fit.outcome), fit.share))


def check_cooling(curves: Curve | Sequence[Curve], cured: Cured | None = None, whole: bool = False) -> Verdicts:
    """The cooling of the slowest of `curves`, from the end of cooking to the end of the chill, against printed limits. `whole`: of cooked meat that
    is warmed again without becoming hot, from the start of the curve.

    Three checks: the food code of kitchens that sell (read); the federal options (second-hand: never a pass); with `cured`, California's slow
    cooling (read) for cured meat that has the nitrite and salt it asks for. They are alternatives: too slow for one is a fail only where no other
    that was read is kept; else it is unknown. A chill that has not ended is unknown until it is too long.
    """
    begin, end = _widest()
    curve = worst(curves, lambda each: (each.falling(begin, end, whole).seconds, each.last))
    options: dict[str, list[Rule]] = {}
    for rule in rules("cooling"):
        if rule.holds_for == "any" or cured:
            options.setdefault(rule.option, []).append(rule)
    slow, retail = options.pop(SLOW, []), options.pop(RETAIL)
    found = [("cooling, food code", _binding(curve, RETAIL, retail, whole), ""), _federal(curve, options, cured, whole)]
    met = [rule for rule in slow if cured and cured.meets(rule)]
    if met:
        found.append(
            ("cooling, slow for cured meat", _binding(curve, SLOW, met[:1], whole), "It must cool all the time.")
        )
    kept = [fit.option for _, fit, _ in found if fit.outcome == "pass" and fit.rule.how == "seen"]
    verdicts = [_said(curve, name, fit, remark, kept) for name, fit, remark in found]
    return Verdicts([*verdicts, *([_too_little(slow, cured)] if slow and cured and not met else [])])


def _widest() -> tuple[float, float]:
    spans = rules("cooling")
    return max(rule.begin for rule in spans), min(rule.end or 0.0 for rule in spans)


def _federal(curve: Curve, options: dict[str, list[Rule]], cured: Cured | None, whole: bool) -> tuple[str, _Fit, str]:
    """The federal option that a curve does best in, of those that this meat may use."""
    fits = [
        _binding(curve, name, spans, whole)
        for name, spans in options.items()
        if all(cured.meets(rule) if cured else not rule.nitrite for rule in spans)
    ]
    best = min(fits, key=lambda fit: (ORDER.index(fit.outcome), fit.share))
    remark = f"By {best.option}, the one it comes nearest to."
    if best.rule.nitrite:
        remark += " The guideline of 2021 may also ask for ascorbate or erythorbate in the cure (memory)."
    return "cooling, federal stabilization", best, remark


def _said(curve: Curve, name: str, fit: _Fit, remark: str, kept: Sequence[str]) -> Verdict:
    """The verdict on one option. `kept`: the options that were read and are kept."""
    hours, limit = fit.span.seconds / units.HOUR, (fit.rule.seconds or 0.0) / units.HOUR
    source, how, what = fit.rule.source, fit.rule.how, f"{fit.what} at {curve.place}"
    remark = f"{remark} {DEFER}".strip()
    if fit.outcome == "unknown" and fit.span.done:
        reason = f"It grew warmer again on the way at {curve.place}, and this limit is for meat that cools all the time. {remark}"
        return unknown(name, reason, source, how, limit, "h")
    if fit.outcome == "unknown":
        reason = (
            f"The chill ends at {units.show(curve.last, 'temperature')} at {curve.place}. Cooling from {fit.rule.words} is not done. "
            f"So far it took {hours:.1f} of {limit:g} h. {remark}"
        )
        return unknown(name, reason, source, how, limit, "h")
    if fit.outcome == "fail" and not kept:
        remark = f"If this has happened, throw it away. Next time cut smaller or chill in ice water. {remark}"
    found = judge(name, hours, "<=", limit, "h", what, source, how, remark)
    if fit.outcome == "fail" and kept:
        said = led(f"Too slow for this, quick enough for {kept[0]}:", found.sentence)
        return replace(found, outcome="unknown", margin=None, sentence=said)
    if how != "seen":
        return undecided(
            found,
            "Ask who inspects you: this chill is quick enough by a guideline that was not read itself.",
        )
    return found


def _steady(curve: Curve, begin: float, whole: bool) -> bool:
    """Whether it only cools, once it was last at `begin` [K], or at its hottest; of a `whole` curve that never was so hot, from the start."""
    hot = np.flatnonzero(curve.kelvin >= min(begin, float(curve.kelvin[0]) if whole else curve.hottest))
    if whole and curve.hottest < begin:
        hot = hot[:1]
    after = curve.kelvin[int(hot[-1]) :]
    return bool(np.all(after - np.minimum.accumulate(after) <= STEADY))


def _too_little(spans: Sequence[Rule], cured: Cured) -> Verdict:
    """Slow cooling of cured meat that has not the nitrite and salt for it."""
    pairs = " or ".join(
        f"{units.show(rule.nitrite or 0, 'fraction')} with {units.show(rule.brine or 0, 'fraction')}" for rule in spans
    )
    reason = (
        f"Chill it by the quick limits: to cool slowly it would need nitrite and salt in its water ({pairs}). It has "
        f"{units.show(cured.nitrite, 'fraction')} with {units.show(cured.brine, 'fraction')} where it has least. {DEFER}"
    )
    limit = (spans[0].seconds or 0.0) / units.HOUR
    return unknown("cooling, slow for cured meat", reason, spans[0].source, spans[0].how, limit, "h")


def check_holding(curves: Curve | Sequence[Curve], by_the_table: bool = False) -> Verdict:
    """Hot holding: the coldest moment of `curves` against 135 degF, or 130 degF for a roast that was cooked by the table.

    `curves` cover the holding alone. Raises InputError for none.
    """
    rule = rules("holding")[1 if by_the_table else 0]
    curve = worst(curves, lambda each: -float(each.kelvin.min()))
    coldest, least = (units.convert(each, "temperature", "degC") for each in (float(curve.kelvin.min()), rule.begin))
    remark = "Colder than that, spores that outlive cooking grow. It dries out, and steam burns."
    return judge(
        "hot holding",
        coldest,
        ">=",
        least,
        "°C",
        f"coldest while held at {curve.place}",
        rule.source,
        rule.how,
        f"{remark} {DEFER}",
    )


def check_reheating(curves: Curve | Sequence[Curve]) -> Verdict:
    """Reheating for hot holding: all parts at 165 degF for 15 s, within 2 h from 41 degF. `curves` cover the reheating alone."""
    (rule,) = rules("reheating")
    assert rule.end is not None and rule.seconds is not None
    end = rule.end
    curve = worst(curves, lambda each: (-each.longest(end - SLACK), _longest(each.rising(rule.begin, end))))
    held, span = curve.longest(end - SLACK), curve.rising(rule.begin, end - SLACK)
    if held < HOT_LONG:
        hottest, least = (units.convert(each, "temperature", "degC") for each in (curve.hottest, end))
        short = f"and {held:.0f} s there, of {HOT_LONG:.0f}" if curve.hottest >= end - SLACK else ""
        remark = f"{short} To be eaten at once, or cold, it needs no such heat. {DEFER}".strip()
        found = judge(
            "reheating", hottest, ">=", least, "°C", f"hottest at {curve.place}", rule.source, rule.how, remark
        )
        if found.outcome == "pass":
            found = undecided(found, "There for too short a time:")
        return found
    what = f"warming from {rule.words} at {curve.place}"
    return judge(
        "reheating", span.seconds / units.HOUR, "<=", rule.seconds / units.HOUR, "h", what, rule.source, rule.how, DEFER
    )
