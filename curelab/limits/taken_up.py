"""What the model lets in, against what a rule says must and may go in."""

from __future__ import annotations

from functools import cache

import numpy as np

from ..engine.history import History
from .rule_sets import Limit, find, picks
from .verdict import ROUNDING, Verdict, Verdicts, judge

NEARLY_ALL = 0.9  # of what a cure brings in: where a cook calls it taken up (judgement; as recipe.criterion has it)


def check_taken_up(history: History, rule_set: str = "US", product: str = "cured meat") -> Verdicts:
    """What must and what may go in against what the model lets in: as added, average of a piece at its highest point;
    the piece with the least against the least, the piece with the most against the most.

    Rules count by a formula. It supposes enough days, so a piece lifted too soon can pass `check_ingoing` and hold far
    less: short of nearly all that its cure brings in is unknown, not fail, as the rule does not count this way. It may also count too little,
    when a pick-up is declared that diffusion does not keep to: above the most is a fail, for that is in the meat.
    """

    @cache
    def peaks(agent: str) -> list[float]:
        return [float(history.average(agent, history.times, piece.name).max()) for piece in history.pieces]

    found = []
    wet = any(stage.cures and stage.wet for stage in history.stages)
    for pick in picks(rule_set, product):
        if not pick.kind.endswith("ingoing") or pick.process not in ("", "immersion" if wet else "dry"):
            continue
        limit = find(pick)
        name, held = f"{rule_set} {limit.agent}", peaks(pick.agent)
        if pick.kind == "min_ingoing":
            most = [
                find(each)
                for each in picks(rule_set, product)
                if each[:3] == (pick.agent, "max_ingoing", "immersion" if wet else "dry")
            ]
            found += _least_taken_up(history, limit, name, held, most[0].value if most else np.inf)
        else:
            found += _most_taken_up(limit, name, held)
    return Verdicts(found)


def _most_taken_up(limit: Limit, name: str, peaks: list[float]) -> list[Verdict]:
    value = limit.on_its_basis(max(peaks))
    if not value:
        return []
    remark = "Do not eat it like this: use less, or take it out sooner." if value > limit.value else ""
    unit, what = f"mg/kg as {limit.ion_or_salt}", f"{limit.agent} taken up"
    return [
        judge(
            f"{name}, most, as simulated",
            value,
            "<=",
            limit.value,
            unit,
            what,
            limit.source,
            limit.how,
            remark,
            group=limit.product_class,
        )
    ]


def _least_taken_up(history: History, limit: Limit, name: str, peaks: list[float], most: float) -> list[Verdict]:
    """The piece that has the smallest share of what its cure brings in: in order where it has the limit itself, or nearly all that comes in,
    for then the formula decides. `most`: what may go in; where the cure ends above it, more time is no help.
    """
    headings = [_heading(history, limit.agent, piece) for piece in range(len(peaks))]
    shares = [peak / heading if heading > 0 else np.inf for peak, heading in zip(peaks, headings, strict=True)]
    number = int(np.argmin(shares))
    value, heading = limit.on_its_basis(peaks[number]), limit.on_its_basis(headings[number])
    if not heading:
        return []
    unit, asked = f"mg/kg as {limit.ion_or_salt}", min(limit.value, NEARLY_ALL * heading)
    what = f"{limit.agent} taken up by the {history.pieces[number].name} (of {heading:.0f} that this cure brings in)"
    remark = "The rule counts by a formula, this is a model."
    if value < asked:
        help_ = "Leave it longer, cold, or cut it thinner."
        if heading > most * (1 + ROUNDING):
            help_ = f"Do not leave it in longer, for it goes on beyond {most:.0f}: use a brine with less."
        remark = f"{help_} {remark} Never add cure to a tub by eye."
    return [
        judge(
            f"{name}, least, as simulated",
            value,
            ">=",
            asked,
            unit,
            what,
            limit.source,
            limit.how,
            remark,
            otherwise="unknown",
        )
    ]


def _heading(history: History, agent: str, piece: int) -> float:
    """kg/kg of green weight as added, on average, that the baths of a history would bring a piece to if they never ended: the most of them."""
    found = [0.0]
    for ran in history.ran:
        if history.stages[ran.stage].cures and not ran.stretch.sealed and ran.length > 0:
            share = float(history.average(agent, ran.end, piece, "equilibrium"))
            if share > 0:
                found.append(float(history.average(agent, ran.end, piece)) / share)
    return max(found)
