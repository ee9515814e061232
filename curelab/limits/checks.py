"""Verdicts against named rule sets, and the usual cautions. A tool's opinion: local code and licensed
practice go before it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

from ..engine.history import History
from ..matter.solutes import molar_mass
from ..recipe.piece import Piece
from ..sources import Numbers
from ..weighing import EquilibriumBrine, StrongBrine, WeighOut
from ..weighing.methods import Solutes, ingoing_table, pickle_weight
from .cooked import check_cooked
from .process import check_process
from .protection import OF_ONE_PLACE, UNPROTECTED, check_local
from .rule_sets import RULE_SETS, Limit, find, picks
from .taken_up import check_taken_up
from .verdict import OUTCOMES, ROUNDING, Verdict, Verdicts, judge, undecided, unknown, worst_first

COUNTS = ("equilibrium", "meat and water", "pick-up", "water phase", "dry")
NITRITE_CAUTIONS = (
    "Nitrite poisons when it is over-measured, and a small child needs little. Weigh the cure mix on a "
    "fine scale; do not spoon it.",
    "Keep cure mix in its labelled bag, apart from table salt, locked away from children.",
    "A batch with too much cure in it is thrown away, not rinsed and not eaten.",
)
CAUTIONS = (
    *NITRITE_CAUTIONS,
    "Keep the meat below 4 °C (40 °F) from the first minute to the last. Botulism gives no smell and no taste.",
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
) -> Verdicts:
    """What goes in against what may and must go in, mg/kg of green weight on each rule's own basis.

    `made`: a Weighed, Bath or SealedCure, or several used one after the other, whose amounts are added up.
    `method`: "equilibrium" (default for a brine), "meat and water" (the sum of the trade, as an equilibrium brine is
    weighed out), "pick-up" (give `pick_up`) or "water phase"; a dry cure is counted dry. A brine and a dry cure together are held to the limit for immersion. Raises ValueError
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
    if method not in (None, *COUNTS):
        raise ValueError(f'method "{method}" is not one of {", ".join(COUNTS)}')
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
            found.append(_ingoing_verdict(limit, rule_set, value, by_method, method))
        used = any(getattr(one, agent) for one in several)
        if not chosen and (used or agent == "nitrite"):
            reason = f"{rule_set} has no limit here on {agent} that goes into {product}"
            if any(pick.agent == agent for pick in rows):
                reason += "; it limits what remains, see the residual"
            found.append(unknown(f"{rule_set} {agent} ingoing", reason + ".", RULE_SETS[rule_set].title, "seen"))
    return Verdicts(found)


def counting(weigh_out: WeighOut | None) -> dict[str, Any]:
    """How the checks count what a weigh-out set: `method` and `pick_up` of `check_ingoing`. What was weighed out by the sum of the trade is
    checked by it, for else a target right on a limit would miss it.
    """
    if isinstance(weigh_out, StrongBrine) and weigh_out.counted == "pick-up":
        return {"method": "pick-up", "pick_up": weigh_out.pick_up}
    by_sum = isinstance(weigh_out, EquilibriumBrine) and weigh_out.basis == "meat and water"
    return {"method": "meat and water" if by_sum else None, "pick_up": None}


def _counted(several, agent, pieces, method, pick_up, numbers):
    """({method: summed fraction or None}, the one that counts)."""
    sums: dict[str, float | None] = {}
    counted: float | None = 0.0
    for one in several:
        table = {
            row.method: row.value
            for row in ingoing_table(one if agent == "nitrite" else _swapped(one), pieces, pick_up, numbers)
        }
        if pickle_weight(one):
            table["meat and water"] = getattr(one, agent) / (_green(pieces) + one.water)
        for name, value in table.items():
            before = sums.get(name, 0.0)
            sums[name] = None if value is None or before is None else before + value
        mine = "dry" if "dry" in table else method if method in table else "equilibrium"
        value = table[mine]
        counted = None if value is None or counted is None else counted + value
    return sums, counted


def _green(pieces: Piece | Sequence[Piece]) -> float:
    return sum(piece.weight for piece in ((pieces,) if isinstance(pieces, Piece) else pieces))


def _swapped(made: Solutes) -> SimpleNamespace:
    """The same recipe with nitrate in the place of nitrite, so that one table counts either."""
    return SimpleNamespace(
        water=getattr(made, "water", 0.0),
        salt=made.salt,
        sugar=made.sugar,
        nitrate=made.nitrite,
        nitrite=made.nitrate,
    )


def _ingoing_verdict(limit: Limit, rule_set: str, value: float | None, by_method, method: str | None) -> Verdict:
    sign, word = ("<=", "most") if limit.kind == "max_ingoing" else (">=", "least")
    name, unit = f"{rule_set} {limit.agent}, {word}", f"mg/kg as {limit.ion_or_salt}"
    if value is None:
        reason = "Counting by pick-up needs the weight gained in the brine; weigh before and after."
        return unknown(name, reason, limit.source, limit.how, limit.value, unit)
    others = [
        f"{limit.on_its_basis(other):.0f} by {name_of}"
        for name_of, other in by_method.items()
        if other is not None and other != value
    ]
    remark = f"Otherwise: {', '.join(others)}." if others and value else ""
    if sign == ">=" and not value:
        remark = "Without nitrite this is not a cured product under the rule, and salt and cold alone protect it."
    found = judge(
        name, limit.on_its_basis(value), sign, limit.value, unit, f"ingoing {limit.agent}", limit.source, limit.how,
        remark, group=limit.product_class,
    )  # fmt: skip
    # What is picked up by weight is no bound: left in longer, the piece goes on towards the equilibrium.
    end = max(limit.on_its_basis(by_method.get(way) or 0.0) for way in ("equilibrium", "water phase"))
    if method == "pick-up" and sign == "<=" and end > limit.value * (1 + ROUNDING):
        reason = f"Take it out on time: left in, it goes on towards {end:.0f} mg/kg, above {limit.value:g}."
        return undecided(found, reason)
    return found


def check_residual(history: History, rule_set: str = "US", product: str = "cured meat") -> Verdicts:
    """What remains at the end of a history against what may remain, mg/kg of the meat as it then is, worst
    piece.

    Free nitrite rests on loss kinetics that are poorly known, so it passes only if it would pass with all that was
    taken up, nitrate counted as if it had turned into nitrite (9 CFR 424.21(c) limits the nitrite that comes of
    either); fails if it is above the limit even after the loss; and is unknown between.
    """

    @cache
    def left(quantity: str) -> list[float]:
        return [float(history.average(quantity, None, piece.name, "meat")) for piece in history.pieces]

    found = []
    for pick in picks(rule_set, product):
        if pick.kind != "max_residual":
            continue
        limit = find(pick)
        name = f"{rule_set} {limit.agent}, most that remains ({pick.product_class})"
        unit = f"mg/kg as {limit.ion_or_salt}"
        if limit.agent == "nitrate":
            most = limit.on_its_basis(max(left("nitrate")))
            what = "nitrate in the meat"
            found.append(judge(name, most, "<=", limit.value, unit, what, limit.source, limit.how))
            continue
        converted = molar_mass("NaNO2") / molar_mass("NaNO3")
        either = [
            nitrite + converted * nitrate for nitrite, nitrate in zip(left("nitrite"), left("nitrate"), strict=True)
        ]
        most, free = (limit.on_its_basis(max(each)) for each in (either, left("free nitrite")))
        if_all = "if nothing were lost" + (" and all nitrate became nitrite" if max(left("nitrate")) else "")
        if free <= limit.value * (1 + ROUNDING) < most:
            reason = (
                f"Free nitrite in the meat: {free:.0f} {unit}, at most {limit.value:g}; but {most:.0f} {if_all}, and the "
                f"loss ({history.loss}) is known too poorly to decide. Only a laboratory can tell."
            )
            found.append(unknown(name, reason, limit.source, limit.how, limit.value, unit))
        else:
            remark = f"It would be {most:.0f} {if_all}." if free < most else ""
            what = "free nitrite in the meat"
            found.append(judge(name, free, "<=", limit.value, unit, what, limit.source, limit.how, remark))
    return Verdicts(found)


def check_all(
    history: History,
    rule_set: str = "US",
    product: str = "cured meat",
    method: str | None = None,
    pick_up: float | None = None,
    numbers: Numbers | None = None,
    corners: Sequence[History] = (),
    system: str = "metric",
    now: float | None = None,
) -> Verdicts:
    """Every check of a history, worst first: ingoing of its baths and sealed cures, what was taken up, on the whole and near
    the surface, what remains, and how it was kept. `system`: units of the sentences, "metric" or "us"; now: as `check_process` has it.

    `corners`: the same batch in (slow, fast) meat, the ends of what is published. A pass then needs all three; a fail
    in usual meat is a fail; a pass in usual meat only is unknown, and says which meat differs.
    """
    every = [
        Verdicts(_checked(each, rule_set, product, method, pick_up, numbers, system, now))
        for each in (history, *corners)
    ]
    heat = {verdict.name for each in (history, *corners) for verdict in check_cooked(each)}
    return _in_corners(every, heat, _loses_faster(corners[0], history) if corners else "")


def check_cooked_in_all(history: History, corners: Sequence[History], system: str = "metric") -> Verdicts:
    """The checks of heat alone, worst first: a pass in usual meat is one only if it is one in (slow, fast) meat too."""
    every = [check_cooked(each, system) for each in (history, *corners)]
    return _in_corners(every, {verdict.name for each in every for verdict in each}, "")


def _in_corners(every: Sequence[Verdicts], heat: Collection[str], faster: str) -> Verdicts:
    """Verdicts of usual, slow and fast meat as one, worst first. heat: the names of the checks that hang on how fast meat heats; faster: how fast
    slow meat loses nitrite, in words.
    """
    usual, *others = every
    by_name = [
        (kind, {each.name: each for each in found}) for kind, found in zip(("slow", "fast"), others, strict=False)
    ]

    def said(kind: str, name: str) -> str:
        if name in heat:
            return f"meat that heats and cools {'slowly' if kind == 'slow' else 'fast'}"
        loses = kind == "slow" and ("nitrite" in name or name == UNPROTECTED)
        return f"{kind} meat{faster if loses else ''}"

    return worst_first(
        _in_all(verdict, [(said(kind, verdict.name), found) for kind, found in by_name]) for verdict in usual
    )


def _loses_faster(corner: History, usual: History) -> str:
    """ " (nitrite lost 3 times as fast)", where that is so and there is any."""
    key = "nitrite.loss_multiplier"
    times = corner.numbers.si(key) / usual.numbers.si(key)
    cured = any(stage.put_in is not None and stage.put_in.nitrite for stage in usual.stages)
    return f" (nitrite lost {times:.2g} times as fast)" if times > 1 and cured else ""


def _in_all(verdict: Verdict, others: Sequence[tuple[str, dict[str, Verdict]]]) -> Verdict:
    """A pass only if it is one in every corner. What comes to one place is told of usual meat, and by the draws how often: in meat that is
    slow and loses nitrite fastest none comes to the middle of anything thicker than a slice.
    """
    if verdict.outcome != "pass" or verdict.name in OF_ONE_PLACE:
        return verdict
    worse = [(kind, found[verdict.name]) for kind, found in others if verdict.name in found]
    worse = sorted(
        ((kind, each) for kind, each in worse if each.outcome != "pass"),
        key=lambda pair: OUTCOMES.index(pair[1].outcome),
    )
    if not worse:
        return verdict
    kind, theirs = worse[0]
    said = f"In {kind}: {theirs.sentence[:1].lower()}{theirs.sentence[1:]}"
    return replace(theirs, outcome="unknown", margin=None, sentence=said)


def _checked(
    history,
    rule_set,
    product,
    method,
    pick_up,
    numbers,
    system,
    now: float | None,
) -> list[Verdict]:
    made: list[Solutes] = []
    found: list[Verdict] = []
    for stage in history.stages:
        put_in = stage.put_in
        if put_in is None:
            continue
        if any(stretch.endless for stretch in stage.stretches) and put_in.nitrite + put_in.nitrate > 0:
            reason = "A running brine has no end of nitrite, so no method can count what goes in."
            found.append(unknown(f"{rule_set} ingoing", reason, RULE_SETS[rule_set].title, "seen"))
            continue
        made.append(put_in)
    if made:
        found += check_ingoing(made, history.pieces, rule_set, product, method, pick_up, numbers)
    found += check_taken_up(history, rule_set, product)
    found += check_local(history, rule_set, product, system)
    found += check_residual(history, rule_set, product)
    found += check_process(history, numbers, system, now)
    found += check_cooked(history, system)
    return found
