"""Verdicts against named rule sets, and the usual cautions. A tool's opinion: local code and licensed
practice go before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace

from ..history import History
from ..piece import Piece
from ..sources import Numbers
from ..stages import Brine, SealedCure
from ..weighing.methods import Solutes, ingoing_table, pickle_weight
from .process import check_process
from .rule_sets import RULE_SETS, Limit, find, picks
from .verdict import ROUNDING, Verdict, judge, unknown, worst_first

CAUTIONS = (
    "Nitrite poisons when it is over-measured, and a small child needs little. Weigh the cure mix on a "
    "fine scale; do not spoon it.",
    "Keep cure mix in its labelled bag, apart from table salt, locked away from children.",
    "A batch with too much cure in it is thrown away, not rinsed and not eaten.",
    "Keep the meat below 4 degC from the first minute to the last. Botulism gives no smell and no taste.",
    "Cured is not cooked: cook to a safe core temperature, and cool fast what is left.",
    "The figures here are estimates with wide bands. The code of your place and licensed practice go before this tool.",
)


def check_ingoing(
    made: Solutes | Sequence[Solutes],
    pieces: Piece | Sequence[Piece],
    rule_set: str = "US",
    product: str = "cured meat",
    method: str | None = None,
    pick_up: float | None = None,
    numbers: Numbers | None = None,
) -> tuple[Verdict, ...]:
    """What goes in against what may and must go in, mg/kg of green weight on each rule's own basis.

    `made`: a Weighed, Bath or SealedCure, or several used one after the other, whose amounts are added up.
    `method`: "equilibrium" (default for a brine), "pick-up" (give `pick_up`) or "water phase"; a dry cure
    is counted dry. A brine and a dry cure together are held to the limit for immersion. Raises ValueError
    for an unknown rule set, product or method.

    >>> from curelab import Bath
    >>> point = Piece(thickness="6 cm", weight="1 kg")
    >>> for verdict in check_ingoing(Bath(water="1 kg", salt="40 g", nitrite="490 mg"), point):
    ...     print(verdict.name, verdict.outcome)
    US nitrite, most fail
    US nitrite, least pass
    US nitrate, most pass
    """
    several = tuple(made) if isinstance(made, (list, tuple)) else (made,)
    wet = any(pickle_weight(one) for one in several)
    if method not in (None, "equilibrium", "pick-up", "water phase", "dry"):
        raise ValueError(f'method "{method}" is not one of equilibrium, pick-up, water phase, dry')
    found = []
    rows = picks(rule_set, product)
    for agent in ("nitrite", "nitrate"):
        by_method, value = _counted(several, agent, pieces, method, pick_up, numbers)
        chosen = [
            find(pick)
            for pick in rows
            if pick.agent == agent
            and pick.kind.endswith("ingoing")
            and pick.process in ("", "immersion" if wet else "dry")
        ]
        for limit in chosen:
            found.append(_ingoing_verdict(limit, rule_set, value, by_method))
        used = any(getattr(one, agent) for one in several)
        if not chosen and (used or agent == "nitrite"):
            reason = f"{rule_set} has no limit here on {agent} that goes into {product}"
            if any(pick.agent == agent for pick in rows):
                reason += "; it limits what remains, see the residual"
            found.append(unknown(f"{rule_set} {agent} ingoing", reason + ".", RULE_SETS[rule_set].title, "seen"))
    return tuple(found)


def _counted(several, agent, pieces, method, pick_up, numbers):
    """({method: summed fraction or None}, the one that counts)."""
    sums: dict[str, float | None] = {}
    counted: float | None = 0.0
    for one in several:
        table = {
            row.method: row.value
            for row in ingoing_table(one if agent == "nitrite" else _swapped(one), pieces, pick_up, numbers)
        }
        for name, value in table.items():
            before = sums.get(name, 0.0)
            sums[name] = None if value is None or before is None else before + value
        mine = "dry" if "dry" in table else method if method in table else "equilibrium"
        value = table[mine]
        counted = None if value is None or counted is None else counted + value
    return sums, counted


def _swapped(made: Solutes) -> SimpleNamespace:
    """The same recipe with nitrate in the place of nitrite, so that one table counts either."""
    return SimpleNamespace(
        water=getattr(made, "water", 0.0),
        salt=made.salt,
        sugar=made.sugar,
        nitrate=made.nitrite,
        nitrite=made.nitrate,
    )


def _ingoing_verdict(limit: Limit, rule_set: str, value: float | None, by_method) -> Verdict:
    sign, word = ("<=", "most") if limit.kind == "max_ingoing" else (">=", "least")
    name, unit = f"{rule_set} {limit.agent}, {word}", f"mg/kg as {limit.ion_or_salt}"
    if value is None:
        reason = "Counting by pick-up needs the weight gained in the brine; weigh before and after."
        return unknown(name, reason, limit.source, limit.how, limit.value, unit)
    others = [
        f"{limit.on_its_basis(other):.0f} by {method}"
        for method, other in by_method.items()
        if other is not None and other != value
    ]
    remark = f"Counted otherwise: {', '.join(others)}." if others and value else ""
    if sign == ">=" and not value:
        remark = "Without nitrite this is not a cured product under the rule, and salt and cold alone protect it."
    return judge(
        name,
        limit.on_its_basis(value),
        sign,
        limit.value,
        unit,
        f"ingoing {limit.agent}",
        limit.source,
        limit.how,
        remark,
    )


def check_residual(history: History, rule_set: str = "US", product: str = "cured meat") -> tuple[Verdict, ...]:
    """What remains at the end of a history against what may remain, mg/kg of the meat as it then is, worst
    piece.

    Free nitrite rests on loss kinetics that are poorly known, so it passes only if it would pass without
    any loss, fails if it is above the limit even so, and is unknown between.
    """
    found = []
    for pick in picks(rule_set, product):
        if pick.kind != "max_residual":
            continue
        limit = find(pick)
        name, unit = (
            f"{rule_set} {limit.agent}, most that remains ({pick.product_class})",
            f"mg/kg as {limit.ion_or_salt}",
        )
        most = max(limit.on_its_basis(history.average(limit.agent, None, p.name, "meat")) for p in history.pieces)
        if limit.agent == "nitrate":
            found.append(judge(name, most, "<=", limit.value, unit, "nitrate in the meat", limit.source, limit.how))
            continue
        free = max(limit.on_its_basis(history.average("free nitrite", None, p.name, "meat")) for p in history.pieces)
        slack = limit.value * (1 + ROUNDING)
        if free <= slack < most:
            reason = (
                f"Free nitrite is put at {free:.0f} {unit}, at most {limit.value:g} is asked for; without "
                f"loss it would be {most:.0f}, and the loss (here: {history.loss}) is known too poorly to "
                "decide. Only a laboratory can tell."
            )
            found.append(unknown(name, reason, limit.source, limit.how, limit.value, unit))
        else:
            remark = (
                f"Even without any loss it would be {most:.0f}." if most <= slack else "This is a model's estimate."
            )
            found.append(
                judge(
                    name,
                    free,
                    "<=",
                    limit.value,
                    unit,
                    "free nitrite in the meat",
                    limit.source,
                    limit.how,
                    remark,
                )
            )
    return tuple(found)


def check_taken_up(history: History, rule_set: str = "US", product: str = "cured meat") -> tuple[Verdict, ...]:
    """The least that must go in against what the model lets in: nitrite as added, average of the worst piece
    at its highest point.

    Rules count by a formula that supposes enough days, so a piece lifted too soon can pass `check_ingoing`
    and hold far less. Short of the limit is unknown, not fail: the rule does not count this way.
    """
    found = []
    for pick in picks(rule_set, product):
        if pick.kind != "min_ingoing":
            continue
        limit = find(pick)
        taken = min(float(history.average("nitrite", history.times, p.name).max()) for p in history.pieces)
        value = limit.on_its_basis(taken)
        remark = "The rule counts by a formula, and this is a model's estimate of what got in by then."
        if value < limit.value:
            remark += " Give it more days, or check that it was meant to be so weak."
        found.append(
            judge(
                f"{rule_set} nitrite, least, as simulated",
                value,
                ">=",
                limit.value,
                f"mg/kg as {limit.ion_or_salt}",
                "nitrite taken up",
                limit.source,
                limit.how,
                remark,
                otherwise="unknown",
            )
        )
    return tuple(found)


def check_all(
    history: History,
    rule_set: str = "US",
    product: str = "cured meat",
    method: str | None = None,
    pick_up: float | None = None,
    numbers: Numbers | None = None,
) -> tuple[Verdict, ...]:
    """Every check of a history, worst first: ingoing of its baths and sealed cures, what was
    taken up, what remains, and how it
    was kept.
    """
    made: list[Solutes] = []
    found: list[Verdict] = []
    for stage in history.stages:
        if isinstance(stage, Brine) and stage.bath is not None:
            if stage.running and stage.bath.nitrite + stage.bath.nitrate > 0:
                reason = "A running brine has no end of nitrite, so no method can count what goes in."
                found.append(unknown(f"{rule_set} ingoing", reason, RULE_SETS[rule_set].title, "seen"))
            else:
                made.append(stage.bath)
        elif isinstance(stage, SealedCure):
            made.append(stage)
    if made:
        found += check_ingoing(made, history.pieces, rule_set, product, method, pick_up, numbers)
    found += check_taken_up(history, rule_set, product)
    found += check_residual(history, rule_set, product)
    found += check_process(history, numbers)
    return worst_first(found)
