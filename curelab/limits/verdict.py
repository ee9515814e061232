"""One check with its outcome: pass, fail or unknown, and all that a reader needs to doubt it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Protocol

from ..results import Shown

OUTCOMES = ("fail", "unknown", "pass")
SIGNS = {"fail": "NOT OK", "unknown": "CANNOT SAY", "pass": "ok"}  # on paper and on every page
DISCARD = "Do not do this. If it has happened, throw the meat away; cooking does not make it safe."
SURE = 0.9  # of the simulated batches: what holds less often is not promised (judgement)
SOME = 0.25  # of the simulated batches in which something does, from which it is a chance and not an error (judgement)
ROUNDING = 5e-4
"""Relative slack at a limit: printed pairs such as 80 mg/kg of ion and 120 mg/kg of NaNO2 agree no better
than 2e-4, and a target set right on a limit must not fail by arithmetic (judgement).
"""

_CAVEAT = {
    "second-hand": "Limit read second-hand.",
    "memory": "Limit from memory, not confirmed.",
    "judgement": "The limit is a judgement, not a rule.",
    "common practice": "Limit by common practice, no source.",
}


@dataclass(frozen=True)
class Verdict:
    """A check: `statistic` against `limit` in `unit`, `margin` (positive on the good side; None when
    unknown), and where it is from.

    how: "seen", "derived", "second-hand", "memory", "judgement" or "common practice"; anything but the
    first two is said in the sentence.
    """

    name: str
    outcome: str
    statistic: float | None
    limit: float | None
    unit: str
    margin: float | None
    sentence: str
    source: str
    how: str

    @property
    def counts_as_pass(self) -> bool:
        """True for a pass only; unknown never counts as one."""
        return self.outcome == "pass"

    def __str__(self) -> str:
        return f"{self.outcome}: {self.name}: {self.sentence}"


class Verdicts(Shown, tuple[Verdict, ...]):
    """Verdicts in order: a tuple that shows itself as a table."""

    def lines(self) -> list[str]:
        counts = ", ".join(f"{sum(each.outcome == outcome for each in self)} {outcome}" for outcome in OUTCOMES)
        return [f"{len(self)} checks: {counts}", *(str(each) for each in worst_first(self) if not each.counts_as_pass)]

    def rows(self) -> list[dict[str, Any]]:
        return [asdict(each) for each in self]


def judge(
    name: str,
    statistic: float,
    sign: str,
    limit: float,
    unit: str,
    what: str,
    source: str,
    how: str,
    remark: str = "",
    otherwise: str = "fail",
    group: str = "",
    told: Callable[[float], str] | None = None,
) -> Verdict:
    """Pass if `statistic` `sign` `limit` ("<=" or ">="), else `otherwise` ("fail", or "unknown" where missing
    a mark proves nothing); a limit that rests on memory asks and never fails. `group`: the products the limit is
    printed for; `told`: puts a figure with its unit into words, where the sentence has other units than the record.

    A statistic that is not a number is unknown. Raises ValueError for another sign.

    >>> judge("days", 9.0, ">=", 10.0, "d", "days in cure", "a table", "seen").sentence
    'Days in cure: 9 d, at least 10.'
    """
    if sign not in ("<=", ">="):
        raise ValueError(f"sign {sign!r} must be <= or >=")
    margin = limit - statistic if sign == "<=" else statistic - limit
    if margin != margin:
        return unknown(name, f"{what} is not known. {remark}".strip(), source, how, limit, unit)
    good = margin >= -ROUNDING * abs(limit)
    asked = "at most" if sign == "<=" else "at least"
    if told is not None:
        shown, mark = told(statistic), told(limit)
    else:
        shown, mark = f"{short(statistic)} {unit}", short(limit)
        if not good and short(statistic) == mark:
            shown, mark = f"{statistic:.6g} {unit}", f"{limit:.6g}"
    if how == "memory" and otherwise == "fail":
        otherwise = "unknown"
    said = f"{what[:1].upper()}{what[1:]}: {shown}, {asked} {mark}{group and f' for {group}'}."
    said = caveat(" ".join(part for part in (said, remark) if part), how)
    return Verdict(
        name,
        "pass" if good else otherwise,
        statistic,
        limit,
        unit,
        margin if good or otherwise == "fail" else None,
        said,
        source,
        how,
    )


def caveat(said: str, how: str) -> str:
    """A sentence, and behind it how the limit is known where that is not plain."""
    return " ".join(part for part in (said, _CAVEAT.get(how, "")) if part)


def unknown(name: str, reason: str, source: str, how: str, limit: float | None = None, unit: str = "") -> Verdict:
    """A check that could not be made, with the reason."""
    return Verdict(name, "unknown", None, limit, unit, None, caveat(reason, how), source, how)


def undecided(verdict: Verdict, reason: str) -> Verdict:
    """A pass turned into unknown, with the reason put first, as in `led`; any other verdict as it is."""
    if verdict.outcome != "pass":
        return verdict
    return replace(verdict, outcome="unknown", margin=None, sentence=led(reason, verdict.sentence))


def led(lead: str, sentence: str) -> str:
    """A sentence behind what leads to it, as one with it where that ends with a colon; that meat is to be thrown away stays first."""
    first = f"{DISCARD} " if sentence.startswith(DISCARD) else ""
    rest = sentence.removeprefix(first)
    return f"{first}{lead} {rest[:1].lower() + rest[1:] if lead.endswith(':') else rest}"


class Often(Protocol):
    """Shares of the simulated batches in which a check passes and fails, and its verdict in one in which it does not pass, a fail if there is one."""

    @property
    def passes(self) -> float: ...

    @property
    def fails(self) -> float: ...

    @property
    def missed(self) -> Verdict | None: ...


def in_draws(verdicts: Iterable[Verdict], chances: Mapping[str, Often]) -> Verdicts:
    """Verdicts, worst first, held against simulated batches, `chances` by name: one that fails in more than SOME of them is a fail, a pass that is
    one in fewer than SURE is unknown. Both tell the figures of a batch that misses.
    """
    return worst_first(_in_draws(each, chances[each.name]) if each.name in chances else each for each in verdicts)


def _in_draws(verdict: Verdict, chance: Often) -> Verdict:
    if verdict.outcome != "fail" and chance.fails > SOME:
        outcome, lead = "fail", f"Not ok in {10 * chance.fails:.0f} of 10 simulated batches"
    elif verdict.outcome == "pass" and chance.passes < SURE:
        met = round(10 * chance.passes)
        often = f"only {met}" if met < 10 * SURE else f"fewer than {10 * SURE:.0f}"
        outcome, lead = "unknown", f"Ok in {often} of 10 simulated batches"
    else:
        return verdict
    lead += ":" if chance.missed is None else "; in another:" if outcome == "unknown" else "; in one of them:"
    told = chance.missed or verdict
    said = (
        told.sentence if outcome == "fail" else told.sentence.removeprefix(f"{DISCARD} ")
    )  # what may be so is no order
    return replace(told, outcome=outcome, margin=None, sentence=led(lead, said))


_DEGREES = re.compile(r"(-?\d+(?:\.\d+)?) °C(?:(, at (?:least|most) )(-?\d+(?:\.\d+)?))?(?! \(-?\d+ °F)")


def in_degrees(sentence: str, system: str) -> str:
    """A sentence with its temperatures in the degrees of a system, a limit that shares the sign of the figure before it included.

    >>> in_degrees("Hottest at the middle: 75 °C, at least 70. From 54.4 °C on.", "us")
    'Hottest at the middle: 167 °F, at least 158. From 130 °F on.'
    """
    if system == "metric":
        return sentence

    def one(found: re.Match[str]) -> str:
        figure, limit = (_fahrenheit(each) if each else "" for each in found.group(1, 3))
        return f"{figure} °F{found[2] or ''}{limit}"

    return _DEGREES.sub(one, sentence)


def _fahrenheit(celsius: str) -> str:
    """The number in degrees F, whole where it was printed whole or is as good as whole."""
    exact = 1.8 * float(celsius) + 32.0
    return f"{exact:.0f}" if "." not in celsius or abs(exact - round(exact)) < 0.15 else f"{exact:.1f}"


def worst_first(verdicts: Iterable[Verdict]) -> Verdicts:
    """Fail, then unknown, then pass; otherwise in the order given."""
    return Verdicts(sorted(verdicts, key=lambda verdict: OUTCOMES.index(verdict.outcome)))


def short(value: float) -> str:
    """Three digits below a hundred, else whole; what is next to nothing is called so."""
    if 0 < abs(value) < 1e-3:
        return "almost 0"
    return f"{value:.3g}" if abs(value) < 100 else f"{value:.0f}"
